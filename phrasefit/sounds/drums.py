"""Drum strokes from nothing but sines and noise: the pieces that the practice groove plays.

Each piece is ``piece(rng, sample_rate_hz, velocity, timbre) -> samples``: `velocity`
(0-1) changes the tone, not the level; `timbre` [shape=(N_TIMBRE,), 0-1] fixes the
particular drum, so that all hits of a song come from one kit while `rng` makes no two
hits equal.  All sounds begin at their first sample and have a peak of about 1.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from phrasefit.sounds.dsp import band_noise, fade_out, peaking, seconds_axis

Piece = Callable[[np.random.Generator, int, float, np.ndarray], np.ndarray]


def between(low: float, high: float, share: float) -> float:
    """Blend geometrically, as frequencies and decays are heard."""
    return low * (high / low) ** share


def unit_peak(sound: np.ndarray, sample_rate_hz: int, tail_s: float = 0.01) -> np.ndarray:
    """Bring the peak to 1 and end without a click."""
    return fade_out(sound / (np.max(np.abs(sound)) + 1e-9), tail_s, sample_rate_hz)


def falling_sine(
    t: np.ndarray, start_hz: float, end_hz: float, fall_s: float, sample_rate_hz: int
) -> np.ndarray:
    """A sine whose pitch falls from `start_hz` to `end_hz`: a skin after the stroke."""
    frequency = end_hz + (start_hz - end_hz) * np.exp(-t / fall_s)
    return np.sin(2.0 * np.pi * np.cumsum(frequency) / sample_rate_hz)


def kick(
    rng: np.random.Generator, sample_rate_hz: int, velocity: float, timbre: np.ndarray
) -> np.ndarray:
    """Bass drum: a falling sine, a beater click, a little overdrive."""
    t = seconds_axis(between(0.22, 0.5, timbre[0]), sample_rate_hz)
    end_hz = between(42.0, 62.0, timbre[1])
    body = falling_sine(t, end_hz * between(2.2, 5.0, timbre[2]), end_hz, 0.028, sample_rate_hz)
    body *= np.exp(-t / between(0.07, 0.17, timbre[0]))
    click = band_noise(rng, len(t), 1200.0, between(2500.0, 7000.0, timbre[3]), sample_rate_hz)
    click *= np.exp(-t / 0.004) * (0.05 + 0.18 * timbre[4]) * (0.4 + velocity)
    drive = 1.0 + 1.8 * timbre[5]
    return unit_peak(np.tanh(drive * body) / np.tanh(drive) + click, sample_rate_hz, 0.05)


def snare(
    rng: np.random.Generator, sample_rate_hz: int, velocity: float, timbre: np.ndarray
) -> np.ndarray:
    """Snare drum: two skin modes under rattling wires."""
    t = seconds_axis(between(0.18, 0.4, timbre[0]), sample_rate_hz)
    mode_hz = between(165.0, 240.0, timbre[1])
    body = falling_sine(t, mode_hz * 1.5, mode_hz, 0.012, sample_rate_hz) * np.exp(-t / 0.06)
    body += 0.6 * np.sin(2 * np.pi * mode_hz * 1.62 * t) * np.exp(-t / 0.04)
    wires = band_noise(rng, len(t), between(700.0, 1800.0, timbre[2]), 11000.0, sample_rate_hz)
    wires = peaking(wires, between(3000.0, 6000.0, timbre[3]), 6.0, 0.9, sample_rate_hz)
    wires *= np.exp(-t / between(0.05, 0.13, timbre[0])) * (1.0 - 0.4 * np.exp(-t / 0.002))
    share = between(0.25, 0.6, timbre[4]) * (0.6 + 0.4 * velocity)
    return unit_peak(np.tanh(1.3 * ((1 - share) * body + share * wires)), sample_rate_hz, 0.04)


def brush(
    rng: np.random.Generator, sample_rate_hz: int, velocity: float, timbre: np.ndarray
) -> np.ndarray:
    """Snare played with brushes: a soft slap and a short sweep."""
    t = seconds_axis(between(0.14, 0.3, timbre[0]), sample_rate_hz)
    sweep = band_noise(rng, len(t), between(500.0, 1100.0, timbre[1]), 8500.0, sample_rate_hz)
    shape = np.exp(-t / between(0.03, 0.07, timbre[2])) + 0.25 * np.exp(-t / 0.1)
    slap = np.sin(2 * np.pi * between(170.0, 230.0, timbre[3]) * t) * np.exp(-t / 0.03)
    return unit_peak(sweep * shape * 0.5 + (0.3 + 0.5 * velocity) * slap, sample_rate_hz, 0.04)


def bronze(
    rng: np.random.Generator,
    t: np.ndarray,
    timbre: np.ndarray,
    sample_rate_hz: int,
    floor_hz: float,
) -> np.ndarray:
    """Bronze: a dense cluster of inharmonic partials fixed by `timbre`, plus hiss."""
    seeded = np.random.default_rng((timbre * 1e6).astype(np.int64))
    top_hz = 0.46 * sample_rate_hz
    partials_hz = floor_hz * (min(13000.0, top_hz) / floor_hz) ** seeded.random(22)
    levels = seeded.uniform(0.3, 1.0, 22)
    phases = rng.random(22) * 2 * np.pi
    cluster = np.zeros(len(t))
    for frequency, level, phase in zip(partials_hz, levels, phases, strict=True):
        cluster += level * np.sin(2 * np.pi * frequency * t + phase)
    hiss = band_noise(rng, len(t), floor_hz * 1.5, 15000.0, sample_rate_hz)
    share = 0.35 + 0.4 * timbre[5]
    return (1 - share) * cluster / np.sqrt(np.mean(cluster**2)) + share * hiss


def closed_hat(
    rng: np.random.Generator, sample_rate_hz: int, velocity: float, timbre: np.ndarray
) -> np.ndarray:
    """Hi-hat closed: a short tick of bronze."""
    t = seconds_axis(0.16, sample_rate_hz)
    decay_s = between(0.016, 0.04, timbre[0]) * (0.6 + 0.6 * velocity)
    metal = bronze(rng, t, timbre, sample_rate_hz, between(3200.0, 5200.0, timbre[1]))
    return unit_peak(metal * np.exp(-t / decay_s), sample_rate_hz)
