"""How many beats make a count, in words, and the other count that can be danced."""

from __future__ import annotations

from phrasefit.fit.grid import beat_tempo, level_of
from phrasefit.fit.other_count import at_other_level, other_level
from phrasefit.meters import LEVELS
from phrasefit.model import BarMap, Correction, FitPlan
from phrasefit.reports.doubts import NameCorrection


def level_words(beats_per_count: float, tempo_bpm: float) -> str:
    """Say how dancers count beside the beat, and the tempo of the beat if that is another."""
    words = LEVELS[beats_per_count]
    return words if beats_per_count == 1 else f"{words} (the beat is {tempo_bpm:.1f} a minute)"


def other_tempo_words(bar_map: BarMap, name: NameCorrection | None = None) -> str:
    """Name the other tempo that a song can be counted at, and what to type ("": none)."""
    level = other_level(bar_map) if bar_map.beat_times_s.size else None
    return _or_else(bar_map, level_of(bar_map), level, "", name) if level else ""


def other_count_words(fit: FitPlan, name: NameCorrection | None = None) -> str:
    """Name the other tempo that the routine can be danced at, and the plan there ("": none)."""
    other = at_other_level(fit)
    if other is None:
        return ""
    n_walls = len(other.plan.walls)
    walls = f"{n_walls} wall{'s' * (n_walls != 1)}, score {other.plan.score:.0f}"
    here, there = fit.grid.beats_per_count, other.grid.beats_per_count
    return _or_else(fit.bar_map, here, there, f": {walls}", name)


def _or_else(
    bar_map: BarMap, here: float, there: float, then: str, name: NameCorrection | None
) -> str:
    speed = "half" if there > here else "twice"
    option = f" ({name(Correction(level=1 / there))})" if name else ""
    return f"or {speed} as fast, {beat_tempo(bar_map) / there:.0f} counts a minute{then}{option}"
