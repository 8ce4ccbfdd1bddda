"""Where each phrase start of the song falls in a plan."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from phrasefit.model import CountGrid, Plan


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
    tags = {tag.after_wall: tag.counts for tag in plan.tags}
    hits = []
    for wall in plan.walls:
        tag_start = wall.start_count + wall.counts
        stretches = (
            (wall.start_count, wall.counts, False),
            (tag_start, tags.get(wall.number, 0), True),
        )
        for start, counts, in_tag in stretches:
            for into in np.flatnonzero(grid.strength[start : start + counts]).tolist():
                hits.append(
                    PhraseHit(
                        count=start + into,
                        strength=float(grid.strength[start + into]),
                        wall=wall.number,
                        into_counts=into,
                        in_tag=in_tag,
                    )
                )
    return tuple(hits)
