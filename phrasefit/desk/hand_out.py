"""Everything a person can take away from a plan: paper, sound, captions, files, the pack.

Each file has the bytes, and the name, that the command line gives it.
"""

from __future__ import annotations

import io
import secrets
import shutil
import tempfile
import zipfile
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import quote

from starlette.requests import Request
from starlette.responses import FileResponse, Response
from starlette.routing import BaseRoute, Route

from phrasefit.desk.desk import Desk
from phrasefit.desk.endpoints import NotThere, changing, reading
from phrasefit.desk.plans import name_of_routine, plan_of
from phrasefit.desk.record import write_lesson
from phrasefit.errors import ParameterError, shown
from phrasefit.fields import Fields
from phrasefit.hand_out import (
    CAPTION_ENDINGS,
    EXPORT_ENDINGS,
    Export,
    Planned,
    Sheet,
    captions_of,
    export_of,
    origin_of,
    sheet_of,
    stem_of,
)

if TYPE_CHECKING:
    from phrasefit.reports.practice import PracticeRequest

PAPERS = ("a4", "letter")
PER_PAGE = ("1", "2", "4")
SOUNDS = (".wav", ".flac", ".ogg", ".mp3")
MOST_PACKS = 8  # kept until the desk ends, so that a browser can take them again
MEDIA = {
    ".csv": "text/csv", ".html": "text/html", ".jams": "application/json",
    ".mid": "audio/midi", ".mp3": "audio/mpeg", ".ogg": "audio/ogg", ".flac": "audio/flac",
    ".pdf": "application/pdf", ".png": "image/png", ".srt": "application/x-subrip",
    ".vtt": "text/vtt", ".wav": "audio/wav", ".zip": "application/zip",
}  # fmt: skip

Query = Mapping[str, str]


class Packs:
    """The packs made since the desk was opened, in a folder that goes with it."""

    def __init__(self) -> None:
        self._folder: Path | None = None
        self._made: dict[str, Path] = {}

    def put(self, fill: Callable[[Path], Path]) -> str:
        """Make a pack: `fill` is given an empty folder and returns the file to hand out."""
        if self._folder is None:
            self._folder = Path(tempfile.mkdtemp(prefix="phrasefit-desk-"))
        token = secrets.token_urlsafe(12)
        place = self._folder / token
        place.mkdir()
        self._made[token] = fill(place)
        while len(self._made) > MOST_PACKS:
            oldest = next(iter(self._made))
            shutil.rmtree(self._made.pop(oldest).parent, ignore_errors=True)
        return token

    def get(self, token: str) -> Path:
        """Find a pack again."""
        if token not in self._made:
            raise NotThere("this pack is gone; make it again")
        return self._made[token]

    def clear(self) -> None:
        """Remove them all."""
        if self._folder is not None:
            shutil.rmtree(self._folder, ignore_errors=True)


def prepare(desk: Desk) -> None:
    """Give the desk its packs."""
    desk.packs = Packs()
    desk.closing.append(desk.packs.clear)


def _choice(query: Query, key: str, known: tuple[str, ...], default: str) -> str:
    value = query.get(key, default)
    if value not in known:
        raise ParameterError(f"{key}={shown(value)} is unknown; choose {', '.join(known)}")
    return value


def _sheet(made: Planned, query: Query, ending: str) -> bytes:
    kind = Sheet(_choice(query, "kind", tuple(Sheet), Sheet.PAGE))
    paper = _choice(query, "paper", PAPERS, "a4")
    document = sheet_of(kind, made, paper=paper, per_page=int(_choice(query, "per", PER_PAGE, "4")))
    return document.pdf() if ending == ".pdf" else document.png(0)


def _practice(made: Planned, query: Query, ending: str) -> bytes:
    from phrasefit.reports.practice import encoded, practice

    return encoded(practice(made.fit, made.plan, practice_request(query)), ending)


def practice_request(query: Query) -> PracticeRequest:
    """Read how practice audio is wanted: ``percent``, ``say``, ``groove``, ``with_intro``."""
    from phrasefit.reports.practice import PracticeRequest

    try:
        percent = float(query.get("percent", "100"))
    except ValueError as exc:
        raise ParameterError(f"percent={shown(query['percent'])} must be a number") from exc
    return PracticeRequest(
        percent=percent,
        saying=query.get("say", "cues"),
        with_groove=bool(query.get("groove")),
        intro=bool(query.get("with_intro")),
    )


def _captions(made: Planned, query: Query, ending: str) -> str:
    return captions_of(ending, made, offset_s=Fields("captions", {"offset": _offset(query)}).number(
        "offset", 0.0, low=-86_400.0, high=86_400.0))  # fmt: skip


