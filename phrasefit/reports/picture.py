"""The picture of a song's phrases with the walls laid on it, row under row.

Each row shows, from top to bottom: times, the sections with their letters, phrase
starts as ticks (longer = stronger), the walls with their number.  A tag is a black
block, a restart a black flag at the cut; both carry their word as well.  Sections of the
song are called "music A", parts of a phrased routine "part A".
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np

from phrasefit.clock import clock_time
from phrasefit.meters import DANCE_METERS
from phrasefit.model import BarMap, CountGrid, FitPlan, Plan, Restart, Tag, Wall
from phrasefit.reports.event_words import short_words
from phrasefit.reports.leaf import CAPITAL, Canvas, Leaf
from phrasefit.reports.paper import text_width_pt
from phrasefit.reports.start_words import intro_words
from phrasefit.reports.words import music_name, part_name
from phrasefit.routine.turns import clock

ROWS_AT_MOST = 4
SECTION_PT, TICK_PT, WALL_PT, EVENT_ROOM_PT, GAP_PT = 13.0, 7.0, 22.0, 9.0, 6.0
LABEL_PT = 7.5
SECTION_WORDS_PT, WALL_WORDS_PT, INTRO_WORDS_PT, EVENT_WORDS_PT = 8.0, 9.0, 8.0, 8.0
NUMBER_PT = 17.0  # of a wall, alone in its box
PART_PT, PART_WORDS_PT = 9.5, 7.5
ARROW_ROOM_PT = 15.0  # at the left of a wall
WORD_GAP_PT = 6.0  # between the names of two events
POLE_PT = 2.5  # from the middle of a restart's pole to its name
ROW_PT = LABEL_PT + 3 + SECTION_PT + TICK_PT + WALL_PT + GAP_PT


def arrow(
    page: Canvas, x: float, y: float, size: float, facing: int, *, fill: str = "black"
) -> None:
    """Draw a small arrow seen from above, front wall at the top, centered on (`x`, `y`)."""
    angle = np.deg2rad(facing)
    outline = np.array([(0, -0.5), (0.36, 0.1), (0.12, 0.1), (0.12, 0.5), (-0.12, 0.5),
                        (-0.12, 0.1), (-0.36, 0.1)]) * size  # fmt: skip
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    page.shape([(x + dx, y + dy) for dx, dy in (outline @ turn).tolist()], fill=fill)


def event_shape(page: Canvas, mark: str, x: float, baseline: float, size: float) -> None:
    """Draw the shape that stands before an event's words: ``tag``, ``restart`` or ``end``."""
    top = baseline - size
    if mark == "tag":
        page.box(x, top, size, size, fill="black")
    elif mark == "restart":
        page.shape([(x + size, top), (x, top + size / 2), (x + size, top + size)])
    else:
        page.box(x + size * 0.35, top, size * 0.3, size, fill="black")


def counts_per_row(fit: FitPlan) -> int:
    """Choose whole phrases a row so that the song takes at most `ROWS_AT_MOST` rows."""
    phrase = DANCE_METERS[fit.routine.meter].phrase_counts
    n_counts = len(fit.grid.times_s) - 1
    return phrase * max(2, int(np.ceil(n_counts / ROWS_AT_MOST / phrase)))


def picture_height_pt(fit: FitPlan, plan: Plan, width: float) -> float:
    """Tell how much room the picture takes [points]."""
    strips = _strips(Leaf(width_pt=width, height_pt=0), 0, width, fit)
    return sum(_height(strip, fit, plan) for strip in strips)


def _height(strip: Strip, fit: FitPlan, plan: Plan) -> float:
    """Give the height of a row; events have room where they are."""
    n_lines = len(event_lines(strip.events(plan), strip.right - strip.x))
    return ROW_PT + parts_pt(fit) + EVENT_ROOM_PT * n_lines


def parts_pt(fit: FitPlan) -> float:
    """Tell how much room the names of parts take under a row; nothing if there is one part."""
    return PART_PT if len(fit.routine.parts) > 1 else 0.0


def draw_picture(page: Canvas, x: float, y: float, width: float, fit: FitPlan, plan: Plan) -> None:
    """Draw the picture with its top left corner at (`x`, `y`) [points]."""
    for strip in _strips(page, x, width, fit):
        strip.lower(y + LABEL_PT + 3)
        strip.times(fit)
        strip.sections(fit.grid, fit.bar_map)
        strip.phrases(fit.grid)
        strip.walls(plan, number_pt=NUMBER_PT)
        if parts_pt(fit):
            strip.parts(plan)
        strip.event_words(plan, below=parts_pt(fit))
        y += _height(strip, fit, plan)


