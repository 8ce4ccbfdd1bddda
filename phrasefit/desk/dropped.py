"""Songs dropped onto the page: read in pieces, bounded, kept as copies whole or not at all.

The names of the copies are made here; of the name that the page sends only its letters and
its ending are used.
"""

from __future__ import annotations

import contextlib
import os
import secrets
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response

from phrasefit.batch import SONG_SUFFIXES
from phrasefit.desk.desk import Desk
from phrasefit.desk.endpoints import TooMuch, pieces_of, refusal
from phrasefit.desk.places import UNFINISHED, copies_folder, name_of
from phrasefit.errors import OutputError, ParameterError, PhrasefitError, shown
from phrasefit.files import safe_stem

MOST_BYTES = 500_000_000  # of a song: an hour and a half as WAV, half an hour in high resolution
LEAST_FREE_BYTES = 1_000_000_000  # of the disk, for the rest of the computer
MOST_AT_ONCE = 4
SLOWEST_BYTES_A_S = 20_000  # on the whole: it comes from this computer
PATIENCE_S = 30.0

_under_way = 0


async def drop(request: Request) -> Response:
    """Take a song that was dropped: its bytes as the body, its name in the address."""
    global _under_way
    desk: Desk = request.app.state.desk
    if _under_way >= MOST_AT_ONCE:
        return refusal(TooMuch(f"the desk takes {MOST_AT_ONCE} songs at once; try again"))
    _under_way += 1
    try:
        path = await _saved(desk, request)
    except PhrasefitError as exc:
        return refusal(exc)
    except (ClientDisconnect, TimeoutError):
        return Response(status_code=408)
    finally:
        _under_way -= 1
    await run_in_threadpool(desk.hearing.hear, [path])
    return JSONResponse({"name": name_of(path), "title": path.stem})


def copy_name(dropped: str) -> str:
    """Make the name of a copy from the name of what was dropped.

    Raises
    ------
    ParameterError
        If it has not the ending of a song file.

    Examples
    --------
    >>> copy_name("../../Paper Boat.MP3"), copy_name("\\0.ogg")
    ('Paper Boat.mp3', '_.ogg')
    """
    name = dropped.replace("\\", "/").rpartition("/")[2]
    stem, suffix = os.path.splitext(name)
    if suffix.lower() not in SONG_SUFFIXES:
        raise ParameterError(
            f"{shown(name)} has not the ending of a song; drop MP3, M4A, OGG, FLAC or WAV files"
        )
    return safe_stem(stem.lstrip(". ")) + suffix.lower()


async def _saved(desk: Desk, request: Request) -> Path:
    name = copy_name(request.query_params.get("name", ""))
    announced = request.headers.get("content-length", "0")
    _check_size(int(announced) if announced.isdecimal() and len(announced) < 20 else MOST_BYTES + 1)
    with _new_copy(desk.store_path, name) as unfinished:
        with unfinished.open("xb") as file:
            size, began = 0, time.monotonic()
            async for piece in pieces_of(request):
                size += len(piece)
                _check_size(size)
                if time.monotonic() - began > PATIENCE_S + size / SLOWEST_BYTES_A_S:
                    raise TimeoutError
                await run_in_threadpool(file.write, piece)
        if not size:
            raise ParameterError(f"{name} is empty; drop the song itself")
        path = unfinished.with_name(name)
        unfinished.replace(path)
    return path


def _check_size(n_bytes: int) -> None:
    if n_bytes > MOST_BYTES:
        raise TooMuch(
            f"this is more than a song: {MOST_BYTES / 1e6:.0f} MB are the most; choose its folder"
            " on this computer instead, then nothing is copied"
        )


@contextmanager
def _new_copy(store_path: Path, name: str) -> Iterator[Path]:
    """Make a folder for a copy; remove it if the copy comes to nothing."""
    place = copies_folder(store_path) / secrets.token_hex(8)
    try:
        place.mkdir(parents=True, mode=0o700)
        if shutil.disk_usage(place).free < LEAST_FREE_BYTES:
            raise OutputError("the disk is nearly full; make room, or choose the song's folder")
        yield place / UNFINISHED
    except BaseException as exc:
        with contextlib.suppress(OSError):
            shutil.rmtree(place)
        if isinstance(exc, OSError) and not isinstance(exc, TimeoutError):
            raise OutputError(
                f"the copy cannot be kept ({exc.strerror}); make room on the disk"
            ) from exc
        raise
