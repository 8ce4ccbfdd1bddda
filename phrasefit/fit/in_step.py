"""Whether walls and the phrases of a song are in step: one definition for table and words.

The song's own phrases need not be as long as the routine: a wall of 64 counts may be two
phrases of 32, one of 48 a phrase and a half, two walls of 16 a phrase.  Such a routine is
*in step* as long as walls begin where whole phrases, or whole walls, bring them; only what
puts it out of step is a break of the song (`fit.breaks`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from phrasefit.fit.grid import dance_phrase_counts
from phrasefit.fit.phrase_hits import PhraseHit, phrase_hits
from phrasefit.meters import DANCE_METERS
from phrasefit.model import CountGrid, Plan, Routine, Wall


class Place(StrEnum):
    """Where a wall begins beside the phrases of the song."""

    ON = "on"  # a phrase begins on its count 1
    HALF = "half"  # in step, half-way through a phrase
    WITHIN = "within"  # in step, on another count where whole walls or phrases bring it
    OFF = "off"  # out of step
    UNKNOWN = "unknown"  # the song has no phrases


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """How long a phrase of the song is beside a wall, both in counts.

    `wall_counts` is the largest length that all parts of a phrased routine consist of.
    """

    phrase_counts: int
    wall_counts: int

    @property
    def step_counts(self) -> int:
        """Give the distance from a phrase start at whose multiples walls are in step."""
        common = math.gcd(self.phrase_counts, self.wall_counts)
        expected = common == self.wall_counts or 2 * common >= self.phrase_counts
        return common if expected else self.phrase_counts

    @property
    def break_counts(self) -> int:
        """Give the length by whose multiples phrases may follow each other with no break."""
        shorter = min(self.phrase_counts, self.wall_counts)
        whole = max(self.phrase_counts, self.wall_counts) % shorter == 0
        return shorter if whole else self.phrase_counts

    def place_of(self, wall: Wall) -> Place:
        """Say where a wall begins."""
        if not wall.phrase_offset:
            return Place.ON if wall.phrase_strength else Place.UNKNOWN
        if wall.phrase_offset % self.step_counts:
            return Place.OFF
        return Place.HALF if 2 * abs(wall.phrase_offset) == self.phrase_counts else Place.WITHIN


def measure_of(grid: CountGrid, routine: Routine) -> Measure:
    """Measure the phrases of a song for a routine.

    They are as long as the routine wants them (`dance_phrase_counts`), unless most come
    after an odd number of halves: then they are half as long, but no shorter than two groups.
    """
    phrase = dance_phrase_counts(routine.meter, routine)
    gaps = np.diff(np.flatnonzero(grid.strength))
    least = 2 * DANCE_METERS[routine.meter].group_counts
    while phrase % 2 == 0 and phrase // 2 >= least and _most_are_odd(gaps, phrase // 2):
        phrase //= 2
    return Measure(
        phrase_counts=phrase, wall_counts=math.gcd(*(part.counts for part in routine.parts))
    )


def _most_are_odd(gaps: np.ndarray, half: int) -> bool:
    return bool(2 * np.sum(gaps % (2 * half) == half) > len(gaps))


@dataclass(frozen=True, slots=True, kw_only=True)
class Steps:
    """How a plan and the phrases of the song go together.

    `places` has one entry a wall; `missed` counts the phrase starts that fall inside walls
    and tags out of step; `all_begin_walls` says that every phrase start begins a wall or tag;
    `on_groups` that each falls on an eight (six) of its wall.
    """

    places: tuple[Place, ...]
    missed: int
    all_begin_walls: bool
    on_groups: bool

    @property
    def kept(self) -> int:
        """How many walls are in step before the first that is not."""
        off = [i for i, place in enumerate(self.places) if place is Place.OFF]
        return off[0] if off else len(self.places)

    @property
    def all_kept(self) -> bool:
        """Whether every wall and every phrase start is in step."""
        return self.kept == len(self.places) and not self.missed


def steps_of(plan: Plan, grid: CountGrid, routine: Routine) -> Steps:
    """Look at every wall and every phrase start of a plan."""
    measure = measure_of(grid, routine)
    hits = phrase_hits(plan, grid)
    group = DANCE_METERS[routine.meter].group_counts
    return Steps(
        places=tuple(measure.place_of(wall) for wall in plan.walls),
        missed=sum(_is_missed(hit, measure.step_counts) for hit in hits),
        all_begin_walls=all(hit.into_counts == 0 for hit in hits),
        on_groups=all(hit.into_counts % group == 0 for hit in hits),
    )


def _is_missed(hit: PhraseHit, step_counts: int) -> bool:
    """A tag takes part of a phrase only: no phrase start belongs inside."""
    return hit.into_counts != 0 if hit.in_tag else hit.into_counts % step_counts != 0
