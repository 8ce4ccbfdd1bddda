"""Every mistake has its line and its remedy; every doubt is only a warning."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from routine_strategies import Written, written_routines

from phrasefit.model import Finding
from phrasefit.reports.check_text import check_document, how_many
from phrasefit.routine.check import check_routine

HEAD = 'name = "Test Piece"\ncounts = {counts}\nwalls = {walls}\nsteps = """\n'
FIRST_STEP_LINE = 5


def file_of(
    *lines: str, counts: int = 16, walls: int = 1, before: str = "", after: str = ""
) -> str:
    """Write a routine file; without `before` the first step stands on line 5."""
    body = "\n".join(lines)
    return f'{before}{HEAD.format(counts=counts, walls=walls)}{body}\n"""\n{after}'


def errors(text: str) -> list[tuple[int, str]]:
    """List the errors of a text as (line, message)."""
    return [(f.line, f.message) for f in check_routine(text)[1] if f.severity == "error"]


def warnings(text: str) -> list[tuple[int, str]]:
    """List the warnings of a text that has no errors."""
    findings = check_routine(text)[1]
    assert all(f.severity == "warning" for f in findings), findings
    return [(f.line, f.message) for f in findings]


def one(found: list[tuple[int, str]]) -> tuple[int, str]:
    """Expect exactly one finding."""
    assert len(found) == 1, found
    return found[0]


EIGHT = "1-8 | weave | R L R L R L R L |"
SECOND = "9-16 | weave | R L R L R L R L |"


# --------------------------------------------------------------------- counts


@pytest.mark.parametrize(
    ("lines", "line", "words"),
    [
        (
            ["1-4 | walk | R L R L |", "7-8 | walk | R L |", SECOND],
            6,
            "counts 5-6 are missing before",
        ),
        (
            [EIGHT, "9-12 | walk | R L R L |", "14-16 | walk | R L . |"],
            7,
            "count 13 (5 of section 2) is missing",
        ),
        (["2-8 | walk | R L R L R L . |", SECOND], 5, "count 1 is missing before this line"),
        (
            [EIGHT, "8-16 | walk | . R L R L R L R L |"],
            6,
            "count 8 is danced twice, here and on line 5",
        ),
        (
            [EIGHT, "9&10 | shuffle | R L R |", "&10-16 | x | L R L R L R L R |"],
            7,
            "9& and 1 more are danced twice",
        ),
        (
            ["5-8 | walk | R L R L |", "1-4 | walk | R L R L |", SECOND],
            6,
            "count 1 stands after count 8",
        ),
        (
            [EIGHT, "9-12 | walk | R L R L |"],
            6,
            "end with count 12, but the file says counts = 16; write counts 13-16",
        ),
        (
            [EIGHT, SECOND, "17-18 | walk | R L |"],
            7,
            "end with count 18, but the file says counts = 16; take counts 17-18",
        ),
        ([EIGHT, EIGHT, EIGHT], 7, "count 24 in sections of 8, 8, 8"),
        (
            [EIGHT, "1-4 | walk | R L R L |"],
            6,
            "count 12 in sections of 8, 4 (a section usually has 8)",
        ),
        (
            ["&1-8 | walk | L R L R L R L R L |", "9-16& | walk | R L R L R L R L R |"],
            5,
            "&1 is danced twice when the routine repeats",
        ),
        ([EIGHT, "9-x | walk | R L |"], 6, '"-x" is not understood'),
        ([EIGHT, "& | ball | R |"], 6, "name no number"),
        ([EIGHT, "9-16 weave R L"], 6, "two to four columns; write counts | step | feet | turn"),
        ([EIGHT, "9-16 | a | b | c | d"], 6, "two to four columns"),
        ([EIGHT, "9-16 | | R L R L R L R L |"], 6, "the step has no name"),
    ],
)
def test_mistakes_of_counts(lines: list[str], line: int, words: str) -> None:
    """Missing, doubled, swapped and unreadable counts are found on their line."""
    found_line, message = one(errors(file_of(*lines)))

    assert found_line == line
    assert words in message


