"""The printed cue sheets of a plan, in three sizes.

``page``   everything on paper: the advice, the picture, one row a wall, what to check
``stand``  28 pt, to be read from a music stand: one row a wall and event
``floor``  about 60 pt, to be read across the room: start, tags, restarts, ending

Type sizes follow sign makers' charts (an inch of letter height for 25 feet at the
limit): 28 pt reads at 1.5 m, 60 pt at 3 m.  Events are marked by
word, by weight and by a shape.  A page never ends inside a wall.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from phrasefit.model import Ending, FitPlan, Plan, Restart, Tag, Wall
from phrasefit.reports.doubts import doubt_lines
from phrasefit.reports.event_words import large_words, sheet_words
from phrasefit.reports.paper import MARGIN_PT, Document, Page, fitting_size, wrapped
from phrasefit.reports.picture import arrow, draw_picture, event_shape, picture_height_pt
from phrasefit.reports.times import clock_time
from phrasefit.reports.words import cautions, verdict
from phrasefit.routine.turns import clock

CAUTION = (
    "Recorded music in class, in public or in a video needs licenses."
    " Clear floor, small steps, turns optional; the rules of the hall come first."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One line of the table; `mark` is ``tag``, ``restart``, ``end`` or empty.

    `short` is the event in the few letters that large type has room for.
    """

    time_s: float
    wall: str
    facing: int
    music: str
    counts: str
    event: str
    mark: str = ""
    short: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """Type size and columns (share of the width) of one kind of sheet."""

    type_pt: float
    lead_pt: float
    columns: tuple[tuple[str, float], ...]


SCORE_PT = 110.0  # room for the fit score beside the name
# What stands over the columns where it is not their own name.
HEADS = {
    "page": {"event": ""},
    "stand": {"event": ""},
    "floor": {"event": "wall: what comes"},
}

SIZES = {
    "page": Size(
        type_pt=11.0,
        lead_pt=19.0,
        columns=(
            ("time", 0.12), ("wall", 0.09), ("facing", 0.15), ("music", 0.10), ("counts", 0.11),
            ("event", 0.43),
        ),
    ),
    "stand": Size(
        type_pt=28.0,
        lead_pt=40.0,
        columns=(("time", 0.20), ("wall", 0.12), ("facing", 0.27), ("event", 0.41)),
    ),
    "floor": Size(type_pt=60.0, lead_pt=78.0, columns=(("facing", 0.34), ("event", 0.66))),
}  # fmt: skip


def plan_rows(fit: FitPlan, plan: Plan) -> list[list[Row]]:
    """List the rows of a plan, grouped so that what belongs to one wall stays together."""
    groups: list[list[Row]] = []
    for event in plan.events:
        if isinstance(event, Wall | Ending):
            groups.append([])
        groups[-1].append(
            _wall_row(fit, event, plan) if isinstance(event, Wall) else _event_row(event)
        )
    return groups


def _wall_row(fit: FitPlan, wall: Wall, plan: Plan) -> Row:
    section = int(fit.grid.section[wall.start_count])
    part = f"{wall.part} " if len(fit.routine.parts) > 1 else ""
    return Row(
        time_s=wall.start_s,
        wall=f"{part}{wall.number}",
        facing=wall.facing,
        music=fit.bar_map.sections[section].letter if section >= 0 else "",
        counts=str(wall.counts),
        event=_wall_words(fit, wall, plan),
    )


def _event_row(event: Tag | Restart | Ending) -> Row:
    return Row(
        time_s=event.time_s,
        wall="",
        facing=event.facing,
        music="",
        counts=str(event.counts) if isinstance(event, Tag) else "",
        event=sheet_words(event),
        mark=event.kind,
        short=large_words(event),
    )


def _wall_words(fit: FitPlan, wall: Wall, plan: Plan) -> str:
    """Say what is special about a wall."""
    if wall.number == plan.ending.wall and wall.counts < _whole(fit, wall):
        return f"music ends after {wall.counts}"
    if wall.phrase_offset:
        side = "after" if wall.phrase_offset > 0 else "before"
        return f"{abs(wall.phrase_offset)} {side} the phrase"
    return ""


