"""Sounds of old sound chips and of samples at low rates: few waves, noise drums, coarse steps.

Waves are drawn sample by sample without smoothing, as such chips did; their aliasing
belongs to the sound.  Crushing holds samples and rounds them to few bits.
"""

from __future__ import annotations

import numpy as np

from phrasefit.sounds.dsp import midi_to_hz
from phrasefit.training.performance import Played

WAVES = ("pulse12", "pulse25", "square", "saw", "triangle")
CRUSH_RATES_HZ = (8000.0, 11025.0, 16000.0)
KICKS, SNARES = (35, 36, 41, 43, 45, 47, 48, 50), (37, 38, 39, 40)


def _wave(name: str, phase: np.ndarray) -> np.ndarray:
    """Read a wave at a phase counted in periods."""
    part = phase - np.floor(phase)
    if name == "saw":
        return 2 * part - 1
    if name == "triangle":
        return 4 * np.abs(part - 0.5) - 1
    duty = {"pulse12": 0.125, "pulse25": 0.25}.get(name, 0.5)
    return np.where(part < duty, 1.0, -1.0)


def play_wave(
    rng: np.random.Generator, played: Played, n_samples: int, sample_rate_hz: int
) -> np.ndarray:
    """Play a part on one wave [shape=(n_samples,), float32]."""
    name = str(rng.choice(WAVES)) if played.part.role != "bass" else str(
        rng.choice(["triangle", "square", "saw"]))  # fmt: skip
    fall_s = float(rng.choice([0.12, 0.4, 1.5, 9.0]))
    vibrato = float(rng.choice([0.0, 0.0, 0.006]))
    out = np.zeros(n_samples, dtype=np.float32)
    for start_s, end_s, pitch, loud in zip(
        played.starts_s, played.ends_s, played.pitches, played.velocities, strict=True
    ):
        first = round(start_s * sample_rate_hz)
        last = min(round(end_s * sample_rate_hz), n_samples)
        if first < 0 or last <= first:
            continue
        t = np.arange(last - first, dtype=np.float32) / sample_rate_hz
        cycles = t * np.float32(midi_to_hz(pitch))
        if vibrato:
            cycles = cycles * (1 + vibrato * np.sin(38 * t) * (t > 0.2) / (1 + t))
        out[first:last] += _wave(name, cycles) * np.exp(-t / fall_s) * np.float32(loud)
    return out


def play_noise_drums(
    rng: np.random.Generator, played: Played, n_samples: int, sample_rate_hz: int
) -> np.ndarray:
    """Kicks that fall in pitch, snares and hats of held noise [shape=(n_samples,), float32]."""
    t = np.arange(int(0.25 * sample_rate_hz), dtype=np.float32) / sample_rate_hz
    noise = np.repeat(rng.choice([-1.0, 1.0], size=t.size), int(rng.choice([1, 2, 4])))[: t.size]
    low = float(rng.uniform(45, 70))
    fall = low * t + float(rng.uniform(4, 9)) * (1 - np.exp(-t * 25)) / 4
    kick = _wave(str(rng.choice(["triangle", "square"])), fall) * np.exp(-t * rng.uniform(9, 20))
    snare = noise * np.exp(-t * rng.uniform(12, 30)) * 0.6
    bright = np.diff(noise, prepend=0.0) * 0.25
    strokes = {"kick": kick, "snare": snare, "hat": bright * np.exp(-t * rng.uniform(40, 90))}
    out = np.zeros(n_samples, dtype=np.float32)
    for start_s, key, loud in zip(played.starts_s, played.pitches, played.velocities, strict=True):
        first = round(start_s * sample_rate_hz)
        if not 0 <= first < n_samples:
            continue
        name = "kick" if int(key) in KICKS else "snare" if int(key) in SNARES else "hat"
        stroke = strokes[name][: n_samples - first]
        out[first : first + stroke.size] += stroke * np.float32(loud)
    return out


def crush(
    rng: np.random.Generator, sound: np.ndarray, sample_rate_hz: int, *, n_bits: int
) -> np.ndarray:
    """Hold samples at a low rate and round them to `n_bits` of the peak."""
    rate_hz = float(rng.choice(CRUSH_RATES_HZ))
    ticks = np.floor(np.arange(sound.size) * (rate_hz / sample_rate_hz))
    held = sound[np.minimum((ticks * (sample_rate_hz / rate_hz)).astype(int), sound.size - 1)]
    step = (np.abs(sound).max() + 1e-9) / 2 ** (n_bits - 1)
    return (np.round(held / step) * step).astype(np.float32)
