"""The plan as a running list of counts: the one score that all media play from.

Page, practice audio, captions, sheets and exchange files need the same things:
which count sounds when, in which wall, facing where, with which step, and which
event comes next.  `running_counts` gives them count by count, `cue_lines` group
by group (eights, in threes sixes).  Numbers in the words are 1-based; times are
seconds.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import TypedDict

from phrasefit.fit.starts import first_phrase
from phrasefit.meters import DANCE_METERS, DanceMeter, counted_beat_by_beat
from phrasefit.model import CountGrid, Event, FitPlan, Part, Plan, Step, Tag, TagOption, Wall
from phrasefit.reports.event_words import call
from phrasefit.routine.dancer_state import turn_after

COUNT_IN = {bar: row.count_in for bar, row in DANCE_METERS.items()}


@dataclass(frozen=True, slots=True, kw_only=True)
class RunningCount:
    """One count of the song, as the floor hears it.

    `kind` is ``intro``, ``wall``, ``tag`` or ``after``, in a song without a dance ``counts``;
    `wall` counts repetitions from 1 (0 before the dance).  `count` is the 1-based count within
    the wall or tag; before the dance it is negative, -1 on the last count before count 1.
    `spoken` is the number called: 1-8, in threes 1-6.  `events` begin here: a
    wall or a tag, before a wall the restart that leads to it.  `step` is the line of the
    routine danced on this count.
    """

    index: int
    time_s: float
    end_s: float
    kind: str
    wall: int
    count: int
    spoken: int
    facing: int
    events: tuple[Event, ...] = ()
    part: str = ""
    step: Step | None = None

    @property
    def event(self) -> Event | None:
        """What to announce here: a restart goes before the wall that it leads to."""
        return self.events[0] if self.events else None


@dataclass(frozen=True, slots=True, kw_only=True)
class CueLine:
    """One group of counts on a sheet or caption, and the event at its start.

    `first` and `last` are 1-based counts within the wall; `steps` are the lines of
    the routine in it; `warning` announces a tag or restart that follows this group; `music`
    is what a person calls the section in which it begins, empty if nobody named it.
    """

    time_s: float
    end_s: float
    kind: str
    wall: int
    part: str
    first: int
    last: int
    facing: int
    steps: tuple[Step, ...]
    event: Event | None = None
    warning: str = ""
    music: str = ""


def group_size(fit: FitPlan) -> int:
    """Tell how many counts make a group: 8, in threes 6."""
    return DANCE_METERS[fit.routine.meter].group_counts


def running_counts(fit: FitPlan, plan: Plan | None = None) -> tuple[RunningCount, ...]:
    """List every count of the song, from the first of the grid to the last.

    Parameters
    ----------
    fit : FitPlan
    plan : Plan, optional
        One of ``fit.plans``; the advised one if left out.
    """
    plan = plan or fit.plan
    begins = _beginnings(plan)
    rows = [*_before(fit, plan)]
    for event in plan.events:
        if isinstance(event, Wall):
            rows += _wall_counts(fit, event, begins)
        elif isinstance(event, Tag):
            rows += _tag_counts(fit, event, begins)
    rows += _after(fit, rows[-1] if rows else None)
    return tuple(rows)


def song_counts(grid: CountGrid) -> tuple[RunningCount, ...]:
    """Count a song alone, in groups from bar to bar; a phrase begins with a 1.

    Parameters
    ----------
    grid : CountGrid

    Returns
    -------
    tuple of RunningCount
        All of the kind ``counts``; `count` goes on from 1 to the end of the song.
    """
    size, first = counted_alone(grid).group_counts, first_phrase(grid)
    rows, spoken = [], (-first - 1) % size + 1
    for index, is_one in enumerate(grid.bar_start.tolist()):
        spoken = spoken % size + 1 if index else spoken
        if index == first or (is_one and (spoken - 1) % grid.meter):
            spoken = 1  # after an odd bar: afresh
        rows.append(
            RunningCount(
                index=index, time_s=float(grid.times_s[index]),
                end_s=float(grid.times_s[index + 1]), kind="counts", wall=0, count=index + 1,
                spoken=spoken, facing=0,
            )
        )  # fmt: skip
    return tuple(rows)


def counted_alone(grid: CountGrid) -> DanceMeter:
    """Give the meter that a song is counted in where no routine says so."""
    return counted_beat_by_beat(grid.meter)


Beginnings = Mapping[int, tuple[Event, ...]]  # the events that begin on a count of the song


def _beginnings(plan: Plan) -> Beginnings:
    by_count = itertools.groupby(plan.events, lambda event: event.count)
    return {count: tuple(events) for count, events in by_count}


class _Span(TypedDict):
    """When a count of the song is, as `RunningCount` has it."""

    index: int
    time_s: float
    end_s: float


def _span(fit: FitPlan, index: int) -> _Span:
    times = fit.grid.times_s
    return {"index": index, "time_s": float(times[index]), "end_s": float(times[index + 1])}


def _n_counts(fit: FitPlan) -> int:
    return len(fit.grid.times_s) - 1


def _before(fit: FitPlan, plan: Plan) -> Iterator[RunningCount]:
    """Number the intro backwards, so that it runs into count 1."""
    size = group_size(fit)
    for index in range(min(plan.start_count, _n_counts(fit))):
        away = plan.start_count - index
        yield RunningCount(
            **_span(fit, index),
            kind="intro",
            wall=0,
            count=-away,
            spoken=-away % size + 1,
            facing=0,
        )


def _wall_counts(fit: FitPlan, wall: Wall, begins: Beginnings) -> Iterator[RunningCount]:
    part = part_of(fit, wall.part)
    size = group_size(fit)
    facings = facings_in(part, wall.facing)
    for count in range(wall.counts):
        index = wall.count + count
        yield RunningCount(
            **_span(fit, index),
            kind="wall",
            wall=wall.number,
            count=count + 1,
            spoken=count % size + 1,
            facing=facings[count],
            events=begins.get(index, ()),
            part=wall.part,
            step=step_on(part.steps, count),
        )


def _tag_counts(fit: FitPlan, tag: Tag, begins: Beginnings) -> Iterator[RunningCount]:
    option = tag_option(fit, tag)
    for count in range(tag.counts):
        index = tag.count + count
        yield RunningCount(
            **_span(fit, index),
            kind="tag",
            wall=tag.wall,
            count=count + 1,
            spoken=count % group_size(fit) + 1,
            facing=tag.facing,
            events=begins.get(index, ()),
            part=tag.name,
            step=step_on(option.steps, count) if option else None,
        )


def tag_option(fit: FitPlan, tag: Tag) -> TagOption | None:
    """Find the tag of the routine that a plan dances."""
    known = fit.routine.tags
    return next((t for t in known if (t.counts, t.name) == (tag.counts, tag.name)), None)


def _after(fit: FitPlan, last: RunningCount | None) -> Iterator[RunningCount]:
    """Go on counting in groups where the dance has ended before the song."""
    if last is None or last.kind == "intro":
        return
    for n, index in enumerate(range(last.index + 1, _n_counts(fit))):
        yield RunningCount(
            **_span(fit, index), kind="after", wall=last.wall, count=n + 1,
            spoken=n % group_size(fit) + 1, facing=last.facing,
        )  # fmt: skip


def part_of(fit: FitPlan, name: str) -> Part:
    """Find the part of the routine that a wall dances."""
    return next((part for part in fit.routine.parts if part.name == name), fit.routine.parts[0])


def step_on(steps: tuple[Step, ...], count: int) -> Step | None:
    """Find the step under way on the 0-based `count`: the last one begun before its end."""
    begun = [step for step in steps if step.moments and step.moments[0] < count + 1]
    return begun[-1] if begun else None


def facings_in(part: Part, facing: int) -> list[int]:
    """Give the facing at the start of each count of `part`, begun facing `facing`."""
    turned = [0, *turn_after(part)]
    return [(facing + turn) % 360 for turn in turned[: part.counts]]


def cue_lines(fit: FitPlan, plan: Plan | None = None) -> tuple[CueLine, ...]:
    """Group the running counts into lines of a sheet, one 8-count (6-count) each.

    No line runs across an event: a wall cut short ends its line early.
    """
    rows = running_counts(fit, plan)
    groups: list[list[RunningCount]] = []
    for row in rows:
        if not groups or row.spoken == 1 or row.event or row.kind != groups[-1][-1].kind:
            groups.append([])
        groups[-1].append(row)
    lines = [replace(_line(group), music=_name_of_music(fit, group[0].index)) for group in groups]
    return tuple(_warned(line, after) for line, after in itertools.zip_longest(lines, lines[1:]))


def _line(group: list[RunningCount]) -> CueLine:
    first, last = group[0], group[-1]
    steps = tuple(dict.fromkeys(row.step for row in group if row.step is not None))
    return CueLine(
        time_s=first.time_s,
        end_s=last.end_s,
        kind=first.kind,
        wall=first.wall,
        part=first.part,
        first=first.count,
        last=last.count,
        facing=first.facing,
        steps=steps,
        event=first.event,
    )


def _name_of_music(fit: FitPlan, count: int) -> str:
    section = int(fit.grid.section[count])
    return fit.bar_map.sections[section].name if section >= 0 else ""


def _warned(line: CueLine, after: CueLine | None) -> CueLine:
    """Announce a tag or restart one group ahead; a new wall is no surprise."""
    if after is None or after.event is None or isinstance(after.event, Wall):
        return line
    return replace(line, warning=call(after.event))
