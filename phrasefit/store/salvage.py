"""A new database in place of a missing or damaged one, with all that can be read of it.

The damaged file is copied; the copy is padded to the length that its header states, so
that a file cut short opens, and read range by range, so that a damaged page costs only
the rows on it.  If its first bytes are damaged, those of a sound database are tried.
The damaged file itself is moved aside as it was.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import sqlite3
import tempfile
import time
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from phrasefit.errors import CacheError
from phrasefit.store.records import TABLES, Record, sound_record
from phrasefit.store.schema import migrate

# Python fails to read SQLite's message where that quotes damaged bytes of the file.
SQLITE_ERRORS = (sqlite3.Error, UnicodeDecodeError)
COMPANIONS = ("-wal", "-shm")  # files SQLite keeps beside its own
PAGE_BYTES = 4096  # SQLite's default since 2016
HEADER_BYTES = 100  # of the database file format, https://www.sqlite.org/fileformat2.html
PAGE_COUNT_AT, CHANGE_COUNTER_AT, VALID_FOR_AT = 28, 24, 92
# A file is known by its sound only as long as there is an analysis of that sound.
FORGET_UNHEARD_FILES = (
    "DELETE FROM file WHERE content_hash NOT IN (SELECT content_hash FROM analysis)"
)
MOST_PADDING_BYTES = 1 << 30  # a page count beyond that is itself damaged
HEX = "0123456789abcdef"
HEX_DEPTH = 3  # of hash prefixes: 4096 ranges, a few rows each


@dataclass(frozen=True, slots=True, kw_only=True)
class Salvaged:
    """What became of a damaged file, and how much could be read of it."""

    aside: Path
    n_analyses: int


def make_database(path: Path) -> None:
    """Make an empty database at `path`, whole or not at all."""
    with tempfile.TemporaryDirectory(prefix=f".{path.stem}.", dir=path.parent) as folder:
        new = Path(folder) / "new"
        _empty(new).close()
        _write_through(new)
        _move_companions(path, _free_name(path))  # of a file that somebody removed
        new.replace(path)


def replace_damaged(path: Path) -> Salvaged:
    """Put a sound database in place of the damaged one at `path`.

    The caller holds the lock of the store.

    Raises
    ------
    CacheError
        If the damaged file cannot be moved.
    OSError, sqlite3.Error
        If there is no room for the new one; the damaged one is then where it was.
    """
    aside = _free_name(path)
    with tempfile.TemporaryDirectory(prefix=f".{path.stem}.", dir=path.parent) as folder:
        new = Path(folder) / "new"
        db = _empty(new)
        try:
            _copy_sound_rows(path, Path(folder) / "copy", db, begin=new.read_bytes())
            db.execute(FORGET_UNHEARD_FILES)
            found = Salvaged(aside=aside, n_analyses=_count(db, "analysis"))
            db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        finally:
            db.close()
        _write_through(new)
        _swap(path, aside, new)
    return found


def _free_name(path: Path) -> Path:
    stamp = time.strftime("%Y%m%d-%H%M%S")
    names = (f"{path.stem}.damaged-{stamp}{n}{path.suffix}" for n in ("", *range(2, 10_000)))
    return next(path.with_name(name) for name in names if not path.with_name(name).exists())


def _swap(path: Path, aside: Path, new: Path) -> None:
    """Put `new` at `path` in one step, where the file system can."""
    try:
        _move_companions(path, aside)
        try:
            os.link(path, aside)
        except OSError:  # not on every file system
            path.replace(aside)
        new.replace(path)
    except OSError as exc:
        raise CacheError(
            f"{path}: is damaged and cannot be moved aside ({exc.strerror});"
            " delete it, or use --no-cache to do without"
        ) from exc


def _write_through(path: Path) -> None:
    with path.open("r+b") as file:
        os.fsync(file.fileno())


def _move_companions(path: Path, aside: Path) -> None:
    """Keep SQLite from applying what belongs to another file."""
    for companion in COMPANIONS:
        with contextlib.suppress(FileNotFoundError):
            os.replace(f"{path}{companion}", f"{aside}{companion}")


def _empty(path: Path) -> sqlite3.Connection:
    """Make a database with empty tables; it is complete as soon as it has a length."""
    db = sqlite3.connect(path, isolation_level=None)
    db.execute(f"PRAGMA page_size = {PAGE_BYTES}")
    db.execute("PRAGMA synchronous = OFF")  # it counts from the moment it is moved into place
    db.execute("BEGIN")
    migrate(db, 0)
    db.execute("COMMIT")
    db.execute("PRAGMA journal_mode = WAL")
    return db


# ------------------------------------------------------------ reading what is left


# With the log or without; how many bytes at the begin are taken from a sound database.
# The whole first page holds the list of tables: it is the same for all files that were
# begun with this schema.
_ATTEMPTS = ((True, 0), (True, HEADER_BYTES), (True, PAGE_BYTES), (False, HEADER_BYTES))


def _copy_sound_rows(path: Path, copy: Path, db: sqlite3.Connection, *, begin: bytes) -> None:
    """Fill `db` with every row of the damaged file that proves sound."""
    for has_log, n_repaired in _ATTEMPTS:
        for suffix in ("", *COMPANIONS):
            Path(f"{copy}{suffix}").unlink(missing_ok=True)
        for suffix in ("", "-wal") if has_log else ("",):
            with contextlib.suppress(FileNotFoundError):
                shutil.copyfile(f"{path}{suffix}", f"{copy}{suffix}")
        _pad(copy)
        if n_repaired:
            _repair_begin(copy, begin[:n_repaired])
        if _copy_from(copy, db):
            return


def _count(db: sqlite3.Connection, table: str) -> int:
    return int(db.execute(f"SELECT count(*) FROM {table}").fetchone()[0])


def _pad(path: Path) -> None:
    """Make a file that was cut short as long as its header says it was."""
    with path.open("r+b") as file:
        head = file.read(HEADER_BYTES)
        page = int.from_bytes(head[16:18], "big")
        page = 65536 if page == 1 else page
        length = page * int.from_bytes(head[PAGE_COUNT_AT : PAGE_COUNT_AT + 4], "big")
        size = file.seek(0, os.SEEK_END)
        if size < length < size + MOST_PADDING_BYTES:
            file.truncate(length)


def _repair_begin(path: Path, begin: bytes) -> None:
    """Write the first bytes of a sound database over those of the damaged one."""
    with path.open("r+b") as file:
        n_pages = -(-file.seek(0, os.SEEK_END) // PAGE_BYTES)
        repaired = bytearray(begin)
        repaired[32:40] = bytes(8)  # no list of free pages: it is only read
        repaired[PAGE_COUNT_AT : PAGE_COUNT_AT + 4] = n_pages.to_bytes(4, "big")
        repaired[VALID_FOR_AT : VALID_FOR_AT + 4] = repaired[
            CHANGE_COUNTER_AT : CHANGE_COUNTER_AT + 4
        ]
        file.seek(0)
        file.write(repaired)
        file.truncate(n_pages * PAGE_BYTES)


def _copy_from(copy: Path, db: sqlite3.Connection) -> bool:
    """Copy what can be read; tell whether all of it could."""
    is_whole = True
    with contextlib.closing(sqlite3.connect(copy, isolation_level=None)) as old:
        old.text_factory = lambda text: text.decode("utf-8", "replace")
        for table, key in (("analysis", "content_hash"), ("file", "path"), *_KEYS):
            rows = _Rows(old, table, key)
            db.execute("BEGIN")
            for row in rows:
                _put_if_sound(db, table, row)
            db.execute("COMMIT")
            is_whole &= rows.is_whole
    return is_whole


_KEYS = tuple((table, columns[0]) for table, columns in TABLES.items())


class _Rows:
    """The rows of a table, some of them twice where pages are damaged."""

    def __init__(self, db: sqlite3.Connection, table: str, key: str) -> None:
        self._db, self._table, self._key = db, table, key
        self.is_whole = True

    def __iter__(self) -> Iterator[tuple[Any, ...]]:
        yield from self._from_both_ends("", "", depth=0)
        if not self.is_whole:
            for digit in HEX:
                yield from self._from_both_ends(digit, digit + "g", depth=1)

    def _from_both_ends(self, low: str, high: str, *, depth: int) -> Iterator[tuple[Any, ...]]:
        """Read a range of keys; if a page in it is damaged, up to it from either side.

        What lies between two damaged pages is found in smaller ranges.
        """
        n = 0
        for order in ("", "DESC"):
            try:
                for row in self._select(low, high, order):
                    n += 1
                    yield row
                return
            except (*SQLITE_ERRORS, MemoryError, OverflowError):
                self.is_whole = False
        if n and 0 < depth < HEX_DEPTH:
            for digit in HEX:
                yield from self._from_both_ends(low + digit, low + digit + "g", depth=depth + 1)

    def _select(self, low: str, high: str, order: str) -> Iterator[tuple[Any, ...]]:
        within = f" WHERE {self._key} >= ? AND {self._key} < ?" if high else ""
        query = f"SELECT * FROM {self._table}{within} ORDER BY {self._key} {order}"
        return self._db.execute(query, (low, high) if high else ())


def _put_if_sound(db: sqlite3.Connection, table: str, row: tuple[Any, ...]) -> None:
    if table in TABLES:
        if record := sound_row(table, row):
            put_record(db, record)
    elif table == "analysis":
        if len(row) in (4, 5) and is_sound_analysis(*row):
            db.execute("INSERT OR IGNORE INTO analysis VALUES (?, ?, ?, ?, ?)", (*row, None)[:5])
    elif len(row) == 4 and _is_typed(row, str, int, int, str):
        db.execute("INSERT OR IGNORE INTO file VALUES (?, ?, ?, ?)", row)


def sound_row(table: str, row: tuple[Any, ...]) -> Record | None:
    """Read a row of a table of records; those of earlier schemas have no checksum."""
    if len(row) == 3 and _is_typed(row, str, str, float):
        return Record(table, *row)
    return sound_record(table, *row) if len(row) == 4 else None


def put_record(db: sqlite3.Connection, record: Record) -> None:
    """Write a record, unless a later one is there."""
    key, text = TABLES[record.table]
    db.execute(
        f"INSERT INTO {record.table} ({key}, {text}, stored_at, checksum) VALUES (?, ?, ?, ?)"
        f" ON CONFLICT ({key}) DO UPDATE SET {text} = excluded.{text},"
        " stored_at = excluded.stored_at, checksum = excluded.checksum"
        f" WHERE excluded.stored_at >= {record.table}.stored_at",
        (record.key, record.text, record.stored_at, record.checksum),
    )


def _is_typed(row: tuple[Any, ...], *kinds: type) -> bool:
    return all(isinstance(value, kind) for value, kind in zip(row, kinds, strict=True))


def analysis_checksum(content_hash: str, version: str, packed: bytes) -> int:
    """Sum up an analysis with the names that it is kept under."""
    return zlib.crc32(packed, zlib.crc32(f"{content_hash} {version}".encode()))


def is_sound_analysis(
    content_hash: Any, version: Any, packed: Any, stored_at: Any, checksum: Any = None
) -> bool:
    """Tell whether an analysis is as it was written; earlier schemas kept no checksum."""
    if not _is_typed((content_hash, version, packed, stored_at), str, str, bytes, float):
        return False
    if checksum is not None and checksum != analysis_checksum(content_hash, version, packed):
        return False
    try:
        zlib.decompress(packed).decode("utf-8")
    except (zlib.error, UnicodeDecodeError):
        return False
    return True
