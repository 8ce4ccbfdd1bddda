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
from pathlib import Path
from typing import Any

from starlette.requests import Request
from starlette.routing import BaseRoute, Route

from phrasefit.desk.desk import Desk
from phrasefit.desk.endpoints import NotThere, reading
from phrasefit.errors import RoutineError
from phrasefit.model import Finding, Routine
from phrasefit.reports.check_text import n_errors
from phrasefit.reports.words import routine_size
from phrasefit.routine.check import check_routine
from phrasefit.routine.spec import parse_routine
from phrasefit.store import Store

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
        "warnings": len(findings) - n_errors(findings),
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


def _list(desk: Desk, _request: Request) -> Any:
    with desk.store() as store:
        return {"routines": [row_of(key, text) for key, text in _all_texts(store)]}


ROUTES: list[BaseRoute] = [Route("/api/routines", reading(_list))]
