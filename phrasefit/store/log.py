"""Notice a write-ahead log that has lost what was committed to it.

SQLite takes a log that ends early for one whose writer was killed, and says nothing.
But its shared index (the ``-shm`` file) outlives a kill, and tells how many frames of
the log were committed.  The layout is that of "WAL-mode file format",
https://www.sqlite.org/walformat.html.
"""

from __future__ import annotations

import os
import struct
import threading
from dataclasses import dataclass
from pathlib import Path

_INDEX_HEADER = struct.Struct("=IIIBBHIIII8s8s")  # in the byte order of the machine
LOG_HEADER_BYTES, FRAME_HEADER_BYTES = 32, 24
LITTLE_ENDIAN_SUMS, BIG_ENDIAN_SUMS = 0x377F0682, 0x377F0683  # first four bytes of a log

_seen: set[str] = set()
_seeing = threading.Lock()


@dataclass(frozen=True, slots=True)
class Committed:
    """What the index says of the log."""

    n_frames: int
    page_bytes: int
    salts: bytes


def has_lost_frames(path: Path) -> bool:
    """Tell whether less is in the log of the database at `path` than was committed to it.

    It looks only before this process opens the database for the first time: closing the
    index would release the locks that SQLite holds on it for the whole process.
    """
    with _seeing:
        name = os.path.realpath(path)
        if name in _seen:
            return False
        _seen.add(name)
        before = _committed(path)
        if before is None or not before.n_frames:
            return False
        is_whole = _is_whole(path, before)
        # If the index has changed, another program is at work on a log that is whole.
        return not is_whole and _committed(path) == before


def _committed(path: Path) -> Committed | None:
    try:
        index = Path(f"{path}-shm").read_bytes()
    except OSError:
        return None
    size = _INDEX_HEADER.size  # it stands there twice, to be read while it is changed
    if len(index) < 2 * size or index[:size] != index[size : 2 * size]:
        return None
    *_, page_bytes, n_frames, _, _, _, salts, _ = _INDEX_HEADER.unpack_from(index)
    return Committed(n_frames, 65536 if page_bytes == 1 else page_bytes, salts)


def _is_whole(path: Path, committed: Committed) -> bool:
    """Check the sums of all committed frames, each of which goes on from the one before."""
    try:
        log = Path(f"{path}-wal").read_bytes()
    except OSError:
        return False
    frame_bytes = FRAME_HEADER_BYTES + committed.page_bytes
    if len(log) < LOG_HEADER_BYTES + committed.n_frames * frame_bytes:
        return False
    magic = int.from_bytes(log[:4], "big")
    if magic not in (LITTLE_ENDIAN_SUMS, BIG_ENDIAN_SUMS) or log[16:24] != committed.salts:
        return False
    order = "<" if magic == LITTLE_ENDIAN_SUMS else ">"
    sums = _add(log[:24], (0, 0), order)
    if sums != struct.unpack(">II", log[24:32]):
        return False
    for i in range(committed.n_frames):
        begin = LOG_HEADER_BYTES + i * frame_bytes
        page = begin + FRAME_HEADER_BYTES
        sums = _add(log[begin : begin + 8], sums, order)
        sums = _add(log[page : begin + frame_bytes], sums, order)
        if sums != struct.unpack(">II", log[begin + 16 : page]):
            return False
    return True


def _add(content: bytes, sums: tuple[int, int], order: str) -> tuple[int, int]:
    first, second = sums
    for one, other in struct.iter_unpack(order + "II", content):
        first = (first + one + second) & 0xFFFFFFFF
        second = (second + other + first) & 0xFFFFFFFF
    return first, second
