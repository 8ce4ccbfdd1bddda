"""One SQLite file that remembers what was heard and what a person corrected.

Songs are known by the hash of their sound (`SongInfo.content_hash`), so a file
that is renamed, moved or re-tagged is known again.  Hashing means decoding; a memo
of (path, size, modification time) spares that for files that have not changed.
Write-ahead logging lets several programs read and one write at once; every change
is one transaction, so a killed program loses at most the song it was working on.

A file that turns out to be damaged is moved aside and a new one begun (`store.rescue`).
"""

from __future__ import annotations

import contextlib
import json
import os
import sqlite3
import time
import zlib
from collections.abc import Iterable, Iterator
from pathlib import Path
from types import TracebackType
from typing import Any

from phrasefit.errors import CacheError
from phrasefit.model import SongSummary
from phrasefit.store.rescue import HandMade, is_damage, move_aside
from phrasefit.store.schema import HAND_MADE, MIGRATIONS, SCHEMA

FILE_NAME = "phrasefit.sqlite3"
FOLDER_VARIABLE = "PHRASEFIT_DATA"  # puts the cache elsewhere, for tests and shared folders
BUSY_TIMEOUT_S = 30.0  # how long to wait for another program that is writing
BUSY_STEP_S = 0.02


def default_path() -> Path:
    """Tell where the cache lives: the user's data folder, or ``PHRASEFIT_DATA``."""
    folder = os.environ.get(FOLDER_VARIABLE)
    if folder:
        return Path(folder) / FILE_NAME
    import platformdirs

    return Path(platformdirs.user_data_dir("phrasefit", appauthor=False)) / FILE_NAME


def _name(path: Path) -> str:
    """Give the name under which a file is kept; bytes that are no UTF-8 become signs."""
    return str(path.resolve()).encode("utf-8", "backslashreplace").decode("utf-8")


