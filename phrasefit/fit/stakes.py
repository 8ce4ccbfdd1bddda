"""What hangs on each doubt: would the plan be another one if a reading is wrong?

Every other reading that is likely is planned as well, a dozen at most.  What a doubt is
worth is what the plan is expected to lose by it: the probability of each other reading
times the regret there (`fit.regret`).
"""

from __future__ import annotations

import functools
import itertools
from collections.abc import Iterator
from dataclasses import replace

from phrasefit.errors import PhrasefitError
from phrasefit.fit.doubts import BY_WEIGHT, DOUBT_BELOW
from phrasefit.fit.in_step import measure_of
from phrasefit.fit.planner import advised_of, fit_routine, plans_on
from phrasefit.fit.readings import (
    at_level,
    in_meter,
    with_ones_moved,
    with_section,
    without_section,
)
from phrasefit.fit.regret import FELT_POINTS, SAME_TIME_S, points_on
from phrasefit.fit.starts import nearest_count
from phrasefit.meters import LEVELS
from phrasefit.model import (
    Alternative,
    BarMap,
    Consequence,
    Correction,
    CountGrid,
    Doubt,
    DoubtKind,
    FitPlan,
    Plan,
)

TRIED_SECTIONS = 6  # the weakest from count 1 on, and the likeliest others; each is planned
SHOWN_SECTIONS = 2  # those that most hangs on
EVEN_ODDS = 0.5  # of a reading whose probability is not known


@functools.lru_cache(maxsize=16)
def weighed(fit: FitPlan) -> tuple[Doubt, ...]:
    """Weigh the doubts about a fit, what the plan would lose most by first.

    Returns
    -------
    tuple of Doubt
        With `stake` and `consequence`.  Where single sections matter they take the place
        of the doubt about phrases in general.  A beat that is hardly steady comes first,
        whatever else.
    """
    doubts = [doubt for kind in fit.doubts for doubt in _weigh(fit, kind)]
    return tuple(sorted(doubts, key=_order))


def _order(doubt: Doubt) -> tuple[bool, float, int]:
    loud = doubt.kind is DoubtKind.HARDLY_STEADY
    return not loud, -round(doubt.stake or 0.0, 6), BY_WEIGHT.index(doubt.kind)


def _weigh(fit: FitPlan, doubt: Doubt) -> list[Doubt]:
    wrong = EVEN_ODDS if doubt.probability is None else 1 - doubt.probability
    match doubt.kind:
        case DoubtKind.PHRASES:
            return _sections(fit) or [replace(doubt, stake=0.0)]
        case DoubtKind.NO_SECTIONS:  # there is nothing else to plan by
            return [replace(doubt, stake=0.0)]
        case DoubtKind.LEVEL:
            every_beat = Correction(level=1.0), at_level(fit.bar_map, 1.0)
            found = [(wrong, _consequence(fit, *every_beat))]
        case _:
            found = [
                (rival.probability, _consequence(fit, rival.correction, _read(fit.bar_map, rival)))
                for rival in doubt.rivals
            ]
            if doubt.kind is DoubtKind.BEATS:  # wrong at every level, perhaps
                found.append((max(wrong - sum(odds for odds, _ in found), 0.0), None))
    found = found or [(wrong, None)]
    # All may be lost where nothing is known of what it would be instead.
    lost = [odds * (then.lost_points if then else fit.plan.score) for odds, then in found]
    return [replace(doubt, stake=sum(lost), consequence=found[0][1])]


def _read(bar_map: BarMap, rival: Alternative) -> BarMap | None:
    """Give the map as this reading has it; None where it has no count for it."""
    correction = rival.correction
    if rival.kind == "one":
        return with_ones_moved(bar_map, correction.shift_one_beats)
    if correction.meter is not None:
        return in_meter(bar_map, correction.meter)
    level = 1 / (correction.level or 1.0)
    return at_level(bar_map, level) if level in LEVELS else None


def _consequence(
    fit: FitPlan, correction: Correction, bar_map: BarMap | None
) -> Consequence | None:
    """Plan another reading and put the plan beside the one that there is."""
    if bar_map is None:
        return None
    try:
        other = fit_routine(bar_map, replace(fit.request, changes=None))
    except PhrasefitError:
        return Consequence(correction=correction, lost_points=fit.plan.score, fits=False)
    return _beside(fit, correction, other.grid, other.plans)