def _strips(page: Canvas, x: float, width: float, fit: FitPlan) -> list[Strip]:
    """Divide a song into rows."""
    per_row = counts_per_row(fit)
    n_counts = len(fit.grid.times_s) - 1
    return [
        Strip(page, x, 0.0, width / per_row, first, min(first + per_row, n_counts))
        for first in range(0, n_counts, per_row)
    ]


def section_spans(grid: CountGrid) -> list[tuple[int, int, int]]:
    """List the sections in counts: first, one past the last, index (-1 before the first)."""
    edges = [0, *(np.flatnonzero(np.diff(grid.section)) + 1).tolist(), len(grid.section)]
    return [(a, b, int(grid.section[a])) for a, b in itertools.pairwise(edges) if a < b]


def section_words(bar_map: BarMap, index: int, counts: int) -> str:
    """Name a section and say its length; nothing stands before the first."""
    return f"{music_name(bar_map.sections[index])}, {counts}" if index >= 0 else ""


def wall_name(plan: Plan, wall: Wall) -> str:
    """Name a wall by its number, and its part where the routine has several."""
    has_parts = any(other.part != wall.part for other in plan.walls)
    return f"{wall.number} {part_name(wall.part)}" if has_parts else str(wall.number)


def wall_words(plan: Plan, wall: Wall, width: float) -> str:
    """Name a wall as far as a cell of this width has room: the arrow still says where to."""
    name = wall_name(plan, wall)
    for words in (f"{name}  {clock(wall.facing)}", name):
        if text_width_pt(words, WALL_WORDS_PT, True) <= width - ARROW_ROOM_PT - 2:
            return words
    return ""


def event_lines(events: Sequence[Tag | Restart], width: float) -> list[list[Tag | Restart]]:
    """Share events among lines in which the words of all have room."""
    lines: list[list[Tag | Restart]] = []
    used = width
    for event in events:
        room = text_width_pt(short_words(event), EVENT_WORDS_PT, True) + WORD_GAP_PT
        if used + room > width:
            lines.append([])
            used = 0.0
        lines[-1].append(event)
        used += room
    return lines


