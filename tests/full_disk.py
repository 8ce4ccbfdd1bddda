"""A disk that is full, as far as a program can tell."""

from __future__ import annotations

import contextlib
import resource
import signal
from collections.abc import Iterator


@contextlib.contextmanager
def full_disk(at_bytes: int) -> Iterator[None]:
    """Let every file that is written inside end at `at_bytes`.

    Keep the block short: the test runner's own output may be a file, too.
    """
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    handler = signal.signal(signal.SIGXFSZ, lambda *_: None)
    resource.setrlimit(resource.RLIMIT_FSIZE, (at_bytes, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        signal.signal(signal.SIGXFSZ, handler)
