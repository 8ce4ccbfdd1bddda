"""What was heard, by the sound of the songs, together with what a person made of it.

Songs are known by the hash of their sound (`SongInfo.content_hash`), so a file that is
renamed, moved or re-tagged is known again.  Hashing means decoding; a memo of (path,
size, modification time) spares that for files that have not changed.  Every change is
one transaction, so a killed program loses at most the song it was working on.
"""

from __future__ import annotations

import json
import time
import zlib
from collections.abc import Iterable, Iterator
from pathlib import Path
from types import UnionType
from typing import Any

from phrasefit.errors import CacheError, Reason
from phrasefit.model import SongSummary
from phrasefit.store.salvage import (
    FORGET_UNHEARD_FILES,
    SQLITE_ERRORS,
    analysis_checksum,
    is_sound_analysis,
)
from phrasefit.store.user_data import UserData

SUMMARY_KINDS: tuple[type | UnionType, ...] = (
    str, str, str, str, float, float, int, float, float | None, float, str, int, bytes, int,
)  # fmt: skip
KNOWN_REASONS = {str(reason): reason for reason in Reason}


def _name(path: Path) -> str:
    """Give the name under which a file is kept; bytes that are no UTF-8 become signs."""
    return str(path.resolve()).encode("utf-8", "backslashreplace").decode("utf-8")


