"""Doubts in an instructor's words, and the readings that may be right instead."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

from phrasefit.meters import SONG_METERS
from phrasefit.model import Alternative, Correction, Doubt, DoubtKind, FitPlan

METER_WORDS = {beats: row.name for beats, row in SONG_METERS.items()}

# What would change a plan most comes first: common practice, no source.
BY_WEIGHT = (
    DoubtKind.HARDLY_STEADY,
    DoubtKind.BEATS, DoubtKind.ONE, DoubtKind.METER, DoubtKind.LEVEL, DoubtKind.PHRASES,
    DoubtKind.NO_SECTIONS,
)  # fmt: skip
_CELLS = {
    DoubtKind.HARDLY_STEADY: "beat",
    DoubtKind.BEATS: "beat",
    DoubtKind.ONE: "one",
    DoubtKind.METER: "bars",
    DoubtKind.LEVEL: "count",
    DoubtKind.PHRASES: "phrases",
    DoubtKind.NO_SECTIONS: "phrases",
}

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


def main_doubt(fit: FitPlan) -> Doubt | None:
    """Give the doubt that would change a plan most, with its likeliest other reading."""
    first = min(fit.doubts, key=lambda doubt: _weight(doubt.kind), default=None)
    return first and replace(first, rivals=first.rivals[:1])


def _weight(kind: DoubtKind) -> int:
    return BY_WEIGHT.index(kind)


def other_doubts(fit: FitPlan, name: NameCorrection | None = None) -> tuple[str, ...]:
    """Say every doubt but the main one."""
    main = main_doubt(fit)
    return tuple(
        doubt_words(doubt, name) for doubt in fit.doubts if main and doubt.kind != main.kind
    )


def doubt_cell(doubt: Doubt) -> str:
    """Say what to check in three words."""
    return f"check the {_CELLS[doubt.kind]}"


def song_cell(kinds: Iterable[DoubtKind]) -> str:
    """Say in three words what to check first of a song with these doubts, or that it is sure."""
    first = min(kinds, key=_weight, default=None)
    return doubt_cell(Doubt(kind=first)) if first else "sure"


def doubt_words(doubt: Doubt, name: NameCorrection | None = None) -> str:
    """Say what to check, how sure it is, and what it may be instead."""
    words = {
        DoubtKind.HARDLY_STEADY: "hardly a steady beat: tap along before you trust it",
        DoubtKind.BEATS: "check the beat{sure}: tap along and hear whether it stays with you",
        DoubtKind.ONE: (
            "check the one{sure}: hear whether a new line of the song begins on count 1 of a wall"
        ),
        DoubtKind.METER: (
            "check the bars of {doubt.meter}{sure}: count along and hear whether the accent comes"
            " on every 1"
        ),
        DoubtKind.PHRASES: (
            "check the phrases{sure}: hear whether the music starts something new where they begin"
        ),
        DoubtKind.NO_SECTIONS: (
            "check the phrases: the map has no sections, so that one is assumed on every eighth"
            " bar from the first one"
        ),
        DoubtKind.LEVEL: (
            "check the count ({doubt.counts_per_minute:.0f} a minute, and the beat is"
            " {doubt.beats_per_minute:.0f}): count along and hear whether you would count it so"
        ),
    }[doubt.kind]
    sure = "" if doubt.probability is None else f" ({doubt.probability:.0%} sure)"
    remedy = _rivals(doubt, name) or (_remedy(doubt, name) if name else "")
    return words.format(doubt=doubt, sure=sure) + remedy


def _remedy(doubt: Doubt, name: NameCorrection) -> str:
    """Name what settles a doubt that has no other reading, where a person can do something."""
    if doubt.kind is DoubtKind.PHRASES:
        option = name(Correction(sections_at_s=(0.0,))).split()[0]
        return f"; where a section begins elsewhere, say so with {option} TIME"
    option = name(Correction(level=1.0)) if doubt.kind is DoubtKind.LEVEL else ""
    return f"; if not, try {option}" if option else ""


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
