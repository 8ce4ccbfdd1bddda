"""Typed step sheets: what is understood, what is marked, and that nothing is guessed.

How sheets are typed is common practice, no source; all sheets here are invented.
"""

from __future__ import annotations

import dataclasses

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from routine_strategies import written_routines
from test_examples import EXAMPLES

from phrasefit.model import one_line
from phrasefit.routine import pasted
from phrasefit.routine.check import check_routine
from phrasefit.routine.pasted import MOST_LINES, PastedSheet, read_pasted
from phrasefit.routine.spec import load_routine, parse_routine
from phrasefit.routine.toml_lines import parse_source
from phrasefit.routine.written import sheet_text

SHEET = """\
Pewter Ladle Stroll
32 Count, 4 Wall, Improver line dance
Choreographed by Wilma Oddfellow (invented)
Music: any song of 110 to 120
Intro: 16 counts, start on vocals
Tempo: 108 – 122

S1: WALK, WALK, SHUFFLE, ROCK, COASTER
1-2\tWalk forward right, left
3&4\tShuffle forward R-L-R
5 – 6\tRock forward on left, recover
7&8\tCoaster step left
Restart here on wall 3

[9-16] PIVOT, SHUFFLE, VINE
1, 2  Step forward right, pivot ½ turn left (6:00)
3&4   Right shuffle forward
5-8   Vine left, touch

17-24: Rocks
1-2 Rock back on right, recover
3 Stomp right
4 Hold
5-6. Side rock left, recover right
7 & 8) Sailor step left turning ¼ left (3 o'clock)

S4
(1-4) Rocking chair right
Kick ball change right (5&6)
7-8 Walk forward right, left

Tag: 4 counts, end of wall 2
1-4 Sway R, L, R, L

Begin again and enjoy!
"""


def routine_of(sheet: PastedSheet):
    """Read the routine file that a sheet makes."""
    return parse_routine(sheet.text)


def only(text: str) -> pasted.SheetLine:
    """Read one line that stands below a title."""
    return read_pasted(f"A Title\n{text}").lines[1]


def test_a_typed_sheet_becomes_a_routine() -> None:
    """Head, sections, all kinds of counts, feet, turns, a restart and a tag are read."""
    sheet = read_pasted(SHEET)

    assert [line.text for line in sheet.not_understood] == []
    routine = routine_of(sheet)
    assert (routine.name, routine.by) == ("Pewter Ladle Stroll", "Wilma Oddfellow (invented)")
    assert (routine.counts, routine.walls, routine.level) == (32, 4, "improver")
    assert (routine.intro_counts, routine.tempo_bpm) == (16, (108, 122))
    steps = routine.parts[0].steps
    assert [" ".join(step.feet) for step in steps[:6]] == [
        "R L", "R L R", "L R", "L R L", "R L", "R L R",
    ]  # fmt: skip
    assert [step.turn_deg for step in steps if step.turn_deg] == [-180, -90]
    assert [point.after_count for point in routine.parts[0].restart_points] == [8]
    (tag,) = routine.tags
    assert (tag.counts, tag.name, tag.steps[0].feet) == (4, "end of wall 2", tuple("RLRL"))
    assert any("wall 3" in note for note in routine.notes)
    assert steps[4].heading == "PIVOT, SHUFFLE, VINE"


def test_a_tag_without_steps_keeps_its_words() -> None:
    """Where it is danced and what is danced there stay in the file, as a note."""
    said = "Tag: end of wall 2, 4 counts: sway R, L, R, L"
    sheet = read_pasted(f"A Title\nS1\n1-8 hold\n{said}\nTag: 8 counts")

    routine = routine_of(sheet)

    assert [tag.counts for tag in routine.tags] == [4, 8]
    assert routine.notes == (said,)


