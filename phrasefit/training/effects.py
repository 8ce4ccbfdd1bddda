"""What studios do to sound: equalizers, rooms, compressors, tape, noise, coding.

Everything keeps onsets where they are: frequency weights have zero phase, recursive
filters are of low order, delays are only added to the direct sound.  Sounds are mono
float32.
"""

from __future__ import annotations

import io

import numpy as np

from phrasefit.files import sound_bytes

HOP = 64  # grid of gain curves [samples]


def active_rms(sound: np.ndarray, frame: int = 2048) -> float:
    """Measure loudness where something sounds: root mean square of the louder frames."""
    n = sound.size // frame
    if n < 1:
        return float(np.sqrt(np.mean(sound**2) + 1e-12))
    power = np.mean(sound[: n * frame].reshape(n, frame) ** 2, axis=1)
    loud = power[power > 0.05 * power.max()] if power.max() > 0 else power
    return float(np.sqrt(loud.mean() + 1e-12))


def weigh_spectrum(
    sound: np.ndarray, points_hz: np.ndarray, gains_db: np.ndarray, sample_rate_hz: int
) -> np.ndarray:
    """Apply a smooth curve of gains over log frequency to the whole signal, zero phase."""
    from scipy.fft import irfft, next_fast_len, rfft

    n = next_fast_len(sound.size, real=True)
    spectrum = rfft(sound, n)
    # The curve is smooth: computed on a coarse grid of bins, interpolated to all.
    coarse = np.linspace(0, spectrum.size - 1, 4096)
    octaves = np.log2(np.maximum(coarse * sample_rate_hz / n, 15.0))
    gains = 10 ** (np.interp(octaves, np.log2(points_hz), gains_db) / 20)
    spectrum *= np.interp(np.arange(spectrum.size), coarse, gains).astype(np.float32)
    return irfft(spectrum, n)[: sound.size].astype(np.float32)


def random_curve(
    rng: np.random.Generator, depth_db: float, tilt_db: float = 0.0
) -> tuple[np.ndarray, np.ndarray]:
    """Draw a smooth random equalizer with a mean tilt [dB an octave]: points [Hz], gains [dB]."""
    points = np.array([20, 60, 150, 400, 1000, 2500, 5000, 8000, 11025], dtype=float)
    gains = rng.normal(0, depth_db, points.size)
    gains = np.convolve(np.pad(gains, 1, mode="edge"), [0.25, 0.5, 0.25], mode="valid")
    tilt = tilt_db + rng.normal(0, depth_db / 5)
    return points, gains + tilt * np.log2(points / 700)


def room_tail(
    rng: np.random.Generator, decay_s: float, sample_rate_hz: int, *, gap_s: float = 0.0
) -> np.ndarray:
    """Make the answer of a room: fading noise that darkens, after a gap; energy 1."""
    n = int(min(decay_s * 1.1, 2.2) * sample_rate_hz)
    t = np.arange(n, dtype=np.float32) / sample_rate_hz
    noise = rng.standard_normal(n).astype(np.float32)
    dark = np.convolve(noise, np.ones(6, np.float32) / 3, mode="same")
    bright = np.exp(-6.9 * t / (decay_s * rng.uniform(0.25, 0.6)))
    tail = (noise * bright + dark * (1 - bright)) * np.exp(-6.9 * t / decay_s)
    tail[: int(gap_s * sample_rate_hz) + 1] = 0.0
    return tail / (np.sqrt(np.sum(tail**2)) + 1e-9)


def reverberate(sound: np.ndarray, tail: np.ndarray) -> np.ndarray:
    """Convolve with a room's answer (the direct sound not included)."""
    from scipy.signal import oaconvolve

    return oaconvolve(sound, tail)[: sound.size].astype(np.float32)


