"""Keeps strangers out: who may ask, and what a browser may do with the answers.

Everything a page of another site could try from the same browser comes without the
cookie (``SameSite=Strict``), with another ``Host`` (DNS rebinding) or with another
``Origin``.  Rules: RFC 6265bis (cookies), Fetch Metadata and Content Security Policy
Level 3 (W3C).  Imports nothing of phrasefit.
"""

from __future__ import annotations

import secrets
from collections.abc import Iterable, Iterator
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qs

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

POLICY = "; ".join(
    [
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data: blob:",
        "media-src 'self' blob:",
        "connect-src 'self'",
        "frame-src 'self' blob:",
        "frame-ancestors 'self'",
        "base-uri 'none'",
        "form-action 'none'",
    ]
)
HEADERS = {
    "content-security-policy": POLICY,
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "referrer-policy": "no-referrer",
    "x-content-type-options": "nosniff",
}
READING = {"GET", "HEAD"}
STRANGER = (
    "This desk opens only for the person who started it.\n"
    'Start it again from its icon, or with "phrasefit desk": that opens a page that may enter.\n'
)


class Guard:
    """ASGI middleware in front of everything that the desk serves.

    Parameters
    ----------
    app : ASGI application
    secret : str
        Whoever opens ``/enter/SECRET`` gets the cookie.
    hosts : iterable of str
        The values of ``Host`` that name this desk, with the port.
    """

    def __init__(self, app: ASGIApp, *, secret: str, hosts: Iterable[str]) -> None:
        self._app, self._secret, self._hosts = app, secret, frozenset(hosts)
        self._session = secrets.token_urlsafe(32)
        port = next(iter(self._hosts)).rpartition(":")[2]
        self._cookie = f"phrasefit_desk_{port}"  # cookies know no ports: two desks, two names

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer strangers here, and pass on whom the desk knows."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        headers = Headers(scope=scope)
        answer = self._refusal(scope, headers) or self._admission(scope)
        if answer is None and not self._is_known(headers):
            answer = PlainTextResponse(STRANGER, status_code=403)
        await (answer or self._app)(scope, receive, _with_headers(send))

    def _refusal(self, scope: Scope, headers: Headers) -> Response | None:
        """Refuse what no page of this desk asks."""
        if headers.get("host", "") not in self._hosts:
            return PlainTextResponse("This is not an address of the desk.\n", status_code=421)
        if scope["method"] in READING:
            foreign = headers.get("sec-fetch-site", "none") not in ("none", "same-origin")
            is_page = headers.get("sec-fetch-mode") == "navigate"
            if foreign and not is_page:
                return PlainTextResponse("Only the desk itself may ask this.\n", status_code=403)
            return None
        if headers.get("origin", "") not in {f"http://{host}" for host in self._hosts}:
            return PlainTextResponse("Only the desk itself may change this.\n", status_code=403)
        return None

    def _admission(self, scope: Scope) -> Response | None:
        """Exchange the secret for a cookie."""
        _, _, offered = scope["path"].partition("/enter/")
        if not offered or not scope["path"].startswith("/enter/"):
            return None
        if not secrets.compare_digest(offered.encode(), self._secret.encode()):
            return PlainTextResponse(STRANGER, status_code=403)
        answer = RedirectResponse(_view_asked_for(scope), status_code=303)
        answer.set_cookie(self._cookie, self._session, httponly=True, samesite="strict", path="/")
        return answer

    def _is_known(self, headers: Headers) -> bool:
        return any(
            secrets.compare_digest(value.encode(), self._session.encode())
            for value in _cookies(headers, self._cookie)
        )


def _view_asked_for(scope: Scope) -> str:
    """Read which view to open from ``?view=/songs``; only a path of this desk will do."""
    view = parse_qs(scope["query_string"].decode("latin-1")).get("view", ["/"])[0]
    return view if view.startswith("/") and not view.startswith(("//", "/\\")) else "/"


def _cookies(headers: Headers, name: str) -> Iterator[str]:
    for line in headers.getlist("cookie"):
        try:
            morsel = SimpleCookie(line).get(name)
        except CookieError:
            continue
        if morsel is not None:
            yield morsel.value


def _with_headers(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)  # a view may ask for a policy of its own
            headers.setdefault("cache-control", "no-cache")
        await send(message)

    return sending
