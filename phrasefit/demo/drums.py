"""The whole drum kit: the pieces of `phrasefit.sounds.drums` and the rest, made likewise."""

from __future__ import annotations

import numpy as np

from phrasefit.sounds.drums import (
    Piece,
    between,
    bronze,
    brush,
    closed_hat,
    falling_sine,
    kick,
    snare,
    unit_peak,
)
from phrasefit.sounds.dsp import band_noise, filtered, seconds_axis


def rim(
    rng: np.random.Generator, sample_rate_hz: int, velocity: float, timbre: np.ndarray
) -> np.ndarray:
    """Stick laid across the rim: a woody knock."""
    t = seconds_axis(0.12, sample_rate_hz)
    knock_hz = between(420.0, 620.0, timbre[0])
    knock = np.sin(2 * np.pi * knock_hz * t) * np.exp(-t / 0.014)
    knock += 0.8 * np.sin(2 * np.pi * knock_hz * 3.4 * t) * np.exp(-t / 0.007)
    tick = band_noise(rng, len(t), 1800.0, 7000.0, sample_rate_hz) * np.exp(-t / 0.003)
    return unit_peak(knock + 0.35 * (0.5 + velocity) * tick, sample_rate_hz)


def open_hat(
    rng: np.random.Generator, sample_rate_hz: int, velocity: float, timbre: np.ndarray
) -> np.ndarray:
    """Hi-hat open: the same bronze left ringing until the foot closes it."""
    t = seconds_axis(0.9, sample_rate_hz)
    metal = bronze(rng, t, timbre, sample_rate_hz, between(3200.0, 5200.0, timbre[1]))
    return unit_peak(metal * np.exp(-t / between(0.15, 0.32, timbre[0])), sample_rate_hz, 0.1)


def ride(
    rng: np.random.Generator, sample_rate_hz: int, velocity: float, timbre: np.ndarray
) -> np.ndarray:
    """Ride cymbal: a ping with a long quiet wash."""
    t = seconds_axis(1.3, sample_rate_hz)
    metal = bronze(rng, t, timbre, sample_rate_hz, between(2400.0, 3800.0, timbre[1]))
    ping_hz = between(2600.0, 4200.0, timbre[2])
    ping = np.sin(2 * np.pi * ping_hz * t) + 0.6 * np.sin(2 * np.pi * ping_hz * 1.47 * t)
    wash = metal * (0.8 * np.exp(-t / 0.012) + 0.28 * np.exp(-t / 0.4))
    return unit_peak(wash + (0.3 + 0.5 * velocity) * ping * np.exp(-t / 0.09), sample_rate_hz, 0.3)


def crash(
    rng: np.random.Generator, sample_rate_hz: int, velocity: float, timbre: np.ndarray
) -> np.ndarray:
    """Crash cymbal: wide noise that darkens while it dies."""
    t = seconds_axis(2.4, sample_rate_hz)
    metal = bronze(rng, t, timbre, sample_rate_hz, between(900.0, 1600.0, timbre[1]))
    dark = filtered(metal, "low", 4200.0, sample_rate_hz)
    bright = metal - dark
    long_s = between(0.45, 0.9, timbre[0])
    sound = dark * np.exp(-t / long_s) + bright * (
        0.6 * np.exp(-t / (0.45 * long_s)) + 0.6 * np.exp(-t / 0.03)
    )
    return unit_peak(sound, sample_rate_hz, 0.5)


def _tom(low_hz: float, high_hz: float) -> Piece:
    """Make a tom whose pitch lies between `low_hz` and `high_hz`."""

    def tom(
        rng: np.random.Generator, sample_rate_hz: int, velocity: float, timbre: np.ndarray
    ) -> np.ndarray:
        """Tom: a skin that sags a little in pitch, and the stick on it."""
        t = seconds_axis(0.55, sample_rate_hz)
        skin_hz = between(low_hz, high_hz, timbre[0])
        body = falling_sine(t, skin_hz * 1.35, skin_hz, 0.05, sample_rate_hz)
        body *= np.exp(-t / between(0.1, 0.2, timbre[1]))
        stick = band_noise(rng, len(t), 800.0, 5000.0, sample_rate_hz) * np.exp(-t / 0.012)
        return unit_peak(body + (0.1 + 0.25 * velocity) * stick, sample_rate_hz, 0.08)

    return tom


