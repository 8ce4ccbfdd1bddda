"""The printed cue sheets of a plan, in three sizes.

``page``   everything on paper, for the class: the picture, one row a wall
``stand``  about 30 pt, to be read from a music stand: one row a wall and event
``floor``  60 pt and more, to be read across the room: start, tags, restarts, ending

Type sizes follow sign makers' charts (an inch of letter height for 25 feet at the
limit): 28 pt reads at 1.5 m, 60 pt at 3 m.  Events are marked by word, by weight and by
a shape: a block is a tag, a flag a restart, a bar the end.  What belongs to one wall
stays on one page, and the end with the wall before it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from phrasefit.model import Ending, FitPlan, Plan, Restart, Tag, Wall
from phrasefit.reports.doubts import doubt_lines
from phrasefit.reports.event_words import counts_words, floor_words, row_words
from phrasefit.reports.layout import (
    BODY_PT,
    BOX_PT,
    CAPITAL,
    FLOOR_PT,
    HEAD_PT,
    HEAVY_RULE_PT,
    LEADING,
    LEFT_PT,
    SMALL_PT,
    STAND_PT,
    TITLE_PT,
    Canvas,
    Cell,
    Flow,
    Leaf,
    Mark,
    Row,
    SetWords,
    Slab,
    balanced,
    draw,
    height_of,
    paginate,
    put_rows,
    row_of,
    set_words,
)
from phrasefit.reports.paper import Document
from phrasefit.reports.picture import arrow, draw_picture, event_shape, picture_height_pt
from phrasefit.reports.start_words import is_on_vocals
from phrasefit.reports.times import clock_time
from phrasefit.reports.words import (
    cautions,
    music_name,
    off_phrase,
    part_name,
    routine_size,
    verdict_line,
)
from phrasefit.routine.turns import clock

SIZES = ("page", "stand", "floor")
# The smallest type of each kind of sheet, and the largest, in which a short plan fills it.
LEAST_PT = {"page": 9.0, "stand": 24.0, "floor": 48.0}
PAGE_SIZES = (16.0, 14.0, 13.0, BODY_PT, 11.0, 10.5)
STAND_SIZES = (34.0, 32.0, STAND_PT, 28.0, 26.0)
FLOOR_SIZES = (80.0, 75.0, 70.0, 65.0, FLOOR_PT)
MOST_STRETCH = 1.2  # of the type: how far rows move apart to fill a page
# Columns, as multiples of the type: wall, time, facing; what follows has the rest.
WALL_EM, FACES_EM = 2.3, 4.7
TIME_EM = {"page": 4.4, "stand": 3.3}
PAGE_COUNTS_EM, PAGE_MUSIC_EM, PAGE_PART_EM = 3.6, 4.9, 4.2
FLOOR_FACES_EM = 3.4


@dataclass(frozen=True, slots=True, kw_only=True)
class EventRow:
    """One row of the table; `mark` is ``tag``, ``restart``, ``end`` or empty for a wall.

    `event` is what it is, `after` which count of a wall that is cut, `more` all else
    that must be known.
    """

    time_s: float
    facing: int
    wall: str = ""
    part: str = ""
    music: str = ""
    counts: str = ""
    event: str = ""
    after: str = ""
    more: str = ""
    mark: str = ""


def plan_rows(fit: FitPlan, plan: Plan) -> list[list[EventRow]]:
    """List the rows of a plan, grouped so that what belongs to one wall stays together."""
    groups: list[list[EventRow]] = []
    for event in plan.events:
        if isinstance(event, Wall):
            groups.append([_wall_row(fit, event, plan)])
        else:
            groups[-1].append(_event_row(event))
    return groups


def _wall_row(fit: FitPlan, wall: Wall, plan: Plan) -> EventRow:
    section = int(fit.grid.section[wall.start_count])
    return EventRow(
        time_s=wall.start_s,
        wall=str(wall.number),
        part=part_name(wall.part) if len(fit.routine.parts) > 1 else "",
        facing=wall.facing,
        music=music_name(fit.bar_map.sections[section]) if section >= 0 else "",
        counts=str(wall.counts),
        more=_wall_words(fit, wall, plan),
    )


def _event_row(event: Tag | Restart | Ending) -> EventRow:
    what, after, more = row_words(event)
    return EventRow(
        time_s=event.time_s,
        facing=event.facing,
        counts=str(event.counts) if isinstance(event, Tag) else "",
        event=what,
        after=after,
        more=more,
        mark=event.kind.value,
    )


def _wall_words(fit: FitPlan, wall: Wall, plan: Plan) -> str:
    """Say what is special about a wall."""
    if wall.number == plan.ending.wall and wall.counts < _whole(fit, wall):
        return f"music ends after {wall.counts}"
    return off_phrase(fit, wall)


def _whole(fit: FitPlan, wall: Wall) -> int:
    return next(part.counts for part in fit.routine.parts if part.name == wall.part)


def sheet(
    fit: FitPlan, plan: Plan | None = None, *, size: str = "page", paper: str = "a4"
) -> Document:
    """Lay out the cue sheet of a plan and put it on paper.

    Parameters
    ----------
    fit : FitPlan
    plan : Plan, optional
        One of ``fit.plans``; the advised one if left out.
    size : {'page', 'stand', 'floor'}
        What the sheet is read from.
    paper : {'a4', 'letter'}

    Returns
    -------
    Document
        Its pages, to be saved as PDF or PNG.
    """
    leaves = sheet_leaves(fit, plan, size=size, paper=paper)
    return draw(leaves, title=f"{fit.routine.name} - {fit.bar_map.title}", paper=paper)


def sheet_leaves(
    fit: FitPlan, plan: Plan | None = None, *, size: str = "page", paper: str = "a4"
) -> list[Leaf]:
    """Lay out the cue sheet of a plan, nothing drawn; as `sheet`."""
    lay = {"page": _page, "stand": _stand, "floor": _floor}[size]
    return lay(fit, plan or fit.plan, paper)


def start_line(fit: FitPlan, plan: Plan, *, decimals: int = 1) -> str:
    """Say when the dance starts."""
    after = f", after {counts_words(plan.intro_counts)}" if plan.intro_counts > 0 else ""
    if is_on_vocals(fit, plan):
        after += ", on the vocals"
    return f"START at {clock_time(plan.start_s, decimals=decimals)}{after}"


def _names(fit: FitPlan) -> tuple[str, str]:
    """Name the routine and the song, as they stand one over the other in the same type."""
    return fit.routine.name, fit.bar_map.title


# ------------------------------------------------------------------------------- page


def _page(fit: FitPlan, plan: Plan, paper: str) -> list[Leaf]:
    """Take the largest type that needs no more pages than the smallest.

    Type larger than usual must not break more lines either.
    """
    fewest = _page_at(PAGE_SIZES[-1], fit, plan, paper)
    for size in PAGE_SIZES[:-1]:
        leaves = _page_at(size, fit, plan, paper)
        roomy = size <= BODY_PT or _n_texts(leaves) <= _n_texts(fewest)
        if len(leaves) == len(fewest) and roomy:
            return leaves
    return fewest


def _n_texts(leaves: Sequence[Leaf]) -> int:
    return sum(len(leaf.texts) for leaf in leaves)


def _page_at(size: float, fit: FitPlan, plan: Plan, paper: str) -> list[Leaf]:
    flow = Flow(paper, fit.routine.name, title_pt=SMALL_PT)
    _names_on(flow, fit, TITLE_PT, HEAD_PT)
    flow.y += 3
    for words in _facts(fit):
        flow.words(words, BODY_PT - 1, least=SMALL_PT)
    flow.words(start_line(fit, plan), HEAD_PT, bold=True, before=2)
    flow.y += 8
    height = picture_height_pt(fit, plan, flow.inner_pt)
    flow.need(height)
    draw_picture(flow.leaf, LEFT_PT, flow.y, flow.inner_pt, fit, plan)
    flow.y += height + 6
    _page_table(flow, fit, plan, size)
    remarks = [*doubt_lines(fit), verdict_line(fit, plan), *cautions(fit), *fit.routine.assumed]
    flow.y += 6
    for remark in remarks:
        flow.words(remark, SMALL_PT, indent=10, sign="\u2013")
    return flow.finish()


def _names_on(flow: Flow, fit: FitPlan, size: float, least: float) -> None:
    """Write both names in one size."""
    routine, song = _names(fit)
    fits = min(
        set_words(routine, flow.inner_pt, size, least=least, bold=True).size,
        set_words(song, flow.inner_pt, size, least=least).size,
    )
    flow.words(routine, fits, bold=True)
    flow.words(song, fits)


def _facts(fit: FitPlan) -> list[str]:
    """Say how long, by whom, how fast; each line is about one of the two."""
    routine, song = fit.routine, fit.bar_map
    about = [routine_size(routine), routine.level, f"by {routine.by}" if routine.by else ""]
    if about[0] == routine.name:
        about[0] = ""
    pace = f"{fit.grid.counts_per_minute:.0f} counts a minute"
    music = [pace, clock_time(song.duration_s, decimals=0)]
    music += [f"by {song.artist}"] if song.artist else []
    return [", ".join(filter(None, line)) for line in (about, music) if any(line)]


def _page_table(flow: Flow, fit: FitPlan, plan: Plan, size: float) -> None:
    """Set the rows, under heads that each page repeats."""
    phrased = len(fit.routine.parts) > 1
    groups = plan_rows(fit, plan)
    columns = _page_columns(size, phrased=phrased)
    heads = _heads(columns)
    slabs = [
        [slab for row in group for slab in _page_row(row, columns, size, flow)] for group in groups
    ]
    flow.need(heads[0].height + min(height_of(slabs[0]), flow.room_again / 2))
    pages = paginate(slabs, flow.room_left - heads[0].height, flow.room_again - heads[0].height)
    for number, page in enumerate(pages):
        if number:
            flow.turn()
        heads[0].put(flow.leaf, flow.y)
        flow.y += heads[0].height
        flow.leaf.rule(flow.y, HEAVY_RULE_PT)
        flow.y = put_rows(flow.leaf, flow.y, page)


def _page_columns(size: float, *, phrased: bool) -> dict[str, float]:
    """Say where each column begins."""
    ems = {
        "wall": WALL_EM + 0.5,
        "time": TIME_EM["page"],
        "faces": FACES_EM + 0.3,
        "counts": PAGE_COUNTS_EM,
        **({"part": PAGE_PART_EM} if phrased else {}),
        "music": PAGE_MUSIC_EM,
    }
    x, columns = LEFT_PT, {}
    for name, em in ems.items():
        columns[name] = x
        x += em * size
    return columns | {"": x}


def _heads(columns: dict[str, float]) -> Row:
    cells = [(x, [set_words(name, 99, SMALL_PT)]) for name, x in columns.items()]
    return row_of(cells, lead=SMALL_PT * 1.6)


def _page_row(row: EventRow, columns: dict[str, float], size: float, flow: Flow) -> Row:
    least = LEAST_PT["page"] if size <= BODY_PT else size
    rest = flow.leaf.right - columns[""]
    words = {
        "wall": set_words(row.wall, 99, size * 1.25, bold=True),
        "time": set_words(clock_time(row.time_s), 99, size),
        "faces": set_words(clock(row.facing), 99, size),
        "counts": set_words(row.counts, 99, size),
        "part": set_words(row.part, 99, size, bold=True),
        "music": set_words(row.music, PAGE_MUSIC_EM * size - 4, size, least=least),
    }
    cells: list[Cell] = [
        (x + _shift(name, size, row.wall), [words[name]]) for name, x in columns.items() if name
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
    marks = [_facing_mark(row, columns["faces"], size, size * 1.6)]
    marks.append(_left_mark(row, size * 1.25, size * 1.6, WALL_EM * size))
    return row_of(cells, lead=size * 1.6, marks=marks)


def _shift(name: str, size: float, wall: str) -> float:
    """Move words behind the arrow, and a wall's number into the middle of its box."""
    if name == "faces":
        return size * 1.15
    if name == "wall":
        return size * (WALL_EM - 0.62 * 1.4 * len(wall)) / 2
    return 0.0


