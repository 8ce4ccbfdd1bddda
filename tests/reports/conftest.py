"""A song and routines whose plans need a tag or a restart, for every medium."""

from __future__ import annotations

import numpy as np
import pytest

from phrasefit.fit import fit_routine
from phrasefit.model import BarMap, FitPlan, Phrase, Section
from phrasefit.routine.spec import routine_from_numbers


def song(lengths_in_beats: tuple[int, ...], *, meter: int = 4, bpm: float = 120.0) -> BarMap:
    """Make a steady song from 1.0 s whose sections have these lengths."""
    n = sum(lengths_in_beats)
    positions = np.concatenate([np.arange(length) % meter + 1 for length in lengths_in_beats])
    starts = np.concatenate([[0], np.cumsum(lengths_in_beats)[:-1]]).tolist()
    times = 1.0 + np.arange(n + 1) * 60.0 / bpm
    sections = tuple(
        Section(start_beat=start, n_beats=length, letter="ABAC"[i % 4], strength=1.0)
        for i, (start, length) in enumerate(zip(starts, lengths_in_beats, strict=True))
    )
    group = 24 if meter == 3 else 32
    phrases = tuple(
        Phrase(
            start_beat=s.start_beat + k,
            n_beats=min(group, s.n_beats - k),
            group=group,
            strength=1.0 if k == 0 else 0.6,
        )
        for s in sections
        for k in range(0, s.n_beats, group)
    )
    return BarMap(
        beat_times_s=times[:-1],
        positions=positions,
        meter=meter,
        tempo_bpm=bpm,
        end_s=float(times[-1]),
        duration_s=float(times[-1]) + 1.0,
        sections=sections,
        phrases=phrases,
        title="Lantern Row <&>",
        artist="The Example Band",
    )  # fmt: skip


@pytest.fixture(scope="session")
def tagged() -> FitPlan:
    """32 counts over a song with 4 counts too many in the middle."""
    bar_map = song((32, 64, 64, 36, 64, 64, 64))
    return fit_routine(bar_map, routine_from_numbers(counts=32, walls=4))


@pytest.fixture(scope="session")
def restarted() -> FitPlan:
    """32 counts over a song with half a phrase in the middle."""
    bar_map = song((32, 64, 64, 48, 64, 64, 64, 64))
    return fit_routine(bar_map, routine_from_numbers(counts=32, walls=4))


@pytest.fixture(scope="session")
def waltz() -> FitPlan:
    """48 waltz counts over a song in three."""
    bar_map = song((24, 96, 96, 96), meter=3, bpm=96.0)
    return fit_routine(bar_map, routine_from_numbers(counts=48, walls=2, meter=3))
