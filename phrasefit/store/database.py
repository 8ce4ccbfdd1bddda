"""The SQLite file itself: opening it, changing it as a whole, replacing it when damaged.

Write-ahead logging lets several programs read while one writes; every change is one
transaction.  In a folder that cannot be written to the file is only read.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
import time
from collections.abc import Callable
from pathlib import Path
from types import TracebackType, UnionType
from typing import Any, Self, TypeVar

from phrasefit.errors import CacheError
from phrasefit.store.lock import Lock
from phrasefit.store.log import has_lost_frames
from phrasefit.store.reading import cannot_write, decoded, empty_in_memory, open_to_read
from phrasefit.store.salvage import (
    HEADER_BYTES,
    SQLITE_ERRORS,
    make_database,
    replace_damaged,
)
from phrasefit.store.schema import SCHEMA, migrate

FILE_NAME = "phrasefit.sqlite3"
FOLDER_VARIABLE = "PHRASEFIT_DATA"  # puts the cache elsewhere, for tests and shared folders
BUSY_TIMEOUT_S = 30.0  # how long to wait for another program that is writing
BUSY_STEP_S = 0.02
LOCK_TIMEOUT_S = 120.0  # how long another program may take to replace a damaged file

# Our statements and tables are fixed, so an error in them means that the file is not as
# we left it.
_DAMAGE = {
    sqlite3.SQLITE_CORRUPT,
    sqlite3.SQLITE_NOTADB,
    sqlite3.SQLITE_ERROR,
    sqlite3.SQLITE_MISMATCH,
    sqlite3.SQLITE_CONSTRAINT,
    sqlite3.SQLITE_FORMAT,
}
_BUSY = {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED, sqlite3.SQLITE_PROTOCOL}

Result = TypeVar("Result")


def default_path() -> Path:
    """Tell where the cache lives: the user's data folder, or ``PHRASEFIT_DATA``."""
    folder = os.environ.get(FOLDER_VARIABLE)
    if folder:
        return Path(folder) / FILE_NAME
    import platformdirs

    return Path(platformdirs.user_data_dir("phrasefit", appauthor=False)) / FILE_NAME


def _code(exc: Exception) -> int:
    """Give SQLite's result code; Python itself gives none where a text cannot be read."""
    default = (
        sqlite3.SQLITE_MISUSE
        if isinstance(exc, sqlite3.ProgrammingError)
        else sqlite3.SQLITE_CORRUPT
    )
    return getattr(exc, "sqlite_errorcode", default) & 0xFF


def _nothing() -> None:
    """Do nothing."""


