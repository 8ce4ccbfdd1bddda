"""The song under another reading, as far as planning needs it.

Without listening again, so that a map from a file is read as a song that was heard: what was
found on the bars goes with them.  A correction (`phrasefit.corrections`) looks for sections
anew and may find them a little otherwise.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TypeVar

import numpy as np

from phrasefit.fit.grid import SHOWN_SHARE
from phrasefit.model import BarMap, CountGrid, Phrase, Section, form_starts

Stretch = TypeVar("Stretch", Section, Phrase)


def with_ones_moved(bar_map: BarMap, beats: int) -> BarMap:
    """Begin every bar, section and phrase so many beats later (negative: earlier)."""
    n = bar_map.positions.size
    source = np.arange(n) - beats
    inside = np.clip(source, 0, n - 1)
    lead = (bar_map.positions[inside] - 1 + source - inside) % bar_map.meter + 1
    positions = np.where(source == inside, bar_map.positions[inside], lead)
    sections = _all_moved(bar_map.sections, beats, n)
    phrases = _all_moved(bar_map.phrases, beats, n)
    outlook = bar_map.all_forms
    if outlook is not None:
        lines = np.maximum(outlook.beats + beats, 0)
        kept = lines < n
        outlook = replace(
            outlook,
            beats=lines[kept],
            sections=outlook.sections[kept],
            phrases=outlook.phrases[:, kept],
            likeliest=np.array(form_starts(sections, phrases)),
        )
    return replace(
        bar_map, positions=positions, sections=sections, phrases=phrases, outlook=outlook
    )


def _all_moved(stretches: tuple[Stretch, ...], beats: int, n: int) -> tuple[Stretch, ...]:
    moved = (_moved(stretch, beats, n) for stretch in stretches)
    return tuple(stretch for stretch in moved if stretch)


def _moved(stretch: Stretch, beats: int, n: int) -> Stretch | None:
    """Move a stretch within the song's `n` beats; None where nothing of it is left."""
    start = max(stretch.start_beat + beats, 0)
    end = min(stretch.start_beat + stretch.n_beats + beats, n)
    return replace(stretch, start_beat=start, n_beats=end - start) if end > start else None


def in_meter(bar_map: BarMap, meter: int) -> BarMap:
    """Count bars of `meter` beats from the first one on."""
    n = bar_map.positions.size
    first = int(np.argmax(bar_map.positions == 1))
    return replace(bar_map, meter=meter, positions=(np.arange(n) - first) % meter + 1)


def at_level(bar_map: BarMap, beats_per_count: float) -> BarMap:
    """Count at this level, whatever the tempo."""
    return replace(bar_map, beats_per_count=beats_per_count)


def without_section(grid: CountGrid, index: int, phrase_counts: int) -> CountGrid:
    """Let the phrases of the section before run on through section `index`.

    Parameters
    ----------
    grid : CountGrid
    index : int
        Of a section that begins on a count after the first.
    phrase_counts : int
        From one phrase start to the next.
    """
    here = np.flatnonzero(grid.section == index)
    before = np.flatnonzero(grid.strength[: here[0]])
    if before.size:
        strength = _with_phrases_from(grid.strength, int(before[-1]), here, phrase_counts)
    else:
        strength = np.where(grid.section == index, 0.0, grid.strength)
    return _shown_so(grid, strength, int(here[0]))


def with_section(grid: CountGrid, count: int, phrase_counts: int) -> CountGrid:
    """Let a section begin on a count where none is shown, up to the next that is.

    Parameters
    ----------
    grid : CountGrid
    count : int
        After the first section's start.  Nearer than two bars to where a section begins that
        is shown, that section begins here instead.
    phrase_counts : int
        From one phrase start to the next.
    """
    sections = np.flatnonzero(np.diff(grid.section)) + 1
    near = sections[np.abs(sections - count) < 2 * grid.meter]
    for index in grid.section[near].tolist():
        grid = without_section(grid, index, phrase_counts)
    later = sections[sections > max(count, *near.tolist(), 0)]
    end = int(later[0]) if later.size else len(grid.strength)
    strength = grid.strength.copy()
    strength[count] = 1.0
    strength = _with_phrases_from(strength, count, np.arange(count + 1, end), phrase_counts)
    return _shown_so(grid, strength, count)


def _shown_so(grid: CountGrid, strength: np.ndarray, settled: int) -> CountGrid:
    """Show phrases of `strength`; what else was expected stays so, but on the count `settled`."""
    if np.array_equal(grid.expected, grid.strength):  # nothing else is expected
        return replace(grid, strength=strength, expected=strength)
    expected = grid.expected + SHOWN_SHARE * (strength - grid.strength)
    expected[settled] = strength[settled]
    return replace(grid, strength=strength, expected=np.clip(expected, 0.0, 1.0))


def _with_phrases_from(
    strength: np.ndarray, start: int, here: np.ndarray, phrase_counts: int
) -> np.ndarray:
    """Let phrases on the counts `here`, if any, run on from the phrase start before them."""
    if not here.size:
        return strength
    strength = strength.copy()
    inner = strength[here[1:]]
    level = float(inner.max(initial=0.0))  # of phrases that begin inside a section there
    strength[here] = 0.0
    starts = np.arange(start + phrase_counts, int(here[-1]) + 1, phrase_counts)
    ends = starts + phrase_counts // 2 <= here[-1] + 1  # a shorter rest is no phrase
    strength[starts[ends]] = level or strength[start] / 2
    return strength