# ----------------------------------------------------------------------- feet


@pytest.mark.parametrize(
    ("lines", "line", "words"),
    [
        (
            ["1-4 | walk | R L L R |", "5-8 | x | L R . . |", SECOND],
            5,
            "count 3 steps on the left foot, which has the weight already; make it a touch",
        ),
        ([EIGHT, "9-16 | weave | L R L R L R L . |"], 6, "count 9 steps on the left foot"),
        (["1-8 | step touch | R . R . L . L . |", SECOND], 5, "count 3 steps on the right foot"),
        (
            ["1&2 | coaster | R L R |", "3-8 | x | . R L R L . |", SECOND],
            6,
            "count 4 steps on the right foot",
        ),
        ([EIGHT, "9-16 | weave | R L R L |"], 6, "are 4 for 8 moments"),
        ([EIGHT, "9-16 | weave | R L R L R L R Q |"], 6, '"q" is not understood'),
        ([EIGHT, "9-12 | weave", "13-16 | weave | R L R L |"], 6, "feet are missing"),
        ([EIGHT, "9-10 | pivot | 1/2 L", "11-16 | weave | R L R L R L |"], 6, "look like a turn"),
    ],
)
def test_mistakes_of_feet(lines: list[str], line: int, words: str) -> None:
    """Steps on a foot that has the weight, and unreadable feet, are found on their line."""
    found = errors(file_of(*lines))

    assert (found[0][0], words in found[0][1]) == (line, True), found


def test_the_foot_that_begins_is_checked() -> None:
    """A file that promises the other foot contradicts its first step."""
    line, message = one(errors(file_of(EIGHT, SECOND, before='foot = "L"\n')))

    assert line == FIRST_STEP_LINE + 1
    assert 'first step is on the right foot, but the file says foot = "L"' in message


# ---------------------------------------------------------------------- turns


@pytest.mark.parametrize(
    ("lines", "walls", "line", "words"),
    [
        (
            ["1-8 | weave | R L R L R L R L | 1/4 L", SECOND],
            1,
            3,
            "walls = 1, but one repetition adds up to a quarter to the left, which",
        ),
        (
            ["1-8 | weave | R L R L R L R L | 1/2 R", SECOND],
            4,
            3,
            "half a turn to the right, which makes 2 walls",
        ),
        ([EIGHT, SECOND], 2, 3, "adds up to no turn, which makes 1 wall"),
        (
            ["1-8 | weave | R L R L R L R L | full R", SECOND],
            4,
            3,
            "one full turn to the right, which makes 1 wall",
        ),
        (
            ["1-8 | weave | R L R L R L R L | 3/4", SECOND],
            4,
            5,
            "has no direction; write 3/4 L or 3/4 R",
        ),
        (
            ["1-8 | weave | R L R L R L R L | 1/4 L", "facing 3:00", SECOND],
            4,
            6,
            "says facing 3:00, but the turns above lead to 9:00 (left wall)",
        ),
        ([EIGHT, "facing north", SECOND], 1, 6, 'facing "north" is not understood'),
    ],
)
def test_mistakes_of_turns(lines: list[str], walls: int, line: int, words: str) -> None:
    """Walls and facings that the turns contradict are found on their line."""
    found_line, message = one(errors(file_of(*lines, walls=walls)))

    assert found_line == line
    assert words in message


def test_a_stated_turn_must_agree_with_the_steps() -> None:
    """The turn key beside steps is a check, not a second truth."""
    text = file_of(EIGHT, SECOND, before='turn = "1/4 L"\n')

    line, message = one(errors(text))

    assert (line, "step lines add up to no turn" in message) == (1, True)


