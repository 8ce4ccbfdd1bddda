"""Small signal helpers of the song generator: pitch, envelopes, wavetables, filters.

Everything is mono float arrays, times in seconds, frequencies in Hz; nothing here
knows music beyond the equal-tempered scale.
"""

from __future__ import annotations

import numpy as np

TABLE_SIZE = 4096  # one cycle; the step between entries is below -66 dB of full scale


def midi_to_hz(pitch: float) -> float:
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


def swell(
    n_samples: int, attack_s: float, release_s: float, sample_rate_hz: int, sag: float = 0.0
) -> np.ndarray:
    """Shape a sustained note: raised-cosine attack and release, falling by `sag` (0-1)."""
    envelope = np.linspace(1.0, 1.0 - sag, n_samples)
    n_attack = min(n_samples // 2, max(2, round(attack_s * sample_rate_hz)))
    n_release = min(n_samples // 2, max(2, round(release_s * sample_rate_hz)))
    if n_attack:
        envelope[:n_attack] *= 0.5 - 0.5 * np.cos(np.linspace(0.0, np.pi, n_attack))
        envelope[-n_release:] *= 0.5 + 0.5 * np.cos(np.linspace(0.0, np.pi, n_release))
    return envelope


def wavetable(amplitudes: np.ndarray) -> np.ndarray:
    """Build one cycle from harmonic `amplitudes` (first = fundamental), RMS about 1."""
    harmonics = np.asarray(amplitudes, dtype=float)[: TABLE_SIZE // 2 - 1]
    # Fixed quadratic phases keep the crest low; equal phases would make a spiky pulse.
    phases = np.pi * np.arange(len(harmonics)) ** 2 / max(1, len(harmonics))
    spectrum = np.zeros(TABLE_SIZE // 2 + 1, dtype=complex)
    spectrum[1 : len(harmonics) + 1] = harmonics * np.exp(1j * (phases - np.pi / 2))
    cycle = np.fft.irfft(spectrum)
    return (cycle / (np.sqrt(np.mean(cycle**2)) + 1e-12)).astype(np.float32)


def n_harmonics(frequency_hz: float, sample_rate_hz: int, top_hz: float = 16000.0) -> int:
    """Say how many harmonics fit below `top_hz` and 0.45 of the sample rate."""
    return max(1, int(min(top_hz, 0.45 * sample_rate_hz) / frequency_hz))


def oscillate(
    table: np.ndarray, frequency_hz: np.ndarray, sample_rate_hz: int, phase: float = 0.0
) -> np.ndarray:
    """Play `table` at a frequency curve [shape=(n,), Hz] from `phase` (cycles)."""
    cycles = phase + np.cumsum(frequency_hz) / sample_rate_hz
    return table[(cycles * TABLE_SIZE).astype(np.int64) & (TABLE_SIZE - 1)]


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
    sound: np.ndarray, centre_hz: float, gain_db: float, quality: float, sample_rate_hz: int
) -> np.ndarray:
    """Lift or cut a band around `centre_hz` with one second-order section.

    The coefficients follow the bilinear peaking equaliser as published in
    R. Bristow-Johnson, "Cookbook formulae for audio EQ biquad filter coefficients".
    """
    from scipy.signal import sosfilt

    if centre_hz > 0.45 * sample_rate_hz:
        return sound
    amplitude = 10.0 ** (gain_db / 40.0)
    omega = 2.0 * np.pi * centre_hz / sample_rate_hz
    alpha = np.sin(omega) / (2.0 * quality)
    b = np.array([1 + alpha * amplitude, -2 * np.cos(omega), 1 - alpha * amplitude])
    a = np.array([1 + alpha / amplitude, -2 * np.cos(omega), 1 - alpha / amplitude])
    section = np.concatenate([b, a])[None] / a[0]
    return sosfilt(section.astype(sound.dtype), sound)
