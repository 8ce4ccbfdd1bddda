"""One SQLite file that remembers what was heard and what a person corrected.

Songs are known by the hash of their sound (`SongInfo.content_hash`), so a file
that is renamed, moved or re-tagged is known again.  Hashing means decoding; a memo
of (path, size, modification time) spares that for files that have not changed.
Write-ahead logging lets several programs read and one write at once; every change
is one transaction, so a killed program loses at most the song it was working on.

May import: errors, standard library (platformdirs inside functions).
"""

from __future__ import annotations

import contextlib
import json
import os
import sqlite3
import time
import zlib
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import Any

from phrasefit.errors import CacheError

FILE_NAME = "phrasefit.sqlite3"
FOLDER_VARIABLE = "PHRASEFIT_DATA"  # puts the cache elsewhere, for tests and shared folders
BUSY_TIMEOUT_S = 30.0  # how long to wait for another program that is writing

# Each entry brings the file from schema n to n + 1; never edit one that has shipped.
MIGRATIONS: tuple[str, ...] = (
    """
    CREATE TABLE file (
        path TEXT PRIMARY KEY, size INTEGER NOT NULL, mtime_ns INTEGER NOT NULL,
        content_hash TEXT NOT NULL
    ) WITHOUT ROWID;
    CREATE TABLE analysis (
        content_hash TEXT NOT NULL, version TEXT NOT NULL, document BLOB NOT NULL,
        stored_at REAL NOT NULL, PRIMARY KEY (content_hash, version)
    ) WITHOUT ROWID;
    CREATE TABLE correction (
        content_hash TEXT PRIMARY KEY, document TEXT NOT NULL, stored_at REAL NOT NULL
    ) WITHOUT ROWID;
    CREATE INDEX file_by_hash ON file (content_hash);
    """,
)


def default_path() -> Path:
    """Tell where the cache lives: the user's data folder, or ``PHRASEFIT_DATA``."""
    folder = os.environ.get(FOLDER_VARIABLE)
    if folder:
        return Path(folder) / FILE_NAME
    import platformdirs

    return Path(platformdirs.user_data_dir("phrasefit", appauthor=False)) / FILE_NAME


class Store:
    """The open cache; use it as a context manager.

    Parameters
    ----------
    path : Path, optional
        The SQLite file; made if missing, together with its folder.

    Raises
    ------
    CacheError
        If the file cannot be opened, or was made by a newer phrasefit.
    """

    def __init__(self, path: Path | None = None) -> None:
        self.path = path or default_path()
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            self._db = sqlite3.connect(self.path, timeout=BUSY_TIMEOUT_S, isolation_level=None)
            self._db.execute("PRAGMA journal_mode = WAL")
            self._db.execute("PRAGMA synchronous = NORMAL")
            self._migrate()
        except (OSError, sqlite3.Error) as exc:
            raise CacheError(
                f"{self.path}: the cache cannot be opened ({exc}); use --no-cache to do without"
            ) from exc

    def __enter__(self) -> Store:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        exc: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._db.close()

    def _migrate(self) -> None:
        """Bring an older file up to date, one schema at a time, each as a whole."""
        with self._transaction():
            (schema,) = self._db.execute("PRAGMA user_version").fetchone()
            if schema > len(MIGRATIONS):
                raise CacheError(
                    f"{self.path}: was made by a newer phrasefit; update phrasefit,"
                    f" or put the cache elsewhere with {FOLDER_VARIABLE}"
                )
            for script in MIGRATIONS[schema:]:
                for statement in script.split(";"):
                    self._db.execute(statement)
            self._db.execute(f"PRAGMA user_version = {len(MIGRATIONS)}")

    @contextlib.contextmanager
    def _transaction(self) -> Iterator[None]:
        """Run the block as one change: all of it or nothing."""
        try:
            self._db.execute("BEGIN IMMEDIATE")
            try:
                yield
            except BaseException:
                self._db.execute("ROLLBACK")
                raise
            self._db.execute("COMMIT")
        except sqlite3.Error as exc:
            raise CacheError(
                f"{self.path}: the cache cannot be written ({exc}); nothing was lost,"
                " make room on the disk or use --no-cache"
            ) from exc

    def hash_of(self, path: Path) -> str | None:
        """Recall the content hash of a file that has not changed since it was heard."""
        try:
            state = path.stat()
        except OSError:
            return None
        row = self._db.execute(
            "SELECT content_hash FROM file WHERE path = ? AND size = ? AND mtime_ns = ?",
            (str(path.resolve()), state.st_size, state.st_mtime_ns),
        ).fetchone()
        return row[0] if row else None

    def get_analysis(self, content_hash: str, version: str) -> str | None:
        """Recall an analysis document (JSON text) of this analysis version."""
        row = self._db.execute(
            "SELECT document FROM analysis WHERE content_hash = ? AND version = ?",
            (content_hash, version),
        ).fetchone()
        return zlib.decompress(row[0]).decode("utf-8") if row else None

    def put_analysis(self, content_hash: str, version: str, document: str, *, path: Path) -> None:
        """Keep an analysis document, and that the file at `path` holds this sound."""
        state = path.stat()
        with self._transaction():
            self._db.execute(
                "INSERT OR REPLACE INTO analysis VALUES (?, ?, ?, ?)",
                (content_hash, version, zlib.compress(document.encode("utf-8")), time.time()),
            )
            self._db.execute(
                "INSERT OR REPLACE INTO file VALUES (?, ?, ?, ?)",
                (str(path.resolve()), state.st_size, state.st_mtime_ns, content_hash),
            )

    def get_correction(self, content_hash: str) -> dict[str, Any] | None:
        """Recall what a person corrected in the song."""
        row = self._db.execute(
            "SELECT document FROM correction WHERE content_hash = ?", (content_hash,)
        ).fetchone()
        return json.loads(row[0]) if row else None

    def put_correction(self, content_hash: str, correction: dict[str, Any]) -> None:
        """Keep a person's corrections of the song, in place of earlier ones."""
        with self._transaction():
            self._db.execute(
                "INSERT OR REPLACE INTO correction VALUES (?, ?, ?)",
                (content_hash, json.dumps(correction), time.time()),
            )

    def delete_correction(self, content_hash: str) -> None:
        """Remove a person's corrections of the song."""
        with self._transaction():
            self._db.execute("DELETE FROM correction WHERE content_hash = ?", (content_hash,))
