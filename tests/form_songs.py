"""Evidence of made-up songs with known sections: every letter has its own music.

A letter is a chord sequence of four bars, a drum pattern, a timbre and a loudness;
noise is added to every beat.  Nothing here knows how sections are found.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from phrasefit.corrections.ones import positions_from_ones
from phrasefit.form.evidence import N_FLUX, N_TIMBRE, BeatEvidence
from phrasefit.model import BarMap

BEAT_S = 0.5


@dataclass(frozen=True)
class MadeSong:
    """A bar map without form, the evidence for it, and the truth [beats]."""

    bar_map: BarMap
    evidence: BeatEvidence
    section_starts: list[int]
    letters: list[str]


def made_song(
    plan: list[tuple[str, list[int]]],
    rng: np.random.Generator,
    *,
    meter: int = 4,
    pickup: int = 0,
    noise: float = 0.6,
) -> MadeSong:
    """Make a song of sections ``(letter, beats of each bar)``."""
    music = {letter: _music(meter, rng) for letter in sorted({letter for letter, _ in plan})}
    rows: list[dict[str, np.ndarray]] = [_noise(rng, 1.0) for _ in range(pickup)]
    ones, starts = [False] * pickup, []
    for letter, bars in plan:
        starts.append(len(rows))
        for index, n_beats in enumerate(bars):
            for beat in range(n_beats):
                clean = music[letter][index % 4][min(beat, meter - 1)]
                rows.append({k: clean[k] + v for k, v in _noise(rng, noise).items()})
                ones.append(beat == 0)
    stacked = {key: np.array([row[key] for row in rows]) for key in rows[0]}
    stacked["harmony"] = np.maximum(stacked["harmony"], 0)
    stacked["flux"] = np.maximum(stacked["flux"], 0)
    return MadeSong(
        bar_map=plain_map(np.array(ones), meter),
        evidence=BeatEvidence(**stacked),
        section_starts=starts,
        letters=[letter for letter, _ in plan],
    )


def plain_map(ones: np.ndarray, meter: int) -> BarMap:
    """Make a bar map at 120 beats a minute from where bars begin."""
    beats = 1.0 + BEAT_S * np.arange(ones.size + 1)
    return BarMap(
        beat_times_s=beats[:-1],
        positions=positions_from_ones(ones, meter),
        meter=meter,
        tempo_bpm=60 / BEAT_S,
        end_s=float(beats[-1]),
        duration_s=float(beats[-1]) + 2,
    )


def _music(meter: int, rng: np.random.Generator) -> list[list[dict[str, np.ndarray]]]:
    """Four bars of beats: chords change, sound and drum pattern belong to the letter."""
    timbre, loudness = rng.normal(size=N_TIMBRE), rng.normal(scale=1.5)
    pattern = rng.exponential(0.15, size=(meter, N_FLUX))
    bars = []
    for _ in range(4):
        chord = np.zeros(12)
        chord[(rng.integers(12) + np.array([0, rng.choice([3, 4]), 7])) % 12] = 0.3
        accents = rng.normal(scale=0.5, size=(meter, N_TIMBRE))
        bars.append(
            [
                {
                    "timbre": timbre + accents[beat],
                    "harmony": chord,
                    "loudness_db": np.array(-20 + loudness),
                    "flux": pattern[beat],
                }
                for beat in range(meter)
            ]
        )
    return bars


def _noise(rng: np.random.Generator, amount: float) -> dict[str, np.ndarray]:
    return {
        "timbre": amount * rng.normal(size=N_TIMBRE),
        "harmony": 0.1 * amount * rng.normal(size=12),
        "loudness_db": np.array(amount * rng.normal()),
        "flux": 0.1 * amount * rng.normal(size=N_FLUX),
    }
