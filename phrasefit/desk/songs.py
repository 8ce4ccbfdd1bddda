"""The view "Songs": what is known of every song, its sound, and its analysis for other views."""

from __future__ import annotations

import functools
import mimetypes
import os
from collections.abc import Collection as Keys
from pathlib import Path
from typing import Any

from starlette.requests import Request
from starlette.responses import FileResponse
from starlette.routing import BaseRoute, Route

from phrasefit import pipeline
from phrasefit.collection import Collection
from phrasefit.desk import places
from phrasefit.desk.desk import Desk
from phrasefit.desk.endpoints import NotThere, changing, reading
from phrasefit.desk.hearing import Hearing
from phrasefit.desk.listener import end_all
from phrasefit.fields import Fields
from phrasefit.model import DoubtKind, SongSummary
from phrasefit.ranking.summary import summary_version
from phrasefit.reports.doubts import METER_WORDS, song_cell
from phrasefit.reports.page import MEDIA_TYPES
from phrasefit.store import Store

COLUMNS = (
    "hash", "title", "artist", "tempo", "meter", "duration_s", "sure", "doubt", "heard_at", "plays",
)  # fmt: skip
SUMMED_UP_AT_ONCE = 12  # songs that a list sums up itself; more are left to a process


def prepare(desk: Desk) -> None:
    """Give the desk its queue of songs to be heard."""
    desk.hearing = Hearing(desk, lambda *heard: _tell_heard(desk, *heard))
    desk.busy.append(desk.hearing.is_busy)
    desk.opening.append(desk.hearing.begin)
    desk.closing += [desk.hearing.stop, end_all]


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


def summaries(desk: Desk, store: Store) -> list[SongSummary]:
    """Recall what is known of all songs; many that are not summed up yet come a little later."""
    version = pipeline.analysis_version()
    known = store.summaries(summary_version(version))
    missing = store.hashes_heard(version) - {song.content_hash for song in known}
    if len(missing) > SUMMED_UP_AT_ONCE:
        desk.hearing.sum_up(missing)
    elif missing:
        known += Collection.of(store, keys=missing).table.songs
    return known


def _songs(desk: Desk, _request: Request) -> dict[str, Any]:
    with desk.store() as store:
        known = summaries(desk, store)
        heard_at = store.heard_at(pipeline.analysis_version())
        plays = _playable(store)
    rows = [_row(song, heard_at.get(song.content_hash, 0.0), plays) for song in known]
    return {
        "columns": COLUMNS,
        "rows": rows,
        "meters": {beats: METER_WORDS.get(beats, str(beats)) for beats in {s.meter for s in known}},
        "more_to_come": len(heard_at) - len(known),
    }


def _playable(store: Store) -> set[str]:
    """List the songs that have a file in a place they may be played from."""
    within = tuple(os.path.join(place, "") for place in places.places_of(store))
    return {key for path, (_, _, key) in store.files().items() if path.startswith(within)}


def _row(song: SongSummary, heard_at: float, plays: Keys[str]) -> list[object]:
    return [
        song.content_hash,
        song.title,
        song.artist,
        round(song.counts_per_minute, 1),
        song.meter,
        round(song.duration_s),
        round(song.confidence, 3),
        _doubt_cell(song.doubts),
        round(heard_at),
        int(song.content_hash in plays),
    ]


@functools.cache
def _doubt_cell(doubts: str) -> str:
    return song_cell(DoubtKind(kind) for kind in doubts.split(",") if kind)


def _tell_heard(desk: Desk, store: Store, key: str, song: SongSummary | None) -> None:
    if song is None:
        desk.news.publish("songs", {})
        return
    heard_at = store.heard_at(pipeline.analysis_version()).get(key, 0.0)
    desk.news.publish("heard", _row(song, heard_at, _playable(store)))


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