def _facing_mark(row: EventRow, x: float, size: float, lead: float) -> Mark:
    return lambda canvas, top: arrow(canvas, x + size * 0.5, top + lead / 2, size, row.facing)


def _left_mark(row: EventRow, size: float, lead: float, width: float) -> Mark:
    """Draw the box of a wall's number, or the shape of an event in its place."""

    def mark(canvas: Canvas, top: float) -> None:
        if row.mark:
            side = size * 0.72
            event_shape(
                canvas, row.mark, LEFT_PT + (width - side) / 2, top + lead / 2 + side / 2, side
            )
        else:
            canvas.box(LEFT_PT, top + 1.2, width, lead - 2.4, line=BOX_PT)

    return mark


# ------------------------------------------------------------------------------ stand


def _stand(fit: FitPlan, plan: Plan, paper: str) -> list[Leaf]:
    """Fill pages with the largest type that needs no more of them than the smallest."""
    rows = plan_rows(fit, plan)
    flow = Flow(paper, fit.routine.name, title_pt=BODY_PT)
    _names_on(flow, fit, TITLE_PT, HEAD_PT)
    flow.words(start_line(fit, plan, decimals=0), STAND_PT, least=LEAST_PT["stand"], bold=True)
    flow.y += 6

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
    least = LEAST_PT["stand"] if size == STAND_SIZES[-1] else size
    edges = [LEFT_PT]
    for em in (WALL_EM + 0.3, TIME_EM["stand"], FACES_EM):
        edges.append(edges[-1] + em * size)
    rest = flow.leaf.right - edges[3]
    cells: list[Cell] = [
        (
            edges[0] + _shift("wall", size, row.wall),
            [set_words(row.wall, 999, size * 1.1, bold=True)],
        ),
        (edges[1], [set_words(clock_time(row.time_s, decimals=0), edges[2] - edges[1], size)]),
        (edges[2] + size * 1.15, [set_words(clock(row.facing), 999, size)]),
    ]
    what = " ".join(filter(None, (row.event, row.after)))
    one = set_words(what, rest, size, least=least, bold=True)
    said = [one, set_words(row.part, rest, size, least=least, bold=True)]
    if len(one.lines) > 1:  # broken where a person would
        pieces = (row.event, row.after)
        said = [set_words(words, rest, size, least=least, bold=True) for words in pieces]
    if row.mark:
        said.append(set_words(row.more, rest, LEAST_PT["stand"]))
    cells.append((edges[3], said))
    lead = size * 1.1 * LEADING
    marks = [_facing_mark(row, edges[2], size, lead), _left_mark(row, size, lead, WALL_EM * size)]
    return row_of(cells, lead=lead, marks=marks)


