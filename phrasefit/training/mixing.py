"""Parts mixed and treated as records are, so that clean synthesis does not give itself away.

All filters here keep onsets in place: recursive filters of low order, or frequency
weights applied to the whole signal (zero phase).  May import: NumPy; SciPy and
soundfile in functions.
"""

from __future__ import annotations

import io

import numpy as np

# Usual level of a role in the mix [dB]; songs scatter around it.
LEVEL_DB = {
    "drums": -3.0, "percussion": -12.0, "bass": -5.0, "chords": -9.0, "pad": -15.0,
    "arpeggio": -11.0, "lead": -7.0, "voice": -3.5, "choir": -11.0,
}  # fmt: skip


def active_rms(sound: np.ndarray, frame: int = 2048) -> float:
    """Measure loudness where something sounds: root mean square of the louder frames."""
    n = sound.size // frame
    if n < 1:
        return float(np.sqrt(np.mean(sound**2) + 1e-12))
    power = np.mean(sound[: n * frame].reshape(n, frame) ** 2, axis=1)
    loud = power[power > 0.05 * power.max()] if power.max() > 0 else power
    return float(np.sqrt(loud.mean() + 1e-12))


def weigh_spectrum(sound: np.ndarray, points_hz: np.ndarray, gains_db: np.ndarray,
                   sample_rate_hz: int) -> np.ndarray:  # fmt: skip
    """Apply a smooth curve of gains over log frequency to the whole signal, zero phase."""
    from scipy.fft import irfft, next_fast_len, rfft

    n = next_fast_len(sound.size, real=True)
    spectrum = rfft(sound, n)
    octaves = np.log2(np.maximum(np.arange(spectrum.size) * sample_rate_hz / n, 15.0))
    curve = np.interp(octaves, np.log2(points_hz), gains_db)
    spectrum *= (10 ** (curve / 20)).astype(np.float32)
    return irfft(spectrum, n)[: sound.size].astype(np.float32)


def add_room(
    rng: np.random.Generator, sound: np.ndarray, wet: float, decay_s: float, sample_rate_hz: int
) -> np.ndarray:
    """Add reverberation: exponentially fading noise, darker with time, after a short gap."""
    from scipy.signal import oaconvolve

    n = int(min(decay_s * 1.2, 2.5) * sample_rate_hz)
    t = np.arange(n) / sample_rate_hz
    tail = rng.standard_normal(n) * np.exp(-6.9 * t / decay_s)
    dull = np.exp(-6.9 * t / (decay_s * 0.4))
    smooth = np.convolve(tail, np.ones(5) / 5, mode="same")
    tail = (tail * dull + smooth * (1 - dull)).astype(np.float32)
    tail[: int(rng.uniform(0.0, 0.03) * sample_rate_hz) + 1] = 0.0
    tail /= np.sqrt(np.sum(tail**2)) + 1e-9
    return sound + wet * oaconvolve(sound, tail)[: sound.size].astype(np.float32)


