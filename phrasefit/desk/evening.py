"""The view "Evening": evenings put together by wishes and by hand, kept as they are made."""

from __future__ import annotations

import datetime
import secrets
from collections.abc import Callable
from typing import Any
from weakref import WeakKeyDictionary

from starlette.requests import Request
from starlette.routing import BaseRoute, Route

from phrasefit.clock import seconds_of_day
from phrasefit.desk import evening_files, evening_run
from phrasefit.desk.desk import Desk
from phrasefit.desk.endpoints import NotThere, Stale, changing, reading
from phrasefit.desk.evening_plan import (
    GONE,
    KIND,
    Document,
    evening_called,
    kept_dances,
    laid_out,
    pairing_of,
    shown_evening,
    wishes_of,
)
from phrasefit.desk.evening_work import Found, Search, Searches
from phrasefit.desk.routines import routine_called, routine_keys
from phrasefit.desk.wishes import document_of, form, plainly, read_wishes, usual
from phrasefit.errors import ParameterError, shown
from phrasefit.fields import Fields
from phrasefit.model import one_line
from phrasefit.store import Store

CHANGED = "this evening was changed in another window; here is how it is now"
CHANGED_MEANWHILE = "the evening was changed during the search; fill it again if you like"
NEW_TITLE = "New evening"
MOST_DANCES, MOST_ROUTINES, MOST_SONGS, MOST_UNDONE = 200, 1000, 20_000, 30

_searches: WeakKeyDictionary[Desk, Searches] = WeakKeyDictionary()


def prepare(desk: Desk) -> None:
    """Give the desk its searches."""
    searches = _searches[desk] = Searches()
    desk.busy.append(searches.is_busy)
    desk.closing.append(searches.stop_all)


# ------------------------------------------------------------------------- reading


def _state(desk: Desk, name: str, kept: Document, searching: Any = None) -> dict[str, Any]:
    """Lay out an evening for the screen, and what is being searched for it."""
    with desk.store() as store:
        laid = laid_out(desk, store, kept)
        folder = evening_files.songs_folder(store, laid.evening)
    about = {"id": name, "searching": searching, "trouble": _searches[desk].troubles.get(name, "")}
    return shown_evening(kept, laid) | about | {"songs_folder": folder}


def _list(desk: Desk, _request: Request) -> Any:
    with desk.store() as store:
        kept = store.desk_items(KIND)
    rows = [
        {
            "id": name,
            **{key: evening[key] for key in ("title", "date", "where", "revision")},
            "n_dances": len(evening["dances"]),
            "changed_at": evening["changed_at"],
        }
        for name, evening in kept.items()
    ]
    rows.sort(key=lambda row: (row["date"], row["changed_at"]), reverse=True)
    return {"evenings": rows, "wishes": form()}


def _one(desk: Desk, request: Request) -> Any:
    name = request.path_params["name"]
    searching = _searches[desk].state(name)  # asked first: when it has ended, all is kept
    with desk.store() as store:
        return _state(desk, name, evening_called(store, name), searching)


# ------------------------------------------------------------------------ changing


def _new(desk: Desk, _request: Request, sent: Fields) -> Any:
    """Make an evening, empty or as another one was."""
    name, copied = secrets.token_hex(6), sent.text("copy_of")
    with desk.store() as store:
        made: Document = {
            "title": NEW_TITLE,
            "date": datetime.date.today().isoformat(),
            "starts_at": "",
            "where": "",
            "wishes": usual(),
            "routines": routine_keys(store),
            "songs": [],
            "dances": [],
            "notes": [],
        }
        if copied:
            other = evening_called(store, copied)
            made |= {key: other[key] for key in made if key != "date"}
            made["title"] = f"{other['title']} (copy)"
        made |= {"earlier": [], "refused": [], "revision": 0}
        kept = store.edit_desk_item(KIND, name, lambda _none: _touched(made))
    return _told(desk, name, kept or made)


def _touched(kept: Document) -> Document:
    now = datetime.datetime.now(datetime.UTC).timestamp()
    return kept | {"revision": kept["revision"] + 1, "changed_at": now}


def _told(desk: Desk, name: str, kept: Document) -> Any:
    state = _state(desk, name, kept, _searches[desk].state(name))
    desk.news.publish("evening", {"id": name, "revision": kept["revision"]})
    return state