def _levels_db(sound: np.ndarray) -> np.ndarray:
    """Level of each stretch of `HOP` samples [dB]."""
    n = -(-sound.size // HOP)
    padded = np.zeros(n * HOP, dtype=np.float32)
    padded[: sound.size] = sound
    return 10 * np.log10(np.mean(padded.reshape(n, HOP) ** 2, axis=1) + 1e-9)


def _apply_reduction(sound: np.ndarray, reduction_db: np.ndarray) -> np.ndarray:
    """Turn `sound` down by a curve of decibels on the `HOP` grid."""
    gain = (10 ** (-reduction_db / 20)).astype(np.float32)
    gain = np.append(gain, gain[-1])
    steps = np.linspace(0, 1, HOP, endpoint=False, dtype=np.float32)
    curve = gain[:-1, None] + (gain[1:] - gain[:-1])[:, None] * steps
    return sound * curve.reshape(-1)[: sound.size]


def _release(target: np.ndarray, keep: float) -> np.ndarray:
    """Follow rises at once and fall back by the factor `keep` a step."""
    out, value = [], 0.0
    for wanted in target.tolist():
        value = wanted if wanted > value else value * keep + wanted * (1 - keep)
        out.append(value)
    return np.array(out)


def compress(
    sound: np.ndarray, over_db: float, ratio: float, release_s: float, sample_rate_hz: int,
    key: np.ndarray | None = None,
) -> np.ndarray:  # fmt: skip
    """Turn down what is more than `over_db` above the mean level: quick down, slow up.

    `key` is the sound that is listened to instead (ducking under a kick, say).
    """
    levels = _levels_db(sound if key is None else key)
    loud = levels[levels > -70]
    threshold = (loud.mean() if loud.size else 0.0) + over_db
    wanted = np.maximum(levels - threshold, 0.0) * (1 - 1 / ratio)
    return _apply_reduction(
        sound, _release(wanted, float(np.exp(-HOP / (release_s * sample_rate_hz))))
    )


def compress_bands(rng: np.random.Generator, sound: np.ndarray, sample_rate_hz: int) -> np.ndarray:
    """Compress lows, mids and highs apart, as radio does."""
    from scipy.signal import lfilter

    rest, out = sound, np.zeros_like(sound)
    for edge_hz in (rng.uniform(120, 300), rng.uniform(1500, 4000)):
        keep = float(np.exp(-2 * np.pi * edge_hz / sample_rate_hz))
        low = lfilter([1 - keep], [1, -keep], rest).astype(np.float32)
        out += compress(low, rng.uniform(-6, 3), rng.uniform(2, 6), rng.uniform(0.05, 0.3),
                        sample_rate_hz)  # fmt: skip
        rest = rest - low
    return out + compress(rest, rng.uniform(-6, 3), rng.uniform(2, 6), rng.uniform(0.03, 0.2),
                          sample_rate_hz)  # fmt: skip


def limit(sound: np.ndarray, ceiling: float, release_s: float, sample_rate_hz: int) -> np.ndarray:
    """Hold peaks under `ceiling`, as loud masters do; what still sticks out is clipped."""
    n = -(-sound.size // HOP)
    padded = np.zeros(n * HOP, dtype=np.float32)
    padded[: sound.size] = np.abs(sound)
    peaks = padded.reshape(n, HOP).max(axis=1)
    ahead = np.maximum(peaks, np.append(peaks[1:], 0))
    wanted = np.maximum(20 * np.log10(np.maximum(ahead, 1e-6) / ceiling), 0.0)
    keep = float(np.exp(-HOP / (release_s * sample_rate_hz)))
    return np.clip(_apply_reduction(sound, _release(wanted, keep)), -ceiling, ceiling)


def saturate(sound: np.ndarray, drive: float) -> np.ndarray:
    """Bend peaks softly as tape and valves do."""
    return (np.tanh(sound * drive) / np.tanh(drive)).astype(np.float32)


def double(rng: np.random.Generator, sound: np.ndarray, sample_rate_hz: int) -> np.ndarray:
    """Add a late, slightly wavering copy: double tracking, chorus, a folded stereo image."""
    n = sound.size
    delay_s = rng.uniform(0.004, 0.03)
    waver = rng.uniform(0, 0.002) * np.sin(
        2 * np.pi * rng.uniform(0.1, 1.5) * np.arange(n) / sample_rate_hz
    )
    places = np.arange(n) - ((delay_s + waver) * sample_rate_hz)
    copy = np.interp(places, np.arange(n), sound, left=0.0)
    return (sound + rng.uniform(0.3, 0.8) * copy).astype(np.float32)


def code(sound: np.ndarray, kind: str, quality: float, sample_rate_hz: int) -> np.ndarray:
    """Encode and decode with MP3 or Vorbis; `quality` 0 (best) to 1 (smallest).

    Length and position are kept: the decoder removes what the encoder put before.
    """
    import soundfile

    container, subtype = {"mp3": ("MP3", "MPEG_LAYER_III"), "ogg": ("OGG", "VORBIS")}[kind]
    scale = min(1.0, 0.98 / (float(np.abs(sound).max()) or 1.0))
    coded = sound_bytes(
        sound * scale, sample_rate_hz, container=container, subtype=subtype,
        compression_level=quality,
    )  # fmt: skip
    decoded, _ = soundfile.read(io.BytesIO(coded), dtype="float32")
    out = np.zeros_like(sound)
    n = min(out.size, decoded.size)
    out[:n] = decoded[:n] / scale
    return out


def narrow(rng: np.random.Generator, sound: np.ndarray, sample_rate_hz: int) -> np.ndarray:
    """Cut the edges of the spectrum: coders, cassettes, old records, small speakers."""
    high = float(rng.choice([rng.uniform(7000, 10500), rng.uniform(3500, 7000)], p=[0.7, 0.3]))
    low = float(rng.choice([20, rng.uniform(60, 250)], p=[0.7, 0.3]))
    steep = rng.uniform(1.05, 1.5)
    points = np.array([10, low / 2, low, high, high * steep, 12500])
    floor = -float(rng.uniform(30, 60))
    return weigh_spectrum(sound, points, np.array([-24, -12, 0, 0, floor, floor]), sample_rate_hz)


def bed(rng: np.random.Generator, sound: np.ndarray, sample_rate_hz: int) -> np.ndarray:
    """Lay a quiet, steady noise under everything, as microphones, amplifiers and air do."""
    from scipy.signal import lfilter

    level = active_rms(sound) * 10 ** (rng.uniform(-52, -24) / 20)
    keep = float(rng.uniform(0.0, 0.95))  # from white to dull
    noise = lfilter([1.0], [1.0, -keep], rng.standard_normal(sound.size, dtype=np.float32))
    return sound + noise.astype(np.float32) * np.float32(level / noise.std())


def background(rng: np.random.Generator, sound: np.ndarray, sample_rate_hz: int) -> np.ndarray:
    """Add one kind of background: hiss, hum, room rumble, crackle, a crowd, clapping hands."""
    n = sound.size
    kind = rng.choice(["hiss", "hum", "room", "crackle", "crowd", "crowd"])
    level = active_rms(sound) * 10 ** (rng.uniform(-46, -14) / 20)
    t = np.arange(n, dtype=np.float32) / sample_rate_hz
    if kind == "hum":
        base = float(rng.choice([50, 60]))
        noise = sum(np.sin(2 * np.pi * base * k * t) / k for k in (1, 2, 3, 5))
    elif kind == "crackle":
        noise = np.zeros(n, dtype=np.float32)
        where = rng.integers(0, n, size=int(n / sample_rate_hz * rng.uniform(2, 30)))
        noise[where] = rng.standard_normal(where.size) * 20
    else:
        noise = rng.standard_normal(n).astype(np.float32)
    if kind in ("room", "crowd"):
        low, high = (150, 1200) if kind == "room" else (500, 3500)
        points = np.array([20, low / 2, low, high, high * 2, 11025])
        noise = weigh_spectrum(noise, points, np.array([-10, -4, 0, 0, -12, -30]), sample_rate_hz)
    if kind == "crowd":
        knots = np.arange(0, t[-1] + 2, 0.7)
        noise = noise * np.interp(t, knots, np.exp(0.5 * rng.standard_normal(knots.size)))
    noise = noise.astype(np.float32)
    return sound + noise * np.float32(level / (np.sqrt(np.mean(noise**2)) + 1e-9))
