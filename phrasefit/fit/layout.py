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
from phrasefit.model import CountGrid, Ending, Part, Plan, Restart, Routine, Tag, Wall
from phrasefit.routine.dancer_state import turn_after
from phrasefit.routine.turns import turn_to_front


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanValue:
    """What a plan is worth [points of the score, see `phrasefit.fit.planner`]."""

    phrase_met: float
    charges: float


def lay_out(
    trail: Sequence[tuple[int, int, int]],
    events: tuple[Change, ...],
    grid: CountGrid,
    routine: Routine,
    worth: PlanValue,
) -> Plan:
    """Turn a trail of (count, part, event or `WHOLE`) into a `Plan`.

    Returns
    -------
    Plan
        `intro_counts` are counted from the first one, `intro_from_phrase_counts` from
        count 1 of the first phrase (negative if the dance begins before it).
    """
    walls: list[Wall] = []
    restarts: list[Restart] = []
    tags: list[Tag] = []
    facing = 0
    for number, (count, part_index, kind) in enumerate(trail, start=1):
        event = None if kind == WHOLE else events[kind]
        part = routine.parts[part_index]
        wall = _wall(number, part, count, facing, event, grid)
        walls.append(wall)
        facing = wall.end_facing
        if event and event.cut:
            restarts.append(
                Restart(
                    wall=number,
                    after_count=event.cut.after_count,
                    facing=facing,
                    time_s=wall.end_s,
                    step_change=event.cut.step_change,
                )
            )
        if event and event.tag:
            tags.append(_tag(wall, event, grid))
            facing = tags[-1].end_facing
    if len(walls) > 1 and walls[-1].counts < DANCE_METERS[routine.meter].group_counts and not event:
        walls.pop()  # less than an eight of music is the ending, not a wall
    start = trail[0][0]
    return Plan(
        n_changes=sum(kind != WHOLE for _, _, kind in trail),
        start_count=start,
        start_s=float(grid.times_s[start]),
        intro_counts=start - first_one(grid),
        intro_from_phrase_counts=start - first_phrase(grid),
        walls=tuple(walls),
        restarts=tuple(restarts),
        tags=tuple(tags),
        ending=_ending(walls[-1], grid),
        score=min(100.0, max(0.0, worth.phrase_met - worth.charges)),
        phrase_met=worth.phrase_met,
        charges=worth.charges,
    )


def _wall(
    number: int, part: Part, start: int, facing: int, event: Change | None, grid: CountGrid
) -> Wall:
    """Dance one repetition, as far as the event or the song lets it go."""
    n_counts = len(grid.bar_start)
    counts = min(event.wall_counts if event else part.counts, n_counts - start)
    turn = event.cut.turn_deg if event and event.cut else turn_after(part)[counts - 1]
    offset, strength = nearest_phrase(grid, start)
    return Wall(
        number=number,
        part=part.name,
        start_count=start,
        start_s=float(grid.times_s[start]),
        end_s=float(grid.times_s[start + counts]),
        counts=counts,
        facing=facing,
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


def _tag(wall: Wall, event: Change, grid: CountGrid) -> Tag:
    start = wall.start_count + wall.counts
    end = start + event.tag.counts
    return Tag(
        after_wall=wall.number,
        counts=event.tag.counts,
        facing=wall.end_facing,
        end_facing=(wall.end_facing + event.tag.turn_deg) % 360,
        time_s=float(grid.times_s[start]),
        end_s=float(grid.times_s[end]),
        name=event.tag.name,
    )


def _ending(last: Wall, grid: CountGrid) -> Ending:
    """Say where the music leaves the last wall; a whole wall leaves all its counts danced."""
    n_counts = len(grid.bar_start)
    return Ending(
        wall=last.number,
        counts_left=last.counts,
        facing=last.end_facing,
        turn_to_front_deg=turn_to_front(last.end_facing),
        time_s=float(grid.times_s[-1]),
        counts_over=n_counts - last.start_count - last.counts,
    )
