"""Writing routine files: what is known of a routine as the text of a new file.

Also the other way round for reading aloud or sending: `sheet_text` writes a routine as a
typed step sheet, which `pasted.read_pasted` reads back.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from phrasefit.meters import DANCE_METERS
from phrasefit.model import Part, Routine, Step
from phrasefit.routine.restarts import usual_restart_counts
from phrasefit.routine.turns import format_turn

TEXT_MARK = '"""'


@dataclass(kw_only=True, eq=False)
class DraftBlock:
    """Step lines of a part (or tag) that is being written; `counts` 0 = as the steps say."""

    name: str = ""
    counts: int = 0
    restarts: str | list[int] = ""
    rows: list[str] = field(default_factory=list)


@dataclass(kw_only=True)
class Draft:
    """What goes into a new routine file; what is empty is left out.

    `restarts` and `tags` are "any", "none" or lists; tags with steps stand in `tag_blocks`.
    """

    name: str = ""
    by: str = ""
    level: str = ""
    counts: int = 0
    walls: int = 0
    rhythm: str = ""
    tempo: tuple[float, ...] = ()
    foot: str = ""
    intro: int | None = None
    restarts: str | list[int] = ""
    tags: str | list[int] = ""
    notes: list[str] = field(default_factory=list)
    sequence: list[str] = field(default_factory=list)
    main: DraftBlock = field(default_factory=DraftBlock)
    parts: list[DraftBlock] = field(default_factory=list)
    tag_blocks: list[DraftBlock] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)


def quoted(text: str) -> str:
    """Write a text of one line as TOML does."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def steps_value(rows: Sequence[str]) -> str:
    """Write step lines as a multi-line text of TOML."""
    lines = [row.replace("\\", "\\\\").replace(TEXT_MARK, '\\"\\"\\"') for row in rows]
    return "\n".join([TEXT_MARK, *lines, TEXT_MARK])


def file_text(draft: Draft) -> str:
    """Write the text of a routine file."""
    lines = [f"# {remark}" for remark in draft.remarks]
    lines += _head(draft)
    for block in draft.parts:
        lines += ["", f"[parts.{_bare(block.name)}]", *_block(block)]
    for block in draft.tag_blocks:
        name = [f"name = {quoted(block.name)}"] if block.name else []
        lines += ["", "[[tags]]", *name, *_block(block)]
    return "\n".join(lines).lstrip("\n") + "\n"


def _head(draft: Draft) -> Iterator[str]:
    for key in ("name", "by", "level"):
        if text := getattr(draft, key):
            yield f"{key} = {quoted(text)}"
    if draft.counts and not draft.parts:
        yield f"counts = {draft.counts}"
    if draft.walls:
        yield f"walls = {draft.walls}"
    if draft.rhythm:
        yield f"rhythm = {quoted(draft.rhythm)}"
    if draft.tempo:
        yield f"tempo = [{', '.join(f'{number:g}' for number in draft.tempo)}]"
    if draft.foot:
        yield f"foot = {quoted(draft.foot)}"
    if draft.intro is not None:
        yield f"intro = {draft.intro}"
    if draft.sequence:
        yield f"sequence = [{', '.join(map(quoted, draft.sequence))}]"
    if draft.restarts:
        yield f"restarts = {json.dumps(draft.restarts)}"
    if draft.tags and not draft.tag_blocks:
        yield f"tags = {json.dumps(draft.tags)}"
    if draft.notes:
        yield "notes = ["
        yield from (f"  {quoted(note)}," for note in draft.notes)
        yield "]"
    if draft.main.rows and not draft.parts:
        yield f"steps = {steps_value(draft.main.rows)}"


def _block(block: DraftBlock) -> Iterator[str]:
    if block.counts:
        yield f"counts = {block.counts}"
    if block.restarts:
        yield f"restarts = {json.dumps(block.restarts)}"
    if block.rows:
        yield f"steps = {steps_value(block.rows)}"


def _bare(name: str) -> str:
    return name if name.isascii() and name.isalnum() else quoted(name)


# ----------------------------------------------------------- a routine as a typed sheet


def sheet_text(routine: Routine) -> str:
    """Write a routine as a step sheet is typed, one step a line."""
    lines = [f"Title: {routine.name}"]
    lines += [f"Choreographer: {routine.by}"] if routine.by else []
    lines += [f"Level: {routine.level}"] if routine.level else []
    if not routine.sequence:
        lines.append(f"Counts: {routine.counts}")
    lines += [f"Walls: {routine.walls}", f"Rhythm: {DANCE_METERS[routine.meter].rhythms[0]}"]
    if routine.tempo_bpm:
        lines.append("Tempo: {:g}-{:g}".format(*routine.tempo_bpm))
    if routine.starting_foot:
        lines.append(f"Begins on the {'right' if routine.starting_foot == 'R' else 'left'} foot")
    if routine.intro_counts is not None:
        lines.append(f"Intro: {routine.intro_counts} counts")
    lines += [f"Note: {note}" for note in routine.notes]
    for part in routine.parts:
        if routine.sequence:
            lines += ["", f"Part {json.dumps(part.name)}: {part.counts} counts"]
        lines += [*_typed_block(part), *_typed_restarts(part, routine.meter)]
    for tag in routine.tags:
        name = f" {json.dumps(tag.name)}" if tag.name else ""
        lines += ["", f"Tag{name}: {tag.counts} counts"]
        lines += [_typed_row(step) for step in tag.steps]
    if not routine.tags:
        lines += ["", "No tags"]
    if routine.sequence:
        lines += ["", f"Sequence: {json.dumps(routine.sequence)}"]
    return "\n".join(lines) + "\n"


def _typed_block(part: Part) -> Iterator[str]:
    for step in part.steps:
        if step.heading:
            yield f"-- {step.heading}"
        yield _typed_row(step)


def _typed_restarts(part: Part, meter: int) -> list[str]:
    counts = tuple(point.after_count for point in part.restart_points)
    if not counts:
        return ["No restarts"]
    if counts == usual_restart_counts(part.counts, meter):
        return ["Restart after any whole bar"]
    return [f"Restart after count {after}" for after in counts]


def _typed_row(step: Step) -> str:
    turn = format_turn(step.turn_deg) if step.turn_deg else ""
    return f"{step.counts} | {step.name} | {' '.join(step.feet)} | {turn}"
