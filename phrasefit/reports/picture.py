"""The picture of a song's phrases with the walls laid on it, row under row.

Each row shows, from top to bottom: times, the sections with their letters, phrase
starts as ticks (longer = stronger), the walls with number and facing.  A tag is a
black block, a restart a black flag at the cut; both carry their word as well.
"""

from __future__ import annotations

import itertools

import numpy as np

from phrasefit.meters import DANCE_METERS
from phrasefit.model import FitPlan, Plan
from phrasefit.reports.paper import Page, text_width_pt
from phrasefit.reports.times import clock_time
from phrasefit.routine.turns import clock

ROWS_AT_MOST = 4
SECTION_PT, TICK_PT, WALL_PT, FLAG_PT, GAP_PT = 13.0, 7.0, 22.0, 11.0, 5.0
LABEL_PT = 7.5
ROW_PT = LABEL_PT + 3 + SECTION_PT + TICK_PT + WALL_PT + FLAG_PT + GAP_PT


def arrow(page: Page, x: float, y: float, size: float, facing: int, *, fill: str = "black") -> None:
    """Draw a small arrow seen from above, front wall at the top, centered on (`x`, `y`)."""
    angle = np.deg2rad(facing)
    outline = np.array([(0, -0.5), (0.36, 0.1), (0.12, 0.1), (0.12, 0.5), (-0.12, 0.5),
                        (-0.12, 0.1), (-0.36, 0.1)]) * size  # fmt: skip
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    page.shape([(x + dx, y + dy) for dx, dy in (outline @ turn).tolist()], fill=fill)


def counts_per_row(fit: FitPlan) -> int:
    """Choose whole phrases a row so that the song takes at most `ROWS_AT_MOST` rows."""
    phrase = DANCE_METERS[fit.routine.meter].phrase_counts
    n_counts = len(fit.grid.times_s) - 1
    return phrase * max(2, int(np.ceil(n_counts / ROWS_AT_MOST / phrase)))


def picture_height_pt(fit: FitPlan) -> float:
    """Tell how much room the picture takes [points]."""
    return ROW_PT * int(np.ceil((len(fit.grid.times_s) - 1) / counts_per_row(fit)))


def draw_picture(page: Page, x: float, y: float, width: float, fit: FitPlan, plan: Plan) -> None:
    """Draw the picture with its top left corner at (`x`, `y`) [points]."""
    per_row = counts_per_row(fit)
    n_counts = len(fit.grid.times_s) - 1
    for row, first in enumerate(range(0, n_counts, per_row)):
        strip = _Strip(
            page, x, y + row * ROW_PT, width / per_row, first, min(first + per_row, n_counts)
        )
        strip.times(fit)
        strip.sections(fit)
        strip.phrases(fit)
        strip.walls(fit, plan)


