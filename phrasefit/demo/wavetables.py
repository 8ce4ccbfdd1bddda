"""Held tones: one cycle as a table, played along a pitch curve under a swell."""

from __future__ import annotations

import numpy as np

TABLE_SIZE = 4096  # one cycle; the step between entries is below -66 dB of full scale


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
