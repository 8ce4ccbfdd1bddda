"""The planner's search equals trying everything."""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
import pytest
from fit_brute import best_by_changes
from hypothesis import given, settings
from hypothesis import strategies as st

from phrasefit.fit.bounds import FREE, Bounds
from phrasefit.fit.costs import Costs
from phrasefit.fit.search import WHOLE, Search
from phrasefit.model import EventKind, Part, RestartPoint, Routine, Step, TagOption

TURNS = st.sampled_from([0, 90, -90, 180, 45, -270])


@st.composite
def parts(draw, name: str, meter: int) -> Part:
    """Draw a short part with up to three restart points, some with a change of weight."""
    counts = draw(st.sampled_from([8, 12, 16] if meter == 4 else [6, 12]))
    cuts = draw(st.lists(st.integers(1, counts - 1), unique=True, max_size=3))
    points = [
        RestartPoint(
            after_count=cut,
            turn_deg=draw(TURNS),
            step_change=draw(st.sampled_from(["", "touch instead of step"])),
        )
        for cut in sorted(cuts)
    ]
    turn = draw(TURNS)
    moment = Fraction(draw(st.integers(0, counts - 1)))
    step = Step(line=1, counts="", moments=(moment,), name="turn", feet=("R",), turn_deg=turn)
    return Part(
        name=name,
        counts=counts,
        turn_deg=turn,
        steps=draw(st.sampled_from([(), (step,)])),
        restart_points=tuple(points),
    )


@st.composite
def routines(draw) -> Routine:
    """Draw a routine: in fours or threes, with own tags or the usual, perhaps phrased."""
    meter = draw(st.sampled_from([4, 3]))
    tag = st.builds(TagOption, counts=st.sampled_from([1, 2, 3, 4, 6, 8]), turn_deg=TURNS)
    tags = draw(st.lists(tag, max_size=2, unique_by=lambda t: (t.counts, t.turn_deg)))
    names = ["A", "B"][: draw(st.integers(1, 2))]
    sequence = draw(st.lists(st.sampled_from(names), min_size=1, max_size=4))
    return Routine(
        name="Random",
        parts=tuple(draw(parts(name, meter)) for name in names),
        walls=4,
        meter=meter,
        tags=tuple(tags),
        sequence=tuple(sequence) if len(names) > 1 else (),
    )


@st.composite
def cost_tables(draw) -> Costs:
    """Draw costs far from the default ones, so that every term matters somewhere."""
    meet = st.floats(-1, 1).map(lambda x: round(x, 3))
    charge = st.floats(0, 1.5).map(lambda x: round(x, 3))
    return Costs(
        **{name: draw(meet) for name in ("meet_half", "meet_group", "meet_bar", "meet_off")},
        **{
            name: draw(charge)
            for name in (
                "restart", "restart_off_group", "restart_early", "step_change", "same_facing",
                "tag", "tag_per_count", "turning_tag", "joined", "again", "crowded",
            )
        },
        end_off_front=draw(st.sampled_from([0.0, 0.001, 0.3])),
        groups_after_event=draw(st.integers(0, 2)),
    )  # fmt: skip


def search_for(strength, routine, starts, max_changes, costs, bounds=FREE) -> Search:
    """Build a search the way the planner does for a routine in sequence."""
    names = [part.name for part in routine.parts]
    places = [names.index(name) for name in routine.sequence] or [0]
    return Search(
        np.array(strength),
        routine,
        part_at=np.tile(places, (len(strength), 1)),
        starts=starts,
        max_changes=max_changes,
        costs=costs,
        bounds=bounds,
    )


strengths = st.lists(st.sampled_from([0.0, 0.0, 0.0, 0.3, 0.6, 1.0]), min_size=20, max_size=56)


@settings(max_examples=200, deadline=None)
@given(strengths, routines(), cost_tables(), st.data())
def test_equals_brute_force(strength, routine, costs, data) -> None:
    """For every number of changes the value is that of the best of all dances."""
    starts = sorted(data.draw(st.sets(st.integers(0, 8), min_size=1, max_size=2)))
    search = search_for(strength, routine, starts, 2, costs)

    for start in starts:
        found = [search.value(start, n) for n in range(3)]
        assert found == pytest.approx(best_by_changes(strength, routine, start, 2, costs))


@settings(max_examples=80, deadline=None)
@given(strengths, routines(), cost_tables())
def test_trail_is_worth_its_value(strength, routine, costs) -> None:
    """Walking the trail and adding up gains and charges gives the value again."""
    search = search_for(strength, routine, [0], 2, costs)

    for n_changes in range(3):
        value = search.value(0, n_changes)
        if math.isinf(value):
            continue
        trail = search.trail(0, n_changes)
        total, last, crowded = 0.0, None, False
        for count, part, kind in trail:
            total += search.gain(count, part, kind)
            if kind != WHOLE:
                total -= search.events[kind].charge
                total += costs.again * (kind == last) - costs.crowded * crowded
                last = kind
            crowded = kind != WHOLE
        assert sum(kind != WHOLE for _, _, kind in trail) == n_changes
        assert value <= total + 1e-9 <= value + costs.end_off_front + 2e-9


PLACES = st.lists(
    st.tuples(st.sampled_from([EventKind.TAG, EventKind.RESTART]), st.integers(1, 40)), max_size=2
)


@settings(max_examples=120, deadline=None)
@given(strengths, routines(), cost_tables(), PLACES, PLACES, st.integers(0, 4))
def test_equals_brute_force_with_demands(
    strength, routine, costs, demanded, forbidden, start
) -> None:
    """The best of all dances that have every change demanded and none that is ruled out."""
    demanded = [place for place in demanded if start < place[1] < len(strength)]
    bounds = Bounds(demanded=tuple(demanded), forbidden=tuple(forbidden))
    search = search_for(strength, routine, [start], 2, costs, bounds)
    expected = best_by_changes(
        strength, routine, start, 2, costs, frozenset(demanded), frozenset(forbidden)
    )

    assert [search.value(start, n) for n in range(3)] == pytest.approx(expected)


def test_waits_with_a_tag_until_it_is_needed() -> None:
    """Of equal places for a tag the last one before the phrase start is taken."""
    strength = np.zeros(8 * 4 + 4 + 16)
    strength[[0, 36, 44]] = 1.0
    part = Part(name="A", counts=8, turn_deg=0)
    routine = Routine(name="R", parts=(part,), walls=1, tags=(TagOption(counts=4),))

    trail = search_for(strength, routine, [0], 1, Costs()).trail(0, 1)

    assert [count for count, _, _ in trail] == [0, 8, 16, 24, 36, 44]


def test_more_changes_than_the_song_holds_are_impossible() -> None:
    """A song of two short walls cannot hold three events."""
    part = Part(name="A", counts=8, turn_deg=0, restart_points=())
    routine = Routine(name="R", parts=(part,), walls=1)

    search = search_for([1.0] * 16, routine, [0], 3, Costs(groups_after_event=0))

    assert search.value(0, 3) == -math.inf
