"""What the picture of a song shows: the map, its counts, the plan, and where the doubt is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from phrasefit.fit.doubts import DOUBT_BELOW, doubts_of_map, other_readings
from phrasefit.fit.grid import dance_meter
from phrasefit.model import BarMap, CountGrid, FitPlan, Phrase, Plan, Section
from phrasefit.reports.doubts import doubt_lines, doubt_words, reading_words
from phrasefit.reports.map_text import SHOW_RIVAL_FROM
from phrasefit.serial import irregular_bars
from phrasefit.steps import are_gaps

WEAK = 0.33  # a start less clear than this is doubtful; the map's text calls it weak too
LOUD_RANGE_DB = 12.0  # what is drawn below the loudest count; quieter counts are the floor


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SongView:
    """What the picture is drawn from.

    `loudness_db` [shape=(n counts,), dB] is left out where no song was heard; `fit` and
    `plan` come together, or not at all.
    """

    bar_map: BarMap
    grid: CountGrid
    loudness_db: np.ndarray | None = None
    fit: FitPlan | None = None
    plan: Plan | None = None

    @property
    def n_counts(self) -> int:
        """Counts of the song."""
        return len(self.grid.times_s) - 1

    @property
    def per_line(self) -> int:
        """Counts of one line: a phrase."""
        return dance_meter(self.bar_map, self.fit.routine if self.fit else None).phrase_counts

    def count_at(self, time_s: float) -> int:
        """Find the count that begins nearest to a time."""
        return int(np.argmin(np.abs(self.grid.times_s - time_s)))


def loud_shares(loudness_db: np.ndarray) -> np.ndarray:
    """Give the height of each count's gray (0-1): the loudest of the song fills the line."""
    return np.clip(1 + (loudness_db - loudness_db.max()) / LOUD_RANGE_DB, 0.0, 1.0)


def odd_bars(view: SongView) -> list[tuple[int, int, str]]:
    """List bars of another length: first count, one past the last, in words."""
    times, found = view.bar_map.beat_times_s, []
    for bar in irregular_bars(view.bar_map):
        begin = int(np.searchsorted(times, bar["start_s"] - 1e-6))
        first, last = (view.count_at(float(times[begin + k])) for k in (0, bar["beats"]))
        beats = "1 beat" if bar["beats"] == 1 else f"{bar['beats']} beats"
        found.append((first, max(last, first + 1), f"odd bar: {beats}"))
    return found


def gaps(grid: CountGrid) -> list[int]:
    """List the counts that are so long that the beat must have stopped."""
    return np.flatnonzero(are_gaps(np.diff(grid.times_s))).tolist()


def weak_starts(view: SongView) -> list[int]:
    """List the counts on which a section or phrase begins that can hardly be heard."""
    times = view.bar_map.beat_times_s
    starts: tuple[Phrase | Section, ...] = (*view.bar_map.phrases, *view.bar_map.sections)
    strength: dict[int, float] = {}
    for start in starts:
        strength[view.count_at(float(times[start.start_beat]))] = start.strength
    drawn = np.flatnonzero(view.grid.strength).tolist()
    return [count for count in drawn if strength.get(count, 1.0) < WEAK]


def doubtful_ones(view: SongView) -> list[tuple[int, float]]:
    """List the counts that may be the first one, with their probabilities, if it is in doubt."""
    bar_map, sure = view.bar_map, view.bar_map.confidence.downbeat
    ones = np.flatnonzero(bar_map.positions == 1)
    if sure >= DOUBT_BELOW or not ones.size:
        return []
    first, times = int(ones[0]), bar_map.beat_times_s
    places = [(view.count_at(float(times[first])), sure)]
    for rival in bar_map.alternatives:
        beat = first + rival.correction.shift_one_beats % bar_map.meter
        if rival.kind == "one" and rival.probability >= SHOW_RIVAL_FROM and beat < len(times):
            places.append((view.count_at(float(times[beat])), rival.probability))
    return places


def remarks_of(view: SongView) -> tuple[str, ...]:
    """List what to check, the other readings, and what was noticed, a sentence each."""
    bar_map = view.bar_map
    if view.fit is not None:
        return (*doubt_lines(view.fit), *bar_map.notes)
    others = [
        f"other reading ({rival.probability:.0%}): {reading_words(rival)}"
        for rival in other_readings(bar_map, view.grid.beats_per_count)
        if rival.probability >= SHOW_RIVAL_FROM
    ]
    return (*map(doubt_words, doubts_of_map(bar_map)), *others, *bar_map.notes)