def test_phrased_sheets_have_parts_and_an_order() -> None:
    """Part headings and the phrasing line."""
    sheet = read_pasted(
        "Two Stoves\nPhrasing: AAB A B\nPart A - 16 counts\n1-8 hold\n9-16 hold\n"
        "PART B: 8 counts\n1-8 hold\n"
    )

    routine = routine_of(sheet)
    assert routine.sequence == ("A", "A", "B", "A", "B")
    assert [part.counts for part in routine.parts] == [16, 8]


@pytest.mark.parametrize(
    "line, why",
    [
        ("Wiggle some more", "no counts"),
        ("5-6 Pivot turn", "not how far"),
        ("5-6 Pivot 1/2 turn", "no direction"),
        ("1-2 Walk right, left 3&4 shuffle right", "several counts"),
        ("1-2", "no step"),
        ("Restart on wall 3", "after which count"),
        ("Restart after 8 counts or after 16 counts", "after which count"),
        ("Tag at the end of wall 2", "how many counts"),
        ("Tempo: brisk", "tempo is not understood"),
        ("1-2 Walk 1/4 left (7:15)", "facing"),
        ("4-2 Walk", "no counts"),
        ("Counts: 32 or 64", "one number"),
        ("1-2 | walk | R X", "not understood"),
    ],
)
def test_what_could_mean_two_things_is_marked(line: str, why: str) -> None:
    """Nothing is guessed: the line is marked with a reason, and kept as a remark."""
    sheet = read_pasted(f"A Title\n1-8 hold\n{line}\n")
    (marked,) = sheet.not_understood

    assert (marked.number, marked.text, marked.kind) == (3, line, "")
    assert why in marked.why
    assert f"# not understood, line 3 of the sheet: {line}" in sheet.text


@pytest.mark.parametrize(
    "line, feet",
    [
        ("1-2 Walk forward right, left", "R L"),
        ("1&2 Shuffle forward right left right", "R L R"),
        ("1&2 Coaster L,R,L", "L R L"),
        ("1&2 Left sailor step", "L R L"),
        ("1&2 Chasse left L R L", "L R L"),
        ("1-4 Vine right R L R L", "R L R L"),
        ("1&2 Kick ball change left", ". L R"),
        ("1-2 Step right to right side, touch left beside right", "R ."),
        ("1-2 Rock forward left, recover", "L R"),
        ("1-4 Vine to the right, touch", "R L R ."),
        ("1 Step RF forward", "R"),
        ("3-4 Kick RF forward twice", ". ."),
        ("8 Hold and clap", "."),
        ("7-8 Step LF forward, touch RF beside LF", "L ."),
        # Words that name a foot but not who stands on it, or fewer feet than moments.
        ("1-2 Touch right, left", ""),
        ("5-6 Heel switches R, L", ""),
        ("1-2 Side touch", ""),
        ("1&2 Kick and heel jack", ""),
        ("1-4 Hip bumps R L R L", ""),
        ("1-4 Weave right", ""),
        ("1-2 Step right, L R", ""),
        ("1-4 Jazz box right", ""),
        ("1-2 Sway hips", ""),
        ("1-2 Cross shuffle, right", ""),
    ],
)
def test_feet_are_read_only_where_the_words_name_them(line: str, feet: str) -> None:
    """Lists, one foot a moment, or a step of the trade with its leading foot."""
    said = only(line)

    assert said.kind == "step"
    cells = [*said.taken_as.removesuffix(" (feet left open)").split(" | "), "", ""]
    assert cells[2].strip() == feet
    assert said.taken_as.endswith("(feet left open)") == (not feet)


@pytest.mark.parametrize(
    "line, turn",
    [
        ("1-2 Pivot 1/2 turn left", "1/2 L"),
        ("1-2 Pivot ¼ right", "1/4 R"),
        ("1-2 turning right 3/4", "3/4 R"),
        ("1-4 Full turn over left shoulder", "full L"),
        ("1-4 1/4 turn right, 1/4 turn right", "1/2 R"),
        ("1-4 Half rumba box", ""),
        ("1-4 Monterey half turn right", "1/2 R"),
    ],
)
def test_turns_are_read_with_size_and_side(line: str, turn: str) -> None:
    """Fractions, glyphs and words; several on a line are added up."""
    cells = [*only(line).taken_as.removesuffix(" (feet left open)").split(" | "), "", "", ""]

    assert cells[3].strip() == turn