class Database:
    """The open file; use it as a context manager.

    Parameters
    ----------
    path : Path, optional
        The SQLite file; made if missing, together with its folder.

    Attributes
    ----------
    notes : list of str
        What happened to the cache that the user should know.
    read_only : bool
        The folder or the file cannot be written to.

    Raises
    ------
    CacheError
        If the file cannot be opened, or was made by a newer phrasefit.
    """

    def __init__(self, path: Path | None = None) -> None:
        self.path = path or default_path()
        self.notes: list[str] = []
        self.was_new = False
        self._lock = Lock(Path(f"{self.path}.lock"), timeout_s=LOCK_TIMEOUT_S)
        try:
            if not self.path.exists():
                self.path.parent.mkdir(parents=True, exist_ok=True)
            self.read_only = cannot_write(self.path)
            self._open_or_replace()
        except (OSError, *SQLITE_ERRORS) as exc:
            raise CacheError(f"{self.path}: {_in_words(exc, 'opened')}") from exc

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        exc: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._db.close()

    # --------------------------------------------------------------------- opening

    def _open_or_replace(self) -> None:
        try:
            self._open()
        except SQLITE_ERRORS as exc:
            if not self._is_damage(exc):
                raise
            self._replace()

    def _open(self) -> None:
        if self.read_only:
            self._db = open_to_read(self.path)
            return
        self._make_if_missing()
        lost_frames = has_lost_frames(self.path)
        # Before it is opened: of a damaged file that another program replaces just then the new
        # one would be taken for it, and moved aside.
        self._opened = self.path.stat()
        self._db = sqlite3.connect(self.path, timeout=BUSY_TIMEOUT_S, isolation_level=None)
        try:
            if self._opened.st_size < HEADER_BYTES:
                raise sqlite3.DatabaseError("too short for a database")
            self._write_ahead()
            self._db.execute("PRAGMA synchronous = NORMAL")
            self._bring_up_to_date()
            if lost_frames:
                self.notes.append(
                    f"the end of {self.path.name}-wal was damaged; songs heard last are listened"
                    " to again"
                )
        except BaseException:
            self._db.close()
            raise
        self._db.text_factory = decoded

    def _make_if_missing(self) -> None:
        if not self.path.exists():
            with self._lock:
                if not self.path.exists():
                    make_database(self.path)
                    self.was_new = True

    def _write_ahead(self) -> None:
        """Let programs read while one writes; SQLite itself does not wait for this change."""
        deadline = time.monotonic() + BUSY_TIMEOUT_S
        while True:
            try:
                self._db.execute("PRAGMA journal_mode = WAL")
                return
            except SQLITE_ERRORS as exc:
                if _code(exc) not in _BUSY or time.monotonic() > deadline:
                    raise
            time.sleep(BUSY_STEP_S)

    def _bring_up_to_date(self) -> None:
        """Migrate an older file, one schema after the other, as one change."""
        if self._db.execute("PRAGMA user_version").fetchone()[0] == SCHEMA:
            return
        self._db.execute("BEGIN IMMEDIATE")
        (schema,) = self._db.execute("PRAGMA user_version").fetchone()
        if schema > SCHEMA:
            raise CacheError(
                f"{self.path}: was made by a newer phrasefit (its format is {schema}, this one"
                f" knows {SCHEMA}); update phrasefit, put the cache elsewhere with"
                f" {FOLDER_VARIABLE}, or rename this file (a new one is made, and corrections"
                " are brought back from their second copy)"
            )
        if schema < 0:
            raise sqlite3.DatabaseError(f"no phrasefit writes the format number {schema}")
        migrate(self._db, schema)  # fails if the number is wrong: the tables are there
        self._db.execute("COMMIT")

    def _is_damage(self, exc: Exception) -> bool:
        """Tell a damaged file from a full disk, a lock or a closed folder."""
        code = _code(exc)
        return code in _DAMAGE or (code == sqlite3.SQLITE_READONLY and not self.read_only)

    def _replace(self) -> None:
        """Put a sound file in place of the damaged one, with what can be read of it."""
        with contextlib.suppress(AttributeError):
            self._db.close()
        if self.read_only:
            self._db = empty_in_memory()
            self.notes.append(
                f"{self.path}: is damaged and its folder cannot be written to; only corrections"
                " and routines are read, from their second copy"
            )
            return
        with self._lock:
            if self._is_as_opened():
                salvaged = replace_damaged(self.path)
                n = salvaged.n_analyses
                self.notes.append(
                    f"the cache was damaged; it is now {salvaged.aside.name}, and a new one was"
                    f" begun with what could be read of it: {n} song{'s' * (n != 1)} heard, the"
                    " others are listened to again"
                )
            self._open()
        self._on_replaced()

    def _on_replaced(self) -> None:
        """What a new file needs; for those who build on this class."""

    def _reopen_if_replaced(self) -> None:
        """Open the file that another program has put in place of the one that is open."""
        if self.read_only or self._db.in_transaction or self._is_as_opened():
            return
        self._db.close()
        try:
            self._open_or_replace()
        except (OSError, *SQLITE_ERRORS) as exc:
            raise CacheError(f"{self.path}: {_in_words(exc, 'opened')}") from exc
        self._on_replaced()

    def _is_as_opened(self) -> bool:
        """Tell whether no other program has replaced the file meanwhile."""
        try:
            return os.path.samestat(self.path.stat(), self._opened)
        except FileNotFoundError:
            return False

    # ------------------------------------------------------------ reading and writing

    def _refuse_if_read_only(self) -> None:
        if self.read_only:
            raise CacheError(
                f"{self.path}: cannot be written to; open its folder for writing, or put the"
                f" cache elsewhere with {FOLDER_VARIABLE}"
            )

    def _change(self, work: Callable[[], Result], *, undo: Callable[[], None] = _nothing) -> Result:
        """Run `work` as one change: all of it or nothing.

        `undo` takes back what it did elsewhere, should the change come to nothing.  On a
        damaged file both are run again after the file was replaced.  Nobody replaces the
        file meanwhile: what is written to one that was moved aside would be lost.

        Raises
        ------
        CacheError
            If the file cannot be written.
        """
        self._refuse_if_read_only()
        with self._lock:
            self._reopen_if_replaced()
            for is_last in (False, True):
                try:
                    return self._attempt(work, undo)
                except (OSError, *SQLITE_ERRORS) as exc:
                    is_damage = not isinstance(exc, OSError) and self._is_damage(exc)
                    if is_last or not is_damage:
                        raise CacheError(f"{self.path}: {_in_words(exc, 'written')}") from exc
                    self._replace_or_tell()
        raise AssertionError("one of two attempts returns or raises")

    def _attempt(self, work: Callable[[], Result], undo: Callable[[], None]) -> Result:
        self._db.execute("BEGIN IMMEDIATE")
        try:
            result = work()
            self._db.execute("COMMIT")
        except BaseException:
            with contextlib.suppress(*SQLITE_ERRORS):  # a full disk has rolled back already
                self._db.execute("ROLLBACK")
            undo()
            raise
        return result

    def _replace_or_tell(self) -> None:
        try:
            self._replace()
        except (OSError, *SQLITE_ERRORS) as exc:
            raise CacheError(
                f"{self.path}: the cache is damaged and no new one can be made ({exc});"
                " make room on the disk, or use --no-cache to do without"
            ) from exc

    def _ask(
        self, query: str, values: tuple[object, ...] = (), kinds: tuple[type | UnionType, ...] = ()
    ) -> list[tuple[Any, ...]]:
        """Read rows; a file found to be damaged is replaced first, but not inside a change.

        With `kinds` only rows with values of these types are given: others are damaged.
        """
        self._reopen_if_replaced()
        for is_last in (False, True):
            try:
                rows = self._db.execute(query, values).fetchall()
                break
            except SQLITE_ERRORS as exc:
                if self._db.in_transaction:
                    raise
                if is_last or not self._is_damage(exc):
                    raise CacheError(f"{self.path}: {_in_words(exc, 'read')}") from exc
                self._replace_or_tell()
        if not kinds:
            return rows
        return [row for row in rows if all(map(isinstance, row, kinds))]

    def _empty_log(self) -> None:
        """Move what was written from the write-ahead log into the file, if nobody reads."""
        with contextlib.suppress(*SQLITE_ERRORS):
            self._db.execute("PRAGMA busy_timeout = 0")
            self._db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        with contextlib.suppress(*SQLITE_ERRORS):
            self._db.execute(f"PRAGMA busy_timeout = {BUSY_TIMEOUT_S * 1000:.0f}")

    # ------------------------------------------------------------------------ care

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

    def rebuild(self) -> None:
        """Put a new file in place of this one, with all that can be read of it."""
        self._replace_or_tell()


def _in_words(exc: Exception, what: str) -> str:
    """Say what keeps the file from being opened, read or written, and what to do."""
    code = None if isinstance(exc, OSError) else _code(exc)
    if code in _BUSY:
        return (
            f"another program has been using the cache for {BUSY_TIMEOUT_S:.0f} s; wait until it"
            " is done, or use --no-cache to do without"
        )
    if what == "written" and code not in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN):
        return (
            f"the cache cannot be written ({exc}); nothing was lost, make room on the disk or"
            " use --no-cache"
        )
    return f"the cache cannot be {what} ({exc}); use --no-cache to do without"
