"""Notice a write-ahead log that has lost what was committed to it.

SQLite takes a log that ends early for one whose writer was killed, and says nothing.
But its shared index (the ``-shm`` file) outlives a kill, and tells how many frames of
the log were committed and how many of them are in the database already.  The layout is
that of "WAL-mode file format", https://www.sqlite.org/walformat.html.

May import: standard library.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path

_INDEX_HEADER = struct.Struct("=IIIBBHII8s4s4s8s")  # in the byte order of the machine
_N_BACKFILLED = struct.Struct("=I")
MOST_RESTARTS = 1000  # the first salt is counted up at each new start of a log


@dataclass(frozen=True, slots=True)
class LogState:
    """What the index says of the log, and the age of the database file."""

    n_frames: int = 0
    n_in_database: int = 0
    salt: int = 0
    database_changed_ns: int = 0


def log_state(path: Path) -> LogState:
    """Read the index beside the database at `path`; zeros if there is none."""
    try:
        index = Path(f"{path}-shm").read_bytes()
        changed_ns = path.stat().st_mtime_ns
    except OSError:
        return LogState()
    size = _INDEX_HEADER.size
    if len(index) < 2 * size + _N_BACKFILLED.size or index[:size] != index[size : 2 * size]:
        return LogState()
    *_, n_frames, _, _, salt, _, _ = _INDEX_HEADER.unpack_from(index)
    (n_in_database,) = _N_BACKFILLED.unpack_from(index, 2 * size)
    return LogState(n_frames, n_in_database, int.from_bytes(salt, "big"), changed_ns)


def has_lost_frames(before: LogState, after: LogState) -> bool:
    """Tell whether opening the database found less in the log than was committed."""
    if before.n_frames <= before.n_in_database or after.n_frames >= before.n_frames:
        return False
    if before.database_changed_ns != after.database_changed_ns:
        return False  # another program has just emptied the log into it
    return not 0 < (after.salt - before.salt) % 2**32 <= MOST_RESTARTS
