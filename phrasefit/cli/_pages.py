"""How every command writes pages: one PDF, or a picture of each page."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from phrasefit.reports.paper import Document


def check_ending(target: Path, endings: tuple[str, ...], what: str = "pages are") -> Path:
    """Refuse a file name that says another format than `what` is written in.

    Raises
    ------
    ParameterError
        Names the endings there are.
    """
    from phrasefit.errors import ParameterError

    if target.suffix.lower() not in endings:
        *first, last = endings
        known = f"{', '.join(first)} or {last}" if first else last
        raise ParameterError(f"{target}: {what} written as {known}; end the name in that")
    return target


def save(document: Document, target: Path, *, force: bool) -> list[Path]:
    """Write one PDF, or a PNG or SVG for each page (``name.png``, ``name-2.png`` ...).

    Says on standard error which letters no font of this computer has.
    """
    from phrasefit.files import check_target, write_atomic

    if note := document.letters_note():
        typer.echo(f"phrasefit: {note}", err=True)
    ending = target.suffix.lower()
    if ending == ".pdf":
        return [write_atomic(target, document.pdf(), force=force)]
    draw = document.svg if ending == ".svg" else document.png
    names = [
        target if number == 0 else target.with_stem(f"{target.stem}-{number + 1}")
        for number in range(len(document.pages))
    ]
    for name in names:
        check_target(name, force=force)
    return [write_atomic(name, draw(i), force=force) for i, name in enumerate(names)]
