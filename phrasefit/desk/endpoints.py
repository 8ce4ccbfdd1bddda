"""Turns plain functions into answers: JSON in and out, errors in words, nothing unbounded.

Reading functions get ``(desk, request)``; changing ones also what the page sent.  They run
in threads, so they may take their time, and must open a store of their own.
"""

from __future__ import annotations

import asyncio
import hashlib
import json
import sys
import traceback
from collections.abc import AsyncIterator, Awaitable, Callable
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response

from phrasefit.desk.desk import Desk
from phrasefit.errors import PhrasefitError
from phrasefit.fields import Fields

MOST_BODY = 2_000_000  # bytes of what a page sends as JSON; songs come another way
SLOWEST_PIECE_S = 20.0  # a page that sends nothing for so long has gone

Endpoint = Callable[[Request], Awaitable[Response]]


class NotThere(PhrasefitError):
    """What was asked for is not known (any more)."""


class Stale(PhrasefitError):
    """Somebody else has changed the same thing; `state` is how it is now."""

    def __init__(self, what: str, *, state: Any) -> None:
        super().__init__(what)
        self.state = state


class TooMuch(PhrasefitError):
    """More was sent than is taken."""


def reading(work: Callable[[Desk, Request], Any]) -> Endpoint:
    """Answer with what `work` returns; a page that has it already is told so (ETag, RFC 9110)."""

    async def endpoint(request: Request) -> Response:
        return await _answered(request, lambda: work(request.app.state.desk, request))

    return endpoint


def changing(work: Callable[[Desk, Request, Fields], Any]) -> Endpoint:
    """Hand what the page sent, a JSON object, to `work`."""

    async def endpoint(request: Request) -> Response:
        try:
            sent = await _sent(request)
        except PhrasefitError as exc:
            return refusal(exc)
        except (ClientDisconnect, TimeoutError):
            return Response(status_code=408)
        return await _answered(request, lambda: work(request.app.state.desk, request, sent))

    return endpoint


async def pieces_of(request: Request) -> AsyncIterator[bytes]:
    """Yield the body as it comes.

    Raises
    ------
    TimeoutError
        If nothing comes for `SLOWEST_PIECE_S`.
    """
    stream = request.stream()
    while True:
        try:
            piece = await asyncio.wait_for(anext(stream), SLOWEST_PIECE_S)
        except StopAsyncIteration:
            return
        yield piece


async def _sent(request: Request) -> Fields:
    pieces, size = [], 0
    async for piece in pieces_of(request):
        size += len(piece)
        if size > MOST_BODY:
            raise TooMuch("this is more than the desk takes at once; send less")
        pieces.append(piece)
    try:
        values = json.loads(b"".join(pieces) or b"{}")
        json.dumps(
            values, ensure_ascii=False
        ).encode()  # halves of letters cannot be kept, nor sent back
        return Fields("what the page sent", values)
    except UnicodeEncodeError as exc:
        raise PhrasefitError(
            "a letter in what you wrote is not whole; delete it and write it again"
        ) from exc
    except (ValueError, RecursionError) as exc:
        raise PhrasefitError("what the page sent is no JSON; load the page again") from exc


async def _answered(request: Request, work: Callable[[], Any]) -> Response:
    try:
        result = await run_in_threadpool(work)
    except PhrasefitError as exc:
        return refusal(exc)
    except Exception:
        traceback.print_exc(file=sys.stderr)
        return JSONResponse(
            {"error": "something went wrong in the desk; nothing that you made is lost, try again"},
            status_code=500,
        )
    if isinstance(result, Response):
        return result
    body = json.dumps(result, allow_nan=False, separators=(",", ":")).encode()
    tag = f'"{hashlib.sha256(body).hexdigest()[:20]}"'
    if request.method == "GET" and request.headers.get("if-none-match") == tag:
        return Response(status_code=304, headers={"etag": tag})
    return Response(body, media_type="application/json", headers={"etag": tag})


def refusal(exc: PhrasefitError) -> Response:
    """Say in JSON what is wrong and what to do."""
    said: dict[str, Any] = {"error": str(exc)}
    if exc.reason is not None:
        said["reason"] = exc.reason
    if isinstance(exc, Stale):
        return JSONResponse(said | {"state": exc.state}, status_code=409)
    codes = {NotThere: 404, TooMuch: 413}
    return JSONResponse(said, status_code=codes.get(type(exc), 422))