def _change(desk: Desk, request: Request, sent: Fields) -> Any:
    """Change one thing; what, says ``do``."""
    name, what = request.path_params["name"], sent.text("do")
    if what not in CHANGES:
        raise ParameterError(f"{shown(what)} is nothing that can be done; load the page again")
    with desk.store() as store:
        kept = _seen(desk, store, name, sent)
        made = _touched(CHANGES[what](desk, store, kept, sent))
        _put(desk, store, name, kept["revision"], made)
    _searches[desk].troubles.pop(name, None)
    return _told(desk, name, made)


def _seen(desk: Desk, store: Store, name: str, sent: Fields) -> Document:
    """Recall an evening that must be as the page has seen it."""
    kept = evening_called(store, name)
    if kept["revision"] != sent.whole("revision", low=1, high=2**31):
        raise Stale(CHANGED, state=_state(desk, name, kept))
    return kept


def _put(desk: Desk, store: Store, name: str, revision: int, made: Document | None) -> None:
    """Keep a changed evening, or remove it, unless somebody else was quicker."""
    now: list[Document | None] = []

    def change(kept: Document | None) -> Document | None:
        now[:] = [kept]
        if not kept or kept["revision"] != revision:
            return kept
        return made and made | {"run": kept.get("run")}  # where it is run may have changed

    store.edit_desk_item(KIND, name, change)
    (kept,) = now
    if kept is None:
        raise NotThere(GONE)
    if kept["revision"] != revision:
        raise Stale(CHANGED, state=_state(desk, name, kept))


def _with_dances(kept: Document, dances: list[Document], **more: Any) -> Document:
    """Put other dances into an evening; the earlier ones can be had back.

    What was said of the dances before is true of them only.
    """
    earlier = [*kept["earlier"], {"dances": kept["dances"], "notes": kept["notes"]}]
    fresh = {"dances": dances, "earlier": earlier[-MOST_UNDONE:], "notes": [], "refused": []}
    return kept | fresh | more


def _place(kept: Document, sent: Fields, key: str = "place") -> int:
    """Read a place as an index."""
    if not kept["dances"]:
        raise ParameterError("the evening has no dances yet; fill it first")
    return sent.whole(key, low=1, high=len(kept["dances"])) - 1


def _settings(_desk: Desk, store: Store, kept: Document, sent: Fields) -> Document:
    """Change what is wished for and how the evening is called."""
    given: Document = {}
    for key in ("title", "where", "starts_at", "date"):
        if key in sent.values:
            given[key] = one_line(sent.text(key))
    if given.get("starts_at") and seconds_of_day(given["starts_at"]) is None:
        raise ParameterError(f"{shown(given['starts_at'])} is no time of day; write 19:30")
    if given.get("date"):
        _check_date(given["date"])
    if "wishes" in sent.values:
        wishes = kept["wishes"] | sent.table("wishes").values
        given["wishes"] = document_of(read_wishes(wishes))
    if "routines" in sent.values:
        known = routine_keys(store)
        chosen = set(sent.texts("routines", most=MOST_ROUTINES))
        given["routines"] = [key for key in known if key in chosen]
    if "songs" in sent.values:
        given["songs"] = list(dict.fromkeys(sent.texts("songs", most=MOST_SONGS)))
    return kept | given


def _check_date(text: str) -> None:
    try:
        datetime.date.fromisoformat(text)
    except ValueError:
        raise ParameterError(
            f"{shown(text)} is no date; write year, month and day: 2026-09-30"
        ) from None


def _lock(_desk: Desk, _store: Store, kept: Document, sent: Fields) -> Document:
    place, on = _place(kept, sent), sent.values.get("on") is True
    dances = [dict(dance) for dance in kept["dances"]]
    dances[place]["locked"] = on
    return kept | {"dances": dances}


def _move(_desk: Desk, _store: Store, kept: Document, sent: Fields) -> Document:
    dances = list(kept["dances"])
    dances.insert(_place(kept, sent, "to"), dances.pop(_place(kept, sent)))
    return _with_dances(kept, dances)


def _drop(_desk: Desk, _store: Store, kept: Document, sent: Fields) -> Document:
    dances = list(kept["dances"])
    del dances[_place(kept, sent)]
    return _with_dances(kept, dances)


def _add(desk: Desk, store: Store, kept: Document, sent: Fields) -> Document:
    """Put a dance that a person chose at the end."""
    if len(kept["dances"]) >= MOST_DANCES:
        raise ParameterError(f"an evening has room for {MOST_DANCES} dances; remove one first")
    song, key = sent.text("song"), sent.text("routine")
    if not song or not key:
        raise ParameterError("a dance needs a song and a routine; choose both")
    added = kept_dances([(pairing_of(desk, store, song, key), key)], set())
    return _with_dances(kept, kept["dances"] + added)


