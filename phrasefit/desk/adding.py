"""How songs come to the desk: folders and dropped files, the queue, what could not be heard."""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from starlette.requests import Request
from starlette.routing import BaseRoute, Route

import phrasefit
from phrasefit.batch import SONG_SUFFIXES
from phrasefit.desk import places
from phrasefit.desk.desk import Desk
from phrasefit.desk.dropped import MOST_BYTES, drop
from phrasefit.desk.endpoints import changing, reading
from phrasefit.desk.folder_choice import MOST_TYPED, FolderList, typed_folder
from phrasefit.errors import ParameterError
from phrasefit.fields import Fields
from phrasefit.store import Store

MOST_NAMED = 10_000  # files in one wish
# The sample songs lie in a checkout, beside the package; they do not ship with it.
SAMPLES = Path(phrasefit.__file__).parents[1] / "sample_audio"

_folders = FolderList()


def _places(desk: Desk, _request: Request) -> dict[str, Any]:
    """Lay out where songs come from."""
    with desk.store() as store:
        chosen = places.chosen_folders(store)
        copies = places.copies_in_all(store.path)
    folders = [
        {"name": name, "path": str(path), "there": path.is_dir()} for name, path in chosen.items()
    ]
    return {
        "folders": sorted(folders, key=lambda folder: str(folder["path"]).casefold()),
        "copies": {"n": copies.n, "bytes": copies.n_bytes},
        "samples": SAMPLES.is_dir() and places.name_of(os.path.realpath(SAMPLES)) not in chosen,
        "suffixes": sorted(SONG_SUFFIXES),
        "most_bytes": MOST_BYTES,
    }


def _look_into(_desk: Desk, request: Request) -> dict[str, Any]:
    return _folders.look(request.query_params.get("in", ""))


def _choose(desk: Desk, _request: Request, sent: Fields) -> dict[str, Any]:
    """Add a folder that a person at this computer typed or picked, and hear what is new."""
    token = sent.text("token")
    folder = _folders.folder(token) if token else typed_folder(sent.text("path", most=MOST_TYPED))
    return _add_folder(desk, folder)


def _choose_samples(desk: Desk, _request: Request, _sent: Fields) -> dict[str, Any]:
    if not SAMPLES.is_dir():
        raise ParameterError("the sample songs are not on this computer; add songs of your own")
    return _add_folder(desk, SAMPLES)


def _add_folder(desk: Desk, folder: Path) -> dict[str, Any]:
    paths = places.songs_below(folder)
    if not paths:
        raise ParameterError(f"{folder}: there are no songs in it; choose another folder")
    with desk.store() as store:
        places.choose_folder(store, folder)
        n_new = desk.hearing.hear_new(store, paths)
    desk.news.publish("songs", {})
    return {"path": str(folder), "songs": len(paths), "new": n_new}


def _drop_folder(desk: Desk, _request: Request, sent: Fields) -> dict[str, Any]:
    with desk.store() as store:
        places.drop_folder(store, sent.text("name"))
    desk.news.publish("songs", {})
    return {}


def _look_again(desk: Desk, _request: Request, _sent: Fields) -> dict[str, Any]:
    """Hear what has come into the chosen folders."""
    with desk.store() as store:
        n_new = sum(
            desk.hearing.hear_new(store, places.songs_of_folder(store, folder))
            for folder in places.chosen_folders(store).values()
        )
    return {"new": n_new}


def _clear_copies(desk: Desk, _request: Request, _sent: Fields) -> dict[str, Any]:
    desk.hearing.stop()
    with desk.store() as store:
        _do_without(store, desk.hearing.forget_left())
    places.remove_copies(desk.store_path)
    desk.news.publish("songs", {})
    return {}


# ------------------------------------------------------------------------------------ the queue


def _state(desk: Desk, _request: Request) -> dict[str, Any]:
    return desk.hearing.state()


def _stop(desk: Desk, _request: Request, _sent: Fields) -> dict[str, Any]:
    desk.hearing.stop()
    return {}


def _go_on(desk: Desk, _request: Request, _sent: Fields) -> dict[str, Any]:
    desk.hearing.go_on()
    return {}


def _give_up(desk: Desk, _request: Request, _sent: Fields) -> dict[str, Any]:
    """Do without what is left: copies are removed, files in folders looked at no more."""
    with desk.store() as store:
        _do_without(store, desk.hearing.forget_left())
    return {}


def _again(desk: Desk, _request: Request, sent: Fields) -> dict[str, Any]:
    failed = desk.hearing.failed_called(sent.texts("names", most=MOST_NAMED))
    paths = [one.path for one in failed if one.path.exists()]
    return {"n": desk.hearing.hear(paths, anyway=sent.flag("anyway"))}


def _take_away(desk: Desk, _request: Request, sent: Fields) -> dict[str, Any]:
    failed = desk.hearing.failed_called(sent.texts("names", most=MOST_NAMED))
    with desk.store() as store:
        _do_without(store, [one.path for one in failed])
    desk.hearing.drop_failed([one.path for one in failed])
    return {}


def _do_without(store: Store, paths: Iterable[Path]) -> None:
    kept = []
    for path in paths:
        if places.is_copy(store.path, path):
            places.remove_copy(store.path, path)
        else:
            kept.append(path)
    if kept:
        places.leave_out(store, kept)


ROUTES: list[BaseRoute] = [
    Route("/api/songs/places", reading(_places)),
    Route("/api/songs/hearing", reading(_state)),
    Route("/api/songs/computer", reading(_look_into)),
    Route("/api/songs/drop", drop, methods=["POST"]),
    Route("/api/songs/folders", changing(_choose), methods=["POST"]),
    Route("/api/songs/folders/forget", changing(_drop_folder), methods=["POST"]),
    Route("/api/songs/folders/look", changing(_look_again), methods=["POST"]),
    Route("/api/songs/samples", changing(_choose_samples), methods=["POST"]),
    Route("/api/songs/copies/clear", changing(_clear_copies), methods=["POST"]),
    Route("/api/songs/hearing/stop", changing(_stop), methods=["POST"]),
    Route("/api/songs/hearing/on", changing(_go_on), methods=["POST"]),
    Route("/api/songs/hearing/give-up", changing(_give_up), methods=["POST"]),
    Route("/api/songs/again", changing(_again), methods=["POST"]),
    Route("/api/songs/take-away", changing(_take_away), methods=["POST"]),
]
