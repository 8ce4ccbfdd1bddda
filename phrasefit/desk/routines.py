"""The view "Routines": those that come with the program, and the person's own.

A routine's key names it in addresses and in what is kept: that of a supplied one begins with
`SUPPLIED`, that of the person's own is its name in the store.  What is kept is the text of
the routine file itself, so that comments and unknown keys stay.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from functools import lru_cache
from importlib.resources import files
from itertools import count
from pathlib import Path
from typing import Any
from urllib.parse import quote

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from phrasefit.desk.desk import Desk
from phrasefit.desk.endpoints import NotThere, Stale, changing, reading
from phrasefit.desk.routine_form import checked_form, form_in, opened_form, text_in
from phrasefit.errors import ParameterError, RoutineError
from phrasefit.fields import Fields
from phrasefit.files import safe_stem
from phrasefit.model import Finding, Routine
from phrasefit.reports.check_text import n_doubts, n_errors
from phrasefit.reports.words import routine_size
from phrasefit.routine.check import LEVEL_RULES, check_routine
from phrasefit.routine.form import write_form
from phrasefit.routine.pasted import read_pasted
from phrasefit.routine.spec import parse_routine
from phrasefit.routine.templates import TEMPLATES
from phrasefit.routine.vocabulary import PATTERNS
from phrasefit.routine.written import sheet_text
from phrasefit.store import Store

MOST_KEY = 100  # letters of a key made from a name
SUPPLIED = "supplied:"  # before the names of the routines that come with the program
GONE = "this routine is not kept any more; choose another in the list of routines"


def routine_called(store: Store, key: str) -> Routine:
    """Read the routine of a key.

    Parameters
    ----------
    store : Store
    key : str
        As `routine_keys` lists it.

    Raises
    ------
    NotThere
        If there is none of this key.
    RoutineError
        If it has mistakes: the first of them, with its line.
    """
    return parse_routine(text_of(store, key), name_in_messages(key))


def routine_keys(store: Store) -> list[str]:
    """List the keys of all routines without mistakes, the person's own first."""
    return [key for key, text in _all_texts(store) if not n_errors(checked(text)[1])]


def text_of(store: Store, key: str) -> str:
    """Give the text of the routine file of a key.

    Raises
    ------
    NotThere
        If there is none of this key.
    """
    text = _supplied().get(key) if key.startswith(SUPPLIED) else store.routines().get(key)
    if text is None:
        raise NotThere(GONE)
    return text


def name_in_messages(key: str) -> str:
    """Give a key as messages name the routine."""
    return key.removeprefix(SUPPLIED)


@lru_cache(maxsize=1)
def _supplied() -> dict[str, str]:
    """Read the routines that come with the program: key to text."""
    folder = Path(str(files("phrasefit") / "routines"))
    return {
        SUPPLIED + path.stem: path.read_text(encoding="utf-8")
        for path in sorted(folder.glob("*.toml"))
    }


def _all_texts(store: Store) -> Iterator[tuple[str, str]]:
    yield from sorted(store.routines().items(), key=lambda item: item[0].casefold())
    yield from _supplied().items()


@lru_cache(maxsize=512)  # a list is asked for often, and few of its routines have changed
def checked(text: str) -> tuple[Routine | None, tuple[Finding, ...]]:
    """Check the text of a routine file; what cannot be read at all is a finding."""
    try:
        return check_routine(text + "\n")  # a text without a line break would be a path
    except RoutineError as exc:
        return None, (Finding(severity="error", line=1, message=exc.what),)


def revision_of(text: str) -> int:
    """Number a text, so that a window can say which one it has seen."""
    return int(hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:12], 16)


def row_of(key: str, text: str) -> dict[str, Any]:
    """Lay out one routine for the list."""
    routine, findings = checked(text)
    row: dict[str, Any] = {
        "key": key,
        "supplied": key.startswith(SUPPLIED),
        "name": name_in_messages(key),
        "errors": n_errors(findings),
        "warnings": n_doubts(findings),
        "revision": revision_of(text),
    }
    if routine is None:
        return row
    return row | {
        "name": routine.name,
        "by": routine.by,
        "level": routine.level,
        "size": routine_size(routine),
        "counts": routine.counts,
        "walls": routine.walls,
        "meter": routine.meter,
        "sequence": list(routine.sequence),
        "tempo_bpm": list(routine.tempo_bpm) if routine.tempo_bpm else None,
    }


# ---------------------------------------------------------------------- what the page asks


def _list(desk: Desk, _request: Request) -> Any:
    with desk.store() as store:
        return {"routines": [row_of(key, text) for key, text in _all_texts(store)]}


def _state(key: str, text: str) -> dict[str, Any]:
    """Lay out one routine for the form."""
    return {
        "key": key,
        "supplied": key.startswith(SUPPLIED),
        "revision": revision_of(text),
        **opened_form(text),
    }


