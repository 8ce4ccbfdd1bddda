"""Reading routine files: format, numbering, parts, tags, bare numbers."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from routine_strategies import Written, written_routines

from phrasefit.errors import ParameterError, RoutineError
from phrasefit.routine.spec import (
    load_routine,
    parse_routine,
    read_routine,
    routine_from_numbers,
)

SIXTEEN = '''\
name = "Pocket Barometer"
by = "Ingrid Vossberg"
level = "improver"
counts = 16
walls = 4
tempo = [100, 125]
foot = "right"
intro = 32
swing = "shuffle"
notes = ["soft knees", "small steps"]
tags = [4]
steps = """
-- first eight
1-2 | walk forward  | R L   |
3&4 | shuffle       | R L R |
5-6 | pivot         | L R   | 1/4 R
7-8 | stomp, hold   | L .   |
facing 3:00
# second eight
9-16 | weave        | R L R L R L R L |
"""
'''


def test_a_file_becomes_a_routine() -> None:
    """Every key arrives where it belongs."""
    routine = parse_routine(SIXTEEN)
    part = routine.parts[0]

    assert (routine.name, routine.by, routine.level) == (
        "Pocket Barometer",
        "Ingrid Vossberg",
        "improver",
    )
    assert (routine.counts, routine.walls, routine.meter) == (16, 4, 4)
    assert (routine.tempo_bpm, routine.intro_counts) == ((100.0, 125.0), 32)
    assert (routine.starting_foot, routine.swing) == ("R", pytest.approx(2 / 3))
    assert routine.notes == ("soft knees", "small steps")
    assert [tag.counts for tag in routine.tags] == [4]
    assert part.turn_deg == 90
    assert [step.line for step in part.steps] == [14, 15, 16, 17, 20]
    assert part.steps[1].moments == (Fraction(2), Fraction(5, 2), Fraction(3))
    assert part.steps[2].feet == ("L", "R")
    assert part.steps[2].turn_deg == 90


def test_sections_may_begin_again_at_one() -> None:
    """Numbers that start anew with every eight mean the same as numbers that run on."""
    anew = parse_routine(SIXTEEN.replace("9-16", " 1-8"))

    assert anew.parts[0].steps[-1].moments == tuple(Fraction(n) for n in range(8, 16))
    assert anew.parts[0].turn_deg == parse_routine(SIXTEEN).parts[0].turn_deg


@settings(max_examples=50)
@given(written_routines(meter=3))
def test_waltzes_are_counted_in_sixes(written: Written) -> None:
    """A waltz numbered anew every six, or running on, has all its counts."""
    routine = parse_routine(written.text)

    assert routine.meter == 3
    assert routine.counts == written.counts
    named = {moment for step in routine.parts[0].steps for moment in step.moments}
    assert {moment for moment in named if moment.denominator == 1} == set(range(written.counts))


def test_bars_of_three_may_be_numbered_each() -> None:
    """Sheets that count 1-2-3 for every bar of a waltz are read, too."""
    bars = "\n".join(["1-3 | basic | L R L |", "1-3 | basic | R L R |"] * 4)

    routine = parse_routine(f'counts = 24\nrhythm = "waltz"\nsteps = """\n{bars}\n"""\n')

    assert routine.parts[0].steps[-1].moments == (21, 22, 23)


@pytest.mark.parametrize("counts", [16, 20, 24, 28, 32, 36, 40, 48, 56, 64, 72, 80, 96, 112, 128])
def test_any_length_is_read(counts: int) -> None:
    """Lengths from 16 to 128 are in use."""
    steps = f"1-{counts} | weave | {'R L ' * (counts // 2)} |"

    assert parse_routine(f'steps = """\n{steps}\n"""\n').counts == counts


def test_names_may_use_any_letters() -> None:
    """Names, makers and steps are text in any language."""
    text = SIXTEEN.replace("Pocket Barometer", "Карманный барометр 気圧計").replace(
        "weave", "плетение 🦆"
    )

    routine = parse_routine(text)

    assert routine.name == "Карманный барометр 気圧計"
    assert routine.parts[0].steps[-1].name == "плетение 🦆"


def test_windows_files_are_read(tmp_path: Path) -> None:
    """A byte order mark and CRLF line ends change neither content nor lines."""
    path = tmp_path / "boats.toml"
    path.write_bytes(b"\xef\xbb\xbf" + SIXTEEN.replace("\n", "\r\n").encode())

    assert load_routine(path) == parse_routine(SIXTEEN)


def test_feet_may_be_left_out_altogether() -> None:
    """Without feet everything else is known, and the routine says what it took for granted."""
    routine = parse_routine(
        'counts = 8\nsteps = """\n1-4 | walk\n5-7 | walk | | 1/2 R\n8 | hold\n"""\n'
    )

    assert all(step.feet == () for step in routine.parts[0].steps)
    assert routine.walls == 2
    assert routine.starting_foot == ""
    assert any("no feet are written" in assumption for assumption in routine.assumed)


def test_feet_that_begin_later_are_not_called_missing_altogether() -> None:
    """Some stand there: only the foot that begins is not known."""
    text = 'counts = 8\nwalls = 1\nsteps = """\n1-4 | walk\n5-8 | walk | R L R L |\n"""\n'

    routine = read_routine(text, "").routine

    assert routine is not None and routine.starting_foot == ""
    assumed = "; ".join(routine.assumed)
    assert "the foot that begins is not written" in assumed and "no feet" not in assumed


def test_a_pause_needs_no_feet() -> None:
    """A hold never takes weight, so that its feet may stay empty."""
    routine = parse_routine('steps = """\n1-2 | walk | R L |\n3-4 | hold\n"""\n')

    assert routine.parts[0].steps[1].feet == (".", ".")


def test_assumptions_are_said() -> None:
    """What the file leaves open is listed in plain words."""
    assumed = " / ".join(
        parse_routine('steps = """\n1-8 | weave | L R L R L R L R |\n"""\n').assumed
    )

    for words in ("begins on the left foot", "8 counts", "any whole bar", "tags of 2, 4, 8, 16"):
        assert words in assumed


def test_a_file_without_a_name_is_called_after_itself(tmp_path: Path) -> None:
    """The name falls back on the file's."""
    path = tmp_path / "green gate.toml"
    path.write_text("counts = 32\nwalls = 4\n", encoding="utf-8")

    assert load_routine(path).name == "green gate"