def _whole(fit: FitPlan, wall: Wall) -> int:
    return next(part.counts for part in fit.routine.parts if part.name == wall.part)


def sheet(
    fit: FitPlan, plan: Plan | None = None, *, size: str = "page", paper: str = "a4"
) -> Document:
    """Lay out the cue sheet of a plan.

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
    plan = plan or fit.plan
    document = Document(
        paper=paper,
        landscape=size == "floor",
        title=f"{fit.routine.name} - {fit.bar_map.title}",
    )
    groups = plan_rows(fit, plan)
    if size == "floor":
        groups = _events_only(groups)
    _Setter(document, SIZES[size], fit, plan, size).set(groups)
    return document


def _events_only(groups: list[list[Row]]) -> list[list[Row]]:
    """Keep what a dancer must be told across the room: the first wall and every event."""
    first = groups[0][0]
    kept = [replace(first, event="", short=f"START {clock_time(first.time_s, decimals=0)}")]
    for wall, *events in groups[:-1]:
        kept += [replace(row, short=f"{wall.wall}: {row.short}") for row in events]
    return [[row] for row in (*kept, *groups[-1])]


class _Setter:
    """Sets rows into pages; a page is broken only between groups."""

    def __init__(self, document: Document, size: Size, fit: FitPlan, plan: Plan, kind: str) -> None:
        self.document, self.size, self.fit, self.plan, self.kind = document, size, fit, plan, kind
        self.page: Page | None = None
        self.y = 0.0

    def set(self, groups: list[list[Row]]) -> None:
        """Set all groups, then number the pages."""
        for group in groups:
            if self.page is None or self.y + len(group) * self.size.lead_pt > self._bottom():
                self._turn_page()
                self._column_heads()
            for row in group:
                self._row(row)
        if self.kind == "page":
            self._remarks()
        self._feet()

    def _bottom(self) -> float:
        return self.page.height_pt - MARGIN_PT - 26

    def _turn_page(self) -> None:
        first = self.page is None
        self.page = self.document.new_page()
        self.y = MARGIN_PT
        if first:
            self._heading()
            if self.kind == "page":
                self.y += 8
                draw_picture(self.page, MARGIN_PT, self.y, self.page.inner_pt, self.fit, self.plan)
                self.y += picture_height_pt(self.fit) + 4
        else:
            self._line(f"{self.fit.routine.name}, continued", max(11.0, self.size.type_pt * 0.5))

    def _heading(self) -> None:
        """Name, song, and what must be known before the music starts."""
        big = {"page": 20.0, "stand": 26.0, "floor": 44.0}[self.kind]
        small = {"page": 11.0, "stand": 17.0, "floor": 26.0}[self.kind]
        routine, song = self.fit.routine, self.fit.bar_map
        by = f", by {routine.by}" if routine.by else ""
        room = self.page.inner_pt - (SCORE_PT if self.kind == "page" else 0)
        fits = fitting_size(routine.name, room, big, smallest=0.6 * big, bold=True)
        self._line(routine.name, fits, bold=True, width=room)
        music = " - ".join(text for text in (song.title, song.artist) if text)
        shape = f"{routine.counts} counts, {routine.walls} wall{'s' * (routine.walls != 1)}"
        if routine.name != shape or by:
            self._line(f"{shape}{by}", small)
        pace = f"{self.fit.grid.counts_per_minute:.0f} a minute"
        length = clock_time(song.duration_s, decimals=0)
        self._line(f"{pace}, {length} | {music}" if music else f"{pace}, {length}", small)
        self._line(
            f"START at {clock_time(self.plan.start_s)}, after {self.plan.intro_counts} counts",
            small * 1.15,
            bold=True,
        )
        if self.kind == "page":
            for line in wrapped(verdict(self.fit, self.plan), self.page.inner_pt, 10.5):
                self._line(line, 10.5)
            score = f"fit {self.plan.score:.0f} of 100"
            self.page.text(
                self.page.width_pt - MARGIN_PT, MARGIN_PT + 18, score, 14, bold=True, align="right"
            )

    def _line(
        self, words: str, size: float, *, bold: bool = False, width: float | None = None
    ) -> None:
        self.y += size * 1.3
        self.page.text(MARGIN_PT, self.y, words, size, bold=bold, width=width or self.page.inner_pt)

    def _columns(self) -> list[tuple[str, float, float]]:
        edges, x = [], MARGIN_PT
        for name, share in self.size.columns:
            edges.append((name, x, share * self.page.inner_pt))
            x += share * self.page.inner_pt
        return edges

    def _column_heads(self) -> None:
        size = max(9.0, self.size.type_pt * (0.4 if self.kind == "floor" else 0.5))
        self.y += size * 1.6
        for name, x, width in self._columns():
            head = HEADS[self.kind].get(name, name)
            self.page.text(x, self.y, head, size, width=width)
        self.y += 4
        self.page.line(MARGIN_PT, self.y, self.page.width_pt - MARGIN_PT, self.y)

    def _row(self, row: Row) -> None:
        size, top = self.size.type_pt, self.y
        self.y += self.size.lead_pt
        baseline = self.y - (self.size.lead_pt - size * 0.72) / 2
        words = {
            "time": clock_time(row.time_s, decimals=1 if self.kind == "page" else 0),
            "wall": row.wall,
            "music": row.music,
            "counts": row.counts,
        }
        for name, x, width in self._columns():
            if name == "facing":
                arrow(self.page, x + size * 0.45, baseline - size * 0.36, size * 0.95, row.facing)
                self.page.text(
                    x + size * 1.1, baseline, clock(row.facing), size, width=width - size
                )
            elif name == "event":
                self._event(row, x, baseline, width)
            else:
                self.page.text(x, baseline, words[name], size, width=width - 4)
        self.page.line(MARGIN_PT, self.y, self.page.width_pt - MARGIN_PT, self.y, width=0.3)
        if row.mark in ("tag", "restart"):
            self.page.box(MARGIN_PT - 9, top + 2, 5, self.size.lead_pt - 4, fill="black")

    def _event(self, row: Row, x: float, baseline: float, width: float) -> None:
        """Write the event in bold after its shape: block = tag, flag = restart, bar = end."""
        size = self.size.type_pt * (1.0 if self.kind == "page" else 0.85)
        if row.mark:
            d = size * 0.7
            event_shape(self.page, row.mark, x, baseline, d)
            x, width = x + d * 1.5, width - d * 1.5
        words, bold = row.event if self.kind == "page" else row.short, bool(row.mark)
        fits = fitting_size(words, width, size, smallest=0.6 * size, bold=bold)
        self.page.text(x, baseline, words, fits, bold=bold, width=width)

    def _remarks(self) -> None:
        """Write doubts and assumptions under the table, on a new page if need be."""
        remarks = [*doubt_lines(self.fit), *cautions(self.fit), *self.fit.routine.assumed]
        lines = [
            (line, i == 0)
            for remark in remarks
            for i, line in enumerate(wrapped(remark, self.page.inner_pt - 12, 9.5))
        ]
        self.y += 10
        for words, begins in lines:
            if self.y + 13 > self._bottom():
                self._turn_page()
            self.y += 13
            if begins:
                self.page.text(MARGIN_PT, self.y, "\u2013", 9.5)
            self.page.text(MARGIN_PT + 12, self.y, words, 9.5)

    def _feet(self) -> None:
        n_pages = len(self.document.pages)
        for number, page in enumerate(self.document.pages, start=1):
            y = page.height_pt - MARGIN_PT + 4
            page.text(MARGIN_PT, y, CAUTION, 6.5, width=page.inner_pt - 40)
            page.text(page.width_pt - MARGIN_PT, y, f"{number}/{n_pages}", 8, align="right")