def _undo(_desk: Desk, _store: Store, kept: Document, _sent: Fields) -> Document:
    if not kept["earlier"]:
        raise ParameterError("there is nothing to undo")
    *earlier, last = kept["earlier"]
    return kept | last | {"earlier": earlier, "refused": []}


CHANGES: dict[str, Callable[[Desk, Store, Document, Fields], Document]] = {
    "settings": _settings,
    "lock": _lock,
    "move": _move,
    "drop": _drop,
    "add": _add,
    "undo": _undo,
}


def _remove(desk: Desk, request: Request, sent: Fields) -> Any:
    name = request.path_params["name"]
    with desk.store() as store:
        _put(desk, store, name, _seen(desk, store, name, sent)["revision"], None)
    _searches[desk].stop(name)
    desk.news.publish("evening", {"id": name, "revision": None})
    return {"id": name}


# ---------------------------------------------------------------------- searching


def _search(desk: Desk, request: Request, sent: Fields) -> Any:
    """Fill the evening, or find the next best for one place."""
    name = request.path_params["name"]
    with desk.store() as store:
        kept = _seen(desk, store, name, sent)
        place = _place(kept, sent) + 1 if sent.values.get("place") is not None else None
        search, keys = _asked(desk, store, kept, place)
    revision = kept["revision"]

    def take(found: Found | str | None) -> None:
        _take(desk, name, revision, found, keys, place)

    def ended() -> None:
        desk.news.publish("evening", {"id": name, "revision": None})

    _searches[desk].start(name, search, take, ended)
    return _told(desk, name, kept)


def _asked(
    desk: Desk, store: Store, kept: Document, place: int | None
) -> tuple[Search, dict[str, str]]:
    """Say what to search for, and which key each name of a routine has."""
    if place is not None and kept["dances"][place - 1]["locked"]:
        raise ParameterError(f"place {place} is locked; unlock it first")
    known = set(routine_keys(store))
    routines = {key: routine_called(store, key) for key in kept["routines"] if key in known}
    standing = [
        (dance["song"], routine_called(store, dance["routine"]))
        for dance in kept["dances"]
        if place is not None or dance["locked"]
    ]
    keys = {dance["name"]: dance["routine"] for dance in kept["dances"]}
    keys |= {routine.name: key for key, routine in reversed(routines.items())}
    refused = [song for at, song in kept["refused"] if at == place]
    search = Search(
        store_path=store.path,
        request=wishes_of(kept),
        routines=tuple(routines.values()),
        songs=tuple(kept["songs"]),
        standing=tuple(standing),
        place=place,
        refused=tuple(refused),
    )
    return search, keys


def _take(
    desk: Desk,
    name: str,
    revision: int,
    found: Found | str | None,
    keys: dict[str, str],
    place: int | None,
) -> None:
    """Keep what a search gave, if the evening is still the one it was made for."""
    if found is None:
        return
    if isinstance(found, str):
        raise ParameterError(plainly(found))
    with desk.store() as store:
        kept = evening_called(store, name)
        if kept["revision"] != revision:
            raise ParameterError(CHANGED_MEANWHILE)
        pairs = [
            (pairing_of(desk, store, song, keys[routine]), keys[routine])
            for song, routine in found.dances
        ]
        locked = {at for at, dance in enumerate(kept["dances"], start=1) if dance["locked"]}
        refused = []
        if place is not None:
            left = kept["dances"][place - 1]["song"]
            refused = [*(r for r in kept["refused"] if r[0] == place), [place, left]]
        made = _with_dances(
            kept, kept_dances(pairs, locked),
            notes=[plainly(note) for note in found.notes], refused=refused,
        )  # fmt: skip
        _put(desk, store, name, revision, _touched(made))


def _stop(desk: Desk, request: Request, _sent: Fields) -> Any:
    _searches[desk].stop(request.path_params["name"])
    return {}


ROUTES: list[BaseRoute] = [
    Route("/api/evenings", reading(_list)),
    Route("/api/evenings", changing(_new), methods=["POST"]),
    Route("/api/evenings/{name}", reading(_one)),
    Route("/api/evenings/{name}", changing(_change), methods=["POST"]),
    Route("/api/evenings/{name}/remove", changing(_remove), methods=["POST"]),
    Route("/api/evenings/{name}/search", changing(_search), methods=["POST"]),
    Route("/api/evenings/{name}/stop", changing(_stop), methods=["POST"]),
    *evening_run.ROUTES,
    *evening_files.ROUTES,
]
