"""Bars over other beats: every other one, twice as many, or another number a bar.

Bars are joined and split, never laid afresh from nowhere: what was a regular song stays
one, and a bar that was odd is odd where it was.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from phrasefit.corrections.document import LEVELS
from phrasefit.corrections.ones import beats_of, ones_of, positions_from_ones
from phrasefit.errors import ParameterError
from phrasefit.model import BarMap

# What it costs, in units of section strength (0-1), to count the first bar of a song as
# the end of a longer one: as much as a boundary must be clearer to be worth it.
SHORT_FIRST_BAR_COST = 0.1


def change_level(bar_map: BarMap, level: float, ones_at_s: Sequence[float] = ()) -> BarMap:
    """Count every other beat, or twice as many.

    Parameters
    ----------
    bar_map : BarMap
        Its sections, where it has them, tell at which of two bars pairs begin.
    level : float
        One of `phrasefit.corrections.document.LEVELS`.
    ones_at_s : sequence of float, seconds
        Ones that a person gave: pairs of bars begin there.

    Raises
    ------
    ParameterError
        If it is another level.
    """
    if level not in LEVELS:
        raise ParameterError(f"level={level:g} must be 0.25, 0.5, 1, 2 or 4 times the beats found")
    changed = bar_map
    for _ in range(abs(round(math.log2(level)))):
        changed = _halved(changed, ones_at_s) if level < 1 else _doubled(changed)
    return replace(
        changed,
        tempo_bpm=bar_map.tempo_bpm * level,
        beats_per_count=1.0,  # the person has chosen the beat that is counted
        alternatives=(),
    )


def _doubled(bar_map: BarMap) -> BarMap:
    """Put a beat half-way between every two; an old bar becomes two (or what fits)."""
    beats = bar_map.beat_times_s
    following = np.append(beats[1:], max(bar_map.end_s, np.nextafter(beats[-1], np.inf)))
    doubled = np.stack([beats, (beats + following) / 2], axis=1).ravel()
    ones = _split(2 * ones_of(bar_map), doubled.size, bar_map.meter)
    return replace(
        bar_map, beat_times_s=doubled, positions=positions_from_ones(ones, bar_map.meter)
    )


def _split(starts: np.ndarray, n_beats: int, meter: int) -> np.ndarray:
    """Cut bars into bars of `meter`; a single beat left over stays with the bar before."""
    ones = np.zeros(n_beats, dtype=bool)
    ones[starts] = True
    for start, end in zip(starts, [*starts[1:], n_beats + 1], strict=True):
        ones[start : end - 1 : meter] = True
    return ones


def _halved(bar_map: BarMap, ones_at_s: Sequence[float]) -> BarMap:
    """Keep every other beat from the first of each pair of bars.

    Where a pair holds an odd number of beats its last count is longer by one old
    beat, so that the next one is still a one and no count is hurried.
    """
    n = bar_map.beat_times_s.size
    given = beats_of(bar_map, ones_at_s)
    starts = _group_starts(bar_map, 2, given)
    first = int(starts[0]) if starts.size else n + n % 2
    kept = list(range(first % 2, first, 2))
    ones = [False] * len(kept)
    for start, end in zip(starts, [*starts[1:], n], strict=True):
        is_last = end == n
        n_kept = (end - start + is_last) // 2
        kept += range(start, start + 2 * n_kept, 2)
        # A single count is no bar: it is danced as one more of the bar before.
        is_bar = n_kept > 1 or is_last or start == first or start in given
        ones += [is_bar and offset == 0 for offset in range(n_kept)]
    sections = [
        replace(section, start_beat=int(np.searchsorted(kept, section.start_beat)))
        for section in bar_map.sections
    ]
    return replace(
        bar_map,
        beat_times_s=bar_map.beat_times_s[kept],
        positions=positions_from_ones(np.array(ones, dtype=bool), bar_map.meter),
        sections=tuple(sections),  # where pairs begin if beats are halved once more
    )


def change_meter(bar_map: BarMap, meter: int, ones_at_s: Sequence[float] = ()) -> BarMap:
    """Count other bars over the same beats.

    Where one meter divides the other, bars are split or joined; else they are counted
    from the first one on.  `ones_at_s` as for `change_level`.

    Raises
    ------
    ParameterError
        If there are fewer than 2 or more than 12 beats a bar.
    """
    if not 2 <= meter <= 12:
        raise ParameterError(f"meter={meter} must be 2 to 12 beats a bar")
    old = bar_map.meter
    if meter == old:
        return bar_map
    starts, given = ones_of(bar_map), beats_of(bar_map, ones_at_s)
    ones = np.zeros(bar_map.beat_times_s.size, dtype=bool)
    if old % meter == 0:
        ones = _split(starts, ones.size, meter)
    elif meter % old == 0:
        ones[_group_starts(bar_map, meter // old, given)] = True
    else:
        first = given[0] if given else starts[0] if starts.size else 0
        ones[first % meter :: meter] = True
    return replace(
        bar_map,
        positions=positions_from_ones(ones, meter),
        meter=meter,
        confidence=replace(bar_map.confidence, meter=1.0),
        alternatives=(),
    )


def _group_starts(bar_map: BarMap, n_bars: int, given: Collection[int]) -> np.ndarray:
    """Choose the beats where groups of `n_bars` bars begin.

    Groups follow one another without a gap.  Only an irregular bar, which always ends its
    group, and a one that a person gave begin a new count of groups: a regular song has one
    count of them.  Where the first begins is told by the strengths of the sections that
    groups would begin on.
    """
    starts = ones_of(bar_map)
    if not starts.size:
        return starts
    is_regular = np.diff(starts) == bar_map.meter
    is_given = np.isin(starts, list(given))
    anew = np.flatnonzero(is_given | np.append(False, ~is_regular))
    end = int(next((bar for bar in anew if bar > 0), starts.size))
    if is_given[0]:
        first = 0
    elif end < starts.size and is_regular[end - 1]:  # counted back from the one that was given
        first = int(end % n_bars)
    else:
        first = _first_group(_strength_at(bar_map, starts[:end]), n_bars)
    edges = [first, *(int(bar) for bar in anew if bar > 0), int(starts.size)]
    bars = [np.arange(a, b, n_bars) for a, b in pairwise(edges)]
    return starts[np.concatenate(bars)]


def _first_group(strengths: np.ndarray, n_bars: int) -> int:
    """Which of the first bars begins a group: where the strongest sections begin groups."""
    earned = [
        strengths[bar::n_bars].sum() - SHORT_FIRST_BAR_COST * (bar > 0) for bar in range(n_bars)
    ]
    return int(np.argmax(earned))


def _strength_at(bar_map: BarMap, starts: np.ndarray) -> np.ndarray:
    strength = {section.start_beat: section.strength for section in bar_map.sections}
    return np.array([strength.get(int(start), 0.0) for start in starts])
