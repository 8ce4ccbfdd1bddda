"""One program at a time: a lock that the system itself releases when its holder dies."""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path
from types import TracebackType

from phrasefit.errors import CacheError

STEP_S = 0.02  # between two attempts


class Lock:
    """A lock on a file of its own; the same `Lock` may be entered again by its holder.

    Parameters
    ----------
    path : Path
        The file; made if missing and never removed, because removing it would let two
        programs lock two files of the same name.
    timeout_s : float
        How long to wait for another program.
    """

    def __init__(self, path: Path, *, timeout_s: float) -> None:
        self._path, self._timeout_s = path, timeout_s
        self._handle = -1
        self._depth = 0

    def __enter__(self) -> Lock:
        if not self._depth:
            try:
                self._handle = os.open(self._path, os.O_RDWR | os.O_CREAT, 0o666)
            except OSError as exc:
                raise CacheError(
                    f"{self._path}: cannot be opened ({exc.strerror}); open its folder for"
                    " writing, or use --no-cache"
                ) from exc
            try:
                self._wait()
            except BaseException:
                os.close(self._handle)
                raise
        self._depth += 1
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        exc: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._depth -= 1
        if not self._depth:
            os.close(self._handle)  # which unlocks

    def _wait(self) -> None:
        deadline = time.monotonic() + self._timeout_s
        while not _take(self._handle):
            if time.monotonic() > deadline:
                raise CacheError(
                    f"{self._path}: another program has kept this locked for"
                    f" {self._timeout_s:.0f} s; wait until it is done, or use --no-cache"
                )
            time.sleep(STEP_S)


if sys.platform == "win32":

    def _take(handle: int) -> bool:
        """Try to lock an open file."""
        import msvcrt

        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True

else:

    def _take(handle: int) -> bool:
        """Try to lock an open file."""
        import fcntl

        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True
