"""The one place where a correction changes beats and bars.

Sections and phrases are dropped where they would be stale; `phrasefit.form` finds them
again on the new bars.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from phrasefit.corrections.level import change_level, change_meter
from phrasefit.corrections.ones import half_beat_s, is_near, lay_odd_bars, put_ones, shift_ones
from phrasefit.errors import MapError, ParameterError
from phrasefit.model import BarMap, Correction


def apply_correction(bar_map: BarMap, correction: Correction) -> BarMap:
    """Change beats and positions as a person said, in the order `Correction` states.

    Parameters
    ----------
    bar_map : BarMap
        As found, or as corrected before; its sections, where it has them, tell at
        which bar pairs of bars begin when every other beat is counted.
    correction : Correction
        Its sections are left to `phrasefit.corrections.sections`.

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
    steps = [step for is_asked, step in _STEPS if is_asked(correction)]
    if not steps:
        return bar_map
    if not bar_map.beat_times_s.size:
        raise MapError("there is no beat to correct; choose a song with a steady beat")
    changed = bar_map
    for step in steps:
        changed = step(changed, correction)
        if step is _change_level:
            correction = _with_kept_ones(correction, changed)
    return replace(changed, sections=(), phrases=())


def _nudge(bar_map: BarMap, correction: Correction) -> BarMap:
    nudge_s, most_s = correction.nudge_s, half_beat_s(bar_map)
    if not abs(nudge_s) <= most_s:
        raise ParameterError(
            f"all beats moved by {nudge_s:g} s is more than half a beat ({most_s:.2f} s);"
            " move the ones by whole beats instead"
        )
    beats = bar_map.beat_times_s + nudge_s
    if beats.size > 1 and beats[1] <= 0:
        raise ParameterError(
            f"all beats moved by {nudge_s:g} s begin before the song; move them less"
        )
    beats[0] = max(beats[0], 0.0)
    return replace(bar_map, beat_times_s=beats, end_s=bar_map.end_s + nudge_s)


def _change_level(bar_map: BarMap, correction: Correction) -> BarMap:
    level = 1.0 if correction.level is None else correction.level
    ones_at_s = correction.ones_at_s
    if level >= 1:
        ones_at_s = ()
    else:  # which beats are kept depends on what the person said of ones
        bar_map = lay_odd_bars(
            put_ones(bar_map, ones_at_s), (), correction.no_odd_bar_at_s, ones_at_s
        )
    return change_level(bar_map, level, ones_at_s)


def _with_kept_ones(correction: Correction, halved: BarMap) -> Correction:
    """Leave out a one less than a count before the next: not both are beats that are kept."""
    if correction.level is None or correction.level >= 1:
        return correction
    kept = (t for t in correction.ones_at_s if is_near(halved, halved.beat_times_s, t))
    return replace(correction, ones_at_s=tuple(kept))


def _change_meter(bar_map: BarMap, correction: Correction) -> BarMap:
    meter = bar_map.meter if correction.meter is None else correction.meter
    ones_at_s = correction.ones_at_s
    return change_meter(put_ones(bar_map, ones_at_s), meter, ones_at_s)


def _put_ones(bar_map: BarMap, correction: Correction) -> BarMap:
    return put_ones(bar_map, correction.ones_at_s)


def _shift_ones(bar_map: BarMap, correction: Correction) -> BarMap:
    return shift_ones(bar_map, correction.shift_one_beats)


def _lay_odd_bars(bar_map: BarMap, correction: Correction) -> BarMap:
    return lay_odd_bars(
        bar_map, correction.odd_bars, correction.no_odd_bar_at_s, correction.ones_at_s
    )


_Step = Callable[[BarMap, Correction], BarMap]

# Whether a step is asked for, and what does it; in this order.
_STEPS: tuple[tuple[Callable[[Correction], bool], _Step], ...] = (
    (lambda c: c.nudge_s != 0, _nudge),
    (lambda c: c.level is not None, _change_level),
    (lambda c: c.meter is not None, _change_meter),
    (lambda c: bool(c.ones_at_s), _put_ones),
    (lambda c: c.shift_one_beats != 0, _shift_ones),
    (lambda c: bool(c.odd_bars or c.no_odd_bar_at_s), _lay_odd_bars),
)