# -------------------------------------------------------------------- phrased


PHRASED = '''\
name = "Tide Table"
walls = 2
sequence = "A A B"

[parts.A]
counts = 32
turn = "1/2 R"
restarts = [16]

[parts.B]
restarts = "none"
steps = """
1-8  | K-step | R . L . R . L . |
9-16 | weave  | R L R L R L R L |
"""
'''


@pytest.mark.parametrize("sequence", ['"A A B"', '"AAB"', '"A, A, B"', '["A", "A", "B"]'])
def test_phrased_routines_have_parts_in_order(sequence: str) -> None:
    """Parts have their own counts; the sequence may be written in several ways."""
    routine = parse_routine(PHRASED.replace('"A A B"', sequence))

    assert routine.sequence == ("A", "A", "B")
    assert [(part.name, part.counts, part.turn_deg) for part in routine.parts] == [
        ("A", 32, 180),
        ("B", 16, 0),
    ]
    assert [[p.after_count for p in part.restart_points] for part in routine.parts] == [[16], []]
    assert routine.walls == 2
    assert routine.parts[1].steps[0].line == 13


def test_one_restart_rule_serves_all_parts() -> None:
    """A rule for the whole routine counts for each part that is long enough."""
    text = PHRASED.replace("restarts = [16]\n", "").replace('restarts = "none"\n', "")

    parts = parse_routine("restarts = [8, 16, 24]\n" + text).parts

    assert [[p.after_count for p in part.restart_points] for part in parts] == [[8, 16, 24], [8]]
    with pytest.raises(RoutineError, match="after count 40 is not possible in 32 counts"):
        parse_routine("restarts = [40]\n" + text)


