"""One queue of songs to be heard, by worker processes that live only while it has any.

A file that cannot be used says why and stops nothing; a worker that dies costs only the file
that it was at, as each worker is given one at a time.  What was stopped, or was found in a
chosen folder when the desk opened, waits until the person asks for it.
"""

from __future__ import annotations

import os
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable, Set
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from phrasefit import pipeline
from phrasefit.batch import (
    ENDED_ITS_WORKER,
    BatchReport,
    Failure,
    Heard,
    hear,
    keep_heard,
    recall,
)
from phrasefit.clock import clock_time
from phrasefit.collection import Collection
from phrasefit.desk import places
from phrasefit.desk.desk import Desk
from phrasefit.desk.listener import LONGEST_S, Listener, WorkerDied, WorkerTooSlow
from phrasefit.errors import PhrasefitError, Reason
from phrasefit.model import SongSummary
from phrasefit.store import Store

MOST_WORKERS = 8  # each takes half a gigabyte
MOST_FAILED_SHOWN = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """A file to be heard; `anyway` as in `pipeline.analyse`."""

    path: Path
    anyway: bool = False


class Hearing:
    """Hears songs for a desk; every function may be called from any thread.

    Parameters
    ----------
    desk : Desk
    on_heard : callable(Store, str, SongSummary or None)
        Told the content hash of each song that has been heard, and its summary if no
        correction has changed it.
    """

    def __init__(
        self, desk: Desk, on_heard: Callable[[Store, str, SongSummary | None], None]
    ) -> None:
        self._desk, self._on_heard = desk, on_heard
        self._lock = threading.Lock()
        self._queue: deque[Job] = deque()
        self._now: dict[Path, Job] = {}
        self._left: dict[Path, Job] = {}
        self._failed: dict[Path, Failure] = {}
        self._workers: set[Listener] = set()
        self._n_done = self._n_all = 0
        self._began = 0.0
        self._is_summing_up = False
        self._tried_to_sum_up: set[str] = set()

    # ------------------------------------------------------------------- what is asked

    def hear(self, paths: Iterable[Path], *, anyway: bool = False) -> int:
        """Put files into the queue that are not in it; tell how many."""
        with self._lock:
            if not self._queue and not self._now:
                self._n_done = self._n_all = 0
                self._began = time.monotonic()
            waiting = {job.path for job in self._queue} | self._now.keys()
            jobs = [Job(path=path, anyway=anyway) for path in paths if path not in waiting]
            for job in jobs:
                self._left.pop(job.path, None)
                self._failed.pop(job.path, None)
            self._queue += jobs
            self._n_all += len(jobs)
            started = self._more_workers()
        for worker in started:
            threading.Thread(target=self._work, args=(worker,), daemon=True).start()
        self._tell()
        return len(jobs)

    def hear_new(self, store: Store, paths: Iterable[Path]) -> int:
        """Put those files into the queue that nothing is known of; tell how many."""
        return self.hear(self._new_of(store, paths))

    def _new_of(self, store: Store, paths: Iterable[Path]) -> list[Path]:
        report = BatchReport()
        new = recall(list(paths), store, pipeline.analysis_version(), report)
        with self._lock:
            for failure in report.failures:
                self._failed.setdefault(failure.path, failure)
        return new

    def stop(self) -> None:
        """Stop at once; what was not heard waits to be asked for again."""
        with self._lock:
            jobs = [*self._now.values(), *self._queue]
            self._left |= {job.path: job for job in jobs}
            self._queue.clear()
            self._now.clear()
            workers, self._workers = self._workers, set()
        for worker in workers:
            worker.end()
        self._tell()

    def go_on(self) -> None:
        """Hear what is left."""
        with self._lock:
            jobs = list(self._left.values())
        for anyway in (False, True):
            self.hear([job.path for job in jobs if job.anyway is anyway], anyway=anyway)

    def forget_left(self) -> list[Path]:
        """Give up what is left; tell which files."""
        with self._lock:
            paths, self._left = list(self._left), {}
        self._tell()
        return paths

    def failed_called(self, names: Iterable[str]) -> list[Failure]:
        """Find failed files by the names that pages know."""
        wanted = set(names)
        with self._lock:
            found = list(self._failed.values())
        return [failed for failed in found if places.name_of(failed.path) in wanted]

    def drop_failed(self, paths: Iterable[Path]) -> None:
        """Show these failed files no more."""
        with self._lock:
            for path in paths:
                self._failed.pop(path, None)
        self._tell()

    def is_busy(self) -> bool:
        """Tell whether songs are being heard or wait for it."""
        return bool(self._queue or self._now or self._is_summing_up)

    def state(self) -> dict[str, Any]:
        """Lay out for pages how far it is."""
        with self._lock:
            n_left = len(self._queue) + len(self._now)
            failed = list(self._failed.values())[-MOST_FAILED_SHOWN:]
            return {
                "working": n_left > 0,
                "done": self._n_done,
                "all": self._n_all,
                "now": [path.stem for path in self._now],
                "left": self._time_left(n_left),
                "unheard": len(self._left),
                "n_failed": len(self._failed),
                "failed": [_failed_row(one) for one in failed],
            }

    def _time_left(self, n_left: int) -> str | None:
        """Estimate from those done how long the rest takes."""
        if not self._n_done or not n_left:
            return None
        each_s = (time.monotonic() - self._began) / self._n_done
        return clock_time(each_s * n_left, decimals=0)

    def _tell(self) -> None:
        self._desk.news.publish("hearing", self.state())

    # ------------------------------------------------------------------------- the work

    def _more_workers(self) -> list[Listener]:
        """Make as many workers as the queue can use; under the lock."""
        most = min(MOST_WORKERS, max(1, (os.cpu_count() or 1) - 1))  # one core is the person's
        n_wanted = min(most, len(self._queue) + len(self._now))
        made = [Listener() for _ in range(len(self._workers), n_wanted)]
        self._workers |= set(made)
        return made

    def _work(self, worker: Listener) -> None:
        while (job := self._next(worker)) is not None:
            self._tell()
            heard = self._heard(worker, job)
            if job.path not in self._now:
                continue  # it was stopped meanwhile
            self._finish(heard)
            with self._lock:  # not before: whoever sees it done asks for what was heard
                self._now.pop(job.path, None)
                self._left.pop(job.path, None)
                self._n_done += 1
            self._tell()
        worker.end()

    def _next(self, worker: Listener) -> Job | None:
        with self._lock:
            if worker not in self._workers or not self._queue:
                self._workers.discard(worker)
                return None
            job = self._queue.popleft()
            self._now[job.path] = job
            return job

    def _heard(self, worker: Listener, job: Job) -> Heard:
        try:
            return worker.run(hear, job.path, self._desk.store_path, False, job.anyway)
        except WorkerTooSlow:
            minutes = LONGEST_S / 60
            return Heard(path=job.path, trouble=f"took longer than {minutes:.0f} minutes to hear")
        except WorkerDied:
            return Heard(path=job.path, trouble=ENDED_ITS_WORKER)

    def _finish(self, heard: Heard) -> None:
        """Keep what was heard, and tell; of a copy that is of no use nothing stays."""
        try:
            with self._desk.store() as store:
                if heard.trouble:
                    self._fail(store, heard)
                else:
                    keep_heard(heard, store, pipeline.analysis_version())
                    self._drop_second_copy(store, heard)
                    as_heard = store.get_correction(heard.content_hash) is None
                    self._on_heard(store, heard.content_hash, heard.summary if as_heard else None)
        except (PhrasefitError, OSError) as exc:
            with self._lock:
                self._failed[heard.path] = Failure(path=heard.path, trouble=str(exc))

    def _fail(self, store: Store, heard: Heard) -> None:
        failed = Failure(path=heard.path, trouble=heard.trouble, reason=heard.reason)
        with self._lock:
            self._failed[heard.path] = failed
        if places.is_copy(store.path, heard.path) and not _may_insist(failed):
            places.remove_copy(store.path, heard.path)
        elif heard.lasting:
            version = pipeline.analysis_version()
            store.put_failure(heard.path, version, heard.trouble, heard.reason)

    def _drop_second_copy(self, store: Store, heard: Heard) -> None:
        """Keep no copy of a song that can be played from another place."""
        if not places.is_copy(store.path, heard.path):
            return
        playable = places.places_of(store)
        others = [path for path in store.paths_of(heard.content_hash) if Path(path) != heard.path]
        if any(os.path.exists(p) and places.is_inside(p, playable) for p in others):
            places.remove_copy(store.path, heard.path)
            store.forget_files([str(heard.path)])

    # --------------------------------------------------------------- when the desk opens

    def begin(self) -> None:
        """Remove copies that were cut off, and look around; before any page is answered."""
        places.remove_copies(self._desk.store_path, unfinished_only=True)
        copies = list(places.copies(self._desk.store_path))
        threading.Thread(target=self._look_around, args=(copies,), daemon=True).start()

    def _look_around(self, copies: list[Path]) -> None:
        """Find what was not heard last time, and what is new in the chosen folders since."""
        try:
            with self._desk.store() as store:
                paths = list(copies)
                for folder in places.chosen_folders(store).values():
                    paths += places.songs_of_folder(store, folder)
                new = self._new_of(store, paths)
        except (PhrasefitError, OSError):
            return  # whatever it is, the list says it when it is asked for
        with self._lock:
            under_way = {job.path for job in self._queue} | self._now.keys()
            self._left |= {path: Job(path=path) for path in new if path not in under_way}
        self._tell()

    def sum_up(self, missing: Set[str]) -> None:
        """Sum up songs heard by other commands, in a process; pages are told at the end.

        Songs that could not be summed up are not tried again.
        """
        with self._lock:
            if self._is_summing_up or missing <= self._tried_to_sum_up:
                return
            self._is_summing_up = True
            self._tried_to_sum_up |= missing
        threading.Thread(target=self._sum_up, daemon=True).start()

    def _sum_up(self) -> None:
        worker = Listener()
        try:
            worker.run(sum_up_all, self._desk.store_path)
        except WorkerDied:
            pass
        finally:
            worker.end()
            self._is_summing_up = False
            self._desk.news.publish("songs", {})


def sum_up_all(store_path: Path) -> None:
    """Make the summaries that are missing."""
    with Store(store_path) as store:
        Collection.of(store)


def _may_insist(failed: Failure) -> bool:
    """Tell whether it was taken for speech or noise, so that hearing it anyway may help."""
    return failed.reason is Reason.NO_STEADY_BEAT


def _failed_row(failed: Failure) -> dict[str, Any]:
    return {
        "name": places.name_of(failed.path),
        "title": failed.path.name,
        "reason": failed.trouble,
        "anyway": _may_insist(failed),
        "again": failed.path.exists(),
    }