class Strip:
    """One row of the picture: counts `first` to `last` at `pace` points a count.

    `y` is the top of the sections; `tick` and `wall` are the heights [points] of the
    space that phrase starts hang into and of the walls below it, `stroke` is how thick
    phrase starts are.
    """

    def __init__(
        self, page: Canvas, x: float, y: float, pace: float, first: int, last: int, *,
        tick: float = TICK_PT, wall: float = WALL_PT, stroke: float = 1.0,
    ) -> None:  # fmt: skip
        self.page, self.x, self.pace = page, x, pace
        self.first, self.last = first, last
        self.tick_pt, self.wall_pt, self.stroke = tick, wall, stroke
        self.right = x + (last - first) * pace
        self.lower(y)

    def lower(self, y: float) -> None:
        """Put the top of the sections at `y`."""
        self.section_y = y
        self.wall_y = y + SECTION_PT + self.tick_pt

    def at(self, count: int) -> float:
        """Give the place of a count [points]."""
        return self.x + (count - self.first) * self.pace

    def cut(self, begin: int, end: int) -> tuple[float, float] | None:
        """Give left edge and width of counts `begin` to `end` as far as they lie in this row."""
        begin, end = max(begin, self.first), min(end, self.last)
        return None if end <= begin else (self.at(begin), (end - begin) * self.pace)

    def _label(
        self, left: float, width: float, baseline: float, words: str, size: float, *,
        bold: bool = False,
    ) -> None:  # fmt: skip
        """Center `words` in a cell if there is room for them."""
        if text_width_pt(words, size, bold) <= width - 2:
            self.page.text(left + width / 2, baseline, words, size, align="center", bold=bold)

    def times(self, fit: FitPlan) -> None:
        """Write the time at every phrase length."""
        step = DANCE_METERS[fit.routine.meter].phrase_counts
        for count in range(self.first, self.last, step):
            time = clock_time(float(fit.grid.times_s[count]), decimals=0)
            self.page.text(self.at(count), self.section_y - 3, time, LABEL_PT)

    def sections(self, grid: CountGrid, bar_map: BarMap) -> None:
        """Draw a box for each section with its letter."""
        for begin, end, index in section_spans(grid):
            if cell := self.cut(begin, end):
                self.page.box(cell[0], self.section_y, cell[1], SECTION_PT, line=0.8)
                words = section_words(bar_map, index, end - begin)
                self._label(*cell, self.section_y + 9.5, words, SECTION_WORDS_PT)

    def phrases(self, grid: CountGrid) -> None:
        """Draw a tick below the sections for each phrase start."""
        top = self.section_y + SECTION_PT
        for count in (self.first + np.flatnonzero(grid.strength[self.first : self.last])).tolist():
            length = self.tick_pt * (0.25 + 0.75 * float(grid.strength[count]))
            self.page.line(self.at(count), top, self.at(count), top + length, width=self.stroke)

    def walls(self, plan: Plan, *, number_pt: float | None = None) -> None:
        """Draw the intro and every event; a wall's number in this type, alone in its box."""
        if cell := self.cut(0, plan.start_count):
            self.page.box(*self._box(cell), line=0.5, fill="0.93")
            baseline = self.wall_y + self.wall_pt / 2 + 3
            self._label(*cell, baseline, intro_words(plan), INTRO_WORDS_PT)
        for event in plan.events:
            if isinstance(event, Wall):
                self._wall(plan, event, number_pt)
            elif isinstance(event, Tag):
                self._tag(event)
            elif isinstance(event, Restart):
                self._restart(event)

    def _wall(self, plan: Plan, wall: Wall, number_pt: float | None) -> None:
        cell = self.cut(wall.count, wall.count + wall.counts)
        if cell is None:
            return
        middle = self.wall_y + self.wall_pt / 2
        self.page.box(*self._box(cell), line=1.1)
        if number_pt is not None:
            size = min(number_pt, max(WALL_WORDS_PT, cell[1] - 4))
            number = str(wall.number)
            self._label(*cell, middle + size * CAPITAL / 2, number, size, bold=True)
            return
        if cell[1] > 22:
            arrow(self.page, cell[0] + 9, middle, min(13.0, self.wall_pt - 3), wall.facing)
        words = wall_words(plan, wall, cell[1])
        left, room = cell[0] + ARROW_ROOM_PT, cell[1] - ARROW_ROOM_PT
        self._label(left, room, middle + 3.5, words, WALL_WORDS_PT, bold=True)

    def _tag(self, tag: Tag) -> None:
        if cell := self.cut(tag.count, tag.count + tag.counts):
            self.page.box(*self._box(cell), fill="black")

    def _restart(self, restart: Restart) -> None:
        if not self.first < restart.count <= self.last:
            return
        x, top = self.at(restart.count), self.wall_y
        self.page.line(x, top - 3, x, top + self.wall_pt + 3, width=2.4)
        flag = [(x, top - 3), (x - 8, top + 1.5), (x, top + 6)]
        self.page.shape(flag, edge="white")  # a tag before it is black too

    def parts(self, plan: Plan) -> None:
        """Name the part of each wall under its box."""
        for wall in plan.walls:
            if cell := self.cut(wall.count, wall.count + wall.counts):
                baseline = self.wall_y + self.wall_pt + PART_WORDS_PT + 1
                self._label(*cell, baseline, part_name(wall.part), PART_WORDS_PT)

    def _is_here(self, event: Tag | Restart) -> bool:
        if isinstance(event, Tag):
            return self.cut(event.count, event.count + event.counts) is not None
        return self.first < event.count <= self.last

    def events(self, plan: Plan) -> list[Tag | Restart]:
        """List the tags and restarts that lie in this row."""
        changes = (e for e in plan.events if isinstance(e, Tag | Restart))
        return [event for event in changes if self._is_here(event)]

    def event_words(self, plan: Plan, *, below: float = 0.0) -> None:
        """Write the events under the walls: a tag from its start, a restart up to its flag.

        Words that would touch move right, and left again where the row ends; what the row
        is too short for stands a line lower.  `below` is how much lower the first line is,
        for what stands between [points].
        """
        baseline = self.wall_y + self.wall_pt + 9 + below
        for line in event_lines(self.events(plan), self.right - self.x):
            self._event_line(line, baseline)
            baseline += EVENT_ROOM_PT

    def _event_line(self, events: list[Tag | Restart], baseline: float) -> None:
        placed: list[tuple[float, float, str]] = []  # left edge, width, words
        for event in events:
            words = short_words(event)
            width = text_width_pt(words, EVENT_WORDS_PT, True)
            at = self.at(max(event.count, self.first))
            after = placed[-1][0] + placed[-1][1] + WORD_GAP_PT if placed else self.x
            left = at
            if isinstance(event, Restart):
                before = at - POLE_PT - width
                left = before if before >= after else at + POLE_PT
            placed.append((max(left, after), width, words))
        room = self.right + WORD_GAP_PT
        for left, width, words in reversed(placed):
            room = max(self.x, min(left, room - WORD_GAP_PT - width))
            self.page.text(room, baseline, words, EVENT_WORDS_PT, bold=True)

    def _box(self, cell: tuple[float, float]) -> tuple[float, float, float, float]:
        return cell[0], self.wall_y, cell[1], self.wall_pt
