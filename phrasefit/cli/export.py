"""``phrasefit export SONG [ROUTINE] --to FORMAT``: map and plan for other programs."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from phrasefit.cli._edge import tell
from phrasefit.cli._options import spread
from phrasefit.cli._pages import check_ending
from phrasefit.cli._plan import PlanCommand
from phrasefit.hand_out import Export


def register(app: typer.Typer) -> None:
    """Add the command to `app`."""
    app.command("export", short_help="MIDI, JAMS or CSV for other programs.")(spread(export))


def export(
    *,
    to: Annotated[
        Export,
        typer.Option("--to", help="midi: tempo map, bars, markers; jams: research; csv: walls."),
    ] = Export.CSV,
    out: Annotated[
        Path | None,
        typer.Option("--out", help="The file to write (else named after song and routine)."),
    ] = None,
    command: PlanCommand,
) -> None:
    """Write the bar map, and with a routine the plan, in an open format.

    Example: phrasefit export song.mp3 routine.toml --to midi --out song.mid
    """
    from phrasefit.files import write_atomic
    from phrasefit.hand_out import EXPORT_ENDINGS, export_of

    ending = EXPORT_ENDINGS[to]
    target = check_ending(command.named(out, ending), (ending,), f"--to {to} is")
    if command.has_routine or to is Export.CSV:
        fit, plan, _ = command.planned(target)
        made = export_of(to, fit.bar_map, fit, plan)
    else:
        made = export_of(to, command.source(target).bar_map, None, None)
    write_atomic(target, made, force=command.force)
    tell(f"wrote {target}")
