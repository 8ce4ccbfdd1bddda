"""The step vocabulary: weight changes, names, cue words."""

from __future__ import annotations

import pytest

from phrasefit.routine.counts import parse_counts
from phrasefit.routine.vocabulary import (
    PATTERNS,
    cue_words,
    find_patterns,
    plain_pattern,
)

# Definitions as in an association's "Line dance terminology"
# (linedancefun.weebly.com/line-dance-terminology.html), "Basic line dance terms"
# (sound-a-motion.tripod.com/basicsteps.html) and "Line dance terminology"
# (linedanceforever.com/htmls/terminology.html); counts and changes of weight from memory.
WEIGHT_CHANGES = [
    ("walk", 2, (2, 3)),  # run steps 1&2 have 3
    ("step touch", 2, (1,)),
    ("shuffle", 2, (3,)),
    ("chasse", 2, (3,)),
    ("cha cha", 2, (3,)),
    ("cross shuffle", 2, (3,)),
    ("lock step", 2, (3,)),
    ("coaster", 2, (3,)),
    ("forward coaster", 2, (3,)),
    ("sailor", 2, (3,)),
    ("anchor", 2, (3,)),
    ("mambo", 2, (3,)),
    ("kick ball change", 2, (2,)),
    ("ball change", 1, (2,)),
    ("rock recover", 2, (2,)),
    ("cross rock", 2, (2,)),
    ("rocking chair", 4, (4,)),
    ("vine touch", 4, (3,)),
    ("vine together", 4, (4,)),
    ("weave", 4, (4,)),
    ("weave", 8, (8,)),
    ("behind side cross", 2, (3,)),
    ("scissor", 2, (3,)),
    ("pivot", 2, (2,)),
    ("monterey", 4, (2,)),
    ("jazz box", 4, (3, 4)),
    ("rumba box", 8, (6,)),
    ("K-step", 8, (4,)),
    ("V-step", 4, (4,)),
    ("charleston", 4, (2,)),
    ("toe strut", 2, (1,)),
    ("heel dig", 1, (0,)),
    ("heel switch", 1, (1,)),
    ("heel jack", 2, (3,)),
    ("heel grind", 2, (2,)),
    ("point", 1, (0,)),
    ("kick", 1, (0,)),
    ("hitch", 1, (0,)),
    ("scuff", 1, (0,)),
    ("stomp", 1, (1,)),
    ("stomp up", 1, (0,)),
    ("sweep", 1, (0,)),
    ("hold", 1, (0,)),
    ("lindy", 4, (5,)),
    ("nightclub basic", 2, (3,)),
    ("twinkle", 3, (3,)),
    ("waltz basic", 3, (3,)),
    ("samba step", 2, (3,)),
]


@pytest.mark.parametrize(("name", "n_counts", "changes"), WEIGHT_CHANGES)
def test_weight_changes_are_those_of_the_trade(
    name: str, n_counts: int, changes: tuple[int, ...]
) -> None:
    """One pattern changes weight as glossaries describe it."""
    pattern = plain_pattern(name)

    assert pattern is not None
    assert pattern.weight_changes_in(n_counts) == changes


@pytest.mark.parametrize("name", ["shuffle", "sailor", "coaster", "lindy", "twinkle", "toe strut"])
def test_odd_patterns_flip_the_lead(name: str) -> None:
    """After an odd number of changes the other foot begins the next pattern."""
    pattern = plain_pattern(name)

    assert pattern is not None
    assert all(changes % 2 for changes in pattern.usual[0][1])


@pytest.mark.parametrize(
    "name", ["kick ball change", "pivot", "rocking chair", "K-step", "monterey"]
)
def test_even_patterns_keep_the_lead(name: str) -> None:
    """After an even number of changes the same foot begins again."""
    pattern = plain_pattern(name)

    assert pattern is not None
    assert not any(changes % 2 for changes in pattern.usual[0][1])


@pytest.mark.parametrize(
    ("name", "found"),
    [
        ("Kick-ball-changes", "kick ball change"),
        ("Chassé right", "chasse"),
        ("vine right, touch", "vine touch"),
        ("grapevine left with scuff", "vine scuff"),
        ("shuffles forward", "shuffle"),
        ("step lock step", "lock step"),
        ("side rock, recover", "side rock"),
        ("toe touches", "touch"),
        ("right jazz boxes", "jazz box"),
        ("hip bumps", "hip bump"),
        ("stomp-up", "stomp up"),
        ("step 1/4 turn", "pivot"),
    ],
)
def test_names_are_found_as_people_write_them(name: str, found: str) -> None:
    """Hyphens, plurals and words of direction do not matter; the longest name wins."""
    assert [pattern.name for pattern in find_patterns(name)] == [found]


@pytest.mark.parametrize(
    "name", ["walk, walk, shuffle", "step, hold", "jazz box with cross", "Schritt vor", "歩く", ""]
)
def test_mixed_and_foreign_names_are_left_alone(name: str) -> None:
    """What is not one plain step of the trade is never judged."""
    assert plain_pattern(name) is None


def test_several_patterns_in_one_line_multiply() -> None:
    """Two shuffles in four counts have six changes; three counts are no shuffles."""
    shuffle = plain_pattern("shuffle")

    assert shuffle is not None
    assert shuffle.weight_changes_in(4) == (6,)
    assert shuffle.weight_changes_in(3) == ()


def test_turning_steps_know_their_turns() -> None:
    """A pivot turns an eighth, a quarter or a half; four paddles of an eighth make a half."""
    pivot, paddle = plain_pattern("pivot"), plain_pattern("paddle turn")

    assert pivot is not None and paddle is not None
    assert pivot.turn_is_usual(-180, 2) and not pivot.turn_is_usual(-270, 2)
    assert not pivot.turn_is_usual(0, 2)
    assert paddle.turn_is_usual(180, 4)


def test_every_pattern_is_well_made() -> None:
    """Names are found as themselves, rhythms parse, cues have one to three words."""
    names = [pattern.name for pattern in PATTERNS]
    assert len(set(names)) == len(names)
    for pattern in PATTERNS:
        assert 1 <= len(pattern.cue.split()) <= 3
        assert all(parse_counts(rhythm) for rhythm in pattern.rhythms)
        for key in pattern.keys:
            assert find_patterns(" ".join(key)) == (pattern,)


def test_cue_words_are_short() -> None:
    """An instructor calls at most three words, own names included."""
    assert cue_words("kick-ball-change on the diagonal") == "kick ball change"
    assert cue_words("heel struts forward") == "heel strut"
    assert cue_words("drift like a leaf in wind") == "drift"
    assert cue_words("Step R to right side, close L") == "Step R"
    assert cue_words("gallop, giggle, with a smile") == "gallop, giggle"
    assert cue_words("over the fence") == "over the fence"
    assert cue_words("") == ""
