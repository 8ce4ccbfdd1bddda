"""What a plan is worth on another reading of the song than the one it was made for.

The difference to the best plan there is the *regret*: what is lost by having trusted the
wrong reading, in points of the fit score (`fit.planner`).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from phrasefit.fit.costs import tag_meeting, wall_meeting
from phrasefit.fit.request import PlanRequest
from phrasefit.fit.starts import start_charge
from phrasefit.model import CountGrid, FitPlan, Plan, Tag, Wall

FELT_POINTS = 1.0  # a difference of the score that is worth a word
SAME_TIME_S = 0.070  # what is taken for the same beat: the window of beat tracking


def points_on(plan: Plan, grid: CountGrid, other: CountGrid, request: PlanRequest) -> float:
    """Score a plan on another reading of its song.

    Parameters
    ----------
    plan : Plan
        Made for `grid`; danced as it is, count by count at the times of `grid`.
    grid, other : CountGrid
        The counts it was made for, and those that may be right.
    request : PlanRequest

    Returns
    -------
    float
        Points of the fit score, not clipped: on `grid` itself the plan's own.  A phrase
        start of `other` on no count of `grid` is met as badly as one between bar lines.
    """
    start = _count_at(other, plan.start_s)
    begin = int(np.searchsorted(other.times_s[:-1], plan.start_s - SAME_TIME_S))
    points, own_points = _points(other, begin), _points(grid, plan.start_count)
    own_start = start_charge(grid, plan.start_count, request)
    changes = max(0.0, plan.charges - own_start) / own_points
    if start is None:
        awkward = 0.0 if request.start_is_given else request.costs.start_weak
    else:
        awkward = start_charge(other, start, request)
    return points * (_met(plan, grid, other, begin, request) - changes) - awkward


def points_as_shown(fit: FitPlan, plan: Plan) -> float:
    """Score one of the plans of a fit (0-100) as if the form that is shown were sure."""
    shown = replace(fit.grid, expected=fit.grid.strength)
    return float(np.clip(points_on(plan, fit.grid, shown, fit.request), 0.0, 100.0))


def _points(grid: CountGrid, begin: int) -> float:
    return 100.0 / (float(grid.expected[begin:].sum()) or 1.0)


def _count_at(grid: CountGrid, time_s: float) -> int | None:
    """Find the count that begins at a time; None if none does."""
    nearest = int(np.argmin(np.abs(grid.times_s[:-1] - time_s)))
    return nearest if abs(grid.times_s[nearest] - time_s) <= SAME_TIME_S else None


def _met(plan: Plan, grid: CountGrid, other: CountGrid, begin: int, request: PlanRequest) -> float:
    """Sum what the walls and tags meet of the phrase starts of `other`."""
    meeting = np.full(len(grid.strength), request.costs.meet_off)
    for event in plan.events:
        if isinstance(event, Wall | Tag):
            inside = slice(event.count, event.count + event.counts)
            meeting[inside] = _meeting_of(event, request)[: event.counts]
    places = (begin + np.flatnonzero(other.expected[begin:])).tolist()
    counts = [_count_at(grid, float(other.times_s[place])) for place in places]
    worth = [request.costs.meet_off if count is None else meeting[count] for count in counts]
    return float(np.dot(worth, other.expected[places])) if places else 0.0


def _meeting_of(event: Wall | Tag, request: PlanRequest) -> np.ndarray:
    routine, costs = request.routine, request.costs
    if isinstance(event, Tag):
        return tag_meeting(event.counts, routine.meter, costs)
    counts = next(part.counts for part in routine.parts if part.name == event.part)
    return wall_meeting(counts, routine.meter, costs)
