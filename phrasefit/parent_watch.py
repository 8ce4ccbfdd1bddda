"""A worker ends with the program that gave it its work.

A program that is killed cannot tell its workers.  Left alone they would sit on hundreds
of megabytes, and hold the pipe that its output went to, until joblib's own time-out of
five minutes.  Nothing heavy is imported here, so that a worker looks before it loads.
"""

from __future__ import annotations

import os
import signal
import threading
import time

LOOK_EVERY_S = 1.0


def start_worker(parent: int) -> None:
    """Prepare this process for work: it ends soon after the process `parent`, and not by Ctrl-C.

    Parameters
    ----------
    parent : int
        The number of the process that started this one; it may be gone already.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the one who gives the work

    def watch() -> None:
        while os.getppid() == parent:
            time.sleep(LOOK_EVERY_S)
        os._exit(1)  # nothing of a worker is worth keeping: results are written by the parent

    threading.Thread(target=watch, name="parent watch", daemon=True).start()
