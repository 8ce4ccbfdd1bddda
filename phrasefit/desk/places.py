"""Where songs may be played from: the folders that the person chose, and the desk's copies.

A page never names a file: it names a song, and the file that the store knows for it is
handed out only if it truly lies in one of these places, links followed.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import shutil
import time
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from phrasefit.batch import songs_in
from phrasefit.store import Store

FOLDER = "folder"  # kinds and names of what the store keeps
SETTING, LEFT_OUT = "setting", "left out"
COPIES = "songs"  # folder of dropped songs, beside the store
UNFINISHED = ".part"  # ending of a copy that is still being written


@dataclass(frozen=True, slots=True, kw_only=True)
class Copies:
    """How many copies of dropped songs there are, and how much room they take."""

    n: int
    n_bytes: int


def name_of(path: str | Path) -> str:
    """Give the name that a page may use for a file or folder in place of its path."""
    return hashlib.sha256(os.fsencode(path)).hexdigest()[:16]


# -------------------------------------------------------------------- chosen folders


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
    name = name_of(real)
    store.edit_desk_item(FOLDER, name, lambda _: {"path": real, "chosen_at": time.time()})
    kept = {path for path in left_out(store) if not Path(path).is_relative_to(real)}
    _put_left_out(store, kept)
    return name


def drop_folder(store: Store, name: str) -> None:
    """Forget a chosen folder; nothing in it is touched."""
    store.edit_desk_item(FOLDER, name, lambda _: None)


def left_out(store: Store) -> set[str]:
    """Give the files in chosen folders that the person wants to see no more."""
    kept = (store.desk_item(SETTING, LEFT_OUT) or {}).get("paths")
    return {path for path in kept if isinstance(path, str)} if isinstance(kept, list) else set()


def leave_out(store: Store, paths: Iterable[Path]) -> None:
    """Look at these files no more, until their folder is chosen again."""
    _put_left_out(store, left_out(store) | {str(path) for path in paths})


def _put_left_out(store: Store, paths: set[str]) -> None:
    if paths != left_out(store):
        store.edit_desk_item(SETTING, LEFT_OUT, lambda _: {"paths": sorted(paths)})


def songs_of_folder(store: Store, folder: Path) -> list[Path]:
    """List the songs in a chosen folder, but for those that the person wants to see no more."""
    unwanted = left_out(store)
    return [path for path in songs_below(folder) if str(path) not in unwanted]


def songs_below(folder: Path) -> list[Path]:
    """List the songs in a folder; links that lead out of it are passed over."""
    real = os.path.realpath(folder)
    found = songs_in([Path(real)]) if os.path.isdir(real) else []
    return [path for path in found if is_inside(path, [real])]


# ----------------------------------------------------------------------- what may be played


def places_of(store: Store) -> list[str]:
    """List the folders that songs may be played from, links followed."""
    places = [*chosen_folders(store).values(), copies_folder(store.path)]
    return [os.path.realpath(place) for place in places]


def is_inside(path: str | Path, places: Iterable[str]) -> bool:
    """Tell whether a file truly lies in one of the places, links followed."""
    real = Path(os.path.realpath(path))
    return any(real.is_relative_to(place) for place in places)


# -------------------------------------------------------------------------------- copies


def copies_folder(store_path: Path) -> Path:
    """Tell where the desk keeps copies of dropped songs, each in a folder of its own."""
    return store_path.parent / COPIES


def is_copy(store_path: Path, path: Path) -> bool:
    """Tell whether a file is one of the copies."""
    return is_inside(path, [os.path.realpath(copies_folder(store_path))])


def copies(store_path: Path) -> Iterator[Path]:
    """Yield the copies that are whole."""
    for path in sorted(copies_folder(store_path).glob("*/*")):
        if not path.name.endswith(UNFINISHED) and path.is_file() and is_copy(store_path, path):
            yield path


def copies_in_all(store_path: Path) -> Copies:
    """Count the copies."""
    sizes = [path.stat().st_size for path in copies(store_path)]
    return Copies(n=len(sizes), n_bytes=sum(sizes))


def remove_copy(store_path: Path, path: Path) -> None:
    """Remove a copy, with the folder made for it."""
    if is_copy(store_path, path):
        path.unlink(missing_ok=True)
        with contextlib.suppress(OSError):
            path.parent.rmdir()


def remove_copies(store_path: Path, *, unfinished_only: bool = False) -> None:
    """Remove all copies, or only those that were cut off while they were written."""
    folder = copies_folder(store_path)
    for place in folder.iterdir() if folder.is_dir() and not folder.is_symlink() else ():
        is_whole = place.is_dir() and not any(place.glob(f"*{UNFINISHED}")) and any(place.iterdir())
        if not place.is_symlink() and not (unfinished_only and is_whole):
            shutil.rmtree(place, ignore_errors=True)
