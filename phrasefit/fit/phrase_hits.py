"""Where each phrase start of the song falls in a plan."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from phrasefit.model import CountGrid, Plan, Tag, Wall


@dataclass(frozen=True, slots=True, kw_only=True)
class PhraseHit:
    """A phrase start on 0-based `count` of the song, of `strength` (0-1).

    It falls `into_counts` counts after the start of wall `wall`, or of the tag
    after it (`in_tag`): 0 = it begins the wall or tag.
    """

    count: int
    strength: float
    wall: int
    into_counts: int
    in_tag: bool = False


def phrase_hits(plan: Plan, grid: CountGrid) -> tuple[PhraseHit, ...]:
    """List the phrase starts from count 1 of the dance to the end of the song."""
    return tuple(
        PhraseHit(
            count=event.count + into,
            strength=float(grid.strength[event.count + into]),
            wall=event.wall,
            into_counts=into,
            in_tag=isinstance(event, Tag),
        )
        for event in plan.events
        if isinstance(event, Wall | Tag)
        for into in np.flatnonzero(grid.strength[event.count : event.count + event.counts]).tolist()
    )
