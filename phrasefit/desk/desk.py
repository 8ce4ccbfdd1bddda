"""What all views share: the store, the folder of copies, and news to every open page."""

from __future__ import annotations

import asyncio
import json
import time
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from phrasefit.desk.opened import Opened
from phrasefit.store import Store
from phrasefit.store.database import default_path

if TYPE_CHECKING:
    from phrasefit.desk.hand_out import Packs
    from phrasefit.desk.hearing import Hearing
    from phrasefit.desk.rehearsal import Room

MOST_UNREAD = 500  # news that a page may leave unread before it has to look anew
ALIVE_EVERY_S = 15.0  # a word now and then keeps the line open and shows that it is


class News:
    """Tells every open page what has changed (server-sent events, WHATWG HTML).

    `publish` may be called from any thread.
    """

    def __init__(self) -> None:
        self._loop: asyncio.AbstractEventLoop | None = None
        self._readers: set[asyncio.Queue[str]] = set()
        self._left_at = time.monotonic()
        self._ended = False

    def start(self) -> None:
        """Take note of the event loop; called from inside it."""
        self._loop = asyncio.get_running_loop()
        self._left_at = time.monotonic()

    def end(self) -> None:
        """Let every reader go."""
        self._ended = True
        for queue in list(self._readers):
            _offer(queue, "")

    @property
    def n_readers(self) -> int:
        """Pages that are open now."""
        return len(self._readers)

    @property
    def alone_for_s(self) -> float:
        """Seconds since the last page was closed; 0 while one is open."""
        return 0.0 if self._readers else time.monotonic() - self._left_at

    def publish(self, kind: str, value: Any) -> None:
        """Tell all pages; `value` must be JSON."""
        text = f"event: {kind}\ndata: {json.dumps(value)}\n\n"
        if self._loop is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self._spread, text)

    def _spread(self, text: str) -> None:
        for queue in list(self._readers):
            _offer(queue, text)

    async def stream(self) -> AsyncIterator[str]:
        """Yield the news for one page until it is closed or falls behind."""
        queue: asyncio.Queue[str] = asyncio.Queue(MOST_UNREAD)
        self._readers.add(queue)
        try:
            yield "retry: 1000\nevent: open\ndata: {}\n\n"
            while not self._ended and not queue.full():
                try:
                    text = await asyncio.wait_for(queue.get(), ALIVE_EVERY_S)
                except TimeoutError:
                    text = ": here\n\n"
                if text:
                    yield text
        finally:
            self._readers.discard(queue)
            self._left_at = time.monotonic()


def _offer(queue: asyncio.Queue[str], text: str) -> None:
    if not queue.full():  # a full one ends its stream, and the page asks anew
        queue.put_nowait(text)


@dataclass(kw_only=True, eq=False)
class Desk:
    """One desk: handed to every function that answers a page.

    `busy` are asked whether work is under way that must not be cut off; `opening` and
    `closing` are called when the desk begins and ends, `on_song` when a song was corrected.
    """

    store_path: Path = field(default_factory=default_path)
    news: News = field(default_factory=News)
    opened: Opened = field(default_factory=Opened)
    busy: list[Callable[[], bool]] = field(default_factory=list)
    opening: list[Callable[[], None]] = field(default_factory=list)
    closing: list[Callable[[], None]] = field(default_factory=list)
    on_song: list[Callable[[str], None]] = field(default_factory=list)
    stop: Callable[[], None] = lambda: None
    packs: Packs = field(init=False)
    room: Room = field(init=False)
    hearing: Hearing = field(init=False)  # see `phrasefit.desk.hearing.prepare`

    def tell_song(self, content_hash: str, value: dict[str, Any]) -> None:
        """Tell every page, and who else wants to know, that a song is counted anew."""
        self.news.publish("song", {"hash": content_hash, **value})
        for tell in self.on_song:
            tell(content_hash)

    def store(self) -> Store:
        """Open the store; one for each answer, to be used in a ``with``."""
        return Store(self.store_path)

    @property
    def folder(self) -> Path:
        """The person's data folder."""
        return self.store_path.parent
