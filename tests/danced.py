"""Dancing a plan event by event, to see that all its facts agree."""

from __future__ import annotations

import itertools

from phrasefit.model import FitPlan, Plan, Restart, Tag, Wall


def assert_events_agree(fit: FitPlan, plan: Plan) -> None:
    """Dance the events: each begins where, when and facing where the one before ended."""
    routine, times = fit.routine, fit.grid.times_s
    parts = {part.name: part for part in routine.parts}
    count, facing, wall = plan.start_count, 0, None
    for event, following in itertools.pairwise(plan.events):
        assert (event.count, event.time_s, event.facing) == (count, times[count], facing)
        if isinstance(event, Wall):
            number = wall.number + 1 if wall else 1
            wall, part = event, parts[event.part]
            assert (wall.number, wall.after_count) == (number, 0)
            if routine.sequence:
                assert wall.part == routine.sequence[(number - 1) % len(routine.sequence)]
        else:
            assert (event.wall, event.after_count) == (wall.number, wall.counts)
        if isinstance(event, Restart):
            points = {point.after_count: point for point in part.restart_points}
            assert wall.end_facing == (wall.facing + points[wall.counts].turn_deg) % 360
            assert isinstance(following, Wall)
        else:
            count, facing = count + event.counts, event.end_facing
            assert event.end_s == times[count]
        if isinstance(event, Tag):
            assert event.cut_short == isinstance(following, Restart)
        elif isinstance(event, Wall) and isinstance(following, Wall):
            assert wall.counts == part.counts
            assert facing == (wall.facing + part.turn_deg) % 360
    end = plan.ending
    assert (end.wall, end.after_count, end.facing) == (wall.number, wall.counts, facing)
    assert end.count == count + end.counts_over == len(fit.grid.bar_start)
    assert end.time_s == times[-1]
