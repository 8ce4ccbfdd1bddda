"""Voices for training songs: singers, choirs and speakers from source and filter.

A glottal source along a pitch curve (glides, scoops, late vibrato, wander) is shaped by
moving formants in the short-time spectrum of the whole part at once, which costs a
fraction of note-by-note synthesis; consonants are noise before and into the vowels.

Formant frequencies: G. E. Peterson and H. L. Barney, *Control methods used in a study of
the vowels*, JASA 24, 1952 (averages of men; scaled for other voices).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from phrasefit.demo.wavetables import oscillate, wavetable
from phrasefit.sounds.dsp import band_noise, midi_to_hz
from phrasefit.training.performance import Played, pink_noise

# First three formants of men's vowels [Hz].
FORMANTS = np.array(
    [
        [270, 2290, 3010], [390, 1990, 2550], [530, 1840, 2480], [660, 1720, 2410],
        [730, 1090, 2440], [570, 840, 2410], [440, 1020, 2240], [300, 870, 2240],
        [640, 1190, 2390], [490, 1350, 1690],
    ],
    dtype=float,
)  # fmt: skip
N_FFT, HOP = 1024, 256
CONSONANTS = {  # band [Hz], length [s], level, share before the vowel
    "s": ((4200, 10500), 0.10, 0.30, 0.9),
    "sh": ((2200, 6500), 0.10, 0.30, 0.9),
    "f": ((1500, 9000), 0.08, 0.12, 0.9),
    "t": ((2800, 9000), 0.035, 0.40, 0.8),
    "k": ((1300, 3500), 0.04, 0.35, 0.8),
    "p": ((400, 2500), 0.025, 0.35, 0.8),
    "h": ((700, 5000), 0.07, 0.12, 0.7),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Singer:
    """How a voice sounds and moves: sizes, habits, roughness (drawn once a song)."""

    size: float
    tilt: float
    breath: float
    vibrato_hz: float
    vibrato_cents: float
    glide_s: float
    scoop_cents: float
    consonants: float
    rough: float
    speaks: bool


def draw_singer(rng: np.random.Generator, *, speaks: bool = False) -> Singer:
    """Draw a singer, or a speaker whose pitch follows no scale."""
    return Singer(
        size=float(rng.uniform(0.9, 1.3)),
        tilt=float(rng.uniform(0.6, 1.5)),
        breath=float(rng.uniform(0.0, 0.25) ** 1.5 * 2),
        vibrato_hz=float(rng.uniform(4.5, 6.8)),
        vibrato_cents=float(rng.choice([0, 0, 1]) * rng.uniform(20, 70)),
        glide_s=float(rng.uniform(0.01, 0.06)),
        scoop_cents=float(rng.choice([0, 1]) * rng.uniform(0, 200)),
        consonants=float(rng.uniform(0.2, 1.0)),
        rough=float(rng.choice([0, 0, 1]) * rng.uniform(0, 1.0)),
        speaks=speaks,
    )


def sing(
    rng: np.random.Generator,
    played: Played,
    n_samples: int,
    sample_rate_hz: int,
    singer: Singer,
) -> np.ndarray:
    """Sing a line [shape=(n_samples,), float32]; overlapping notes are cut to one voice."""
    n_frames = n_samples // HOP + 1
    times = np.arange(n_frames) * (HOP / sample_rate_hz)
    starts, ends = played.starts_s, np.minimum(
        played.ends_s, np.append(played.starts_s[1:], np.inf)
    )  # fmt: skip
    keep = (ends > 0.03) & (starts < n_samples / sample_rate_hz) & (ends - starts > 0.02)
    starts, ends = starts[keep], ends[keep]
    pitches, velocities = played.pitches[keep], played.velocities[keep]
    out = np.zeros(n_samples, dtype=np.float32)
    if not starts.size:
        return out
    if singer.speaks:
        pitches = np.median(pitches) - 7 + 3.0 * pink_noise(rng, pitches.size)
    level = _loudness(rng, times, starts, ends, velocities)
    cents = _pitch(rng, times, starts, ends, pitches, singer)
    source = _source(rng, cents, level, n_samples, sample_rate_hz, singer)
    out += _shape(rng, source, times, starts, sample_rate_hz, singer)
    peak = np.abs(out).max() + 1e-9
    return out / peak + _consonants(rng, starts, velocities, n_samples, sample_rate_hz, singer)


def _loudness(
    rng: np.random.Generator, times: np.ndarray, starts: np.ndarray, ends: np.ndarray,
    velocities: np.ndarray,
) -> np.ndarray:  # fmt: skip
    """Loudness curve: every syllable rises, sags and closes [shape=(n_frames,)]."""
    level = np.zeros(times.size)
    rise_s = rng.uniform(0.015, 0.05, starts.size)
    fall_s = rng.uniform(0.03, 0.1, starts.size)
    for start, end, rise, fall, loud in zip(starts, ends, rise_s, fall_s, velocities, strict=True):
        first, last = np.searchsorted(times, [start, end + fall])
        t = times[first:last] - start
        bump = np.minimum(1.0, (t + 1e-3) / rise) * np.clip((end + fall - start - t) / fall, 0, 1)
        level[first:last] = np.maximum(level[first:last], loud * bump * (1 - 0.15 * np.tanh(t)))
    return level


def _pitch(
    rng: np.random.Generator, times: np.ndarray, starts: np.ndarray, ends: np.ndarray,
    pitches: np.ndarray, singer: Singer,
) -> np.ndarray:  # fmt: skip
    """Pitch curve in semitones [MIDI, shape=(n_frames,)]."""
    index = np.clip(np.searchsorted(starts, times + 0.01) - 1, 0, starts.size - 1)
    since = np.maximum(times - starts[index], 0.0)
    curve = pitches[index].astype(float)
    before = pitches[np.maximum(index - 1, 0)]
    curve += (before - curve) * np.exp(-((since / singer.glide_s) ** 2)) * (since < 0.3)
    curve -= singer.scoop_cents / 100 * np.exp(-since / 0.05)
    depth = singer.vibrato_cents / 100 / (1 + np.exp(-(since - 0.3) / 0.06))
    curve += depth * np.sin(2 * np.pi * singer.vibrato_hz * times + rng.uniform(0, 6))
    if singer.speaks:
        curve -= 3.0 * since
    return curve + 0.12 * pink_noise(rng, times.size)


def _source(
    rng: np.random.Generator, semitones: np.ndarray, level: np.ndarray, n_samples: int,
    sample_rate_hz: int, singer: Singer,
) -> np.ndarray:  # fmt: skip
    """Voiced pulses and breath under the loudness curve [shape=(n_samples,)]."""
    grid = np.arange(n_samples, dtype=np.float32)
    frames = np.arange(semitones.size, dtype=np.float32) * HOP
    hertz = midi_to_hz(np.interp(grid, frames, semitones))
    top = int(0.45 * sample_rate_hz / max(60.0, np.percentile(hertz, 90)))
    table = wavetable(np.arange(1, max(3, top)) ** -singer.tilt)
    voiced = oscillate(table, hertz, sample_rate_hz)
    gain = np.interp(grid, frames, level).astype(np.float32)
    noise = rng.standard_normal(n_samples).astype(np.float32)
    if singer.rough:
        growl = 1 + singer.rough * np.interp(grid, frames[::1], pink_noise(rng, frames.size))
        voiced = np.tanh(voiced * growl.astype(np.float32) * (1 + singer.rough))
    return (voiced + singer.breath * noise) * gain


def _shape(
    rng: np.random.Generator, source: np.ndarray, times: np.ndarray, starts: np.ndarray,
    sample_rate_hz: int, singer: Singer,
) -> np.ndarray:  # fmt: skip
    """Move the source through the vowels of random syllables."""
    from scipy.signal import istft, stft

    _, _, spectrum = stft(source, sample_rate_hz, nperseg=N_FFT, noverlap=N_FFT - HOP)
    vowels = FORMANTS[rng.integers(len(FORMANTS), size=starts.size + 1)] * singer.size
    # Diphthongs and coarticulation: the vowel slides to the next over the syllable's end.
    index = np.clip(np.searchsorted(starts, times) - 1, 0, starts.size - 1)
    following = np.append(starts[1:], starts[-1] + 1.0)[index]
    share = (
        np.clip(1 - (following - times) / 0.09, 0, 0.5)
        + np.clip(0.5 - (times - starts[index]) / 0.09, 0, 0.5) * -1.0
    )
    current, after, before = vowels[index], vowels[index + 1], vowels[np.maximum(index - 1, 0)]
    tracks = current + np.maximum(share, 0)[:, None] * (after - current)
    tracks += np.maximum(-share, 0)[:, None] * (before - current)
    frequencies = np.fft.rfftfreq(N_FFT, 1 / sample_rate_hz).astype(np.float32)[None]
    gain = np.full((times.size, frequencies.size), 0.02, dtype=np.float32)
    for number in range(3):
        center = tracks[:, number, None].astype(np.float32)
        width = np.float32(90.0 + 60.0 * number)
        distance = (frequencies - center) / width
        gain += np.float32((1.0, 0.6, 0.35)[number]) / (1 + distance**2)
    gain += 0.15 / (1 + ((frequencies - 3500 * singer.size) / 500) ** 2)
    n = min(spectrum.shape[1], gain.shape[0])
    _, shaped = istft(
        spectrum[:, :n] * gain[:n].T, sample_rate_hz, nperseg=N_FFT, noverlap=N_FFT - HOP
    )
    out = np.zeros(source.size, dtype=np.float32)
    m = min(out.size, shaped.size)
    out[:m] = shaped[:m]
    return out


def _consonants(
    rng: np.random.Generator, starts: np.ndarray, velocities: np.ndarray, n_samples: int,
    sample_rate_hz: int, singer: Singer,
) -> np.ndarray:  # fmt: skip
    """Noise before the vowels of those syllables that begin with a consonant."""
    out = np.zeros(n_samples, dtype=np.float32)
    names = list(CONSONANTS)
    banks = {}
    for start, loud in zip(starts, velocities, strict=True):
        if rng.random() > singer.consonants:
            continue
        name = names[rng.integers(len(names))]
        (low, high), length_s, level, early = CONSONANTS[name]
        if name not in banks:
            banks[name] = band_noise(rng, sample_rate_hz, low, high, sample_rate_hz)
        n = int(length_s * rng.uniform(0.6, 1.4) * sample_rate_hz)
        offset = rng.integers(0, sample_rate_hz - n)
        burst = banks[name][offset : offset + n] * np.hanning(n) ** (0.5 if early < 0.85 else 1)
        at = int((start - early * n / sample_rate_hz) * sample_rate_hz)
        first, last = max(at, 0), min(at + n, n_samples)
        if last > first:
            out[first:last] += (0.35 * level * loud * burst[first - at : last - at]).astype("f4")
    return out
