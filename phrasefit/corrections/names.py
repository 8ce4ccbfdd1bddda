"""What a person calls the sections of a song, and where they hear the singing begin."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from phrasefit.clock import clock_time
from phrasefit.corrections.ones import ones_of, require_within
from phrasefit.corrections.sections import NEAR_BARS, bar_at
from phrasefit.model import BarMap, Correction, SectionName


def apply_names(bar_map: BarMap, correction: Correction) -> BarMap:
    """Name sections as a person does, and say where the singing begins.

    Parameters
    ----------
    bar_map : BarMap
        With its sections.
    correction : Correction
        Uses `section_names`, where the last name said of a section holds, and
        `singing_at_s`.

    Returns
    -------
    BarMap
        `bar_map` itself if nothing is named.  A name that finds no section is noted.

    Raises
    ------
    MapError
        If a time lies outside the song.
    """
    singing_s = correction.singing_at_s
    if singing_s is not None:
        require_within(bar_map, singing_s, "the singing")
        bar_map = replace(bar_map, singing_at_s=singing_s)
    if not correction.section_names:
        return bar_map
    said = _by_section(bar_map, correction.section_names)
    sections = tuple(
        replace(section, name=said[index].name) if index in said else section
        for index, section in enumerate(bar_map.sections)
    )
    notes = [
        f"there is no section at {clock_time(name.at_s)} to be called {name.name}"
        for name in correction.section_names
        if name.name and not bar_map.sections
    ]
    return replace(bar_map, sections=sections, notes=(*bar_map.notes, *notes))


def names_that_hold(bar_map: BarMap, names: Sequence[SectionName]) -> tuple[SectionName, ...]:
    """Leave out names that a later one for the same section makes void, and empty ones."""
    if bar_map.sections:
        names = [name for _, name in sorted(_by_section(bar_map, names).items())]
    return tuple(name for name in names if name.name)


def _by_section(bar_map: BarMap, names: Sequence[SectionName]) -> dict[int, SectionName]:
    """Give the last name said of each section."""
    if not bar_map.sections:
        return {}
    starts = np.searchsorted(ones_of(bar_map), [s.start_beat for s in bar_map.sections])
    return {_section_of(starts, bar_at(bar_map, name.at_s)): name for name in names}


def _section_of(starts: np.ndarray, bar: int) -> int:
    """Find the section that a person means who points at a bar.

    That is the one that begins near it, else the one that is heard there.
    """
    near = int(np.argmin(np.abs(starts - bar)))
    if abs(starts[near] - bar) < NEAR_BARS:
        return near
    return max(int(np.searchsorted(starts, bar, side="right")) - 1, 0)
