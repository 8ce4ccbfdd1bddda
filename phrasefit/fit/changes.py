"""All the ways in which a wall of a routine can end.

Whole, or cut short at a restart point; then straight into the next wall, or after
a tag.  An *event* is anything but "whole, straight on": a restart, a tag, or a
restart followed by a tag, which the trade sees as one ("dance 16 counts of wall 5,
add the 4-count tag, restart") and which therefore counts as one change.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from phrasefit.fit.costs import Costs, tag_meeting, wall_meeting
from phrasefit.meters import DANCE_METERS
from phrasefit.model import Part, RestartPoint, Routine, TagOption


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One kind of event: where the wall of part `part` is cut, which tag follows.

    `cut` is None for a whole wall, `tag` None for no tag; not both.  `counts` and
    `turn_deg` are those of the wall and tag together; `charge` is in phrase starts.
    """

    part: int
    cut: RestartPoint | None
    tag: TagOption | None
    wall_counts: int
    counts: int
    turn_deg: int
    charge: float


def after_odd_bar(counts: np.ndarray, meter: int) -> np.ndarray:
    """Tell to which `counts` from the first one of the song no number of usual bars leads."""
    return counts % DANCE_METERS[meter].song_bar_counts != 0


def with_odd_bar_tags(routine: Routine) -> Routine:
    """Allow the tags that only a song with an odd bar asks for."""
    return replace(routine, tags=(*routine.tags, *routine.odd_bar_tags), odd_bar_tags=())


def changes_of(routine: Routine, costs: Costs) -> tuple[Change, ...]:
    """List every event the routine allows, the cheapest first.

    The order settles ties in the planner: cheaper, then the shorter tag, then the
    later cut.
    """
    events = []
    for index, part in enumerate(routine.parts):
        cuts = [p for p in part.restart_points if 0 < p.after_count < part.counts]
        for cut in (None, *cuts):
            for tag in (None, *routine.tags):
                if cut or tag:
                    events.append(_event(index, part, cut, tag, routine.meter, costs))
    return tuple(sorted(events, key=_order))


def _order(event: Change) -> tuple[float, int, int, int]:
    tag_counts = event.tag.counts if event.tag else 0
    return round(event.charge, 9), tag_counts, -event.wall_counts, event.part


def _event(
    index: int,
    part: Part,
    cut: RestartPoint | None,
    tag: TagOption | None,
    meter: int,
    costs: Costs,
) -> Change:
    wall_counts = cut.after_count if cut else part.counts
    wall_turn = cut.turn_deg if cut else part.turn_deg
    return Change(
        part=index,
        cut=cut,
        tag=tag,
        wall_counts=wall_counts,
        counts=wall_counts + (tag.counts if tag else 0),
        turn_deg=wall_turn + (tag.turn_deg if tag else 0),
        charge=_charge(part, cut, tag, meter, costs),
    )


def _charge(
    part: Part, cut: RestartPoint | None, tag: TagOption | None, meter: int, costs: Costs
) -> float:
    """Add up what an event costs by itself, wherever it comes [phrase starts]."""
    charge = 0.0
    if cut:
        charge += costs.restart
        group = DANCE_METERS[meter].group_counts
        charge += costs.restart_off_group * (cut.after_count % group != 0)
        charge += costs.restart_early * (cut.after_count <= group)
        charge += costs.step_change * bool(cut.step_change)
    if tag:
        charge += costs.tag + costs.tag_per_count * max(0, tag.counts - meter)
        charge += costs.turning_tag * (tag.turn_deg != 0)
    if cut and tag:
        charge -= min(costs.joined, charge)
    turned = (cut.turn_deg if cut else part.turn_deg) + (tag.turn_deg if tag else 0)
    if turned % 360 == 0 and part.turn_deg % 360 != 0:
        charge += costs.same_facing
    return charge


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Gains:
    """What walls and events gain on a song, for each count of the song they begin on.

    `whole` [shape=(n_parts, n_counts), phrase starts]: a whole wall (or what is left
    of the song); `event` [shape=(n_counts, n_events)]: the wall as cut, and the tag;
    charges are not taken off.
    """

    whole: np.ndarray
    event: np.ndarray


def gains_of(
    strength: np.ndarray, routine: Routine, events: tuple[Change, ...], costs: Costs
) -> Gains:
    """Lay every wall and tag on every count of the song.

    Parameters
    ----------
    strength : np.ndarray [shape=(n_counts,), 0-1]
        Strength of the phrase start on each count.
    """
    n = len(strength)
    walls = [_sums(strength, wall_meeting(p.counts, routine.meter, costs)) for p in routine.parts]
    longest_tag = max((e.tag.counts for e in events if e.tag), default=0)
    tags = _sums(strength, tag_meeting(longest_tag, routine.meter, costs))
    tags = np.vstack([tags, np.zeros((max(p.counts for p in routine.parts), tags.shape[1]))])
    event = np.zeros((n, len(events)))
    for column, kind in enumerate(events):
        event[:, column] = walls[kind.part][:, kind.wall_counts]
        if kind.tag:
            event[:, column] += tags[kind.wall_counts : kind.wall_counts + n, kind.tag.counts]
    return Gains(whole=np.stack([wall[:, -1] for wall in walls]), event=event)


def _sums(strength: np.ndarray, meeting: np.ndarray) -> np.ndarray:
    """Sum strength times meeting over the first k counts from each count: [n, k]."""
    length = len(meeting)
    padded = np.concatenate([strength, np.zeros(length)])
    windows = np.lib.stride_tricks.sliding_window_view(padded, length)[: len(strength)]
    sums = np.zeros((len(strength), length + 1))
    np.cumsum(windows * meeting, axis=1, out=sums[:, 1:])
    return sums


def facing_unit(routine: Routine, events: tuple[Change, ...]) -> int:
    """Give the largest angle of which every facing at a wall start is a multiple."""
    turns = [part.turn_deg for part in routine.parts] + [event.turn_deg for event in events]
    return math.gcd(360, *turns)
