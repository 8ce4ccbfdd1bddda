"""An independent judge of the planner: try every dance there is.

Written from the wording of `phrasefit.fit.costs.Costs` alone, count by count, without
any table, array or function of the planner.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from phrasefit.fit.costs import Costs
from phrasefit.model import Routine


def meeting(k: int, wall_counts: int | None, meter: int, costs: Costs) -> float:
    """Say how well a phrase start on count k of a wall (of a tag: None) is met."""
    group = 6 if meter == 3 else 8
    if k == 0:
        return costs.meet_start
    if wall_counts is not None and 2 * k == wall_counts and k % group == 0:
        return costs.meet_half
    if k % group == 0:
        return costs.meet_group
    return costs.meet_bar if k % meter == 0 else costs.meet_off


def turned_after(part, counts: int) -> int:
    """Say what has been turned where the song stops a wall without steps."""
    if counts >= part.counts:
        return part.turn_deg
    return sum(s.turn_deg for s in part.steps if s.moments[-1] < counts)


def endings_of_wall(part, routine: Routine, costs: Costs) -> Iterator[tuple]:
    """Yield (kind, wall counts, wall turn, tag counts, tag turn, charge); kind None = no event."""
    tags = [(t.counts, t.turn_deg) for t in routine.tags]
    group = 6 if routine.meter == 3 else 8
    for cut in (None, *part.restart_points):
        counts = cut.after_count if cut else part.counts
        turn = cut.turn_deg if cut else part.turn_deg
        cut_charge = 0.0
        if cut:
            cut_charge = costs.restart
            cut_charge += 0 if counts % group == 0 else costs.restart_off_group
            cut_charge += costs.restart_early if counts <= group else 0
            cut_charge += costs.step_change if cut.step_change else 0
        for tag in (None, *tags):
            if cut is None and tag is None:
                yield None, counts, turn, 0, 0, 0.0
                continue
            charge = cut_charge
            if tag:
                charge += costs.tag + costs.tag_per_count * max(0, tag[0] - routine.meter)
                charge += costs.turning_tag if tag[1] else 0
            if cut and tag:
                charge -= min(costs.joined, charge)
            tag_counts, tag_turn = tag or (0, 0)
            if (turn + tag_turn) % 360 == 0 and part.turn_deg % 360 != 0:
                charge += costs.same_facing
            kind = (part.name, cut and counts, tag)
            yield kind, counts, turn, tag_counts, tag_turn, charge


def best_by_changes(
    strength: list[float],
    routine: Routine,
    start: int,
    max_changes: int,
    costs: Costs,
    demanded: frozenset = frozenset(),
    forbidden: frozenset = frozenset(),
) -> list[float]:
    """Find the best net gain with exactly 0, 1, ... `max_changes` events, by trying all.

    `demanded` and `forbidden` are pairs of ``tag`` and the count on which one begins, or
    ``restart`` and the count on which the dance begins again.
    """
    n = len(strength)
    best = [-math.inf] * (max_changes + 1)
    names = [part.name for part in routine.parts]
    order = [names.index(name) for name in routine.sequence] or [0]
    least_left = max(1, costs.groups_after_event * (6 if routine.meter == 3 else 8))

    def met(begin: int, counts: int, wall_counts: int | None) -> float:
        return sum(
            strength[begin + k] * meeting(k, wall_counts, routine.meter, costs)
            for k in range(counts)
            if begin + k < n
        )

    def dance(count, place, facing, last, after_event, used, total, done) -> None:
        part = routine.parts[order[place % len(order)]]
        for kind, counts, turn, tag_counts, tag_turn, charge in endings_of_wall(
            part, routine, costs
        ):
            gained = total + met(count, counts, part.counts)
            then = count + counts
            if kind is None:
                if then >= n:
                    end_facing = facing + turned_after(part, n - count)
                    gained -= costs.end_off_front if end_facing % 360 else 0
                    if not demanded <= done or forbidden & done:
                        continue
                    best[used] = max(best[used], gained)
                else:
                    dance(then, place + 1, facing + turn, last, False, used, gained, done)
                continue
            if used == max_changes or then + tag_counts > n - least_left:
                continue
            gained += met(then, tag_counts, None) - charge
            gained -= costs.crowded if after_event else 0
            gained += costs.again if kind == last else 0
            facing_then = facing + turn + tag_turn
            changes = {("tag", then)} if kind[2] else set()
            changes |= {("restart", then + tag_counts)} if kind[1] else set()
            dance(
                then + tag_counts, place + 1, facing_then, kind, True, used + 1, gained,
                done | changes,
            )  # fmt: skip

    dance(start, 0, 0, None, False, 0, 0.0, frozenset())
    return best
