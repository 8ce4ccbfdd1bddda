"""``phrasefit fit SONG ROUTINE``: does the routine go with the song, and how?

May import: everything, inside the command body.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from phrasefit.cli import _corrections as corrections
from phrasefit.cli import _plan as options


def register(app: typer.Typer) -> None:
    """Add the command to `app`."""
    app.command("fit", short_help="Start, walls, tags, restarts of a routine.")(fit)


def fit(
    song: options.Song = None,
    routine: options.RoutineFile = None,
    counts: options.Counts = None,
    walls: options.Walls = None,
    waltz: options.Waltz = False,
    map_path: options.MapFile = None,
    start_at: options.StartAt = None,
    max_changes: Annotated[
        int,
        typer.Option(
            "--max-changes", metavar="N", min=0, max=12, help="Most tags and restarts allowed."
        ),
    ] = 4,
    intro: Annotated[
        int | None, typer.Option("--intro", metavar="N", min=0, help="Begin after so many counts.")
    ] = None,
    settings: Annotated[
        Path | None,
        typer.Option("--settings", metavar="FILE", help="Own costs and tempo ranges (TOML)."),
    ] = None,
    json_path: Annotated[
        str | None,
        typer.Option(
            "--json", metavar="PATH", help="Also write the plan as JSON; - prints only it."
        ),
    ] = None,
    one_at: corrections.OneAt = None,
    shift_one: corrections.ShiftOne = 0,
    half: corrections.Half = False,
    double: corrections.Double = False,
    meter: corrections.Meter = None,
    nudge: corrections.Nudge = 0.0,
    section_at: corrections.SectionAt = [],  # noqa: B006 - typer copies it
    no_section_at: corrections.NoSectionAt = [],  # noqa: B006
    forget: corrections.Forget = False,
    no_cache: options.NoCache = False,
    force: options.Force = False,
) -> None:
    """Fit a routine to a song: count 1, walls, facings, tags, restarts, ending.

    Example: phrasefit fit song.mp3 routine.toml

    Example: phrasefit fit song.mp3 --counts 32 --walls 4
    """
    from phrasefit.cli._edge import emit, parse_time
    from phrasefit.fit import fit_routine
    from phrasefit.fit.costs import Costs
    from phrasefit.fit.tempo import TEMPO_ROWS, load_tempo_rows
    from phrasefit.reports.fit_text import render
    from phrasefit.reports.words import reasons, verdict
    from phrasefit.serial import dump_json, fit_document

    if map_path is not None and song is not None and routine is None:
        song, routine = None, song  # with --map the only argument is the routine
    dance = options.routine_of(routine, counts=counts, walls=walls, waltz=waltz)
    change = corrections.correction_from(
        one_at=one_at,
        shift_one=shift_one,
        half=half,
        double=double,
        meter=meter,
        nudge=nudge,
        section_at=section_at,
        no_section_at=no_section_at,
    )
    bar_map, beats_per_count = options.bar_map_of(
        song,
        map_path,
        change=change,
        forget=forget,
        no_cache=no_cache,
        targets=(json_path,),
        force=force,
        dance=dance,
    )
    plan = fit_routine(
        bar_map,
        dance,
        start_s=None if start_at is None else parse_time(start_at),
        max_changes=max_changes,
        intro=intro,
        beats_per_count=beats_per_count,
        costs=None if settings is None else Costs.load(settings),
        tempo_rows=TEMPO_ROWS if settings is None else load_tempo_rows(settings),
    )
    emit(
        dump_json(fit_document(plan, verdict=verdict(plan), reasons=reasons)),
        json_path,
        force=force,
    )
    if json_path != "-":
        typer.echo(render(plan), nl=False)