def compress(
    sound: np.ndarray, threshold_db: float, ratio: float, release_s: float, sample_rate_hz: int
) -> np.ndarray:
    """Turn loud stretches down: quick down, slow up, on a grid of 64 samples."""
    hop = 64
    n = -(-sound.size // hop)
    padded = np.zeros(n * hop, dtype=np.float32)
    padded[: sound.size] = sound
    level_db = 10 * np.log10(np.mean(padded.reshape(n, hop) ** 2, axis=1) + 1e-9)
    over = np.maximum(level_db - threshold_db, 0.0) * (1 - 1 / ratio)
    keep = float(np.exp(-hop / (release_s * sample_rate_hz)))
    reduction = _release(over, keep)
    gain = np.interp(np.arange(padded.size), np.arange(n) * hop + hop / 2, 10 ** (-reduction / 20))
    return (padded * gain)[: sound.size].astype(np.float32)


def _release(target: np.ndarray, keep: float) -> np.ndarray:
    """Follow rises at once and fall back by the factor `keep` a step."""
    out, value = [], 0.0
    for wanted in target.tolist():
        value = wanted if wanted > value else value * keep + wanted * (1 - keep)
        out.append(value)
    return np.array(out)


def saturate(sound: np.ndarray, drive: float) -> np.ndarray:
    """Bend peaks softly as tape and valves do."""
    return (np.tanh(sound * drive) / np.tanh(drive)).astype(np.float32)


def code(sound: np.ndarray, kind: str, quality: float, sample_rate_hz: int) -> np.ndarray:
    """Encode and decode with MP3 or Vorbis; `quality` 0 (best) to 1 (smallest).

    Length and position are kept: the decoder removes what the encoder put before.
    """
    import soundfile

    formats = {"mp3": ("MP3", "MPEG_LAYER_III"), "ogg": ("OGG", "VORBIS")}
    container, subtype = formats[kind]
    peak = float(np.abs(sound).max()) or 1.0
    scaled = sound * min(1.0, 0.98 / peak)
    store = io.BytesIO()
    soundfile.write(
        store, scaled, sample_rate_hz, format=container, subtype=subtype,
        compression_level=quality,
    )  # fmt: skip
    store.seek(0)
    decoded, _ = soundfile.read(store, dtype="float32")
    out = np.zeros_like(sound)
    n = min(out.size, decoded.size)
    out[:n] = decoded[:n] / min(1.0, 0.98 / peak)
    return out


def add_noise(rng: np.random.Generator, sound: np.ndarray, sample_rate_hz: int) -> np.ndarray:
    """Add one kind of background: hiss, hum, room rumble, crackle or a crowd."""
    n = sound.size
    kind = rng.choice(["hiss", "hum", "room", "crackle", "crowd"])
    level = active_rms(sound) * 10 ** (rng.uniform(-46, -16) / 20)
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
        swell = np.interp(t, np.arange(0, t[-1] + 2, 0.7),
                          np.exp(0.5 * rng.standard_normal(int((t[-1] + 2) / 0.7) + 1)))  # fmt: skip
        noise = noise * swell
    noise = noise.astype(np.float32)
    return sound + noise * level / (np.sqrt(np.mean(noise**2)) + 1e-9)


def random_curve(rng: np.random.Generator, depth_db: float) -> tuple[np.ndarray, np.ndarray]:
    """Draw a smooth random equaliser: points [Hz] and gains [dB]."""
    points = np.array([20, 60, 150, 400, 1000, 2500, 5000, 8000, 11025], dtype=float)
    gains = rng.normal(0, depth_db, points.size)
    gains = np.convolve(np.pad(gains, 1, mode="edge"), [0.25, 0.5, 0.25], mode="valid")
    tilt = rng.normal(0, depth_db / 4)
    return points, gains + tilt * np.log2(points / 700)


def mix(
    rng: np.random.Generator, stems: list[tuple[str, np.ndarray]], sample_rate_hz: int
) -> np.ndarray:
    """Balance stems by role, give each a colour, and put some in a room."""
    n = stems[0][1].size
    dry = np.zeros(n, dtype=np.float32)
    wet = np.zeros(n, dtype=np.float32)
    bias = {role: rng.normal(0, 3.0) for role in LEVEL_DB}
    bias["drums"] += float(rng.choice([0, 0, 0, 4, -6, -12]))
    bias["voice"] += float(rng.choice([0, 0, 3]))
    for role, sound in stems:
        level = LEVEL_DB[role] + bias[role] + rng.normal(0, 1.5)
        gain = 10 ** (level / 20) / (active_rms(sound) + 1e-6)
        if not np.isfinite(gain) or np.abs(sound).max() < 1e-5:
            continue
        scaled = sound * np.float32(gain * 0.25)
        if rng.random() < 0.5:
            scaled = weigh_spectrum(scaled, *random_curve(rng, 4.0), sample_rate_hz)
        if role in ("drums", "bass", "voice") and rng.random() < 0.4:
            scaled = compress(scaled, rng.uniform(-26, -14), rng.uniform(2, 6), rng.uniform(0.05, 0.25),
                              sample_rate_hz)  # fmt: skip
        dry += scaled
        wet += scaled * np.float32(0.1 if role == "bass" else rng.uniform(0.3, 1.0))
    if rng.random() < 0.75:
        room = add_room(rng, wet, 1.0, float(rng.uniform(0.2, 2.2)), sample_rate_hz) - wet
        dry += room * np.float32(rng.uniform(0.05, 0.5))
    return dry


def master(
    rng: np.random.Generator, sound: np.ndarray, sample_rate_hz: int, without: frozenset[str]
) -> np.ndarray:
    """Treat the whole mix: tone, compression, limiting, noise, coding, level."""
    sound = weigh_spectrum(sound, *random_curve(rng, 4.0), sample_rate_hz)
    loud = active_rms(sound) + 1e-9
    sound = sound * np.float32(0.2 / loud)
    if rng.random() < 0.75:
        sound = compress(sound, rng.uniform(-24, -12), rng.uniform(1.5, 8), rng.uniform(0.04, 0.4),
                         sample_rate_hz)  # fmt: skip
    sound = sound * np.float32(0.2 / (active_rms(sound) + 1e-9))
    if rng.random() < 0.8:
        sound = saturate(sound, float(rng.uniform(0.8, 3.0)))
    if rng.random() < 0.4 and "noise" not in without:
        sound = add_noise(rng, sound, sample_rate_hz)
    if rng.random() < 0.4:
        edge = float(rng.uniform(4500, 10500))
        points = np.array([20, edge * 0.95, edge, edge * 1.08, 12000])
        sound = weigh_spectrum(sound, points, np.array([0, 0, -6, -50, -60.0]), sample_rate_hz)
    if rng.random() < 0.3 and "coding" not in without:
        sound = code(sound, str(rng.choice(["mp3", "ogg"])), float(rng.uniform(0.4, 0.95)),
                     sample_rate_hz)  # fmt: skip
    peak = float(np.abs(sound).max()) + 1e-9
    return (sound * (10 ** (rng.uniform(-9, -0.1) / 20) / peak)).astype(np.float32)
