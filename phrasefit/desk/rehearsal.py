"""The rehearsal view, fed live: at the desk, and in the room for tablets that only look.

Sharing serves this one view, read only, to the local network: a second server, on the
address of this computer in that network, under a path that carries a secret, off until a
person presses the button.  The desk itself stays shut.
"""

from __future__ import annotations

import asyncio
import secrets
import socket
import threading
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import uvicorn
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import QueryParams
from starlette.requests import Request
from starlette.responses import (
    FileResponse,
    HTMLResponse,
    PlainTextResponse,
    Response,
    StreamingResponse,
)
from starlette.routing import BaseRoute, Route
from starlette.types import ASGIApp, Receive, Scope, Send

from phrasefit.desk.desk import Desk, News
from phrasefit.desk.endpoints import changing, reading, refusal
from phrasefit.desk.plans import plan_of
from phrasefit.desk.songs import file_of, media_type_of
from phrasefit.errors import ParameterError, PhrasefitError
from phrasefit.fields import Fields

if TYPE_CHECKING:
    from phrasefit.reports.page import Live

ALPHABET = "abcdefghjkmnpqrstuvwxyz23456789"  # no l, o, i, 0, 1: it may be typed by hand
SECRET_SIGNS = 14  # of 31: 69 bits
MOST_CONNECTIONS = 60
CHANGED = "song"  # the news that makes a view take its plan anew


def view(desk: Desk, content_hash: str, query: QueryParams, live: Live) -> str:
    """Make the rehearsal view of a plan."""
    from phrasefit.reports.page import page

    with desk.store() as store:
        made = plan_of(desk, store, content_hash, query)
    return page(made.fit, made.plan, live=live)


def _html(text: str) -> Response:
    from phrasefit.reports.page import live_policy

    return HTMLResponse(text, headers={"content-security-policy": live_policy()})


def _at_the_desk(desk: Desk, request: Request) -> Response:
    from phrasefit.reports.page import Live

    content_hash = request.path_params["content_hash"]
    live = Live(sound=f"/api/songs/{content_hash}/sound", news="/news", song=content_hash)
    return _html(view(desk, content_hash, request.query_params, live))


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """What the tablets show."""

    content_hash: str
    query: QueryParams


class RoomGuard:
    """Lets nothing through but reading under the secret path, at this address by its number."""

    def __init__(self, app: ASGIApp, *, host: str, secret: str) -> None:
        self._app, self._host, self._secret = app, host, secret

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer everybody else alike."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        hosts = [value.decode("latin-1") for name, value in scope["headers"] if name == b"host"]
        offered = scope["path"].split("/")[1]
        is_right = secrets.compare_digest(offered.encode(), self._secret.encode())
        if hosts == [self._host] and is_right and scope["method"] in ("GET", "HEAD"):
            await self._app(scope, receive, send)
        else:
            answer = PlainTextResponse("Nothing is shared here.\n", status_code=404)
            await answer(scope, receive, send)


