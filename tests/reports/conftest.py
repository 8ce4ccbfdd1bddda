"""A song and routines whose plans need a tag or a restart, for every medium."""

from __future__ import annotations

import pytest

from phrasefit.fit import fit_routine
from phrasefit.model import FitPlan
from phrasefit.routine.spec import routine_from_numbers
from songs import song


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
