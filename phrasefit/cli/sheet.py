"""``phrasefit sheet SONG ROUTINE``: what goes on paper, as PDF or PNG."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from phrasefit.cli._edge import tell
from phrasefit.cli._options import Paper, PaperSize, spread
from phrasefit.cli._pages import check_ending, save
from phrasefit.cli._plan import PlanCommand
from phrasefit.hand_out import Sheet


def register(app: typer.Typer) -> None:
    """Add the command to `app`."""
    app.command("sheet", short_help="Cue sheets on paper: PDF or PNG.")(spread(sheet))


def sheet(
    *,
    out: Annotated[
        Path | None,
        typer.Option("--out", help="A .pdf or .png file (else named after song and routine)."),
    ] = None,
    kind: Annotated[
        Sheet,
        typer.Option(
            "--kind",
            help="page: all on paper; stand: for the music stand; floor: read across the room;"
            " steps: the routine's steps; dj: cards for the DJ.",
        ),
    ] = Sheet.PAGE,
    paper: PaperSize = Paper.A4,
    per_page: Annotated[
        int | None,
        typer.Option("--per-page", metavar="N", help="With --kind dj: cards on a page, 1, 2 or 4."),
    ] = None,
    command: PlanCommand,
) -> None:
    """Print a cue sheet: PDF, or PNG by the file's ending (one picture a page).

    Example: phrasefit sheet song.mp3 routine.toml --out sheet.pdf

    Example: phrasefit sheet song.mp3 routine.toml --kind stand --paper letter
    """
    from phrasefit.errors import ParameterError
    from phrasefit.hand_out import sheet_of

    if per_page is not None and kind is not Sheet.DJ:
        raise ParameterError("--per-page goes with --kind dj only; add that, or leave it out")
    target = check_ending(command.named(out, f"-{kind.value}.pdf"), (".pdf", ".png"))
    document = sheet_of(kind, command.planned(target), paper=paper.value, per_page=per_page)
    for path in save(document, target, force=command.force):
        tell(f"wrote {path}")
