"""The form of a routine as the page sees it: fields, lines, what is wrong beside each.

The page sends back the text that it opened and the form as it is now; `checked_form` puts
the form into the text and says of every field and line what ``phrasefit check`` says.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from phrasefit.errors import ParameterError, RoutineError
from phrasefit.fields import Fields
from phrasefit.model import Finding, Part, Routine
from phrasefit.reports.check_text import check_document, how_many, summary
from phrasefit.routine.check import check_routine
from phrasefit.routine.dancer_state import (
    facing_after,
    first_count,
    free_foot_after,
    last_count,
)
from phrasefit.routine.form import (
    FIELDS,
    HEAD,
    MOST_BLOCKS,
    PART,
    STEP_CELLS,
    FormBlock,
    FormLine,
    read_form,
    write_form,
)
from phrasefit.routine.step_lines import MOST_LINES
from phrasefit.routine.toml_lines import MAX_FILE_BYTES, Source, parse_source
from phrasefit.routine.turns import clock

LINE_KINDS = ("step", "heading", "facing", "other")


def text_in(sent: Fields, key: str) -> str:
    """Read a routine file's text from what the page sent.

    Raises
    ------
    ParameterError
        If there is none, or it is too long for a routine.
    """
    text = sent.values.get(key)
    if not isinstance(text, str):
        raise ParameterError("no text of a routine was sent; load the page again")
    if len(text) > MAX_FILE_BYTES:
        raise ParameterError("this is too long for a routine; was it a routine file?")
    return text


def form_in(sent: Fields) -> tuple[FormBlock, ...] | None:
    """Read the form that the page sent; None if it sent the text alone."""
    if sent.values.get("form") is None:
        return None
    return tuple(_block_in(block) for block in sent.tables("form", most=MOST_BLOCKS))


def _block_in(sent: Fields) -> FormBlock:
    kind = sent.text("kind")
    if kind not in FIELDS:
        raise sent.refuse("kind", "is no kind of block")
    place = tuple(part for part in sent.items("place", most=2) if isinstance(part, str | int))
    fields = {
        key: str(value)
        for key, value in sent.table("fields").values.items()
        if key in FIELDS[kind] and isinstance(value, str)
    }
    lines = None
    if sent.values.get("lines") is not None:
        lines = tuple(_line_in(line) for line in sent.tables("lines", most=MOST_LINES))
    return FormBlock(kind=kind, place=place, name=sent.text("name"), fields=fields, lines=lines)


def _line_in(sent: Fields) -> FormLine:
    kind = sent.text("kind")
    if kind not in LINE_KINDS:
        raise sent.refuse("kind", "is no kind of line")
    cells = [*sent.texts("cells", most=len(STEP_CELLS)), "", "", "", ""]
    was = sent.values.get("was")
    return FormLine(
        kind=kind,
        cells=(cells[0], cells[1], cells[2], cells[3]),
        text=sent.text("text"),
        was=was if isinstance(was, str) else None,
    )


def form_document(blocks: Sequence[FormBlock]) -> list[dict[str, Any]]:
    """Lay a form out as JSON."""
    return [
        {
            "kind": block.kind,
            "place": list(block.place),
            "name": block.name,
            "fields": dict(block.fields),
            "lines": None if block.lines is None else [_line_out(line) for line in block.lines],
        }
        for block in blocks
    ]


def _line_out(line: FormLine) -> dict[str, Any]:
    return {"kind": line.kind, "cells": list(line.cells), "text": line.text, "was": line.was}


def opened_form(text: str) -> dict[str, Any]:
    """Lay a routine file out for the page; ``form`` is null if it is no TOML."""
    try:
        blocks: tuple[FormBlock, ...] | None = read_form(text)
    except RoutineError:
        blocks = None
    form = None if blocks is None else form_document(blocks)
    return {"form": form, **checked_form(text, blocks, unchanged=True)}


def checked_form(
    text: str, blocks: Sequence[FormBlock] | None, *, unchanged: bool = False
) -> dict[str, Any]:
    """Put a form into the text it was read from and check the result.

    Parameters
    ----------
    text : str
        The file as it was opened.
    blocks : sequence of FormBlock or None
        None checks the text alone.
    unchanged : bool
        The form says what the text says.

    Returns
    -------
    dict
        ``text`` as it would be saved; ``findings`` with the block and the row or field they
        stand beside; ``rows`` by block: what each step row leads to; ``status`` and
        ``summary`` in the words of ``phrasefit check``.
    """
    if blocks is not None and not unchanged:
        text = write_form(text, blocks)
    routine, findings = check_routine(text + "\n")
    source, _ = parse_source(text)
    places = _places(source, blocks or ()) if source else {}
    document = check_document([("", routine, findings)])["files"][0]
    for said, finding in zip(document["findings"], findings, strict=True):
        said |= places.get(finding.line, {})
    return {
        "text": text,
        "errors": document["errors"],
        "warnings": document["warnings"],
        "findings": document["findings"],
        "routine": document["routine"],
        "rows": _rows(routine, places) if routine else [],
        **_words(routine, findings),
    }


def _words(routine: Routine | None, findings: Sequence[Finding]) -> dict[str, str]:
    """Give the sentences of `phrasefit check`: how many findings, and what follows."""
    follows = summary(routine, findings) if routine is not None else ""
    return {"status": how_many(findings), "summary": follows}


def _places(source: Source, blocks: Sequence[FormBlock]) -> dict[int, dict[str, Any]]:
    """Say which block and field or row stands on each line of the file."""
    places: dict[int, dict[str, Any]] = {}
    for number, (block, place) in enumerate(_placed(blocks)):
        for key in FIELDS[block.kind]:
            if (*place, key) in source.key_lines:
                line = source.key_lines[(*place, key)]
                places.setdefault(line, {"block": number, "field": key})
        steps = _value_at(source.data, (*place, "steps"))
        if isinstance(steps, str) and block.lines:
            places |= {
                line: {"block": number, "row": row}
                for row, (line, _) in enumerate(source.numbered_lines(steps, *place, "steps"))
                if row < len(block.lines)
            }
    return places


def _placed(blocks: Sequence[FormBlock]) -> Iterator[tuple[FormBlock, tuple[str | int, ...]]]:
    """Pair each block with its place in the file as it is written."""
    n_tags = 0
    for block in blocks:
        if block.kind == HEAD:
            yield block, ()
        elif block.kind == PART:
            yield block, ("parts", block.name)
        else:
            yield block, ("tags", n_tags)
            n_tags += 1


def _value_at(data: Any, place: Sequence[str | int]) -> Any:
    for key in place:
        if isinstance(key, int):
            data = data[key] if isinstance(data, list) and key < len(data) else None
        else:
            data = data.get(key) if isinstance(data, Mapping) else None
    return data


def _rows(routine: Routine, places: Mapping[int, Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Say of each step row who takes weight when, and what it leads to."""
    tags = [
        Part(name="", counts=tag.counts, turn_deg=tag.turn_deg, steps=tag.steps)
        for tag in routine.tags
    ]
    rows = []
    for part in (*routine.parts, *tags):
        facings, free = facing_after(part), free_foot_after(part)
        for step in part.steps:
            at = min(max(last_count(step), 0), part.counts - 1)
            rows.append(
                {
                    **places.get(step.line, {}),
                    "first": first_count(step),
                    "last": last_count(step),
                    "feet": list(step.feet),
                    "turn_deg": step.turn_deg,
                    "facing": facings[at],
                    "clock": clock(facings[at]),
                    "free": free[at] if step.feet else "",
                }
            )
    return rows