class _Strip:
    """One row of the picture: counts `first` to `last` at `pace` points a count."""

    def __init__(self, page: Page, x: float, y: float, pace: float, first: int, last: int) -> None:
        self.page, self.x, self.y, self.pace = page, x, y, pace
        self.first, self.last = first, last
        self.section_y = y + LABEL_PT + 3
        self.wall_y = self.section_y + SECTION_PT + TICK_PT

    def _cut(self, begin: int, end: int) -> tuple[float, float] | None:
        """Give left edge and width of counts `begin` to `end` as far as they lie in this row."""
        begin, end = max(begin, self.first), min(end, self.last)
        return (
            None
            if end <= begin
            else (self.x + (begin - self.first) * self.pace, (end - begin) * self.pace)
        )

    def _label(
        self, left: float, width: float, baseline: float, words: str, size: float, *,
        color: str = "black", bold: bool = False,
    ) -> None:  # fmt: skip
        """Center `words` in a cell if there is room for them."""
        if text_width_pt(words, size, bold) <= width - 2:
            self.page.text(
                left + width / 2, baseline, words, size, align="center", color=color, bold=bold
            )

    def times(self, fit: FitPlan) -> None:
        """Write the time at every phrase length."""
        step = DANCE_METERS[fit.routine.meter].phrase_counts
        for count in range(self.first, self.last, step):
            time = clock_time(float(fit.grid.times_s[count]), decimals=0)
            self.page.text(
                self.x + (count - self.first) * self.pace, self.y + LABEL_PT, time, LABEL_PT
            )

    def sections(self, fit: FitPlan) -> None:
        """Draw a box for each section with its letter."""
        index = fit.grid.section
        edges = [0, *(np.flatnonzero(np.diff(index)) + 1).tolist(), len(index)]
        for begin, end in itertools.pairwise(edges):
            cell = self._cut(begin, end)
            if cell is None:
                continue
            letter = fit.bar_map.sections[index[begin]].letter if index[begin] >= 0 else ""
            self.page.box(cell[0], self.section_y, cell[1], SECTION_PT, line=0.8)
            words = f"{letter} {end - begin}" if letter else ""
            self._label(*cell, self.section_y + 9.5, words, 8.0)

    def phrases(self, fit: FitPlan) -> None:
        """Draw a tick below the sections for each phrase start."""
        top = self.section_y + SECTION_PT
        for count in np.flatnonzero(fit.grid.strength[self.first : self.last]).tolist():
            strength = float(fit.grid.strength[self.first + count])
            at = self.x + count * self.pace
            self.page.line(at, top, at, top + TICK_PT * (0.25 + 0.75 * strength), width=1.0)

    def walls(self, fit: FitPlan, plan: Plan) -> None:
        """Draw intro, walls, tags and restarts."""
        if cell := self._cut(0, plan.start_count):
            self.page.box(*_box(cell, self.wall_y), line=0.5, fill="0.93")
            self._label(*cell, self.wall_y + 14, f"intro {plan.start_count}", 8.0)
        for wall in plan.walls:
            if cell := self._cut(wall.start_count, wall.start_count + wall.counts):
                self.page.box(*_box(cell, self.wall_y), line=1.1)
                if cell[1] > 22:
                    arrow(self.page, cell[0] + 9, self.wall_y + WALL_PT / 2, 13, wall.facing)
                words = f"{wall.number}  {clock(wall.facing)}"
                if text_width_pt(words, 9.0, True) > cell[1] - 17:
                    words = str(wall.number)  # the arrow still says where to
                self._label(cell[0] + 15, cell[1] - 15, self.wall_y + 14.5, words, 9.0, bold=True)
        self._tags(plan)
        self._restarts(plan)

    def _tags(self, plan: Plan) -> None:
        ends = {wall.number: wall.start_count + wall.counts for wall in plan.walls}
        for tag in plan.tags:
            begin = ends[tag.after_wall]
            if cell := self._cut(begin, begin + tag.counts):
                self.page.box(*_box(cell, self.wall_y), fill="black")
                self._label(*cell, self.wall_y + 14, f"{tag.counts}", 8.5, color="white", bold=True)
                self.page.text(
                    cell[0], self.wall_y + WALL_PT + 9, f"TAG {tag.counts}", 8.0, bold=True
                )

    def _restarts(self, plan: Plan) -> None:
        ends = {wall.number: wall.start_count + wall.counts for wall in plan.walls}
        for restart in plan.restarts:
            at = ends[restart.wall]
            if not self.first < at <= self.last:
                continue
            x, top = self.x + (at - self.first) * self.pace, self.wall_y
            self.page.line(x, top - 3, x, top + WALL_PT + 3, width=2.4)
            self.page.shape([(x, top - 3), (x - 8, top + 1.5), (x, top + 6)])
            self.page.text(
                x,
                top + WALL_PT + 9,
                f"RESTART {restart.after_count}",
                8.0,
                bold=True,
                align="right",
            )


def _box(cell: tuple[float, float], y: float) -> tuple[float, float, float, float]:
    return cell[0], y, cell[1], WALL_PT