# ------------------------------------------------------------- tags, restarts


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        ("restarts = [16]\n", "a restart after count 16 is not possible in 16 counts"),
        (
            "restarts = [4]\n",
            "after count 4 cuts line 6 (counts 1-8) while it turns; split that line",
        ),
        ('restarts = "sometimes"\n', 'write "any", "none" or a list of counts'),
        ("restarts = [-8]\n", 'write "any", "none" or a list of counts'),
    ],
)
def test_impossible_restarts(rule: str, words: str) -> None:
    """A restart must lie inside the routine, where the facing is known."""
    text = file_of("1-8 | weave | R L R L R L R L | 1/2 R", SECOND, walls=2, before=rule)

    line, message = one(errors(text))

    assert (line, words in message) == (1, True), message


@pytest.mark.parametrize(
    ("tag", "line", "words"),
    [
        (
            'steps = """\n1-4 | walk | R L R . |\n"""',
            10,
            "tag ends with the weight on the right foot",
        ),
        ('steps = """\n1-4 | walk | L R L . |\n"""', 10, "first step is on the left foot"),
        (
            'counts = 2\nsteps = """\n1-4 | walk | R L R L |\n"""',
            11,
            "end with count 4, but the file says counts = 2",
        ),
        (
            'turn = "1/4 L"\nsteps = """\n1-2 | pivot | R L | 1/2 L\n"""',
            9,
            "add up to half a turn to the left",
        ),
        ('name = "empty"', 8, "number of counts is missing"),
        ('counts = 4\nsteps = """\n"""', 10, "the steps are empty"),
        (
            "counts = 4\nfeet = 3",
            10,
            '"feet" has no meaning here; known are name, counts, turn, steps',
        ),
    ],
)
def test_mistakes_in_tags(tag: str, line: int, words: str) -> None:
    """A tag is checked like a routine, and must hand the weight back."""
    found = errors(file_of(EIGHT, SECOND, after=f"[[tags]]\n{tag}\n"))

    assert (found[0][0], words in found[0][1]) == (line, True), found


# ----------------------------------------------------------------------- keys


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("name = Copper\ncounts = 32\n", 1, "words need quotes"),
        ("name = “Copper”\ncounts = 32\n", 1, "write plain quotes"),
        ('name = "x"\n1-2 | walk | R L\n', 2, "step lines stand between steps"),
        ('name = "x"\ncounts 32\n', 2, "every line outside the steps reads key = value"),
        (
            'name = "x"\ncounts = 8\nsteps = """\n1-8 | weave\n',
            3,
            "close the text that begins here",
        ),
        ("\n\n", 1, "the file is empty"),
        ('counts = "32"\nwalls = 4\n', 1, "without quotes"),
        ("counts = 32.5\nwalls = 4\n", 1, "whole number from 1 to 512"),
        (
            "counts = 32\nwals = 4\nwalls = 4\n",
            2,
            '"wals" has no meaning here; did you mean walls?',
        ),
        ("counts = 32\n", 1, "number of walls is needed"),
        ("counts = 32\nwalls = 5\n", 2, "write 1, 2 or 4"),
        ("name = 7\ncounts = 32\nwalls = 4\n", 1, "name = 7 must be a text in quotes"),
        ("counts = 32\nwalls = 4\nfoot = 'middle'\n", 3, 'write "R" or "L"'),
        ("counts = 32\nwalls = 4\ntempo = 'fast'\n", 3, "slowest and the fastest"),
        ("counts = 32\nwalls = 4\ntempo = [125, 100]\n", 3, "slowest and the fastest"),
        ("counts = 32\nwalls = 4\nswing = 0.9\n", 3, "a number 0.5 to 0.75"),
        ("counts = 32\nwalls = 4\nintro = -4\n", 3, "whole number from 0 to 512"),
        ("counts = 32\nwalls = 4\nrhythm = 'tango'\n", 3, "write 4/4"),
        ("counts = 32\nwalls = 4\nnotes = 3\n", 3, "a text or a list of texts"),
        ("counts = 32\nwalls = 4\nsequence = 'A B'\n", 3, "sequence needs parts"),
        ("counts = 32\nwalls = 4\nsteps = ['1-2 | walk']\n", 3, "steps must be one text"),
        ("counts = 32\nwalls = 4\ntags = 'few'\n", 3, 'write "any", "none" or a list'),
        ("name = 'x'\nwalls = 4\n", 1, "number of counts is missing"),
        ("[parts.A]\ncounts = 32\n", 1, "order of the parts is missing"),
        ("sequence = 'A C'\n[parts.A]\ncounts = 32\n", 1, '"C", which is not written; known are A'),
        ("sequence = 'A'\nparts = 3\n", 2, "write [parts.A]"),
        ("sequence = 'A'\n[parts.A]\nturn = '1/4 L'\n", 2, "number of counts is missing"),
        ("sequence = 'A'\n[parts.A]\ncounts = 32\nrestart = [8]\n", 4, "did you mean restarts?"),
        ("sequence = 'A'\ncounts = 8\n[parts.A]\ncounts = 32\n", 2, '"counts" has no meaning here'),
    ],
)
def test_mistakes_of_keys(text: str, line: int, words: str) -> None:
    """Unknown keys, wrong kinds of value and broken TOML are explained on their line."""
    found = errors(text)

    assert found and found[0][0] == line, found
    assert words in found[0][1]