def _open(desk: Desk, request: Request) -> Any:
    key = request.query_params.get("routine", "")
    with desk.store() as store:
        return _state(key, text_of(store, key))


def _file(desk: Desk, request: Request) -> Response:
    """Hand out a routine as its file, or as a typed sheet (``?as=sheet``)."""
    key = request.query_params.get("routine", "")
    as_sheet = request.query_params.get("as") == "sheet"
    with desk.store() as store:
        text = sheet_text(routine_called(store, key)) if as_sheet else text_of(store, key)
    name = quote(safe_stem(name_in_messages(key)) + (".txt" if as_sheet else ".toml"))
    return Response(
        text,
        media_type="text/plain" if as_sheet else "application/toml",
        headers={"content-disposition": f"attachment; filename*=UTF-8''{name}"},
    )


def _words(_desk: Desk, _request: Request) -> Any:
    """List what the form offers: steps of the trade, levels, templates."""
    return {
        "steps": sorted({" ".join(key) for pattern in PATTERNS for key in pattern.keys}),
        "levels": sorted(LEVEL_RULES),
        "templates": [
            {"key": key, "title": template.title, "text": template.text}
            for key, template in TEMPLATES.items()
        ],
    }


def _check(_desk: Desk, _request: Request, sent: Fields) -> Any:
    return checked_form(text_in(sent, "text"), form_in(sent))


def _new(_desk: Desk, _request: Request, sent: Fields) -> Any:
    """Lay out a routine that is not kept yet: from a template, a sheet or a file."""
    return _state("", text_in(sent, "text"))


def _pasted(_desk: Desk, _request: Request, sent: Fields) -> Any:
    sheet = read_pasted(text_in(sent, "text"))
    lines = [
        {"number": line.number, "text": line.text, "kind": line.kind, "taken_as": line.taken_as,
         "why": line.why}
        for line in sheet.lines
    ]  # fmt: skip
    return {"lines": lines, "text": sheet.text}


def _save(desk: Desk, _request: Request, sent: Fields) -> Any:
    """Keep a routine; without a key it becomes a new one, called by its name."""
    key, seen = sent.text("key"), sent.whole("revision", 0, low=0, high=2**53)
    blocks = form_in(sent)
    text = text_in(sent, "text")
    text = text if blocks is None else write_form(text, blocks)
    if key.startswith(SUPPLIED):
        raise ParameterError("this routine comes with the program; copy it to change it")
    with desk.store() as store:
        key = key or _free_key(store, _name_in(text))
        store.edit_routine(key, lambda kept: _kept_in_place(key, kept, text, seen))
    desk.news.publish("routines", {"key": key, "revision": revision_of(text)})
    return {"key": key, "revision": revision_of(text)}


def _kept_in_place(key: str, kept: str | None, text: str, seen: int) -> str:
    now = 0 if kept is None else revision_of(kept)
    if now != seen and kept != text:
        state = {"key": key, "revision": 0} if kept is None else _state(key, kept)
        raise Stale("this routine was changed in another window", state=state)
    return text


def _remove(desk: Desk, _request: Request, sent: Fields) -> Any:
    """Forget a routine of the person; its text is given back, so that this can be undone."""
    key, seen = sent.text("key"), sent.whole("revision", 0, low=0, high=2**53)
    removed = ""

    def change(kept: str | None) -> None:
        nonlocal removed
        if kept is None:
            raise NotThere(GONE)
        if revision_of(kept) != seen:
            raise Stale("this routine was changed in another window", state=_state(key, kept))
        removed = kept

    with desk.store() as store:
        store.edit_routine(key, change)
    desk.news.publish("routines", {"key": key, "revision": 0})
    return {"key": key, "text": removed}


def _name_in(text: str) -> str:
    routine, _ = checked(text)
    return routine.name[:MOST_KEY] if routine else "a routine to mend"


def _free_key(store: Store, name: str) -> str:
    """Call a new routine by its name, with a number if that is taken."""
    taken = set(store.routines())
    name = name.removeprefix(SUPPLIED) or "routine"
    return next(key for n in count(1) if (key := f"{name} {n}" if n > 1 else name) not in taken)


ROUTES: list[BaseRoute] = [
    Route("/api/routines", reading(_list)),
    Route("/api/routines/open", reading(_open)),
    Route("/api/routines/file", reading(_file)),
    Route("/api/routines/words", reading(_words)),
    Route("/api/routines/new", changing(_new), methods=["POST"]),
    Route("/api/routines/check", changing(_check), methods=["POST"]),
    Route("/api/routines/pasted", changing(_pasted), methods=["POST"]),
    Route("/api/routines/save", changing(_save), methods=["POST"]),
    Route("/api/routines/remove", changing(_remove), methods=["POST"]),
]
