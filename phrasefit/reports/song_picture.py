"""The picture of a song: what was heard, in lines of 32 counts (24 in threes).

Each line shows, from top to bottom: the sections with their letters; the counts, with
loudness behind them, ones taller, and phrase starts hanging down (longer = clearer);
the walls of a plan if there is one; and under them, in words, whatever the shapes
cannot say.  What is doubtful carries a question mark and a word, never a color.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from phrasefit.clock import clock_time
from phrasefit.model import CountGrid
from phrasefit.reports.fonts import isolated
from phrasefit.reports.line_notes import NOTE_WORDS_PT, SHAPE_PT, PlacedNote, notes_of, placed
from phrasefit.reports.map_text import METER_WORDS
from phrasefit.reports.pace_words import pace_words
from phrasefit.reports.paper import (
    MARGIN_PT,
    Document,
    Page,
    fitting_size,
    text_width_pt,
    wrapped,
)
from phrasefit.reports.picture import SECTION_PT, Strip, arrow, event_shape
from phrasefit.reports.song_view import (
    SongView,
    doubtful_ones,
    gaps,
    loud_shares,
    odd_bars,
    remarks_of,
    weak_starts,
)
from phrasefit.reports.start_words import start_words
from phrasefit.reports.words import routine_size

GUTTER_PT = 34.0  # left of the lines, for their times
# The counts of a line are as high as the page allows; of a song of several pages, usual.
LEAST_BODY_PT, USUAL_BODY_PT, MOST_BODY_PT = 8.5, 20.0, 34.0
WALLS_PT, NOTE_PT, GAP_PT = 14.5, 9.5, 4.5
HEAD_PT, FOOT_PT, REMARK_PT = 11.0, 12.0, 11.5
KEY_ROW_PT, KEY_WORDS_PT, KEY_SHAPE_PT, KEY_GAP_PT = 14.0, 7.5, 16.0, 12.0
LOUDEST = 0.92  # of the height of a line, so that phrase starts show above it

Sample = tuple[Callable[[Page, float, float], None], str]


def add_count_pages(document: Document, view: SongView) -> None:
    """Draw a song in lines of counts, with the plan that `view` holds.

    Parameters
    ----------
    document : Document
        Gets one page more; of a long song as many as its lines need.
    view : SongView
    """
    _Setter(document, view).set()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Line:
    first: int
    last: int
    notes: tuple[PlacedNote, ...]

    @property
    def notes_pt(self) -> float:
        return NOTE_PT * max((n.row + 1 for n in self.notes), default=0)


class _Setter:
    """Sets heading, lines, remarks and key into pages; a line is never split."""

    def __init__(self, document: Document, view: SongView) -> None:
        self.document, self.view = document, view
        self.page: Page = document.new_page()
        self.y = MARGIN_PT
        self.width = self.page.inner_pt - GUTTER_PT
        self.pace = self.width / view.per_line
        notes = notes_of(view, self.pace)
        self.lines = []
        for first in range(0, view.n_counts, view.per_line):
            last = min(first + view.per_line, view.n_counts)
            shown = placed(notes, first, last, self.width, self.pace)
            self.lines.append(_Line(first=first, last=last, notes=shown))
        self.fixed_pt = SECTION_PT + GAP_PT + (WALLS_PT if view.plan else 0)

    def set(self) -> None:
        """Set everything."""
        self._heading()
        remarks = self._remarks()
        key = key_rows(self.view, self.page.inner_pt)
        body = self._body_pt(REMARK_PT * len(remarks) + 4 + key_height_pt(key))
        self._count_heads()
        for line in self.lines:
            if self.y + self.fixed_pt + body + line.notes_pt > self._bottom():
                self._turn_page()
                self._count_heads()
            self._line(line, body)
        self.y += 4
        for words, remark, begins in remarks:
            if self.y + REMARK_PT > self._bottom():
                self._turn_page()
            self.y += REMARK_PT
            self.page.text(MARGIN_PT + 10, self.y, words, 8.5, of=remark)
            if begins:
                self.page.text(MARGIN_PT, self.y, "\u2013", 8.5)
        self._key(key)

    def _body_pt(self, below: float) -> float:
        """Choose the height of the counts so that all fits on one page, if it can."""
        room = self._bottom() - self.y - HEAD_PT - below
        least = sum(self.fixed_pt + line.notes_pt for line in self.lines)
        body = (room - least) / max(1, len(self.lines)) - 0.01  # a sum of floats may exceed
        return USUAL_BODY_PT if body < LEAST_BODY_PT else min(body, MOST_BODY_PT)

    def _bottom(self) -> float:
        return self.page.height_pt - MARGIN_PT - FOOT_PT

    def _turn_page(self) -> None:
        self.page = self.document.new_page()
        self.y = MARGIN_PT

    def _heading(self) -> None:
        """Name the song, its tempo and the plan; nothing is shortened."""
        view, song = self.view, self.view.bar_map
        self._paragraph(song.title or "song", 20.0, bold=True, smallest=13.0)
        length = clock_time(song.duration_s, decimals=0)
        bars = METER_WORDS.get(song.meter, str(song.meter))
        facts = f"{pace_words(view.grid)}, {length}, bars in {bars}"
        self._paragraph(f"{isolated(song.artist)} | {facts}" if song.artist else facts, 10.5)
        if view.fit is not None and view.plan is not None:
            routine = view.fit.routine
            by = f", by {isolated(routine.by)}" if routine.by else ""
            shape = routine_size(routine)
            named = f"{isolated(routine.name)}: " if routine.name != shape else ""
            self._paragraph(f"{named}{shape}{by} | fit {view.plan.score:.0f} of 100", 10.5)
            self._paragraph(f"START: {start_words(view.fit, view.plan)}", 10.5, bold=True)
        self.y += 8

    def _paragraph(
        self, words: str, size: float, *, bold: bool = False, smallest: float | None = None
    ) -> None:
        width = self.page.inner_pt
        size = fitting_size(words, width, size, smallest=smallest or size, bold=bold)
        for line in wrapped(words, width, size, bold=bold):
            self.y += size * 1.3
            self.page.text(MARGIN_PT, self.y, line, size, bold=bold, of=words)

    def _count_heads(self) -> None:
        """Number the counts over the first line of a page."""
        step = 3 if self.view.per_line % 9 == 6 else 4
        self.y += HEAD_PT
        self.page.text(MARGIN_PT, self.y - 4, "count", 6.5)
        for count in range(0, self.view.per_line, step):
            x = MARGIN_PT + GUTTER_PT + count * self.pace
            self.page.text(x, self.y - 4, str(count + 1), 6.5)

    def _line(self, line: _Line, body: float) -> None:
        """Draw one line of counts and move below it."""
        view, x = self.view, MARGIN_PT + GUTTER_PT
        strip = Strip(
            self.page, x, self.y, self.pace, line.first, line.last,
            tick=body, wall=WALLS_PT, stroke=2.2,
        )  # fmt: skip
        body_top, body_end = self.y + SECTION_PT, self.y + SECTION_PT + body
        time = clock_time(float(view.grid.times_s[line.first]), decimals=0)
        self.page.text(MARGIN_PT, self.y + 9.5, time, 8.5, bold=True)
        if view.loudness_db is not None:
            _draw_loudness(strip, view.loudness_db, body_end, body)
        _draw_marked_bars(strip, view, body_top, body)
        _draw_counts(strip, view.grid, body_end, body)
        strip.sections(view.grid, view.bar_map)
        strip.phrases(view.grid)
        _draw_question_marks(strip, view, body_top)
        if view.plan is not None:
            strip.walls(view.plan)
        foot = body_end + (WALLS_PT if view.plan else 0)
        for note in line.notes:
            baseline = foot + note.row * NOTE_PT + 8.5
            if note.mark:
                event_shape(self.page, note.mark, x + note.x - SHAPE_PT, baseline, 5.5)
            self.page.text(
                x + note.x, baseline, note.words, NOTE_WORDS_PT, bold=note.bold, of=note.of
            )
        self.y = foot + line.notes_pt + GAP_PT

    def _remarks(self) -> list[tuple[str, str, bool]]:
        """List the lines of doubts and notes, what each is of, and whether it begins that."""
        return [
            (line, remark, i == 0)
            for remark in remarks_of(self.view)
            for i, line in enumerate(wrapped(remark, self.page.inner_pt - 10, 8.5))
        ]

    def _key(self, rows: list[list[Sample]]) -> None:
        """Explain the shapes under the last line."""
        if self.y + key_height_pt(rows) > self._bottom():
            self._turn_page()
        self.y += 6
        for row in rows:
            x = MARGIN_PT
            self.y += KEY_ROW_PT
            for draw, words in row:
                draw(self.page, x, self.y)
                self.page.text(x + KEY_SHAPE_PT, self.y, words, KEY_WORDS_PT)
                x += _sample_width_pt(words)


def number_pages(document: Document) -> None:
    """Write the number of each page at its foot, in place of any earlier one."""
    for number, page in enumerate(document.pages, start=1):
        y = page.height_pt - MARGIN_PT + 4
        words = f"{number}/{len(document.pages)}"
        page.text(page.width_pt - MARGIN_PT, y, words, 8, align="right")


# ----------------------------------------------------------------- the shapes


def _draw_loudness(strip: Strip, loudness_db: np.ndarray, bottom: float, height: float) -> None:
    """Draw a gray step for each count; the loudest of the song fills the line."""
    share = loud_shares(loudness_db)
    outline = [(strip.at(strip.first), bottom)]
    for count in range(strip.first, strip.last):
        top = bottom - LOUDEST * height * float(share[count])
        outline += [(strip.at(count), top), (strip.at(count + 1), top)]
    outline.append((strip.at(strip.last), bottom))
    strip.page.shape(outline, fill="0.85", line=0)


def _draw_counts(strip: Strip, grid: CountGrid, bottom: float, height: float) -> None:
    """Draw the floor of a line with a tick for each count; ones are taller and thicker."""
    strip.page.line(strip.at(strip.first), bottom, strip.at(strip.last), bottom, width=0.6)
    for count in range(strip.first, strip.last):
        is_one = bool(grid.bar_start[count])
        top = bottom - (max(0.45 * height, 6.0) if is_one else 2.5)
        strip.page.line(strip.at(count), bottom, strip.at(count), top, width=1.1 if is_one else 0.5)


def _draw_marked_bars(strip: Strip, view: SongView, top: float, height: float) -> None:
    """Hatch odd bars and counts without a beat."""
    stretches = [(a, b) for a, b, _ in odd_bars(view)] + [(c, c + 1) for c in gaps(view.grid)]
    for begin, end in stretches:
        if cell := strip.cut(begin, end):
            strip.page.box(cell[0], top, cell[1], height, hatch="////", line=0.8)


def _draw_question_marks(strip: Strip, view: SongView, top: float) -> None:
    """Put a question mark beside a weak phrase start and a doubtful one."""
    for count in _doubtful_counts(view):
        if strip.first <= count < strip.last:
            strip.page.text(strip.at(count) + 2, top + 9, "?", 8.5, bold=True)


def _doubtful_counts(view: SongView) -> set[int]:
    return {*weak_starts(view), *(count for count, _ in doubtful_ones(view))}


# ---------------------------------------------------------------- the key


def _key_of(view: SongView) -> list[Sample]:
    """List samples of the shapes that the picture holds, with their meaning."""
    key: list[Sample] = []
    if view.loudness_db is not None:
        key.append((_sample_loudness, "gray: how loud"))
    key += [
        (_sample_ones, "tall: the one"),
        (_sample_phrase, "longer: a clearer phrase"),
    ]
    if _doubtful_counts(view):
        key.append((_sample_doubt, "in doubt"))
    if odd_bars(view) or gaps(view.grid):
        key.append((_sample_hatch, "not a whole bar"))
    if view.plan is not None:
        key.append((_sample_wall, "wall: up faces the front"))
        if view.plan.tags:
            key.append((_sample_tag, "TAG"))
        if view.plan.restarts:
            key.append((_sample_restart, "RESTART"))
    return key


def key_rows(view: SongView, width: float) -> list[list[Sample]]:
    """Break the key into rows that fit into a width [points]."""
    rows: list[list[Sample]] = [[]]
    for sample in _key_of(view):
        if sum(_sample_width_pt(words) for _, words in (*rows[-1], sample)) > width + KEY_GAP_PT:
            rows.append([])
        rows[-1].append(sample)
    return rows


def key_height_pt(rows: list[list[Sample]]) -> float:
    """Tell how much room the key takes [points]."""
    return 6 + KEY_ROW_PT * len(rows)


def _sample_width_pt(words: str) -> float:
    return KEY_SHAPE_PT + text_width_pt(words, KEY_WORDS_PT) + KEY_GAP_PT


def _sample_loudness(page: Page, x: float, y: float) -> None:
    page.shape([(x, y), (x, y - 5), (x + 6, y - 5), (x + 6, y - 9), (x + 12, y - 9), (x + 12, y)],
               fill="0.85", line=0)  # fmt: skip


def _sample_ones(page: Page, x: float, y: float) -> None:
    page.line(x, y, x + 12, y, width=0.6)
    page.line(x + 1, y, x + 1, y - 8, width=1.1)
    for dx in (4.5, 8, 11.5):
        page.line(x + dx, y, x + dx, y - 3, width=0.5)


def _sample_phrase(page: Page, x: float, y: float) -> None:
    page.line(x, y - 9, x + 12, y - 9)
    page.line(x + 3, y - 9, x + 3, y, width=2.2)
    page.line(x + 9, y - 9, x + 9, y - 5, width=2.2)


def _sample_doubt(page: Page, x: float, y: float) -> None:
    page.text(x + 3, y, "?", 8.5, bold=True)


def _sample_hatch(page: Page, x: float, y: float) -> None:
    page.box(x, y - 9, 12, 9, hatch="////")


def _sample_wall(page: Page, x: float, y: float) -> None:
    page.box(x, y - 10, 13, 12, line=1.1)
    arrow(page, x + 6.5, y - 4, 10, 0)


def _sample_tag(page: Page, x: float, y: float) -> None:
    page.box(x, y - 8, 9, 9, fill="black")


def _sample_restart(page: Page, x: float, y: float) -> None:
    page.line(x + 9, y + 1, x + 9, y - 9, width=2.4)
    page.shape([(x + 9, y - 9), (x + 1, y - 4.5), (x + 9, y)])
