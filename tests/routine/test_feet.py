"""Weight arithmetic: which foot may step."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from phrasefit.errors import ParameterError
from phrasefit.routine.feet import (
    OTHER,
    first_foot,
    free_foot,
    frees,
    is_legal,
    n_weight_changes,
    parse_feet,
    parse_foot,
    weight_after,
)


@pytest.mark.parametrize("text", ["R L R", "RLR", "r l r", " R, L ,R "])
def test_feet_are_read(text: str) -> None:
    """Spaces, commas and small letters do not matter."""
    assert parse_feet(text, 3) == ("R", "L", "R")


def test_no_weight_has_three_signs() -> None:
    """Dot, dash and underscore all mean that nobody new takes weight."""
    assert parse_feet(". - _ B", 4) == (".", ".", ".", "B")


@pytest.mark.parametrize(
    ("text", "n_moments", "complaint"),
    [
        ("R L", 3, "are 2 for 3 moments"),
        ("R L R", 2, "are 3 for 2 moments"),
        ("R X", 2, '"x" is not understood'),
        ("1/4 L", 2, "look like a turn"),
    ],
)
def test_bad_feet_say_what_to_write(text: str, n_moments: int, complaint: str) -> None:
    """Wrong signs and wrong numbers are refused with the remedy."""
    with pytest.raises(ParameterError, match=complaint):
        parse_feet(text, n_moments)


def test_the_foot_that_begins_has_two_spellings() -> None:
    """Letters and words are read; anything else is refused."""
    assert [parse_foot(text) for text in ("R", "left", "Right foot")] == ["R", "L", "R"]
    with pytest.raises(ParameterError, match='write "R" or "L"'):
        parse_foot("both")


# A step changes weight, a touch does not: "Basic line dance terms"
# (sound-a-motion.tripod.com/basicsteps.html).
@pytest.mark.parametrize(
    ("signs", "legal"),
    [
        (("R", "L", "R"), True),
        (("R", "R"), False),
        (("R", ".", "R"), False),  # step right, touch left, step right: the right has weight
        (("R", ".", "L"), True),  # step right, touch left, step left
        ((".", "R", "L"), True),  # kick ball change
        (("R", "B", "R"), True),
        (("R", "B", "L"), True),
    ],
)
def test_only_the_free_foot_steps(signs: tuple[str, ...], legal: bool) -> None:
    """Touches between do not free the standing foot."""
    weight = OTHER[first_foot(signs)]
    verdicts = []
    for sign in signs:
        verdicts.append(is_legal(weight, sign))
        weight = weight_after(weight, [sign])

    assert all(verdicts) is legal


@given(st.lists(st.sampled_from([".", "step"]), max_size=40), st.sampled_from("RL"))
def test_even_numbers_of_changes_come_home(moves: list[str], foot: str) -> None:
    """Alternating steps free the starting foot again exactly after an even number."""
    weight, signs = OTHER[foot], []
    for move in moves:
        sign = "." if move == "." else free_foot(weight)
        signs.append(sign)
        weight = weight_after(weight, [sign])

    assert frees(weight, foot) is (n_weight_changes(signs) % 2 == 0)


def test_both_feet_free_either() -> None:
    """After weight on both feet any foot may begin; unknown weight forbids nothing."""
    assert frees("B", "R") and frees("B", "L") and frees("", "R")
    assert free_foot("B") == "B"
    assert first_foot((".", "B", "R")) == ""
