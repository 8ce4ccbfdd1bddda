"""Struck and plucked strings: guitars, basses, piano; and the tine piano.

Each voice is ``voice(rng, sample_rate_hz, pitch, velocity, timbre) -> samples`` with
`timbre` [shape=(N_TIMBRE,), 0-1], an onset at the first sample and an RMS that is even
over the pitches.  The model of a string is in `phrasefit.sounds.strings`.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from phrasefit.sounds.dsp import band_noise, filtered, midi_to_hz, seconds_axis
from phrasefit.sounds.strings import string_response, upright_bass

Voice = Callable[[np.random.Generator, int, float, float, np.ndarray], np.ndarray]

GUITAR_BODY = ((105.0, 0.9, 6.0), (205.0, 0.8, 7.0), (410.0, 0.5, 6.0), (2400.0, 0.5, 2.0))


def steel_guitar(
    rng: np.random.Generator,
    sample_rate_hz: int,
    pitch: float,
    velocity: float,
    timbre: np.ndarray,
) -> np.ndarray:
    """Acoustic guitar with steel strings, plucked with a pick."""
    hz = midi_to_hz(pitch)
    sound = string_response(
        sample_rate_hz, hz, 2.2, decay_s=(1.6 + 2.4 * timbre[0]) * (220.0 / hz) ** 0.3,
        damping_hz=2200.0 + 2500.0 * timbre[1],
        brightness_hz=(1800.0 + 3500.0 * timbre[2]) * (0.4 + 0.8 * velocity),
        strike_at=0.12 + 0.12 * timbre[3] + rng.uniform(-0.02, 0.02), stiffness=4e-5,
        body=GUITAR_BODY,
    )  # fmt: skip
    return sound + _pick_noise(rng, sound, sample_rate_hz, 0.25 * velocity)


def nylon_guitar(
    rng: np.random.Generator,
    sample_rate_hz: int,
    pitch: float,
    velocity: float,
    timbre: np.ndarray,
) -> np.ndarray:
    """Classical guitar, plucked with the fingers: round and shorter."""
    hz = midi_to_hz(pitch)
    return string_response(
        sample_rate_hz, hz, 1.8, decay_s=(1.2 + 1.6 * timbre[0]) * (220.0 / hz) ** 0.3,
        damping_hz=1100.0 + 900.0 * timbre[1],
        brightness_hz=(900.0 + 1300.0 * timbre[2]) * (0.5 + 0.8 * velocity),
        strike_at=0.2 + 0.12 * timbre[3] + rng.uniform(-0.02, 0.02), body=GUITAR_BODY[:3],
    )  # fmt: skip


def electric_guitar(
    rng: np.random.Generator,
    sample_rate_hz: int,
    pitch: float,
    velocity: float,
    timbre: np.ndarray,
) -> np.ndarray:
    """Electric guitar before its amplifier: thin pick-up sound, long sustain."""
    hz = midi_to_hz(pitch)
    sound = string_response(
        sample_rate_hz, hz, 2.6, decay_s=(3.0 + 3.0 * timbre[0]) * (220.0 / hz) ** 0.25,
        damping_hz=2600.0 + 2500.0 * timbre[1],
        brightness_hz=(2200.0 + 3500.0 * timbre[2]) * (0.5 + 0.6 * velocity),
        strike_at=0.08 + 0.1 * timbre[3], stiffness=3e-5,
        body=((_pickup_hz(timbre), 1.5, 1.6),),
    )  # fmt: skip
    return sound + _pick_noise(rng, sound, sample_rate_hz, 0.15 * velocity)


def amplifier(sound: np.ndarray, sample_rate_hz: int, timbre: np.ndarray) -> np.ndarray:
    """Send a whole electric guitar track through an amplifier, clean to crunchy."""
    loud = np.percentile(np.abs(sound), 99.5) + 1e-9
    drive = 0.4 + 3.5 * timbre[5] ** 2
    driven = np.tanh(drive * sound / loud) * (loud / np.tanh(drive))
    return filtered(driven, "low", 4200.0 + 1500.0 * timbre[4], sample_rate_hz)


def _pickup_hz(timbre: np.ndarray) -> float:
    """Resonance of the pick-up and its cable."""
    return 1900.0 + 2300.0 * timbre[4]


def muted_guitar(
    rng: np.random.Generator,
    sample_rate_hz: int,
    pitch: float,
    velocity: float,
    timbre: np.ndarray,
) -> np.ndarray:
    """Strings damped with the palm: the chuck of a rhythm guitar."""
    hz = midi_to_hz(pitch)
    sound = string_response(
        sample_rate_hz, hz, 0.35, decay_s=0.18 + 0.2 * timbre[0], damping_hz=1500.0,
        brightness_hz=1500.0 + 2500.0 * velocity, strike_at=0.15, body=GUITAR_BODY[1:],
    )  # fmt: skip
    return sound + _pick_noise(rng, sound, sample_rate_hz, 0.5)


def banjo(
    rng: np.random.Generator,
    sample_rate_hz: int,
    pitch: float,
    velocity: float,
    timbre: np.ndarray,
) -> np.ndarray:
    """Five-string banjo: hard pick, drum-skin body, short ring."""
    hz = midi_to_hz(pitch)
    sound = string_response(
        sample_rate_hz, hz, 1.0, decay_s=(0.7 + 0.5 * timbre[0]) * (300.0 / hz) ** 0.3,
        damping_hz=3800.0, brightness_hz=3500.0 + 3000.0 * velocity,
        strike_at=0.07 + 0.05 * timbre[1], stiffness=2e-5,
        body=((330.0, 1.2, 3.0), (750.0, 1.4, 3.0), (1900.0, 1.0, 2.5)),
    )  # fmt: skip
    return sound + _pick_noise(rng, sound, sample_rate_hz, 0.3)


def picked_bass(
    rng: np.random.Generator,
    sample_rate_hz: int,
    pitch: float,
    velocity: float,
    timbre: np.ndarray,
) -> np.ndarray:
    """Electric bass guitar."""
    hz = midi_to_hz(pitch)
    sound = string_response(
        sample_rate_hz, hz, 2.4, decay_s=2.0 + 3.0 * timbre[0],
        damping_hz=500.0 + 900.0 * timbre[1],
        brightness_hz=(350.0 + 1300.0 * timbre[2]) * (0.6 + 0.6 * velocity),
        strike_at=0.12 + 0.15 * timbre[3], stiffness=8e-5, body=((90.0, 0.5, 2.0),),
    )  # fmt: skip
    return sound + _pick_noise(rng, sound, sample_rate_hz, 0.12 * velocity)


def piano(
    rng: np.random.Generator,
    sample_rate_hz: int,
    pitch: float,
    velocity: float,
    timbre: np.ndarray,
) -> np.ndarray:
    """Piano: two strings a hair apart under a felt hammer."""
    hz = midi_to_hz(pitch)
    spread = 1.0 + (0.0003 + 0.0007 * timbre[0])
    sound = np.zeros(round(3.0 * sample_rate_hz))
    for string_hz, share in ((hz, 0.6), (hz * spread, 0.4)):
        sound += share * string_response(
            sample_rate_hz, string_hz, 3.0, decay_s=(5.0 + 4.0 * timbre[1]) * (200.0 / hz) ** 0.6,
            damping_hz=1800.0 + 1500.0 * timbre[2],
            brightness_hz=(500.0 + 900.0 * timbre[3]) * (0.5 + 1.6 * velocity) * (hz / 200) ** 0.4,
            strike_at=0.125, stiffness=2.5e-4 * (hz / 260.0) ** 1.2,
            body=((180.0, 0.4, 2.0), (900.0, 0.3, 1.0)),
        )  # fmt: skip
    t = seconds_axis(0.06, sample_rate_hz)
    thump = band_noise(rng, len(t), 80.0, 900.0, sample_rate_hz) * np.exp(-t / 0.012)
    sound[: len(t)] += 0.35 * velocity * thump
    return sound


def tine_piano(
    rng: np.random.Generator,
    sample_rate_hz: int,
    pitch: float,
    velocity: float,
    timbre: np.ndarray,
) -> np.ndarray:
    """Electric piano by frequency modulation, a soft body with a struck tine.

    Method of J. Chowning, "The synthesis of complex audio spectra by means of
    frequency modulation", 1973.
    """
    hz = midi_to_hz(pitch)
    t = seconds_axis(2.4, sample_rate_hz)
    cycle = 2.0 * np.pi * hz * t
    index = (0.5 + 1.8 * velocity * (0.5 + timbre[0])) * np.exp(-t / 0.5)
    body = np.sin(cycle + index * np.sin(cycle))
    tine_ratio = 7.0 + 7.0 * (timbre[1] > 0.5)
    tine = np.sin(cycle + 0.6 * np.sin(tine_ratio * cycle) * np.exp(-t / 0.15))
    if hz * tine_ratio > 0.4 * sample_rate_hz:
        tine = np.sin(cycle)
    ring = np.exp(-t / ((0.7 + 0.8 * timbre[2]) * (220.0 / hz) ** 0.3))
    rise = 1.0 - np.exp(-t / 0.0008)
    return 1.4 * rise * ring * (0.7 * body + 0.5 * tine)


def _pick_noise(
    rng: np.random.Generator, sound: np.ndarray, sample_rate_hz: int, level: float
) -> np.ndarray:
    """The scratch of the pick, in the length of `sound`."""
    scratch = np.zeros(len(sound))
    n_scratch = min(len(sound), round(0.012 * sample_rate_hz))
    t = np.arange(n_scratch) / sample_rate_hz
    scratch[:n_scratch] = rng.standard_normal(n_scratch) * np.exp(-t / 0.002)
    return level * scratch


PLUCKED: dict[str, Voice] = {
    "steel_guitar": steel_guitar,
    "nylon_guitar": nylon_guitar,
    "electric_guitar": electric_guitar,
    "muted_guitar": muted_guitar,
    "banjo": banjo,
    "picked_bass": picked_bass,
    "upright_bass": upright_bass,
    "piano": piano,
    "tine_piano": tine_piano,
}
