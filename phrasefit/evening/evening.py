"""What an evening is made of: pairings, wishes, and the dances in their order.

A *pairing* is a song with a routine and its plan; a *place* is one dance of the evening.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from phrasefit.errors import ParameterError, shown
from phrasefit.meters import DANCE_METERS, TEMPO_RANGE
from phrasefit.model import FitPlan

MOST_DIGITS = 6  # of a place
MAX_CHANGES = 2  # of each plan of an evening: not much can be remembered
SWING_SHUFFLE = 0.58  # from here on a routine counts as shuffle; even is 0.5, a triplet 0.67

BOUNDS: dict[str, tuple[int, int]] = {  # of the numbers in `EveningRequest`
    "minutes": (1, 24 * 60),
    "pause_s": (0, 3600),
    "beginner_share": (0, 1),
    "beginner_every": (0, 1000),
    "artist_gap": (0, 1000),
    "rhythm_gap": (0, 1000),
    "teach_minutes": (0, 24 * 60),
    "repeats": (1, 1000),
    "repeat_gap": (1, 1000),
    "min_length_s": (0, 3600),
    "min_score": (0, 100),
    "fast_cpm": (0, 1000),
    "seed": (0, 2**32 - 1),
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pairing:
    """A song paired with a routine: key of the song, and the fit."""

    key: str
    fit: FitPlan

    @property
    def counts_per_minute(self) -> float:
        """Tempo as played: changed, with the pitch kept, where that is needed."""
        tempo = self.fit.tempo
        return tempo.counts_per_minute * (1 + tempo.change_percent / 100)

    @property
    def length_s(self) -> float:
        """How long it plays at that tempo."""
        return self.fit.bar_map.duration_s / (1 + self.fit.tempo.change_percent / 100)

    @property
    def rhythm(self) -> str:
        """Waltz, shuffle or even."""
        if dance := DANCE_METERS[self.fit.routine.meter].dance:
            return dance
        return "shuffle" if self.fit.routine.swing >= SWING_SHUFFLE else "even"

    @property
    def for_beginners(self) -> bool:
        """Whether the routine calls itself one for beginners."""
        return "beginner" in self.fit.routine.level.lower()

    def dances(self, word: str) -> bool:
        """Tell whether the name of the routine contains `word`, in any case."""
        return word.casefold() in self.fit.routine.name.casefold()

    def matches(self, word: str) -> bool:
        """Tell whether title, artist or routine name contains `word`, in any case."""
        song = self.fit.bar_map
        return word.casefold() in f"{song.title}\n{song.artist}\n{self.fit.routine.name}".casefold()


@dataclass(frozen=True, slots=True, kw_only=True)
class EveningRequest:
    """What the evening should be like.

    `minutes` in all; `pause_s` between dances.  `curve` are counts a minute, spread
    evenly over the evening.  `fast_cpm`: from here on a dance is fast; two fast ones
    never follow each other unless `fast_in_a_row`; `alternate` forbids two slow ones
    as well.  `beginner_every`: one dance for beginners among so many in a row (0 = no
    such wish); `beginner_share` (0-1) of all dances.  `artist_gap`, `rhythm_gap`: so
    many other dances between two of the same artist or rhythm.  `must`, `never`: words
    of titles, artists or routine names.  `fixed`: place (from 1) and such a word.
    `kept`: place (from 1), key of the song and name of the routine that shall stay there,
    whatever they score.
    `teach`: words of the names of routines taught that evening, each for `teach_minutes` before
    its dance.
    `repeats`: how often a routine may be danced, again only after all the others and with
    `repeat_gap` dances between; a song is never played twice.  `min_score`: of the fit.
    `min_length_s`: of the recording.  `instead`: places (from 1) whose dance is not wanted;
    the next best stands there and the others stay; named twice, the one after that.

    Two fast dances in a row, a beginner dance every third and songs of two minutes at least:
    common practice of line dance rooms, no source.
    """

    minutes: float
    pause_s: float = 30.0
    curve: tuple[float, ...] = ()
    fast_cpm: float = 120.0
    fast_in_a_row: bool = False
    alternate: bool = False
    beginner_every: int = 3
    beginner_share: float = 0.0
    artist_gap: int = 2
    rhythm_gap: int = 0
    must: tuple[str, ...] = ()
    never: tuple[str, ...] = ()
    fixed: tuple[tuple[int, str], ...] = ()
    kept: tuple[tuple[int, str, str], ...] = ()
    teach: tuple[str, ...] = ()
    teach_minutes: float = 15.0
    repeats: int = 1
    repeat_gap: int = 4
    min_score: float = 50.0
    min_length_s: float = 120.0
    instead: tuple[int, ...] = ()
    seed: int = 0

    def __post_init__(self) -> None:
        for name, (low, high) in BOUNDS.items():
            value = getattr(self, name)
            if not low <= value <= high:
                words = f"{value:g}" if isinstance(value, float) else shown(value)
                raise ParameterError(f"{name}={words} must lie between {low} and {high}")
        if any(not TEMPO_RANGE[0] <= tempo <= TEMPO_RANGE[1] for tempo in self.curve):
            raise ParameterError(
                f"curve={shown(self.curve)} must be counts a minute, such as 95,120,110"
            )

    def keeps(self, pairing: Pairing, place: int | None = None) -> bool:
        """Tell whether a person keeps `pairing`, at this place (from 1) or at any."""
        stays = (pairing.key, pairing.fit.routine.name)
        return any(stays == (key, name) and place in (None, at) for at, key, name in self.kept)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Dance:
    """One place of the evening: when it begins [s from the first], and why it is there."""

    place: int
    start_s: float
    pairing: Pairing
    taught: bool
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Evening:
    """The evening found.

    `value` is its worth in points and `bound` what no evening from the same `n_pairings`
    pairings can exceed, infinite where a person put it in order; `repeatable` is False if
    the machine was too slow to search as far as on others.  `notes` say which wishes were
    left aside, and why.
    """

    dances: tuple[Dance, ...]
    request: EveningRequest
    length_s: float
    value: float
    bound: float
    n_pairings: int
    repeatable: bool
    notes: tuple[str, ...] = ()

    @property
    def gap_percent(self) -> float:
        """By how much another evening could be better at most."""
        return max(0.0, 100 * (self.bound - self.value) / max(abs(self.value), 1e-9))


def curve_at(request: EveningRequest, place: int, n_places: int) -> float | None:
    """Give the counts a minute wished for at a 0-based place; None without a curve."""
    if not request.curve:
        return None
    along = place / max(1, n_places - 1) * (len(request.curve) - 1)
    return float(np.interp(along, np.arange(len(request.curve)), request.curve))


def place_and_word(text: str) -> tuple[int, str] | None:
    """Read a place and a word for `EveningRequest.fixed`, such as ``3=waltz``; None if it is none.

    Examples
    --------
    >>> place_and_word("3 = waltz"), place_and_word("waltz")
    ((3, 'waltz'), None)
    """
    place, _, word = text.partition("=")
    if not place.strip().isdecimal() or len(place) > MOST_DIGITS or not word.strip():
        return None
    return int(place), word.strip()
