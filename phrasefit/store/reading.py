"""A database in a folder that cannot be written to."""

from __future__ import annotations

import contextlib
import os
import sqlite3
from pathlib import Path

from phrasefit.errors import CacheError
from phrasefit.store.salvage import SQLITE_ERRORS
from phrasefit.store.schema import SCHEMA, migrate


def cannot_write(path: Path) -> bool:
    """Tell whether a file that is there can only be read."""
    return path.exists() and not (os.access(path.parent, os.W_OK) and os.access(path, os.W_OK))


def open_to_read(path: Path) -> sqlite3.Connection:
    """Open a file in a closed folder; an older one is brought up to date in memory."""
    address = path.resolve().as_uri()
    for options in ("mode=ro", "immutable=1"):  # the second where the log cannot be shared
        db = sqlite3.connect(f"{address}?{options}", uri=True, isolation_level=None)
        db.text_factory = decoded
        try:
            (schema,) = db.execute("PRAGMA user_version").fetchone()
            db.execute("SELECT count(*) FROM sqlite_master").fetchone()
            break
        except SQLITE_ERRORS:
            db.close()
            if options == "immutable=1":
                raise
    if schema == SCHEMA:
        return db
    if schema > SCHEMA:
        db.close()
        raise CacheError(f"{path}: was made by a newer phrasefit; update phrasefit")
    newer = sqlite3.connect(":memory:", isolation_level=None)
    newer.text_factory = decoded
    with contextlib.closing(db):
        db.backup(newer)
    migrate(newer, max(schema, 0))
    return newer


def empty_in_memory() -> sqlite3.Connection:
    """Give a database that holds nothing and keeps nothing."""
    db = sqlite3.connect(":memory:", isolation_level=None)
    migrate(db, 0)
    return db


def decoded(text: bytes) -> str:
    """Read a text; damaged letters are found by the checksum of their row."""
    return text.decode("utf-8", "replace")