def test_all_mistakes_come_at_once() -> None:
    """One run lists everything, in the order of the file."""
    text = file_of(
        "1-2 | walk | R L | 1/4",
        "3&4 | shuffle | R L |",
        "6-8 | walk | R L R |",
        "9-16 | weave | R L R L R L R L |",
        before='foot = "X"\ntempoo = 3\n',
    )

    found = errors(text)

    assert [line for line, _ in found] == [1, 2, 7, 8, 9, 10]


# ------------------------------------------------------------------- warnings


@pytest.mark.parametrize(
    ("lines", "line", "words"),
    [
        (
            ["1-3 | walk | R L R |", "4-8 | weave | L R L R L |", SECOND.replace("R L |", "R . |")],
            7,
            "leaves the weight on the right foot, but the routine begins with",
        ),
        (
            [
                "1&2 | kick-ball-change | R L R |",
                "3-8 | x | L R L R L . |",
                "9-16 | x | R L R L R L . . |",
            ],
            5,
            "in 2 counts usually has 2 weight changes, this line has 3",
        ),
        (
            [
                "1-3 | coaster | R L R |",
                "4 | shuffle | L |",
                SECOND.replace("9-16", "5-12"),
                "13-16 | hold |",
            ],
            6,
            "a shuffle usually takes 2 counts, this line has 1",
        ),
        (
            ["1-2 | pivot | R L | 1/2 R", "3-4 | pivot | R L | 1/2 L", "5-16 | x | " + "R L " * 6],
            5,
            "steps forward: with the right foot that is 1/2 L",
        ),
        (
            ["1-2 | pivot | R L |", "3-16 | x | " + "R L " * 7],
            5,
            "a pivot usually turns 1/8 or 1/4 or 1/2, this line no turn",
        ),
        (
            ["1-4 | x | R L R L | full R", "5-8 | y | R L R L | full R", SECOND],
            5,
            "from here 2 turns to the right without a pause",
        ),
    ],
)
def test_doubts_about_steps(lines: list[str], line: int, words: str) -> None:
    """What is only unusual is a warning on its line."""
    found = [f for f in warnings(file_of(*lines)) if words in f[1]]

    assert one(found)[0] == line


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("counts = 30\nwalls = 4\n", 1, "no whole number of bars of 4"),
        ("counts = 25\nrhythm = 'waltz'\nwalls = 4\n", 1, "no whole number of bars of 3"),
        ("counts = 8\nwalls = 4\n", 1, "8 counts are unusual"),
        ("counts = 256\nwalls = 4\n", 1, "256 counts are unusual"),
        ("counts = 32\nwalls = 8\n", 2, "8 walls are rare"),
        (
            "counts = 32\nwalls = 4\ntempo = [28, 30]\n",
            3,
            "bars a minute; in counts a minute that is [112, 120]",
        ),
        ("counts = 24\nwalls = 4\nrhythm = 'waltz'\ntempo = [28, 30]\n", 4, "[84, 90]"),
        ("counts = 32\nwalls = 4\nrestarts = [10]\n", 3, "after count 10 falls inside a bar of 4"),
        ("counts = 32\nwalls = 4\ntags = [5]\n", 3, "a tag of 5 counts is unusual (2, 4, 8, 16"),
        (
            "sequence = 'A A'\n[parts.A]\ncounts = 32\n[parts.B]\ncounts = 16\n",
            4,
            "part B is never danced",
        ),
        ("counts = 32\nwalls = 4\nturn = '1/8 R'\n", 3, "an eighth turn stays open"),
    ],
)
def test_doubts_about_numbers(text: str, line: int, words: str) -> None:
    """Odd lengths, tempos, restarts, tags and walls are doubted, not refused."""
    found = [(f.line, f.message) for f in check_routine(text)[1] if words in f.message]

    assert one(found)[0] == line