class Room:
    """The view shared with the room; at most one at a time."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._lock = threading.Lock()
        self._server: uvicorn.Server | None = None
        self._thread: threading.Thread | None = None
        self._news = News()
        self._shown: Shown | None = None
        self.address = ""

    def show(self, shown: Shown) -> str:
        """Share a plan, or show this one in place of another; gives the address.

        Raises
        ------
        ParameterError
            If this computer is in no network.
        """
        with self._lock:
            self._shown = shown
            if self._server is None:
                self._start()
            self._news.publish(CHANGED, {"hash": ""})
            return self.address

    def stop(self) -> None:
        """End sharing."""
        with self._lock:
            if self._server is None:
                return
            self._news.end()
            self._server.should_exit = True
            assert self._thread is not None
            self._thread.join(10)
            self._server, self._thread, self.address = None, None, ""

    @property
    def n_watching(self) -> int:
        """Tablets that look on."""
        return self._news.n_readers

    def tell(self, content_hash: str) -> None:
        """Let the tablets take their plan anew if it is of this song."""
        if self._shown is not None and self._shown.content_hash == content_hash:
            self._news.publish(CHANGED, {"hash": content_hash})

    def _start(self) -> None:
        line = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        line.bind((own_address(), 0))
        line.listen()  # a tablet that is quicker than the server waits instead of being refused
        host = "{}:{}".format(*line.getsockname())
        secret = "".join(secrets.choice(ALPHABET) for _ in range(SECRET_SIGNS))
        self._news = News()
        server = uvicorn.Server(
            uvicorn.Config(
                RoomGuard(self._application(secret), host=host, secret=secret),
                log_level="error",
                access_log=False,
                server_header=False,
                limit_concurrency=MOST_CONNECTIONS,
                timeout_graceful_shutdown=1,
            )
        )
        thread = threading.Thread(
            target=lambda: asyncio.run(server.serve(sockets=[line])), name="room", daemon=True
        )
        thread.start()
        self._server, self._thread = server, thread
        self.address = f"http://{host}/{secret}/"

    def _application(self, secret: str) -> Starlette:
        @asynccontextmanager
        async def lifespan(app: Starlette) -> AsyncIterator[None]:
            self._news.start()
            yield

        async def news(request: Request) -> Response:
            return StreamingResponse(self._news.stream(), media_type="text/event-stream")

        return Starlette(
            routes=[
                Route(f"/{secret}/", self._answering(self._page)),
                Route(f"/{secret}/sound", self._answering(self._sound)),
                Route(f"/{secret}/news", news),
            ],
            lifespan=lifespan,
        )

    def _answering(self, work: Callable[[Shown], Response]) -> Any:
        async def endpoint(request: Request) -> Response:
            assert self._shown is not None
            try:
                return await run_in_threadpool(work, self._shown)
            except PhrasefitError as exc:
                return refusal(exc)

        return endpoint

    def _page(self, shown: Shown) -> Response:
        from phrasefit.reports.page import Live

        live = Live(sound="sound", news="news", song=shown.content_hash)
        answer = _html(view(self._desk, shown.content_hash, shown.query, live))
        answer.headers["referrer-policy"] = "no-referrer"
        answer.headers["cache-control"] = "no-store"
        return answer

    def _sound(self, shown: Shown) -> Response:
        with self._desk.store() as store:
            path: Path = file_of(self._desk, store, shown.content_hash)
        return FileResponse(path, media_type=media_type_of(path))


def own_address() -> str:
    """Find this computer's address in the local network; nothing is sent.

    Raises
    ------
    ParameterError
        If it is in none.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as line:
        try:
            # An address kept for documentation (RFC 5737): only the way there is asked for.
            line.connect(("192.0.2.1", 9))
            address = line.getsockname()[0]
        except OSError:
            address = "0.0.0.0"
    if address.startswith(("0.", "127.")):
        raise ParameterError(
            "this computer is in no network; connect it to the Wi-Fi that the tablet uses"
        )
    return address


def prepare(desk: Desk) -> None:
    """Give the desk its room."""
    desk.room = Room(desk)
    desk.closing.append(desk.room.stop)
    desk.on_song.append(desk.room.tell)


def _state(desk: Desk, request: Request | None = None) -> dict[str, Any]:
    import segno

    room = desk.room
    if not room.address:
        return {"address": ""}
    code = segno.make(room.address, error="m")
    return {
        "address": room.address,
        "code": code.svg_data_uri(scale=6, border=4, dark="#000", light="#fff"),
        "watching": room.n_watching,
    }


def _share(desk: Desk, request: Request, sent: Fields) -> dict[str, Any]:
    content_hash = request.path_params["content_hash"]
    with desk.store() as store:
        plan_of(desk, store, content_hash, request.query_params)  # refuse here, not on the tablet
    desk.room.show(Shown(content_hash=content_hash, query=request.query_params))
    return _state(desk)


def _stop(desk: Desk, request: Request, sent: Fields) -> dict[str, Any]:
    desk.room.stop()
    return _state(desk)


ROUTES: list[BaseRoute] = [
    Route("/rehearse/{content_hash}", reading(_at_the_desk)),
    Route("/api/room", reading(_state)),
    Route("/api/room/stop", changing(_stop), methods=["POST"]),
    Route("/api/room/{content_hash}", changing(_share), methods=["POST"]),
]
