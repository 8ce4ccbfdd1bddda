"""Lay a routine over a song: the best plan for each number of changes, and the advised one.

The fit score (0-100) has one meaning everywhere: of all phrase strength from count 1
of the dance to the end of the song, the share in percent that wall starts meet (a
phrase start inside a wall is met in part, see `fit.costs.wall_meeting`), less the
charges for restarts, tags and an awkward start.  100 = every phrase starts a wall and
nothing has to be remembered.  Where it is in doubt which bars begin phrases, every one that
may counts as far as that is likely (``CountGrid.expected``): the score is what to expect.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from phrasefit.clock import clock_time
from phrasefit.errors import NoFitError, ParameterError, Reason
from phrasefit.fit.bounds import Bounds
from phrasefit.fit.breaks import find_breaks
from phrasefit.fit.changes import after_odd_bar, with_odd_bar_tags
from phrasefit.fit.doubts import find_doubts
from phrasefit.fit.grid import count_grid
from phrasefit.fit.in_step import measure_of
from phrasefit.fit.layout import PlanValue, lay_out
from phrasefit.fit.part_assignment import parts_over_song
from phrasefit.fit.request import ChangePlace, PlanRequest, as_request
from phrasefit.fit.search import Search
from phrasefit.fit.starts import first_one, nearest_count, start_candidates, start_charge
from phrasefit.fit.tempo import tempo_verdict
from phrasefit.meters import DANCE_METERS
from phrasefit.model import (
    BarMap,
    CountGrid,
    EventKind,
    FitPlan,
    Plan,
    Routine,
    StartOption,
)

HEARD_POINTS = 0.5  # a change that brings less of the music right is not heard


def fit_routine(bar_map: BarMap, wanted: PlanRequest | Routine, **options: Any) -> FitPlan:
    """Find how to dance a routine to a song.

    Parameters
    ----------
    bar_map : BarMap
    wanted : PlanRequest or Routine
        What is asked; a routine alone is asked for with the defaults of `PlanRequest`.
    **options
        Fields of `PlanRequest` that differ.

    Returns
    -------
    FitPlan
        `plans` has the plain plan first (the one with the fewest changes where some are
        demanded), then the best plan with 1, 2, 3 ... changes where it meets more of the
        music or scores higher than all before it; `advised` is the one with the highest
        score; of scores within half a point, that with fewer changes.  `plan` is the one
        with the changes asked for.

    Raises
    ------
    NoFitError
        If the song is shorter than one wall, or counted in threes where the routine
        is in fours.
    ParameterError
        If an option is out of range, or no plan has the number of changes asked for.

    Notes
    -----
    Exact: no plan within `max_changes` scores higher, from any of the start options,
    with the given order of parts (`fit.part_assignment` settles that first for phrased
    routines without a sequence), and with all tags and restarts that are demanded and none
    that is ruled out.  ``Routine.odd_bar_tags`` are tried where a phrase may begin that no
    number of usual bars leads to from the first one.

    Examples
    --------
    >>> import numpy as np
    >>> from phrasefit.model import Part
    >>> beats = np.arange(160)
    >>> song = BarMap(beat_times_s=beats / 2, positions=beats % 4 + 1, meter=4,
    ...               tempo_bpm=120.0, end_s=80.0, duration_s=80.0)
    >>> dance = Routine(name="Try", walls=4, parts=(Part(name="A", counts=32, turn_deg=90),))
    >>> [(wall.start_s, wall.facing) for wall in fit_routine(song, dance).plan.walls]
    [(16.0, 0), (32.0, 90), (48.0, 180), (64.0, 270)]
    """
    request = as_request(wanted, **options)
    routine = request.routine
    grid = count_grid(bar_map, routine=routine, costs=request.costs)
    _check_meters(bar_map, grid, routine)
    plans, start_options = plans_on(grid, bar_map, request)
    best = advised_of(plans)
    return FitPlan(
        request=request,
        plans=plans,
        best=best,
        chosen=best if request.changes is None else _with_changes(plans, request.changes),
        grid=grid,
        tempo=tempo_verdict(grid.counts_per_minute, routine, rows=request.tempo_rows),
        start_options=start_options,
        bar_map=bar_map,
        doubts=find_doubts(bar_map, grid, routine),
        breaks=find_breaks(bar_map, grid, measure_of(grid, routine)),
    )


def plans_on(
    grid: CountGrid, bar_map: BarMap, request: PlanRequest
) -> tuple[tuple[Plan, ...], tuple[StartOption, ...]]:
    """Plan a song laid out in counts; `bar_map` gives the letters that parts go with.

    Returns
    -------
    tuple of Plan, tuple of StartOption
        As `FitPlan` has them.

    Raises
    ------
    NoFitError
        If the song is shorter than one wall.
    ParameterError
        If a time that is asked for lies outside the song, or no plan has what is demanded.
    """
    routine, costs, most = _routine_for(grid, request.routine), request.costs, request.max_changes
    bounds = _bounds(grid, request)
    starts = [start for start in start_candidates(grid, request) if bounds.allow_start(start)]
    if not starts:
        raise ParameterError(_why_none(request))
    candidates = _Candidates(
        grid=grid,
        routine=routine,
        starts=starts,
        start_charges=[start_charge(grid, start, request) for start in starts],
        search=Search(
            grid.expected,
            routine,
            part_at=parts_over_song(bar_map, grid, routine, starts, costs),
            starts=starts,
            max_changes=most,
            costs=costs,
            bounds=bounds,
        ),
    )
    plans = _worthwhile([candidates.best_plan(n) for n in range(most + 1)])
    if not plans:
        raise ParameterError(_why_none(request))
    return plans, candidates.start_options(most)


def _routine_for(grid: CountGrid, routine: Routine) -> Routine:
    """Allow what the song asks for: tags for odd bars, which would only cost time elsewhere."""
    phrases = np.flatnonzero((grid.expected > 0) | (grid.strength > 0))
    odd = after_odd_bar(phrases - first_one(grid), routine.meter).any()
    return with_odd_bar_tags(routine) if odd else routine


def _bounds(grid: CountGrid, request: PlanRequest) -> Bounds:
    """Put the tags and restarts that are demanded or ruled out on counts of the song."""

    def on_counts(places: tuple[ChangePlace, ...]) -> tuple[tuple[EventKind, int], ...]:
        return tuple(
            (place.kind, nearest_count(grid, place.at_s, f"a {place.kind} at")) for place in places
        )

    return Bounds(
        demanded=on_counts(request.demanded),
        forbidden=on_counts(request.forbidden),
        odd_tags=tuple(tag.counts for tag in request.routine.odd_bar_tags),
        bars=tuple(np.flatnonzero(grid.bar_start).tolist()),
    )


def _why_none(request: PlanRequest) -> str:
    """Say that no plan has what is demanded, and what could be asked for instead."""
    asked = " and ".join(
        f"a {place.kind} at {clock_time(place.at_s)}" for place in request.demanded
    )
    return (
        f"no plan with at most {request.max_changes} changes has {asked}; the routine allows it"
        " only at some counts of a wall, and not near the end of the song: ask for it at"
        " another place, begin elsewhere, or allow more changes"
    )


def _check_meters(bar_map: BarMap, grid: CountGrid, routine: Routine) -> None:
    """Refuse a waltz for a song in fours and the other way round: no plan can help there."""
    dance = DANCE_METERS[routine.meter]
    if not dance.fits(bar_map.meter, grid.beats_per_count):
        raise NoFitError(
            f"the song has {bar_map.meter} beats a bar and {routine.name} is counted {dance.kind};"
            " choose another song, or correct the meter of the map if it is wrong",
            reason=Reason.OTHER_METER,
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Candidates:
    """All starts with all numbers of changes, and what each is worth."""

    grid: CountGrid
    routine: Routine
    starts: Sequence[int]
    start_charges: Sequence[float]
    search: Search

    def _points(self, start: int) -> float:
        """Points of the score in one phrase start, for a dance from `start` to the end."""
        return 100.0 / (float(self.grid.expected[start:].sum()) or 1.0)

    def _scores(self, n_changes: int) -> np.ndarray:
        """Give the score from each start, not clipped; minus infinity if impossible."""
        return np.array(
            [
                self._points(start) * self.search.value(start, n_changes) - charge
                for start, charge in zip(self.starts, self.start_charges, strict=True)
            ]
        )

    def best_plan(self, n_changes: int) -> Plan | None:
        """Lay out the best plan with exactly `n_changes`; None if there is none."""
        scores = self._scores(n_changes)
        if not np.isfinite(scores).any():
            return None
        # Of starts whose difference is not heard the first is taken: less to wait for.
        best = int(np.argmax(scores >= scores.max() - HEARD_POINTS))
        start = self.starts[best]
        trail = self.search.trail(start, n_changes)
        met = sum(self.search.gain(count, part, kind) for count, part, kind in trail)
        net = self.search.value(start, n_changes)
        worth = PlanValue(
            phrase_met=float(self._points(start) * met),
            charges=float(self._points(start) * (met - net) + self.start_charges[best]),
        )
        return lay_out(trail, self.search.events, self.grid, self.routine, worth)

    def start_options(self, max_changes: int) -> tuple[StartOption, ...]:
        """Rank the starts by the best score from each; of equal ones the earlier first."""
        scores = np.max([self._scores(n) for n in range(max_changes + 1)], axis=0)
        one = first_one(self.grid)
        return tuple(
            StartOption(
                start_count=self.starts[i],
                start_s=float(self.grid.times_s[self.starts[i]]),
                intro_counts=self.starts[i] - one,
                score=float(np.clip(scores[i], 0.0, 100.0)),
            )
            for i in np.argsort(-np.round(scores, 6), kind="stable")
            if np.isfinite(scores[i])
        )


def _worthwhile(plans: list[Plan | None]) -> tuple[Plan, ...]:
    """Keep the plain plan and every plan that is better than all with fewer changes."""
    kept: list[Plan] = []
    for plan in plans:
        if plan is None:
            continue
        if not kept or _is_better(plan, kept):
            kept.append(plan)
    return tuple(kept)


def advised_of(plans: tuple[Plan, ...]) -> int:
    """Choose the highest score; a change more must raise it by what can be heard."""
    best = 0
    for index, plan in enumerate(plans):
        if plan.score > plans[best].score + HEARD_POINTS:
            best = index
    return best


def _with_changes(plans: tuple[Plan, ...], changes: int) -> int:
    """Find the plan with so many changes."""
    for index, plan in enumerate(plans):
        if plan.n_changes == changes:
            return index
    known = ", ".join(str(plan.n_changes) for plan in plans)
    raise ParameterError(
        f"changes={changes}: no plan worth dancing has just so many; choose one of {known}"
    )


def _is_better(plan: Plan, others: list[Plan]) -> bool:
    met = max(other.phrase_met for other in others)
    score = max(other.phrase_met - other.charges for other in others)
    return plan.phrase_met > met + HEARD_POINTS or plan.phrase_met - plan.charges > score + 1e-6
