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

    found = in_one_phase(heard(*parts), parts)

    assert found[0] is parts[0]
    assert found[2] is parts[2]
    assert np.all((found[1].steps - 10) % GAP == 0)
    assert set(found[1].places.tolist()) == {NOT_DECODED}
    assert len(found[1].places) == len(found[1].steps) == 29


def test_the_beginning_is_moved_if_it_is_the_shorter_part() -> None:
    """Which part comes first says nothing."""
    parts = [chain(10, 10), chain(10 + 10 * GAP - 10, 60)]

    found = in_one_phase(heard(*parts), parts)

    assert found[1] is parts[1]
    assert np.all(found[0].steps % GAP == 0)


@pytest.mark.parametrize(
    "after",
    [
        chain(10 + 20 * GAP, 60),  # goes on in phase
        chain(10 + 25 * GAP + 10, 60),  # after a rest
        chain(10 + 20 * GAP - 10, 60, gap=22),  # in another tempo
    ],
)
def test_what_is_no_slip_stays(after: Chain) -> None:
    """Only what goes on at once, in the same tempo and half a beat off, is one pulse."""
    parts = [chain(10, 20), after]

    assert in_one_phase(heard(*parts), parts) == parts
    assert in_one_phase(heard(), []) == []
