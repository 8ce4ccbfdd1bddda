"""From the planner's trail to a plan people can read: walls, facings, events, ending.

Facings are simulated move by move, because every restart and turning tag changes the
order of the walls.  Repetitions are numbered from 1, one cut short counts too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from phrasefit.fit.changes import Change
from phrasefit.fit.search import WHOLE
from phrasefit.fit.starts import first_one, first_phrase
from phrasefit.meters import DANCE_METERS
from phrasefit.model import (
    CountGrid,
    Ending,
    Part,
    Plan,
    Restart,
    RestartPoint,
    Routine,
    Tag,
    TagOption,
    Wall,
)
from phrasefit.routine.dancer_state import turn_after
from phrasefit.routine.turns import turn_to_front


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanValue:
    """What a plan is worth [points of the score, see `phrasefit.fit.planner`]."""

    phrase_met: float
    charges: float


def lay_out(
    trail: Sequence[tuple[int, int, int]],
    changes: tuple[Change, ...],
    grid: CountGrid,
    routine: Routine,
    worth: PlanValue,
) -> Plan:
    """Turn a trail of (count, part, change or `WHOLE`) into a `Plan`.

    Returns
    -------
    Plan
        `intro_counts` are counted from the first one, `intro_from_phrase_counts` from
        count 1 of the first phrase (negative if the dance begins before it).
    """
    start = trail[0][0]
    return Plan(
        n_changes=sum(kind != WHOLE for _, _, kind in trail),
        start_count=start,
        start_s=float(grid.times_s[start]),
        intro_counts=start - first_one(grid),
        intro_from_phrase_counts=start - first_phrase(grid),
        events=_events(trail, changes, grid, routine),
        score=min(100.0, max(0.0, worth.phrase_met - worth.charges)),
        phrase_met=worth.phrase_met,
        charges=worth.charges,
    )


def _events(
    trail: Sequence[tuple[int, int, int]],
    changes: tuple[Change, ...],
    grid: CountGrid,
    routine: Routine,
) -> tuple[Wall | Tag | Restart | Ending, ...]:
    """Dance the trail: each wall, the tag and the restart that follow it, and the end."""
    events: list[Wall | Tag | Restart] = []
    facing = 0
    for number, (count, part_index, kind) in enumerate(trail, start=1):
        change = None if kind == WHOLE else changes[kind]
        wall = _wall(number, routine.parts[part_index], count, facing, change, grid)
        if _is_ending(wall, events, grid, routine):
            break
        events.append(wall)
        facing = wall.end_facing
        if change and change.tag:
            tag = _tag(wall, change.tag, grid, cut_short=change.cut is not None)
            events.append(tag)
            facing = tag.end_facing
        if change and change.cut:
            count = wall.count + change.counts
            events.append(_restart(wall, change.cut, count, facing, grid))
    last = next(event for event in reversed(events) if isinstance(event, Wall))
    return (*events, _ending(last, grid))


def _is_ending(
    wall: Wall, before: Sequence[Wall | Tag | Restart], grid: CountGrid, routine: Routine
) -> bool:
    """Tell whether less than an eight of music is left after a whole wall: no wall begins."""
    at_end = wall.count + wall.counts == len(grid.bar_start)
    short = wall.counts < DANCE_METERS[routine.meter].group_counts
    return bool(before) and isinstance(before[-1], Wall) and at_end and short


def _wall(
    number: int, part: Part, start: int, facing: int, change: Change | None, grid: CountGrid
) -> Wall:
    """Dance one repetition, as far as the change or the song lets it go."""
    n_counts = len(grid.bar_start)
    counts = min(change.wall_counts if change else part.counts, n_counts - start)
    turn = change.cut.turn_deg if change and change.cut else turn_after(part)[counts - 1]
    offset, strength = nearest_phrase(grid, start)
    return Wall(
        time_s=float(grid.times_s[start]),
        count=start,
        wall=number,
        facing=facing,
        part=part.name,
        counts=counts,
        end_s=float(grid.times_s[start + counts]),
        end_facing=(facing + turn) % 360,
        phrase_offset=offset,
        phrase_strength=strength,
    )


def nearest_phrase(grid: CountGrid, count: int) -> tuple[int, float]:
    """Give how far `count` is behind the nearest phrase start (- before it), and its strength.

    Half-way between two the earlier one counts.
    """
    starts = np.flatnonzero(grid.strength)
    if not starts.size:
        return 0, 0.0
    nearest = int(starts[np.argmin(np.abs(starts - count))])
    return count - nearest, float(grid.strength[nearest])


def _tag(wall: Wall, option: TagOption, grid: CountGrid, *, cut_short: bool) -> Tag:
    start = wall.count + wall.counts
    end = start + option.counts
    return Tag(
        time_s=float(grid.times_s[start]),
        count=start,
        wall=wall.number,
        after_count=wall.counts,
        facing=wall.end_facing,
        counts=option.counts,
        end_s=float(grid.times_s[end]),
        end_facing=(wall.end_facing + option.turn_deg) % 360,
        cut_short=cut_short,
        name=option.name,
    )


def _restart(wall: Wall, cut: RestartPoint, count: int, facing: int, grid: CountGrid) -> Restart:
    """Begin the dance again on `count`: where the wall was cut, or after the tag put in there."""
    return Restart(
        time_s=float(grid.times_s[count]),
        count=count,
        wall=wall.number,
        after_count=wall.counts,
        facing=facing,
        step_change=cut.step_change,
    )


def _ending(last: Wall, grid: CountGrid) -> Ending:
    """Say where the music leaves the last wall; a whole wall leaves all its counts danced."""
    n_counts = len(grid.bar_start)
    return Ending(
        time_s=float(grid.times_s[-1]),
        count=n_counts,
        wall=last.number,
        after_count=last.counts,
        facing=last.end_facing,
        turn_to_front_deg=turn_to_front(last.end_facing),
        counts_over=n_counts - last.count - last.counts,
    )
