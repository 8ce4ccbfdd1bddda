"""Where songs may be played from: the folders that the person chose, and the desk's copies.

A page never names a file: it names a song, and the file that the store knows for it is
handed out only if it truly lies in one of these places, links followed.
"""

from __future__ import annotations

import hashlib
import os
import time
from collections.abc import Iterable
from pathlib import Path

from phrasefit.store import Store

FOLDER = "folder"  # kind of what the store keeps
COPIES = "songs"  # folder of dropped songs, beside the store


def copies_folder(store_path: Path) -> Path:
    """Tell where the desk keeps copies of dropped songs."""
    return store_path.parent / COPIES


def chosen_folders(store: Store) -> dict[str, Path]:
    """Give the folders that the person chose, by the name that a page may use for each."""
    return {
        name: Path(str(kept["path"]))
        for name, kept in store.desk_items(FOLDER).items()
        if isinstance(kept.get("path"), str)
    }


def choose_folder(store: Store, folder: Path) -> str:
    """Remember that songs of this folder may be heard and played; give its name."""
    real = os.path.realpath(folder)
    name = hashlib.sha256(os.fsencode(real)).hexdigest()[:16]
    store.edit_desk_item(FOLDER, name, lambda _: {"path": real, "chosen_at": time.time()})
    return name


def drop_folder(store: Store, name: str) -> None:
    """Forget a chosen folder; nothing in it is touched."""
    store.edit_desk_item(FOLDER, name, lambda _: None)


def places_of(store: Store) -> list[str]:
    """List the folders that songs may be played from, links followed."""
    places = [*chosen_folders(store).values(), copies_folder(store.path)]
    return [os.path.realpath(place) for place in places]


def is_inside(path: str | Path, places: Iterable[str]) -> bool:
    """Tell whether a file truly lies in one of the places, links followed."""
    real = Path(os.path.realpath(path))
    return any(real.is_relative_to(place) for place in places)
