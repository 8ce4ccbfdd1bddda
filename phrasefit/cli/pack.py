"""``phrasefit pack SONG ROUTINE``: everything for a class in one folder."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from phrasefit.cli._edge import tell
from phrasefit.cli._options import Paper, PaperSize, spread
from phrasefit.cli._plan import PlanCommand


def register(app: typer.Typer) -> None:
    """Add the command to `app`."""
    app.command("pack", short_help="Everything for a class in one folder.")(spread(pack))


def pack(
    *,
    out: Annotated[
        Path | None,
        typer.Option("--out", help="The folder to make (else named after song and routine)."),
    ] = None,
    paper: PaperSize = Paper.A4,
    command: PlanCommand,
) -> None:
    """Put everything for a class into one folder.

    Sheets, rehearsal page, practice audio, captions, exchange files, and an index
    page that lists them.

    Example: phrasefit pack song.mp3 routine.toml --out tuesday
    """
    from phrasefit.cli._edge import Progress
    from phrasefit.hand_out import origin_of
    from phrasefit.reports.pack import check_folder, write_pack

    target = command.named(out, "-pack")
    check_folder(target, force=command.force)
    planned = command.planned()
    progress = Progress("writing")
    notes: list[str] = []
    try:
        write_pack(
            target,
            planned.fit,
            planned.plan,
            paper=paper.value,
            force=command.force,
            origin=origin_of(planned),
            progress=progress,
            tell=notes.append,
        )
    finally:
        progress.close()
    for note in notes:
        tell(f"phrasefit: {note}", err=True)
    tell(f"wrote {target}; open {target / 'index.html'}")
