"""The view "Songs": what is known of every song, its sound, and its analysis for other views."""

from __future__ import annotations

import mimetypes
from pathlib import Path
from typing import Any

from starlette.requests import Request
from starlette.responses import FileResponse
from starlette.routing import BaseRoute, Route

from phrasefit import pipeline
from phrasefit.desk.desk import Desk
from phrasefit.desk.endpoints import NotThere, reading
from phrasefit.desk.places import is_inside, places_of
from phrasefit.ranking.summary import summary_version
from phrasefit.reports.page import MEDIA_TYPES
from phrasefit.store import Store

COLUMNS = (
    "hash", "title", "artist", "beats_per_minute", "meter", "duration_s", "confidence", "playable",
)  # fmt: skip


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
    places = places_of(store)
    known = [Path(path) for path in store.paths_of(content_hash)]
    for path in known:
        if is_inside(path, places) and store.hash_of(path) == content_hash:
            return path
    outside = [path for path in known if path.exists() and not is_inside(path, places)]
    if outside:
        raise NotThere(
            f"the song is in {outside[0].parent}, which is not one of your folders;"
            " choose that folder in Songs to play it"
        )
    raise NotThere(
        "the song's file is not where it was, or has changed; add it again in Songs to play it"
    )


def media_type_of(path: Path) -> str:
    """Name the kind of a song file for a browser."""
    guessed = mimetypes.guess_type(f"song{path.suffix.lower()}")[0]
    return MEDIA_TYPES.get(path.suffix.lower()) or guessed or "application/octet-stream"


def _sound(desk: Desk, request: Request) -> FileResponse:
    with desk.store() as store:
        path = file_of(desk, store, request.path_params["content_hash"])
    return FileResponse(path, media_type=media_type_of(path))


def _songs(desk: Desk, request: Request) -> dict[str, Any]:
    with desk.store() as store:
        places = tuple(places_of(store))
        heard = store.summaries(summary_version(pipeline.analysis_version()))
        playable = {
            key
            for path, (_, _, key) in store.files().items()
            if any(Path(path).is_relative_to(place) for place in places)
        }
    rows = [
        [s.content_hash, s.title, s.artist, round(s.tempo_bpm, 1), s.meter, round(s.duration_s, 1),
         round(s.confidence, 3), int(s.content_hash in playable)]
        for s in heard
    ]  # fmt: skip
    return {"columns": COLUMNS, "rows": rows}


ROUTES: list[BaseRoute] = [
    Route("/api/songs", reading(_songs)),
    Route("/api/songs/{content_hash}/sound", reading(_sound)),
]
