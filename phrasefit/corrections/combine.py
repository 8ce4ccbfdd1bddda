"""The one place where a correction is added to an earlier one.

The sum says only what is true of the map it leads to: times and ones move with what a
later change moves, and what it makes void disappears.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

import numpy as np

from phrasefit.corrections.beats import apply_correction
from phrasefit.corrections.ones import (
    Move,
    bar_end,
    bar_lengths,
    beat_at,
    beats_of,
    is_near,
    make_moves,
    move_for_edit,
    moves_to_ones,
    odd_bars_of,
    ones_of,
)
from phrasefit.corrections.sections import NEAR_BARS, bar_at
from phrasefit.errors import MapError, ParameterError
from phrasefit.model import BarMap, Correction, OddBar


def merged(old: Correction, change: Correction, found: BarMap) -> Correction:
    """Add `change`, made while looking at the map that `old` leads to.

    Parameters
    ----------
    old : Correction
    change : Correction
        Levels, shifts and times are relative to the map shown.
    found : BarMap
        What both correct in the end.

    Returns
    -------
    Correction
        Leads from `found` to what `change` makes of the map shown.  Ones given earlier stay
        ones, unless they are less than a bar from a new one.

    Raises
    ------
    MapError
        If a time lies outside the song or is no beat, or no bar is odd where it is denied.
    ParameterError
        If the sum is out of range.
    """
    total, shown = old, apply_correction(found, old)
    for is_asked, add in _ADDITIONS:
        if is_asked(change):
            added = add(total, change, shown)
            if add is _add_odd_bars:
                added = _without_idle_denials(added, change, shown, found)
            total, shown = _made_true(added, found)
    return total


def settled(correction: Correction, found: BarMap) -> Correction:
    """Move the ones that were given by the shift kept beside them, as was done once."""
    if not (correction.ones_at_s and correction.shift_one_beats):
        return correction
    shift = Correction(shift_one_beats=correction.shift_one_beats)
    return merged(replace(correction, shift_one_beats=0), shift, found)


def shifted_anew(correction: Correction, shown: BarMap, found: BarMap) -> Correction:
    """Count a shift of the ones from a song that was heard anew.

    Parameters
    ----------
    correction : Correction
        Leads from what was heard before to `shown`.
    shown, found : BarMap
        What a person has seen last; what is heard now.

    Returns
    -------
    Correction
        Puts the ones of `found` where those of `shown` are; `correction` itself where no
        shift does.
    """
    ones = ones_of(shown)
    if not ones.size:
        return correction
    one_s = float(shown.beat_times_s[ones[0]])
    for beats in range(found.meter):
        shifted = replace(correction, shift_one_beats=beats)
        bar_map = apply_correction(found, shifted)
        if is_near(bar_map, bar_map.beat_times_s[ones_of(bar_map)], one_s):
            # Heard as the person has it: decided all the same.
            return shifted if beats else replace(shifted, ones_at_s=(one_s,))
    return correction


def _made_true(total: Correction, found: BarMap) -> tuple[Correction, BarMap]:
    """Leave out what does not hold (any more) of the map that a correction leads to."""
    level = total.level if total.level and total.level > 1 else None
    base = apply_correction(found, Correction(nudge_s=total.nudge_s, level=level))
    total = replace(
        total,
        ones_at_s=tuple(t for t in total.ones_at_s if is_near(base, base.beat_times_s, t)),
    )
    while True:
        shown = apply_correction(found, total)
        true = _with_true_bars(total, shown)
        if true == total:
            return total, shown
        total = true


def _with_true_bars(total: Correction, shown: BarMap) -> Correction:
    lengths = dict(bar_lengths(shown))

    def nearest_beat(time_s: float) -> int:
        return int(np.argmin(np.abs(shown.beat_times_s - time_s)))

    def odd_bars() -> Iterable[OddBar]:
        for bar in total.odd_bars:
            start = nearest_beat(bar.at_s)
            if lengths.get(start, 0) in (bar.beats, None):
                # Where every other beat is counted, the beat that it was said of may be gone.
                yield replace(bar, at_s=float(shown.beat_times_s[start]))

    def is_regular(time_s: float) -> bool:
        start = max((one for one in lengths if one <= nearest_beat(time_s)), default=-1)
        return lengths.get(start) in (shown.meter, None)

    ones_s = shown.beat_times_s[shown.positions == 1]
    return replace(
        total,
        ones_at_s=tuple(t for t in total.ones_at_s if is_near(shown, ones_s, t)),
        odd_bars=tuple(dict.fromkeys(odd_bars())),
        no_odd_bar_at_s=tuple(t for t in total.no_odd_bar_at_s if is_regular(t)),
    )


def _add_nudge(old: Correction, change: Correction, shown: BarMap) -> Correction:
    total = _retimed(old, lambda time_s: max(time_s + change.nudge_s, 0.0))
    return replace(total, nudge_s=old.nudge_s + change.nudge_s)


def _retimed(old: Correction, moved: Callable[[float], float]) -> Correction:
    def all_of(times_s: Iterable[float]) -> tuple[float, ...]:
        return tuple(map(moved, times_s))

    return replace(
        old,
        ones_at_s=all_of(old.ones_at_s),
        odd_bars=tuple(replace(bar, at_s=moved(bar.at_s)) for bar in old.odd_bars),
        no_odd_bar_at_s=all_of(old.no_odd_bar_at_s),
        sections_at_s=all_of(old.sections_at_s),
        no_section_at_s=all_of(old.no_section_at_s),
        section_names=tuple(replace(n, at_s=moved(n.at_s)) for n in old.section_names),
        singing_at_s=None if old.singing_at_s is None else moved(old.singing_at_s),
    )


# ---------------------------------------------------------------- level and meter


def _add_level(old: Correction, change: Correction, shown: BarMap) -> Correction:
    """Count other beats or bars; ones stay where they are, odd bars are restated."""
    step = Correction(level=change.level, meter=change.meter, ones_at_s=old.ones_at_s)
    result = apply_correction(shown, step)
    is_pinned = old.ones_at_s or not (old.shift_one_beats or _has_odd_bars(old))
    return replace(
        old,
        level=_level_of(old, change),
        meter=change.meter or old.meter,
        ones_at_s=old.ones_at_s if is_pinned else _first_one_s(result),
        shift_one_beats=0,
        odd_bars=_odd_bars_still(old, result),
    )


def _level_of(old: Correction, change: Correction) -> float | None:
    if change.level is None:
        return old.level
    level = (old.level or 1.0) * change.level
    if not 0.25 <= level <= 4.0:
        raise ParameterError(
            f"level={level:g} is beyond a quarter or four times the beat found;"
            " drop the corrections of the song and begin again"
        )
    return level


def _has_odd_bars(correction: Correction) -> bool:
    return bool(correction.odd_bars or correction.no_odd_bar_at_s)


def _first_one_s(bar_map: BarMap) -> tuple[float, ...]:
    return _times(bar_map, ones_of(bar_map)[:1])


def _odd_bars_still(old: Correction, result: BarMap) -> tuple[OddBar, ...]:
    """Say with their new lengths which bars a person gave a length are odd still."""
    odd = odd_bars_of(result)
    bars = {}
    for bar in old.odd_bars:
        beat = int(np.argmin(np.abs(result.beat_times_s - bar.at_s)))
        near = [start for start in odd if abs(start - beat) < result.meter]
        if near:
            start = min(near, key=lambda one: abs(one - beat))
            at_s = float(result.beat_times_s[start])
            bars[start] = OddBar(at_s=at_s, beats=bar_end(result, start) - start)
    return tuple(bars[start] for start in sorted(bars))


# ------------------------------------------------------------------------ the ones


def _add_ones(old: Correction, change: Correction, shown: BarMap) -> Correction:
    """Begin bars at more places; the first one given of all rules the whole song."""
    new = beats_of(shown, change.ones_at_s)
    kept = [
        beat
        for beat in beats_of(shown, old.ones_at_s)
        if all(abs(beat - other) >= shown.meter for other in new)
    ]
    given = sorted({*kept, *new})
    if not ones_of(shown).size:
        return replace(old, ones_at_s=_times(shown, given), shift_one_beats=0)
    moves = moves_to_ones(shown, given)
    total = _with_moved_odd_bars(old, shown, moves)
    edits = [bar.at_s for bar in total.odd_bars] + list(total.no_odd_bar_at_s)
    if any(time_s < shown.beat_times_s[given[0]] for time_s in edits):
        # An odd bar before the first one given would part it from the ones before.
        given = [*ones_of(make_moves(shown, moves))[:1], *given]
    return replace(total, ones_at_s=_times(shown, given), shift_one_beats=0)


def _times(bar_map: BarMap, beats: Iterable[int]) -> tuple[float, ...]:
    return tuple(float(bar_map.beat_times_s[beat]) for beat in sorted(set(map(int, beats))))


def _with_moved_odd_bars(old: Correction, shown: BarMap, moves: Sequence[Move]) -> Correction:
    """Let what was said of odd bars move with the bars; what leaves the song is dropped."""

    def moved(time_s: float) -> float | None:
        beat = beat_at(shown, time_s)
        move = next((m for m in moves if m.first <= beat < m.end), None)
        there = move.moved(beat) if move else beat
        return None if there is None else float(shown.beat_times_s[there])

    bars = [(moved(bar.at_s), bar.beats) for bar in old.odd_bars]
    denied = [moved(time_s) for time_s in old.no_odd_bar_at_s]
    return replace(
        old,
        odd_bars=tuple(OddBar(at_s=at_s, beats=n) for at_s, n in bars if at_s is not None),
        no_odd_bar_at_s=tuple(at_s for at_s in denied if at_s is not None),
    )


def _add_shift(old: Correction, change: Correction, shown: BarMap) -> Correction:
    """Move every one; ones that were given move along."""
    n, beats = shown.positions.size, change.shift_one_beats
    move = Move(0, n, beats)
    total = _with_moved_odd_bars(old, shown, [move])
    if not old.ones_at_s:
        return replace(total, shift_one_beats=old.shift_one_beats + beats)
    given = [beat + beats for beat in beats_of(shown, old.ones_at_s)]
    inside = [beat for beat in given if 0 <= beat < n]
    if given[0] != next(iter(inside), None):  # it has left the song; it ruled the beginning
        inside = [*ones_of(make_moves(shown, [move]))[:1], *inside]
    return replace(total, ones_at_s=_times(shown, inside))


# ------------------------------------------------------------------------ odd bars


def _add_odd_bars(old: Correction, change: Correction, shown: BarMap) -> Correction:
    edits: list[tuple[float, int | None]] = [(bar.at_s, bar.beats) for bar in change.odd_bars]
    edits += [(time_s, None) for time_s in change.no_odd_bar_at_s]
    for time_s, beats in sorted(edits, key=lambda edit: edit[0]):
        old, shown = _with_odd_bar(old, time_s, beats, shown)
    return old


def _with_odd_bar(
    old: Correction, time_s: float, beats: int | None, shown: BarMap
) -> tuple[Correction, BarMap]:
    given = beats_of(shown, old.ones_at_s)
    move = move_for_edit(shown, time_s, beats, given)
    if move is None:
        raise MapError(f"no odd bar at {time_s:g} s: {_where_odd(shown)}")
    start = move.first - 1
    end = bar_end(shown, start)
    # What was said of this bar, and of a one at its end, no longer holds.
    if move.beats and end in given:
        at_start = ones_of(shown)[: given[0] == end]
        given = [*at_start, *(beat for beat in given if beat != end)]
    others = replace(
        old,
        ones_at_s=_times(shown, given),
        odd_bars=tuple(b for b in old.odd_bars if not start <= beat_at(shown, b.at_s) < end),
        no_odd_bar_at_s=tuple(
            t for t in old.no_odd_bar_at_s if not start <= beat_at(shown, t) < end
        ),
    )
    total = _with_moved_odd_bars(others, shown, [move])
    at_s = float(shown.beat_times_s[start])
    if beats is None:
        total = replace(total, no_odd_bar_at_s=tuple(sorted({*total.no_odd_bar_at_s, at_s})))
    else:
        bars = (*total.odd_bars, OddBar(at_s=at_s, beats=beats))
        total = replace(total, odd_bars=tuple(sorted(bars, key=lambda bar: bar.at_s)))
    return total, make_moves(shown, [move])


def _without_idle_denials(
    total: Correction, change: Correction, shown: BarMap, found: BarMap
) -> Correction:
    """Drop denials that deny nothing: where a person takes back an odd bar of their own."""
    bars = Correction(odd_bars=change.odd_bars, no_odd_bar_at_s=change.no_odd_bar_at_s)
    wanted = apply_correction(shown, bars).positions
    for time_s in total.no_odd_bar_at_s:
        others = tuple(t for t in total.no_odd_bar_at_s if t != time_s)
        fewer = replace(total, no_odd_bar_at_s=others)
        if np.array_equal(apply_correction(found, fewer).positions, wanted):
            total = fewer
    return total


def _where_odd(shown: BarMap) -> str:
    times = [f"{shown.beat_times_s[start]:.2f} s" for start in odd_bars_of(shown)[:8]]
    if not times:
        return "every bar of the song is regular already"
    return f"no odd bar begins near it; odd bars begin at {', '.join(times)}"


# ------------------------------------------------------------------------ sections


def _add_sections(old: Correction, change: Correction, shown: BarMap) -> Correction:
    """A later mark takes away earlier denials near it, and a denial earlier marks."""

    def far_from(times_s: Iterable[float], others_s: Sequence[float]) -> set[float]:
        bars = [bar_at(shown, other) for other in others_s]
        return {
            time_s
            for time_s in times_s
            if all(abs(bar_at(shown, time_s) - bar) >= NEAR_BARS for bar in bars)
        }

    marked = far_from(old.sections_at_s, change.no_section_at_s)
    denied = far_from(old.no_section_at_s, change.sections_at_s)
    return replace(
        old,
        sections_at_s=tuple(sorted({*marked, *change.sections_at_s})),
        no_section_at_s=tuple(sorted({*denied, *change.no_section_at_s})),
    )


def _add_names(old: Correction, change: Correction, shown: BarMap) -> Correction:
    """A later name for the same bar takes the place of an earlier one, or takes it back.

    Which names are for the same section is for `phrasefit.corrections.names` to say, where
    the sections are known.
    """
    named = {bar_at(shown, name.at_s) for name in change.section_names}
    kept = [name for name in old.section_names if bar_at(shown, name.at_s) not in named]
    return replace(old, section_names=(*kept, *change.section_names))


def _add_singing(old: Correction, change: Correction, shown: BarMap) -> Correction:
    return replace(old, singing_at_s=change.singing_at_s)


# Whether a kind of change is asked for, and what adds it; in the order of application.
_Addition = Callable[[Correction, Correction, BarMap], Correction]
_ADDITIONS: tuple[tuple[Callable[[Correction], bool], _Addition], ...] = (
    (lambda c: c.nudge_s != 0, _add_nudge),
    (lambda c: c.level is not None or c.meter is not None, _add_level),
    (lambda c: bool(c.ones_at_s), _add_ones),
    (lambda c: c.shift_one_beats != 0, _add_shift),
    (_has_odd_bars, _add_odd_bars),
    (lambda c: bool(c.sections_at_s or c.no_section_at_s), _add_sections),
    (lambda c: bool(c.section_names), _add_names),
    (lambda c: c.singing_at_s is not None or c.no_singing, _add_singing),
)
