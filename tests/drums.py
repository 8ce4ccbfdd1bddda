"""A plain drum pattern as a file, for tests that need a song that is heard quickly."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import soundfile

RATE_HZ = 22050


def played(path: Path, *, bpm: float, seconds: float) -> Path:
    """Write a pattern in four from 0.5 s: low on 1, noise on 2 and 4."""
    rng = np.random.default_rng(7)
    samples = np.zeros(round((seconds + 1) * RATE_HZ), dtype=np.float32)
    t = np.arange(int(0.12 * RATE_HZ)) / RATE_HZ
    low = np.sin(2 * np.pi * 60 * t) * np.exp(-t / 0.04)
    noise = rng.standard_normal(t.size) * np.exp(-t / 0.03) * 0.4
    for k in range(int(seconds * bpm / 60)):
        at = round((0.5 + k * 60 / bpm) * RATE_HZ)
        hit = (low * (2.0 if k % 4 == 0 else 0.5)) + (noise if k % 2 else 0)
        samples[at : at + t.size] += 0.3 * hit
    soundfile.write(path, samples, RATE_HZ)
    return path
