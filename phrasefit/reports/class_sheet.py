"""The sheet for the class: the picture of the song, and one row a wall and event.

What is for the instructor's eyes (how well it fits, what to check, where the recording fails)
stands below the table in few words; `phrasefit fit` and the rehearsal page say all of it.
"""

from __future__ import annotations

from collections.abc import Sequence

from phrasefit.clock import clock_time
from phrasefit.model import FitPlan, Plan
from phrasefit.reports.flow import Flow
from phrasefit.reports.leaf import (
    BODY_PT,
    FOOT_PT,
    HEAD_PT,
    HEAVY_RULE_PT,
    LEFT_PT,
    SMALL_PT,
    Leaf,
)
from phrasefit.reports.pace_words import pace_words
from phrasefit.reports.picture import draw_picture, picture_height_pt
from phrasefit.reports.rows import Cell, Row, Slab, height_of, paginate, put_rows, row_of, set_words
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
)
from phrasefit.reports.words import routine_size, verdict_in_a_line
from phrasefit.routine.turns import clock

LEAST_PT = 9.0  # the smallest type of a row
SIZES = (16.0, 14.0, 13.0, BODY_PT, 11.0, 10.5)  # the largest one, in which a short plan fills it
LEAD_EM = 1.6  # from row to row
VERDICT_GAP_PT = 6.0  # between the table and the line below it
MOST_STRETCH = 0.8  # of the type: how far rows move apart to fill a page
# Columns, as multiples of the type; what follows has the rest.
TIME_EM, COUNTS_EM, MUSIC_EM, PART_EM = 4.4, 3.6, 4.9, 4.2


def class_leaves(fit: FitPlan, plan: Plan, paper: str) -> list[Leaf]:
    """Take the largest type that needs no more pages than the smallest.

    Type larger than usual must not break more lines either.
    """
    fewest = _leaves_at(SIZES[-1], fit, plan, paper)
    for size in SIZES[:-1]:
        leaves = _leaves_at(size, fit, plan, paper)
        roomy = size <= BODY_PT or _n_texts(leaves) <= _n_texts(fewest)
        if len(leaves) == len(fewest) and roomy:
            return leaves
    return fewest


def _n_texts(leaves: Sequence[Leaf]) -> int:
    return sum(len(leaf.texts) for leaf in leaves)


def _leaves_at(size: float, fit: FitPlan, plan: Plan, paper: str) -> list[Leaf]:
    flow = Flow(paper, fit.routine.name, title_pt=SMALL_PT)
    flow.heading(fit.routine.name, fit.bar_map.title)
    for words in _facts(fit):
        flow.words(words, BODY_PT - 1, least=SMALL_PT)
    flow.words(start_line(fit, plan), HEAD_PT, bold=True, before=2)
    flow.y += 8
    height = picture_height_pt(fit, plan, flow.inner_pt)
    flow.need(height)
    draw_picture(flow.leaf, LEFT_PT, flow.y, flow.inner_pt, fit, plan)
    flow.y += height + 6
    verdict = verdict_in_a_line(fit, plan)
    below = set_words(verdict, flow.inner_pt, SMALL_PT, least=FOOT_PT)
    _table(flow, fit, plan, size, below=2 * VERDICT_GAP_PT + below.height)
    flow.words(verdict, SMALL_PT, least=FOOT_PT, before=VERDICT_GAP_PT)
    return flow.finish()


def _facts(fit: FitPlan) -> list[str]:
    """Say how long, by whom, how fast; each line is about one of the two."""
    routine, song = fit.routine, fit.bar_map
    about = [routine_size(routine), routine.level, f"by {routine.by}" if routine.by else ""]
    if about[0] == routine.name:
        about[0] = ""
    music = [pace_words(fit.grid), clock_time(song.duration_s, decimals=0)]
    music += [f"by {song.artist}"] if song.artist else []
    return [", ".join(filter(None, line)) for line in (about, music) if any(line)]


def _table(flow: Flow, fit: FitPlan, plan: Plan, size: float, *, below: float) -> None:
    """Set the rows, under heads that each page repeats, and leave room `below` them."""
    phrased = len(fit.routine.parts) > 1
    groups = plan_rows(fit, plan)
    columns = _columns(size, phrased=phrased)
    heads = _heads(columns)
    slabs = [[slab for row in group for slab in _row(row, columns, size, flow)] for group in groups]
    flow.need(heads[0].height + min(height_of(slabs[0]), flow.room_again / 2))
    taken = heads[0].height + below
    pages = paginate(slabs, flow.room_left - taken, flow.room_again - taken)
    for number, page in enumerate(pages):
        if number:
            flow.turn()
        if not page:  # the first wall, with all that belongs to it, is too high for what is left
            continue
        heads[0].put(flow.leaf, flow.y)
        flow.y += heads[0].height
        flow.leaf.rule(flow.y, HEAVY_RULE_PT)
        room = flow.room_left - below
        stretch = _stretch(page, room, size) if len(pages) == 1 else 0.0
        flow.y = put_rows(flow.leaf, flow.y, page, stretch=stretch)


def _stretch(page: Sequence[Slab], room: float, size: float) -> float:
    """Say how far the rows of a page move apart to fill its `room`."""
    spare = room - height_of(page)
    return min(max(spare / sum(slab.ends for slab in page), 0.0), MOST_STRETCH * size)


def _columns(size: float, *, phrased: bool) -> dict[str, float]:
    """Say where each column begins."""
    ems = {
        "wall": WALL_EM + 0.5,
        "time": TIME_EM,
        "faces": FACES_EM + 0.3,
        "counts": COUNTS_EM,
        **({"part": PART_EM} if phrased else {}),
        "music": MUSIC_EM,
    }
    x, columns = LEFT_PT, {}
    for name, em in ems.items():
        columns[name] = x
        x += em * size
    return columns | {"": x}


def _heads(columns: dict[str, float]) -> Row:
    cells = [(x, [set_words(name, 99, SMALL_PT)]) for name, x in columns.items()]
    return row_of(cells, lead=SMALL_PT * LEAD_EM)


def _row(row: EventRow, columns: dict[str, float], size: float, flow: Flow) -> Row:
    least = LEAST_PT if size <= BODY_PT else size
    rest = flow.leaf.right - columns[""]
    into_box, number = number_in_box(row.wall, size, 1.25)
    words = {
        "wall": number,
        "time": set_words(clock_time(row.time_s), 99, size),
        "faces": set_words(clock(row.facing), 99, size),
        "counts": set_words(row.counts, 99, size),
        "part": set_words(row.part, 99, size, bold=True),
        "music": set_words(row.music, MUSIC_EM * size - 4, size, least=least),
    }
    indent = {"wall": into_box, "faces": AFTER_ARROW_EM * size}
    cells: list[Cell] = [
        (x + indent.get(name, 0.0), [words[name]]) for name, x in columns.items() if name
    ]
    what = " ".join(filter(None, (row.event, row.after)))
    one = set_words(f"{what}, {row.more}", rest, size, least=least, bold=True)
    if what and row.more and len(one.lines) == 1:
        said = [one]
    else:
        said = [
            set_words(what, rest, size, least=least, bold=True),
            set_words(row.more, rest, size, least=least),
        ]
    cells.append((columns[""], said))
    marks = [facing_mark(row, columns["faces"], size, size * LEAD_EM)]
    marks.append(left_mark(row, size * 1.25, size * LEAD_EM, WALL_EM * size))
    return row_of(cells, lead=size * LEAD_EM, marks=marks)