def clap(
    rng: np.random.Generator, sample_rate_hz: int, velocity: float, timbre: np.ndarray
) -> np.ndarray:
    """Hand clap: a few hands that do not quite meet."""
    t = seconds_axis(0.3, sample_rate_hz)
    hands = band_noise(rng, len(t), between(700.0, 1000.0, timbre[0]), 4500.0, sample_rate_hz)
    gaps_s = np.concatenate([[0.0], rng.uniform(0.004, 0.024, 3)])
    shape = sum((t >= gap) * np.exp(-np.maximum(t - gap, 0) / 0.006) for gap in gaps_s)
    tail = (t >= gaps_s.max()) * np.exp(-t / between(0.04, 0.1, timbre[1]))
    return unit_peak(hands * (shape + 0.6 * tail), sample_rate_hz)


def shaker(
    rng: np.random.Generator, sample_rate_hz: int, velocity: float, timbre: np.ndarray
) -> np.ndarray:
    """Shaker: grains thrown against the wall, soft to begin and quick to stop."""
    t = seconds_axis(0.13, sample_rate_hz)
    grains = band_noise(rng, len(t), between(3500.0, 6000.0, timbre[0]), 13000.0, sample_rate_hz)
    rise_s = between(0.004, 0.02, timbre[1])
    return unit_peak(grains * (1 - np.exp(-t / rise_s)) * np.exp(-t / 0.025), sample_rate_hz)


def tambourine(
    rng: np.random.Generator, sample_rate_hz: int, velocity: float, timbre: np.ndarray
) -> np.ndarray:
    """Tambourine: small jingles, each a bright pair of plates."""
    t = seconds_axis(0.32, sample_rate_hz)
    metal = bronze(rng, t, timbre, sample_rate_hz, between(4500.0, 6500.0, timbre[0]))
    rattle = 1.0 + 0.5 * np.sin(2 * np.pi * between(28.0, 45.0, timbre[1]) * t)
    return unit_peak(metal * rattle * np.exp(-t / between(0.04, 0.09, timbre[2])), sample_rate_hz)


def cowbell(
    rng: np.random.Generator, sample_rate_hz: int, velocity: float, timbre: np.ndarray
) -> np.ndarray:
    """Cowbell: two clashing tones."""
    t = seconds_axis(0.35, sample_rate_hz)
    tone_hz = between(520.0, 680.0, timbre[0])
    tones = np.tanh(3 * np.sin(2 * np.pi * tone_hz * t)) + np.tanh(
        3 * np.sin(2 * np.pi * 1.48 * tone_hz * t)
    )
    sound = filtered(tones, "band", (tone_hz, 5000.0), sample_rate_hz)
    return unit_peak(sound * (np.exp(-t / 0.02) + 0.5 * np.exp(-t / 0.09)), sample_rate_hz)


def conga(
    rng: np.random.Generator, sample_rate_hz: int, velocity: float, timbre: np.ndarray
) -> np.ndarray:
    """Hand drum: an open tone with the slap of fingers."""
    t = seconds_axis(0.32, sample_rate_hz)
    tone_hz = between(190.0, 330.0, timbre[0])
    body = falling_sine(t, tone_hz * 1.12, tone_hz, 0.02, sample_rate_hz) * np.exp(-t / 0.075)
    slap = band_noise(rng, len(t), 1200.0, 4800.0, sample_rate_hz) * np.exp(-t / 0.008)
    return unit_peak(body + 0.35 * velocity * slap, sample_rate_hz, 0.05)


PIECES: dict[str, Piece] = {
    "kick": kick,
    "snare": snare,
    "brush": brush,
    "rim": rim,
    "closed_hat": closed_hat,
    "open_hat": open_hat,
    "ride": ride,
    "crash": crash,
    "high_tom": _tom(150.0, 210.0),
    "mid_tom": _tom(105.0, 145.0),
    "low_tom": _tom(70.0, 98.0),
    "clap": clap,
    "shaker": shaker,
    "tambourine": tambourine,
    "cowbell": cowbell,
    "conga": conga,
}

# Pieces that are silenced when their note ends (the foot closes the hat).
CHOKED: frozenset[str] = frozenset({"open_hat"})
