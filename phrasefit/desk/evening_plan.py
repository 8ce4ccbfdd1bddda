"""One evening as it is kept, and laid out anew from the songs as they are known now.

What is kept names songs and routines; times, tempos and words are never kept, so a song
that is corrected later is right in every evening.
"""

from __future__ import annotations

import json
import threading
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from phrasefit.clock import seconds_of_day
from phrasefit.desk.desk import Desk
from phrasefit.desk.endpoints import NotThere
from phrasefit.desk.routines import routine_called
from phrasefit.desk.songs import analysis_of
from phrasefit.desk.wishes import plainly, read_wishes
from phrasefit.errors import ParameterError, PhrasefitError
from phrasefit.evening.by_hand import arranged
from phrasefit.evening.evening import (
    MAX_CHANGES,
    Dance,
    Evening,
    EveningRequest,
    Pairing,
    curve_at,
)
from phrasefit.fit import fit_routine
from phrasefit.fit.request import PlanRequest
from phrasefit.model import Routine
from phrasefit.reports import floor_list
from phrasefit.reports.evening_words import again_at, course_words
from phrasefit.store import Store

KIND = "evening"  # in the store
GONE = "this evening has been removed"
MOST_PLANS_KEPT = 400

Document = dict[str, Any]


def evening_called(store: Store, name: str) -> Document:
    """Recall an evening.

    Raises
    ------
    NotThere
        If there is none of this name.
    """
    kept = store.desk_item(KIND, name)
    if kept is None:
        raise NotThere(GONE)
    return kept


@dataclass(frozen=True, kw_only=True, eq=False)
class Laid:
    """An evening laid out: what can be danced, and why the rest cannot.

    `dances` has one for each place, None where there is a fault.
    """

    evening: Evening
    dances: tuple[Dance | None, ...]
    faults: tuple[str, ...]
    starts_at_s: float | None

    def whole(self) -> Evening:
        """Give the evening for a list.

        Raises
        ------
        ParameterError
            If it is empty, or a place of it cannot be danced.
        """
        for place, fault in enumerate(self.faults, start=1):
            if fault:
                raise ParameterError(f"place {place}: {fault}; or remove it from the evening")
        if not self.evening.dances:
            raise ParameterError("the evening has no dances yet; fill it first")
        return self.evening


class _Plans:
    """The plans made lately; a song that is corrected is planned anew."""

    def __init__(self) -> None:
        self._known: dict[tuple[str, str, str, Routine], Pairing] = {}
        self._lock = threading.Lock()

    def get(self, desk: Desk, store: Store, song: str, routine: Routine) -> Pairing:
        """Give the plan of a routine for a song."""
        corrected = json.dumps(store.get_correction(song))
        name = (str(store.path), song, corrected, routine)
        with self._lock:
            known = self._known.get(name)
        if known is None:
            bar_map = analysis_of(desk, store, song).bar_map
            known = Pairing(key=song, fit=fit_routine(bar_map, request_for(routine)))
            with self._lock:
                if len(self._known) >= MOST_PLANS_KEPT:
                    del self._known[next(iter(self._known))]
                self._known[name] = known
        return known


_plans = _Plans()


def request_for(routine: Routine) -> PlanRequest:
    """Say what is asked of the planner for a dance of an evening."""
    return PlanRequest(routine=routine, max_changes=MAX_CHANGES)


def pairing_of(desk: Desk, store: Store, song: str, routine_key: str) -> Pairing:
    """Lay a routine over a song as it is known now.

    Raises
    ------
    PhrasefitError
        If song or routine are not known any more, or do not go together.
    """
    return _plans.get(desk, store, song, routine_called(store, routine_key))


def wishes_of(kept: Document) -> EveningRequest:
    """Read the wishes of an evening, with its locked places."""
    locked = tuple(
        (place, dance["song"], dance["name"])
        for place, dance in enumerate(kept["dances"], start=1)
        if dance["locked"]
    )
    return replace(read_wishes(kept["wishes"]), kept=locked)


