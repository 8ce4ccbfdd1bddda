"""Where the song itself leaves square phrases."""

from __future__ import annotations

import itertools

import numpy as np

from phrasefit.model import BarMap, CountGrid, PhraseBreak


def find_breaks(bar_map: BarMap, grid: CountGrid, phrase_counts: int) -> tuple[PhraseBreak, ...]:
    """List the phrase starts that come earlier or later than whole phrases would bring them.

    Parameters
    ----------
    phrase_counts : int
        Length of a whole phrase: 32, 64; in threes 24, 48.

    Returns
    -------
    tuple of PhraseBreak
        A stretch of 36 counts before a phrase start has 4 more than a phrase of 32; one
        of 24 has 8 less; half a phrase, 16, is given as 16 more.
    """
    starts = np.flatnonzero(grid.strength)
    breaks = []
    for before, start in itertools.pairwise(starts):
        extra = int(start - before) % phrase_counts
        if extra == 0:
            continue
        if 2 * extra > phrase_counts:
            extra -= phrase_counts
        breaks.append(
            PhraseBreak(
                count=int(start),
                time_s=float(grid.times_s[start]),
                extra_counts=extra,
                letter=_letter(bar_map, grid, int(start)),
            )
        )
    return tuple(breaks)


def _letter(bar_map: BarMap, grid: CountGrid, start: int) -> str:
    """Name the section that begins on this count, if one does."""
    index = grid.section[start]
    begins = index >= 0 and (start == 0 or grid.section[start - 1] != index)
    return bar_map.sections[index].letter if begins else ""
