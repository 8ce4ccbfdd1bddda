"""Tags and restarts that a person demands or rules out, as limits on the planner's moves.

A *move* is one wall, whole or as an event of `phrasefit.fit.changes` ends it, with the tag
that may follow.  Every count of the dance lies in one move, so what is demanded at a place
comes down to ruling out every move that passes the place without it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from phrasefit.fit.changes import Change
from phrasefit.model import EventKind


@dataclass(frozen=True, slots=True, kw_only=True)
class Bounds:
    """Places by counts of the song, each ``(kind, count)``.

    On `count` a tag begins, or the dance begins again after a restart.  After a tag of
    `odd_tags` [counts] a wall begins with a bar, one of `bars` [counts of the song]: such a tag
    mends what an odd bar did, and nobody puts a dance off the beat before it.
    """

    demanded: tuple[tuple[EventKind, int], ...] = ()
    forbidden: tuple[tuple[EventKind, int], ...] = ()
    odd_tags: tuple[int, ...] = ()
    bars: tuple[int, ...] = ()

    def allow_events(self, count: np.ndarray, events: Sequence[Change]) -> np.ndarray:
        """Tell which events may be danced from walls that begin on `count`.

        Returns
        -------
        np.ndarray [shape=(len(count), len(events)), bool]
        """
        here = count[:, None]
        then = here + np.array([event.counts for event in events], dtype=int)
        begins = {
            EventKind.TAG: here + np.array([event.wall_counts for event in events], dtype=int),
            EventKind.RESTART: then,
        }
        has = {
            EventKind.TAG: np.array([event.tag is not None for event in events], dtype=bool),
            EventKind.RESTART: np.array([event.cut is not None for event in events], dtype=bool),
        }
        tags = np.array([event.tag.counts if event.tag else 0 for event in events], dtype=int)
        odd = np.isin(tags, self.odd_tags)
        allowed = np.ones(then.shape, dtype=bool)
        allowed[:, odd] = np.isin(then[:, odd], self.bars)
        for kind, place in self.forbidden:
            allowed &= ~(has[kind] & (begins[kind] == place))
        for kind, place in self.demanded:
            as_asked = has[kind] & (begins[kind] == place)
            allowed &= as_asked | ~_passes(kind, place, here, then)
        return allowed

    def allow_whole(self, count: np.ndarray, lengths: np.ndarray) -> np.ndarray:
        """Tell from which `count` a whole wall of so many counts may be danced."""
        allowed = np.ones(count.shape, dtype=bool)
        for kind, place in self.demanded:
            allowed &= ~_passes(kind, place, count, count + lengths)
        return allowed

    def allow_start(self, count: int) -> bool:
        """Tell whether what is demanded can still come in a dance that begins on `count`."""
        return all(count < place for _, place in self.demanded)


FREE = Bounds()


def _passes(kind: EventKind, place: int, first: np.ndarray, then: np.ndarray) -> np.ndarray:
    """Tell which moves take up the place where a demanded event must come.

    A tag there lies in the move; a restart ends the move.
    """
    if kind is EventKind.TAG:
        return (first <= place) & (place < then)
    return (first < place) & (place <= then)
