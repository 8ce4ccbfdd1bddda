"""Small signal helpers: pitch, placing and fading sounds, noise, filters.

Everything is mono float arrays, times in seconds, frequencies in Hz; nothing here
knows music beyond the equal-tempered scale.
"""

from __future__ import annotations

import numpy as np


def midi_to_hz(pitch: float | np.ndarray) -> float | np.ndarray:
    """Convert a MIDI note number (69 = A4 = 440 Hz) to Hz."""
    return 440.0 * 2.0 ** ((pitch - 69.0) / 12.0)


def seconds_axis(duration_s: float, sample_rate_hz: int) -> np.ndarray:
    """Return the sample times from 0 of a sound of `duration_s` (at least 1 sample)."""
    return np.arange(max(1, round(duration_s * sample_rate_hz))) / sample_rate_hz


def add_at(out: np.ndarray, sound: np.ndarray, start_s: float, sample_rate_hz: int) -> None:
    """Add `sound` into `out` from `start_s` on, cutting what lies outside."""
    start = round(start_s * sample_rate_hz)
    skip = max(0, -start)
    stop = min(len(out), start + len(sound))
    if stop > start + skip:
        out[start + skip : stop] += sound[skip : stop - start]


def fade_out(sound: np.ndarray, fade_s: float, sample_rate_hz: int) -> np.ndarray:
    """Return `sound` with its last `fade_s` faded to zero, so that it ends without a click."""
    n_fade = min(len(sound), max(2, round(fade_s * sample_rate_hz)))
    faded = sound.copy()
    faded[-n_fade:] *= 0.5 + 0.5 * np.cos(np.linspace(0.0, np.pi, n_fade))
    return faded


def band_noise(
    rng: np.random.Generator,
    n_samples: int,
    low_hz: float,
    high_hz: float,
    sample_rate_hz: int,
    order: int = 2,
) -> np.ndarray:
    """Make Gaussian noise between `low_hz` and `high_hz`, RMS about 1."""
    noise = filtered(
        rng.standard_normal(n_samples), "band", (low_hz, high_hz), sample_rate_hz, order
    )
    return noise / (np.sqrt(np.mean(noise**2)) + 1e-9)


def filtered(
    sound: np.ndarray,
    kind: str,
    cutoff_hz: float | tuple[float, float],
    sample_rate_hz: int,
    order: int = 2,
) -> np.ndarray:
    """Filter with a Butterworth ``low``, ``high`` or ``band`` pass (clipped below Nyquist)."""
    from scipy.signal import butter, sosfilt

    edges = np.clip(np.asarray(cutoff_hz, dtype=float), 15.0, 0.47 * sample_rate_hz)
    if kind == "band" and edges[1] < edges[0] * 1.1:
        edges[0] = edges[1] / 1.1
    sections = butter(order, edges, {"low": "low", "high": "high", "band": "band"}[kind],
                      fs=sample_rate_hz, output="sos")  # fmt: skip
    return sosfilt(sections.astype(sound.dtype), sound)


def peaking(
    sound: np.ndarray, center_hz: float, gain_db: float, quality: float, sample_rate_hz: int
) -> np.ndarray:
    """Lift or cut a band around `center_hz` with one second-order section.

    The coefficients follow the bilinear peaking equalizer as published in
    R. Bristow-Johnson, "Cookbook formulae for audio EQ biquad filter coefficients".
    """
    from scipy.signal import sosfilt

    if center_hz > 0.45 * sample_rate_hz:
        return sound
    amplitude = 10.0 ** (gain_db / 40.0)
    omega = 2.0 * np.pi * center_hz / sample_rate_hz
    alpha = np.sin(omega) / (2.0 * quality)
    b = np.array([1 + alpha * amplitude, -2 * np.cos(omega), 1 - alpha * amplitude])
    a = np.array([1 + alpha / amplitude, -2 * np.cos(omega), 1 - alpha / amplitude])
    section = np.concatenate([b, a])[None] / a[0]
    return sosfilt(section.astype(sound.dtype), sound)
