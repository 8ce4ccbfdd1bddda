"""What to do with a cache file that is damaged: save what a person made, begin afresh.

Analyses can be made again; corrections and routines cannot.  They are read row by row
from the damaged file as far as it goes and written to a JSON file beside it, in the
form that ``phrasefit store import`` reads.  The damaged file is moved aside, not deleted.
"""

from __future__ import annotations

import contextlib
import json
import os
import sqlite3
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from phrasefit.errors import CacheError
from phrasefit.files import write_atomic
from phrasefit.store.schema import HAND_MADE

EXPORT_FORMAT = "phrasefit-store"
EXPORT_VERSION = 1
HandMade = dict[str, list[dict[str, Any]]]  # rows by table
COMPANIONS = ("-wal", "-shm")  # files SQLite keeps beside its own
STALE_LOCK_S = 60.0  # saving takes a second; an older lock is from a killed program
_DAMAGE = {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB}


def is_damage(exc: sqlite3.Error) -> bool:
    """Tell a damaged file from a full disk, a lock or a slip of ours."""
    return (getattr(exc, "sqlite_errorcode", 0) & 0xFF) in _DAMAGE


def move_aside(path: Path, opened: os.stat_result) -> tuple[HandMade, list[str]]:
    """Save the hand-made rows of a damaged cache and move it out of the way.

    Parameters
    ----------
    path : Path
        The damaged file.
    opened : os.stat_result
        The file as it was opened: if another one is at `path` by now, another program
        has moved it aside already and nothing is done.

    Returns
    -------
    dict
        The rows that could be read, by table.
    list of str
        What the user should know, one sentence each.

    Raises
    ------
    CacheError
        If the file cannot be moved.
    """
    with _only_one(path):
        if not _is_same(path, opened):
            return {}, []
        stamp = time.strftime("%Y%m%d-%H%M%S")
        aside = path.with_name(f"{path.stem}.damaged-{stamp}{path.suffix}")
        rows = read_hand_made(path)
        try:
            for companion in COMPANIONS:
                with contextlib.suppress(FileNotFoundError):
                    os.replace(f"{path}{companion}", f"{aside}{companion}")
            path.replace(aside)
        except OSError as exc:
            raise CacheError(
                f"{path}: is damaged and cannot be moved aside ({exc.strerror});"
                " delete it, or use --no-cache to do without"
            ) from exc
        notes = [f"the cache was damaged; it is now {aside.name}, and a new one was begun"]
        if any(rows.values()):
            saved = path.with_name(f"{path.stem}.saved-{stamp}.json")
            write_atomic(saved, json.dumps(export_document(rows), ensure_ascii=False, indent=1))
            n = {table: len(found) for table, found in rows.items()}
            notes.append(
                f"{n['correction']} corrections and {n['routine']} routines could be read from"
                f" it; they are kept, and also in {saved}"
            )
        return rows, notes


def _is_same(path: Path, opened: os.stat_result) -> bool:
    try:
        return os.path.samestat(path.stat(), opened)
    except FileNotFoundError:
        return False


@contextlib.contextmanager
def _only_one(path: Path) -> Iterator[None]:
    """Let one program at a time move the file; a lock left by a killed one is ignored."""
    lock = Path(f"{path}.rescue")
    while True:
        try:
            os.close(os.open(lock, os.O_CREAT | os.O_EXCL))
            break
        except FileExistsError:
            with contextlib.suppress(FileNotFoundError):
                if time.time() - lock.stat().st_mtime > STALE_LOCK_S:
                    lock.unlink()
            time.sleep(0.05)
        except OSError as exc:
            raise CacheError(f"{path}: is damaged, and {exc.strerror} beside it") from exc
    try:
        yield
    finally:
        lock.unlink(missing_ok=True)


def read_hand_made(path: Path) -> HandMade:
    """Read corrections and routines from a damaged file, as many rows as can be read."""
    rows: HandMade = {table: [] for table in HAND_MADE}
    with contextlib.suppress(sqlite3.Error), contextlib.closing(sqlite3.connect(path)) as db:
        for table, columns in HAND_MADE.items():
            with contextlib.suppress(sqlite3.Error):
                for values in db.execute(f"SELECT {', '.join(columns)} FROM {table}"):
                    row = dict(zip(columns, values, strict=True))
                    if _is_usable(table, row):
                        rows[table].append(row)
    return rows


def _is_usable(table: str, row: dict[str, Any]) -> bool:
    """Reject a row that damage has touched."""
    if not all(isinstance(row[key], str) for key in HAND_MADE[table][:2]):
        return False
    if not isinstance(row["stored_at"], int | float):
        return False
    if table == "correction":
        try:
            return isinstance(json.loads(row["document"]), dict)
        except json.JSONDecodeError:
            return False
    return True


def export_document(rows: HandMade) -> dict[str, Any]:
    """Lay out hand-made rows as the JSON document that export writes and import reads."""
    return {"format": EXPORT_FORMAT, "version": EXPORT_VERSION, **rows}


def read_export(text: str, *, name: str) -> HandMade:
    """Read what `export_document` laid out.

    Raises
    ------
    CacheError
        If it is something else, or a row in it is not usable.
    """
    try:
        document = json.loads(text)
        if document["format"] != EXPORT_FORMAT or document["version"] > EXPORT_VERSION:
            raise CacheError(
                f"{name}: is no export of this phrasefit's store; make one with"
                " `phrasefit store export`"
            )
        rows = {table: document.get(table, []) for table in HAND_MADE}
        for table, found in rows.items():
            for row in found:
                if set(row) != set(HAND_MADE[table]) or not _is_usable(table, row):
                    raise CacheError(f"{name}: a {table} in it is damaged ({str(row)[:60]})")
    except (KeyError, TypeError, json.JSONDecodeError) as exc:
        raise CacheError(
            f"{name}: cannot be read as an export of the store ({exc});"
            " make one with `phrasefit store export`"
        ) from exc
    return rows
