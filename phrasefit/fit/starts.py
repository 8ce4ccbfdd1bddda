"""Where count 1 could be.

Candidates are the phrase starts in the first part of the song, the usual intros of two and
four eights after the first one, and where the singing begins: the program does not hear
that, so it is one where a person has marked it.
"""

from __future__ import annotations

import numpy as np

from phrasefit.clock import clock_time
from phrasefit.errors import NoFitError, ParameterError, Reason
from phrasefit.fit.costs import Costs
from phrasefit.fit.request import PlanRequest
from phrasefit.meters import DANCE_METERS
from phrasefit.model import CountGrid, Routine

LATEST_START_GROUPS = 12  # no dance waits longer than 96 counts (in threes 72)
USUAL_INTRO_GROUPS = (2, 4)  # "16-count" and "32-count" intro


def first_one(grid: CountGrid) -> int:
    """Give the first downbeat; a pickup before it is no count of the intro."""
    return int(np.argmax(grid.bar_start))


def first_phrase(grid: CountGrid) -> int:
    """Give count 1 of the song's first phrase, the first one if no phrase is known."""
    starts = np.flatnonzero(grid.strength)
    return int(starts[0]) if starts.size else first_one(grid)


def usual_intros(routine: Routine) -> tuple[int, ...]:
    """List the intros that need no explaining, in counts: 16 and 32, in threes 12 and 24."""
    group = DANCE_METERS[routine.meter].group_counts
    return tuple(n * group for n in USUAL_INTRO_GROUPS)


def start_candidates(grid: CountGrid, request: PlanRequest) -> list[int]:
    """List the counts on which the dance may begin, in the order of the song.

    Parameters
    ----------
    grid : CountGrid
    request : PlanRequest
        Where it says where to begin, there is one candidate.

    Raises
    ------
    NoFitError
        If less than one wall of the song is left at every candidate.
    ParameterError
        If the start asked for lies outside the counted song.
    """
    routine = request.routine
    n_counts, one = len(grid.bar_start), first_one(grid)
    last = n_counts - routine.parts[0].counts
    group = DANCE_METERS[routine.meter].group_counts
    if request.start_s is not None:
        starts = [nearest_count(grid, request.start_s, "a start at")]
    elif request.intro is not None:
        starts = [one + request.intro]
    else:
        latest = min(one + LATEST_START_GROUPS * group, n_counts // 2)
        phrases = np.flatnonzero(grid.strength)
        wanted = [one, *(one + g * group for g in USUAL_INTRO_GROUPS)]
        if grid.singing is not None:
            wanted.append(grid.singing)
        if routine.intro_counts is not None:
            wanted.append(one + routine.intro_counts)
        starts = sorted({*phrases[phrases <= latest].tolist(), *wanted})
    possible = [start for start in starts if start <= last]
    if not possible:
        _refuse(grid, routine, max(0, n_counts - starts[0]))
    return possible


def nearest_count(grid: CountGrid, time_s: float, what: str) -> int:
    """Find the count nearest to a time; `what` is to be there, for the error.

    Raises
    ------
    ParameterError
        If it lies outside the counted song.
    """
    times = grid.times_s
    spare = float(np.median(np.diff(times)))
    if not times[0] - spare <= time_s <= times[-1]:
        raise ParameterError(
            f"{what} {clock_time(time_s)} lies outside the counted song; give a time from"
            f" {clock_time(float(times[0]))} to {clock_time(float(times[-1]))}"
        )
    return int(np.argmin(np.abs(times[:-1] - time_s)))


def _refuse(grid: CountGrid, routine: Routine, counts_left: int) -> None:
    part = routine.parts[0]
    seconds = part.counts * 60.0 / grid.counts_per_minute
    raise NoFitError(
        f"only {counts_left} counts are left from count 1 on, and one wall of {routine.name}"
        f" needs {part.counts} ({seconds:.0f} s at this tempo);"
        " use a longer song or begin earlier",
        reason=Reason.SHORTER_THAN_ONE_WALL,
    )


def start_charge(grid: CountGrid, start: int, request: PlanRequest) -> float:
    """Tell how awkward it is to begin on count `start` [points]; nothing if it was asked for."""
    if request.start_is_given:
        return 0.0
    intro = np.array([start - first_one(grid)])
    here, strongest = grid.expected[[start]], grid.expected.max(keepdims=True)
    sung = np.array([start == grid.singing])
    return float(start_charges(intro, here, strongest, sung, request.routine, request.costs)[0])


def start_charges(
    intro: np.ndarray,
    strength: np.ndarray,
    strongest: np.ndarray,
    sung: np.ndarray,
    routine: Routine,
    costs: Costs,
) -> np.ndarray:
    """Tell how awkward many starts are [points of the score].

    See `Costs`: a weak phrase start, too little or too much intro, an unusual one, another
    one than the routine asks for.  The intro it asks for is charged only if it ends on no
    phrase start at all, and one that ends where the singing begins only if it is too short
    to count in or the routine asks for another: everybody hears when to begin.

    Parameters
    ----------
    intro : np.ndarray [shape=(n,), counts]
        From the first one of the song to the start.
    strength, strongest : np.ndarray [shape=(n,), 0-1]
        Of the phrase start on that count (0 = none), and of the song's strongest.
    sung : np.ndarray [shape=(n,), bool]
        Whether the singing begins there.
    """
    group = DANCE_METERS[routine.meter].group_counts
    weak = 1 - strength / np.where(strongest > 0, strongest, 1)
    charge = costs.start_weak * weak + costs.start_late * np.maximum(0, intro - 4 * group)
    charge += np.where(np.isin(intro, usual_intros(routine)), 0.0, costs.start_unusual)
    charge = np.where(sung, 0.0, charge) + costs.start_other * (routine.intro_counts is not None)
    brief = np.where(intro < 2 * group, costs.start_brief, 0.0)
    charge += np.where(intro < group, costs.start_sudden, brief)
    as_asked = np.where(strength > 0, 0.0, costs.start_weak)
    return np.where(intro == routine.intro_counts, as_asked, charge)