# ------------------------------------------------------------------------------ floor


def _floor(fit: FitPlan, plan: Plan, paper: str) -> list[Leaf]:
    """Say what a dancer must be told across the room: the start, every event, the end."""
    title = " \u2013 ".join(filter(None, _names(fit)))
    flow = Flow(paper, title, landscape=True, title_pt=HEAD_PT)
    flow.words(title, TITLE_PT, least=HEAD_PT, bold=True)
    flow.y += 4

    def rows_at(size: float) -> list[list[Slab]]:
        start = _floor_row(("", *_start_words(fit, plan)), 0, "", size, flow)
        rows = [start] + [
            _floor_row(floor_words(event), event.facing, event.kind.value, size, flow)
            for event in plan.events
            if not isinstance(event, Wall)
        ]
        *groups, last, end = [list(row) for row in rows]
        return [*groups, [*last, *end]]  # the end never stands alone

    _fill(flow, rows_at, FLOOR_SIZES)
    return flow.finish()


def _start_words(fit: FitPlan, plan: Plan) -> tuple[str, str]:
    what, _, after = start_line(fit, plan, decimals=0).partition(", ")
    return what.replace(" at ", " "), after


def _floor_row(words: tuple[str, str, str], facing: int, mark: str, size: float, flow: Flow) -> Row:
    """Set where, what and the rest one below another, right of arrow and clock."""
    least = LEAST_PT["floor"] if size == FLOOR_PT else size
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