def test_tempos_in_bars_are_converted_as_tables_do() -> None:
    """28-30 bars a minute of waltz are 84-90 counts a minute.

    "Dance tempi recommended by the National Dance Council of America"
    (centralhome.com/ballroomcountry/temp.htm) prints both.
    """
    text = "counts = 24\nwalls = 4\nrhythm = 'waltz'\ntempo = [28, 30]\n"

    assert any("[84, 90]" in message for _, message in warnings(text))


# Sizes by level: "Guide to Line Dance Level Definitions" (trade magazine, 2014, rev. 2017) and
# a newsletter's list (artsentertainment.cc/Dance/Dance-Other/28959.html).
@pytest.mark.parametrize(
    ("level", "lines", "counts", "words"),
    [
        ("absolute beginner", ["1-40 | weave | " + "R L " * 20], 40, "40 counts are many"),
        (
            "absolute beginner",
            ["1&2 | shuffle | R L R |", "3&4 | shuffle | L R L |", "5-16 | weave | " + "R L " * 6],
            16,
            "no steps between counts",
        ),
        ("beginner", ["1-64 | weave | " + "R L " * 32], 64, "lists allow 32 to 48"),
        (
            "Beginner",
            [f"{n}-{n + 1} | pivot | R L | 1/2 L" for n in (1, 3, 5, 7)] + [SECOND],
            16,
            "4 lines turn",
        ),
    ],
)
def test_levels_have_soft_sizes(level: str, lines: list[str], counts: int, words: str) -> None:
    """A routine larger than its level gets a warning that says the lists disagree."""
    text = file_of(*lines, counts=counts, before=f'level = "{level}"\n')

    found = [message for _, message in warnings(text) if words in message]

    assert len(found) == 1
    assert "lists of levels disagree; decide yourself" in found[0]


def test_tags_and_restarts_are_much_for_first_timers() -> None:
    """Absolute beginners usually get neither (same list as above)."""
    text = file_of(EIGHT, SECOND, before='level = "absolute beginner"\nrestarts = [8]\n')

    assert any("no tags or restarts" in message for _, message in warnings(text))


def test_higher_levels_are_free() -> None:
    """No list limits an advanced routine."""
    text = file_of("1-64 | weave | " + "R L " * 32, counts=64, before='level = "advanced"\n')

    assert warnings(text) == []


