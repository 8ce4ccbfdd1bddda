"""Every doubt as a question for the ear: places to hear, and what each answer says.

Whoever cannot name what is wrong can still hear which of two is right.  An answer is a
correction like any other, also the one that all is as it should be where a correction can
say just that; else it has none, and whoever asks has to remember it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from phrasefit.clock import clock_time
from phrasefit.corrections.beats import apply_correction
from phrasefit.errors import PhrasefitError
from phrasefit.fit.grid import count_grid
from phrasefit.model import Alternative, BarMap, Correction, CountGrid, Doubt, DoubtKind, Routine
from phrasefit.reports.doubts import doubt_words, reading_words

HEARD_BARS = 2  # each answer sounds for so long
AROUND_COUNTS = 4  # before and after the place where a section may begin
MOST_PLACES = 3  # section starts asked about; more tire the ear
EARLIEST_SHARE = 0.3  # of the song: by then all instruments play; common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class Hearing:
    """A stretch of the song, and the clicks with it; those in `strong_s` are ones."""

    start_s: float
    end_s: float
    clicks_s: tuple[float, ...]
    strong_s: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """One answer: its words, what it sounds like, and the correction that it is, if any."""

    words: str
    hearing: Hearing | None = None
    change: Correction | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One question; `key` tells it from the others of the song, `why` is the doubt in words.

    `neither` is the answer for whoever hears that none is right, and `advice` what to do
    then; both are empty where there is none.
    """

    key: str
    words: str
    why: str
    answers: tuple[Answer, ...]
    neither: str = ""
    advice: str = ""


def questions_of(
    bar_map: BarMap,
    grid: CountGrid,
    doubts: Sequence[Doubt],
    *,
    routine: Routine | None = None,
    settled: Sequence[str] = (),
) -> tuple[Question, ...]:
    """Turn doubts into questions, in their order.

    Parameters
    ----------
    bar_map : BarMap
    grid : CountGrid
    doubts : sequence of Doubt
        What would change most first, as `phrasefit.reports.doubts.doubts_of` lists them.
    routine : Routine, optional
        What the counts of other readings are chosen for.
    settled : sequence of str
        Keys of questions that need not be asked any more.
    """
    asked = _Asked(bar_map, grid, routine)
    found = [question for doubt in doubts for question in asked.about(doubt)]
    return tuple(question for question in found if question.key not in settled)


