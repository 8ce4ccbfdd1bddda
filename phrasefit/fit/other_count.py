"""The other tempo at which people may count a song: half or twice as fast, both danceable."""

from __future__ import annotations

import functools
from dataclasses import replace

from phrasefit.errors import PhrasefitError
from phrasefit.fit.grid import beat_tempo, dance_meter, level_of
from phrasefit.fit.planner import fit_routine
from phrasefit.fit.readings import at_level
from phrasefit.fit.tempo import DANCEABLE_CPM
from phrasefit.model import BarMap, FitPlan, Routine

# Wider than the range that a count is chosen by: swing is danced on every beat of faster songs;
# where two-steps begin, at 168, many count half.  Common practice, no source.
ALSO_DANCED_CPM = (DANCEABLE_CPM[0], 167.0)


def other_level(bar_map: BarMap, routine: Routine | None = None) -> float | None:
    """Give another number of beats a count at which the song can be danced as well.

    Parameters
    ----------
    bar_map : BarMap
        With beats.
    routine : Routine, optional
        Its tempo range says what can be danced, else `ALSO_DANCED_CPM`.

    Returns
    -------
    float or None
        Half or twice the beats a count of `grid.level_of`; None where that lies out of
        range, does not divide the bars, or a person chose the count.
    """
    if bar_map.beats_per_count:
        return None
    level, tempo = level_of(bar_map, routine), beat_tempo(bar_map)
    low, high = (routine.tempo_bpm if routine else None) or ALSO_DANCED_CPM
    levels = dance_meter(bar_map, routine).levels_for(bar_map.meter)
    return next(
        (
            other
            for other in (2 * level, level / 2)
            if other in levels and low <= tempo / other <= high
        ),
        None,
    )


@functools.lru_cache(maxsize=16)
def at_other_level(fit: FitPlan) -> FitPlan | None:
    """Plan the same request at `other_level`; None where there is none or nothing fits."""
    level = other_level(fit.bar_map, fit.routine)
    if level is None:
        return None
    try:
        return fit_routine(at_level(fit.bar_map, level), replace(fit.request, changes=None))
    except PhrasefitError:
        return None
