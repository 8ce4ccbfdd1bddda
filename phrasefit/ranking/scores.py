"""The planner's score for very many songs at once.

The same dynamic programming as `fit.search`, turned round: there one song is planned
with all that belongs to a plan, here hundreds of songs go through each array operation
together and only the score comes out.  Songs are laid end to end at their *last* count,
so that the same move leads every song the same number of rows down; only counts that a
dance can reach from its starts are kept (steps of `unit` counts).

Exact but for two things: which wall the dance ends on is not followed, nor that tags for odd
bars lead to a bar line.  The score is therefore too high by at most ``costs.end_off_front``
phrase starts (a hundredth of a point in most songs), by more in some with an odd bar:
`ranking.rank` uses it as a bound and plans the songs it shows with `fit_routine`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from phrasefit.fit.changes import Change, after_odd_bar, changes_of, with_odd_bar_tags
from phrasefit.fit.costs import Costs, tag_meeting, wall_meeting
from phrasefit.fit.request import PlanRequest
from phrasefit.meters import DANCE_METERS
from phrasefit.model import Routine
from phrasefit.ranking.starts import Starts, find_starts
from phrasefit.ranking.summary import Grids

BATCH_ROWS = 96  # few enough for the cache of a processor, enough to be worth an operation
NEVER = np.float32(-np.inf)


def can_batch(routine: Routine) -> bool:
    """Tell whether `best_scores` knows the routine: one part, or a given sequence of parts."""
    return len(routine.parts) == 1 or bool(routine.sequence)


def best_scores(grids: Grids, request: PlanRequest, *, n_threads: int = 2) -> np.ndarray:
    """Give the score of the best plan of each song.

    Parameters
    ----------
    grids : Grids
    request : PlanRequest
        For a routine that `can_batch`, without `start_s`.
    n_threads : int
        NumPy works on several batches at a time.

    Returns
    -------
    np.ndarray [shape=(n_songs,), points, at most 100]
        The best score from any start; above the exact one by no more than
        ``costs.end_off_front`` phrase starts (and rounding of single precision) but where a
        song has an odd bar, never below the plan of `fit_routine`, which prefers an early
        start where the difference is not heard.  NaN where no dance is possible.
    """
    routine, starts = request.routine, find_starts(grids, request)
    plain = WallsAndEvents.of(replace(request, max_changes=0, changes=None))
    dance = WallsAndEvents.of(request)
    score = np.full(len(grids.n_counts), np.nan)
    score[starts.song] = -np.inf
    _improve(score, grids, starts, plain, n_threads)
    # Most songs end here: no change can bring more than it costs.
    hope = _hope(starts.points, starts.charge, 0, dance)
    _improve(score, grids, starts.only(hope > score[starts.song]), dance, n_threads)
    if routine.odd_bar_tags:
        odd = _have_odd_bars(grids, routine.meter)
        dance = WallsAndEvents.of(replace(request, routine=with_odd_bar_tags(routine)))
        _improve(score, grids, starts.only(odd[starts.song]), dance, n_threads)
    return score


def _have_odd_bars(grids: Grids, meter: int) -> np.ndarray:
    """Tell in which songs a phrase may begin after an odd bar [shape=(n_songs,)]."""
    odd = after_odd_bar(grids.count - grids.first_one[grids.song], meter)
    found = np.zeros(len(grids.n_counts), dtype=bool)
    found[grids.song[odd]] = True
    return found


def _improve(
    score: np.ndarray, grids: Grids, starts: Starts, dance: WallsAndEvents, n_threads: int
) -> None:
    """Raise `score` of each song to the best found from `starts`."""
    rows = _Rows.of(grids, starts, dance.unit)
    work = partial(_batch_scores, grids=grids, rows=rows, dance=dance)
    batches = range(0, len(rows.song), BATCH_ROWS)
    with ThreadPoolExecutor(n_threads) as pool:
        found = [*pool.map(work, batches)]
    if found:
        np.maximum.at(score, rows.starts.song, np.minimum(np.concatenate(found), 100.0))


def _hope(
    points: np.ndarray, charge: np.ndarray, n_changes: int, dance: WallsAndEvents
) -> np.ndarray:
    """Give what more than `n_changes` changes could reach at best: every phrase met."""
    more = np.arange(n_changes + 1, dance.max_changes + 1)
    if not len(more):
        return np.full(len(points), -np.inf)
    cheapest = min(event.charge for event in dance.events)
    least = np.min(cheapest + (more - 1) * (cheapest - dance.costs.again))
    return 100.0 * dance.most_met - charge - points * least


# ------------------------------------------------------------ walls and events


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WallsAndEvents:
    """The walls and events of a routine, in steps on a grid of `unit` counts.

    `part_of_place` names the part danced at each place of the sequence; `least` is how
    many counts must follow an event.
    """

    events: tuple[Change, ...]
    part_of_place: tuple[int, ...]
    part_counts: tuple[int, ...]
    wall_meeting: tuple[np.ndarray, ...]
    tag_meeting: np.ndarray
    unit: int
    least: int
    max_changes: int
    costs: Costs

    @property
    def most_met(self) -> float:
        """What a phrase start is worth where it is met best."""
        tables = (*self.wall_meeting, self.tag_meeting)
        return max(0.0, *(float(table.max(initial=0.0)) for table in tables))

    @classmethod
    def of(cls, request: PlanRequest) -> WallsAndEvents:
        """Read off a request what the batches need."""
        routine, costs = request.routine, request.costs
        events = changes_of(routine, costs) if request.max_changes else ()
        names = [part.name for part in routine.parts]
        counts = tuple(part.counts for part in routine.parts)
        least = max(1, costs.groups_after_event * DANCE_METERS[routine.meter].group_counts)
        cuts = [event.wall_counts for event in events]
        longest_tag = max((event.tag.counts for event in events if event.tag), default=0)
        return cls(
            events=events,
            part_of_place=tuple(names.index(name) for name in routine.sequence) or (0,),
            part_counts=counts,
            wall_meeting=tuple(wall_meeting(n, routine.meter, costs) for n in counts),
            tag_meeting=tag_meeting(longest_tag, routine.meter, costs),
            unit=math.gcd(*counts, *cuts, *(event.counts for event in events)),
            least=least,
            max_changes=request.max_changes if events else 0,
            costs=costs,
        )


# ----------------------------------------------------------------------- rows


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Rows:
    """A song once for each remainder of its starts, the shortest first.

    A start is `steps` units and `rest` counts (1 to unit) before the end of its song.
    The starts of row `i` are entries ``edges[i]`` to ``edges[i + 1]`` of `starts`.
    """

    song: np.ndarray
    rest: np.ndarray
    starts: Starts
    steps: np.ndarray
    edges: np.ndarray

    @classmethod
    def of(cls, grids: Grids, starts: Starts, unit: int) -> _Rows:
        left = grids.n_counts[starts.song] - starts.count
        rest = (left - 1) % unit + 1
        steps = (left - rest) // unit
        keys, row = np.unique(starts.song * (unit + 1) + rest, return_inverse=True)
        longest = np.zeros(len(keys), dtype=np.int64)
        np.maximum.at(longest, row, steps)
        order = np.argsort(longest, kind="stable")
        place = np.empty(len(order), dtype=np.int64)
        place[order] = np.arange(len(order))
        by_row = np.argsort(place[row], kind="stable")
        sizes = np.bincount(place[row], minlength=len(keys))
        return cls(
            song=keys[order] // (unit + 1),
            rest=keys[order] % (unit + 1),
            starts=starts.only(by_row),
            steps=steps[by_row],
            edges=np.concatenate([[0], np.cumsum(sizes)]),
        )


def _batch_scores(begin: int, *, grids: Grids, rows: _Rows, dance: WallsAndEvents) -> np.ndarray:
    """Score every start of a batch of rows, with the best number of changes for each."""
    end = min(begin + BATCH_ROWS, len(rows.song))
    mine = slice(rows.edges[begin], rows.edges[end])
    column = np.repeat(np.arange(end - begin), np.diff(rows.edges[begin : end + 1]))
    step = rows.steps[mine]
    points, charge = rows.starts.points[mine], rows.starts.charge[mine]
    batch = slice(begin, end)
    phrases = _lay_phrases(grids, rows.song[batch], rows.rest[batch], int(step.max()) + 1, dance)
    scores = np.full(len(step), -np.inf)
    for n_changes, value in enumerate(_layers(phrases, rows.rest[batch], dance)):
        np.maximum(scores, points * value[step, column] - charge, out=scores)
        if np.all(scores >= _hope(points, charge, n_changes, dance)):
            break
    return scores


def _lay_phrases(
    grids: Grids, song: np.ndarray, rest: np.ndarray, n_steps: int, dance: WallsAndEvents
) -> np.ndarray:
    """Lay phrase starts on the steps of each row.

    Returns
    -------
    np.ndarray [shape=(n_steps, unit, n_rows), float32]
        Strength ``b`` counts after the node ``i`` steps before the end.
    """
    unit = dance.unit
    laid = np.zeros((n_steps, unit, len(song)), dtype=np.float32)
    size = grids.edges[song + 1] - grids.edges[song]
    before = np.cumsum(size) - size
    item = np.repeat(grids.edges[song] - before, size) + np.arange(size.sum())
    row = np.repeat(np.arange(len(song)), size)
    ahead = grids.n_counts[song][row] - grids.count[item] - rest[row]
    node = -(-ahead // unit)
    kept = node < n_steps
    node, ahead, row, item = node[kept], ahead[kept], row[kept], item[kept]
    laid[node, node * unit - ahead, row] = grids.expected[item]
    return laid


def _gains(phrases: np.ndarray, dance: WallsAndEvents) -> tuple[list[np.ndarray], np.ndarray]:
    """Sum what each part danced whole, and each event less its charge, gains from each node.

    Returns
    -------
    list of np.ndarray [shape=(n_steps, n_rows)] by part
    np.ndarray [shape=(n_events, n_steps, n_rows)]
    """
    n_steps, unit, n_rows = phrases.shape
    cuts = [
        {e.wall_counts for e in dance.events if e.part == p} for p in range(len(dance.part_counts))
    ]
    walls = [
        _partial_sums(phrases, table, {*lengths, counts})
        for table, lengths, counts in zip(dance.wall_meeting, cuts, dance.part_counts, strict=True)
    ]
    tags = _partial_sums(phrases, dance.tag_meeting, {e.tag.counts for e in dance.events if e.tag})
    event = np.empty((len(dance.events), n_steps, n_rows), dtype=np.float32)
    for gain, kind in zip(event, dance.events, strict=True):
        np.subtract(walls[kind.part][kind.wall_counts], np.float32(kind.charge), out=gain)
        if kind.tag:
            down = kind.wall_counts // unit
            gain[down:] += tags[kind.tag.counts][: max(0, n_steps - down)]
    whole = [wall[counts] for wall, counts in zip(walls, dance.part_counts, strict=True)]
    return whole, event


def _partial_sums(
    phrases: np.ndarray, meeting: np.ndarray, lengths: set[int]
) -> dict[int, np.ndarray]:
    """Sum strength times meeting over the first so many counts from each node."""
    n_steps, unit, n_rows = phrases.shape
    used = np.any(phrases, axis=(0, 2))  # most songs have phrases on every second count only
    total = np.zeros((n_steps, n_rows), dtype=np.float32)
    sums = {}
    for k, worth in enumerate(meeting):
        down, after = divmod(k, unit)
        if worth and used[after] and down < n_steps:
            total[down:] += np.float32(worth) * phrases[: n_steps - down, after]
        if k + 1 in lengths:
            sums[k + 1] = total.copy()
    return sums


# --------------------------------------------------------------------- layers


def _layers(phrases: np.ndarray, rest: np.ndarray, dance: WallsAndEvents) -> Iterator[np.ndarray]:
    """Yield the value of each node at the first place, for 0, 1, 2 ... changes.

    `value`, `after` and `last` are as in `fit.search`, without facings:
    arrays [n_steps, n_rows], with one more dimension in front for the last event.
    """
    whole, gain = _gains(phrases, dance)
    chain = _Chain(dance, whole)
    nothing = [np.full(whole[0].shape, NEVER) for _ in dance.part_of_place]
    value, _ = chain.run(nothing, closes=True)
    yield value[0]
    after = [np.broadcast_to(v, (len(dance.events), *v.shape)).copy() for v in value]
    again, crowded = np.float32(dance.costs.again), np.float32(dance.costs.crowded)
    for n_changes in range(1, dance.max_changes + 1):
        _forbid_late(after, rest, dance)
        event = [_events(gain, after, place, dance) for place in range(len(after))]
        best = [e.max(axis=0) for e in event]
        value, _ = chain.run(best)
        yield value[0]
        if n_changes == dance.max_changes:
            return
        for e, b in zip(event, best, strict=True):
            np.add(e, again, out=e)
            np.maximum(e, b, out=e)
        _, after = chain.run(event)
        for e, a in zip(event, after, strict=True):
            np.subtract(e, crowded, out=e)
            np.maximum(a, e, out=a)


def _forbid_late(after: list[np.ndarray], rest: np.ndarray, dance: WallsAndEvents) -> None:
    """Let no event lead to where too little of the song is left."""
    n_late = -(-dance.least // dance.unit)
    late = rest + dance.unit * np.arange(n_late)[:, None] < dance.least
    for array in after:
        n_steps = array.shape[1]
        array[:, :n_late][:, late[:n_steps]] = NEVER


def _events(
    gain: np.ndarray, after: list[np.ndarray], place: int, dance: WallsAndEvents
) -> np.ndarray:
    """Give the value of each event at each node of a place."""
    part, onward = dance.part_of_place[place], after[(place + 1) % len(after)]
    n_steps = gain.shape[1]
    value = np.full(gain.shape, NEVER)
    for index, event in enumerate(dance.events):
        down = event.counts // dance.unit
        if event.part == part and down < n_steps:
            np.add(gain[index, down:], onward[index, : n_steps - down], out=value[index, down:])
    return value


@dataclass(frozen=True, slots=True, kw_only=False, eq=False)
class _Chain:
    """Whole walls one after the other."""

    dance: WallsAndEvents
    whole: list[np.ndarray]

    def run(
        self, event: list[np.ndarray], *, closes: bool = False
    ) -> tuple[list[np.ndarray], list[np.ndarray]]:
        """Let whole walls come before `event`, by place; `closes`: they may end the song.

        Returns the value of the best of both, and of the whole wall alone.  Filled in
        blocks of the shortest part, as no wall leads back into its own block.
        """
        places = self.dance.part_of_place
        steps = [self.dance.part_counts[part] // self.dance.unit for part in places]
        value = [np.empty_like(e) for e in event]
        alone = [np.empty_like(e) for e in event]
        n_steps = event[0].shape[-2]
        for begin in range(0, n_steps, min(steps)):
            end = min(begin + min(steps), n_steps)
            for place, part in enumerate(places):
                gain, ahead = self.whole[part], steps[place]
                over = min(max(begin, ahead), end)  # before it the song ends within the wall
                alone[place][..., begin:over, :] = gain[begin:over] if closes else NEVER
                onward = value[(place + 1) % len(places)]
                np.add(
                    gain[over:end],
                    onward[..., over - ahead : end - ahead, :],
                    out=alone[place][..., over:end, :],
                )
                np.maximum(
                    alone[place][..., begin:end, :],
                    event[place][..., begin:end, :],
                    out=value[place][..., begin:end, :],
                )
        return value, alone
