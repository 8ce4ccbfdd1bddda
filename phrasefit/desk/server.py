"""Puts the desk together and runs it on this computer's own addresses."""

from __future__ import annotations

import asyncio
import contextlib
import socket
from collections.abc import AsyncIterator, Callable
from importlib.resources import files
from pathlib import Path

import uvicorn
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import FileResponse, Response, StreamingResponse
from starlette.routing import BaseRoute, Mount, Route
from starlette.staticfiles import StaticFiles

from phrasefit.desk import (
    adding,
    evening,
    hand_out,
    record,
    rehearsal,
    routines,
    sheet,
    song_fits,
    songs,
)
from phrasefit.desk.desk import Desk
from phrasefit.desk.endpoints import changing
from phrasefit.desk.guard import Guard
from phrasefit.errors import ParameterError

VIEWS = ("songs", "routines", "sheet", "evening", "record")  # each an address of its own
STATIC = Path(str(files("phrasefit.desk") / "static"))
SHARED = Path(str(files("phrasefit.reports.page")))  # drawing and sound, as in the page
HOSTS = ("127.0.0.1", "::1")
LOOK_EVERY_S = 2.0
MOST_CONNECTIONS = 250

# The modules of the views: each has the addresses of its data in ROUTES, and may
# prepare the desk in ``prepare(desk)``.
ROUTES: list[BaseRoute] = [
    *adding.ROUTES,
    *song_fits.ROUTES,
    *songs.ROUTES,
    *routines.ROUTES,
    *hand_out.ROUTES,
    *rehearsal.ROUTES,
    *evening.ROUTES,
    *record.ROUTES,
    *sheet.ROUTES,
]
PREPARE: list[Callable[[Desk], None]] = [
    hand_out.prepare,
    rehearsal.prepare,
    songs.prepare,
    evening.prepare,
]


async def _shell(request: Request) -> Response:
    return FileResponse(STATIC / "index.html")


async def _news(request: Request) -> Response:
    desk: Desk = request.app.state.desk
    return StreamingResponse(desk.news.stream(), media_type="text/event-stream")


class SharedFiles(StaticFiles):
    """Scripts and styles of the rehearsal page, and nothing else that lies beside them."""

    async def get_response(self, path: str, scope: dict[str, object]) -> Response:  # type: ignore[override]
        """Serve a script or a style."""
        if not path.endswith((".js", ".css")):
            return Response(status_code=404)
        return await super().get_response(path, scope)


def application(desk: Desk, *, secret: str, hosts: list[str]) -> Guard:
    """Make the ASGI application of a desk.

    Parameters
    ----------
    desk : Desk
    secret : str
        What the first address carries.
    hosts : list of str
        The values of ``Host`` that are this desk's, such as ``127.0.0.1:4832``.
    """
    routes: list[BaseRoute] = [
        Route("/", _shell),
        *[Route(f"/{view}", _shell) for view in VIEWS],
        *[Route(f"/{view}/{{rest:path}}", _shell) for view in VIEWS],
        Route("/news", _news),
        Route("/api/stop", changing(lambda desk, _request, _sent: desk.stop()), methods=["POST"]),
        *ROUTES,
        Mount("/static", StaticFiles(directory=STATIC)),
        Mount("/shared", SharedFiles(directory=SHARED)),
    ]
    for prepare in PREPARE:
        prepare(desk)

    @contextlib.asynccontextmanager
    async def lifespan(app: Starlette) -> AsyncIterator[None]:
        desk.news.start()
        for begin in desk.opening:
            begin()
        yield
        desk.news.end()
        for end in desk.closing:
            end()

    app = Starlette(routes=routes, lifespan=lifespan)
    app.state.desk = desk
    return Guard(app, secret=secret, hosts=hosts)


def bound(port: int) -> list[socket.socket]:
    """Bind the addresses of this computer that no other can reach, all at one port.

    Parameters
    ----------
    port : int
        0 takes one that is free.

    Raises
    ------
    ParameterError
        If another program has the port.
    """
    sockets: list[socket.socket] = []
    for host in HOSTS:
        family = socket.AF_INET6 if ":" in host else socket.AF_INET
        try:
            made = socket.socket(family, socket.SOCK_STREAM)
        except OSError:
            continue  # a computer without IPv6
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            made.bind((host, sockets[0].getsockname()[1] if sockets else port))
            made.listen()  # two that start at once can both bind, but only one can listen
        except OSError as exc:
            made.close()
            if sockets:
                continue  # no ::1 here, or a stranger on it: the desk names 127.0.0.1 only
            raise ParameterError(
                f"port {port} is taken by another program ({exc.strerror}); leave --port out"
            ) from exc
        sockets.append(made)
    return sockets


def serve(
    desk: Desk, sockets: list[socket.socket], *, secret: str, ready: Callable[[], None],
    leave_after_s: float,
) -> None:  # fmt: skip
    """Serve until the desk is stopped, or until no page has been open for a while.

    Parameters
    ----------
    desk : Desk
    sockets : list of socket
        From `bound`.
    secret : str
    ready : callable
        Called once pages can be opened.
    leave_after_s : float
        Seconds without an open page, and without work under way, after which it ends.
    """
    port = sockets[0].getsockname()[1]
    hosts = [f"{host}:{port}" for host in ("127.0.0.1", "localhost", "[::1]")]
    server = uvicorn.Server(
        uvicorn.Config(
            application(desk, secret=secret, hosts=hosts),
            log_level="critical",
            access_log=False,
            server_header=False,
            limit_concurrency=MOST_CONNECTIONS,
            timeout_keep_alive=20,
            timeout_graceful_shutdown=2,
        )
    )

    def stop() -> None:
        desk.news.end()
        server.should_exit = True

    async def watch() -> None:
        while not server.started:
            await asyncio.sleep(0.02)
        ready()
        while not server.should_exit:
            await asyncio.sleep(LOOK_EVERY_S)
            if desk.news.alone_for_s > leave_after_s and not any(ask() for ask in desk.busy):
                stop()

    async def run() -> None:
        watching = asyncio.create_task(watch())
        await server.serve(sockets=sockets)
        watching.cancel()

    desk.stop = stop
    asyncio.run(run())
