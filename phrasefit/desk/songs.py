"""The view "Songs": what is known of every song, its sound, and its analysis for other views."""

from __future__ import annotations

import contextlib
import mimetypes
import threading
from pathlib import Path
from typing import Any

from starlette.requests import Request
from starlette.responses import FileResponse
from starlette.routing import BaseRoute, Route

from phrasefit import pipeline
from phrasefit.desk import places
from phrasefit.desk.desk import Desk
from phrasefit.desk.endpoints import NotThere, changing, reading
from phrasefit.desk.hearing import Hearing
from phrasefit.desk.listener import end_all
from phrasefit.desk.song_list import COLUMNS, all_songs, playable, row_of
from phrasefit.errors import PhrasefitError
from phrasefit.fields import Fields
from phrasefit.model import SongSummary
from phrasefit.reports.page import MEDIA_TYPES
from phrasefit.store import Store


def prepare(desk: Desk) -> None:
    """Give the desk its queue of songs to be heard."""
    desk.hearing = Hearing(desk, lambda *heard: _tell_heard(desk, *heard))
    desk.busy.append(desk.hearing.is_busy)
    desk.opening += [desk.hearing.begin, lambda: _read_ahead(desk)]
    desk.closing += [desk.hearing.stop, end_all]


def _read_ahead(desk: Desk) -> None:
    """Read the list while the browser opens."""

    def read() -> None:
        with contextlib.suppress(PhrasefitError), desk.store() as store:
            all_songs(desk, store)

    threading.Thread(target=read, daemon=True).start()


# -------------------------------------------------------------------------- for other views


def analysis_of(desk: Desk, store: Store, content_hash: str) -> pipeline.Analysis:
    """Recall what was heard of a song, with the person's corrections.

    Parameters
    ----------
    desk : Desk
    store : Store
    content_hash : str
        Names the song, see `SongInfo.content_hash`.

    Raises
    ------
    NotThere
        If the song has not been heard, or what was heard of it is lost.
    """
    analysis = desk.opened.analysis(store, content_hash)
    if analysis is None:
        raise NotThere("this song is not among those heard; add it again in Songs")
    return analysis


def file_of(desk: Desk, store: Store, content_hash: str) -> Path:
    """Find the file of a song that may be played.

    Parameters
    ----------
    desk : Desk
    store : Store
    content_hash : str

    Raises
    ------
    NotThere
        If no file with this sound lies in a chosen folder or among the copies.
    """
    allowed = places.places_of(store)
    known = [Path(path) for path in store.paths_of(content_hash)]
    for path in known:
        if places.is_inside(path, allowed) and store.hash_of(path) == content_hash:
            return path
    outside = [path for path in known if not places.is_inside(path, allowed) and path.exists()]
    if outside:
        raise NotThere(
            f"the song is in {outside[0].parent}, which is not one of your folders;"
            " choose that folder in Songs to play it"
        )
    raise NotThere(
        "the song's file is not where it was, or has changed; add it again in Songs to play it"
    )


# ----------------------------------------------------------------------------------- the list


def _songs(desk: Desk, _request: Request) -> dict[str, Any]:
    with desk.store() as store:
        listed = all_songs(desk, store)
    return {
        "columns": COLUMNS,
        "rows": listed.rows,
        "meters": listed.meters,
        "more_to_come": listed.n_to_come,
    }


def _tell_heard(desk: Desk, store: Store, key: str, song: SongSummary | None) -> None:
    if song is None:
        desk.news.publish("songs", {})
        return
    heard_at = store.heard_at(pipeline.analysis_version()).get(key, 0.0)
    desk.news.publish("heard", row_of(song, heard_at, playable(store)))


def _forget(desk: Desk, _request: Request, sent: Fields) -> dict[str, Any]:
    """Forget what was heard of songs; files in the person's folders stay, as do corrections."""
    version = pipeline.analysis_version()
    with desk.store() as store:
        for key in sent.texts("songs", most=100_000):
            paths = [Path(path) for path in store.paths_of(key)]
            store.delete_analysis(key, version)
            for path in paths:
                places.remove_copy(store.path, path)
            kept = [path for path in paths if path.exists()]
            if kept:
                places.leave_out(store, kept)
    desk.news.publish("songs", {})
    return {}


# ------------------------------------------------------------------------------------ the sound


def media_type_of(path: Path) -> str:
    """Name the kind of a song file for a browser."""
    guessed = mimetypes.guess_type(f"song{path.suffix.lower()}")[0]
    return MEDIA_TYPES.get(path.suffix.lower()) or guessed or "application/octet-stream"


def _sound(desk: Desk, request: Request) -> FileResponse:
    with desk.store() as store:
        path = file_of(desk, store, request.path_params["content_hash"])
    return FileResponse(path, media_type=media_type_of(path))


ROUTES: list[BaseRoute] = [
    Route("/api/songs", reading(_songs)),
    Route("/api/songs/forget", changing(_forget), methods=["POST"]),
    Route("/api/songs/{content_hash}/sound", reading(_sound)),
]
