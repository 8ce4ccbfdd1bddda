"""Half-beat slips: a pulse that goes on keeps its phase, whatever is louder for a while."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from phrasefit._dp import Chain
from phrasefit.meter.bars import NOT_DECODED
from phrasefit.meter.half_beats import in_one_phase

GAP = 20


def chain(first: int, n_beats: int, gap: int = GAP) -> Chain:
    """Beats at even distances, in bars of four."""
    steps = first + gap * np.arange(n_beats)
    return Chain(steps=steps, rates=np.zeros(n_beats, int), places=np.arange(n_beats) % 4)


def heard(*chains: Chain, lead: float = 3.0) -> SimpleNamespace:
    """Frames in which beats of the chains stand out by `lead`."""
    gain = np.zeros(4000)
    for one in chains:
        gain[one.steps] = lead
    return SimpleNamespace(gain=gain, gain_near=gain)


def test_the_longer_part_decides() -> None:
    """A stretch on the off-beat is moved back, with places that are open."""
    parts = [chain(10, 20), chain(10 + 20 * GAP - 10, 30), chain(10 + 50 * GAP, 40)]

    (found,) = in_one_phase(heard(*parts), parts)

    assert np.array_equal(found.steps, 10 + GAP * np.arange(90))
    assert set(found.places[20:50].tolist()) == {NOT_DECODED}
    assert np.array_equal(found.places[:20], parts[0].places)
    assert np.array_equal(found.places[50:], parts[2].places)


def test_the_beginning_is_moved_if_it_is_the_shorter_part() -> None:
    """Which part comes first says nothing; a beat that is then missing is filled in."""
    parts = [chain(10, 10), chain(10 + 10 * GAP + 10, 60)]

    (found,) = in_one_phase(heard(*parts), parts)

    assert np.array_equal(found.steps, GAP * (1 + np.arange(70)))
    assert np.array_equal(found.places[-60:], parts[1].places)
    assert set(found.places[:-60].tolist()) == {NOT_DECODED}


def test_what_goes_on_in_step_is_one_chain() -> None:
    """Nothing is moved, and places stay."""
    parts = [chain(10, 20), chain(10 + 20 * GAP, 60)]

    (found,) = in_one_phase(heard(*parts), parts)

    assert np.array_equal(found.steps, 10 + GAP * np.arange(80))
    assert np.array_equal(found.places, np.hstack([part.places for part in parts]))


@pytest.mark.parametrize(
    "after",
    [
        chain(10 + 20 * GAP - 15, 60),  # a quarter of a beat off
        chain(10 + 25 * GAP + 10, 60),  # after a rest
        chain(10 + 25 * GAP, 60),  # the same: `barmap` carries the beat through
        chain(10 + 20 * GAP - 10, 60, gap=22),  # in another tempo
    ],
)
def test_what_is_no_slip_stays(after: Chain) -> None:
    """Only what goes on at once, in the same tempo, in step or half a beat off, is one."""
    parts = [chain(10, 20), after]

    assert in_one_phase(heard(*parts), parts) == parts
    assert in_one_phase(heard(), []) == []