def test_a_wanted_restart_on_the_wrong_foot_names_the_change() -> None:
    """The sheet needs the change of step in words."""
    text = file_of(
        "1-7 | weave | R L R L R L R |",
        "8 | hold |",
        "9-16 | weave | L R L R L R L . |",
        before="restarts = [8]\n",
    )

    findings = check_routine(text)[1]

    # It is said and done: nobody has to decide on it, for as long as the routine lives.
    told = [f for f in findings if "restart" in f.message]
    assert [(f.severity, f.line) for f in told] == [("note", 1)]
    assert "on count 8 step on the left foot with weight" in told[0].message
    assert how_many(told) == "no mistakes, no doubts"
    (file,) = check_document([("", None, told)])["files"]
    assert (file["errors"], file["warnings"]) == (0, 0)


def test_phrased_parts_must_lead_into_each_other() -> None:
    """Between parts the foot must be free that the next part begins with."""
    text = (
        "sequence = 'A B A'\n"
        '[parts.A]\nsteps = """\n1-8 | weave | R L R L R L R L |\n"""\n'
        '[parts.B]\nsteps = """\n1-8 | weave | R L R L R L R . |\n"""\n'
    )

    line, message = one([f for f in warnings(text) if "that foot" in f[1]])

    assert line == 8
    assert "part A begins with that foot" in message


def test_doubts_about_weight_wait_for_the_feet_to_be_mended() -> None:
    """After a mistake of feet, where the weight ends is an echo of it."""
    findings = check_routine(file_of("1-8 | weave | R L L R L R L R |", SECOND))[1]

    assert [f.severity for f in findings] == ["error", "error"]


def test_an_open_eighth_explains_eight_walls() -> None:
    """An unclosed eighth is reported where it is danced, beside the walls it breaks."""
    text = file_of("1-8 | weave | R L R L R L R L | 1/8 L", SECOND, walls=4)

    _, findings = check_routine(text)

    assert [(f.line, f.severity) for f in findings] == [(3, "error"), (5, "warning")]
    assert "end facing 10:30, a corner" in findings[1].message


# ----------------------------------------------------------------- robustness


@settings(max_examples=60)
@given(written_routines())
def test_right_routines_have_no_errors(written: Written) -> None:
    """A routine danced without mistakes passes, in either numbering."""
    assert errors(written.text) == []


@settings(max_examples=60)
@given(written_routines(), st.data())
def test_a_lost_line_is_always_noticed(written: Written, data: st.DataObject) -> None:
    """Taking any step line out of a routine makes an error."""
    lines = written.text.split("\n")
    rows = [place for place, line in enumerate(lines) if "|" in line]
    lost = data.draw(st.sampled_from(rows))
    del lines[lost]

    assert errors("\n".join(lines))


DAMAGE = ['"', "|", "\n", "&", "=", "[", "7", "x", "", "é"]


@settings(max_examples=150)
@given(written_routines(), st.randoms(use_true_random=False))
def test_no_damage_escapes_as_an_exception(written: Written, rng: random.Random) -> None:
    """However a file is damaged, the answer is findings whose lines lie in the file."""
    text = written.text
    for _ in range(rng.randint(1, 6)):
        place = rng.randrange(len(text))
        text = text[:place] + rng.choice(DAMAGE) + text[place + rng.randint(0, 3) :]
    text += "\n"

    routine, findings = check_routine(text)

    assert routine is not None or findings
    assert all(isinstance(f, Finding) and 1 <= f.line <= text.count("\n") + 1 for f in findings)
    assert all(f.message[0] != " " and not f.message.endswith(".") for f in findings)


def test_a_path_is_read_and_a_text_taken_as_it_is(tmp_path: Path) -> None:
    """Files and texts give the same answer."""
    path = tmp_path / "piece.toml"
    path.write_text(file_of(EIGHT, SECOND), encoding="utf-8")

    assert check_routine(path) == check_routine(str(path)) == check_routine(file_of(EIGHT, SECOND))
