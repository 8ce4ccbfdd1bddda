"""Drum kits as single strokes: files that travel, and playing from them.

A kit file (``.npz``) holds mono strokes at `KIT_RATE_HZ` by General MIDI drum key and
loudness layer, trimmed so that every stroke begins at its first sample.  Laying strokes
down is many times faster than rendering a soundfont.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np

from phrasefit.sounds.dsp import add_at
from phrasefit.training.performance import Played

KIT_RATE_HZ = 22050
# What stands in where a kit lacks a drum: the nearest relative first.
STAND_INS = {
    35: (36,), 36: (35, 41), 37: (38, 39, 75), 38: (40, 39), 40: (38,), 39: (38, 37),
    42: (44, 82, 69), 44: (42, 82), 46: (42, 44), 51: (59, 53, 42), 53: (51, 56), 59: (51,),
    49: (57, 55, 52, 46), 57: (49, 55), 55: (49, 57), 52: (49,), 41: (43, 45, 64), 43: (41, 45, 64),
    45: (47, 43), 47: (48, 45), 48: (50, 47), 50: (48, 47, 63), 54: (70, 82, 42), 70: (82, 69, 42),
    82: (70, 69), 69: (70, 82), 56: (67, 53, 75), 73: (74, 70), 75: (76, 37), 76: (75, 77),
    77: (76, 75), 63: (62, 61, 64), 62: (63, 60), 64: (61, 63, 43), 60: (61, 63, 50), 61: (60, 64),
    65: (66, 60, 50), 66: (65, 61, 47), 67: (68, 56), 68: (67, 56), 81: (80, 53), 80: (81,),
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Kit:
    """Strokes by (drum key, layer); layers from soft to loud."""

    name: str
    strokes: dict[int, tuple[np.ndarray, ...]]

    def find(self, key: int) -> tuple[np.ndarray, ...] | None:
        """Return the layers of a drum or its nearest relative's."""
        for candidate in (key, *STAND_INS.get(key, ())):
            if candidate in self.strokes:
                return self.strokes[candidate]
        return None


def write_kit(path: Path, strokes: dict[int, list[np.ndarray]]) -> None:
    """Store strokes (float, peak at most 1) as 16-bit samples."""
    keys, layers, sounds = [], [], []
    for key, found in sorted(strokes.items()):
        for layer, sound in enumerate(found):
            keys.append(key)
            layers.append(layer)
            sounds.append(np.round(np.clip(sound, -1, 1) * 32767).astype(np.int16))
    ends = np.cumsum([sound.size for sound in sounds])
    np.savez_compressed(
        path, keys=np.array(keys, "u1"), layers=np.array(layers, "u1"), ends=ends,
        samples=np.concatenate(sounds),
    )  # fmt: skip


@lru_cache(maxsize=64)
def read_kit(path: Path) -> Kit:
    """Read a kit file."""
    with np.load(path, allow_pickle=False) as stored:
        samples = stored["samples"].astype(np.float32) / 32768
        pieces = np.split(samples, stored["ends"][:-1])
        strokes: dict[int, tuple[np.ndarray, ...]] = {}
        for key, sound in zip(stored["keys"].tolist(), pieces, strict=True):
            strokes[key] = (*strokes.get(key, ()), sound)
    return Kit(name=path.stem, strokes=strokes)


def play_kit(
    rng: np.random.Generator,
    kit: Kit,
    played: Played,
    n_samples: int,
    sample_rate_hz: int,
    *,
    tune: float = 1.0,
    damp: float = 1.0,
) -> np.ndarray:
    """Lay strokes down [shape=(n_samples,), float32].

    `tune` plays everything faster (higher); `damp` below 1 shortens the tails.
    """
    from scipy.signal import lfilter

    ratio = KIT_RATE_HZ / sample_rate_hz * tune
    made: dict[tuple[int, int], np.ndarray] = {}
    out = np.zeros(n_samples, dtype=np.float32)
    curve = float(rng.uniform(0.8, 2.0))
    trim = {int(key): 10 ** (rng.normal(0, 2.5) / 20) for key in np.unique(played.pitches)}
    order = np.argsort(played.starts_s, kind="stable")
    for i in order.tolist():
        key, loud = int(played.pitches[i]), float(played.velocities[i])
        at = round(float(played.starts_s[i]) * sample_rate_hz)
        if at >= n_samples or at < -sample_rate_hz:
            continue
        step = min(3, int(loud * 4))
        if (key, step) not in made:
            layers = kit.find(key)
            if layers is None:
                made[key, step] = np.zeros(0, np.float32)
                continue
            sound = layers[min(len(layers) - 1, int(loud * len(layers)))]
            sound = _resampled(sound, ratio)
            if len(layers) == 1 and step < 2:  # soft strokes are duller
                sound = lfilter([0.4], [1, -0.6], sound).astype(np.float32)
            if damp < 1:
                t = np.arange(sound.size, dtype=np.float32) / sample_rate_hz
                sound = sound * np.exp(-t * (1 / damp - 1) * 8).astype(np.float32)
            made[key, step] = sound
        stroke = made[key, step] * np.float32(loud**curve * trim[key])
        add_at(out, stroke, float(played.starts_s[i]), sample_rate_hz)
    return out


def _resampled(sound: np.ndarray, ratio: float) -> np.ndarray:
    """Play a stroke `ratio` times as fast."""
    if abs(ratio - 1) < 1e-3:
        return sound
    places = np.arange(0, sound.size - 1, ratio)
    return np.interp(places, np.arange(sound.size), sound).astype(np.float32)
