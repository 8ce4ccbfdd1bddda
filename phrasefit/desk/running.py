"""One desk for one data folder: a second start finds the first one and opens it."""

from __future__ import annotations

import http.client
import json
import os
import secrets
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from phrasefit.desk.desk import Desk
from phrasefit.errors import CacheError, ParameterError
from phrasefit.store.lock import Lock

PORT = 4832  # tried first, so that the address is the same tomorrow
LEAVE_AFTER_S = 300.0
WAIT_FOR_FIRST_S = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where a desk runs; the secret is for the person who started it."""

    port: int
    secret: str

    @property
    def address(self) -> str:
        """The address that lets a browser in."""
        return f"http://127.0.0.1:{self.port}/enter/{self.secret}"


def open_desk(
    *,
    port: int | None = None,
    leave_after_s: float = LEAVE_AFTER_S,
    on_open: Callable[[Place, bool], None],
) -> None:
    """Run the desk, or find the one that runs already.

    Parameters
    ----------
    port : int, optional
        Must be free; otherwise `PORT`, or any that is free.
    leave_after_s : float
    on_open : callable(place, is_new)
        Told once where the desk is.

    Raises
    ------
    ParameterError
        If the port is taken.
    CacheError
        If the data folder cannot be written.
    """
    from phrasefit.desk.server import bound, serve

    desk = Desk()
    desk.folder.mkdir(parents=True, exist_ok=True)
    note = desk.folder / "desk.json"
    try:
        lock = Lock(desk.folder / "desk.lock", timeout_s=0.5)
        lock.__enter__()
    except CacheError:
        on_open(_place_of_first(note), False)
        return
    try:
        try:
            sockets = bound(PORT if port is None else port)
        except ParameterError:
            if port is not None:
                raise
            sockets = bound(0)
        place = Place(port=sockets[0].getsockname()[1], secret=secrets.token_urlsafe(32))
        _write_for_owner(note, {"port": place.port, "secret": place.secret})
        serve(
            desk, sockets, secret=place.secret, ready=lambda: on_open(place, True),
            leave_after_s=leave_after_s,
        )  # fmt: skip
    finally:
        note.unlink(missing_ok=True)
        lock.__exit__(None, None, None)


def _place_of_first(note: Path) -> Place:
    """Read where the desk is that holds the lock; it may just be starting."""
    deadline = time.monotonic() + WAIT_FOR_FIRST_S
    while time.monotonic() < deadline:
        try:
            kept = json.loads(note.read_text(encoding="utf-8"))
            place = Place(port=int(kept["port"]), secret=str(kept["secret"]))
            if _answers(place):
                return place
        except (OSError, ValueError, KeyError, TypeError):
            pass
        time.sleep(0.1)
    raise CacheError(
        f"{note.parent}: another desk holds this folder and does not answer; end it, or"
        " restart the computer"
    )


def _answers(place: Place) -> bool:
    line = http.client.HTTPConnection("127.0.0.1", place.port, timeout=2)
    try:
        line.request("HEAD", f"/enter/{place.secret}")
        return line.getresponse().status == http.HTTPStatus.SEE_OTHER
    except http.client.HTTPException:
        return False
    finally:
        line.close()


def _write_for_owner(path: Path, value: object) -> None:
    """Write a file that nobody else on this computer can read."""
    path.unlink(missing_ok=True)
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "w", encoding="utf-8") as file:
        json.dump(value, file)
