"""``phrasefit sheet SONG ROUTINE``: what goes on paper, as PDF or PNG."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from phrasefit.cli._edge import tell
from phrasefit.cli._options import Paper, PaperSize, spread
from phrasefit.cli._pages import check_ending, save
from phrasefit.cli._plan import PlanCommand, Planned

if TYPE_CHECKING:
    from phrasefit.reports.paper import Document


class Kind(StrEnum):
    """What is printed."""

    PAGE = "page"
    STAND = "stand"
    FLOOR = "floor"
    STEPS = "steps"
    DJ = "dj"


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
        Kind,
        typer.Option(
            "--kind",
            help="page: all on paper; stand: for the music stand; floor: read across the room;"
            " steps: the routine's steps; dj: cards for the DJ.",
        ),
    ] = Kind.PAGE,
    paper: PaperSize = Paper.A4,
    per_page: Annotated[
        int, typer.Option("--per-page", metavar="N", help="DJ cards on a page: 1, 2 or 4.")
    ] = 4,
    command: PlanCommand,
) -> None:
    """Print a cue sheet: PDF, or PNG by the file's ending (one picture a page).

    Example: phrasefit sheet song.mp3 routine.toml --out sheet.pdf

    Example: phrasefit sheet song.mp3 routine.toml --kind stand --paper letter
    """
    target = check_ending(command.named(out, f"-{kind.value}.pdf"), (".pdf", ".png"))
    document = document_of(kind, command.planned(target), paper, per_page)
    for path in save(document, target, force=command.force):
        tell(f"wrote {path}")


def document_of(kind: Kind, planned: Planned, paper: Paper, per_page: int) -> Document:
    """Lay out the document that was asked for."""
    from phrasefit.reports.dj_card import dj_card
    from phrasefit.reports.sheet import sheet as plan_sheet
    from phrasefit.reports.step_sheet import step_sheet

    fit, plan = planned.fit, planned.plan
    if kind is Kind.STEPS:
        return step_sheet(fit.routine, paper=paper.value)
    if kind is Kind.DJ:
        return dj_card(fit, plan, paper=paper.value, per_page=per_page)
    return plan_sheet(fit, plan, size=kind.value, paper=paper.value)