class Store:
    """The open cache; use it as a context manager.

    Parameters
    ----------
    path : Path, optional
        The SQLite file; made if missing, together with its folder.

    Attributes
    ----------
    notes : list of str
        What happened to the cache that the user should know (a damaged file was moved
        aside, what could be saved of it).

    Raises
    ------
    CacheError
        If the file cannot be opened, or was made by a newer phrasefit.
    """

    def __init__(self, path: Path | None = None) -> None:
        self.path = path or default_path()
        self.notes: list[str] = []
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            try:
                self._open()
            except sqlite3.DatabaseError as exc:
                if not is_damage(exc):
                    raise
                self._begin_afresh()
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

    def _open(self) -> None:
        self._db = sqlite3.connect(self.path, timeout=BUSY_TIMEOUT_S, isolation_level=None)
        try:
            self._opened = self.path.stat()
            self._write_ahead()
            self._db.execute("PRAGMA synchronous = NORMAL")
            (schema,) = self._db.execute("PRAGMA user_version").fetchone()
            if schema != SCHEMA:
                self._migrate()
        except BaseException:
            self._db.close()
            raise

    def _write_ahead(self) -> None:
        """Let programs read while one writes; SQLite itself does not wait for this change."""
        deadline = time.monotonic() + BUSY_TIMEOUT_S
        while True:
            try:
                self._db.execute("PRAGMA journal_mode = WAL")
                return
            except sqlite3.OperationalError as exc:
                if (
                    exc.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY
                    or time.monotonic() > deadline
                ):
                    raise
            time.sleep(BUSY_STEP_S)

    def _begin_afresh(self) -> None:
        """Move the damaged file aside, and carry over what a person made."""
        rows, notes = move_aside(self.path, self._opened)
        self.notes += notes
        self._open()
        self.put_hand_made(rows)

    def _migrate(self) -> None:
        """Bring an older file up to date, one schema at a time, each as a whole."""
        with self._transaction():
            (schema,) = self._db.execute("PRAGMA user_version").fetchone()
            if schema > SCHEMA:
                raise CacheError(
                    f"{self.path}: was made by a newer phrasefit; update phrasefit,"
                    f" or put the cache elsewhere with {FOLDER_VARIABLE}"
                )
            for script in MIGRATIONS[schema:]:
                for statement in script.split(";"):
                    self._db.execute(statement)
            self._db.execute(f"PRAGMA user_version = {SCHEMA}")

    @contextlib.contextmanager
    def _transaction(self) -> Iterator[None]:
        """Run the block as one change: all of it or nothing."""
        try:
            self._db.execute("BEGIN IMMEDIATE")
            try:
                yield
            except BaseException:
                with contextlib.suppress(sqlite3.Error):  # a full disk has rolled back already
                    self._db.execute("ROLLBACK")
                raise
            self._db.execute("COMMIT")
        except sqlite3.Error as exc:
            if is_damage(exc):
                self._recover()
                raise CacheError(
                    f"{self.path}: {self.notes[-1] if self.notes else 'was damaged'};"
                    " run the command again"
                ) from exc
            raise CacheError(
                f"{self.path}: the cache cannot be written ({exc}); nothing was lost,"
                " make room on the disk or use --no-cache"
            ) from exc

    def _recover(self) -> None:
        self._db.close()
        try:
            self._begin_afresh()
        except (OSError, sqlite3.Error) as exc:
            raise CacheError(
                f"{self.path}: the cache is damaged and no new one can be made ({exc});"
                " use --no-cache to do without"
            ) from exc

    def _ask(self, query: str, values: tuple[object, ...] = ()) -> list[tuple[Any, ...]]:
        """Read rows; a file found to be damaged is replaced by a new one first."""
        try:
            return self._db.execute(query, values).fetchall()
        except sqlite3.Error as exc:
            if not is_damage(exc):
                raise CacheError(
                    f"{self.path}: the cache cannot be read ({exc}); use --no-cache to do without"
                ) from exc
            self._recover()
            return self._db.execute(query, values).fetchall()

    # ------------------------------------------------------------------- files

    def hash_of(self, path: Path) -> str | None:
        """Recall the content hash of a file that has not changed since it was heard."""
        try:
            state = path.stat()
        except OSError:
            return None
        rows = self._ask(
            "SELECT content_hash FROM file WHERE path = ? AND size = ? AND mtime_ns = ?",
            (_name(path), state.st_size, state.st_mtime_ns),
        )
        return rows[0][0] if rows else None

    def files(self) -> dict[str, tuple[int, int, str]]:
        """List all files heard: path to (size, modification time in ns, content hash)."""
        return {row[0]: row[1:] for row in self._ask("SELECT * FROM file")}

    def _put_file(self, path: Path, content_hash: str) -> None:
        state = path.stat()
        self._db.execute(
            "INSERT OR REPLACE INTO file VALUES (?, ?, ?, ?)",
            (_name(path), state.st_size, state.st_mtime_ns, content_hash),
        )

    def failures(self, version: str) -> dict[str, tuple[int, int, str]]:
        """List files that this analysis version could not use: size, time, reason."""
        query = "SELECT path, size, mtime_ns, reason FROM failure WHERE version = ?"
        return {row[0]: row[1:] for row in self._ask(query, (version,))}

    def put_failure(self, path: Path, version: str, reason: str) -> None:
        """Keep why a file cannot be used; forgotten when the file changes."""
        state = path.stat()
        with self._transaction():
            self._db.execute(
                "INSERT OR REPLACE INTO failure VALUES (?, ?, ?, ?, ?)",
                (_name(path), state.st_size, state.st_mtime_ns, version, reason),
            )

    # ---------------------------------------------------------------- analyses

    def get_analysis(self, content_hash: str, version: str) -> str | None:
        """Recall an analysis document (JSON text) of this analysis version."""
        rows = self._ask(
            "SELECT document FROM analysis WHERE content_hash = ? AND version = ?",
            (content_hash, version),
        )
        try:
            return zlib.decompress(rows[0][0]).decode("utf-8") if rows else None
        except (zlib.error, UnicodeDecodeError, TypeError):
            return None  # damaged: it is heard again and replaced

    def put_analysis(self, content_hash: str, version: str, document: str, *, path: Path) -> None:
        """Keep an analysis document, and that the file at `path` holds this sound."""
        with self._transaction():
            self._db.execute(
                "INSERT OR REPLACE INTO analysis VALUES (?, ?, ?, ?)",
                (content_hash, version, zlib.compress(document.encode("utf-8")), time.time()),
            )
            self._forget_summary(content_hash)
            self._put_file(path, content_hash)

    # --------------------------------------------------------------- summaries

    def summaries(self, version: str) -> list[SongSummary]:
        """Recall what ranking needs of all songs heard."""
        rows = self._ask("SELECT * FROM summary WHERE version = ?", (version,))
        names = SongSummary.__slots__
        return [SongSummary(**dict(zip(names, row, strict=True))) for row in rows]

    def hashes_heard(self, version: str) -> set[str]:
        """List the sounds that have an analysis of this version."""
        query = "SELECT content_hash FROM analysis WHERE version = ?"
        return {row[0] for row in self._ask(query, (version,))}

    def put_summaries(self, summaries: Iterable[SongSummary]) -> None:
        """Keep summaries, in place of earlier ones of the same sounds."""
        with self._transaction():
            self._db.executemany(
                "INSERT OR REPLACE INTO summary VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                (tuple(getattr(s, name) for name in SongSummary.__slots__) for s in summaries),
            )

    def _forget_summary(self, content_hash: str) -> None:
        """Drop a summary whose song has changed; ranking makes it again."""
        self._db.execute("DELETE FROM summary WHERE content_hash = ?", (content_hash,))

    # ------------------------------------------------- what a person has made

    def get_correction(self, content_hash: str) -> dict[str, Any] | None:
        """Recall what a person corrected in the song."""
        rows = self._ask("SELECT document FROM correction WHERE content_hash = ?", (content_hash,))
        return json.loads(rows[0][0]) if rows else None

    def put_correction(self, content_hash: str, correction: dict[str, Any]) -> None:
        """Keep a person's corrections of the song, in place of earlier ones."""
        with self._transaction():
            self._db.execute(
                "INSERT OR REPLACE INTO correction VALUES (?, ?, ?)",
                (content_hash, json.dumps(correction), time.time()),
            )
            self._forget_summary(content_hash)

    def delete_correction(self, content_hash: str) -> None:
        """Remove a person's corrections of the song."""
        with self._transaction():
            self._db.execute("DELETE FROM correction WHERE content_hash = ?", (content_hash,))
            self._forget_summary(content_hash)

    def routines(self) -> dict[str, str]:
        """Recall the routines kept: name to the text of the routine file."""
        return dict(self._ask("SELECT name, text FROM routine ORDER BY name"))

    def put_routine(self, name: str, text: str) -> None:
        """Keep a routine, in place of an earlier one of this name."""
        with self._transaction():
            self._db.execute(
                "INSERT OR REPLACE INTO routine VALUES (?, ?, ?)", (name, text, time.time())
            )

    def get_hand_made(self) -> HandMade:
        """Recall all corrections and routines, as `phrasefit.store.rescue` lays them out."""
        return {
            table: [
                dict(zip(columns, row, strict=True))
                for row in self._ask(f"SELECT {', '.join(columns)} FROM {table}")
            ]
            for table, columns in HAND_MADE.items()
        }

    def put_hand_made(self, rows: HandMade) -> dict[str, int]:
        """Merge corrections and routines; of two for the same song the later one stays.

        Returns
        -------
        dict
            How many of each were taken over.
        """
        taken = {}
        with self._transaction():
            for table, found in rows.items():
                key, *others = HAND_MADE[table]
                changes = self._db.total_changes
                self._db.executemany(
                    f"INSERT INTO {table} VALUES (:{key}, :{others[0]}, :{others[1]})"
                    f" ON CONFLICT ({key}) DO UPDATE SET {others[0]} = excluded.{others[0]},"
                    f" {others[1]} = excluded.{others[1]}"
                    f" WHERE excluded.{others[1]} > {table}.{others[1]}",
                    found,
                )
                taken[table] = self._db.total_changes - changes
            for row in rows.get("correction", []):
                self._forget_summary(row["content_hash"])
        return taken

    # -------------------------------------------------------------------- care

    def schema(self) -> int:
        """Give the number of the tables' schema."""
        return int(self._ask("PRAGMA user_version")[0][0])

    def count(self, table: str) -> int:
        """Count the rows of a table."""
        return int(self._ask(f"SELECT count(*) FROM {table}")[0][0])

    def integrity_errors(self) -> list[str]:
        """Let SQLite check its own file; an empty list if all is well."""
        lines = [str(row[0]) for row in self._ask("PRAGMA integrity_check")]
        return [] if lines == ["ok"] else lines

    def documents(self) -> Iterator[tuple[str, str, bytes]]:
        """Yield every analysis as (content hash, version, packed document)."""
        for key in self._ask("SELECT content_hash, version FROM analysis"):
            query = "SELECT document FROM analysis WHERE content_hash = ? AND version = ?"
            for (document,) in self._ask(query, key):
                yield (*key, document)

    def delete_analysis(self, content_hash: str, version: str) -> None:
        """Remove an analysis."""
        with self._transaction():
            self._db.execute(
                "DELETE FROM analysis WHERE content_hash = ? AND version = ?",
                (content_hash, version),
            )
            self._forget_summary(content_hash)

    def forget_files(self, paths: Iterable[str]) -> None:
        """Forget what is known of these files."""
        with self._transaction():
            self._db.executemany("DELETE FROM file WHERE path = ?", ((path,) for path in paths))

    def forget_stale(self, version: str, *, without_files: bool) -> None:
        """Remove analyses of other versions, failures, and songs that no file is left for."""
        with self._transaction():
            self._db.execute("DELETE FROM analysis WHERE version != ?", (version,))
            self._db.execute("DELETE FROM failure")
            for table in ("analysis", "summary") if without_files else ():
                self._db.execute(
                    f"DELETE FROM {table} WHERE content_hash NOT IN (SELECT content_hash FROM file)"
                )
        try:
            self._db.execute("VACUUM")
            self._db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        except sqlite3.Error as exc:
            raise CacheError(
                f"{self.path}: the space cannot be given back ({exc}); close other phrasefit"
                " windows, make room on the disk and try again"
            ) from exc
