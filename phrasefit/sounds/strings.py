"""A plucked string, and the double bass that the practice groove plays.

A string is a delay line whose loop loses a little at each round trip.  Instead of
running the loop sample by sample, its response is written down in the frequency
domain and brought back by one inverse FFT, which is exact for fractional periods,
stiffness and any loss curve, and fast.  Model after K. Karplus and A. Strong,
"Digital synthesis of plucked-string and drum timbres", 1983, and D. Jaffe and
J. O. Smith, "Extensions of the Karplus-Strong plucked-string algorithm", 1983.
"""

from __future__ import annotations

import numpy as np

from phrasefit.sounds.dsp import midi_to_hz


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
    body : tuple of (center Hz, gain, quality)
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
    for center_hz, gain, quality in body:
        damped = 1j * f * center_hz / quality
        resonance += gain * damped / (center_hz**2 - f**2 + damped)
    sound = irfft(spectrum * resonance, n_fft)[:n_samples] * shrink ** -np.arange(n_samples)
    head = sound[: sample_rate_hz // 10]
    return sound / (np.sqrt(np.mean(head**2)) + 1e-12)


def upright_bass(
    rng: np.random.Generator,
    sample_rate_hz: int,
    pitch: float,
    velocity: float,
    timbre: np.ndarray,
) -> np.ndarray:
    """Double bass, plucked: dark, woody, soon gone."""
    hz = float(midi_to_hz(pitch))
    return string_response(
        sample_rate_hz, hz, 1.6, decay_s=1.0 + 1.2 * timbre[0],
        damping_hz=280.0 + 300.0 * timbre[1],
        brightness_hz=(260.0 + 400.0 * timbre[2]) * (0.6 + 0.6 * velocity),
        strike_at=0.25 + 0.1 * timbre[3],
        body=((65.0, 0.8, 3.0), (115.0, 1.0, 4.0), (620.0, 0.6, 2.0)),
    )  # fmt: skip
