"""``phrasefit export SONG [ROUTINE] --to FORMAT``: map and plan for other programs.

May import: everything, inside the command body.
"""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from phrasefit.cli import _plan as options

if TYPE_CHECKING:
    from phrasefit.model import BarMap, FitPlan, Plan


class Format(StrEnum):
    """The open formats that can be written."""

    MIDI = "midi"
    JAMS = "jams"
    CSV = "csv"


def register(app: typer.Typer) -> None:
    """Add the command to `app`."""
    app.command("export", short_help="MIDI, JAMS or CSV for other programs.")(export)


def export(
    song: options.Song = None,
    routine: options.RoutineFile = None,
    to: Annotated[
        Format,
        typer.Option("--to", help="midi: tempo map, bars, markers; jams: research; csv: walls."),
    ] = Format.CSV,
    out: Annotated[
        Path | None, typer.Option("--out", help="The file to write (else named after the song).")
    ] = None,
    counts: options.Counts = None,
    walls: options.Walls = None,
    waltz: options.Waltz = False,
    map_path: options.MapFile = None,
    start_at: options.StartAt = None,
    changes: options.Changes = None,
    no_cache: options.NoCache = False,
    force: options.Force = False,
) -> None:
    """Write the bar map, and with a routine the plan, in an open format.

    Example: phrasefit export song.mp3 routine.toml --to midi --out song.mid
    """
    from phrasefit.files import write_atomic

    source = song or map_path
    suffix = {Format.MIDI: ".mid", Format.JAMS: ".jams", Format.CSV: ".csv"}[to]
    target = out or Path(f"{source.stem if source else 'song'}{suffix}")
    has_routine = routine is not None or counts is not None or (map_path and song)
    fit: FitPlan | None = None
    plan: Plan | None = None
    if has_routine or to is Format.CSV:
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
        plan = options.chosen(fit, changes)
        bar_map = fit.bar_map
    else:
        bar_map, _ = options.bar_map_of(
            song, map_path, targets=(target,), force=force, no_cache=no_cache
        )
    write_atomic(target, content(to, bar_map, fit, plan), force=force)
    typer.echo(f"wrote {target}")


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
