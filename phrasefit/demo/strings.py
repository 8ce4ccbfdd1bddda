"""Struck and plucked strings: guitars, basses, piano; and the tine piano.

A string is a delay line whose loop loses a little at each round trip.  Instead of
running the loop sample by sample, its response is written down in the frequency
domain and brought back by one inverse FFT, which is exact for fractional periods,
stiffness and any loss curve, and fast.  Model after K. Karplus and A. Strong,
"Digital synthesis of plucked-string and drum timbres", 1983, and D. Jaffe and
J. O. Smith, "Extensions of the Karplus-Strong plucked-string algorithm", 1983.

Each voice is ``voice(rng, sample_rate_hz, pitch, velocity, timbre) -> samples`` with
`timbre` [shape=(6,), 0-1], an onset at the first sample and an RMS that is even over
the pitches.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from phrasefit.demo.dsp import band_noise, filtered, midi_to_hz, seconds_axis

Voice = Callable[[np.random.Generator, int, float, float, np.ndarray], np.ndarray]


def string_response(
    sample_rate_hz: int,
    frequency_hz: float,
    duration_s: float,
    *,
    decay_s: float,
    damping_hz: float,
    brightness_hz: float,
    strike_at: float = 0.13,
    stiffness: float = 0.0,
    body: tuple[tuple[float, float, float], ...] = (),
) -> np.ndarray:
    """Sound one string after a stroke at time 0.

    Parameters
    ----------
    sample_rate_hz, frequency_hz : int, float
        Rate of the result and pitch of the string.
    duration_s : float
        Length of the result.
    decay_s : float
        Time for the lowest partials to fall by 60 dB.
    damping_hz : float
        Partials at this frequency fall twice as fast; higher ones faster still.
    brightness_hz : float
        Corner of the stroke: a soft finger or felt is low, a pick is high.
    strike_at : float
        Place of the stroke as a fraction of the string (its comb of missing partials).
    stiffness : float
        Inharmonicity B of partial n: ``n f sqrt(1 + B n^2)``.
    body : tuple of (centre Hz, gain, quality)
        Resonances added to the bare string.

    Returns
    -------
    array [shape=(n,), float]
        RMS of its first 0.1 s is 1.
    """
    from scipy.fft import irfft, next_fast_len

    n_samples = max(2, round(duration_s * sample_rate_hz))
    n_fft = next_fast_len(n_samples + sample_rate_hz // 20, real=True)
    f = np.arange(n_fft // 2 + 1) * (sample_rate_hz / n_fft)
    partial = f / frequency_hz
    if stiffness:
        partial = np.sqrt((np.sqrt(1.0 + 4.0 * stiffness * partial**2) - 1.0) / (2.0 * stiffness))
    # On a circle just outside the unit circle the loop dies within the FFT: no wrap-around.
    shrink = np.exp(-5.0 / n_fft)
    period = sample_rate_hz / frequency_hz
    loss = 10.0 ** (-3.0 / frequency_hz * (1.0 + (f / damping_hz) ** 2) / decay_s)
    trip = np.exp(-2j * np.pi * partial) * shrink**period
    spectrum = (
        1.0 - np.exp(-2j * np.pi * partial * strike_at) * shrink ** (period * strike_at)
    ) / (1.0 - loss * trip)
    spectrum /= (1.0 + 1j * f / brightness_hz) ** 2
    spectrum *= 1j * f / (1j * f + 0.5 * frequency_hz)  # no offset, no rumble under the pitch
    resonance = np.ones(len(f), dtype=complex)
    for centre_hz, gain, quality in body:
        damped = 1j * f * centre_hz / quality
        resonance += gain * damped / (centre_hz**2 - f**2 + damped)
    sound = irfft(spectrum * resonance, n_fft)[:n_samples] * shrink ** -np.arange(n_samples)
    head = sound[: sample_rate_hz // 10]
    return sound / (np.sqrt(np.mean(head**2)) + 1e-12)


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


def upright_bass(
    rng: np.random.Generator,
    sample_rate_hz: int,
    pitch: float,
    velocity: float,
    timbre: np.ndarray,
) -> np.ndarray:
    """Double bass, plucked: dark, woody, soon gone."""
    hz = midi_to_hz(pitch)
    return string_response(
        sample_rate_hz, hz, 1.6, decay_s=1.0 + 1.2 * timbre[0],
        damping_hz=280.0 + 300.0 * timbre[1],
        brightness_hz=(260.0 + 400.0 * timbre[2]) * (0.6 + 0.6 * velocity),
        strike_at=0.25 + 0.1 * timbre[3],
        body=((65.0, 0.8, 3.0), (115.0, 1.0, 4.0), (620.0, 0.6, 2.0)),
    )  # fmt: skip


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
