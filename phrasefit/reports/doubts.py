"""Doubts in an instructor's words, and the readings that may be right instead."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

from phrasefit.clock import clock_time
from phrasefit.fit.doubts import BY_WEIGHT, find_doubts
from phrasefit.fit.stakes import weighed
from phrasefit.meters import SONG_METERS
from phrasefit.model import (
    Alternative,
    BarMap,
    Consequence,
    Correction,
    CountGrid,
    Doubt,
    DoubtKind,
    FitPlan,
)

METER_WORDS = {beats: row.name for beats, row in SONG_METERS.items()}

_CELLS = {
    DoubtKind.HARDLY_STEADY: "beat",
    DoubtKind.BEATS: "beat",
    DoubtKind.ONE: "one",
    DoubtKind.METER: "bars",
    DoubtKind.LEVEL: "count",
    DoubtKind.PHRASES: "phrases",
    DoubtKind.SECTION: "phrases",
    DoubtKind.OTHER_SECTION: "phrases",
    DoubtKind.NO_SECTIONS: "phrases",
}

# How a medium names a correction that a person could make; None where there is no way to.
NameCorrection = Callable[[Correction], str]


def doubt_lines(
    fit: FitPlan, name: NameCorrection | None = None, *, weigh: bool = True
) -> tuple[str, ...]:
    """Say every doubt about a fit, the first one first.

    Parameters
    ----------
    fit : FitPlan
    name : callable, optional
        Gives what to type for a correction; without it readings are told in plain words.
    weigh : bool
        See `doubts_of`.
    """
    return tuple(doubt_words(doubt, name) for doubt in doubts_of(fit, weigh=weigh))


def doubts_of(fit: FitPlan, *, weigh: bool = True) -> tuple[Doubt, ...]:
    """List the doubts about a fit, what the plan would lose most by first.

    Without `weigh` that is taken from the kind of doubt alone: planning every other reading
    takes longer than planning once, too long for long lists of songs.
    """
    if weigh:
        return weighed(fit)
    return tuple(sorted(fit.doubts, key=lambda doubt: BY_WEIGHT.index(doubt.kind)))


def doubts_alone(bar_map: BarMap, grid: CountGrid) -> tuple[Doubt, ...]:
    """List the doubts about a song that nothing is danced to, in the order of their kinds."""
    found = find_doubts(bar_map, grid, None)
    return tuple(sorted(found, key=lambda doubt: BY_WEIGHT.index(doubt.kind)))


def main_doubt(fit: FitPlan, *, weigh: bool = True) -> Doubt | None:
    """Give the doubt that matters most for the plan, with its likeliest other reading."""
    first = next(iter(doubts_of(fit, weigh=weigh)), None)
    return first and replace(first, rivals=first.rivals[:1])


def other_doubts(fit: FitPlan, name: NameCorrection | None = None) -> tuple[str, ...]:
    """Say every doubt but the main one."""
    return doubt_lines(fit, name)[1:]


def doubt_cell(doubt: Doubt) -> str:
    """Say what to check in three words."""
    return f"check the {_CELLS[doubt.kind]}"


def song_cell(kinds: Iterable[DoubtKind]) -> str:
    """Say in three words what to check first of a song with these doubts, or that it is sure."""
    first = min(kinds, key=BY_WEIGHT.index, default=None)
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
        DoubtKind.SECTION: (
            "check the section at {at}{sure}: hear whether the music starts something new there"
        ),
        DoubtKind.OTHER_SECTION: (
            "check whether a section begins at {at} ({likely:.0%} likely): hear whether the music"
            " starts something new there"
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
    at = clock_time(doubt.at_s)
    likely = 1 - (doubt.probability or 0.0)
    return words.format(doubt=doubt, sure=sure, at=at, likely=likely) + (
        _rivals(doubt, name) or _remedy(doubt, name)
    )


def _remedy(doubt: Doubt, name: NameCorrection | None) -> str:
    """Name what settles a doubt that has no rivals, and what it would change."""
    if doubt.kind is DoubtKind.PHRASES and name:
        option = name(Correction(sections_at_s=(0.0,))).split()[0]
        return f"; where a section begins elsewhere, say so with {option} TIME"
    if doubt.consequence is None:
        return ""
    option = name(doubt.consequence.correction) if name else ""
    then = _then(doubt.consequence)
    so = "if it does" if doubt.kind is DoubtKind.OTHER_SECTION else "if not"
    return f"; {so}, try {option}: {then}" if option else f"; {so}, {then}"


def _rivals(doubt: Doubt, name: NameCorrection | None) -> str:
    """Name the other readings; what the likeliest would change stands beside it."""
    named = []
    for rival in doubt.rivals:
        sure = f"{rival.probability:.0%}"
        if doubt.consequence and doubt.consequence.correction == rival.correction:
            sure += f"; {_then(doubt.consequence)}"
        named.append(f"{name(rival.correction) if name else _short(rival)} ({sure})")
    if not named:
        return ""
    return f"; if it is wrong, {'try' if name else 'it may be'} {' or '.join(named)}"


def _then(consequence: Consequence) -> str:
    """Say what would change of the plan."""
    wall, time_s = consequence.wall, consequence.time_s
    if not consequence.fits:
        return "then the routine does not fit"
    if wall is None:
        return "the plan stays the same"
    if time_s is None:
        return f"then the dance ends before wall {wall}"
    what = "count 1 comes" if wall == 1 else f"wall {wall} begins"
    return f"then {what} at {clock_time(time_s)}"


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
