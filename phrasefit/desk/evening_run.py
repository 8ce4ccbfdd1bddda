"""An evening while it is danced: one dance at a time, and what was reached goes on record."""

from __future__ import annotations

import secrets
import time
from typing import Any

from starlette.requests import Request
from starlette.routing import BaseRoute, Route

from phrasefit.desk.desk import Desk
from phrasefit.desk.endpoints import changing, reading
from phrasefit.desk.evening_plan import (
    KIND,
    Document,
    Laid,
    Rows,
    evening_called,
    laid_out,
    rows_of,
)
from phrasefit.desk.record import write_lesson
from phrasefit.fields import Fields
from phrasefit.reports import floor_list
from phrasefit.reports.dj_card import card_rows
from phrasefit.reports.event_words import ending_sentence
from phrasefit.reports.playlists import tempo_words
from phrasefit.store import Store

ONE_EVENING_S = 12 * 3600.0  # opened again later than that, it is run anew
# Rows of the DJ's card, and whether one looks for them while the song begins.
ON_THE_SCREEN = {"count in": True, "count 1": True, "tempo": False, "length": False, "walls": False}


def _run(desk: Desk, request: Request) -> Any:
    """Lay out an evening to be run, and where the person stands in it."""
    name = request.path_params["name"]
    with desk.store() as store:
        kept = evening_called(store, name)
        laid = laid_out(desk, store, kept)
    return {
        "title": kept["title"],
        "dances": [_dance(kept, laid, *here) for here in enumerate(rows_of(laid), start=1)],
        "place": _where(kept)["place"],
    }


def _dance(kept: Document, laid: Laid, place: int, rows: Rows | None) -> dict[str, Any]:
    """Lay out one dance for the dark screen, in the words of the DJ's card and the floor list."""
    dance, here = laid.dances[place - 1], kept["dances"][place - 1]
    if dance is None or rows is None:
        names = [here["name"], here["title"]]
        return {"place": place, "names": names, "fault": laid.faults[place - 1]}
    (lesson, item), fit = rows, dance.pairing.fit
    said = dict(card_rows(fit, fit.plan))
    return {
        "place": place,
        "when": floor_list.when_words(dance.start_s, laid.starts_at_s),
        "names": list(item.names),
        "lesson": lesson.names[0] if lesson else "",
        "rows": [[label, said[label], strong] for label, strong in ON_THE_SCREEN.items()],
        "calls": list(item.calls),
        "ends": ending_sentence(fit.plan.ending),
        "pace": tempo_words(dance),
    }


def _where(kept: Document) -> Document:
    """Give where the person stands: before the first dance (0) unless it is being run."""
    run = kept.get("run")
    if run and time.time() - run["at"] < ONE_EVENING_S:
        return dict(run)
    return {"id": secrets.token_hex(6), "place": 0}


def _go(desk: Desk, request: Request, sent: Fields) -> Any:
    """Go to a place (0: before the first, one past the last: the end); note what is danced.

    Where one stands is no change of the evening itself: its revision stays.
    """
    name = request.path_params["name"]
    with desk.store() as store:
        kept = evening_called(store, name)
        n = len(kept["dances"])
        place = sent.whole("place", low=0, high=n + 1)
        run = _where(kept) if place else _where({})
        run |= {"place": place, "at": time.time()}
        store.edit_desk_item(KIND, name, lambda now: now and now | {"run": run})
        if 1 <= place <= n:
            _note(desk, store, name, kept, place, run["id"])
    return {"place": place}


def _note(desk: Desk, store: Store, name: str, kept: Document, place: int, run: str) -> None:
    """Write the dance into the record, once for each time that the evening is run."""
    laid = laid_out(desk, store, kept)
    dance, here = laid.dances[place - 1], kept["dances"][place - 1]
    if dance is None:
        return
    entry = write_lesson(
        store,
        fit=dance.pairing.fit,
        song=here["song"],
        routine_key=here["routine"],
        how="evening",
        where=kept["where"],
        note=kept["title"],
        name=f"{run}-{here['song'][:12]}-{here['routine']}",
    )
    desk.news.publish("record", {"id": entry})


ROUTES: list[BaseRoute] = [
    Route("/api/evenings/{name}/run", reading(_run)),
    Route("/api/evenings/{name}/run", changing(_go), methods=["POST"]),
]
