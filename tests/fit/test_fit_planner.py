"""Whole plans: what an instructor would choose, and that all facts in them agree."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from fit_brute import best_by_changes
from hypothesis import given, settings
from hypothesis import strategies as st

from danced import assert_events_agree
from fit_songs import make_part, make_routine, make_song
from phrasefit.cli._corrections import option_words
from phrasefit.errors import NoFitError, ParameterError
from phrasefit.fit import ChangePlace, Costs, fit_routine
from phrasefit.fit.changes import changes_of as list_events
from phrasefit.fit.doubts import other_readings
from phrasefit.fit.phrase_hits import phrase_hits
from phrasefit.fit.starts import start_charge
from phrasefit.meters import DANCE_METERS
from phrasefit.model import (
    Alternative,
    Confidence,
    Correction,
    EventKind,
    FitPlan,
    RestartPoint,
    Step,
    TagOption,
)
from phrasefit.reports.doubts import doubt_lines

SQUARE = (("I", 8), ("A", 16), ("B", 16), ("A", 16), ("B", 16), ("C", 8), ("B", 16))


def events_of(fit: FitPlan, n_changes: int | None = None) -> list[tuple]:
    """List (wall, cut, tag counts) of the advised plan, or of the one with `n_changes`."""
    plan = fit.plan
    if n_changes is not None:
        plan = next(p for p in fit.plans if p.n_changes == n_changes)
    cuts = {r.wall: r.after_count for r in plan.restarts}
    tags = {t.after_wall: t.counts for t in plan.tags}
    return [(wall, cuts.get(wall), tags.get(wall)) for wall in sorted(cuts | tags)]


# ------------------------------------------------------------- what is chosen


def test_a_square_song_is_danced_straight_through() -> None:
    """Every phrase starts a wall: 100 of 100, nothing to change, count 1 after the intro."""
    fit = fit_routine(make_song(*SQUARE), make_routine())

    assert fit.plan.n_changes == 0
    assert fit.plan.score == pytest.approx(100, abs=0.05)
    assert fit.plan.start_count == fit.plan.intro_counts == 32
    assert [w.start_count for w in fit.plan.walls] == list(range(32, 384, 32))
    assert fit.breaks == ()
    assert len(fit.plans) == 1


def test_the_example_of_the_design() -> None:
    """The song adds 4 counts before the last chorus: a 4-count tag right before it fixes it."""
    song = make_song(("I", 8), ("A", 16), ("B", 16), ("A", 17), ("B", 16), ("B", 16))

    fit = fit_routine(song, make_routine())

    assert events_of(fit) == [(6, None, 4)]
    assert fit.plan.phrase_met == pytest.approx(100)
    assert [(b.count, b.extra_counts, b.letter) for b in fit.breaks] == [(228, 4, "B")]
    assert fit.plan.walls[6].start_count == 228
    assert fit.plans[0].n_changes == 0


@pytest.mark.parametrize(
    ("bars", "event"),
    [
        (17, (None, 4)),  # common practice, no source: 1 to 8 counts over are a tag
        (18, (None, 8)),
        (20, (16, None)),  # 16 over: restart after 16
        (15, (28, None)),  # 4 short: restart after C - 4
        ([4] * 15 + [6], (None, 2)),  # a bar of 6: two counts over
        ([4] * 15 + [5], (None, 1)),  # likewise, where the song has an odd bar
        ([4] * 15 + [7], (None, 3)),
    ],
)
def test_the_mend_fits_the_break(bars, event) -> None:
    """Each break is fixed by the event that teachers use for it."""
    song = make_song(("I", 8), ("A", bars), *[("B", 16), ("A", 16)] * 3)

    fit = fit_routine(song, make_routine())

    assert [found[1:] for found in events_of(fit)] == [event]
    assert fit.plan.phrase_met == pytest.approx(100)


@pytest.mark.parametrize(("bars", "tags"), [(16, ()), (15, ()), ([4] * 15 + [6], ())])
def test_odd_tags_are_for_songs_with_an_odd_bar(bars, tags) -> None:
    """Where every phrase begins an even number of counts after the first one, none is tried."""
    song = make_song(("I", 8), ("A", bars), *[("B", 16), ("A", 16)] * 3)
    odd = make_song(("I", 8), ("A", [4] * 15 + [3]), *[("B", 16), ("A", 16)] * 3)

    only_odd = make_routine(tags=tags, odd_bar_tags=(TagOption(counts=3),))

    assert not any(plan.tags for plan in fit_routine(song, only_odd).plans)
    assert any(plan.tags for plan in fit_routine(odd, only_odd).plans)
    assert not any(plan.tags for plan in fit_routine(odd, make_routine(tags=tags)).plans)


def test_no_odd_tag_puts_a_wall_off_the_bar() -> None:
    """The bar of five lies within wall 4: the count is held after it, not before."""
    song = make_song(("I", 8), ("A", 16), ("B", 8), ("A", [4] * 11 + [5]), *[("B", 16)] * 3)

    fit = fit_routine(song, make_routine())

    tags = [tag for plan in fit.plans for tag in plan.tags if tag.counts in (1, 3, 5)]
    assert tags
    for plan in fit.plans:
        for tag in plan.tags:
            begins = [w.start_count for w in plan.walls if w.number == tag.wall + 1]
            assert tag.counts % 2 == 0 or all(fit.grid.bar_start[begins])


def test_a_bar_of_three() -> None:
    """A count short: restart after 28, and three counts more."""
    song = make_song(("I", 8), ("A", 16), ("B", 16), ("A", [4] * 15 + [3]), *[("B", 16)] * 3)

    fit = fit_routine(song, make_routine())

    assert events_of(fit) == [(6, 28, 3)]
    assert fit.plan.phrase_met == pytest.approx(100)


def test_a_waltz_with_a_bar_of_four() -> None:
    """A count over in threes: a tag of one count."""
    song = make_song(("I", 8), ("A", [3] * 15 + [4]), *[("B", 16), ("A", 16)] * 3, meter=3)

    fit = fit_routine(song, make_routine(make_part(counts=24), meter=3))

    assert events_of(fit) == [(2, None, 1)]


def test_half_a_phrase_late_in_the_song_is_lived_with() -> None:
    """A half-phrase shift with little left is not worth a restart; early it is."""
    early = make_song(("I", 8), ("A", 20), *[("B", 16), ("A", 16)] * 3)
    late = make_song(("I", 8), *[("B", 16), ("A", 16)] * 3, ("C", 20), ("B", 8))

    assert fit_routine(early, make_routine()).plan.n_changes == 1
    assert fit_routine(late, make_routine()).plan.n_changes == 0


def test_a_tag_that_gains_little_is_not_advised() -> None:
    """Four counts more before the very last phrase: shown as a possibility, not advised."""
    song = make_song(("I", 8), *[("B", 16), ("A", 16)] * 3, ("C", 17), ("B", 4))

    fit = fit_routine(song, make_routine())

    assert fit.plan.n_changes == 0
    assert events_of(fit, 1) == [(14, None, 4)]


def test_the_same_restart_again_is_easier() -> None:
    """Where 8 and 24 counts over could be fixed by either, the kind used before is taken."""
    routine = make_routine(tags=(TagOption(counts=2), TagOption(counts=2, turn_deg=180)))
    odd = [4] * 15 + [6]
    song = make_song(("I", 8), ("A", odd), ("B", 16), ("A", odd), ("B", 16), ("B", 16))

    fit = fit_routine(song, routine)

    assert [tag.counts for tag in fit.plan.tags] == [2, 2]
    assert [tag.end_facing - tag.facing for tag in fit.plan.tags] == [0, 0]
    again, other = Costs().again, dataclasses.replace(Costs(), again=0.0)
    points = 100 / fit.grid.strength[32:].sum()
    dearer = fit_routine(song, routine, costs=other)
    assert dearer.plan.charges - fit.plan.charges == pytest.approx(again * points)


def test_events_in_walls_next_to_each_other_are_dearer() -> None:
    """The charge for crowding is paid once for two events in a row."""
    song = make_song(("I", 8), ("A", 9), ("B", 9), *[("C", 16)] * 4)
    routine = make_routine(make_part(cuts={}), tags=(TagOption(counts=4),))
    costs = dataclasses.replace(Costs(), crowded=0.0)

    crowded = fit_routine(song, routine, intro=32).plans[-1]
    free = fit_routine(song, routine, intro=32, costs=costs).plans[-1]

    assert [tag.after_wall for tag in crowded.tags] == [1, 2]
    points = 100 / fit_routine(song, routine).grid.strength[32:].sum()
    assert crowded.charges - free.charges == pytest.approx(Costs().crowded * points)


@pytest.mark.parametrize(
    ("cut", "change", "tag", "tag_turn", "charge"),
    [
        (16, "", None, 0, 1.0),
        (16, "touch on 16", None, 0, 1.5),  # the weight must be changed
        (20, "", None, 0, 1.25),  # not on an eight
        (8, "", None, 0, 1.25),  # a stump of a wall
        (4, "", None, 0, 1.5),  # both
        (None, "", 4, 0, 1.0),
        (None, "", 2, 0, 1.0),
        (None, "", 8, 0, 1.2),
        (None, "", 16, 0, 1.6),
        (None, "", 4, 180, 1.25),
        (16, "", 4, 0, 1.5),  # one event: half of a charge is let off
    ],
)
def test_what_events_cost(cut, change, tag, tag_turn, charge) -> None:
    """The charges of the table, added up [phrase starts]; the routine turns before each cut."""
    point = RestartPoint(after_count=cut or 31, turn_deg=90, step_change=change)
    part = dataclasses.replace(make_part(), restart_points=(point,))
    tags = (TagOption(counts=tag, turn_deg=tag_turn),) if tag else ()

    events = list_events(make_routine(part, tags=tags), Costs())

    wanted = [e for e in events if bool(e.cut) == bool(cut) and bool(e.tag) == bool(tag)]
    assert [event.charge for event in wanted] == pytest.approx([charge])


def test_facing_the_same_wall_again_is_dearer() -> None:
    """Cut before the turn, the next wall faces the same way as the one cut short."""
    charges = [
        list_events(make_routine(make_part(turn=turn, cuts={16: done}), tags=()), Costs())[0].charge
        for turn, done in [(90, 0), (90, 90), (0, 0), (180, 360)]
    ]

    assert charges == pytest.approx([1.1, 1.0, 1.0, 1.1])


def test_the_step_change_is_told() -> None:
    """A restart that needs a change of weight says which."""
    point = RestartPoint(after_count=16, turn_deg=0, step_change="touch instead of step on 16")
    part = dataclasses.replace(make_part(), restart_points=(point,))
    song = make_song(("I", 8), ("A", 20), *[("B", 16), ("A", 16)] * 3)

    fit = fit_routine(song, make_routine(part, tags=()))

    assert fit.plan.restarts[0].step_change == "touch instead of step on 16"


def test_restart_and_tag_at_one_place_are_one_change() -> None:
    """Both are listed, at the same wall, and counted once."""
    song = make_song(("I", 8), ("A", 21), *[("B", 16), ("A", 16)] * 3)
    routine = make_routine(make_part(cuts={16: 0}), tags=(TagOption(counts=4),))

    plan = fit_routine(song, routine).plan

    assert plan.n_changes == 1
    assert (plan.restarts[0].wall, plan.tags[0].after_wall) == (3, 3)
    assert plan.tags[0].end_s == plan.restarts[0].time_s
    assert plan.walls[3].start_s == plan.tags[0].end_s


def test_no_restarts_no_tags_no_changes() -> None:
    """A routine that allows neither gets the plain plan only."""
    song = make_song(("I", 8), ("A", 17), *[("B", 16), ("A", 16)] * 3)

    fit = fit_routine(song, make_routine(make_part(cuts={}), tags=()))

    assert [plan.n_changes for plan in fit.plans] == [0]


def test_plans_get_better_with_changes() -> None:
    """Each plan kept meets more of the music, or scores higher, than all with fewer changes."""
    song = make_song(("I", 8), ("A", 17), ("B", 15), ("A", 18), ("B", 20), ("A", 17), ("B", 16))

    fit = fit_routine(song, make_routine())

    assert [plan.n_changes for plan in fit.plans] == list(range(len(fit.plans)))
    assert len(fit.plans) > 2
    met = [plan.phrase_met for plan in fit.plans]
    assert met == sorted(met)
    assert fit.plan.score == max(plan.score for plan in fit.plans)


def test_a_change_that_leaves_the_score_at_nothing_is_not_advised() -> None:
    """Two plans of no worth: the one without changes is advised."""
    song = make_song(*[("ABC"[i % 3], [4] * (5 + i % 4) + [3]) for i in range(12)])
    dear = dataclasses.replace(Costs(), restart=3.0, tag=3.0)

    fit = fit_routine(song, make_routine(), costs=dear)

    assert len(fit.plans) > 1
    assert {plan.score for plan in fit.plans} == {0.0}
    assert fit.plan.n_changes == 0


def test_waltz() -> None:
    """48 counts on sixteen bars of three; three counts more are one 3-count tag."""
    song = make_song(("I", 4), ("A", 16), ("B", 17), *[("A", 16)] * 3, meter=3, bpm=96)
    routine = make_routine(make_part(counts=48, cuts={24: 90}), meter=3)

    fit = fit_routine(song, routine)

    assert fit.plan.start_count == 12
    assert events_of(fit) == [(2, None, 3)]
    assert fit.plan.phrase_met == pytest.approx(100)


# ------------------------------------------------------------- where it starts


@pytest.mark.parametrize(
    ("intro_bars", "start"),
    [(4, 16), (8, 32), (12, 48), (2, 8), (1, 36), (0, 32), (16, 32)],
)
def test_count_one_after_the_intro(intro_bars: int, start: int) -> None:
    """The first section after enough intro; with none, or too much, the second phrase."""
    sections = [("I", intro_bars)] * bool(intro_bars) + [("A", 16), ("B", 16)] * 3

    assert fit_routine(make_song(*sections), make_routine()).plan.start_count == start


def test_a_pickup_is_no_count_of_the_intro() -> None:
    """Beats before the first one are passed, not counted as intro (common practice, no source)."""
    fit = fit_routine(make_song(*SQUARE, pickup=3), make_routine())

    assert (fit.plan.start_count, fit.plan.intro_counts) == (35, 32)
    assert fit.plan.intro_from_phrase_counts == 32


def test_intro_from_the_first_phrase() -> None:
    """Bars before the first section belong to the intro, not to the first phrase."""
    song = make_song(("x", 2), *SQUARE)
    song = dataclasses.replace(song, sections=song.sections[1:])

    plan = fit_routine(song, make_routine()).plan

    assert (plan.intro_counts, plan.intro_from_phrase_counts) == (40, 32)


def test_the_routine_s_intro_is_followed() -> None:
    """An intro asked for by the sheet wins over a little better phrasing."""
    fit = fit_routine(make_song(*SQUARE), make_routine(intro_counts=64))

    assert fit.plan.intro_counts == 64


def test_the_routine_s_intro_is_left_where_it_ends_on_no_phrase() -> None:
    """16 counts into an intro of 32 nothing begins: the dance waits for the phrase."""
    fit = fit_routine(make_song(*SQUARE), make_routine(intro_counts=16))

    assert fit.plan.intro_counts == 32
    assert fit.plan.charges == pytest.approx(Costs().start_other, abs=0.05)


def test_start_options_are_ranked() -> None:
    """The advised start comes first, the scores descend."""
    fit = fit_routine(make_song(*SQUARE), make_routine())

    scores = [option.score for option in fit.start_options]
    assert fit.start_options[0].start_count == fit.plan.start_count
    assert scores == sorted(scores, reverse=True)
    assert len(scores) > 2


def test_a_start_by_hand() -> None:
    """A time chooses the nearest count, an intro counts from the first one; no charge."""
    song = make_song(*SQUARE, first_s=2.0)

    by_time = fit_routine(song, make_routine(), start_s=10.1)
    by_intro = fit_routine(song, make_routine(), intro=16)

    assert by_time.plan.start_count == by_intro.plan.start_count == 16
    assert by_time.plan.start_s == 10.0
    assert [option.start_count for option in by_time.start_options] == [16]
    assert by_time.plans[0].charges == pytest.approx(0, abs=0.05)


@pytest.mark.parametrize(
    ("wish", "error", "match"),
    [
        ({"start_s": 0.2}, ParameterError, "outside the counted song"),
        ({"start_s": 999.0}, ParameterError, "outside the counted song"),
        ({"start_s": float("nan")}, ParameterError, "must be seconds"),
        ({"start_s": 9.0, "intro": 16}, ParameterError, "both say where the dance begins"),
        ({"intro": -1}, ParameterError, "must be 0 counts or more"),
        ({"intro": 370}, NoFitError, "only 14 counts are left"),
        ({"max_changes": 13}, ParameterError, "between 0 and 12"),
        ({"max_changes": -1}, ParameterError, "between 0 and 12"),
        ({"changes": 5}, ParameterError, "between 0 and max_changes=4"),
        ({"changes": 3}, ParameterError, "no plan worth dancing has just so many; choose one of 0"),
    ],
)
def test_refuses_wishes_that_cannot_be(wish, error, match) -> None:
    """The error says what is wrong and what is possible."""
    with pytest.raises(error, match=match):
        fit_routine(make_song(*SQUARE), make_routine(), **wish)


def test_a_clip_shorter_than_a_wall() -> None:
    """The message gives the counts there are and the counts needed."""
    with pytest.raises(NoFitError, match=r"only 28 counts .* needs 32 \(16 s at this tempo\)"):
        fit_routine(make_song(("A", 7)), make_routine())


def test_a_clip_of_just_one_wall() -> None:
    """One wall is a plan, though there is no intro."""
    fit = fit_routine(make_song(("A", 8)), make_routine())

    assert [wall.counts for wall in fit.plan.walls] == [32]
    assert fit.plan.start_count == 0


@pytest.mark.parametrize(("song_meter", "routine_meter"), [(4, 3), (3, 4), (5, 4), (2, 3)])
def test_threes_and_fours_do_not_mix(song_meter: int, routine_meter: int) -> None:
    """No plan can make a waltz of a song in fours."""
    song = make_song(("A", 40), meter=song_meter)

    with pytest.raises(NoFitError, match=f"has {song_meter} beats a bar"):
        fit_routine(song, make_routine(meter=routine_meter))


# -------------------------------------------------------- facts that must agree


def test_facing_after_a_restart() -> None:
    """32 counts, a quarter right done by count 16: wall 3 starts 6:00; restart after 16: 9:00.

    Turned only in counts 17-32, wall 4 starts 6:00 instead (arithmetic).
    """
    song = make_song(("I", 8), ("A", 20), *[("B", 16), ("A", 16)] * 3)
    before = make_routine(make_part(cuts={16: 90}), tags=())
    after = make_routine(make_part(cuts={16: 0}), tags=())

    facings = [
        [wall.facing for wall in fit_routine(song, routine).plan.walls[:4]]
        for routine in (before, after)
    ]

    assert facings == [[0, 90, 180, 270], [0, 90, 180, 180]]


def test_facing_after_a_turning_tag() -> None:
    """A tag begins where its wall ends and turns on from there."""
    song = make_song(("I", 8), ("A", 17), *[("B", 16), ("A", 16)] * 3)
    tag = TagOption(counts=4, turn_deg=-90, name="paddle")

    plan = fit_routine(song, make_routine(make_part(cuts={}), tags=(tag,))).plan

    assert (plan.tags[0].facing, plan.tags[0].end_facing, plan.tags[0].name) == (180, 90, "paddle")
    assert [wall.facing for wall in plan.walls[:4]] == [0, 90, 90, 180]


@pytest.mark.parametrize(
    ("turn", "facing", "to_front"),
    [(90, 270, 90), (-90, 90, -90), (180, 180, 180), (0, 0, 0)],
)
def test_the_ending(turn: int, facing: int, to_front: int) -> None:
    """Three walls and a half; steps say what is turned by then."""
    step = Step(line=1, counts="9", moments=(8,), name="turn", feet=("R",), turn_deg=turn)
    part = dataclasses.replace(make_part(turn=turn), steps=(step,))
    song = make_song(("I", 8), ("A", 20))

    ending = fit_routine(song, make_routine(part)).plan.ending

    assert (ending.wall, ending.counts_left) == (3, 16)
    assert (ending.facing, ending.turn_to_front_deg) == (facing, to_front)
    assert ending.time_s == pytest.approx(song.end_s)


def test_phrase_offsets() -> None:
    """Each wall says how far behind (+) or before (-) the nearest phrase start it begins."""
    song = make_song(("I", 8), ("A", 17), ("B", 16))

    plain = fit_routine(song, make_routine()).plans[0]

    assert [wall.phrase_offset for wall in plain.walls] == [0, 0, -4, -4]
    assert all(wall.phrase_strength in (0.5, 1.0) for wall in plain.walls)


def test_reps_per_song() -> None:
    """At 120 a wall of 32 lasts 16.0 s; the median song of 218.6 s holds 13.7."""
    song = make_song(("A", round(218.6 / 2)))

    fit = fit_routine(song, make_routine(), intro=0)

    walls = fit.plan.walls
    assert np.allclose(np.diff([wall.start_s for wall in walls]), 16.0)
    assert sum(wall.counts for wall in walls) / 32 == pytest.approx(13.7, abs=0.1)


@st.composite
def songs_and_routines(draw):
    """Draw a song with odd bars and a routine that may turn anywhere."""
    bars = st.lists(st.sampled_from([4, 4, 4, 4, 4, 4, 2, 6, 5]), min_size=1, max_size=9)
    sections = draw(st.lists(st.tuples(st.sampled_from("AB"), bars), min_size=2, max_size=5))
    song = make_song(
        *sections,
        pickup=draw(st.integers(0, 3)),
        strengths=tuple(draw(st.sampled_from([0.3, 0.7, 1.0])) for _ in sections),
    )
    turn = st.sampled_from([0, 90, -90, 180])
    parts = [
        make_part(name, draw(st.sampled_from([16, 24, 32])), draw(turn), {8: draw(turn)})
        for name in "AB"[: draw(st.integers(1, 2))]
    ]
    sequence = tuple(draw(st.lists(st.sampled_from([p.name for p in parts]), min_size=1)))
    tags = (TagOption(counts=4), TagOption(counts=2, turn_deg=draw(turn)))
    routine = make_routine(*parts, tags=tags, sequence=sequence if len(parts) > 1 else ())
    return song, routine


@settings(max_examples=60, deadline=None)
@given(songs_and_routines())
def test_plans_equal_brute_force(pair) -> None:
    """The score of each number of changes is the best over all starts and all dances."""
    song, routine = pair
    costs = Costs()
    try:
        fit = fit_routine(song, routine, max_changes=2)
    except NoFitError:
        return
    strength = fit.grid.strength.tolist()
    best = [-np.inf] * 3
    for option in fit.start_options:
        start = option.start_count
        whole = sum(strength[start:]) or 1.0
        awkward = start_charge(fit.grid, start, fit.request)
        nets = best_by_changes(strength, routine, start, 2, costs)
        best = [max(b, 100 * net / whole - awkward) for b, net in zip(best, nets, strict=True)]

    for plan in fit.plans:
        value = plan.phrase_met - plan.charges  # half a point may go for an earlier start
        assert best[plan.n_changes] - 0.5 - 1e-5 <= value <= best[plan.n_changes] + 1e-5
    assert fit.plan.score >= max(plan.score for plan in fit.plans) - 0.5


@settings(max_examples=150, deadline=None)
@given(songs_and_routines(), st.integers(0, 4))
def test_all_facts_of_a_plan_agree(pair, max_changes: int) -> None:
    """Walls and tags follow each other without gap, in time, counts and facing."""
    song, routine = pair
    try:
        fit = fit_routine(song, routine, max_changes=max_changes)
    except NoFitError:
        return
    for plan in fit.plans:
        assert_events_agree(fit, plan)
        changed = {event.wall for event in (*plan.restarts, *plan.tags)}
        assert plan.n_changes == len(changed) <= max_changes
        assert plan.ending.counts_over < DANCE_METERS[routine.meter].group_counts
        assert plan.score == pytest.approx(np.clip(plan.phrase_met - plan.charges, 0, 100))
        assert -50 - 1e-6 <= plan.phrase_met <= 100 + 1e-6


def test_phrase_hits_add_up_to_the_score() -> None:
    """What the phrase starts are worth by the table is `phrase_met`."""
    song = make_song(("I", 8), ("A", 17), ("B", 16), ("A", 18))
    fit = fit_routine(song, make_routine())
    table = {0: 1.0, 16: 0.5, 8: 0.25, 24: 0.25}

    for plan in fit.plans:
        hits = phrase_hits(plan, fit.grid)
        met = sum(h.strength * table.get(h.into_counts, 0.0) for h in hits)
        assert plan.phrase_met == pytest.approx(100 * met / sum(h.strength for h in hits))


@given(st.floats(-5, 100), st.floats(0.8, 1.2))
def test_time_moves_with_the_song(shift_s: float, stretch: float) -> None:
    """Shifting and stretching the beats shifts and stretches the plan, nothing else."""
    song = make_song(("I", 8), ("A", 17), ("B", 16), ("A", 16), first_s=0.0)
    moved = dataclasses.replace(
        song,
        beat_times_s=song.beat_times_s * stretch + shift_s,
        end_s=song.end_s * stretch + shift_s,
        tempo_bpm=song.tempo_bpm / stretch,
    )

    plan, other = (fit_routine(s, make_routine()).plan for s in (song, moved))

    assert [w.start_count for w in plan.walls] == [w.start_count for w in other.walls]
    assert other.walls[-1].start_s == pytest.approx(plan.walls[-1].start_s * stretch + shift_s)


# --------------------------------------------------------------------- phrased


def test_a_phrased_routine_follows_its_sequence() -> None:
    """Parts come in the order given, over and over."""
    parts = make_part("A", 32, 180), make_part("B", 16, 0, {})
    routine = make_routine(*parts, sequence=("A", "A", "B"))
    song = make_song(("I", 8), *[("A", 16), ("B", 4)] * 4)

    plan = fit_routine(song, routine).plan

    assert "".join(wall.part for wall in plan.walls) == "AABAABAABAAB"
    assert plan.score == pytest.approx(100, abs=0.05)
    assert [wall.facing for wall in plan.walls[:4]] == [0, 180, 0, 0]


def test_a_phrased_routine_without_sequence_follows_the_letters() -> None:
    """The same music gets the same part, as it fits best."""
    parts = make_part("A", 32, 0), make_part("B", 24, 0, {})
    song = make_song(("I", 8), ("V", 16), ("C", 6), ("V", 8), ("C", 6), ("C", 6), ("V", 16))

    plan = fit_routine(song, make_routine(*parts)).plan

    assert "".join(wall.part for wall in plan.walls) == "AABABBAA"
    assert plan.phrase_met == pytest.approx(100)


# ---------------------------------------------------------------------- doubts


def readings(*named: tuple[str, Correction, float]) -> tuple[Alternative, ...]:
    """Other readings of a song in fours at 120 beats a minute."""
    return tuple(
        Alternative(kind=kind, correction=correction, probability=p, tempo_bpm=120, meter=4)
        for kind, correction, p in named
    )


def test_doubts_carry_the_other_readings() -> None:
    """A doubtful one is to be checked; it is told in plain words, or by what to type."""
    rivals = readings(
        ("one", Correction(shift_one_beats=2), 0.3),
        ("half", Correction(level=0.5), 0.2),
        ("one", Correction(shift_one_beats=1), 0.1),
        ("double", Correction(level=2.0), 0.05),
    )
    sure = Confidence(beats=0.65, downbeat=0.25, meter=0.98, phrase=0.4)
    fit = fit_routine(make_song(*SQUARE, confidence=sure, alternatives=rivals), make_routine())

    assert [doubt.kind for doubt in fit.doubts] == ["beats", "one", "phrases"]
    assert fit.doubts[0].rivals == (rivals[1],), "a rare level explains hardly any of the doubt"
    assert fit.doubts[1].rivals == (rivals[0], rivals[2])
    assert doubt_lines(fit) == (
        "check the one (25% sure): hear whether a new line of the song begins on count 1 of a"
        " wall; if it is wrong, it may be 2 beats later (30%; then count 1 comes at 0:18.0) or"
        " a beat later (10%)",
        "check the beat (65% sure): tap along and hear whether it stays with you; if it is wrong,"
        " it may be half as fast (20%; then wall 2 begins at 0:49.0)",
        "check the phrases (40% sure): hear whether the music starts something new where they"
        " begin",
    )
    ends = [line.partition("; ")[2] for line in doubt_lines(fit, option_words)]
    assert ends == [
        "if it is wrong, try --shift-one +2 (30%; then count 1 comes at 0:18.0) or"
        " --shift-one +1 (10%)",
        "if it is wrong, try --half (20%; then wall 2 begins at 0:49.0)",
        "where a section begins elsewhere, say so with --section-at TIME",
    ]


def test_other_readings_are_given_from_the_counts_shown() -> None:
    """Counted every other beat, the reading at half the tempo is the one shown."""
    levels = readings(("half", Correction(level=0.5), 0.2), ("double", Correction(level=2.0), 0.1))
    quarter = readings(("half", Correction(level=0.25), 0.2))
    song = make_song(*SQUARE, alternatives=levels)

    assert other_readings(song, 1.0) == levels
    assert other_readings(song, 2.0) == ()
    assert other_readings(song, 0.5) == ()
    assert option_words(quarter[0].correction, 2.0) == "--half"
    assert other_readings(dataclasses.replace(song, alternatives=quarter), 2.0) == quarter


def test_a_sure_map_has_no_doubts() -> None:
    """Nothing to check, nothing said."""
    assert fit_routine(make_song(*SQUARE), make_routine()).doubts == ()


def test_other_doubts() -> None:
    """A count that is not the beat, and guessed phrases, are said."""
    fast = fit_routine(make_song(*SQUARE, bpm=170), make_routine())
    ranged = fit_routine(make_song(*SQUARE, bpm=170), make_routine(tempo_bpm=(80, 90)))
    bare = fit_routine(make_song(("A", 24), sections=()), make_routine())

    assert "check the count (85 a minute, and the beat is 170)" in doubt_lines(fast)[0]
    assert ranged.doubts == ()
    assert "the map has no sections" in doubt_lines(bare)[0]


def test_less_than_an_eight_of_music_is_the_ending() -> None:
    """Four counts after the last whole wall begin no wall; they are counted as left over."""
    song = make_song(("I", 8), ("A", 16), ("B", 17))

    plan = fit_routine(song, make_routine()).plans[0]

    assert [wall.counts for wall in plan.walls] == [32, 32, 32, 32]
    assert plan.ending.counts_over == 4
    assert plan.ending.time_s == pytest.approx(song.end_s)


# ------------------------------------------------------- changes at places of one's own


def test_a_restart_is_danced_where_it_is_demanded() -> None:
    """A square song needs none; who wants one gets it there, and the facing follows."""
    song = make_song(("A", 16), ("B", 16), ("C", 16))
    place = ChangePlace(kind=EventKind.RESTART, at_s=float(song.beat_times_s[32 + 32 + 16]))

    fit = fit_routine(song, make_routine(), demanded=(place,), max_changes=2)

    assert {restart.count for plan in fit.plans for restart in plan.restarts} >= {80}
    assert all(any(r.count == 80 for r in plan.restarts) for plan in fit.plans)
    assert fit.plans[0].n_changes >= 1


def test_a_tag_that_is_ruled_out_comes_elsewhere_or_not_at_all() -> None:
    """The change that the planner chose is the one that it may not choose any more."""
    song = make_song(("I", 8), ("A", 20), *[("B", 16), ("A", 16)] * 3)
    chosen = fit_routine(song, make_routine()).advised
    change = next(e for e in chosen.events if e.kind in (EventKind.TAG, EventKind.RESTART))
    place = ChangePlace(kind=change.kind, at_s=change.time_s)

    fit = fit_routine(song, make_routine(), forbidden=(place,))

    assert fit.advised.score <= chosen.score
    for plan in fit.plans:
        assert (change.kind, change.count) not in {(e.kind, e.count) for e in plan.events}


def test_what_cannot_be_danced_says_so() -> None:
    """A tag one count into the dance, a restart twice at odds, a place outside the song."""
    song = make_song(("A", 16), ("B", 16))
    early = ChangePlace(kind=EventKind.TAG, at_s=float(song.beat_times_s[1]))
    with pytest.raises(ParameterError, match="no plan with at most 4 changes has a tag at"):
        fit_routine(song, make_routine(), demanded=(early,))
    with pytest.raises(ParameterError, match="take one back"):
        fit_routine(song, make_routine(), demanded=(early,), forbidden=(early,))
    outside = ChangePlace(kind=EventKind.RESTART, at_s=999.0)
    with pytest.raises(ParameterError, match="a restart at 16:39"):
        fit_routine(song, make_routine(), demanded=(outside,))
