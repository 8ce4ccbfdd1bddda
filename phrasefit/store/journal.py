"""The second copy of what a person made: a small text file beside the database.

One JSON list a line (`records.Record.line`), each with its own checksum; changes are
appended and written through to the disk before they are reported as kept.  A damaged
line costs only itself.  Whoever writes holds the lock of the store.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from phrasefit.files import write_atomic
from phrasefit.store.records import Record, read_line

MOST_LINES_A_RECORD = 3  # then the file is written anew
LINES_TO_SPARE = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class Contents:
    """What the journal holds; `n_damaged` lines could not be read."""

    records: tuple[Record, ...] = ()
    n_damaged: int = 0
    is_torn: bool = False  # the last line has no end: its writer was killed

    def is_long(self, n_records: int) -> bool:
        """Tell whether most of it has been overtaken by later lines."""
        return len(self.records) > MOST_LINES_A_RECORD * n_records + LINES_TO_SPARE


class Journal:
    """The file at `path`, which need not exist."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def read(self) -> Contents:
        """Read all sound lines.

        Raises
        ------
        OSError
            If there is something at the place that cannot be read.
        """
        try:
            text = self.path.read_bytes().decode("utf-8", "replace")
        except FileNotFoundError:
            return Contents()
        lines = text.split("\n")
        is_torn = bool(lines.pop())
        records = [read_line(line) for line in lines]
        return Contents(
            records=tuple(record for record in records if record),
            n_damaged=records.count(None),
            is_torn=is_torn,
        )

    def n_bytes(self) -> int:
        """Give the length of the file."""
        try:
            return self.path.stat().st_size
        except FileNotFoundError:
            return 0

    def append(self, records: Iterable[Record]) -> None:
        """Add records and wait until they are on the disk.

        Raises
        ------
        OSError
            If the disk refuses; the file is then as it was.
        """
        is_new = not self.path.exists()
        handle = os.open(self.path, os.O_RDWR | os.O_APPEND | os.O_CREAT, 0o666)
        try:
            size = os.fstat(handle).st_size
            text = "".join(record.line for record in records)
            if size and _last_byte(handle, size) != b"\n":
                text = "\n" + text  # after a line whose writer was killed
            try:
                _write_all(handle, text.encode("ascii"))
                os.fsync(handle)
            except OSError:
                with contextlib.suppress(OSError):
                    os.ftruncate(handle, size)
                raise
        finally:
            os.close(handle)
        if is_new:
            _sync_folder(self.path.parent)

    def cut_back(self, n_bytes: int) -> None:
        """Take back what was appended for a change that came to nothing."""
        with contextlib.suppress(OSError):
            if self.n_bytes() > n_bytes:
                os.truncate(self.path, n_bytes)

    def rewrite(self, records: Iterable[Record]) -> None:
        """Write the file anew, whole or not at all.

        Raises
        ------
        OutputError
            If the disk refuses; the file is then as it was.
        """
        write_atomic(self.path, "".join(record.line for record in records), force=True)
        _sync_folder(self.path.parent)


def _last_byte(handle: int, size: int) -> bytes:
    os.lseek(handle, size - 1, os.SEEK_SET)
    return os.read(handle, 1)


def _write_all(handle: int, content: bytes) -> None:
    while content:
        content = content[os.write(handle, content) :]


def _sync_folder(folder: Path) -> None:
    """Put the name of a new file on the disk, too, where the system can."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
