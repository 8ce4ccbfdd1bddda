"""An evening in words beside its drawing: how fast it is where, and what comes again."""

from __future__ import annotations

from collections.abc import Callable

from phrasefit.evening.evening import Dance, Evening
from phrasefit.reports.words import join_words


def course_words(evening: Evening) -> tuple[str, ...]:
    """Say the course of the tempo, and which routines and songs are danced again."""
    if not evening.dances:
        return ()
    again = (*_again(evening, _routine), *_again(evening, _song))
    return (_tempos(evening), *(again or ("No routine and no song comes twice.",)))


def again_at(evening: Evening, dance: Dance) -> tuple[int, ...]:
    """List the other places (from 1) at which the routine of this dance is danced."""
    others = (d for d in evening.dances if d.place != dance.place)
    return tuple(d.place for d in others if _routine(d) == _routine(dance))


def _tempos(evening: Evening) -> str:
    tempos = [dance.pairing.counts_per_minute for dance in evening.dances]
    low, high = round(min(tempos)), round(max(tempos))
    words = f"From {low} to {high} counts a minute" if low < high else f"{low} counts a minute"
    least = evening.request.fast_cpm
    fast = [dance.place for dance in evening.dances if dance.pairing.counts_per_minute >= least]
    if not fast:
        return f"{words}; none is fast ({least:g} or more)."
    return f"{words}; fast ({least:g} or more) at {_places(fast)}."


def _places(places: list[int]) -> str:
    return f"place{'s' * (len(places) > 1)} {join_words(map(str, places))}"


def _again(evening: Evening, name_of: Callable[[Dance], str]) -> list[str]:
    at: dict[str, list[int]] = {}
    for dance in evening.dances:
        at.setdefault(name_of(dance), []).append(dance.place)
    return [f"{name} comes at {_places(places)}." for name, places in at.items() if len(places) > 1]


def _routine(dance: Dance) -> str:
    return dance.pairing.fit.routine.name


def _song(dance: Dance) -> str:
    return f"The song {dance.pairing.fit.bar_map.title}"
