"""Where count 1 could be in very many songs at once; `fit.starts` settles it for one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from phrasefit.fit.request import PlanRequest
from phrasefit.fit.starts import LATEST_START_GROUPS, USUAL_INTRO_GROUPS, start_charges
from phrasefit.meters import DANCE_METERS
from phrasefit.model import Routine
from phrasefit.ranking.summary import Grids


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Starts:
    """Every count on which a dance may begin: its song, count, points and charge."""

    song: np.ndarray
    count: np.ndarray
    points: np.ndarray
    charge: np.ndarray

    def only(self, which: np.ndarray) -> Starts:
        """Take those at the given indices, or where the given mask is true."""
        return Starts(
            song=self.song[which],
            count=self.count[which],
            points=self.points[which],
            charge=self.charge[which],
        )


def find_starts(grids: Grids, request: PlanRequest) -> Starts:
    """List the starts of all songs, as `fit.starts` does for one.

    Parameters
    ----------
    grids : Grids
    request : PlanRequest
        One without `start_s`: that is a time in one song.
    """
    routine = request.routine
    if request.intro is not None:
        song, count = np.arange(len(grids.n_counts)), grids.first_one + request.intro
    else:
        song, count = _candidates(grids, routine)
    possible = count <= grids.n_counts[song] - routine.parts[0].counts
    song, count = song[possible], count[possible]
    return Starts(
        song=song,
        count=count,
        points=100.0 / _strength_from(grids, song, count),
        charge=_charges(grids, song, count, request),
    )


def _candidates(grids: Grids, routine: Routine) -> tuple[np.ndarray, np.ndarray]:
    """Give songs and counts: phrase starts in the first part of a song, and usual intros."""
    group = DANCE_METERS[routine.meter].group_counts
    song_of_item = grids.song
    latest = np.minimum(grids.first_one + LATEST_START_GROUPS * group, grids.n_counts // 2)
    early = grids.shown & (grids.count <= latest[song_of_item])
    intros = [0, *(g * group for g in USUAL_INTRO_GROUPS)]
    if routine.intro_counts is not None:
        intros.append(routine.intro_counts)
    songs = np.arange(len(grids.n_counts))
    sung = np.flatnonzero(grids.singing >= 0)
    song = np.concatenate([song_of_item[early], *(songs for _ in intros), sung])
    count = np.concatenate(
        [grids.count[early], *(grids.first_one + intro for intro in intros), grids.singing[sung]]
    )
    return song, count


def _strength_from(grids: Grids, song: np.ndarray, count: np.ndarray) -> np.ndarray:
    """Sum the strength of phrase starts from a count to the end; 1 where there is none."""
    total = np.concatenate([[0.0], np.cumsum(grids.expected)])
    sums = total[grids.edges[song + 1]] - total[_item_at(grids, song, count)]
    return np.where(sums > 1e-9, sums, 1.0)


def _item_at(grids: Grids, song: np.ndarray, count: np.ndarray) -> np.ndarray:
    """Find the first phrase start of a song on or after a count."""
    step = int(grids.count.max(initial=0)) + int(grids.n_counts.max(initial=0)) + 1
    keys = grids.song * step + grids.count
    return np.clip(
        np.searchsorted(keys, song * step + count), grids.edges[song], grids.edges[song + 1]
    )


def _charges(grids: Grids, song: np.ndarray, count: np.ndarray, request: PlanRequest) -> np.ndarray:
    """Charge awkward starts, as `fit.starts` does for one."""
    if request.start_is_given:
        return np.zeros(len(song))
    strongest = np.zeros(len(grids.n_counts))
    np.maximum.at(strongest, grids.song, grids.expected)
    item = np.minimum(_item_at(grids, song, count), max(0, len(grids.count) - 1))
    here = np.zeros(len(song))
    if len(grids.count):
        on_start = (grids.song[item] == song) & (grids.count[item] == count)
        here = np.where(on_start, grids.expected[item], 0.0)
    intro = count - grids.first_one[song]
    sung = count == grids.singing[song]
    return start_charges(intro, here, strongest[song], sung, request.routine, request.costs)
