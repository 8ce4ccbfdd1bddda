"""Plans made up of any events and any names, and what their sheets must say of them."""

from __future__ import annotations

import random
import unicodedata
from dataclasses import replace
from fractions import Fraction

from hypothesis import strategies as st

from fit_songs import make_part, make_routine
from phrasefit.clock import clock_time
from phrasefit.fit import PlanRequest, fit_routine
from phrasefit.model import (
    Ending,
    FitPlan,
    Part,
    Plan,
    Restart,
    RestartPoint,
    Routine,
    Step,
    Tag,
    TagOption,
    Wall,
    one_line,
)
from phrasefit.reports.paper import printable
from phrasefit.routine.turns import clock
from songs import song

PARTS = ("A", "B", "C")
LENGTHS = {"A": 32, "B": 48, "C": 16}
BASE = fit_routine(
    song((32, *[64] * 40)),
    make_routine(*(make_part(name, LENGTHS[name], 90, {}) for name in PARTS), sequence=PARTS),
)
ONE_PART = fit_routine(song((32, *[64] * 40)), make_routine(make_part("A", 32, 90, {})))
FACINGS = st.sampled_from((0, 90, 180, 270))
SCRIPTS = "aåñßzéABŁWΩπЖя漢字かなカ한글 -'12"  # written from left to right


def names(most: int = 120) -> st.SearchStrategy[str]:
    """Draw names as a bar map or a routine holds them; always the same few, of all lengths.

    So widths are measured once, and thousands of plans can be laid out.
    """
    rng = random.Random(0)
    lengths = (1, 2, 3, 5, 8, 13, 21, 34, 55, 90, 120)
    drawn = ["".join(rng.choices(SCRIPTS, k=n)) for n in lengths if n <= most for _ in range(2)]
    real = ["touch on count 16", "on count 16 touch the right foot instead of stepping on it"]
    return st.sampled_from([name for name in map(one_line, (*drawn, *real)) if name])


@st.composite
def plans(draw: st.DrawFn, texts: st.SearchStrategy[str], most_walls: int = 30) -> FitPlan:
    """Draw a plan of any walls, tags and restarts, with any names."""
    base = draw(st.sampled_from((BASE, ONE_PART)))
    parts = [part.name for part in base.routine.parts]
    count = start = draw(st.integers(0, 64))
    events: list = []
    for number in range(1, draw(st.integers(1, most_walls)) + 1):
        part = draw(st.sampled_from(parts))
        how = draw(st.sampled_from(("", "", "tag", "restart", "both")))
        whole = how in ("", "tag")
        counts = LENGTHS[part] if whole else draw(st.sampled_from((4, 8, 12)))
        events.append(_wall(base, number, part, count, counts, draw(FACINGS)))
        count += counts
        if how in ("tag", "both"):
            length = draw(st.integers(1, 16))
            name = draw(st.one_of(st.just(""), texts))
            facings = draw(FACINGS), draw(FACINGS)
            events.append(_tag(base, events[-1], count, length, name, facings, cut=not whole))
            count += length
        if not whole:
            change = draw(st.one_of(st.just(""), texts))
            wall = next(e for e in reversed(events) if isinstance(e, Wall))
            events.append(
                Restart(time_s=_at(base, count), count=count, wall=number, after_count=wall.counts,
                        facing=draw(FACINGS), step_change=change)
            )  # fmt: skip
    if isinstance(events[-1], Restart):  # something is danced after it
        events.append(_wall(base, number + 1, parts[0], count, 8, draw(FACINGS)))
        count += 8
    wall = next(e for e in reversed(events) if isinstance(e, Wall))
    facing = draw(FACINGS)
    events.append(
        Ending(time_s=_at(base, count), count=count, wall=wall.number, after_count=wall.counts,
               facing=facing, turn_to_front_deg=-facing, counts_over=draw(st.integers(0, 7)))
    )  # fmt: skip
    plan = replace(
        BASE.plan, events=tuple(events), start_count=start, start_s=_at(base, start),
        intro_counts=start, n_changes=sum(isinstance(e, Tag | Restart) for e in events),
    )  # fmt: skip
    return replace(
        base,
        plans=(plan,),
        best=0,
        chosen=0,
        request=PlanRequest(routine=replace(base.routine, name=draw(texts), by=draw(texts))),
        bar_map=replace(base.bar_map, title=draw(texts), artist=draw(texts)),
    )


