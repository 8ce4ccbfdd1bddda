"""The evening on paper for the floor: what comes next, where count 1 is, what to call.

Black on white, one block a dance that never breaks over a page; teaching is a row of its
own.  With the time of day the evening begins, each row says when it is due.  When rows are due
follows from how fast songs are played; every time within a song is that of the recording, as
on all other sheets.
"""

from __future__ import annotations

from dataclasses import dataclass

from phrasefit.clock import clock_time, time_of_day
from phrasefit.evening.evening import Dance, Evening
from phrasefit.model import FitPlan, Plan, Restart, Tag
from phrasefit.reports.event_words import counts_words, timed_call
from phrasefit.reports.flow import Flow
from phrasefit.reports.fonts import isolated
from phrasefit.reports.leaf import (
    BODY_PT,
    HEAD_PT,
    HEAVY_RULE_PT,
    LEFT_PT,
    SMALL_PT,
    Leaf,
    draw,
)
from phrasefit.reports.paper import Document
from phrasefit.reports.playlists import tempo_words
from phrasefit.reports.rows import Row, row_of, set_words
from phrasefit.reports.words import recording_faults

LEAST_PT = 9.0
TIME_EM, PLACE_EM = 3.6, 1.9  # widths of the columns of times and places
FOOT = (
    "Playing recorded music in a class or at a dance is a public performance: it needs a license,"
    " whoever bought the file. Ask your venue which one it holds."
    " Keep a clear floor, offer steps without turns, leave a pause after fast dances."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One row of the evening: a dance, or teaching before it."""

    start_s: float
    place: str
    names: tuple[str, ...]
    facts: str = ""
    calls: tuple[str, ...] = ()


def floor_list(
    evening: Evening,
    *,
    title: str = "Floor list",
    paper: str = "a4",
    starts_at_s: float | None = None,
) -> Document:
    """Lay out the list of an evening.

    Parameters
    ----------
    title : str
        Printed on top, such as the name of the evening.
    paper : str
        ``a4`` or ``letter``.
    starts_at_s : float, optional
        The time of day it begins [seconds after midnight]; if left out, times are
        counted from the beginning.
    """
    leaves = floor_leaves(evening, title=title, paper=paper, starts_at_s=starts_at_s)
    return draw(leaves, title=title, paper=paper)


def floor_leaves(
    evening: Evening,
    *,
    title: str = "Floor list",
    paper: str = "a4",
    starts_at_s: float | None = None,
) -> list[Leaf]:
    """Lay out the list, nothing drawn; as `floor_list`."""
    flow = Flow(paper, title, foot=FOOT)
    flow.heading(title)
    flow.words(about(evening, starts_at_s), BODY_PT)
    flow.clear()
    flow.leaf.rule(flow.y, HEAVY_RULE_PT)
    for item in items(evening):
        flow.group(_row(flow, item, starts_at_s))
    return flow.finish()


def about(evening: Evening, starts_at_s: float | None) -> str:
    """Say how many dances it has, how long it is, and when it begins and ends."""
    n = len(evening.dances)
    words = f"{n} dance{'' if n == 1 else 's'}, {clock_time(evening.length_s, decimals=0)}"
    if starts_at_s is None:
        return words
    ends = time_of_day(starts_at_s + evening.length_s)
    return f"{words}, from {time_of_day(starts_at_s)} to {ends}"


def when_words(start_s: float, starts_at_s: float | None) -> str:
    """Say when a row is due: the time of day, or how long after the beginning."""
    if starts_at_s is None:
        return clock_time(start_s, decimals=0)
    return time_of_day(starts_at_s + start_s)


def items(evening: Evening) -> list[Item]:
    """List the dances in order, each lesson before the dance that is taught."""
    listed = []
    for dance in evening.dances:
        if dance.taught:
            listed.append(_lesson(evening, dance))
        listed.append(_dance(dance))
    return listed


def _lesson(evening: Evening, dance: Dance) -> Item:
    minutes = evening.request.teach_minutes
    return Item(
        start_s=dance.start_s - 60 * minutes,
        place="",
        names=(f"TEACH {dance.pairing.fit.routine.name}, {minutes:g} minutes",),
    )


def _dance(dance: Dance) -> Item:
    fit = dance.pairing.fit
    as_recorded = " as recorded" if fit.tempo.change_percent else ""
    facts = (
        f"count 1 at {clock_time(fit.plan.start_s)}, after {counts_words(fit.plan.intro_counts)}",
        tempo_words(dance),
        f"{clock_time(fit.bar_map.duration_s, decimals=0)} long{as_recorded}",
        *recording_faults(fit.bar_map),
    )
    return Item(
        start_s=dance.start_s,
        place=str(dance.place),
        names=(fit.routine.name, _song(fit)),
        facts="; ".join(facts),
        calls=event_calls(fit.plan),
    )


def _song(fit: FitPlan) -> str:
    names = filter(None, (fit.bar_map.title, fit.bar_map.artist))
    return " \u2013 ".join(isolated(name) for name in names)


def event_calls(plan: Plan) -> tuple[str, ...]:
    """Write each restart and tag as it is called, in the order danced."""
    return tuple(timed_call(event) for event in plan.events if isinstance(event, Tag | Restart))


def _row(flow: Flow, item: Item, starts_at_s: float | None) -> Row:
    """Set routine and song in bold, then what else must be known, smaller."""
    size = HEAD_PT - 1
    when = when_words(item.start_s, starts_at_s)
    x_place = LEFT_PT + TIME_EM * size
    x = x_place + PLACE_EM * size
    room = flow.leaf.right - x
    said = [set_words(name, room, size, least=LEAST_PT, bold=True) for name in item.names]
    said.append(set_words(item.facts, room, SMALL_PT + 0.5, least=LEAST_PT))
    changes = item.calls if item.calls or not item.facts else ("no restart, no tag",)
    said += [
        set_words(words, room, SMALL_PT + 1.5, least=LEAST_PT, bold=bool(item.calls))
        for words in changes
    ]
    cells = [
        (LEFT_PT, [set_words(when, TIME_EM * size - 4, size, least=LEAST_PT, bold=True)]),
        (x_place, [set_words(item.place, PLACE_EM * size - 4, size, least=LEAST_PT)]),
        (x, said),
    ]
    return row_of(cells, lead=0, pad=3)
