"""A worker ends with the program that gave it its work.

A program that is killed cannot tell its workers.  Left alone they would sit on hundreds
of megabytes, and hold the pipe that its output went to, until joblib's own time-out of
five minutes.
"""

from __future__ import annotations

import functools
import os
import threading
import time

LOOK_EVERY_S = 1.0


@functools.cache
def end_with_parent() -> None:
    """Let this process end soon after its parent; call it in every job, it acts once."""
    parent = os.getppid()

    def watch() -> None:
        while os.getppid() == parent:
            time.sleep(LOOK_EVERY_S)
        os._exit(1)  # nothing of a worker is worth keeping: results are written by the parent

    threading.Thread(target=watch, name="parent watch", daemon=True).start()