@st.composite
def routines(draw: st.DrawFn, texts: st.SearchStrategy[str]) -> Routine:
    """Draw a routine of several parts with any steps, headings, restarts, tags and notes."""
    parts = [_part(draw, name, texts) for name in "ABC"[: draw(st.integers(1, 3))]]
    tags = [
        TagOption(counts=4, name=draw(texts), steps=_steps(draw, 4, texts))
        for _ in range(draw(st.integers(0, 2)))
    ]
    return Routine(
        name=draw(texts), by=draw(texts), parts=tuple(parts), walls=4, tags=tuple(tags),
        sequence=tuple(part.name for part in parts) if len(parts) > 1 else (),
        notes=tuple(draw(st.lists(texts, max_size=2))),
    )  # fmt: skip


def _part(draw: st.DrawFn, name: str, texts: st.SearchStrategy[str]) -> Part:
    counts = draw(st.sampled_from((16, 32, 64)))
    points = [
        RestartPoint(
            after_count=count, turn_deg=draw(FACINGS), step_change=draw(st.just("") | texts)
        )
        for count in range(8, counts, 8)
    ]
    return Part(
        name=name, counts=counts, turn_deg=90, steps=_steps(draw, counts, texts),
        restart_points=tuple(points[: draw(st.integers(0, len(points)))]),
    )  # fmt: skip


def _steps(draw: st.DrawFn, counts: int, texts: st.SearchStrategy[str]) -> tuple[Step, ...]:
    return tuple(
        Step(
            line=count, counts=f"{count % 8 + 1}-{count % 8 + 2}", name=draw(texts),
            moments=(Fraction(count), Fraction(count + 1)), feet=("R", "L"),
            heading=draw(st.just("") | texts),
        )
        for count in range(0, counts, 2)
    )  # fmt: skip


def _at(fit: FitPlan, count: int) -> float:
    return float(fit.grid.times_s[min(count, len(fit.grid.times_s) - 1)])


def _wall(fit: FitPlan, number: int, part: str, count: int, counts: int, facing: int) -> Wall:
    return Wall(
        time_s=_at(fit, count), count=count, wall=number, facing=facing, part=part,
        counts=counts, end_s=_at(fit, count + counts), end_facing=0, phrase_offset=0,
        phrase_strength=1.0,
    )  # fmt: skip


def _tag(
    fit: FitPlan, wall: Wall, count: int, counts: int, name: str, facings: tuple[int, int], *,
    cut: bool,
) -> Tag:  # fmt: skip
    return Tag(
        time_s=_at(fit, count), count=count, wall=wall.number, after_count=wall.counts,
        facing=facings[0], counts=counts, end_s=_at(fit, count + counts), end_facing=facings[1],
        cut_short=cut, name=name,
    )  # fmt: skip


def squeezed(text: str) -> str:
    """Leave out white space: words may be broken anywhere.  Letters in their usual form."""
    return unicodedata.normalize("NFKC", "".join(text.split()))


def event_facts(fit: FitPlan, plan: Plan, kind: str) -> list[str]:
    """List what a sheet must say of the events, in order, as pieces of text."""
    found: list[str] = []
    for event in plan.events:
        time = clock_time(event.time_s, decimals=int(kind == "page"))
        facing = clock(event.facing)
        if isinstance(event, Wall):
            part = [f"part {event.part}"] if len(fit.routine.parts) > 1 else []
            counts = [str(event.counts)] if kind == "page" else []
            found += [str(event.wall), time, facing, *counts, *part] if kind != "floor" else []
        else:
            found += _change_facts(event, kind, time, facing)
    return [squeezed(printable(fact)) for fact in found]


def _change_facts(event: Tag | Restart | Ending, kind: str, time: str, facing: str) -> list[str]:
    if isinstance(event, Ending):
        what, more = ["END"], [f"{event.counts_over} count"] if event.counts_over else []
    elif isinstance(event, Tag):
        after = f"after {event.after_count}" if event.cut_short else f"after wall {event.wall}"
        turned = [f"turning to {clock(event.end_facing)}"]
        more = [event.name, *(turned if event.end_facing != event.facing else [])]
        what = [f"TAG {event.counts}", *([after] if event.cut_short else [])]
        if kind == "floor":
            what = [after, f"TAG, {event.counts} count"]
    else:
        what, more = [f"RESTART after {event.after_count}"], [event.step_change]
        if kind == "floor":
            what = [f"wall {event.wall}, after {event.after_count}:", "RESTART"]
    return [*what, *more] if kind == "floor" else [time, facing, *what, *more]


def missing_in_order(text: str, facts: list[str]) -> list[str]:
    """Name the first fact that does not follow the one before it."""
    at = 0
    for fact in facts:
        place = text.find(fact, at)
        if place < 0:
            return [fact]
        at = place + len(fact)
    return []
