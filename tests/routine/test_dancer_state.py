"""Facing, free foot, restart points and turn load of built routines."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from routine_strategies import Written, written_routines

from phrasefit.model import Part, Routine
from phrasefit.routine import dancer_state
from phrasefit.routine.spec import parse_routine
from phrasefit.routine.turns import clock, walls_from_turn

ROUTINES = st.sampled_from([3, 4]).flatmap(lambda meter: written_routines(meter=meter))


def routine_of(steps: str, head: str = "") -> Routine:
    """Read a routine from its step lines."""
    return parse_routine(f'{head}\nsteps = """\n{steps}\n"""\n')


def quarter_routine(count_of_turn: int) -> Routine:
    """Make 32 counts of walking with one quarter right on the given count."""
    lines = []
    for number in range(1, 33):
        turn = "1/4 R" if number == count_of_turn else ""
        lines.append(f"{number} | walk | {'RL'[(number - 1) % 2]} | {turn}")
    return routine_of("\n".join(lines))


@settings(max_examples=60)
@given(ROUTINES)
def test_routine_equals_its_simulation(written: Written) -> None:
    """Net turn, walls, facing and weight after every count are those of dancing the lines."""
    routine = parse_routine(written.text)
    part = routine.parts[0]

    assert part.counts == written.counts
    assert list(dancer_state.turn_after(part)) == written.turned
    assert part.turn_deg == dancer_state.net_turn(routine) == sum(s.turn_deg for s in part.steps)
    assert routine.walls == walls_from_turn(written.turned[-1])
    assert list(dancer_state.weight_after_counts(part)) == written.weight
    assert dancer_state.facing_after(part) == tuple(turn % 360 for turn in written.turned)


@settings(max_examples=60)
@given(ROUTINES)
def test_restart_points_equal_the_simulation(written: Written) -> None:
    """Every restart faces where dancing k counts leads, and says when the feet forbid it."""
    part = parse_routine(written.text).parts[0]

    for point in part.restart_points:
        assert point.turn_deg == written.turned[point.after_count - 1]
        assert bool(point.step_change) is (written.weight[point.after_count - 1] == written.foot)
    bar = 4 if written.counts % 8 == 0 and "waltz" not in written.text else 3
    offered = {point.after_count for point in part.restart_points}
    whole_lines = {end for end in written.line_ends if end % bar == 0 and end < written.counts}
    assert whole_lines <= offered
    assert all(after % bar == 0 for after in offered)


# ------------------------------------------------ worked examples of the trade


def facings_of_walls(routine: Routine, cuts: dict[int, int], n_walls: int) -> list[str]:
    """Dance walls (numbered from 1), some cut short, and list where each begins."""
    part = routine.parts[0]
    turns = (0, *dancer_state.turn_after(part))
    facing, begins = 0, []
    for wall in range(1, n_walls + 1):
        begins.append(clock(facing))
        facing += turns[cuts.get(wall, part.counts)]
    return begins


def test_quarter_right_walls_go_round_clockwise() -> None:
    """+90 a repetition: 12, 3, 6, 9 (arithmetic; facings as in "Line dance terms",
    spiritus-temporis.com/line-dance/terms.html)."""
    assert facings_of_walls(quarter_routine(16), {}, 5) == [
        "12:00",
        "3:00",
        "6:00",
        "9:00",
        "12:00",
    ]


def test_restart_after_the_turn_keeps_the_order_of_walls() -> None:
    """Quarter done by 16: wall 3 (6:00) cut after 16 leads to 9:00 as a whole wall does.

    Arithmetic; the form "restart wall 3 after count 16" as in "Restarts and tags in
    line dancing" (whataboutdance.com).
    """
    routine = quarter_routine(16)

    assert facings_of_walls(routine, {3: 16}, 4)[2:] == ["6:00", "9:00"]
    point = next(p for p in routine.parts[0].restart_points if p.after_count == 16)
    assert point.turn_deg == 90


def test_restart_before_the_turn_repeats_the_facing() -> None:
    """Quarter in 17-32: wall 3 cut after 16 makes wall 4 face 6:00 again."""
    routine = quarter_routine(20)

    assert facings_of_walls(routine, {3: 16}, 4)[2:] == ["6:00", "6:00"]
    point = next(p for p in routine.parts[0].restart_points if p.after_count == 16)
    assert point.turn_deg == 0


# ------------------------------------------------------------- restart points


def test_touch_replaces_a_last_step_on_the_starting_foot() -> None:
    """Weight on the starting foot: the sheet says touch instead of step on that count."""
    lines = ["1-3 | walk | R L R |", "4 | touch | . |", "5-8 | walk | L R L R |", "9-16 | hold | "]
    routine = routine_of("\n".join(lines))
    changes = {p.after_count: p.step_change for p in routine.parts[0].restart_points}

    assert changes == {
        4: "on count 4 step on the left foot with weight",
        8: "on count 8 touch the right foot instead of stepping on it",
        12: "on count 12 step on the left foot with weight",
    }


def test_an_extra_step_off_the_beat_is_left_out() -> None:
    """A last "&" that takes the starting foot is dropped before a restart."""
    routine = routine_of("1-3 | walk | R L R |\n4& | walk | L R |\n5-8 | walk | L R L . |")

    assert routine.parts[0].restart_points[0].step_change == "leave out the step on count 4&"


def test_the_leading_and_of_the_next_line_is_not_danced() -> None:
    """The & of "&5" belongs to count 5: a cut after 4 leaves it out."""
    routine = routine_of("1-4 | walk | R L R L |\n&5 | ball, step | R L |\n6-8 | walk | R L . |")

    assert routine.parts[0].restart_points[0].step_change == ""
    assert dancer_state.free_foot_after(routine.parts[0])[3] == "R"


def test_no_restart_is_offered_inside_a_turning_line() -> None:
    """How much is turned halfway through a line is not known."""
    turning = routine_of("1-8 | spin slowly | R L R L R L R L | 1/2 R\n9-16 | hold |")
    still = routine_of("1-8 | K-step | R . L . R . L . |\n9-16 | hold |")

    assert [p.after_count for p in turning.parts[0].restart_points] == [8, 12]
    assert [p.after_count for p in still.parts[0].restart_points] == [4, 8, 12]


def test_restart_rules_of_the_file_are_kept() -> None:
    """ "none" allows nothing, a list allows just that."""
    steps = "1-8 | weave | R L R L R L R L |\n9-16 | weave | R L R L R L R L |"

    for rule, expected in [
        ('"none"', []),
        ("[8]", [8]),
        ("[12, 8]", [8, 12]),
        ('"any"', [4, 8, 12]),
    ]:
        points = routine_of(steps, f"restarts = {rule}").parts[0].restart_points
        assert [p.after_count for p in points] == expected


# ------------------------------------------------------------------ turn load


def test_turn_load_counts_turns_to_both_sides() -> None:
    """Turning there and back makes as dizzy as turning on (arithmetic)."""
    steps = "1-8 | a | R L R L R L R L | full R\n9-16 | b | R L R L R L R L | full L"

    load = dancer_state.turn_load_deg_per_minute(routine_of(steps), 120.0)

    assert load == pytest.approx(720 / 16 * 120)


def test_turn_load_of_numbers_is_the_net_turn() -> None:
    """Without steps nothing but the net turn is known."""
    routine = parse_routine("counts = 32\nwalls = 4\n")

    assert dancer_state.turn_load_deg_per_minute(routine, 128.0) == pytest.approx(90 * 4)
    assert dancer_state.turn_after(routine.parts[0])[30:] == (0, 90)


def test_longest_run_goes_on_over_the_end() -> None:
    """The last lines of a repetition run on into the first."""
    steps = "1-2 | a | R L | 1/2 R\n3-4 | b | R L |\n5-6 | c | R L | 1/2 R\n7-8 | d | R L | 1/4 R"

    run = dancer_state.longest_turn_run(routine_of(steps))

    assert run is not None
    assert (run.turn_deg, run.line) == (450, 5)


def test_longest_run_stops_at_stillness_and_at_the_other_side() -> None:
    """A line without a turn, or to the other side, breaks a run."""
    steps = "1-2 | a | R L | 1/4 R\n3-4 | b | R L | 1/2 L\n5-6 | c | R L | 1/4 L\n7-8 | d | R L |"

    run = dancer_state.longest_turn_run(routine_of(steps))

    assert run is not None and (run.turn_deg, run.line) == (-270, 4)
    assert dancer_state.longest_turn_run(routine_of("1-4 | walk | R L R L |")) is None


def test_a_routine_that_never_stops_turning_has_one_run() -> None:
    """If every line turns the same way, the run is the whole repetition, not endless."""
    run = dancer_state.longest_turn_run(routine_of("1-2 | a | R L | 1/4 R\n3-4 | b | R L | 1/4 R"))

    assert run is not None and run.turn_deg == 180


def test_phrased_parts_come_in_danced_order() -> None:
    """The sequence says which part is danced when."""
    parts = "\n".join(
        f'[parts.{name}]\ncounts = {n}\nturn = "1/4 R"' for name, n in [("A", 32), ("B", 16)]
    )
    routine = parse_routine(f'sequence = "A B A"\n{parts}\n')

    assert [part.name for part in dancer_state.danced_parts(routine)] == ["A", "B", "A"]
    assert dancer_state.net_turn(routine) == 270
    assert isinstance(routine.parts[0], Part) and routine.counts == 48
