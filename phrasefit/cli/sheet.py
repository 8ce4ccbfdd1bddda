"""``phrasefit sheet SONG ROUTINE``: what goes on paper, as PDF or PNG.

May import: everything, inside the command body.
"""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from phrasefit.cli import _plan as options

if TYPE_CHECKING:
    from phrasefit.reports.paper import Document


class Kind(StrEnum):
    """What is printed."""

    PAGE = "page"
    STAND = "stand"
    FLOOR = "floor"
    STEPS = "steps"
    DJ = "dj"


class Paper(StrEnum):
    """The paper it is printed on."""

    A4 = "a4"
    LETTER = "letter"


def register(app: typer.Typer) -> None:
    """Add the command to `app`."""
    app.command("sheet", short_help="Cue sheets on paper: PDF or PNG.")(sheet)


def sheet(
    song: options.Song = None,
    routine: options.RoutineFile = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="A .pdf or .png file (else named after the song).")
    ] = None,
    kind: Annotated[
        Kind,
        typer.Option(
            "--kind",
            help="page: all on paper; stand: for the music stand; floor: read across the room;"
            " steps: the routine's steps; dj: for the DJ.",
        ),
    ] = Kind.PAGE,
    paper: Annotated[Paper, typer.Option("--paper", help="a4 or letter.")] = Paper.A4,
    counts: options.Counts = None,
    walls: options.Walls = None,
    waltz: options.Waltz = False,
    map_path: options.MapFile = None,
    start_at: options.StartAt = None,
    changes: options.Changes = None,
    no_cache: options.NoCache = False,
    force: options.Force = False,
) -> None:
    """Print a cue sheet: PDF, or PNG by the file's ending (one picture a page).

    Example: phrasefit sheet song.mp3 routine.toml --out sheet.pdf

    Example: phrasefit sheet song.mp3 routine.toml --kind stand --paper letter
    """
    source = song or map_path
    target = out or Path(f"{source.stem if source else 'song'}-{kind.value}.pdf")
    if target.suffix.lower() not in (".pdf", ".png"):
        from phrasefit.errors import ParameterError

        raise ParameterError(f"{target}: is neither .pdf nor .png; end the name in one of them")
    fit = options.planned(
        song,
        routine,
        counts=counts,
        walls=walls,
        waltz=waltz,
        map_path=map_path,
        start_at=start_at,
        targets=(target,),
        force=force,
        no_cache=no_cache,
    )
    for path in save(document_of(kind, fit, changes, paper), target, force=force):
        typer.echo(f"wrote {path}")


def document_of(kind: Kind, fit, changes: int | None, paper: Paper) -> Document:
    """Lay out the document that was asked for."""
    from phrasefit.reports.dj_card import dj_card
    from phrasefit.reports.sheet import sheet as plan_sheet
    from phrasefit.reports.step_sheet import step_sheet

    plan = options.chosen(fit, changes)
    if kind is Kind.STEPS:
        return step_sheet(fit.routine, paper=paper.value)
    if kind is Kind.DJ:
        return dj_card(fit, plan, paper=paper.value)
    return plan_sheet(fit, plan, size=kind.value, paper=paper.value)


def save(document: Document, target: Path, *, force: bool) -> list[Path]:
    """Write one PDF, or a PNG for each page (``name.png``, ``name-2.png`` ...)."""
    from phrasefit.files import check_target, write_atomic

    if target.suffix.lower() == ".pdf":
        return [write_atomic(target, document.pdf(), force=force)]
    names = [
        target if number == 0 else target.with_stem(f"{target.stem}-{number + 1}")
        for number in range(len(document.pages))
    ]
    for name in names:
        check_target(name, force=force)
    return [write_atomic(name, document.png(i), force=force) for i, name in enumerate(names)]
