"""Turns, facings, clock text and walls."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from phrasefit.errors import ParameterError
from phrasefit.routine.turns import (
    clock,
    facing_from_clock,
    format_turn,
    parse_turn,
    turn_to_front,
    turn_words,
    wall_name,
    wall_order,
    walls_from_turn,
)

EIGHTHS = st.integers(-32, 32).map(lambda n: 45 * n)


@pytest.mark.parametrize(
    ("text", "degrees"),
    [
        ("1/4 L", -90),
        ("1/2 R", 180),
        ("3/4 l", -270),
        ("3/4 R", 270),
        ("full R", 360),
        ("full turn left", -360),
        ("1/8 R", 45),
        ("1 1/4 L", -450),
        ("5/4 R", 450),
        ("2 R", 720),
        ("¼ L", -90),
        ("1½ R", 540),
        ("1/4 turn to the left", -90),
        ("1/2 right turn", 180),
        ("1/2 R, 1/2 R", 360),
        ("1/2 R + 1/4 L", 90),
        ("none", 0),
        ("", 0),
        ("-", 0),
    ],
)
def test_turns_are_read(text: str, degrees: int) -> None:
    """Right is clockwise and plus; several turns add up (common practice, no source)."""
    assert parse_turn(text) == degrees


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("3/4", "no direction; write 3/4 L or 3/4 R"),
        ("full", "no direction; write full L or full R"),
        ("1/3 R", "no number of eighths"),
        ("1/0 R", "divides by nothing"),
        ("9 R", "more than four full turns"),
        ("sideways", "not understood"),
    ],
)
def test_bad_turns_say_what_to_write(text: str, complaint: str) -> None:
    """A turn without side or of odd size is refused with the remedy."""
    with pytest.raises(ParameterError, match=complaint):
        parse_turn(text)


@given(EIGHTHS)
def test_written_turns_read_back_unchanged(degrees: int) -> None:
    """Writing and parsing turns are inverse."""
    assert parse_turn(format_turn(degrees)) == degrees


@given(EIGHTHS)
def test_clock_and_degrees_are_inverse(facing: int) -> None:
    """Every wall and corner has one clock text."""
    assert facing_from_clock(clock(facing)) == facing % 360


@pytest.mark.parametrize(
    ("facing", "text", "name"),
    [
        (0, "12:00", "front wall"),
        (90, "3:00", "right wall"),
        (180, "6:00", "back wall"),
        (270, "9:00", "left wall"),
        (-90, "9:00", "left wall"),
        (45, "1:30", "front right corner"),
        (315, "10:30", "front left corner"),
        (120, "4:00", "4:00 direction"),
    ],
)
def test_facings_have_clock_and_wall_names(facing: int, text: str, name: str) -> None:
    """The clock face lies on the room with 12:00 in front (common practice, no source)."""
    assert (clock(facing), wall_name(facing)) == (text, name)


@pytest.mark.parametrize("text", ["3", "3:00", " 3 o'clock", "3 O’CLOCK"])
def test_clock_text_is_read_generously(text: str) -> None:
    """People write the hour in several ways."""
    assert facing_from_clock(text) == 90


@pytest.mark.parametrize("text", ["13:00", "0:00", "3:15", "2:00", "left", ""])
def test_other_directions_are_refused(text: str) -> None:
    """A direction that no wall or corner has is a slip."""
    with pytest.raises(ParameterError, match="not understood"):
        facing_from_clock(text)


# One wall: always the same; two: front and back; four: all in turn. "Line dance terms"
# (spiritus-temporis.com/line-dance/terms.html); eighths and thirds: arithmetic.
@pytest.mark.parametrize(
    ("turn", "order"),
    [
        (0, ["12:00"]),
        (360, ["12:00"]),
        (180, ["12:00", "6:00"]),
        (-180, ["12:00", "6:00"]),
        (90, ["12:00", "3:00", "6:00", "9:00"]),
        (-90, ["12:00", "9:00", "6:00", "3:00"]),
        (270, ["12:00", "9:00", "6:00", "3:00"]),
        (120, ["12:00", "4:00", "8:00"]),
    ],
)
def test_net_turn_makes_the_walls(turn: int, order: list[str]) -> None:
    """The net turn of a repetition decides number and order of walls."""
    assert walls_from_turn(turn) == len(order)
    assert [clock(facing) for facing in wall_order(turn)] == order


def test_an_open_eighth_makes_eight_walls() -> None:
    """45 degrees a repetition need eight to come home."""
    assert walls_from_turn(45) == walls_from_turn(-135) == 8


@given(EIGHTHS)
def test_turning_to_the_front_ends_there(facing: int) -> None:
    """The way to the front is at most half a turn and ends at 12:00."""
    turn = turn_to_front(facing)

    assert clock(facing + turn) == "12:00"
    assert abs(turn) <= 180


def test_turns_are_said_in_words() -> None:
    """Messages name side and size."""
    words = [turn_words(turn) for turn in (0, -90, 180, 270, 360, -450)]

    assert words == [
        "no turn",
        "a quarter to the left",
        "half a turn to the right",
        "three quarters to the right",
        "one full turn to the right",
        "1 1/4 turns to the left",
    ]
