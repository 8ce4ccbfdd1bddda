"""The step sheet of a routine: counts, steps, feet, turns, facing, restarts, tags.

One row a step line, under the headings of the routine file; a heavier rule after every
section of 8 (threes: 6).  A page is broken between sections only, unless one section is
longer than a page.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from phrasefit.meters import DANCE_METERS
from phrasefit.model import Part, Routine, Step, TagOption
from phrasefit.reports.event_words import counts_words
from phrasefit.reports.flow import Flow
from phrasefit.reports.leaf import (
    BODY_PT,
    HEAD_PT,
    HEAVY_RULE_PT,
    LEFT_PT,
    SMALL_PT,
    Canvas,
    Leaf,
    draw,
)
from phrasefit.reports.paper import Document
from phrasefit.reports.rows import Row, Slab, row_of, set_words
from phrasefit.reports.words import part_name, routine_size
from phrasefit.routine.dancer_state import first_count, last_count, turn_after
from phrasefit.routine.turns import clock, format_turn

LEAST_PT = 9.0
LEAD_PT = 18.0
COLUMNS = (("counts", 0.13), ("step", 0.45), ("feet", 0.18), ("turn", 0.11), ("faces", 0.13))
RESTART_COLUMNS = (("restart after", 0.16), ("turned by then", 0.18), ("changed step", 0.66))
GUTTER_PT = 6.0
KEY = "R right, L left, B both take weight; . no weight. Small steps; turns optional."


def step_sheet(routine: Routine, *, paper: str = "a4") -> Document:
    """Lay out the step sheet of `routine` on `paper` ('a4' or 'letter')."""
    return draw(step_leaves(routine, paper=paper), title=routine.name, paper=paper)


def step_leaves(routine: Routine, *, paper: str = "a4") -> list[Leaf]:
    """Lay out the step sheet, nothing drawn."""
    flow = Flow(paper, routine.name, foot=KEY)
    _heading(flow, routine)
    for part in routine.parts:
        if len(routine.parts) > 1:
            _title(
                flow, f"{part_name(part.name)}, {counts_words(part.counts)}".replace("p", "P", 1)
            )
        _steps(flow, part, routine.meter)
        _restarts(flow, part)
    for tag in routine.tags:
        if tag.steps:
            _title(flow, ", ".join(filter(None, (f"TAG {tag.counts}", tag.name))))
            part = Part(name="", counts=tag.counts, turn_deg=tag.turn_deg, steps=tag.steps)
            _steps(flow, part, routine.meter)
    for note in (*_plain_tags(routine.tags), *routine.notes):
        flow.words(note[:1].upper() + note[1:], SMALL_PT + 1.5, before=4)
    return flow.finish()


def _heading(flow: Flow, routine: Routine) -> None:
    """Name, size, level, tempo, intro."""
    flow.heading(routine.name)
    size = routine_size(routine)
    facts = [size if size != routine.name else "", routine.level]
    facts.append(DANCE_METERS[routine.meter].dance)
    if routine.tempo_bpm:
        low, high = routine.tempo_bpm
        facts.append(f"{low:g} to {high:g} counts a minute")
    if routine.intro_counts is not None:
        facts.append(f"start after {counts_words(routine.intro_counts)}")
    flow.words(", ".join(filter(None, facts)), BODY_PT)
    if routine.by:
        flow.words(f"by {routine.by}", BODY_PT)


def _title(flow: Flow, words: str) -> None:
    """Head a part or a tag; some of its steps stand on the same page."""
    flow.need(4 * LEAD_PT + HEAD_PT)
    flow.words(words, HEAD_PT, least=LEAST_PT, bold=True, before=10)


def _steps(flow: Flow, part: Part, meter: int) -> None:
    """Set the step lines, section by section."""
    turned = turn_after(part) if part.steps else ()
    sections: dict[int, list[Step]] = {}
    for step in part.steps:
        sections.setdefault(
            max(first_count(step), 0) // DANCE_METERS[meter].group_counts, []
        ).append(step)
    for i, steps in enumerate(sections.values()):
        rows = [] if i else [_heads(flow)]
        for step in steps:
            if step.heading:
                rows.append(_heading_row(flow, step.heading))
            rows.append(_step_row(flow, step, turned))
        flow.y += 0 if i else 6
        flow.group([slab for row in rows for slab in row])
        flow.leaf.rule(flow.y, HEAVY_RULE_PT)


def _heads(flow: Flow) -> Row:
    """Name the columns, over a heavy rule."""
    (heads,) = _table_row(flow, [name for name, _ in COLUMNS], COLUMNS, size=SMALL_PT)

    def rule(canvas: Canvas, top: float) -> None:
        y = top + heads.height
        canvas.line(LEFT_PT, y, LEFT_PT + flow.inner_pt, y, width=HEAVY_RULE_PT)

    return (replace(heads, marks=(rule,)),)


def _heading_row(flow: Flow, words: str) -> Row:
    block = set_words(words, flow.inner_pt, BODY_PT, least=LEAST_PT, bold=True)
    return _open(row_of([(LEFT_PT, [block])], lead=LEAD_PT + 2))


def _step_row(flow: Flow, step: Step, turned: Sequence[int]) -> Row:
    facing = turned[min(last_count(step), len(turned) - 1)]
    words = [
        step.counts,
        step.name,
        " ".join(step.feet),
        format_turn(step.turn_deg) if step.turn_deg else "",
        clock(facing % 360) if step.turn_deg else "",
    ]
    return _table_row(flow, words, COLUMNS)


def _table_row(
    flow: Flow, words: Sequence[str], columns: Sequence[tuple[str, float]], *, size: float = BODY_PT
) -> Row:
    """Set the cells of one row; only heavier rules separate sections."""
    cells, x = [], LEFT_PT
    for text, (_, share) in zip(words, columns, strict=True):
        width = share * flow.inner_pt
        cells.append((x, [set_words(text, width - GUTTER_PT, size, least=LEAST_PT)]))
        x += width
    return _open(row_of(cells, lead=max(size * 1.5, SMALL_PT * 1.6)))


def _open(row: Row) -> Row:
    """Leave a row without a rule below it."""
    return tuple(Slab(height=slab.height, texts=slab.texts, marks=slab.marks) for slab in row)


def _restarts(flow: Flow, part: Part) -> None:
    """Say where a restart is possible: after which counts, and with which changed steps."""
    plain = [str(point.after_count) for point in part.restart_points if not point.step_change]
    changed = [point for point in part.restart_points if point.step_change]
    flow.y += 4
    if not part.restart_points:
        flow.words("No restarts.", SMALL_PT + 1.5)
    if plain:
        words = f"Restart possible after count {', '.join(plain)}: no change of step."
        flow.words(words, SMALL_PT + 1.5)
    if not changed:
        return
    heads = [name for name, _ in RESTART_COLUMNS]
    rows = [_table_row(flow, heads, RESTART_COLUMNS, size=SMALL_PT)]
    for point in changed:
        turn = format_turn(point.turn_deg) if point.turn_deg else "nothing"
        cells = [f"count {point.after_count}", turn, point.step_change]
        rows.append(_table_row(flow, cells, RESTART_COLUMNS, size=SMALL_PT + 1.5))
    flow.y += 4
    flow.group([slab for row in rows for slab in row])


def _plain_tags(tags: Sequence[TagOption]) -> tuple[str, ...]:
    counts = sorted({tag.counts for tag in tags if not tag.steps})
    listed = ", ".join(map(str, counts))
    return (f"Tags of {listed} counts, steps left to you.",) if counts else ()