class Store(UserData):
    """The open cache; use it as a context manager (see `phrasefit.store.database.Database`).

    Examples
    --------
    >>> from pathlib import Path
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder, Store(Path(folder, "c.sqlite3")) as store:
    ...     store.put_correction("5f1c", {"meter": 3})
    ...     store.get_correction("5f1c")
    {'meter': 3}
    """

    def _tell_unkept(self) -> bool:
        """In a closed folder, say that nothing new can be kept; tell whether it is one."""
        if self.read_only:
            note = f"{self.path}: cannot be written to, so what is heard now is not kept"
            if note not in self.notes:
                self.notes.append(note)
        return self.read_only

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
            (str,),
        )
        return rows[0][0] if rows else None

    def files(self) -> dict[str, tuple[int, int, str]]:
        """List all files heard: path to (size, modification time in ns, content hash)."""
        rows = self._ask("SELECT * FROM file", kinds=(str, int, int, str))
        return {row[0]: row[1:] for row in rows}

    def paths_of(self, content_hash: str) -> list[str]:
        """List the files that held this sound when they were heard."""
        query = "SELECT path FROM file WHERE content_hash = ? ORDER BY path"
        return [row[0] for row in self._ask(query, (content_hash,), (str,))]

    def _put_file(self, path: Path, content_hash: str) -> None:
        state = path.stat()
        self._db.execute(
            "INSERT OR REPLACE INTO file VALUES (?, ?, ?, ?)",
            (_name(path), state.st_size, state.st_mtime_ns, content_hash),
        )

    def forget_files(self, paths: Iterable[str]) -> None:
        """Forget what is known of these files."""
        values = [(path,) for path in paths]
        self._change(lambda: self._db.executemany("DELETE FROM file WHERE path = ?", values))

    def failures(self, version: str) -> dict[str, tuple[int, int, str, Reason | None]]:
        """List files that this analysis version could not use: size, time, trouble, reason."""
        query = "SELECT path, size, mtime_ns, trouble, reason FROM failure WHERE version = ?"
        rows = self._ask(query, (version,), (str, int, int, str, str))
        return {row[0]: (*row[1:4], KNOWN_REASONS.get(row[4])) for row in rows}

    def put_failure(
        self, path: Path, version: str, trouble: str, reason: Reason | None = None
    ) -> None:
        """Keep why a file cannot be used; forgotten when the file changes."""
        if self._tell_unkept():
            return
        state = path.stat()
        values = (_name(path), state.st_size, state.st_mtime_ns, version, trouble, reason or "")
        query = "INSERT OR REPLACE INTO failure VALUES (?, ?, ?, ?, ?, ?)"
        self._change(lambda: self._db.execute(query, values))

    # ---------------------------------------------------------------- analyses

    def get_analysis(self, content_hash: str, version: str) -> str | None:
        """Recall an analysis document (JSON text) of this analysis version.

        None if there is none; with a note if there was one and it is damaged.
        """
        query = "SELECT * FROM analysis WHERE content_hash = ? AND version = ?"
        rows = self._ask(query, (content_hash, version))
        if not rows and self._has_lost(content_hash) and not self.read_only:
            self.rebuild()
            rows = self._ask(query, (content_hash, version))
        if not rows:
            return None
        if not is_sound_analysis(*rows[0]):
            self.notes.append(
                f"what was heard of song {content_hash[:12]} was damaged in the cache; it is"
                " listened to again"
            )
            return None
        return zlib.decompress(rows[0][2]).decode("utf-8")

    def other_analyses(self, content_hash: str, version: str) -> dict[str, str]:
        """Recall what other versions heard of a song: sound documents by version, newest first."""
        query = "SELECT * FROM analysis WHERE content_hash = ? AND version != ?"
        rows = self._ask(f"{query} ORDER BY stored_at DESC", (content_hash, version))
        return {
            row[1]: zlib.decompress(row[2]).decode("utf-8")
            for row in rows
            if is_sound_analysis(*row)
        }

    def when_heard(self, content_hash: str, version: str) -> float | None:
        """Tell when an analysis of this version was kept [seconds since 1970]."""
        query = "SELECT stored_at FROM analysis WHERE content_hash = ? AND version = ?"
        rows = self._ask(query, (content_hash, version), (float,))
        return rows[0][0] if rows else None

    def _has_lost(self, content_hash: str) -> bool:
        """Tell whether there must have been an analysis of a sound that is not found."""
        others = self._ask("SELECT * FROM analysis WHERE content_hash = ?", (content_hash,))
        if others:
            return not all(is_sound_analysis(*row) for row in others)
        return bool(self._ask("SELECT 1 FROM file WHERE content_hash = ?", (content_hash,)))

    def put_analysis(self, content_hash: str, version: str, document: str, *, path: Path) -> None:
        """Keep an analysis document, and that the file at `path` holds this sound."""
        if self._tell_unkept():
            return
        packed = zlib.compress(document.encode("utf-8"))
        checksum = analysis_checksum(content_hash, version, packed)

        def work() -> None:
            self._db.execute(
                "INSERT OR REPLACE INTO analysis VALUES (?, ?, ?, ?, ?)",
                (content_hash, version, packed, time.time(), checksum),
            )
            self._forget_summary(content_hash)
            self._put_file(path, content_hash)

        self._change(work)
        self._empty_log()

    def documents(self) -> Iterator[tuple[str, str, bool]]:
        """Yield every analysis as (content hash, version, whether it is sound)."""
        for key in self._ask("SELECT content_hash, version FROM analysis"):
            query = "SELECT * FROM analysis WHERE content_hash = ? AND version = ?"
            for row in self._ask(query, key):
                yield (*key, is_sound_analysis(*row))

    def delete_analysis(self, content_hash: str, version: str) -> None:
        """Remove an analysis."""
        query = "DELETE FROM analysis WHERE content_hash = ? AND version = ?"

        def work() -> None:
            self._db.execute(query, (content_hash, version))
            self._forget_summary(content_hash)
            self._db.execute(FORGET_UNHEARD_FILES)

        self._change(work)

    def forget_stale(self, version: str, *, without_files: bool) -> None:
        """Remove analyses of other versions, failures, and songs that no file is left for."""

        def work() -> None:
            self._db.execute("DELETE FROM analysis WHERE version != ?", (version,))
            self._db.execute("DELETE FROM failure")
            for table in ("analysis", "summary") if without_files else ():
                self._db.execute(
                    f"DELETE FROM {table} WHERE content_hash NOT IN (SELECT content_hash FROM file)"
                )
            self._db.execute(FORGET_UNHEARD_FILES)

        self._change(work)
        try:
            self._db.execute("VACUUM")
            self._db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        except SQLITE_ERRORS as exc:
            raise CacheError(
                f"{self.path}: the space cannot be given back ({exc}); close other phrasefit"
                " windows, make room on the disk and try again"
            ) from exc

    # --------------------------------------------------------------- summaries

    def summaries(self, version: str) -> list[SongSummary]:
        """Recall what ranking needs of all songs heard; damaged ones count as not there."""
        query = "SELECT * FROM summary WHERE version = ?"
        rows = self._ask(query, (version,), SUMMARY_KINDS)
        names = SongSummary.__slots__
        return [
            SongSummary(**dict(zip(names, row[:-1], strict=True)))
            for row in rows
            if row[-1] == _summary_checksum(row[:-1])
        ]

    def hashes_heard(self, version: str) -> set[str]:
        """List the sounds that have an analysis of this version."""
        return set(self.heard_at(version))

    def heard_at(self, version: str) -> dict[str, float]:
        """Tell when the sounds that have an analysis of this version were heard [s since 1970]."""
        query = "SELECT content_hash, stored_at FROM analysis WHERE version = ?"
        return dict(self._ask(query, (version,), (str, float)))

    def put_summaries(self, summaries: Iterable[SongSummary]) -> None:
        """Keep summaries, in place of earlier ones of the same sounds."""
        if self._tell_unkept():
            return
        rows = [tuple(getattr(s, name) for name in SongSummary.__slots__) for s in summaries]
        values = [(*row, _summary_checksum(row)) for row in rows]
        query = "INSERT OR REPLACE INTO summary VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"
        self._change(lambda: self._db.executemany(query, values))


def _summary_checksum(row: tuple[Any, ...]) -> int:
    """Sum up a row; the numbers as the columns hold them."""
    *values, grid = row
    plain = [value if isinstance(value, str | None) else float(value) for value in values]
    return zlib.crc32(grid, zlib.crc32(json.dumps(plain).encode("ascii")))