def _beside(
    fit: FitPlan, correction: Correction, grid: CountGrid, plans: tuple[Plan, ...]
) -> Consequence:
    """Tell what the best of `plans`, made for `grid`, has otherwise than the plan there is."""
    same = [plan for plan in plans if plan.n_changes == fit.request.changes]
    best = same[0] if same else plans[advised_of(plans)]
    kept = min(max(points_on(fit.plan, fit.grid, grid, fit.request), 0.0), 100.0)
    lost = max(best.score - kept, 0.0)
    starts = [[wall.start_s for wall in plan.walls] for plan in (fit.plan, best)]
    for number, (here, there) in enumerate(itertools.zip_longest(*starts), start=1):
        if here is None or there is None or abs(here - there) > SAME_TIME_S:
            return Consequence(correction=correction, lost_points=lost, wall=number, time_s=there)
    return Consequence(correction=correction, lost_points=lost)


def _sections(fit: FitPlan) -> list[Doubt]:
    """List what would cost the plan something: weak sections that are none, others that are."""
    doubts = (*_weak_sections(fit), *_other_sections(fit))
    felt = [doubt for doubt in doubts if doubt.consequence and _is_felt(doubt.consequence)]
    return sorted(felt, key=_order)[:SHOWN_SECTIONS]


def _is_felt(consequence: Consequence) -> bool:
    return consequence.lost_points >= FELT_POINTS and consequence.wall is not None


def _weak_sections(fit: FitPlan) -> Iterator[Doubt]:
    """Plan without each of the weakest sections."""
    sections, times = fit.bar_map.sections, fit.bar_map.beat_times_s
    counted = set(fit.grid.section.tolist())  # two may begin on one count of a slow level
    weak = [
        index
        for index, section in enumerate(sections)
        if index in counted
        and index
        and section.strength < DOUBT_BELOW
        and times[section.start_beat] >= fit.plan.start_s - SAME_TIME_S
    ]
    for index in sorted(weak, key=lambda i: sections[i].strength)[:TRIED_SECTIONS]:
        at_s = float(times[sections[index].start_beat])
        grid = without_section(fit.grid, index, measure_of(fit.grid, fit.routine).phrase_counts)
        change = Correction(no_section_at_s=(at_s,))
        yield _if_otherwise(fit, DoubtKind.SECTION, sections[index].strength, at_s, grid, change)


def _other_sections(fit: FitPlan) -> Iterator[Doubt]:
    """Plan with each of the sections that most likely begin where none is shown."""
    outlook = fit.bar_map.all_forms
    if outlook is None:
        return
    shown = {section.start_beat for section in fit.bar_map.sections}
    times = fit.bar_map.beat_times_s
    likely = [
        (float(probability), float(times[beat]))
        for beat, probability in zip(outlook.beats.tolist(), outlook.sections, strict=True)
        if probability >= 1 - DOUBT_BELOW
        and beat not in shown
        and times[beat] >= fit.plan.start_s - SAME_TIME_S
    ]
    for probability, at_s in sorted(likely, reverse=True)[:TRIED_SECTIONS]:
        count = nearest_count(fit.grid, at_s, "a section at")
        grid = with_section(fit.grid, count, measure_of(fit.grid, fit.routine).phrase_counts)
        change = Correction(sections_at_s=(at_s,))
        yield _if_otherwise(fit, DoubtKind.OTHER_SECTION, 1 - probability, at_s, grid, change)


def _if_otherwise(
    fit: FitPlan, kind: DoubtKind, sure: float, at_s: float, grid: CountGrid, change: Correction
) -> Doubt:
    """Doubt what is shown at a place, where `grid` is the song as `change` would have it."""
    plans, _ = plans_on(grid, fit.bar_map, replace(fit.request, changes=None))
    found = _beside(fit, change, grid, plans)
    return Doubt(
        kind=kind,
        probability=sure,
        at_s=at_s,
        stake=(1 - sure) * found.lost_points,
        consequence=found,
    )
