"""A process that works for the desk: it lives while there is work, and can be ended at once.

What is heavy (the libraries that listen) is loaded there, never in the desk itself, and what
a damaged file does to a process it does to that one.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import threading
import weakref
from collections.abc import Callable, Iterator
from multiprocessing.connection import Connection
from typing import Any

from phrasefit.parent_watch import start_worker

MOST_MEMORY = 6_000_000_000  # bytes; an hour of sound takes under two
LONGEST_S = 1800.0  # for one song, on a slow computer
THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")


class WorkerDied(Exception):
    """The process ended, or was ended, before it was done."""


class WorkerTooSlow(WorkerDied):
    """The process was ended as it took too long."""


_all: weakref.WeakSet[Listener] = weakref.WeakSet()
_is_over = threading.Event()


def end_all() -> None:
    """End every worker, and start no more: the desk is closing."""
    _is_over.set()
    for listener in list(_all):
        listener.end()


@contextlib.contextmanager
def alone(lock: threading.Lock) -> Iterator[None]:
    """Hold a lock while long work is done; give up when the desk closes.

    Raises
    ------
    WorkerDied
        If the desk closes before it is this one's turn.
    """
    while not lock.acquire(timeout=0.2):
        if _is_over.is_set():
            raise WorkerDied
    try:
        if _is_over.is_set():
            raise WorkerDied
        yield
    finally:
        lock.release()


class Listener:
    """One process for one thing after another; started when the first one comes.

    `run` is called by one thread; `end` may be called by any.
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._process: multiprocessing.process.BaseProcess | None = None
        self._line: Connection | None = None
        self._ended = False
        _all.add(self)

    def run(self, work: Callable[..., Any], *arguments: Any) -> Any:
        """Do `work` in the process and give what it returns.

        Parameters
        ----------
        work : callable
            A function of a module that raises nothing.
        *arguments
            Whatever can be pickled.

        Raises
        ------
        WorkerDied
            If the process ended meanwhile; the next call starts another.
        """
        line = self._started()
        try:
            line.send((work, arguments))
            if not line.poll(LONGEST_S):
                self._kill()
                raise WorkerTooSlow
            return line.recv()
        except (EOFError, OSError) as exc:
            self._kill()
            raise WorkerDied from exc

    def end(self) -> None:
        """End the process at once, whatever it is doing; it is not started again."""
        self._ended = True
        self._kill()

    def _started(self) -> Connection:
        with self._lock:
            if self._ended or _is_over.is_set():
                raise WorkerDied
            if self._line is None:
                context = multiprocessing.get_context("spawn")
                self._line, theirs = context.Pipe()
                self._process = context.Process(
                    target=_serve, args=(theirs, os.getpid()), daemon=True
                )
                self._process.start()
                theirs.close()
            return self._line

    def _kill(self) -> None:
        with self._lock:
            if self._process is not None:
                self._process.kill()
                self._process.join()
                self._process = None
            self._line = None  # closed by whoever waits at it, once it is no longer used


def _serve(line: Connection, parent: int) -> None:
    """Do what comes in, one thing after the other, until nobody sends any more."""
    start_worker(parent)
    os.environ.update(dict.fromkeys(THREADS, "1"))  # before NumPy is loaded
    _be_modest()
    with contextlib.suppress(EOFError, OSError):
        while True:
            work, arguments = line.recv()
            line.send(work(*arguments))


def _be_modest() -> None:
    """Leave the computer to the person, and end rather than take all its memory."""
    with contextlib.suppress(AttributeError, OSError):
        os.nice(10)
    with contextlib.suppress(ImportError, ValueError, OSError):  # not on Windows
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY, MOST_MEMORY))
