"""The exact planner: dynamic programming over (count, facing, changes used).

A *node* is a count on which a wall may begin, together with the place in the sequence
of parts.  From it the dance goes on with a whole wall, or with one of the events of
`fit.changes`.  ``value[m][node, f, last]`` is the most that can still be gained from a
wall beginning at `node`, facing ``f`` units from the front, with exactly `m` changes to
come, when the last event was of kind `last` (an event of the same kind again is
cheaper).  ``after[m]`` is the same where the wall before ended in an event (another one
at once is dearer).  With ``next`` the node after a whole wall, and ``e`` the events:

    event[m][node, f, e] = gain(node, e) - charge(e) + after[m-1][next(node, e), f + turn(e), e]
    value[m][node, f, last] = max(gain(node) + value[m][next, f + turn, last],
                                  max over e of event[m][node, f, e],
                                  event[m][node, f, last] + again)

Layers are filled by m, and within a layer in blocks of one wall from the end of the
song, each block by whole-array operations: O(nodes * events * facings * changes) in
all.  Nothing is pruned but what cannot be reached from the starts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from phrasefit.fit.bounds import FREE, Bounds
from phrasefit.fit.changes import Change, changes_of, facing_unit, gains_of
from phrasefit.fit.costs import Costs
from phrasefit.meters import DANCE_METERS
from phrasefit.model import Routine
from phrasefit.routine.dancer_state import turn_after

TIE = 1e-9  # differences below this are rounding, not preference
WHOLE = -1  # in a trail: the wall is danced whole and the next follows at once


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lattice:
    """The nodes that can be reached and where each move leads.

    `count`, `place`, `part` [shape=(n_nodes,)] ascend by count.  `next_whole`
    [shape=(n_nodes,)] is the node after a whole wall, `n_nodes` where the song ends
    first; `next_event` [shape=(n_nodes, n_events)], `n_nodes` where not allowed.
    `whole_charge` [shape=(n_nodes,)] is infinite where a whole wall is ruled out, else 0.
    `last_turn` [shape=(n_nodes,), degrees] is turned by the end of the song.
    """

    count: np.ndarray
    place: np.ndarray
    part: np.ndarray
    next_whole: np.ndarray
    next_event: np.ndarray
    last_turn: np.ndarray
    whole_charge: np.ndarray

    def node_at(self, count: int) -> int:
        """Find the node of a start: that count, at the beginning of the sequence."""
        return int(np.flatnonzero((self.count == count) & (self.place == 0))[0])


def build_lattice(
    routine: Routine,
    events: tuple[Change, ...],
    part_at: np.ndarray,
    starts: Sequence[int],
    least_after_event: int,
    bounds: Bounds,
) -> Lattice:
    """Find what can be reached from `starts`.

    Parameters
    ----------
    part_at : np.ndarray [shape=(n_counts, n_places)]
        Which part a wall dances that begins on this count at this place of the sequence.
    starts : sequence of int
        Counts on which the dance may begin.
    least_after_event : int
        An event is allowed only if so many counts of the song follow it.
    bounds : Bounds
        Which moves are ruled out.
    """
    n_counts, n_places = part_at.shape
    whole = np.array([part.counts for part in routine.parts])
    lengths = np.array([event.counts for event in events], dtype=int)
    of_part = np.array([event.part for event in events], dtype=int)
    last_after_event = n_counts - max(1, least_after_event)
    event_lengths = [set(lengths[of_part == part].tolist()) for part in range(len(whole))]
    reached = _reach(part_at, whole.tolist(), event_lengths, starts, last_after_event)
    count, place = np.nonzero(reached)
    part = part_at[count, place]
    n_nodes = len(count)
    index = np.full((n_counts + 1, n_places), n_nodes)
    index[count, place] = np.arange(n_nodes)
    following = (place + 1) % n_places
    then = count[:, None] + lengths
    allowed = (of_part == part[:, None]) & (then <= last_after_event)
    next_event = index[np.minimum(then, n_counts), following[:, None]]
    allowed &= bounds.allow_events(count, events)
    longest = max(whole)
    turned = np.zeros((len(whole), longest), dtype=int)
    for row, p in zip(turned, routine.parts, strict=True):
        row[: p.counts] = turn_after(p)
        row[p.counts :] = p.turn_deg
    return Lattice(
        count=count,
        place=place,
        part=part,
        next_whole=index[np.minimum(count + whole[part], n_counts), following],
        next_event=np.where(allowed, next_event, n_nodes),
        last_turn=turned[part, np.minimum(n_counts - count, longest) - 1],
        whole_charge=np.where(bounds.allow_whole(count, whole[part]), 0.0, np.inf),
    )


def _reach(
    part_at: np.ndarray,
    whole: list[int],
    event_lengths: list[set[int]],
    starts: Sequence[int],
    last_after_event: int,
) -> np.ndarray:
    """Mark what any dance can reach [n_counts, n_places]; whole numbers serve as bit sets."""
    n_counts, n_places = part_at.shape
    steps = [sum(1 << length for length in lengths) for lengths in event_lengths]
    event_room = (1 << max(0, last_after_event + 1)) - 1
    reached = [0] * n_places
    reached[0] = sum(1 << start for start in set(starts))
    rows = part_at.tolist()
    for count in range(n_counts):
        here = [place for place in range(n_places) if reached[place] >> count & 1]
        for place in here:
            part = rows[count][place]
            then = (steps[part] << count & event_room) | 1 << (count + whole[part])
            reached[(place + 1) % n_places] |= then
    bits = [[bits >> count & 1 for bits in reached] for count in range(n_counts)]
    return np.array(bits, dtype=bool)


class Search:
    """Best ways on from every node, for each exact number of changes.

    Parameters
    ----------
    strength : np.ndarray [shape=(n_counts,), 0-1]
    routine : Routine
    part_at : np.ndarray [shape=(n_counts, n_places)]
    starts : sequence of int
        Counts on which the dance may begin.
    max_changes : int
    costs : Costs
    bounds : Bounds, optional
        Tags and restarts that there must or must not be.
    """

    def __init__(
        self,
        strength: np.ndarray,
        routine: Routine,
        *,
        part_at: np.ndarray,
        starts: Sequence[int],
        max_changes: int,
        costs: Costs,
        bounds: Bounds = FREE,
    ) -> None:
        self.events = changes_of(routine, costs) if max_changes else ()
        self._costs = costs
        self._charges = np.array([event.charge for event in self.events])
        self._gains = gains_of(strength, routine, self.events, costs)
        least = costs.groups_after_event * DANCE_METERS[routine.meter].group_counts
        self.lattice = build_lattice(routine, self.events, part_at, starts, least, bounds)
        self._face(routine)
        self._fill(max_changes, min(part.counts for part in routine.parts))

    def _face(self, routine: Routine) -> None:
        """Number the facings that walls can begin with; one is enough if none is charged."""
        unit = facing_unit(routine, self.events) if self._costs.end_off_front else 360
        facing = np.arange(360 // unit)
        turns = np.array([part.turn_deg // unit for part in routine.parts], dtype=int)
        event_turns = np.array([event.turn_deg // unit for event in self.events], dtype=int)
        lattice = self.lattice
        self._facing_whole = (facing + turns[lattice.part][:, None]) % len(facing)
        self._facing_event = (facing[:, None] + event_turns) % len(facing)
        off_front = (facing * unit + lattice.last_turn[:, None]) % 360 != 0
        self._ending = -self._costs.end_off_front * off_front

    def _fill(self, max_changes: int, shortest: int) -> None:
        """Fill the layers, no change first; all are [n_nodes + 1, n_facings, n_events + 1]."""
        lattice = self.lattice
        n_nodes, n_facings = self._ending.shape
        n_events = len(self.events)
        # Rows of a layer after a whole wall; places in a layer, laid flat, after an event.
        self._row_whole = lattice.next_whole[:, None] * n_facings + self._facing_whole
        row_event = lattice.next_event[:, None, :] * n_facings + self._facing_event
        self._flat_event = row_event * (n_events + 1) + np.arange(n_events)
        gain = self._gains.whole[lattice.part, lattice.count] - lattice.whole_charge
        gain = gain[:, None, None]
        event_gain = (self._gains.event[lattice.count] - self._charges)[:, None, :]
        nothing = np.full((n_nodes, n_facings, 1), -np.inf)
        plain, _ = self._chain(nothing, gain, shortest, final=self._ending)
        self._value = [np.repeat(plain, n_events + 1, axis=2)]
        self._after = [self._value[0]]
        for _ in range(max_changes):
            event = event_gain + self._after[-1].ravel().take(self._flat_event)
            best = np.repeat(
                event.max(axis=2, keepdims=True, initial=-np.inf), n_events + 1, axis=2
            )
            np.maximum(best[..., :-1], event + self._costs.again, out=best[..., :-1])
            value, after = self._chain(best, gain, shortest)
            np.maximum(after[:-1], best - self._costs.crowded, out=after[:-1])
            self._value.append(value)
            self._after.append(after)

    def _chain(
        self,
        event: np.ndarray,
        gain: np.ndarray,
        shortest: int,
        final: np.ndarray | None = None,
    ) -> tuple[np.ndarray, np.ndarray]:
        """Let whole walls come before `event`; `final` closes the song (None: it may not).

        Returns the value of the best of both, and of the whole wall alone.
        """
        n_nodes, n_facings, depth = event.shape
        value = np.full((n_nodes + 1, n_facings, depth), -np.inf)
        whole = value.copy()
        rows = value.reshape(-1, depth)
        count = self.lattice.count
        ends = self.lattice.next_whole == n_nodes
        stop = n_nodes
        while stop:
            start = int(np.searchsorted(count, count[stop - 1] - shortest + 1))
            block = slice(start, stop)
            onward = rows.take(self._row_whole[block], axis=0)
            if final is not None:
                onward[ends[block]] = final[block][ends[block]][:, :, None]
            np.add(gain[block], onward, out=whole[block])
            np.maximum(whole[block], event[block], out=value[block])
            stop = start
        return value, whole

    def value(self, count: int, n_changes: int) -> float:
        """Give the best net gain from a start with exactly `n_changes` [phrase starts].

        Minus infinity where so many changes cannot be made.
        """
        return float(self._value[n_changes][self.lattice.node_at(count), 0, -1])

    def gain(self, count: int, part: int, kind: int) -> float:
        """Give what one wall of a trail gains, before charges [phrase starts]."""
        if kind == WHOLE:
            return float(self._gains.whole[part, count])
        return float(self._gains.event[count, kind])

    def trail(self, count: int, n_changes: int) -> list[tuple[int, int, int]]:
        """Walk the best way from a start: (count, part, index into `events` or `WHOLE`).

        Of equal ways the one that waits longest with each event is taken, so that a
        tag stands as close as possible to the phrase start it fixes.
        """
        node, last, facing, crowded = self.lattice.node_at(count), len(self.events), 0, False
        walls = []
        while node < len(self.lattice.count):
            kind = self._choose(n_changes, node, last, facing, crowded)
            walls.append((int(self.lattice.count[node]), int(self.lattice.part[node]), kind))
            if kind == WHOLE:
                facing = self._facing_whole[node, facing]
                node, crowded = int(self.lattice.next_whole[node]), False
            else:
                node = int(self.lattice.next_event[node, kind])
                facing, last, crowded = self._facing_event[facing, kind], kind, True
                n_changes -= 1
        return walls

    def _choose(self, n_changes: int, node: int, last: int, facing: int, crowded: bool) -> int:
        """Take the whole wall unless an event gains more than rounding."""
        if n_changes == 0:
            return WHOLE
        lattice, costs = self.lattice, self._costs
        gains = self._gains.event[lattice.count[node]] - self._charges - costs.crowded * crowded
        gains += self._after[n_changes - 1].ravel().take(self._flat_event[node, facing])
        if last < len(gains):
            gains[last] += costs.again
        whole = self._gains.whole[lattice.part[node], lattice.count[node]]
        whole -= lattice.whole_charge[node]
        after_whole = lattice.next_whole[node], self._facing_whole[node, facing], last
        if whole + self._value[n_changes][after_whole] >= gains.max() - TIE:
            return WHOLE
        return int(np.flatnonzero(gains >= gains.max() - TIE)[0])
