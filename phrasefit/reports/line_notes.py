"""Words under the lines of the song's picture: all that shapes and cells cannot say."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from phrasefit.model import Ending, Plan, Wall
from phrasefit.reports.event_words import call, ending_sentence
from phrasefit.reports.paper import text_width_pt, wrapped
from phrasefit.reports.picture import (
    INTRO_WORDS_PT,
    SECTION_WORDS_PT,
    section_spans,
    section_words,
    wall_name,
    wall_words,
)
from phrasefit.reports.song_view import SongView, doubtful_ones, gaps, odd_bars
from phrasefit.reports.start_words import intro_words
from phrasefit.routine.turns import clock

NOTE_WORDS_PT = 7.5
SHAPE_PT = 9.0  # room for the shape before an event's words


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """Words under the line that holds count `count`.

    `mark` is ``tag``, ``restart``, ``end`` or empty.  A restart and the end belong to
    the counts before them.
    """

    count: int
    words: str
    bold: bool = False
    mark: str = ""

    @property
    def closes(self) -> bool:
        """Whether it stands at the end of the counts before it."""
        return self.mark in ("restart", "end")


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedNote:
    """One line of a note at its place.

    `x` [points from the left of the line] is where its words begin, `row` the row under
    the line; `mark` is the shape before the words, which are a piece `of` the note's.
    """

    x: float
    row: int
    count: int
    words: str
    of: str
    bold: bool
    mark: str


def notes_of(view: SongView, pace: float) -> list[Note]:
    """List everything that is said in words under the lines, at `pace` points a count."""
    notes = [*_odd_bar_notes(view), *_gap_notes(view), *_one_notes(view)]
    notes += _sections_without_room(view, pace)
    if view.fit is not None and view.plan is not None:
        notes += _walls_without_room(view, view.plan, pace)
        notes += _event_notes(view.plan)
    return notes


def _odd_bar_notes(view: SongView) -> Iterator[Note]:
    return (Note(count=first, words=words) for first, _, words in odd_bars(view))


def _gap_notes(view: SongView) -> Iterator[Note]:
    lengths = np.diff(view.grid.times_s)
    return (Note(count=c, words=f"no beat for {lengths[c]:.1f} s") for c in gaps(view.grid))


def _one_notes(view: SongView) -> Iterator[Note]:
    ones = doubtful_ones(view)
    if ones:
        places = [f"on count {count + 1} ({share:.0%} sure)" for count, share in ones]
        yield Note(count=ones[0][0], words=f"check the one: {' or '.join(places)}")


def _pieces(view: SongView, begin: int, end: int) -> list[int]:
    """Give the lengths of a stretch of counts on the lines that it crosses."""
    edges = [begin, *range((begin // view.per_line + 1) * view.per_line, end, view.per_line), end]
    return [b - a for a, b in pairwise(edges)]


def _sections_without_room(view: SongView, pace: float) -> Iterator[Note]:
    for begin, end, index in section_spans(view.grid):
        words = section_words(view.bar_map, index, end - begin)
        room = pace * max(_pieces(view, begin, end)) - 2
        if text_width_pt(words, SECTION_WORDS_PT) > room:
            yield Note(count=begin, words=words)


def _walls_without_room(view: SongView, plan: Plan, pace: float) -> Iterator[Note]:
    intro, room = intro_words(plan), pace * min(plan.start_count, view.per_line)
    if text_width_pt(intro, INTRO_WORDS_PT) > room:
        yield Note(count=0, words=intro)
    for wall in plan.walls:
        end = min(wall.start_count + wall.counts, view.n_counts)
        pieces = _pieces(view, wall.start_count, end)
        if clock(wall.facing) not in wall_words(plan, wall, pace * max(pieces)):
            words = f"wall {wall_name(plan, wall)}, {clock(wall.facing)}"
            yield Note(count=wall.start_count, words=words, bold=True)


def _event_notes(plan: Plan) -> Iterator[Note]:
    """Say the plan's events with all their facts, as every medium says them."""
    for event in plan.events:
        if isinstance(event, Wall):
            continue
        words = call(event)
        if isinstance(event, Ending):
            words = f"END: {ending_sentence(event)}"
        yield Note(count=event.count, words=words, bold=True, mark=event.kind.value)


def placed(
    notes: list[Note], first: int, last: int, width: float, pace: float
) -> tuple[PlacedNote, ...]:
    """Lay the notes of one line into rows under it, none over another, none cut.

    From right to left, so that a mark beside a word leads down past the words before it.
    """
    taken: list[float] = []  # of each row, the place from which on it is full
    found = []
    for note in sorted(notes, key=lambda n: -n.count):
        inside = first < note.count <= last if note.closes else first <= note.count < last
        if not inside:
            continue
        shape = SHAPE_PT if note.mark else 0.0
        lines = wrapped(note.words, width - shape, NOTE_WORDS_PT, bold=note.bold)
        widest = shape + max(text_width_pt(line, NOTE_WORDS_PT, note.bold) for line in lines)
        x = max(0.0, min((note.count - first) * pace, width - widest))
        free = (r for r in range(len(taken)) if all(x + widest + 6 <= t for t in taken[r:]))
        row = next(free, len(taken))
        taken += [width] * (row + len(lines) - len(taken))
        taken[row : row + len(lines)] = [x] * len(lines)
        found += [
            PlacedNote(
                x=x + shape, row=row + k, count=note.count, words=line, of=note.words,
                bold=note.bold, mark=note.mark if k == 0 else "",
            )
            for k, line in enumerate(lines)
        ]  # fmt: skip
    return tuple(found)
