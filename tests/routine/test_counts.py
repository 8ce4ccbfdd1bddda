"""The count notation: parsing, labels, numbering, and where swing makes it sound."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from phrasefit.errors import ParameterError
from phrasefit.routine.counts import (
    SIGNS,
    TRIPLET_SWING,
    count_index,
    count_number,
    count_words,
    moment_label,
    owning_count,
    parse_counts,
    sounding_offset,
)

HALF = Fraction(1, 2)
QUARTER = Fraction(1, 4)


# "&" is half a count and adds no length: "Line dancing terms" (midlandmavericks.com) and
# "Basic line dance terms" (sound-a-motion.tripod.com); "a" as the last quarter, "e" as the
# first, and a leading sign that borrows: common practice, no source.
@pytest.mark.parametrize(
    ("text", "moments"),
    [
        ("1", [0]),
        ("1-2", [0, 1]),
        ("1-4", [0, 1, 2, 3]),
        ("3&4", [2, 2 + HALF, 3]),
        ("1&2 3&4", [0, HALF, 1, 2, 2 + HALF, 3]),
        ("&5", [3 + HALF, 4]),
        ("7&8&", [6, 6 + HALF, 7, 7 + HALF]),
        ("1&a2", [0, HALF, 3 * QUARTER, 1]),
        ("1a2", [0, 3 * QUARTER, 1]),
        ("1e&a2", [0, QUARTER, HALF, 3 * QUARTER, 1]),
        ("&1", [-HALF, 0]),
        ("&a1", [-HALF, -QUARTER, 0]),
        ("a1", [-QUARTER, 0]),
        ("1 & 2", [0, HALF, 1]),
        ("7 & 8 &", [6, 6 + HALF, 7, 7 + HALF]),
        ("1 and 2", [0, HALF, 1]),
        ("1 &3", [0, 1 + HALF, 2]),
        ("5, 6", [4, 5]),
        ("9\u201312", [8, 9, 10, 11]),
        ("1-2&3-4", [0, 1, 1 + HALF, 2, 3]),
        ("46-48", [45, 46, 47]),
    ],
)
def test_notation_gives_moments(text: str, moments: list[Fraction]) -> None:
    """Each form of the notation reads as the trade says it."""
    assert list(parse_counts(text)) == moments


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("", "name no number"),
        ("&", "name no number"),
        ("0", "starts at 1"),
        ("4-1", "do not go forward; write 1-4"),
        ("3-3", "do not go forward; write 3"),
        ("1&&2", "do not go forward"),
        ("1a&2", "do not go forward"),
        ("2 1", "do not go forward"),
        ("5-x", '"-x" is not understood'),
        ("one", "not understood"),
        ("1-9999999", "at most 512"),
    ],
)
def test_bad_counts_say_what_to_write(text: str, complaint: str) -> None:
    """What is no count is refused with an example of what is."""
    with pytest.raises(ParameterError, match=complaint):
        parse_counts(text)


@given(st.integers(-1, 511), st.sampled_from([Fraction(0), *SIGNS.values()]))
def test_labels_read_back(whole: int, sign: Fraction) -> None:
    """The label of a moment, read as counts, names that moment."""
    moment = max(whole + sign, -3 * QUARTER)
    assert moment in parse_counts(moment_label(moment))


@given(st.integers(0, 511))
def test_numbers_and_indices_are_inverse(index: int) -> None:
    """Count 1 is index 0, and back."""
    assert count_number(0) == 1
    assert count_index(count_number(index)) == index


def test_labels_are_what_dancers_say() -> None:
    """Moments carry the number of their count and the sign."""
    labels = [moment_label(moment) for moment in parse_counts("&1&a2e")]

    assert labels == ["&1", "1", "1&", "1a", "2", "2e"]


def test_sections_are_named_from_the_second_on() -> None:
    """A waltz is counted in sixes, everything else in eights."""
    assert count_words(8, 4) == "count 8"
    assert count_words(9, 4) == "count 9 (1 of section 2)"
    assert count_words(7, 3) == "count 7 (1 of section 2)"
    assert count_words(7, 4, 10) == "counts 7-10"


def test_a_leading_sign_belongs_to_the_count_it_leads_to() -> None:
    """The & of "&5" is left out by a cut after count 4, the & of "4&" is not."""
    leading, trailing = parse_counts("&5"), parse_counts("4&")

    assert owning_count(leading[0], leading) == 4
    assert owning_count(trailing[1], trailing) == 3


# --------------------------------------------------------------------- swing


def test_straight_music_sounds_as_written() -> None:
    """At swing 0.5 nothing moves."""
    for fraction in (Fraction(0), *SIGNS.values()):
        assert sounding_offset(fraction, 0.5) == float(fraction)


def test_shuffle_puts_and_on_the_last_third() -> None:
    """At 120 counts a minute & comes 250 ms after the count straight, 333 ms swung 2 to 1.

    Arithmetic of the triplet; the ratio of long to short note in swung music:
    Friberg and Sundstrom, "Preferred swing ratio in jazz as a function of tempo",
    TMH-QPSR 4/1997.
    """
    count_s = 60 / 120

    assert sounding_offset(HALF, 0.5) * count_s == pytest.approx(0.250)
    assert sounding_offset(HALF, TRIPLET_SWING) * count_s == pytest.approx(0.3333, abs=1e-4)
    assert sounding_offset(3 * QUARTER, TRIPLET_SWING) == pytest.approx(2 / 3)


@given(st.floats(0.5, 0.75, allow_nan=False), st.sampled_from(sorted(SIGNS.values())))
def test_swing_stays_inside_its_count(swing: float, fraction: Fraction) -> None:
    """However strong the swing, a sign sounds between its count and the next."""
    assert 0 < sounding_offset(fraction, swing) < 1


@pytest.mark.parametrize(("fraction", "swing"), [(HALF, 0.4), (HALF, 0.9), (Fraction(1, 3), 0.5)])
def test_impossible_swing_is_refused(fraction: Fraction, swing: float) -> None:
    """Swing earlier than straight, or a third of a count, has no sounding place."""
    with pytest.raises(ParameterError, match="must"):
        sounding_offset(fraction, swing)
