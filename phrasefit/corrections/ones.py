"""Where bars begin once a person has said so: ones, shifts and odd bars.

Every such change moves the ones of a stretch of beats by whole beats, see `Move`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from phrasefit.clock import clock_time
from phrasefit.errors import MapError
from phrasefit.model import BarMap, OddBar


@dataclass(frozen=True, slots=True)
class Move:
    """Ones in the beats `first`..`end` - 1 come `beats` later, as far as they stay in there.

    `begins` says that a bar begins at `first`, whatever else moves.
    """

    first: int
    end: int
    beats: int
    begins: bool = False

    def moved(self, beat: int) -> int | None:
        """Tell where a bar that began at `beat` begins now; None if it is gone."""
        if not self.first <= beat < self.end:
            return beat
        return beat + self.beats if self.first <= beat + self.beats < self.end else None


def ones_of(bar_map: BarMap) -> np.ndarray:
    """Beat indices of all downbeats [shape=(n_bars,)]."""
    return np.flatnonzero(bar_map.positions == 1)


def positions_from_ones(ones: np.ndarray, meter: int) -> np.ndarray:
    """Number the beats of each bar from 1; beats before the first one lead up to it.

    Parameters
    ----------
    ones : np.ndarray [shape=(n_beats,), bool]
        True where a bar begins.
    meter : int
        Beats a bar, for the beats before the first one.
    """
    index = np.arange(ones.size)
    if not ones.any():
        return index % meter + 1
    latest = np.maximum.accumulate(np.where(ones, index, -1))
    lead = meter - (np.argmax(ones) - index - 1) % meter
    return np.where(latest >= 0, index - latest + 1, lead)


def half_beat_s(bar_map: BarMap) -> float:
    """Half of the usual time from beat to beat."""
    beats = bar_map.beat_times_s
    return float(np.median(np.diff(np.append(beats, bar_map.end_s)))) / 2


def beat_at(bar_map: BarMap, time_s: float, what: str = "a one") -> int:
    """Find the beat at `time_s`; `what` is to begin there, for the error.

    Raises
    ------
    MapError
        If `time_s` lies outside the song or more than half a beat from any beat.
    """
    beats = bar_map.beat_times_s
    require_within(bar_map, time_s, what)
    beat = int(np.argmin(np.abs(beats - time_s)))
    if abs(beats[beat] - time_s) > half_beat_s(bar_map):
        raise MapError(
            f"{what} at {clock_time(time_s, decimals=2)}: there is no beat, the nearest one found"
            f" is at {clock_time(beats[beat], decimals=2)}; give a time between"
            f" {clock_time(beats[0], decimals=2)} and {clock_time(beats[-1], decimals=2)}"
            " where the beat is heard"
        )
    return beat


def require_within(bar_map: BarMap, time_s: float, what: str) -> None:
    """Refuse a time outside the song; `what` is said to begin there."""
    if not 0 <= time_s <= max(bar_map.duration_s, bar_map.end_s):
        raise MapError(
            f"{what} at {clock_time(time_s)} lies outside the song (it ends at"
            f" {clock_time(bar_map.duration_s)}); give a time within it"
        )


def is_near(bar_map: BarMap, times_s: np.ndarray, time_s: float) -> bool:
    """Tell whether `time_s` is one of the times, within a quarter of a beat."""
    return bool(np.any(np.abs(times_s - time_s) < half_beat_s(bar_map) / 2))


def beats_of(bar_map: BarMap, times_s: Sequence[float]) -> list[int]:
    """Beats of the ones that a person gave, in order."""
    return sorted({beat_at(bar_map, time_s) for time_s in times_s})


# ------------------------------------------------------------------------- moves


def moves_to_ones(bar_map: BarMap, given: Sequence[int]) -> list[Move]:
    """Move the ones so that bars begin at the beats `given`, each from there to the next.

    The first of them rules what is before it, too.
    """
    ones = ones_of(bar_map)
    firsts, ends = [0, *given[1:]], [*given[1:], bar_map.positions.size]
    nearest = [int(ones[np.argmin(np.abs(ones - beat))]) if ones.size else beat for beat in given]
    return [
        Move(first, end, beat - one, begins=first > 0)
        for first, end, beat, one in zip(firsts, ends, given, nearest, strict=True)
    ]


def move_for_odd_bar(bar_map: BarMap, start: int, beats: int, given: Sequence[int]) -> Move:
    """Move the ones after the bar at `start` so that it has so many beats.

    What follows moves along, up to the next one in `given`.  A one that was given at the
    end of this very bar is overruled.
    """
    end = bar_end(bar_map, start)
    limit = next((beat for beat in given if beat > end), bar_map.positions.size)
    return Move(start + 1, limit, beats - (end - start))


def bar_end(bar_map: BarMap, start: int) -> int:
    """Where the bar that begins at `start` ends; the last one is as long as the others."""
    later = ones_of(bar_map)
    later = later[later > start]
    return int(later[0]) if later.size else start + bar_map.meter


def make_moves(bar_map: BarMap, moves: Sequence[Move]) -> BarMap:
    """Lay the bars anew where ones have moved, all from where they were before."""
    moves = [move for move in moves if move.beats]
    if not moves:
        return bar_map
    old, meter = ones_of(bar_map), bar_map.meter
    is_one = bar_map.positions == 1
    for move in moves:
        sources = old[(old >= move.first) & (old < move.end)]
        targets = (sources if sources.size else np.array([move.first - 1 + meter])) + move.beats
        before = range(int(targets[0]) - meter, -1, -meter) if move.first == 0 else ()
        after = range(int(targets[-1]) + meter, move.end, meter)
        targets = np.array([*before, *targets, *after])
        is_one[move.first : move.end] = False
        is_one[targets[(targets >= move.first) & (targets < move.end)]] = True
        is_one[move.first] |= move.begins
    for start, end in pairwise(np.flatnonzero(is_one)):
        if end - start == 1:  # a single beat is no bar: it is one more of the bar before
            is_one[start] = False
    return replace(bar_map, positions=positions_from_ones(is_one, meter))


# ---------------------------------------------------------------------- application


def put_ones(bar_map: BarMap, times_s: Sequence[float]) -> BarMap:
    """Begin bars at the times a person gave, each valid from there to the next.

    Raises
    ------
    MapError
        If a time lies outside the song or is no beat.
    """
    if not times_s:
        return bar_map
    given = beats_of(bar_map, times_s)
    if not ones_of(bar_map).size:
        ones = np.zeros(bar_map.positions.size, dtype=bool)
        ones[given[0] % bar_map.meter :: bar_map.meter] = True
        bar_map = replace(bar_map, positions=positions_from_ones(ones, bar_map.meter))
    return _decided(make_moves(bar_map, moves_to_ones(bar_map, given)))


def shift_ones(bar_map: BarMap, beats: int) -> BarMap:
    """Move every one by so many beats."""
    return _decided(make_moves(bar_map, [Move(0, bar_map.positions.size, beats)]))


def _decided(bar_map: BarMap) -> BarMap:
    return replace(
        bar_map,
        confidence=replace(bar_map.confidence, downbeat=1.0),
        alternatives=tuple(a for a in bar_map.alternatives if a.kind != "one"),
    )


def lay_odd_bars(
    bar_map: BarMap,
    odd_bars: Sequence[OddBar],
    denied_s: Sequence[float],
    ones_at_s: Sequence[float] = (),
) -> BarMap:
    """Give bars the lengths that a person heard, and make denied odd ones regular.

    From the first to the last, so that each is looked for where those before it have put it.
    """
    given = beats_of(bar_map, ones_at_s)
    edits = [(bar.at_s, bar.beats) for bar in odd_bars] + [(time_s, None) for time_s in denied_s]
    for time_s, beats in sorted(edits, key=lambda edit: edit[0]):
        move = move_for_edit(bar_map, time_s, beats, given)
        if move is not None:
            bar_map = make_moves(bar_map, [move])
    return bar_map


def move_for_edit(
    bar_map: BarMap, time_s: float, beats: int | None, given: Sequence[int]
) -> Move | None:
    """Find the move that gives the bar at `time_s` so many beats, or as many as all (None).

    Returns
    -------
    Move or None
        None if an odd bar is denied where there is none.
    """
    if beats is None:
        start = odd_bar_near(bar_map, time_s)
        return None if start is None else move_for_odd_bar(bar_map, start, bar_map.meter, given)
    return move_for_odd_bar(bar_map, bar_near(bar_map, time_s), beats, given)


def bar_near(bar_map: BarMap, time_s: float) -> int:
    """Beat of the one nearest to the beat at `time_s`."""
    beat = beat_at(bar_map, time_s, "an odd bar")
    ones = ones_of(bar_map)
    if not ones.size:
        raise MapError("the map has no downbeat, so no bar can be odd; give a one first")
    return int(ones[np.argmin(np.abs(ones - beat))])


def bar_lengths(bar_map: BarMap) -> list[tuple[int, int | None]]:
    """List where each bar begins and its beats; None for the last one, which may be cut short."""
    ones = ones_of(bar_map).tolist()
    return [(start, end - start) for start, end in pairwise(ones)] + [(n, None) for n in ones[-1:]]


def odd_bars_of(bar_map: BarMap) -> list[int]:
    """Beats where bars of another length than the meter begin."""
    return [start for start, n in bar_lengths(bar_map) if n not in (bar_map.meter, None)]


def odd_bar_near(bar_map: BarMap, time_s: float) -> int | None:
    """Beat of the odd bar at `time_s`, or of the nearest one that begins within a bar of it."""
    require_within(bar_map, time_s, "no odd bar")
    beat = int(np.argmin(np.abs(bar_map.beat_times_s - time_s)))
    odd = odd_bars_of(bar_map)
    around = [one for one in odd if one <= beat < bar_end(bar_map, one)]
    near = around or [one for one in odd if abs(one - beat) <= bar_map.meter]
    return min(near, key=lambda one: abs(one - beat), default=None)
