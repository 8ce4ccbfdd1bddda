"""The plan that an address names: a song, a routine or its numbers, and which of the plans.

In addresses ``routine`` is the key of a routine, or ``counts``, ``walls`` and ``waltz``
stand for one; ``start`` (seconds), ``intro``, ``changes`` and ``most`` are what
`PlanRequest` calls `start_s`, `intro`, `changes` and `max_changes`; ``restart`` and ``tag`` are
the places where there must be one, ``no_restart`` and ``no_tag`` where there must be none
(seconds, with commas between).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING

from phrasefit.errors import ParameterError, shown

if TYPE_CHECKING:
    from phrasefit.desk.desk import Desk
    from phrasefit.fit.request import ChangePlace, PlanRequest
    from phrasefit.hand_out import Planned
    from phrasefit.model import Routine
    from phrasefit.store import Store

MOST_COUNTS = 1024
MOST_PLACES = 12  # of each kind, as many as a plan may have changes


def plan_of(desk: Desk, store: Store, content_hash: str, query: Mapping[str, str]) -> Planned:
    """Lay the routine that `query` names over a song that has been heard.

    Raises
    ------
    NotThere
        If song or routine is not known.
    ParameterError
        If a number is out of range.
    NoFitError
        If there is no plan.
    """
    from phrasefit.desk.songs import analysis_of
    from phrasefit.hand_out import planned

    request = request_of(store, query)
    analysis = analysis_of(desk, store, content_hash)
    return planned(analysis.bar_map, request, analysis)


def request_of(store: Store, query: Mapping[str, str]) -> PlanRequest:
    """Read what is asked of the planner."""
    from phrasefit.fit.request import DEFAULT_MAX_CHANGES, PlanRequest

    most = _whole(query, "most")
    return PlanRequest(
        routine=routine_of(store, query),
        start_s=_number(query, "start"),
        intro=_whole(query, "intro"),
        changes=_whole(query, "changes"),
        demanded=_places(query, "restart", "tag"),
        forbidden=_places(query, "no_restart", "no_tag"),
        max_changes=DEFAULT_MAX_CHANGES if most is None else most,
    )


def routine_of(store: Store, query: Mapping[str, str]) -> Routine:
    """Read the routine, or make one of its numbers."""
    from phrasefit.desk.routines import routine_called
    from phrasefit.meters import FOURS, THREES
    from phrasefit.routine.spec import routine_from_numbers

    if query.get("routine"):
        return routine_called(store, query["routine"])
    counts = _whole(query, "counts")
    if counts is None:
        raise ParameterError("no routine is chosen; choose one, or say how many counts it has")
    meter = THREES if query.get("waltz") else FOURS
    return routine_from_numbers(
        counts=counts, walls=_whole(query, "walls") or 1, meter=meter.bar_counts
    )


def name_of_routine(query: Mapping[str, str]) -> str:
    """Name the routine for a file, as the command line does."""
    from phrasefit.desk.routines import name_in_messages
    from phrasefit.hand_out import numbers_name

    if query.get("routine"):
        return name_in_messages(query["routine"])
    walls = _whole(query, "walls") or 1
    return numbers_name(_whole(query, "counts") or 0, walls, waltz=bool(query.get("waltz")))


def _places(query: Mapping[str, str], restart: str, tag: str) -> tuple[ChangePlace, ...]:
    """Read the places of restarts and tags: seconds with commas between."""
    from phrasefit.fit.request import ChangePlace
    from phrasefit.model import EventKind

    return tuple(
        ChangePlace(kind=kind, at_s=at_s)
        for key, kind in ((restart, EventKind.RESTART), (tag, EventKind.TAG))
        for text in query.get(key, "").split(",")[:MOST_PLACES]
        if (at_s := _number({key: text}, key)) is not None
    )


def _number(query: Mapping[str, str], key: str) -> float | None:
    text = query.get(key, "")
    if not text:
        return None
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise ParameterError(f"{key}={shown(text)} is no number; go back and choose again")
    return value


def _whole(query: Mapping[str, str], key: str) -> int | None:
    value = _number(query, key)
    if value is None:
        return None
    if value != int(value) or not 0 <= value <= MOST_COUNTS:
        raise ParameterError(
            f"{key}={shown(query[key])} must be a whole number, 0 to {MOST_COUNTS}"
        )
    return int(value)
