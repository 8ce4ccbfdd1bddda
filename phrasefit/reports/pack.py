"""Everything for a class in one folder, with an index page.

The folder appears whole or not at all: it is filled under another name beside its
place and renamed at the end.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from phrasefit.errors import OutputError
from phrasefit.files import cannot_begin, check_folder_of, check_free, failed_midway
from phrasefit.model import FitPlan, Plan
from phrasefit.reports.fonts import letters_note
from phrasefit.reports.page.index import Entry, Use, index_page

if TYPE_CHECKING:
    from phrasefit.reports.page import Origin
    from phrasefit.reports.paper import Document

PRACTICE_PERCENTS = (75, 85, 100)


class Item(NamedTuple):
    """One file of the pack: its name, what and who it is for, how it is made."""

    name: str
    purpose: str
    use: Use
    content: Callable[[], bytes | str | Document]


def items(
    fit: FitPlan, plan: Plan | None = None, *, paper: str = "a4", origin: Origin | None = None
) -> Iterator[Item]:
    """List the files of a pack; nothing is made before `content` is called.

    With `origin`, the rehearsal page can save corrections of the song.
    """
    from phrasefit.reports.page import page

    plan = plan or fit.plan
    purpose = "rehearse with the running count"
    yield Item("rehearsal.html", purpose, Use.REHEARSE, lambda: page(fit, plan, origin=origin))
    yield from _papers(fit, plan, paper)
    yield from _practice(fit, plan)
    yield from _captions(fit, plan)
    yield from _data(fit, plan)


def _papers(fit: FitPlan, plan: Plan, paper: str) -> Iterator[Item]:
    from phrasefit.reports.dj_card import dj_card
    from phrasefit.reports.sheet import sheet
    from phrasefit.reports.step_sheet import step_sheet

    def printed(size: str) -> Callable[[], Document]:
        return lambda: sheet(fit, plan, size=size, paper=paper)

    def steps() -> Document:
        return step_sheet(fit.routine, paper=paper)

    def card() -> Document:
        return dj_card(fit, plan, paper=paper)

    yield Item("sheet.pdf", "the plan for the class", Use.PRINT, printed("page"))
    yield Item("sheet-stand.pdf", "for the music stand", Use.PRINT, printed("stand"))
    yield Item("sheet-floor.pdf", "to be read across the room", Use.PRINT, printed("floor"))
    yield Item("steps.pdf", "the routine's steps", Use.PRINT, steps)
    yield Item("dj.pdf", "cards for the DJ", Use.PRINT, card)


def _practice(fit: FitPlan, plan: Plan) -> Iterator[Item]:
    from phrasefit.reports.practice import PracticeRequest, encoded, practice

    def clicked(percent: int) -> Callable[[], bytes]:
        return lambda: encoded(practice(fit, plan, PracticeRequest(percent=percent)), ".ogg")

    for percent in PRACTICE_PERCENTS:
        purpose = f"practice without the song, at {percent} % of its tempo"
        yield Item(f"practice-{percent}.ogg", purpose, Use.LISTEN, clicked(percent))


def _captions(fit: FitPlan, plan: Plan) -> Iterator[Item]:
    from phrasefit.reports.captions import captions, srt, webvtt

    def vtt() -> str:
        return webvtt(captions(fit, plan))

    def subrip() -> str:
        return srt(captions(fit, plan))

    purpose = "captions for a lesson video"
    yield Item("captions.vtt", f"{purpose} (WebVTT)", Use.PROGRAMS, vtt)
    yield Item("captions.srt", f"{purpose} (SRT)", Use.PROGRAMS, subrip)


def _data(fit: FitPlan, plan: Plan) -> Iterator[Item]:
    """List what other programs read."""
    from phrasefit.reports.doubts import doubt_lines
    from phrasefit.reports.jams import jams_document
    from phrasefit.reports.midi import midi_file
    from phrasefit.reports.walls_csv import walls_csv
    from phrasefit.reports.words import reasons, verdict
    from phrasefit.serial import dump_json, fit_document, map_document

    song, level = fit.bar_map, fit.grid.beats_per_count

    def jams() -> str:
        return dump_json(jams_document(song, fit, plan))

    def map_json() -> str:
        return dump_json(map_document(song, beats_per_count=level))

    def plan_json() -> str:
        return dump_json(
            fit_document(fit, verdict=verdict(fit), doubts=doubt_lines(fit), reasons=reasons)
        )

    def csv() -> str:
        return walls_csv(fit, plan)

    def midi() -> bytes:
        return midi_file(song, fit, plan)

    for name, purpose, content in (
        ("walls.csv", "the walls for a spreadsheet", csv),
        ("song.mid", "tempo map and markers (Standard MIDI File)", midi),
        ("song.jams", "bars and sections for research (JAMS)", jams),
        ("map.json", "the bar map", map_json),
        ("plan.json", "the plan", plan_json),
    ):
        yield Item(name, purpose, Use.PROGRAMS, content)


def write_pack(
    folder: Path,
    fit: FitPlan,
    plan: Plan | None = None,
    *,
    paper: str = "a4",
    force: bool = False,
    origin: Origin | None = None,
    progress: Callable[[float, str], None] | None = None,
    tell: Callable[[str], None] | None = None,
) -> Path:
    """Write all files of the pack into `folder`, which appears whole or not at all.

    `tell` hears what is to be known of the whole: letters that no font here has, calls that
    no voice here can say.

    Raises
    ------
    OutputError
        If the folder exists without `force`, or its parent or the disk refuses.
    """
    from phrasefit.reports.practice import unsaid_note

    check_folder(folder, force=force)
    folder = Path(os.path.realpath(folder)) if folder.is_symlink() else folder  # the link stays
    wanted = list(items(fit, plan, paper=paper, origin=origin))
    try:
        building = Path(tempfile.mkdtemp(dir=folder.parent, prefix=f".{folder.name[:40]}."))
    except OSError as exc:
        raise cannot_begin(folder, exc) from exc
    given: set[str] = set()
    try:
        for i, item in enumerate(wanted):
            if progress:
                progress(i / len(wanted), item.name)
            content = item.content()
            if not isinstance(content, bytes | str):
                given |= content.given
                content = content.pdf()
            data = content.encode("utf-8") if isinstance(content, str) else content
            (building / item.name).write_bytes(data)
        entries = [Entry(path=item.name, words=item.purpose, use=item.use) for item in wanted]
        (building / "index.html").write_text(index_page(fit, entries, plan), encoding="utf-8")
        umask = os.umask(0)
        os.umask(umask)
        building.chmod(0o777 & ~umask)
        _swap(building, folder)
    except OSError as exc:
        raise failed_midway(folder, exc) from exc
    finally:
        shutil.rmtree(building, ignore_errors=True)
    if tell:
        for note in filter(None, (letters_note(given), unsaid_note(fit.routine))):
            tell(note)
    return folder


def check_folder(folder: Path, *, force: bool) -> None:
    """Refuse early what could not be written later.

    Raises
    ------
    OutputError
        If `folder` exists without `force`, is a file, holds other things than a pack,
        or its parent is missing or closed to writing.
    """
    check_folder_of(folder)
    if not os.path.lexists(folder):
        return
    if not folder.exists():
        raise OutputError(f"{folder}: is a link that leads nowhere; give another name")
    if not folder.is_dir():
        raise OutputError(f"{folder}: is a file; give the name of a folder")
    check_free(folder, force=force)
    if any(folder.iterdir()) and not (folder / "plan.json").exists():
        raise OutputError(f"{folder}: holds other things than a pack; give another name")


def _copy(entry: Path, place: Path) -> None:
    if entry.is_dir() and not entry.is_symlink():
        shutil.copytree(entry, place, symlinks=True)
    else:
        shutil.copy2(entry, place, follow_symlinks=False)


def _swap(building: Path, folder: Path) -> None:
    """Put the new folder in place of an old pack, which goes only when the new one is whole."""
    if not folder.exists():
        building.rename(folder)
        return
    old = building.with_name(building.name + ".old")
    folder.rename(old)
    try:
        for entry in old.iterdir():
            if not (building / entry.name).exists():
                _copy(entry, building / entry.name)  # the user's own, kept beside ours
        building.rename(folder)
    except OSError:
        old.rename(folder)
        raise
    shutil.rmtree(old, ignore_errors=True)
