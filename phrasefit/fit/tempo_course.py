"""How the tempo goes through a song: one tempo, a few that follow each other, or none that stays.

May import numpy, the model, and `phrasefit.fit.tempo` for what change of tempo is heard.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from phrasefit.fit.tempo import MOST_CHANGE_PERCENT
from phrasefit.model import BarMap, CountGrid

STRETCH = 16  # two eights, enough to tell a tempo by
LEAST_CHANGE_PERCENT = 4.0  # less is how people play, and no other tempo; from memory, no source
# Of the steps of a stretch, those that are left out at each end: a gap in the music, a beat late.
OUTLIERS_PERCENT = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class TempoChange:
    """At `time_s` the tempo goes from `before` to `after` [counts a minute], all at once."""

    time_s: float
    before: float
    after: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TempoCourse:
    """The tempo through a song [counts a minute].

    `usual` is that of most counts; `slowest` and `fastest` are of the stretches of `STRETCH`
    counts; `changes`, in time, are where one tempo ends and another begins.
    """

    usual: float
    slowest: float
    fastest: float
    changes: tuple[TempoChange, ...]

    @property
    def is_kept(self) -> bool:
        """Whether the music stays so near to one tempo that no change is heard."""
        return self.fastest <= self.slowest * (1.0 + MOST_CHANGE_PERCENT / 100.0)

    @property
    def is_stepwise(self) -> bool:
        """Whether the changes are all that happens to the tempo: it is kept between them."""
        told = [tempo for change in self.changes for tempo in (change.before, change.after)]
        slack = 1.0 + LEAST_CHANGE_PERCENT / 100.0
        return bool(told) and (
            self.fastest <= max(told) * slack and self.slowest >= min(told) / slack
        )


def course_of_counts(grid: CountGrid) -> TempoCourse:
    """Find how the tempo goes through a song that is counted."""
    return _course(grid.times_s, grid.counts_per_minute, 1.0)


def course_of_map(bar_map: BarMap, beats_per_count: float) -> TempoCourse:
    """Find how the tempo goes through a song whose counts are not laid out."""
    usual = bar_map.tempo_bpm / beats_per_count
    return _course(bar_map.beat_times_s, usual, beats_per_count)


def _course(times_s: np.ndarray, usual: float, per_count: float) -> TempoCourse:
    if len(times_s) < 2:
        return TempoCourse(usual=usual, slowest=usual, fastest=usual, changes=())
    steps_s = np.diff(times_s)
    windows = sliding_window_view(steps_s, min(STRETCH, len(steps_s)))
    # Medians, so that a gap in the music or a count played late is no other tempo.
    tempos = 60.0 / np.median(windows, axis=1) / per_count
    begins = _changes(windows)
    pieces = [60.0 / np.median(piece_s) / per_count for piece_s in np.split(steps_s, begins)]
    changes = (
        TempoChange(time_s=float(times_s[i]), before=float(before), after=float(after))
        for i, (before, after) in zip(begins, pairwise(pieces), strict=True)
    )
    return TempoCourse(
        usual=usual,
        slowest=float(tempos.min()),
        fastest=float(tempos.max()),
        changes=tuple(changes),
    )


def _changes(windows: np.ndarray) -> list[int]:
    """List the steps with which another tempo begins; `windows` are all runs of `STRETCH`.

    Nearly all steps of the stretch before are longer, or shorter, than nearly all of this one;
    the change lies where both are most of one piece.  A tempo that is pulled has hardly any.
    """
    if len(windows) <= STRETCH:
        return []
    usual_s = np.median(windows, axis=1)
    short_s, long_s = np.percentile(windows, [OUTLIERS_PERCENT, 100 - OUTLIERS_PERCENT], axis=1)
    unlike_s = np.abs(windows - usual_s[:, None]).sum(axis=1)
    before, after = slice(None, -STRETCH), slice(STRETCH, None)
    share = usual_s[before] / usual_s[after]
    is_change = (short_s[before] > long_s[after]) | (long_s[before] < short_s[after])
    is_change &= np.maximum(share, 1 / share) > 1.0 + LEAST_CHANGE_PERCENT / 100.0
    of_two_pieces = unlike_s[before] + unlike_s[after]
    kept: list[int] = []
    for i in sorted(np.flatnonzero(is_change), key=lambda i: of_two_pieces[i]):
        if all(abs(i - other) >= STRETCH for other in kept):  # the same change, seen from beside it
            kept.append(int(i))
    return [i + STRETCH for i in sorted(kept)]
