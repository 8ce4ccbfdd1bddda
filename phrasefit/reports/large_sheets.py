"""The sheets in large type: on the music stand, and across the room.

Type sizes follow sign makers' charts (an inch of letter height for 25 feet at the limit):
28 pt reads at 1.5 m, 60 pt at 3 m.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from phrasefit.clock import clock_time
from phrasefit.model import FitPlan, Plan, Wall
from phrasefit.reports.event_words import floor_words
from phrasefit.reports.flow import Flow
from phrasefit.reports.leaf import (
    BODY_PT,
    CAPITAL,
    FLOOR_PT,
    HEAD_PT,
    HEAVY_RULE_PT,
    LEADING,
    LEFT_PT,
    STAND_PT,
    Canvas,
    Leaf,
)
from phrasefit.reports.picture import arrow, event_shape
from phrasefit.reports.rows import (
    Cell,
    Row,
    SetWords,
    Slab,
    balanced,
    height_of,
    paginate,
    put_rows,
    row_of,
    set_words,
)
from phrasefit.reports.sheet_rows import (
    AFTER_ARROW_EM,
    FACES_EM,
    WALL_EM,
    EventRow,
    facing_mark,
    left_mark,
    number_in_box,
    plan_rows,
    start_line,
    start_words,
)
from phrasefit.routine.turns import clock

# The smallest type of a row, and the largest, in which a short plan fills the page.
STAND_LEAST_PT, FLOOR_LEAST_PT = 24.0, 48.0
STAND_SIZES = (34.0, 32.0, STAND_PT, 28.0, 26.0)
FLOOR_SIZES = (80.0, 75.0, 70.0, 65.0, FLOOR_PT)
MOST_STRETCH = 3.0  # of the type: how far rows move apart to fill a page
# Columns, as multiples of the type.
STAND_TIME_EM, FLOOR_FACES_EM = 3.3, 3.4


def stand_leaves(fit: FitPlan, plan: Plan, paper: str) -> list[Leaf]:
    """Fill pages with the largest type that needs no more of them than the smallest."""
    rows = plan_rows(fit, plan)
    flow = Flow(paper, fit.routine.name, title_pt=BODY_PT)
    flow.heading(fit.routine.name, fit.bar_map.title)
    flow.words(start_line(fit, plan, decimals=0), STAND_PT, least=STAND_LEAST_PT, bold=True)
    flow.clear()

    def rows_at(size: float) -> list[list[Slab]]:
        return [[slab for row in group for slab in _stand_row(row, size, flow)] for group in rows]

    _fill(flow, rows_at, STAND_SIZES)
    return flow.finish()


def _fill(flow: Flow, rows_at: Callable[[float], list[list[Slab]]], sizes: Sequence[float]) -> None:
    """Set rows in the largest of `sizes` that takes as few pages and lines as the smallest.

    Rows move apart until each page is full.
    """
    first = flow.room_left if flow.room_left > flow.room_again / 2 else 0.0
    smallest = rows_at(sizes[-1])
    fewest = len(paginate(smallest, first, flow.room_again)), sum(map(len, smallest))
    for size in sizes:
        slabs = rows_at(size)
        pages = balanced(slabs, first, flow.room_again)
        if len(pages) <= fewest[0] and sum(map(len, slabs)) <= fewest[1]:
            break
    for number, page in enumerate(pages):
        if number:
            flow.turn()
        flow.leaf.rule(flow.y, HEAVY_RULE_PT)
        n_rows = float(sum(slab.ends for slab in page))
        n_rows += 0.5 if page and not page[-1].ends else 0  # goes on: is lowered only
        spare = max(0.0, flow.room_left - height_of(page) - 1)
        stretch = min(spare / max(n_rows, 0.5), MOST_STRETCH * size)
        flow.y = put_rows(flow.leaf, flow.y, page, stretch=stretch)


def _stand_row(row: EventRow, size: float, flow: Flow) -> Row:
    least = STAND_LEAST_PT if size == STAND_SIZES[-1] else size
    edges = [LEFT_PT]
    for em in (WALL_EM + 0.3, STAND_TIME_EM, FACES_EM):
        edges.append(edges[-1] + em * size)
    rest = flow.leaf.right - edges[3]
    into_box, number = number_in_box(row.wall, size, 1.1)
    cells: list[Cell] = [
        (edges[0] + into_box, [number]),
        (edges[1], [set_words(clock_time(row.time_s, decimals=0), edges[2] - edges[1], size)]),
        (edges[2] + size * AFTER_ARROW_EM, [set_words(clock(row.facing), 999, size)]),
    ]
    what = " ".join(filter(None, (row.event, row.after)))
    one = set_words(what, rest, size, least=least, bold=True)
    said = [one, set_words(row.part, rest, size, least=least, bold=True)]
    if len(one.lines) > 1:  # broken where a person would
        pieces = (row.event, row.after)
        said = [set_words(words, rest, size, least=least, bold=True) for words in pieces]
    if row.mark:
        said.append(set_words(row.more, rest, STAND_LEAST_PT))
    cells.append((edges[3], said))
    lead = size * 1.1 * LEADING
    marks = [facing_mark(row, edges[2], size, lead), left_mark(row, size, lead, WALL_EM * size)]
    return row_of(cells, lead=lead, marks=marks)


def floor_leaves(fit: FitPlan, plan: Plan, paper: str) -> list[Leaf]:
    """Say what a dancer must be told across the room: the start, every event, the end."""
    title = " \u2013 ".join(filter(None, (fit.routine.name, fit.bar_map.title)))
    flow = Flow(paper, title, landscape=True, title_pt=HEAD_PT)
    flow.heading(title)
    flow.clear()
    when, after = start_words(fit, plan, decimals=0)

    def rows_at(size: float) -> list[list[Slab]]:
        start = _floor_row(("", f"START {when}", after), 0, "", size, flow)
        rows = [start] + [
            _floor_row(floor_words(event), event.facing, event.kind.value, size, flow)
            for event in plan.events
            if not isinstance(event, Wall)
        ]
        *groups, last, end = [list(row) for row in rows]
        return [*groups, [*last, *end]]  # the end never stands alone

    _fill(flow, rows_at, FLOOR_SIZES)
    return flow.finish()


def _floor_row(words: tuple[str, str, str], facing: int, mark: str, size: float, flow: Flow) -> Row:
    """Set where, what and the rest one below another, right of arrow and clock."""
    least = FLOOR_LEAST_PT if size == FLOOR_PT else size
    x = LEFT_PT + FLOOR_FACES_EM * size
    room = flow.leaf.right - x
    where, what, more = words
    side = size * 0.72

    def shape(canvas: Canvas, x: float, baseline: float) -> None:
        event_shape(canvas, mark, x, baseline, side)

    def arrow_over_clock(canvas: Canvas, x: float, baseline: float) -> None:
        arrow(canvas, x + size * 1.3, baseline - size * CAPITAL / 2, size * 0.95, facing)

    event = set_words(what, room - (side * 1.4 if mark else 0), size, least=least, bold=True)
    if mark:
        event = replace(event, indent=side * 1.4, sign=shape)
    faces = [
        SetWords(lines=("",), size=size, sign=arrow_over_clock),
        set_words(clock(facing), FLOOR_FACES_EM * size, size),
    ]
    said = [set_words(where, room, size, least=least), event]
    said.append(set_words(more, room, size, least=least))
    return row_of([(LEFT_PT, faces), (x, said)], lead=size * LEADING)
