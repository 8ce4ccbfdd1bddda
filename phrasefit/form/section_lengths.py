"""How usual sections of so many bars are."""

from __future__ import annotations

import numpy as np

USUAL_BARS = 8
LONGEST_BARS = 64
_TOO_LONG = 1e-4  # percent of lengths beyond the longest

# Percent of sections that are 1, 2, 3 ... 32 bars long, and of all rarer lengths: 887
# songs in fours of the Harmonix Set (O. Nieto et al., "The Harmonix Set", ISMIR 2019),
# boundaries snapped to bars.  `inner`: 7,664 sections between two boundaries; `first`:
# from the first downbeat to the first boundary; `last`: from the last one to the end.
_PERCENT = {
    "inner": (
        0.03, 0.48, 0.56, 10.67, 0.85, 1.76, 3.05, 45.76, 4.27, 2.84, 1.23, 5.53, 0.91, 0.77,
        1.75, 13.30, 1.75, 0.97, 0.26, 0.78, 0.21, 0.17, 0.09, 0.91, 0.12, 0.12, 0.02, 0.10,
        0.03, 0.03, 0.04, 0.23,
    ),
    "first": (
        2.3, 5.9, 4.4, 29.6, 3.1, 3.4, 2.3, 26.6, 3.1, 2.3, 1.0, 3.7, 0.3, 0.4, 0.3, 7.9, 1.2,
        0.3, 0.3, 0.5, 0.3, 0.3, 0.3, 0.8, 0.3, 0.3, 0.3, 0.3, 0.3, 0.3, 0.3, 0.4,
    ),
    "last": (
        0.7, 2.4, 4.9, 11.8, 2.8, 3.3, 8.7, 27.6, 3.5, 2.6, 2.2, 4.3, 1.5, 1.1, 2.6, 8.5, 2.0,
        1.0, 0.4, 1.5, 0.3, 0.4, 0.3, 1.8, 0.3, 0.3, 0.3, 0.3, 0.3, 0.3, 0.4, 1.1,
    ),
}  # fmt: skip
_RARE = {"inner": 0.02, "first": 0.3, "last": 0.3}


def _log_table(percent: tuple[float, ...], rare: float) -> np.ndarray:
    """Log shares of lengths from 0, which stands for a part of a bar, to beyond the longest."""
    table = np.full(LONGEST_BARS + 2, rare)
    table[1 : 1 + len(percent)] = percent
    table[-1] = _TOO_LONG
    return np.log(table / 100)


_LOG_TABLES = {place: _log_table(_PERCENT[place], _RARE[place]) for place in _PERCENT}


def log_share(bars: np.ndarray, place: str = "inner") -> np.ndarray:
    """Give the log share of sections of each length.

    Parameters
    ----------
    bars : np.ndarray [bars, any shape]
        A length between two whole numbers (a half bar added or dropped) gets the mean
        of both logarithms.
    place : str
        ``inner``, ``first`` or ``last`` section of the song.

    Returns
    -------
    np.ndarray
        ``-inf`` where `bars` is not positive.
    """
    log_table = _LOG_TABLES[place]
    within = np.clip(bars, 0.0, LONGEST_BARS + 1)
    below, above = np.floor(within).astype(int), np.ceil(within).astype(int)
    return np.where(bars > 0, (log_table[below] + log_table[above]) / 2, -np.inf)