def _offset(query: Query) -> float:
    try:
        return float(query.get("offset") or 0.0)
    except ValueError as exc:
        raise ParameterError(f"offset={shown(query['offset'])} must be seconds") from exc


def _export(to: Export) -> Callable[[Planned, Query, str], bytes | str]:
    return lambda made, query, ending: export_of(to, made.fit.bar_map, made.fit, made.plan)


def _rehearsal(made: Planned, query: Query, ending: str) -> str:
    from phrasefit.reports.page import page

    return page(made.fit, made.plan, origin=origin_of(made))


# What the address says -> how it is made.
MAKERS: dict[str, Callable[[Planned, Query, str], bytes | str]] = {
    "sheet.pdf": _sheet,
    "sheet.png": _sheet,
    **{f"practice{ending}": _practice for ending in SOUNDS},
    **{f"captions{ending}": _captions for ending in CAPTION_ENDINGS},
    **{f"export{ending}": _export(to) for to, ending in EXPORT_ENDINGS.items()},
    "rehearsal.html": _rehearsal,
}


def _name(query: Query, what: str, ending: str) -> str:
    """Say what the command line adds to the name of song and routine."""
    if what == "sheet":
        return f"-{query.get('kind', Sheet.PAGE)}{ending}"
    if what == "practice":
        percent = query.get("percent", "100")
        return f"-practice{'' if percent == '100' else f'-{percent}'}{ending}"
    return ending


def _file(desk: Desk, request: Request) -> Response:
    """Make one file of a plan and hand it over."""
    query, wanted = request.query_params, request.path_params["wanted"]
    if wanted not in MAKERS:
        raise NotThere("there is no such file to hand out")
    what, _, ending = wanted.partition(".")
    ending = f".{ending}"
    with desk.store() as store:
        made = plan_of(desk, store, request.path_params["content_hash"], query)
    content = MAKERS[wanted](made, query, ending)
    name = stem_of(song_name(made), name_of_routine(query)) + _name(query, what, ending)
    look = "inline" if query.get("look") and ending == ".png" else "attachment"
    return Response(
        content,
        media_type=MEDIA[ending],
        headers={"content-disposition": f"{look}; filename*=UTF-8''{quote(name)}"},
    )


def song_name(made: Planned) -> str:
    """Name the song as its file is named."""
    assert made.analysis is not None, "the desk plans songs that it has heard"
    return Path(made.analysis.info.path).name or made.fit.bar_map.title


def _pack(desk: Desk, request: Request, sent: Fields) -> dict[str, str]:
    """Make everything for a class, and tell where the browser takes it from."""
    from phrasefit.reports.pack import write_pack

    query = request.query_params
    paper = _choice(query, "paper", PAPERS, "a4")
    content_hash = request.path_params["content_hash"]
    with desk.store() as store:
        made = plan_of(desk, store, content_hash, query)

    def progress(share: float, name: str) -> None:
        desk.news.publish("pack", {"hash": content_hash, "share": share, "name": name})

    notes: list[str] = []

    def fill(place: Path) -> Path:
        name = f"{stem_of(song_name(made), name_of_routine(query))}-pack"
        folder = write_pack(
            place / name, made.fit, made.plan, paper=paper, origin=origin_of(made),
            progress=progress, tell=notes.append,
        )  # fmt: skip
        target = place / f"{name}.zip"
        target.write_bytes(zipped(folder))
        shutil.rmtree(folder)
        return target

    token = desk.packs.put(fill)
    with desk.store() as store:
        key = query.get("routine", "")
        entry = write_lesson(store, fit=made.fit, song=content_hash, routine_key=key, how="pack")
    desk.news.publish("record", {"id": entry})
    name = desk.packs.get(token).name
    return {"address": f"/hand-out/packs/{token}", "name": name, "note": "; ".join(notes)}


def zipped(folder: Path) -> bytes:
    """Put a folder into a ZIP file, under its own name."""
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        for entry in sorted(folder.rglob("*")):
            archive.write(entry, entry.relative_to(folder.parent))
    return file.getvalue()


def _packed(desk: Desk, request: Request) -> Response:
    path = desk.packs.get(request.path_params["token"])
    return FileResponse(path, filename=path.name, media_type=MEDIA[".zip"])


ROUTES: list[BaseRoute] = [
    Route("/hand-out/packs/{token}", reading(_packed)),
    Route("/hand-out/{content_hash}/pack", changing(_pack), methods=["POST"]),
    Route("/hand-out/{content_hash}/{wanted}", reading(_file)),
]
