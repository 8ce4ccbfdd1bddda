"""Doubts in an instructor's words, and the readings that may be right instead."""

from __future__ import annotations

from collections.abc import Callable

from phrasefit.meters import SONG_METERS
from phrasefit.model import Alternative, Correction, Doubt, DoubtKind, FitPlan

METER_WORDS = {beats: row.name for beats, row in SONG_METERS.items()}

# How a medium names a correction that a person could make; None where there is no way to.
NameCorrection = Callable[[Correction], str]


def doubt_lines(fit: FitPlan, name: NameCorrection | None = None) -> tuple[str, ...]:
    """Say every doubt about a fit, the first one first.

    Parameters
    ----------
    fit : FitPlan
    name : callable, optional
        Gives what to type for a correction; without it readings are told in plain words.
    """
    return tuple(doubt_words(doubt, name) for doubt in fit.doubts)


def doubt_words(doubt: Doubt, name: NameCorrection | None = None) -> str:
    """Say what to check, how sure it is, and what it may be instead."""
    words = {
        DoubtKind.BEATS: "check the beat{sure}: tap along with the song first",
        DoubtKind.ONE: "check the one{sure}",
        DoubtKind.METER: "check the bars of {doubt.meter}{sure}",
        DoubtKind.PHRASES: "check the phrases{sure}: the plan is only as good as they are",
        DoubtKind.NO_SECTIONS: (
            "no sections are known: a phrase is assumed on every eighth bar from the first one"
        ),
        DoubtKind.LEVEL: (
            "counted at {doubt.counts_per_minute:.0f} a minute while the beat is"
            " {doubt.beats_per_minute:.0f}: check that you would count it so"
        ),
    }[doubt.kind]
    sure = "" if doubt.probability is None else f" ({doubt.probability:.0%} sure)"
    return words.format(doubt=doubt, sure=sure) + _rivals(doubt, name)


def _rivals(doubt: Doubt, name: NameCorrection | None) -> str:
    named = [
        f"{name(rival.correction) if name else _short(rival)} ({rival.probability:.0%})"
        for rival in doubt.rivals
    ]
    if not named:
        return ""
    return f"; if it is wrong, {'try' if name else 'it may be'} {' or '.join(named)}"


def _short(rival: Alternative) -> str:
    beats = rival.correction.shift_one_beats
    if rival.kind == "one":
        side = "later" if beats > 0 else "earlier"
        return f"{'a beat' if abs(beats) == 1 else f'{abs(beats)} beats'} {side}"
    if rival.kind == "meter":
        return f"bars of {rival.meter}"
    return "half as fast" if rival.kind == "half" else "twice as fast"


def reading_words(rival: Alternative) -> str:
    """Say another reading of the song in a line of its own."""
    if rival.kind == "one":
        return f"the one is {_short(rival)}"
    if rival.kind == "meter":
        return f"bars in {METER_WORDS.get(rival.meter, rival.meter)}"
    return f"{_short(rival)}, {rival.tempo_bpm:.0f} beats a minute"
