"""The search for an evening, in a process of its own that can be stopped at any moment.

The process reads the store and gives back which song with which routine; nothing that it
does needs to be undone.
"""

from __future__ import annotations

import multiprocessing
import os
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from pathlib import Path
from typing import TYPE_CHECKING

from phrasefit.errors import ParameterError, PhrasefitError
from phrasefit.parent_watch import start_worker

if TYPE_CHECKING:
    from phrasefit.collection import Collection
    from phrasefit.evening.evening import EveningRequest, Pairing
    from phrasefit.model import Routine

Choice = tuple[str, str]  # content hash of the song, name of the routine
IDLE_S = 60.0  # a process that waits for more work holds 150 MB
ENDED_BY_ITSELF = "the search ended by itself (too little memory?); try again with fewer routines"


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What a search gave: the dances in their order, and what is to be said."""

    dances: tuple[Choice, ...]
    notes: tuple[str, ...]


Take = Callable[[Found | str | None], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Search:
    """What is looked for: a whole evening, or with `place` (from 1) what else may stand there.

    `routines` to choose from; `songs` to choose from, all if empty; `standing` are the
    dances there are now, with their routines; `refused` are songs not wanted at `place`.
    """

    store_path: Path
    request: EveningRequest
    routines: tuple[Routine, ...]
    songs: tuple[str, ...] = ()
    standing: tuple[tuple[str, Routine], ...] = ()
    place: int | None = None
    refused: tuple[str, ...] = ()

    def run(self) -> Found:
        """Search, as ``phrasefit playlist`` does.

        Raises
        ------
        PhrasefitError
            If there is no such evening; says why.
        """
        from phrasefit.batch import Workers
        from phrasefit.collection import Collection
        from phrasefit.desk.evening_plan import request_for
        from phrasefit.store import Store

        if not self.routines:
            raise ParameterError("no routine is chosen for the evening; choose some of them")
        with Store(self.store_path) as store:
            library = Collection.of(store, keys=self.songs or None)
            requests = [request_for(routine) for routine in self.routines]
            offers = library.pairings(requests, self.request, Workers(n_jobs=1))
            # What stands there may be none of the songs chosen now.
            everything = Collection.of(store) if self.songs else library
            return self._swap(offers, everything) if self.place else self._fill(offers, everything)

    def _fill(self, offers: list[Pairing], library: Collection) -> Found:
        from phrasefit.evening.build import build_evening

        kept = [
            pairing
            for pairing in (self._pairing(library, *dance) for dance in self.standing)
            if self.request.keeps(pairing)
        ]
        pool = {_named(o): o for o in (*offers, *kept)}
        evening = build_evening(list(pool.values()), self.request)
        return Found(
            dances=tuple(_named(dance.pairing) for dance in evening.dances), notes=evening.notes
        )

    def _swap(self, offers: list[Pairing], library: Collection) -> Found:
        from phrasefit.evening.by_hand import next_best

        at = (self.place or 1) - 1
        standing = [self._pairing(library, *dance) for dance in self.standing]
        before, after = standing[:at], standing[at + 1 :]
        other, note = next_best(
            offers, before, after, self.request,
            refused={*self.refused, standing[at].key},
        )  # fmt: skip
        notes = (note,) if note else ()
        return Found(dances=tuple(map(_named, (*before, other, *after))), notes=notes)

    @staticmethod
    def _pairing(library: Collection, song: str, routine: Routine) -> Pairing:
        from phrasefit.desk.evening_plan import request_for

        return library.pairing(song, request_for(routine))


def _named(pairing: Pairing) -> Choice:
    return pairing.key, pairing.fit.routine.name


def _work(line: Connection, parent: int) -> None:
    """Answer searches until the line is closed; an error a person can mend goes back in words."""
    start_worker(parent)
    while True:
        try:
            search: Search = line.recv()
        except EOFError:
            return
        try:
            line.send(search.run())
        except PhrasefitError as exc:
            line.send(str(exc))


class _Worker:
    """A process that searches, and the line to it."""

    def __init__(self) -> None:
        context = multiprocessing.get_context("spawn")  # safe beside our threads
        self.line, theirs = context.Pipe()
        self.process = context.Process(target=_work, args=(theirs, os.getpid()), daemon=True)
        self.process.start()
        theirs.close()

    def answer(self, search: Search) -> Found | str:
        """Let it search; raises `OSError` or `EOFError` if it ended instead."""
        self.line.send(search)
        answer: Found | str = self.line.recv()
        return answer

    def end(self) -> None:
        """End it now, whatever it is doing."""
        self.process.kill()
        self.process.join()
        self.line.close()


@dataclass(eq=False)
class _Running:
    worker: _Worker
    place: int | None
    since: float = field(default_factory=time.monotonic)
    stopped: bool = False


class Searches:
    """The searches under way, one for an evening at most.

    A process that has done its work waits a while for more: the next search then comes
    without the seconds that starting takes.
    """

    def __init__(self) -> None:
        self._running: dict[str, _Running] = {}
        self._idle: list[_Worker] = []
        self._lock = threading.Lock()
        self.troubles: dict[str, str] = {}

    def is_busy(self) -> bool:
        """Tell whether any search is under way."""
        return bool(self._running)

    def state(self, evening: str) -> dict[str, object] | None:
        """Say for which place of an evening (None: for all) a search runs, and how long."""
        running = self._running.get(evening)
        if running is None:
            return None
        return {"place": running.place, "for_s": round(time.monotonic() - running.since, 1)}

    def start(self, evening: str, search: Search, take: Take, ended: Callable[[], None]) -> None:
        """Start a search.

        `take` gets what it gave, words if it failed, None if it was stopped; what it raises is
        the trouble to be shown.  `ended` is called when all is done.

        Raises
        ------
        ParameterError
            If one is under way for this evening.
        """
        with self._lock:
            if evening in self._running:
                raise ParameterError("the evening is being filled already; stop that first")
            self.troubles.pop(evening, None)
            worker = self._rested() or _Worker()
            running = self._running[evening] = _Running(worker, search.place)
        threading.Thread(
            target=self._wait, args=(evening, running, search, take, ended), daemon=True
        ).start()

    def _rested(self) -> _Worker | None:
        """Take a process that waits for work, if there is one."""
        while self._idle:
            worker = self._idle.pop()
            if worker.process.is_alive():
                return worker
            worker.end()
        return None

    def _wait(
        self,
        evening: str,
        running: _Running,
        search: Search,
        take: Take,
        ended: Callable[[], None],
    ) -> None:
        found: Found | str | None
        try:
            found = running.worker.answer(search)
            self._rest(running.worker)
        except (EOFError, OSError):
            running.worker.end()
            found = None if running.stopped else ENDED_BY_ITSELF
        try:
            take(found)
        except PhrasefitError as exc:
            self.troubles[evening] = str(exc)
        with self._lock:
            self._running.pop(evening, None)
        ended()

    def _rest(self, worker: _Worker) -> None:
        """Let a process wait for more work, and end it if none comes."""

        def end() -> None:
            with self._lock:
                if worker not in self._idle:
                    return
                self._idle.remove(worker)
            worker.end()

        with self._lock:
            self._idle.append(worker)
        timer = threading.Timer(IDLE_S, end)
        timer.daemon = True
        timer.start()

    def stop(self, evening: str) -> None:
        """End the search for an evening, if there is one."""
        running = self._running.get(evening)
        if running:
            running.stopped = True
            running.worker.process.kill()

    def stop_all(self) -> None:
        """End all searches, as the desk ends."""
        for evening in list(self._running):
            self.stop(evening)
        while self._idle:
            self._idle.pop().end()
