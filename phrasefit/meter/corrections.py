"""What a person mends in a bar map, without listening again.

Only beats and positions change here; sections and phrases are dropped where they
would be stale, and `phrasefit.form` finds them again on the new bars.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from phrasefit.errors import MapError, ParameterError
from phrasefit.model import BarMap, Correction

# Grouping of old bars into new ones, in units of section strength (0-1): a short new
# bar is accepted only for a boundary that is stronger than this.
SHORT_BAR_COST = 0.6
SHORT_FIRST_BAR_COST = 0.1


def apply_correction(bar_map: BarMap, correction: Correction) -> BarMap:
    """Change beats and positions as a person said, in the order `Correction` states.

    Parameters
    ----------
    bar_map : BarMap
        As found, or as corrected before; its sections, where it has them, tell at
        which bar pairs of bars begin when every other beat is counted.
    correction : Correction
        `sections_at_s` and `no_section_at_s` are left to
        `phrasefit.form.apply_section_marks`.

    Returns
    -------
    BarMap
        `bar_map` itself if no beat or position is touched; else without sections,
        phrases and the alternatives that the person has decided about.

    Raises
    ------
    MapError
        If a time lies outside the song or is no beat, or if there is no beat.
    ParameterError
        If a value is out of range.
    """
    changed = bar_map
    for name, untouched, change in _CHANGES:
        value = getattr(correction, name)
        if value != untouched:
            _require_beats(changed)
            changed = change(changed, value)
    if changed is bar_map:
        return bar_map
    return replace(changed, sections=(), phrases=())


def _require_beats(bar_map: BarMap) -> None:
    if not bar_map.beat_times_s.size:
        raise MapError("there is no beat to correct; choose a song with a steady beat")


# ------------------------------------------------------------- level of counting


def _change_level(bar_map: BarMap, level: float) -> BarMap:
    words = _LEVEL_WORDS.get(level)
    if words is None:
        raise ParameterError(f"level={level:g} must be 0.25, 0.5, 1, 2 or 4 times the beats found")
    changed = bar_map
    for _ in range(_N_STEPS[level]):
        changed = _halved(changed) if level < 1 else _doubled(changed)
    return replace(
        changed,
        tempo_bpm=bar_map.tempo_bpm * level,
        beats_per_count=1.0,  # the person has chosen the beat that is counted
        alternatives=(),
        notes=(*bar_map.notes, f"corrected by hand: {words}"),
    )


_LEVEL_WORDS = {
    0.25: "every fourth beat is counted",
    0.5: "every other beat is counted",
    1.0: "every beat is counted",
    2.0: "twice as many beats are counted",
    4.0: "four times as many beats are counted",
}
_N_STEPS = {0.25: 2, 0.5: 1, 1.0: 0, 2.0: 1, 4.0: 2}  # halvings or doublings


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
    for start, end in zip(starts, [*starts[1:], n_beats], strict=True):
        ones[start : end - 1 : meter] = True
    return ones


def _halved(bar_map: BarMap) -> BarMap:
    """Keep every other beat from the first of each pair of bars.

    Where a pair holds an odd number of beats its last count is longer by one old
    beat, so that the next one is still a one and no count is hurried.
    """
    n = bar_map.beat_times_s.size
    starts = _group_starts(bar_map, 2)
    first = int(starts[0]) if starts.size else n + n % 2
    kept = list(range(first % 2, first, 2))
    ones = [False] * len(kept)
    for start, end in zip(starts, [*starts[1:], n], strict=True):
        is_last = end == n
        n_kept = (end - start + is_last) // 2
        kept += range(start, start + 2 * n_kept, 2)
        # A single count is no bar: it is danced as one more of the bar before.
        is_bar = n_kept > 1 or is_last or start == first
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


# ------------------------------------------------------------------------- meter


def _change_meter(bar_map: BarMap, meter: int) -> BarMap:
    if not 2 <= meter <= 12:
        raise ParameterError(f"meter={meter} must be 2 to 12 beats a bar")
    old = bar_map.meter
    if meter == old:
        return bar_map
    starts = ones_of(bar_map)
    ones = np.zeros(bar_map.beat_times_s.size, dtype=bool)
    if old % meter == 0:
        ones = _split(starts, ones.size, meter)
    elif meter % old == 0:
        ones[_group_starts(bar_map, meter // old)] = True
    else:
        ones[(starts[0] if starts.size else 0) % meter :: meter] = True
    return replace(
        bar_map,
        positions=positions_from_ones(ones, meter),
        meter=meter,
        confidence=replace(bar_map.confidence, meter=1.0),
        alternatives=(),
        notes=(*bar_map.notes, f"corrected by hand: {meter} beats a bar"),
    )


def _group_starts(bar_map: BarMap, n_bars: int) -> np.ndarray:
    """Choose the beats where groups of `n_bars` bars begin.

    Exact dynamic programming over (bar, place in the group): a group starting on a
    section earns the section's strength, a group cut short costs `SHORT_BAR_COST`;
    an irregular bar always ends its group.
    """
    starts = ones_of(bar_map)
    if not starts.size:
        return starts
    earned = _strength_at(bar_map, starts)
    lengths = np.diff(np.append(starts, bar_map.beat_times_s.size))
    regular = lengths == bar_map.meter
    score = np.where(np.arange(n_bars) == 0, earned[0], -SHORT_FIRST_BAR_COST)
    came_from = np.zeros((starts.size, n_bars), dtype=int)
    for bar in range(1, starts.size):
        cut = SHORT_BAR_COST if regular[bar - 1] else 0.0
        to_first = score - cut * (np.arange(n_bars) < n_bars - 1)
        came_from[bar] = np.arange(-1, n_bars - 1)
        came_from[bar, 0] = np.argmax(to_first)  # of equals the cut here: it comes latest
        onward = score[:-1] if regular[bar - 1] else np.full(n_bars - 1, -np.inf)
        score = np.append(to_first[came_from[bar, 0]] + earned[bar], onward)
    place = int(np.argmax(score))
    begins = []
    for bar in range(starts.size - 1, -1, -1):
        if place == 0:
            begins.append(starts[bar])
        place = came_from[bar, place]
    return np.array(begins[::-1], dtype=int)


def _strength_at(bar_map: BarMap, starts: np.ndarray) -> np.ndarray:
    strength = {section.start_beat: section.strength for section in bar_map.sections}
    return np.array([strength.get(int(start), 0.0) for start in starts])


# ----------------------------------------------------------------------- the one


def _put_one_at(bar_map: BarMap, time_s: float) -> BarMap:
    beat = beat_at(bar_map, time_s, "--one-at")
    starts = ones_of(bar_map)
    if not starts.size:
        ones = np.zeros(bar_map.beat_times_s.size, dtype=bool)
        ones[beat % bar_map.meter :: bar_map.meter] = True
        positions = positions_from_ones(ones, bar_map.meter)
    else:
        nearest = starts[np.argmin(np.abs(starts - beat))]
        positions = _shifted(bar_map, int(beat - nearest))
    time_s = bar_map.beat_times_s[beat]
    return _with_positions(bar_map, positions, f"there is a one at {time_s:.2f} s")


def _shift_one(bar_map: BarMap, shift_beats: int) -> BarMap:
    words = f"every one is moved by {shift_beats:+d} beat{'s' * (abs(shift_beats) != 1)}"
    return _with_positions(bar_map, _shifted(bar_map, shift_beats), words)


def _with_positions(bar_map: BarMap, positions: np.ndarray, words: str) -> BarMap:
    return replace(
        bar_map,
        positions=positions,
        confidence=replace(bar_map.confidence, downbeat=1.0),
        alternatives=tuple(a for a in bar_map.alternatives if a.kind != "one"),
        notes=(*bar_map.notes, f"corrected by hand: {words}"),
    )


def _shifted(bar_map: BarMap, shift_beats: int) -> np.ndarray:
    """Move all positions later by `shift_beats`; whole bars fill the gap at the edge."""
    old, meter = bar_map.positions, bar_map.meter
    source = np.arange(old.size) - shift_beats
    before = (old[0] - 1 + source) % meter + 1
    after = (min(old[-1], meter) + source - old.size) % meter + 1
    inside = old[np.clip(source, 0, old.size - 1)]
    return np.select([source < 0, source >= old.size], [before, after], inside)


# ------------------------------------------------------------------------ timing


def _nudge(bar_map: BarMap, nudge_s: float) -> BarMap:
    half_beat_s = _half_beat_s(bar_map)
    if not abs(nudge_s) <= half_beat_s:
        raise ParameterError(
            f"nudge_s={nudge_s:g} is more than half a beat ({half_beat_s:.2f} s);"
            " move the one by whole beats with --shift-one instead"
        )
    beats = bar_map.beat_times_s + nudge_s
    if beats.size > 1 and beats[1] <= 0:
        raise ParameterError(f"nudge_s={nudge_s:g} moves beats before the song; nudge less")
    beats[0] = max(beats[0], 0.0)
    return replace(bar_map, beat_times_s=beats, end_s=bar_map.end_s + nudge_s)


# Field of `Correction`, its value when untouched, and what it does; in this order.
_CHANGES = (
    ("level", None, _change_level),
    ("meter", None, _change_meter),
    ("one_at_s", None, _put_one_at),
    ("shift_one_beats", 0, _shift_one),
    ("nudge_s", 0.0, _nudge),
)


# ----------------------------------------------------------- shared small helpers


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


def _half_beat_s(bar_map: BarMap) -> float:
    beats = bar_map.beat_times_s
    return float(np.median(np.diff(np.append(beats, bar_map.end_s)))) / 2


def beat_at(bar_map: BarMap, time_s: float, option: str) -> int:
    """Find the beat at `time_s`; `option` is named in the error.

    Raises
    ------
    MapError
        If `time_s` lies outside the song or more than half a beat from any beat.
    """
    beats = bar_map.beat_times_s
    if not 0 <= time_s <= max(bar_map.duration_s, bar_map.end_s):
        raise MapError(
            f"{option} {time_s:g} s lies outside the song (0 to {bar_map.duration_s:.1f} s);"
            " give a time within it"
        )
    beat = int(np.argmin(np.abs(beats - time_s)))
    if abs(beats[beat] - time_s) > _half_beat_s(bar_map):
        raise MapError(
            f"{option} {time_s:g} s is no beat: the nearest one found is at {beats[beat]:.2f} s;"
            f" give a time between {beats[0]:.2f} and {beats[-1]:.2f} s where the beat is heard"
        )
    return beat