@dataclass(frozen=True, slots=True, eq=False)
class _Asked:
    """Asks about one song."""

    bar_map: BarMap
    grid: CountGrid
    routine: Routine | None

    def about(self, doubt: Doubt) -> Iterator[Question]:
        """Give the questions that a doubt comes to."""
        if doubt.kind in (DoubtKind.HARDLY_STEADY, DoubtKind.BEATS):
            yield self._about_beats(doubt)
        elif doubt.kind is DoubtKind.ONE:
            yield self._about_one(doubt)
        elif doubt.kind is DoubtKind.METER:
            yield self._about_meter(doubt)
        elif doubt.kind is DoubtKind.LEVEL:
            yield self._about_level(doubt)
        elif doubt.kind in (DoubtKind.SECTION, DoubtKind.OTHER_SECTION):
            yield self._about_section(doubt, doubt.at_s)
        elif doubt.kind is DoubtKind.PHRASES:
            yield from self._about_sections(doubt)

    def _place(self) -> tuple[int, float, float]:
        """Choose a one to begin hearing at, and the stretch from there: beat, start, end."""
        ones = np.flatnonzero(self.bar_map.positions == 1)
        times = self.bar_map.beat_times_s
        early = EARLIEST_SHARE * self.bar_map.duration_s
        starts = [section.start_beat for section in self.bar_map.sections]
        wished = next((beat for beat in starts if times[beat] >= early), None)
        if wished is None:
            wished = int(np.searchsorted(times, early))
        begin = int(ones[np.argmin(np.abs(ones - wished))]) if ones.size else wished
        end = min(begin + HEARD_BARS * self.bar_map.meter, len(times) - 1)
        return begin, float(times[begin]), float(times[end])

    def _sound(self, change: Correction, *, counts: bool) -> Hearing | None:
        """Let a reading be heard: its ones, or all its counts; None if it cannot be."""
        _, start_s, end_s = self._place()
        try:
            bar_map = apply_correction(self.bar_map, change)
            grid = count_grid(bar_map, routine=self.routine)
        except PhrasefitError:
            return None
        ones = _within(bar_map.beat_times_s[bar_map.positions == 1], start_s, end_s)
        clicks = _within(grid.times_s[:-1], start_s, end_s) if counts else ones
        strong = ones if not counts else ()
        return Hearing(start_s=start_s, end_s=end_s, clicks_s=clicks, strong_s=strong)

    def _rivals(self, rivals: Sequence[Alternative], *, counts: bool) -> Iterator[Answer]:
        for rival in rivals:
            hearing = self._sound(rival.correction, counts=counts)
            if hearing is not None:
                words = f"{reading_words(rival)} ({rival.probability:.0%})"
                yield Answer(words=words, hearing=hearing, change=rival.correction)

    def _about_one(self, doubt: Doubt) -> Question:
        _, start_s, _ = self._place()
        as_it_is = Answer(
            words="as it is",
            hearing=self._sound(Correction(), counts=False),
            change=Correction(ones_at_s=(start_s,)),
        )
        return Question(
            key=doubt.kind.value,
            words="Which one is the one?",
            why=doubt_words(doubt),
            answers=(as_it_is, *self._rivals(doubt.rivals, counts=False)),
            neither="neither",
            advice="Play the song and tap along on every 1.",
        )

    def _about_meter(self, doubt: Doubt) -> Question:
        as_it_is = Answer(
            words=f"as it is, bars of {self.bar_map.meter}",
            hearing=self._sound(Correction(), counts=False),
        )
        return Question(
            key=doubt.kind.value,
            words="Which accent comes on every 1?",
            why=doubt_words(doubt),
            answers=(as_it_is, *self._rivals(doubt.rivals, counts=False)),
            neither="neither",
            advice="Play the song and tap along on every 1.",
        )

    def _about_level(self, doubt: Doubt) -> Question:
        as_it_is = Answer(
            words=f"as it is, {doubt.counts_per_minute:.0f} a minute",
            hearing=self._sound(Correction(), counts=True),
        )
        every_beat = Answer(
            words=f"{doubt.beats_per_minute:.0f} a minute",
            hearing=self._sound(Correction(level=1.0), counts=True),
            change=Correction(level=1.0),
        )
        return Question(
            key=doubt.kind.value,
            words="Which count is yours?",
            why=doubt_words(doubt),
            answers=(as_it_is, every_beat),
            neither="neither",
            advice="Play the song and tap along on every 1.",
        )

    def _about_beats(self, doubt: Doubt) -> Question:
        others = tuple(self._rivals(doubt.rivals, counts=True))
        as_it_is = "as it is" if others else "yes, it stays"
        stays = Answer(words=as_it_is, hearing=self._sound(Correction(), counts=True))
        return Question(
            key=doubt.kind.value,
            words="Which count is yours?" if others else "Does the click stay with the beat?",
            why=doubt_words(doubt),
            answers=(stays, *others),
            neither="neither" if others else "no",
            advice="Play the song and tap along on every 1, or choose a song with a steadier beat.",
        )

    def _about_sections(self, doubt: Doubt) -> Iterator[Question]:
        """Ask about the section starts that are hardest to hear, in the order of the song."""
        times = self.bar_map.beat_times_s
        inner = [section for section in self.bar_map.sections[1:] if section.strength < 1]
        unsure = sorted(inner, key=lambda section: section.strength)[:MOST_PLACES]
        for section in sorted(unsure, key=lambda section: section.start_beat):
            yield self._about_section(doubt, float(times[section.start_beat]))

    def _about_section(self, doubt: Doubt, at_s: float) -> Question:
        begins = Answer(
            words="yes, a section starts here",
            hearing=self._around(at_s),
            change=Correction(sections_at_s=(at_s,)),
        )
        none = Answer(words="no, none does", change=Correction(no_section_at_s=(at_s,)))
        return Question(
            key=f"section {at_s:.2f}",
            words=f"Does something new begin on the click, at {clock_time(at_s)}?",
            why=doubt_words(doubt),
            answers=(begins, none),
        )

    def _around(self, at_s: float) -> Hearing:
        times = self.grid.times_s
        count = int(np.argmin(np.abs(times - at_s)))
        first, last = max(0, count - AROUND_COUNTS), min(len(times) - 1, count + AROUND_COUNTS)
        return Hearing(
            start_s=float(times[first]), end_s=float(times[last]), clicks_s=(at_s,),
            strong_s=(at_s,),
        )  # fmt: skip


def _within(times_s: np.ndarray, start_s: float, end_s: float) -> tuple[float, ...]:
    """Keep the times of a stretch, its beginning included."""
    slack = 0.25 * min((b - a for a, b in pairwise(times_s.tolist())), default=0.1)
    inside = (times_s >= start_s - slack) & (times_s < end_s - slack)
    return tuple(times_s[inside].tolist())
