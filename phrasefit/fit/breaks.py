"""Where the song itself puts a routine out of step with its phrases."""

from __future__ import annotations

import itertools

import numpy as np

from phrasefit.fit.in_step import Measure
from phrasefit.model import BarMap, CountGrid, PhraseBreak


def find_breaks(bar_map: BarMap, grid: CountGrid, measure: Measure) -> tuple[PhraseBreak, ...]:
    """List the phrase starts that come earlier or later than would keep the routine in step.

    Parameters
    ----------
    measure : Measure
        Phrases of the song beside walls of the routine: 48 counts from one phrase start to
        the next are a break where a wall is 32, none where it is 16.

    Returns
    -------
    tuple of PhraseBreak
        With phrases of 32, a stretch of 36 counts before a phrase start has 4 more; one
        of 24 has 8 less; half a phrase, 16, is given as 16 more.
    """
    phrase = measure.phrase_counts
    breaks = []
    for before, start in itertools.pairwise(np.flatnonzero(grid.strength)):
        gap = int(start - before)
        if gap % measure.break_counts == 0:
            continue
        extra = gap % phrase
        if 2 * extra > phrase:
            extra -= phrase
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
