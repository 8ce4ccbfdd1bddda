"""The drum kit: one function a piece, sound from nothing but sines and noise.

Each piece is ``piece(rng, sample_rate_hz, velocity, timbre) -> samples``: `velocity`
(0-1) changes the tone, not the level; `timbre` [shape=(6,), 0-1] fixes the particular
drum, so that all hits of a song come from one kit while `rng` makes no two hits equal.
All sounds begin at their first sample and have a peak of about 1.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from phrasefit.demo.dsp import band_noise, fade_out, filtered, peaking, seconds_axis

Piece = Callable[[np.random.Generator, int, float, np.ndarray], np.ndarray]


def _between(low: float, high: float, share: float) -> float:
    """Blend geometrically, as frequencies and decays are heard."""
    return low * (high / low) ** share


def _unit(sound: np.ndarray, sample_rate_hz: int, tail_s: float = 0.01) -> np.ndarray:
    """Bring the peak to 1 and end without a click."""
    return fade_out(sound / (np.max(np.abs(sound)) + 1e-9), tail_s, sample_rate_hz)


def _drop(
    t: np.ndarray, start_hz: float, end_hz: float, fall_s: float, sample_rate_hz: int
) -> np.ndarray:
    """A sine whose pitch falls from `start_hz` to `end_hz`: a skin after the stroke."""
    frequency = end_hz + (start_hz - end_hz) * np.exp(-t / fall_s)
    return np.sin(2.0 * np.pi * np.cumsum(frequency) / sample_rate_hz)


def kick(
    rng: np.random.Generator, sample_rate_hz: int, velocity: float, timbre: np.ndarray
) -> np.ndarray:
    """Bass drum: a falling sine, a beater click, a little overdrive."""
    t = seconds_axis(_between(0.22, 0.5, timbre[0]), sample_rate_hz)
    end_hz = _between(42.0, 62.0, timbre[1])
    body = _drop(t, end_hz * _between(2.2, 5.0, timbre[2]), end_hz, 0.028, sample_rate_hz)
    body *= np.exp(-t / _between(0.07, 0.17, timbre[0]))
    click = band_noise(rng, len(t), 1200.0, _between(2500.0, 7000.0, timbre[3]), sample_rate_hz)
    click *= np.exp(-t / 0.004) * (0.05 + 0.18 * timbre[4]) * (0.4 + velocity)
    drive = 1.0 + 1.8 * timbre[5]
    return _unit(np.tanh(drive * body) / np.tanh(drive) + click, sample_rate_hz, 0.05)


def snare(
    rng: np.random.Generator, sample_rate_hz: int, velocity: float, timbre: np.ndarray
) -> np.ndarray:
    """Snare drum: two skin modes under rattling wires."""
    t = seconds_axis(_between(0.18, 0.4, timbre[0]), sample_rate_hz)
    mode_hz = _between(165.0, 240.0, timbre[1])
    body = _drop(t, mode_hz * 1.5, mode_hz, 0.012, sample_rate_hz) * np.exp(-t / 0.06)
    body += 0.6 * np.sin(2 * np.pi * mode_hz * 1.62 * t) * np.exp(-t / 0.04)
    wires = band_noise(rng, len(t), _between(700.0, 1800.0, timbre[2]), 11000.0, sample_rate_hz)
    wires = peaking(wires, _between(3000.0, 6000.0, timbre[3]), 6.0, 0.9, sample_rate_hz)
    wires *= np.exp(-t / _between(0.05, 0.13, timbre[0])) * (1.0 - 0.4 * np.exp(-t / 0.002))
    share = _between(0.25, 0.6, timbre[4]) * (0.6 + 0.4 * velocity)
    return _unit(np.tanh(1.3 * ((1 - share) * body + share * wires)), sample_rate_hz, 0.04)


def brush(
    rng: np.random.Generator, sample_rate_hz: int, velocity: float, timbre: np.ndarray
) -> np.ndarray:
    """Snare played with brushes: a soft slap and a short sweep."""
    t = seconds_axis(_between(0.14, 0.3, timbre[0]), sample_rate_hz)
    sweep = band_noise(rng, len(t), _between(500.0, 1100.0, timbre[1]), 8500.0, sample_rate_hz)
    shape = np.exp(-t / _between(0.03, 0.07, timbre[2])) + 0.25 * np.exp(-t / 0.1)
    slap = np.sin(2 * np.pi * _between(170.0, 230.0, timbre[3]) * t) * np.exp(-t / 0.03)
    return _unit(sweep * shape * 0.5 + (0.3 + 0.5 * velocity) * slap, sample_rate_hz, 0.04)


def rim(
    rng: np.random.Generator, sample_rate_hz: int, velocity: float, timbre: np.ndarray
) -> np.ndarray:
    """Stick laid across the rim: a woody knock."""
    t = seconds_axis(0.12, sample_rate_hz)
    knock_hz = _between(420.0, 620.0, timbre[0])
    knock = np.sin(2 * np.pi * knock_hz * t) * np.exp(-t / 0.014)
    knock += 0.8 * np.sin(2 * np.pi * knock_hz * 3.4 * t) * np.exp(-t / 0.007)
    tick = band_noise(rng, len(t), 1800.0, 7000.0, sample_rate_hz) * np.exp(-t / 0.003)
    return _unit(knock + 0.35 * (0.5 + velocity) * tick, sample_rate_hz)


def _metal(
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
    decay_s = _between(0.016, 0.04, timbre[0]) * (0.6 + 0.6 * velocity)
    metal = _metal(rng, t, timbre, sample_rate_hz, _between(3200.0, 5200.0, timbre[1]))
    return _unit(metal * np.exp(-t / decay_s), sample_rate_hz)


def open_hat(
    rng: np.random.Generator, sample_rate_hz: int, velocity: float, timbre: np.ndarray
) -> np.ndarray:
    """Hi-hat open: the same bronze left ringing until the foot closes it."""
    t = seconds_axis(0.9, sample_rate_hz)
    metal = _metal(rng, t, timbre, sample_rate_hz, _between(3200.0, 5200.0, timbre[1]))
    return _unit(metal * np.exp(-t / _between(0.15, 0.32, timbre[0])), sample_rate_hz, 0.1)


def ride(
    rng: np.random.Generator, sample_rate_hz: int, velocity: float, timbre: np.ndarray
) -> np.ndarray:
    """Ride cymbal: a ping with a long quiet wash."""
    t = seconds_axis(1.3, sample_rate_hz)
    metal = _metal(rng, t, timbre, sample_rate_hz, _between(2400.0, 3800.0, timbre[1]))
    ping_hz = _between(2600.0, 4200.0, timbre[2])
    ping = np.sin(2 * np.pi * ping_hz * t) + 0.6 * np.sin(2 * np.pi * ping_hz * 1.47 * t)
    wash = metal * (0.8 * np.exp(-t / 0.012) + 0.28 * np.exp(-t / 0.4))
    return _unit(wash + (0.3 + 0.5 * velocity) * ping * np.exp(-t / 0.09), sample_rate_hz, 0.3)


def crash(
    rng: np.random.Generator, sample_rate_hz: int, velocity: float, timbre: np.ndarray
) -> np.ndarray:
    """Crash cymbal: wide noise that darkens while it dies."""
    t = seconds_axis(2.4, sample_rate_hz)
    metal = _metal(rng, t, timbre, sample_rate_hz, _between(900.0, 1600.0, timbre[1]))
    dark = filtered(metal, "low", 4200.0, sample_rate_hz)
    bright = metal - dark
    long_s = _between(0.45, 0.9, timbre[0])
    sound = dark * np.exp(-t / long_s) + bright * (
        0.6 * np.exp(-t / (0.45 * long_s)) + 0.6 * np.exp(-t / 0.03)
    )
    return _unit(sound, sample_rate_hz, 0.5)


def _tom(low_hz: float, high_hz: float) -> Piece:
    """Make a tom whose pitch lies between `low_hz` and `high_hz`."""

    def tom(
        rng: np.random.Generator, sample_rate_hz: int, velocity: float, timbre: np.ndarray
    ) -> np.ndarray:
        """Tom: a skin that sags a little in pitch, and the stick on it."""
        t = seconds_axis(0.55, sample_rate_hz)
        skin_hz = _between(low_hz, high_hz, timbre[0])
        body = _drop(t, skin_hz * 1.35, skin_hz, 0.05, sample_rate_hz)
        body *= np.exp(-t / _between(0.1, 0.2, timbre[1]))
        stick = band_noise(rng, len(t), 800.0, 5000.0, sample_rate_hz) * np.exp(-t / 0.012)
        return _unit(body + (0.1 + 0.25 * velocity) * stick, sample_rate_hz, 0.08)

    return tom


def clap(
    rng: np.random.Generator, sample_rate_hz: int, velocity: float, timbre: np.ndarray
) -> np.ndarray:
    """Hand clap: a few hands that do not quite meet."""
    t = seconds_axis(0.3, sample_rate_hz)
    hands = band_noise(rng, len(t), _between(700.0, 1000.0, timbre[0]), 4500.0, sample_rate_hz)
    gaps_s = np.concatenate([[0.0], rng.uniform(0.004, 0.024, 3)])
    shape = sum((t >= gap) * np.exp(-np.maximum(t - gap, 0) / 0.006) for gap in gaps_s)
    tail = (t >= gaps_s.max()) * np.exp(-t / _between(0.04, 0.1, timbre[1]))
    return _unit(hands * (shape + 0.6 * tail), sample_rate_hz)


def shaker(
    rng: np.random.Generator, sample_rate_hz: int, velocity: float, timbre: np.ndarray
) -> np.ndarray:
    """Shaker: grains thrown against the wall, soft to begin and quick to stop."""
    t = seconds_axis(0.13, sample_rate_hz)
    grains = band_noise(rng, len(t), _between(3500.0, 6000.0, timbre[0]), 13000.0, sample_rate_hz)
    rise_s = _between(0.004, 0.02, timbre[1])
    return _unit(grains * (1 - np.exp(-t / rise_s)) * np.exp(-t / 0.025), sample_rate_hz)


def tambourine(
    rng: np.random.Generator, sample_rate_hz: int, velocity: float, timbre: np.ndarray
) -> np.ndarray:
    """Tambourine: small jingles, each a bright pair of plates."""
    t = seconds_axis(0.32, sample_rate_hz)
    metal = _metal(rng, t, timbre, sample_rate_hz, _between(4500.0, 6500.0, timbre[0]))
    rattle = 1.0 + 0.5 * np.sin(2 * np.pi * _between(28.0, 45.0, timbre[1]) * t)
    return _unit(metal * rattle * np.exp(-t / _between(0.04, 0.09, timbre[2])), sample_rate_hz)


def cowbell(
    rng: np.random.Generator, sample_rate_hz: int, velocity: float, timbre: np.ndarray
) -> np.ndarray:
    """Cowbell: two clashing tones."""
    t = seconds_axis(0.35, sample_rate_hz)
    tone_hz = _between(520.0, 680.0, timbre[0])
    tones = np.tanh(3 * np.sin(2 * np.pi * tone_hz * t)) + np.tanh(
        3 * np.sin(2 * np.pi * 1.48 * tone_hz * t)
    )
    sound = filtered(tones, "band", (tone_hz, 5000.0), sample_rate_hz)
    return _unit(sound * (np.exp(-t / 0.02) + 0.5 * np.exp(-t / 0.09)), sample_rate_hz)


def conga(
    rng: np.random.Generator, sample_rate_hz: int, velocity: float, timbre: np.ndarray
) -> np.ndarray:
    """Hand drum: an open tone with the slap of fingers."""
    t = seconds_axis(0.32, sample_rate_hz)
    tone_hz = _between(190.0, 330.0, timbre[0])
    body = _drop(t, tone_hz * 1.12, tone_hz, 0.02, sample_rate_hz) * np.exp(-t / 0.075)
    slap = band_noise(rng, len(t), 1200.0, 4800.0, sample_rate_hz) * np.exp(-t / 0.008)
    return _unit(body + 0.35 * velocity * slap, sample_rate_hz, 0.05)


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