def test_walls_of_a_phrased_routine_count_its_beginnings() -> None:
    """Danced once or repeated: either number may be declared, others contradict."""
    turning = PHRASED.replace("1/2 R", "1/4 R")  # begins 12:00, 3:00, 6:00; repeated all four

    assert parse_routine(turning.replace("walls = 2", "walls = 3")).walls == 3
    assert parse_routine(turning.replace("walls = 2", "walls = 4")).walls == 4
    assert parse_routine(turning.replace("walls = 2\n", "")).walls == 4
    with pytest.raises(RoutineError, match="line 2: the file says walls = 2, but the parts"):
        parse_routine(turning)


# ----------------------------------------------------------------------- tags


def test_tags_may_have_steps_and_turn() -> None:
    """A tag table has its own steps; their turns add up."""
    steps = "1-2 | pivot | R L | 1/2 L\n3-4 | sway | R L |"
    tag = f'[[tags]]\nname = "look back"\nsteps = """\n{steps}\n"""\n'

    found = parse_routine(SIXTEEN.replace("tags = [4]\n", "") + tag).tags

    assert [(t.name, t.counts, t.turn_deg, len(t.steps)) for t in found] == [
        ("look back", 4, -180, 2)
    ]


@pytest.mark.parametrize(
    ("rule", "meter", "lengths", "odd"),
    [
        ('tags = "any"', "4/4", [2, 4, 8, 16], [1, 3, 5]),
        ("", "4/4", [2, 4, 8, 16], [1, 3, 5]),
        ("", "waltz", [3, 6, 12], [1, 2]),
        ('tags = "none"', "4/4", [], []),
        ("tags = 4", "4/4", [4], []),
        ("tags = [8, 2]", "4/4", [8, 2], []),
    ],
)
def test_tag_rules(rule: str, meter: str, lengths: list[int], odd: list[int]) -> None:
    """Usual lengths: 2, 4, 8, 16 as in "Line dancing terms" (midlandmavericks.com) and
    "Phrasing music" (dancinfeats.com); of a waltz 3, 6, 12, and those for odd bars: common
    practice, no source."""
    text = f'counts = 48\nwalls = 1\nrhythm = "{meter}"\n{rule}\n'

    routine = parse_routine(text)
    assert [tag.counts for tag in routine.tags] == lengths
    assert [tag.counts for tag in routine.odd_bar_tags] == odd


# -------------------------------------------------------------------- numbers


@pytest.mark.parametrize(("walls", "turn"), [(1, 0), (2, 180), (4, 90)])
def test_numbers_make_a_routine(walls: int, turn: int) -> None:
    """Counts and walls are enough; what was assumed is said."""
    routine = routine_from_numbers(counts=48, walls=walls)

    assert (routine.counts, routine.walls, routine.parts[0].turn_deg) == (48, walls, turn)
    assert [p.after_count for p in routine.parts[0].restart_points] == list(range(4, 48, 4))
    assert all(p.turn_deg == 0 for p in routine.parts[0].restart_points)
    (assumed,) = routine.assumed
    assert ("at its very end" in assumed) == bool(turn)
    assert "no change of step at a restart" in assumed


@pytest.mark.parametrize("walls", [0, 3, 8])
def test_other_walls_need_a_file(walls: int) -> None:
    """A number alone does not say how such a dance turns."""
    with pytest.raises(ParameterError, match="must be 1, 2 or 4; write a routine file"):
        routine_from_numbers(counts=48, walls=walls)


def test_numbers_of_a_waltz() -> None:
    """In threes restarts fall on bars of three, tags are 3, 6, 12."""
    routine = routine_from_numbers(counts=24, walls=2, meter=3, turn_deg=-180)

    assert [p.after_count for p in routine.parts[0].restart_points] == list(range(3, 24, 3))
    assert [tag.counts for tag in routine.tags] == [3, 6, 12]
    assert routine.parts[0].turn_deg == -180