def test_sizes_and_tags_are_told_apart() -> None:
    """The counts of a tag are not those of the routine; words behind a size are kept."""
    sheet = read_pasted(
        "**Garden Gate**\n32 count, 2 wall, beginner, 1 tag, 1 restart\n1-8 hold\n"
        "On walls 2 and 4 add this 4 count tag:\n1-4 hold\nS2\n9-16 hold\n"
    )

    assert not sheet.not_understood
    routine, _ = check_routine(sheet.text)
    assert (routine.name, routine.counts) == ("Garden Gate", 32) and "walls = 2" in sheet.text
    assert [tag.counts for tag in routine.tags] == [4]
    assert [step.counts for step in routine.parts[0].steps] == ["1-8", "9-16"]
    assert "1 tag, 1 restart" in routine.notes[0]
    (marked,) = read_pasted("A Title\n4 count tag after wall 2\n1-8 hold").not_understood
    assert marked.number == 2
    headed = read_pasted("A Title\nTag: 4 counts after wall 2\nS1\n1-8 hold")
    assert routine_of(headed).parts[0].steps and "tags = [4]" in headed.text


def test_a_broken_line_is_joined_and_said_so() -> None:
    """A line that begins with a small letter goes on with the step above it."""
    sheet = read_pasted("A Title\n1-8 hold and look\nover your shoulder\n")

    assert not sheet.not_understood
    assert "goes on with the step above" in sheet.lines[2].taken_as
    assert "hold and look over your shoulder" in sheet.text


def test_a_long_text_is_bounded() -> None:
    """A book is no sheet: reading stops, and says where."""
    sheet = read_pasted("1-8 hold\n" * (MOST_LINES + 500) + "x" * 10_000)

    assert len(sheet.lines) == MOST_LINES + 1
    assert "at most" in sheet.lines[-1].why
    many = read_pasted("1-8 hold\nrestart here\n" * 200)
    assert "more than 64 restarts" in many.lines[-1].why


SIGNS = st.sampled_from(
    [*"0123456789&ae -–—.,:;()[]|\"'\\#=½¼\t\n\r\x00\x7f\ud800\u2028", "1-8 ", "3&4 ", "S1",
     "Part A", "Tag", "restart ", "after ", "turn ", "1/2 ", "left ", "right ",
     "counts", "walls", '"""',
     "facing ", "12:00", "Sequence: ", "Tempo: ", "Intro", "-- ", "Title: ", "R L R", "\n1-2 walk"]
)  # fmt: skip


@settings(max_examples=200)
@given(st.one_of(st.lists(SIGNS, max_size=60).map("".join), st.text(max_size=200)))
@example('Title: "\\\n1-2 | """ | R L')
@example('Part A\nPart "\\\n1-2 walk\nTag\n1-2 walk')
def test_no_text_is_too_strange(text: str) -> None:
    """Whatever is pasted, every line comes back, and what is written is a routine file."""
    sheet = read_pasted(text)

    for line in sheet.lines:
        assert bool(line.kind) != bool(line.why)
    source, findings = parse_source(sheet.text + "#")
    assert source is not None, findings
    check_routine(sheet.text + "\n")
    assert len(sheet.text) < 20 * len(text) + 1000


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_a_printed_routine_is_read_back_equal(path) -> None:
    """Written as a sheet and read back, the examples are what they were."""
    routine = load_routine(path)

    sheet = read_pasted(sheet_text(routine))

    assert not sheet.not_understood
    assert essence(routine_of(sheet)) == essence(routine)


