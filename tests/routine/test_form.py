"""A routine file as a form: only what was changed changes."""

from __future__ import annotations

import difflib
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from test_examples import EXAMPLES

from phrasefit.errors import RoutineError
from phrasefit.routine.form import (
    FIELDS,
    HEAD,
    PART,
    TAG,
    FormBlock,
    FormLine,
    read_form,
    read_line,
    write_form,
)

KEPT = """\
# What I think of it
name   =  "Pewter Ladle"   # named after the ladle
walls = 4
counts=8
my_own_key = [1, 2]  # nobody but me

steps = \"\"\"
# slowly at first
1-4|walk|R L R L|
  5-8   | jazz box | R L R L | 1/4 R
facing 3:00
\"\"\"
"""


def changed_lines(before: str, after: str) -> list[str]:
    """List the lines that a diff shows."""
    diff = difflib.unified_diff(before.split("\n"), after.split("\n"), n=0, lineterm="")
    return [line for line in list(diff)[2:] if not line.startswith("@@")]


def with_fields(block: FormBlock, **fields: str) -> FormBlock:
    """Change fields of a block."""
    return replace(block, fields={**block.fields, **fields})


def with_line(block: FormBlock, at: int, line: FormLine) -> FormBlock:
    """Change one line of a block."""
    lines = list(block.lines)
    lines[at] = line
    return replace(block, lines=tuple(lines))


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_a_form_left_alone_changes_nothing(path: Path) -> None:
    """Opened and saved, a file is the same letter by letter; Windows line ends too."""
    text = path.read_text(encoding="utf-8")

    for written in (text, text.replace("\n", "\r\n"), KEPT):
        assert write_form(written, read_form(written)) == written


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_one_step_changed_is_one_line_of_the_diff(path: Path) -> None:
    """Every step line of every example, changed alone."""
    text = path.read_text(encoding="utf-8")
    form = read_form(text)
    for b, block in enumerate(form):
        for at, line in enumerate(block.lines or ()):
            if line.kind != "step":
                continue
            cells = (line.cells[0], "heel switch", *line.cells[2:])
            one = with_line(block, at, replace(line, cells=cells))

            diff = changed_lines(text, write_form(text, [*form[:b], one, *form[b + 1 :]]))

            assert len(diff) == 2
            assert diff[0] == f"-{line.was}" and "heel switch" in diff[1]
            assert read_line(diff[1][1:]).cells == cells


def test_comments_order_and_unknown_keys_stay() -> None:
    """Fields and lines are changed in place, everything beside them stays."""
    (head,) = read_form(KEPT)
    line = replace(head.lines[1], cells=("1-4", "run", "R L R L", ""))

    written = write_form(
        KEPT, [with_line(with_fields(head, walls="2", tempo="90 to 110"), 1, line)]
    )

    assert changed_lines(KEPT, written) == [
        "-walls = 4", "+walls = 2", "-1-4|walk|R L R L|", "+1-4 | run | R L R L |",
        "+tempo = [90, 110]",
    ]  # fmt: skip


def test_lines_are_added_moved_and_taken_out() -> None:
    """Lines that stay keep their letters, wherever they go."""
    (head,) = read_form(KEPT)
    remark, walk, box, facing = head.lines
    new = FormLine(kind="step", cells=("9", "hold", "", ""))

    written = write_form(KEPT, [replace(head, lines=(box, remark, walk, new))])

    assert facing.text == "3:00"
    assert box.was + "\n# slowly at first\n1-4|walk|R L R L|\n9  " in written
    assert "facing" not in written


def test_parts_and_tags_come_and_go() -> None:
    """A part and a tag are added and taken out; what stays stays as it was."""
    steps = (FormLine(kind="step", cells=("1-8", "hold", "", "")),)
    lanterns, laundry = (
        next(p for p in EXAMPLES if p.stem == stem).read_text(encoding="utf-8")
        for stem in ("two-lanterns", "lighthouse-laundry")
    )
    form = read_form(lanterns)
    part = FormBlock(kind=PART, name="C", fields={"counts": "8"}, lines=steps)
    tag = FormBlock(kind=TAG, fields={"name": "look", "counts": "8"}, lines=steps)

    more = tomllib.loads(write_form(lanterns, [*form, part, tag]))
    assert list(more["parts"]) == ["A", "B", "C"] and more["parts"]["C"]["counts"] == 8
    assert more["tags"] == [{"name": "look", "counts": 8, "steps": "1-8 | hold\n"}]

    assert list(tomllib.loads(write_form(lanterns, form[:2]))["parts"]) == ["A"]
    head, _, sway = read_form(laundry)
    fewer = write_form(laundry, [head, sway])
    assert [one["name"] for one in tomllib.loads(fewer)["tags"]] == ["sway it out"]
    assert not [line for line in changed_lines(laundry, fewer) if line.startswith("+")]
    with pytest.raises(RoutineError, match="one name"):
        write_form(lanterns, [*form, replace(part, name="A")])


def test_a_part_is_renamed() -> None:
    """Its name changes where the file heads it, and nothing else; two may change places."""
    text = (
        'name = "x"\nwalls = 1\nsequence = "A B"\n'
        "[parts.A]  # the verse\ncounts = 8\n# B is short\n[ parts . 'B' ]\ncounts = 16 # A\n"
    )
    head, first, second = read_form(text)

    verse = write_form(text, [head, replace(first, name="the verse"), second])
    swapped = write_form(text, [head, replace(first, name="B"), replace(second, name="A")])

    assert verse == text.replace("[parts.A]", '[parts."the verse"]')
    assert swapped == text.replace("'B'", "A").replace("parts.A", "parts.B")
    inline = 'name = "x"\nparts = { A = { counts = 8 } }\n'
    head, first = read_form(inline)
    with pytest.raises(RoutineError, match="as text"):
        write_form(inline, [head, replace(first, name="verse")])


def test_what_is_no_toml_has_no_form() -> None:
    """A broken file is mended as text."""
    with pytest.raises(RoutineError, match="no routine file"):
        read_form('name = "open')


WORDS = st.text(st.characters(blacklist_categories=("Cs",)), max_size=20)


@settings(max_examples=30)
@given(
    path=st.sampled_from(EXAMPLES),
    typed=st.dictionaries(st.sampled_from(list(FIELDS[HEAD])), WORDS, max_size=5),
    cells=st.tuples(WORDS, WORDS, WORDS, WORDS),
    at=st.integers(0, 100),
)
def test_whatever_is_typed_is_kept_and_the_rest_stays(path, typed, cells, at) -> None:
    """Any letters in fields and cells give a file that can be read, with them in it."""
    text = path.read_text(encoding="utf-8")
    form = list(read_form(text))
    b = next(b for b, block in enumerate(form) if block.lines)
    typed = {key: value for key, value in typed.items() if key != "tags"}
    before = tomllib.loads(text)
    form[0] = with_fields(form[0], **typed)
    lines = list(form[b].lines)
    lines.insert(at % (len(lines) + 1), FormLine(kind="step", cells=cells))
    form[b] = replace(form[b], lines=tuple(lines))

    written = write_form(text, form)

    data = tomllib.loads(written)
    untouched = set(before) - set(typed) - {"steps", "parts"}
    assert {key: data[key] for key in untouched} == {key: before[key] for key in untouched}
    assert [key for key, value in typed.items() if value.strip() and key not in data] == []
    kept = read_form(written)[b].lines
    assert len(kept) == len(lines)
