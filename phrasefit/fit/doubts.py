"""What the fit cannot be sure of; `phrasefit.reports.doubts` says it in words."""

from __future__ import annotations

from dataclasses import replace

from phrasefit.fit.grid import beat_tempo, choose_level
from phrasefit.model import Alternative, BarMap, CountGrid, Doubt, DoubtKind, Routine

DOUBT_BELOW = 0.7  # a reading less likely than this is shown as a doubt; common practice
# What would change a plan most comes first, where it has not been weighed
# (`phrasefit.fit.stakes`): common practice, no source.
BY_WEIGHT = (
    DoubtKind.HARDLY_STEADY,
    DoubtKind.BEATS, DoubtKind.ONE, DoubtKind.METER, DoubtKind.LEVEL, DoubtKind.SECTION,
    DoubtKind.OTHER_SECTION, DoubtKind.PHRASES, DoubtKind.NO_SECTIONS,
)  # fmt: skip
MAX_RIVALS = 3  # more readings than this confuse
RIVAL_KINDS = {
    DoubtKind.BEATS: ("half", "double"),
    DoubtKind.ONE: ("one",),
    DoubtKind.METER: ("meter",),
}
# Beats may also be wrong throughout, which no correction mends but tapping along: another level
# is named where so much of the doubt is about it; common practice, no source.
LEVEL_SHARE = 1 / 3


def find_doubts(bar_map: BarMap, grid: CountGrid, routine: Routine | None) -> tuple[Doubt, ...]:
    """List uncertain readings, each with those it may be instead, and guesses.

    Without a routine nothing but the tempo chooses what is counted.
    """
    readings = other_readings(bar_map, grid.beats_per_count)
    doubts = [
        replace(doubt, rivals=_rivals_of(doubt, readings)) for doubt in doubts_of_map(bar_map)
    ]
    return (*doubts, *_about_sections(bar_map), *_about_level(bar_map, grid, routine))


def doubts_of_song(bar_map: BarMap) -> tuple[DoubtKind, ...]:
    """List the kinds of doubt that a song has if no routine decides how it is counted."""
    kinds = [doubt.kind for doubt in (*doubts_of_map(bar_map), *_about_sections(bar_map))]
    if bar_map.beat_times_s.size and not bar_map.beats_per_count and choose_level(bar_map) != 1:
        kinds.append(DoubtKind.LEVEL)
    return tuple(kinds)


def doubts_of_map(bar_map: BarMap) -> tuple[Doubt, ...]:
    """List what was heard with little confidence, whatever is danced to it."""
    sure = bar_map.confidence
    readings = (
        (DoubtKind.BEATS, sure.beats),
        (DoubtKind.ONE, sure.downbeat),
        (DoubtKind.METER, sure.meter),
        (DoubtKind.PHRASES, sure.phrase),
    )
    hardly = (Doubt(kind=DoubtKind.HARDLY_STEADY),) if sure.hardly_steady else ()
    return hardly + tuple(
        Doubt(kind=kind, probability=probability, meter=bar_map.meter)
        for kind, probability in readings
        if probability < DOUBT_BELOW
    )


def _about_sections(bar_map: BarMap) -> tuple[Doubt, ...]:
    guessed = not bar_map.sections and not bar_map.phrases
    return (Doubt(kind=DoubtKind.NO_SECTIONS),) if guessed else ()


def other_readings(bar_map: BarMap, beats_per_count: float) -> tuple[Alternative, ...]:
    """List the other readings as they are from the counts shown, the likeliest first.

    Where only every other beat is counted, the reading at half the tempo is the one
    shown already.
    """
    kept = []
    for rival in bar_map.alternatives:
        level = rival.correction.level
        if level is None:
            kept.append(rival)
            continue
        kind = {0.5: "half", 2.0: "double"}.get(level * beats_per_count)
        if kind:
            kept.append(replace(rival, kind=kind))
    return tuple(sorted(kept, key=lambda rival: -rival.probability))


def _rivals_of(doubt: Doubt, readings: tuple[Alternative, ...]) -> tuple[Alternative, ...]:
    kinds, least = RIVAL_KINDS.get(doubt.kind, ()), 0.0
    if doubt.kind is DoubtKind.BEATS and doubt.probability is not None:
        least = LEVEL_SHARE * (1 - doubt.probability)
    named = [rival for rival in readings if rival.kind in kinds and rival.probability >= least]
    return tuple(named[:MAX_RIVALS])


def _about_level(bar_map: BarMap, grid: CountGrid, routine: Routine | None) -> list[Doubt]:
    """Doubt a count that is not the beat if neither a person nor the routine chose it."""
    level = grid.beats_per_count
    has_tempo = routine is not None and routine.tempo_bpm
    routine_chose = has_tempo and level == choose_level(bar_map, routine)
    if level == 1 or bar_map.beats_per_count or routine_chose:
        return []
    return [
        Doubt(
            kind=DoubtKind.LEVEL,
            counts_per_minute=grid.counts_per_minute,
            beats_per_minute=beat_tempo(bar_map),
        )
    ]
