"""``phrasefit fit SONG ROUTINE``: does the routine go with the song, and how?"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from phrasefit.cli import _options as options
from phrasefit.cli._corrections import CorrectionOptions
from phrasefit.cli._plan import Subject, source_of


def register(app: typer.Typer) -> None:
    """Add the command to `app`."""
    app.command("fit", short_help="Start, walls, tags, restarts of a routine.")(options.spread(fit))


def fit(
    *,
    subject: Subject,
    max_changes: options.MaxChanges = 4,
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
    corrections: CorrectionOptions,
    no_cache: options.NoCache = False,
    force: options.Force = False,
) -> None:
    """Fit a routine to a song: count 1, walls, facings, tags, restarts, ending.

    Example: phrasefit fit song.mp3 routine.toml

    Example: phrasefit fit song.mp3 --counts 32 --walls 4
    """
    from functools import partial

    from phrasefit.cli._corrections import option_words
    from phrasefit.cli._edge import emit
    from phrasefit.fit import fit_routine
    from phrasefit.fit.costs import Costs
    from phrasefit.fit.tempo import TEMPO_ROWS, load_tempo_rows
    from phrasefit.reports.doubts import doubt_lines
    from phrasefit.reports.fit_text import render
    from phrasefit.reports.words import reasons, verdict
    from phrasefit.serial import dump_json, fit_document

    dance = subject.routine_or(subject.routine)
    source = source_of(
        subject.song,
        subject.map_path,
        change=corrections.correction(),
        forget=corrections.forget,
        no_cache=no_cache,
        targets=(json_path,),
        force=force,
        dance=dance,
    )
    plan = fit_routine(
        source.bar_map,
        dance,
        start_s=subject.start_s,
        max_changes=max_changes,
        intro=intro,
        beats_per_count=source.beats_per_count,
        costs=None if settings is None else Costs.load(settings),
        tempo_rows=TEMPO_ROWS if settings is None else load_tempo_rows(settings),
    )
    name = partial(option_words, beats_per_count=plan.grid.beats_per_count)
    doubts = doubt_lines(plan, name)
    document = fit_document(plan, verdict=verdict(plan), doubts=doubts, reasons=reasons)
    emit(dump_json(document), json_path, force=force)
    if json_path != "-":
        typer.echo(render(plan, name_correction=name), nl=False)
