"""Which part of a phrased routine goes with which music.

If the routine gives a sequence of parts it is danced in that order, over and over.
If not, the same music gets the same part: of all ways to give each section letter a
part, the one whose dance without any change meets the phrases best is taken.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np

from phrasefit.fit.changes import gains_of
from phrasefit.fit.costs import Costs
from phrasefit.model import BarMap, CountGrid, Routine

MAX_LETTERS = 6  # rarer letters get the first part: 3 parts to 6 letters are 729 ways already


def parts_over_song(
    bar_map: BarMap, grid: CountGrid, routine: Routine, starts: Sequence[int], costs: Costs
) -> np.ndarray:
    """Tell which part a wall dances, by the count it begins on and its place.

    Returns
    -------
    np.ndarray [shape=(n_counts, n_places)]
        Index into ``routine.parts``.  One place for an ordinary routine, or one that
        follows the letters; as many as the sequence is long for one that has it.
    """
    n_counts = len(grid.bar_start)
    if len(routine.parts) == 1:
        return np.zeros((n_counts, 1), dtype=int)
    if routine.sequence:
        names = [part.name for part in routine.parts]
        places = [names.index(name) for name in routine.sequence]
        return np.tile(places, (n_counts, 1))
    return _parts_by_letter(bar_map, grid, routine, starts, costs)[:, None]


def _parts_by_letter(
    bar_map: BarMap, grid: CountGrid, routine: Routine, starts: Sequence[int], costs: Costs
) -> np.ndarray:
    """Try every way to give the letters parts; ties go to the first part for the first."""
    letters = _letter_of_count(bar_map, grid, routine)
    n_letters = min(int(letters.max()) + 1, MAX_LETTERS)
    n_parts = len(routine.parts)
    gains = gains_of(grid.expected, routine, (), costs).whole
    lengths = [part.counts for part in routine.parts]
    whole_song = np.cumsum(grid.expected[::-1])[::-1]
    best, best_met = np.zeros(len(letters), dtype=int), -np.inf
    for given in itertools.product(range(n_parts), repeat=n_letters):
        if len(set(given)) < min(n_parts, n_letters):
            continue  # every part is there to be danced
        by_letter = np.zeros(int(letters.max()) + 1, dtype=int)
        by_letter[:n_letters] = given
        part_at = by_letter[letters]
        met = max(_met(part_at, gains, lengths, start) / whole_song[start] for start in starts)
        if met > best_met + 1e-9:
            best, best_met = part_at, met
    return best


def _met(part_at: np.ndarray, gains: np.ndarray, lengths: list[int], count: int) -> float:
    """Sum what whole walls from `count` to the end of the song gain."""
    total = 0.0
    while count < len(part_at):
        part = part_at[count]
        total += gains[part, count]
        count += lengths[part]
    return total


def _letter_of_count(bar_map: BarMap, grid: CountGrid, routine: Routine) -> np.ndarray:
    """Number the music under the middle of a wall begun on each count, longest music first.

    The middle, so that a wall a few counts off the section still belongs to it.
    """
    section = np.maximum(grid.section, 0)
    names = [s.letter for s in bar_map.sections] or ["A"]
    counts_of = {
        name: sum(int(np.sum(section == i)) for i, n in enumerate(names) if n == name)
        for name in dict.fromkeys(names)
    }
    rank = {
        name: i for i, name in enumerate(sorted(counts_of, key=counts_of.__getitem__, reverse=True))
    }
    numbers = np.array([rank[name] for name in names])[section]
    ahead = min(part.counts for part in routine.parts) // 2
    return numbers[np.minimum(np.arange(len(section)) + ahead, len(section) - 1)]
