"""The view "Record": what was taught or danced when, and with which song."""

from __future__ import annotations

import datetime
import secrets
from typing import TYPE_CHECKING, Any

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from phrasefit.desk.desk import Desk
from phrasefit.desk.endpoints import NotThere, Stale, changing, reading
from phrasefit.errors import ParameterError, shown
from phrasefit.evening.evening import Pairing
from phrasefit.fields import Fields
from phrasefit.meters import TEMPO_RANGE
from phrasefit.model import one_line
from phrasefit.reports.spreadsheet import csv_text
from phrasefit.store import Store

if TYPE_CHECKING:
    from phrasefit.model import FitPlan

KIND = "lesson"
HOW = {"pack": "pack made", "evening": "evening run", "hand": "by hand"}
TEXTS = ("routine", "title", "artist", "where", "note")
COLUMNS = ("date", "routine", "title", "artist", "counts a minute", "where", "note", "how")
MOST_SHOWN = 300  # rows on the screen at once; the search finds the others
GONE = "this entry has been removed from the record"

Lesson = dict[str, Any]


def write_lesson(
    store: Store,
    *,
    fit: FitPlan,
    song: str,
    routine_key: str,
    how: str,
    where: str = "",
    note: str = "",
    name: str | None = None,
) -> str:
    """Write into the record that a routine was taught or danced today.

    Parameters
    ----------
    store : Store
    fit : FitPlan
        The routine laid over the song.
    song : str
        Content hash of the song.
    routine_key : str
        As `phrasefit.desk.routines.routine_keys` lists it.
    how : str
        One of `HOW`.
    where, note : str
        Whatever the person says about it.
    name : str, optional
        What names the entry; one that exists already is left as it is, so that the same
        dance is written down once.

    Returns
    -------
    str
        What names the entry.
    """
    name = name or _new_name()
    tempo = Pairing(key=song, fit=fit).counts_per_minute
    lesson: Lesson = {
        "revision": 1,
        "date": _today(),
        "routine": fit.routine.name,
        "title": fit.bar_map.title,
        "artist": fit.bar_map.artist,
        "tempo": round(tempo, 1),
        "song": song,
        "routine_key": routine_key,
        "where": where,
        "note": note,
        "how": how,
        "written_at": _now(),
    }
    store.edit_desk_item(KIND, name, lambda kept: kept or lesson)
    return name


def _new_name() -> str:
    return secrets.token_hex(6)


def _today() -> str:
    return datetime.date.today().isoformat()


def _now() -> float:
    return datetime.datetime.now(datetime.UTC).timestamp()


def lessons(store: Store, search: str = "") -> list[tuple[str, Lesson]]:
    """List the entries that have all words of `search` in any of their texts, newest first."""
    words = search.casefold().split()
    found = [
        (name, lesson)
        for name, lesson in store.desk_items(KIND).items()
        if all(word in _searched(lesson) for word in words)
    ]
    return sorted(found, key=lambda item: _newest(item[1]), reverse=True)


def _searched(lesson: Lesson) -> str:
    texts = [str(lesson.get(key, "")) for key in ("date", *TEXTS)]
    return "\n".join([*texts, HOW.get(lesson.get("how", ""), "")]).casefold()


def _newest(lesson: Lesson) -> tuple[str, float]:
    return str(lesson.get("date", "")), float(lesson.get("written_at", 0))


def _row(name: str, lesson: Lesson) -> dict[str, Any]:
    """Lay out an entry for the screen."""
    return {**lesson, "id": name, "how_words": HOW.get(lesson.get("how", ""), "")}


def _list(desk: Desk, request: Request) -> Any:
    with desk.store() as store:
        found = lessons(store, request.query_params.get("search", ""))
    return {
        "lessons": [_row(*item) for item in found[:MOST_SHOWN]],
        "n_found": len(found),
        "today": _today(),
    }


def _csv(desk: Desk, request: Request) -> Response:
    with desk.store() as store:
        found = lessons(store, request.query_params.get("search", ""))
    text = csv_text(COLUMNS, (_cells(lesson) for _, lesson in found))
    return Response(
        text.encode(),
        media_type="text/csv; charset=utf-8",
        headers={"content-disposition": 'attachment; filename="record.csv"'},
    )


def _cells(lesson: Lesson) -> list[object]:
    tempo = lesson.get("tempo")
    return [
        *(lesson.get(key, "") for key in ("date", "routine", "title", "artist")),
        "" if tempo is None else f"{tempo:.1f}",
        *(lesson.get(key, "") for key in ("where", "note")),
        HOW.get(lesson.get("how", ""), ""),
    ]


def _read(sent: Fields) -> Lesson:
    """Read what a person wrote about one dance."""
    read: Lesson = {key: one_line(sent.text(key)) for key in TEXTS}
    if not read["routine"] and not read["title"]:
        raise ParameterError("an entry needs a routine or a song; write at least one of them")
    try:
        read["date"] = datetime.date.fromisoformat(sent.text("date", _today())).isoformat()
    except ValueError:
        raise ParameterError(
            f"{shown(sent.values['date'])} is no date; write year, month and day: 2026-09-30"
        ) from None
    low, high = TEMPO_RANGE
    has_tempo = sent.values.get("tempo") is not None
    read["tempo"] = sent.number("tempo", low=low, high=high) if has_tempo else None
    return read


def _add(desk: Desk, _request: Request, sent: Fields) -> Any:
    name = _new_name()
    links = {key: sent.text(key) for key in ("song", "routine_key")}
    how = sent.text("how", "hand")
    lesson = {
        **_read(sent), **links, "revision": 1, "how": how if how in HOW else "hand",
        "written_at": _now(),
    }  # fmt: skip
    with desk.store() as store:
        store.edit_desk_item(KIND, name, lambda _kept: lesson)
    return _told(desk, name, lesson)


def _correct(desk: Desk, request: Request, sent: Fields) -> Any:
    name, read = request.path_params["name"], _read(sent)

    def change(kept: Lesson | None) -> Lesson:
        seen = _seen(name, kept, sent)
        return {**seen, **read, "revision": seen["revision"] + 1}

    with desk.store() as store:
        lesson = store.edit_desk_item(KIND, name, change)
    return _told(desk, name, lesson or {})


def _remove(desk: Desk, request: Request, sent: Fields) -> Any:
    name, removed = request.path_params["name"], {}

    def change(kept: Lesson | None) -> None:
        removed.update(_seen(name, kept, sent))

    with desk.store() as store:
        store.edit_desk_item(KIND, name, change)
    return _told(desk, name, removed)


def _seen(name: str, kept: Lesson | None, sent: Fields) -> Lesson:
    """Give the entry that is kept, if it is the one that the page has seen."""
    if kept is None:
        raise NotThere(GONE)
    if kept["revision"] != sent.whole("revision", low=1, high=2**31):
        raise Stale(
            "this entry was changed in another window; here is how it is now",
            state=_row(name, kept),
        )
    return kept


def _told(desk: Desk, name: str, lesson: Lesson) -> dict[str, Any]:
    desk.news.publish("record", {"id": name})
    return _row(name, lesson)


ROUTES: list[BaseRoute] = [
    Route("/api/lessons", reading(_list)),
    Route("/api/lessons", changing(_add), methods=["POST"]),
    Route("/api/lessons.csv", reading(_csv)),
    Route("/api/lessons/{name}", changing(_correct), methods=["POST"]),
    Route("/api/lessons/{name}/remove", changing(_remove), methods=["POST"]),
]