def test_a_file_of_numbers_equals_the_numbers() -> None:
    """A file with nothing but numbers is the same routine."""
    from_file = parse_routine('name = "x"\ncounts = 32\nwalls = 4\n')
    from_numbers = routine_from_numbers(counts=32, walls=4, name="x")

    assert from_file.parts == from_numbers.parts
    assert from_file.tags == from_numbers.tags
    assert from_file.walls == from_numbers.walls


@pytest.mark.parametrize(
    ("numbers", "complaint"),
    [
        ({"counts": 2}, "counts=2 must lie between 4 and 512"),
        ({"walls": 5}, "walls=5 must be 1, 2 or 4"),
        ({"meter": 5}, "meter=5 must be 4, or 3"),
        ({"walls": 4, "turn_deg": 180}, "turn_deg=180 makes 2 walls, not walls=4"),
    ],
)
def test_impossible_numbers_are_refused(numbers: dict[str, int], complaint: str) -> None:
    """Numbers out of range say what is legal."""
    with pytest.raises(ParameterError, match=complaint):
        routine_from_numbers(**numbers)


# --------------------------------------------------------------------- errors


def test_loading_names_file_line_and_how_many_more(tmp_path: Path) -> None:
    """A routine with mistakes is not loaded; the first mistake is told with its place."""
    path = tmp_path / "boats.toml"
    path.write_text(
        SIXTEEN.replace("walls = 4", "walls = 2").replace("R L R |", "R R L |"), encoding="utf-8"
    )

    with pytest.raises(RoutineError) as caught:
        load_routine(path)

    message = str(caught.value)
    assert message.startswith(f"{path}: line 5: the file says walls = 2")
    assert "(and 2 more, see phrasefit check)" in message


@pytest.mark.parametrize(
    ("content", "complaint"),
    [
        (None, "cannot be read"),
        (b"\xff\xfe\x00n", "not a text in UTF-8"),
        (b"x" * 200_001, "too large for a routine, 200 kB are the most"),
        (b"", "line 1: the file is empty"),
    ],
)
def test_files_that_are_no_routines(tmp_path: Path, content: bytes | None, complaint: str) -> None:
    """Missing, binary, huge and empty files each get their sentence."""
    path = tmp_path / "song.toml"
    if content is not None:
        path.write_bytes(content)

    with pytest.raises(RoutineError, match=complaint):
        load_routine(path)


def test_a_folder_is_no_routine(tmp_path: Path) -> None:
    """A folder in place of a file says so."""
    with pytest.raises(RoutineError, match="is a folder"):
        load_routine(tmp_path)


def test_reading_goes_on_after_mistakes() -> None:
    """The routine is built as the file stands, so that its sums help to find the mistake."""
    reading = read_routine(SIXTEEN.replace("walls = 4", "walls = 1"))

    assert reading.routine is not None and reading.routine.walls == 4
    assert [finding.line for finding in reading.findings] == [5]


def test_unknown_keys_are_told_one_by_one_up_to_twenty() -> None:
    """Thousands of them would take seconds to guess at, and nobody would read on."""
    findings = read_routine("\n".join(f"k{i} = 1" for i in range(20_000))).findings

    assert len(findings) == 20 + 1 + 1  # and the number of counts is missing
    assert "19980 more keys have no meaning here" in {f.line: f.message for f in findings}[21]


@pytest.mark.parametrize("line", ["1-16 | {} | |", "-- {}\n1-16 | walk | |"])
def test_steps_and_headings_have_a_length(line: str) -> None:
    """A step of 200,000 letters took 15 s to check: each word is looked for in all others."""
    words = "kick ball " * 60
    check = read_routine(f'name = "A"\ncounts = 16\nsteps = """\n{line.format(words)}\n"""\n')

    assert "letters; 500 are the most" in check.findings[0].message


def test_what_is_said_of_feet_is_short() -> None:
    """The whole line stood in the message, however long."""
    check = read_routine(
        'name = "A"\ncounts = 16\nsteps = """\n1-16 | walk | ' + "R " * 5000 + '|\n"""\n'
    )

    assert "5000 for 16 moments" in check.findings[0].message
    assert len(check.findings[0].message) < 300
