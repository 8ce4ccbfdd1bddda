"""What is a gap hangs on the tempo there, not on that of most of the song."""

from __future__ import annotations

import numpy as np
import pytest

from phrasefit.steps import are_gaps, usual_steps


def test_a_slow_part_is_no_row_of_gaps() -> None:
    """At 150 and then at 90 a minute, with one rest of two beats in each."""
    steps_s = np.repeat([0.4, 2 / 3], [60, 40])
    steps_s[[20, 80]] *= 2

    assert np.flatnonzero(are_gaps(steps_s)).tolist() == [20, 80]
    assert usual_steps(steps_s)[[0, 59, 60, 99]] == pytest.approx([0.4, 0.4, 2 / 3, 2 / 3])


@pytest.mark.parametrize("at", [0, 29])
def test_a_gap_at_an_end(at: int) -> None:
    """It is not what is usual there."""
    steps_s = np.full(30, 0.5)
    steps_s[at] = 3.0

    assert np.flatnonzero(are_gaps(steps_s)).tolist() == [at]


@pytest.mark.parametrize("n", [0, 1, 2, 5])
def test_few_steps(n: int) -> None:
    """A map of a bar has no gaps, nor has one without beats."""
    assert not are_gaps(np.full(n, 0.5)).any()
