"""The running counts say what the plan says, count by count."""

from __future__ import annotations

import numpy as np

from phrasefit.model import FitPlan
from phrasefit.reports.cues import COUNT_IN, cue_lines, running_counts


def test_every_count_of_the_song_appears_once(
    tagged: FitPlan, restarted: FitPlan, waltz: FitPlan
) -> None:
    """The counts run through without a gap, from the first of the song to the last."""
    for fit in (tagged, restarted, waltz):
        rows = running_counts(fit)

        assert [row.index for row in rows] == list(range(len(fit.grid.times_s) - 1))
        assert np.allclose([row.time_s for row in rows], fit.grid.times_s[:-1])


def test_walls_start_where_the_plan_says(tagged: FitPlan) -> None:
    """Count 1 of each wall has the plan's time and facing."""
    ones = [row for row in running_counts(tagged) if row.kind == "wall" and row.count == 1]

    assert [(r.wall, r.time_s, r.facing) for r in ones] == [
        (w.number, w.start_s, w.facing) for w in tagged.plan.walls
    ]


def test_count_in_runs_into_count_one(tagged: FitPlan, waltz: FitPlan) -> None:
    """The last counts before the dance are called 5-6-7-8, in a waltz 4-5-6.

    Common practice, no source.
    """
    for fit, spoken in ((tagged, [5, 6, 7, 8]), (waltz, [4, 5, 6])):
        intro = [row.spoken for row in running_counts(fit) if row.kind == "intro"]

        assert intro[-len(spoken) :] == spoken
        assert len(intro) >= COUNT_IN[fit.routine.meter]


def test_tag_is_counted_after_its_wall(tagged: FitPlan) -> None:
    """The one tag has its counts from 1, and the event stands on its first count only."""
    (tag,) = tagged.plan.tags
    rows = [row for row in running_counts(tagged) if row.kind == "tag"]

    assert [row.count for row in rows] == list(range(1, tag.counts + 1))
    assert [row.event for row in rows] == [tag] + [None] * (tag.counts - 1)
    assert rows[0].time_s == tag.time_s


def test_restart_begins_the_next_wall(restarted: FitPlan) -> None:
    """The wall after a restart begins early and is marked as a restart."""
    (restart,) = restarted.plan.restarts
    (row,) = [row for row in running_counts(restarted) if row.event == restart]

    assert (row.wall, row.count, row.time_s) == (restart.wall + 1, 1, restart.time_s)


def test_events_are_announced_one_group_ahead(tagged: FitPlan, restarted: FitPlan) -> None:
    """The line before a tag or restart warns of it, with count and facing."""
    (tag_warning,) = [line for line in cue_lines(tagged) if line.warning]
    (restart_warning,) = [line for line in cue_lines(restarted) if line.warning]

    assert tag_warning.warning == "TAG 4 after wall 5, facing 3:00"
    assert restart_warning.warning == "RESTART wall 6 after count 16, facing 3:00"


def test_no_line_runs_across_an_event(restarted: FitPlan) -> None:
    """Lines are whole groups inside one wall."""
    for line in cue_lines(restarted):
        assert line.last - line.first < 8
