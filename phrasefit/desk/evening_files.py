"""An evening on paper and as files: floor list, cards for the DJ, playlists, table.

The files are those of ``phrasefit playlist``.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from pathlib import Path
from urllib.parse import quote

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from phrasefit.desk.desk import Desk
from phrasefit.desk.endpoints import NotThere, reading
from phrasefit.desk.evening_plan import Laid, evening_called, laid_out
from phrasefit.evening.evening import Evening
from phrasefit.files import safe_stem
from phrasefit.reports import playlists
from phrasefit.store import Store

NO_FILE = "an evening has no such file; go back and choose another"


def _file(desk: Desk, request: Request) -> Response:
    """Make one file of an evening; its name says which."""
    name, kind = request.path_params["name"], request.path_params["file"]
    if kind not in KINDS:
        raise NotThere(NO_FILE)
    media_type, ending, make = KINDS[kind]
    with desk.store() as store:
        kept = evening_called(store, name)
        laid = laid_out(desk, store, kept)
        content = make(laid, kept["title"], request.query_params, store)
    called = quote(safe_stem(kept["title"]) + ending, safe="")
    return Response(
        content.encode() if isinstance(content, str) else content,
        media_type=media_type,
        headers={"content-disposition": f"attachment; filename*=UTF-8''{called}"},
    )


def _paths(store: Store, evening: Evening) -> dict[str, str]:
    """Find the file of each song, as the command line does for songs that are known."""
    wanted = {dance.pairing.key for dance in evening.dances}
    return {key: path for path, (_, _, key) in store.files().items() if key in wanted}


def _folder(paths: Mapping[str, str], query: Mapping[str, str]) -> Path | None:
    """Give the folder of all songs, if the playlist shall lie there; None if anywhere."""
    return _common(paths) if query.get("beside") else None


def _common(paths: Mapping[str, str]) -> Path | None:
    """Give the folder that holds all songs, or the folders of all; None if none does."""
    try:
        return Path(os.path.commonpath([Path(path).parent for path in paths.values()]))
    except ValueError:  # on two drives
        return None


def songs_folder(store: Store, evening: Evening) -> dict[str, str | bool] | None:
    """Say in which folder a playlist beside the songs has to lie; None if there is none.

    ``is_above`` tells that the songs lie in several folders below it.
    """
    paths = _paths(store, evening)
    folder = _common(paths)
    if folder is None:
        return None
    is_above = any(Path(path).parent != folder for path in paths.values())
    return {"path": str(folder), "is_above": is_above}


def _floor(laid: Laid, title: str, query: Mapping[str, str], _store: Store) -> bytes:
    from phrasefit.reports.floor_list import floor_list

    return floor_list(
        laid.whole(), title=title, paper=query.get("paper", "a4"), starts_at_s=laid.starts_at_s
    ).pdf()


def _cards(laid: Laid, _title: str, query: Mapping[str, str], _store: Store) -> bytes:
    from phrasefit.reports.dj_card import dj_cards

    fits = [dance.pairing.fit for dance in laid.whole().dances]
    return dj_cards([(fit, fit.plan) for fit in fits], paper=query.get("paper", "a4")).pdf()


def _xspf(laid: Laid, title: str, query: Mapping[str, str], store: Store) -> str:
    evening = laid.whole()
    paths = _paths(store, evening)
    return playlists.xspf(evening, paths, folder=_folder(paths, query), title=title)


def _m3u8(laid: Laid, _title: str, query: Mapping[str, str], store: Store) -> str:
    evening = laid.whole()
    paths = _paths(store, evening)
    return playlists.m3u8(evening, paths, folder=_folder(paths, query))


def _csv(laid: Laid, _title: str, _query: Mapping[str, str], store: Store) -> str:
    evening = laid.whole()
    return playlists.evening_csv(evening, _paths(store, evening))


Make = Callable[[Laid, str, Mapping[str, str], Store], bytes | str]
KINDS: dict[str, tuple[str, str, Make]] = {
    "floor.pdf": ("application/pdf", ".pdf", _floor),
    "cards.pdf": ("application/pdf", " cards.pdf", _cards),
    "list.xspf": ("application/xspf+xml", ".xspf", _xspf),
    "list.m3u8": ("audio/x-mpegurl", ".m3u8", _m3u8),
    "list.csv": ("text/csv; charset=utf-8", ".csv", _csv),
}

ROUTES: list[BaseRoute] = [Route("/api/evenings/{name}/files/{file}", reading(_file))]
