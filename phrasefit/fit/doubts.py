"""What the fit cannot be sure of, in words for the instructor."""

from __future__ import annotations

from phrasefit.fit.grid import beat_tempo, choose_level
from phrasefit.model import Alternative, BarMap, CountGrid, Routine

DOUBT_BELOW = 0.7  # a reading less likely than this is shown as a doubt; common practice
MAX_RIVALS = 3  # more options than this confuse


def find_doubts(bar_map: BarMap, grid: CountGrid, routine: Routine) -> tuple[str, ...]:
    """List the doubts: uncertain readings with the options that select another, and guesses."""
    sure = bar_map.confidence
    doubts = []
    if sure.beats < DOUBT_BELOW:
        doubts.append(f"check the beat ({sure.beats:.0%} sure): tap along with the song first")
    if sure.downbeat < DOUBT_BELOW:
        rivals = _options(bar_map.alternatives, "one")
        doubts.append(f"check the one ({sure.downbeat:.0%} sure){rivals}")
    if sure.meter < DOUBT_BELOW:
        rivals = _options(bar_map.alternatives, "meter", "half", "double")
        doubts.append(f"check the bars of {bar_map.meter} ({sure.meter:.0%} sure){rivals}")
    if sure.phrase < DOUBT_BELOW:
        doubts.append(
            f"check the phrases ({sure.phrase:.0%} sure): the plan is only as good as they are"
        )
    if not bar_map.sections and not bar_map.phrases:
        doubts.append(
            "no sections are known: a phrase is assumed on every eighth bar from the first one"
        )
    return (*doubts, *_about_level(bar_map, grid, routine))


def _options(alternatives: tuple[Alternative, ...], *kinds: str) -> str:
    rivals = sorted((a for a in alternatives if a.kind in kinds), key=lambda a: -a.probability)
    named = [f"{a.option} ({a.probability:.0%})" for a in rivals[:MAX_RIVALS]]
    return f"; if it is wrong, try {' or '.join(named)}" if named else ""


def _about_level(bar_map: BarMap, grid: CountGrid, routine: Routine) -> list[str]:
    """Say it where the count is not the beat and neither a person nor the routine chose it."""
    level = grid.beats_per_count
    routine_chose = bool(routine.tempo_bpm) and level == choose_level(bar_map, routine)
    if level == 1 or bar_map.beats_per_count or routine_chose:
        return []
    return [
        f"counted at {grid.counts_per_minute:.0f} a minute while the beat is"
        f" {beat_tempo(bar_map):.0f}: check that you would count it so"
    ]