def laid_out(desk: Desk, store: Store, kept: Document) -> Laid:
    """Lay out an evening from what is known of its songs and routines now."""
    pairings: list[Pairing | None] = []
    faults = []
    for dance in kept["dances"]:
        try:
            pairings.append(pairing_of(desk, store, dance["song"], dance["routine"]))
            faults.append("")
        except PhrasefitError as exc:
            pairings.append(None)
            faults.append(plainly(str(exc)))
    places = [place for place, pairing in enumerate(pairings, start=1) if pairing]
    wishes = wishes_of(kept)
    still = {place: at for at, place in enumerate(places, start=1)}  # what cannot be danced is out
    stay = tuple((still[at], song, name) for at, song, name in wishes.kept if at in still)
    evening = arranged(
        [pairing for pairing in pairings if pairing],
        replace(wishes, kept=stay),
        notes=kept["notes"],
    )
    # Words name the places that the list shows.
    numbered = [replace(d, place=at) for d, at in zip(evening.dances, places, strict=True)]
    left = iter(numbered)
    return Laid(
        evening=replace(evening, dances=tuple(numbered)),
        dances=tuple(next(left) if pairing else None for pairing in pairings),
        faults=tuple(faults),
        starts_at_s=seconds_of_day(kept["starts_at"]),
    )


# ------------------------------------------------------------------ for the screen


def shown_evening(kept: Document, laid: Laid) -> dict[str, Any]:
    """Lay out an evening for the screen: its facts, its rows, its drawing."""
    facts = {
        key: kept[key]
        for key in ("revision", "title", "date", "starts_at", "where", "routines", "songs", "notes")
    }
    return facts | {
        "wishes": kept["wishes"],
        "about": floor_list.about(laid.evening, laid.starts_at_s),
        "rows": _rows(kept, laid),
        "course": _course(laid),
        "can_undo": bool(kept["earlier"]),
    }


Rows = tuple[floor_list.Item | None, floor_list.Item]  # the lesson before a dance, and the dance


def rows_of(laid: Laid) -> list[Rows | None]:
    """Give for each place its rows of the floor list; None where nothing can be danced."""
    items = iter(floor_list.items(laid.evening))
    return [
        (next(items) if dance.taught else None, next(items)) if dance else None
        for dance in laid.dances
    ]


def _rows(kept: Document, laid: Laid) -> list[dict[str, Any]]:
    """List dances and lessons in order, in the words of the floor list."""
    rows: list[dict[str, Any]] = []
    for place, (dance, items) in enumerate(zip(laid.dances, rows_of(laid), strict=True), start=1):
        here = kept["dances"][place - 1]
        about = {
            "place": place,
            **{key: here[key] for key in ("locked", "song", "routine", "name", "title")},
        }
        if dance is None or items is None:
            fault = {"kind": "fault", "fault": laid.faults[place - 1]}
            rows.append(about | fault | {"names": [here["name"], here["title"]]})
            continue
        lesson, item = items
        if lesson:
            rows.append({"kind": "lesson"} | _row(lesson, laid))
        about |= {"kind": "dance", "again": list(again_at(laid.evening, dance))}
        rows.append(about | {"why": ", ".join(dance.reasons)} | _row(item, laid))
    return rows


def _row(item: floor_list.Item, laid: Laid) -> dict[str, Any]:
    return {
        "when": floor_list.when_words(item.start_s, laid.starts_at_s),
        "names": list(item.names),
        "facts": item.facts,
        "calls": list(item.calls),
    }


def _course(laid: Laid) -> dict[str, Any]:
    """Lay out what is drawn: each dance in time and tempo, lessons, the tempo wished for."""
    evening = laid.evening
    lesson_s = 60 * evening.request.teach_minutes
    return {
        "length_s": evening.length_s,
        "words": list(course_words(evening)),
        "dances": [
            {
                "place": place,
                "start_s": dance.start_s,
                "length_s": dance.pairing.length_s,
                "tempo": dance.pairing.counts_per_minute,
                "wished": curve_at(evening.request, place - 1, len(laid.dances)),
                "lesson_s": lesson_s if dance.taught else 0,
                "routine": dance.pairing.fit.routine.name,
            }
            for place, dance in enumerate(laid.dances, start=1)
            if dance is not None
        ],
    }


def kept_dances(pairs: Sequence[tuple[Pairing, str]], locked: set[int]) -> list[Document]:
    """Lay out dances (pairing, key of the routine) as they are kept; `locked` are places."""
    return [
        {
            "song": pairing.key,
            "routine": key,
            "title": pairing.fit.bar_map.title,
            "name": pairing.fit.routine.name,
            "locked": place in locked,
        }
        for place, (pairing, key) in enumerate(pairs, start=1)
    ]
