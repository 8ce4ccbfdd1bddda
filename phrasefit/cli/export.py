"""``phrasefit export SONG [ROUTINE] --to FORMAT``: map and plan for other programs."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from phrasefit.cli._edge import tell
from phrasefit.cli._options import spread
from phrasefit.cli._plan import PlanCommand

if TYPE_CHECKING:
    from phrasefit.model import BarMap, FitPlan, Plan


class Format(StrEnum):
    """The open formats that can be written."""

    MIDI = "midi"
    JAMS = "jams"
    CSV = "csv"


def register(app: typer.Typer) -> None:
    """Add the command to `app`."""
    app.command("export", short_help="MIDI, JAMS or CSV for other programs.")(spread(export))


def export(
    *,
    to: Annotated[
        Format,
        typer.Option("--to", help="midi: tempo map, bars, markers; jams: research; csv: walls."),
    ] = Format.CSV,
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

    suffix = {Format.MIDI: ".mid", Format.JAMS: ".jams", Format.CSV: ".csv"}[to]
    target = command.named(out, suffix)
    if command.has_routine or to is Format.CSV:
        fit, plan, _ = command.planned(target)
        made = content(to, fit.bar_map, fit, plan)
    else:
        made = content(to, command.source(target).bar_map, None, None)
    write_atomic(target, made, force=command.force)
    tell(f"wrote {target}")


def content(to: Format, bar_map: BarMap, fit: FitPlan | None, plan: Plan | None) -> bytes | str:
    """Make the file's content in the format `to`."""
    from phrasefit.reports.jams import jams_document
    from phrasefit.reports.midi import midi_file
    from phrasefit.reports.walls_csv import walls_csv
    from phrasefit.serial import dump_json

    if to is Format.MIDI:
        return midi_file(bar_map, fit, plan)
    if to is Format.JAMS:
        return dump_json(jams_document(bar_map, fit, plan))
    assert fit is not None, "a CSV is made of a plan"
    return walls_csv(fit, plan)
