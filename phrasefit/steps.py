"""Steps from beat to beat, or count to count: what is usual around each, and what is a gap."""

from __future__ import annotations

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

AROUND = 8  # steps to each side, two bars: the tempo may be another elsewhere in the song
GAP = 1.5  # of the usual step: in a longer one the music has stopped, or a beat is missing


def usual_steps(steps_s: np.ndarray) -> np.ndarray:
    """Give the usual step around each step [shape and unit of `steps_s`]: a running median."""
    if not len(steps_s):
        return steps_s
    # Reflected, so that a gap at an end is not taken for what is usual there.
    padded = np.pad(steps_s, AROUND, mode="reflect" if len(steps_s) > 1 else "edge")
    return np.median(sliding_window_view(padded, 2 * AROUND + 1), axis=1)


def are_gaps(steps_s: np.ndarray) -> np.ndarray:
    """Tell which steps are gaps without beats [shape=(n,), bool]."""
    return steps_s > GAP * usual_steps(steps_s)