@settings(max_examples=20)
@given(written_routines(), st.text(max_size=30))
def test_any_routine_is_read_back_equal(written, step: str) -> None:
    """Written as a sheet and read back, drawn routines are what they were."""
    routine = parse_routine(written.text)
    part = routine.parts[0]
    renamed = dataclasses.replace(part.steps[0], name=one_line(step.replace("|", "/")) or "walk")
    routine = dataclasses.replace(
        routine, parts=(dataclasses.replace(part, steps=(renamed, *part.steps[1:])),)
    )

    sheet = read_pasted(sheet_text(routine))

    assert essence(routine_of(sheet)) == essence(routine)


def essence(routine):
    """Give what a sheet says of a routine: no lines of files, no assumptions."""
    return (
        routine.by, routine.level, routine.walls, routine.meter, routine.sequence,
        routine.tempo_bpm, routine.starting_foot, routine.intro_counts, routine.notes,
        [
            (part.name, part.counts, part.turn_deg, part.restart_points,
             [dataclasses.replace(step, line=0) for step in part.steps])
            for part in routine.parts
        ],
        [
            (tag.counts, tag.name, tag.turn_deg,
             [dataclasses.replace(step, line=0) for step in tag.steps])
            for tag in routine.tags
        ],
    )  # fmt: skip


@pytest.mark.parametrize(
    ("line", "kind", "noted", "tags"),
    [
        ("1 Tag, 1 Restart", "remark", True, None),
        ("2 easy tags", "remark", True, None),
        ("No Tags, 1 Restart", "fact", False, "none"),
        ("0 Tags, 0 Restarts", "fact", False, "none"),
        ("1 Restart on wall 3 after 4 counts", "fact", True, None),
    ],
)
def test_how_many_changes_there_are_is_no_step(
    line: str, kind: str, noted: bool, tags: str | None
) -> None:
    """Sheets announce their tags and restarts at their head; no count is danced there."""
    sheet = read_pasted(
        f"Tin Cup\n8 counts, 1 wall\n{line}\n1-4 Vine right, touch\n5-8 Vine left\n"
    )

    assert sheet.lines[2].kind == kind
    assert (line in sheet.text) == noted
    assert (f'tags = "{tags}"' in sheet.text) == (tags is not None)
    assert ("restarts = [4]" in sheet.text) == line.endswith("after 4 counts")


@pytest.mark.parametrize(
    ("line", "tags"),
    [
        ("1 Tag of 4 counts after wall 3", "[4]"),
        ("1 easy tag (8 counts), end of wall 2", "[8]"),
        ("1 Tag after 16 counts", None),  # where, not how long
        ("1 Tag after the first 16 counts, 4 counts", "[4]"),
        ("2 Tags: 4 counts and 8 counts", None),
    ],
)
def test_a_tag_announced_with_its_length_is_one(line: str, tags: str | None) -> None:
    """The line says of which wall as well, and stays as a note; no step goes into the tag."""
    sheet = read_pasted(f"Tin Cup\n4 counts, 1 wall\n{line}\n1-4 Vine right, touch\n")

    assert sheet.lines[2].kind == ("fact" if tags else "remark")
    assert (f"tags = {tags}" in sheet.text) == (tags is not None)
    assert f'"{line}"' in sheet.text and "[[tags]]" not in sheet.text


def test_a_tag_announced_above_its_own_steps_heads_them() -> None:
    """After the dance the steps below it are the tag's."""
    sheet = read_pasted(
        "Tin Cup\n4 counts\n1-4 Vine right, touch\n1 Tag of 2 counts\n1-2 Sway R L\n"
    )

    routine, _ = check_routine(sheet.text)
    assert routine is not None
    (tag,) = routine.tags
    assert (tag.counts, tag.steps[0].feet) == (2, ("R", "L"))


def test_the_name_of_a_tag_keeps_both_its_brackets() -> None:
    """The name is printed on every sheet."""
    head = "Tin Cup\n4 counts\n1-4 Vine right, touch\n"
    tag = "TAG: end of wall 2 (facing 6:00), 4 counts\n1-4 Sway R L R L\n"
    sheet = read_pasted(head + tag)

    assert sheet.lines[3].taken_as == "a tag of 4 counts: end of wall 2 (facing 6:00)"
