"""``phrasefit fit SONG ROUTINE``: does the routine fit the song, and how?"""

from __future__ import annotations

from typing import Annotated

import typer

from phrasefit.cli._corrections import CorrectionOptions
from phrasefit.cli._options import spread
from phrasefit.cli._plan import PlanCommand


def register(app: typer.Typer) -> None:
    """Add the command to `app`."""
    app.command("fit", short_help="Start, walls, tags, restarts of a routine.")(spread(fit))


def fit(
    *,
    command: PlanCommand,
    json_path: Annotated[
        str | None,
        typer.Option(
            "--json", metavar="PATH", help="Also write the plan as JSON; - prints only it."
        ),
    ] = None,
    corrections: CorrectionOptions,
) -> None:
    """Fit a routine to a song: count 1, walls, facings, tags, restarts, ending.

    Example: phrasefit fit song.mp3 routine.toml

    Example: phrasefit fit song.mp3 --counts 32 --walls 4
    """
    from functools import partial

    from phrasefit.cli._corrections import option_words
    from phrasefit.cli._edge import emit
    from phrasefit.reports.doubts import doubt_lines
    from phrasefit.reports.fit_text import render
    from phrasefit.reports.words import reasons, verdict
    from phrasefit.serial import dump_json, fit_document

    planned = command.planned(json_path, change=corrections.correction(), forget=corrections.forget)
    plan = planned.fit
    name = None  # the options that correct are refused with a map from a file
    if planned.analysis is not None:
        name = partial(option_words, beats_per_count=plan.grid.beats_per_count)
    doubts = doubt_lines(plan, name)
    document = fit_document(
        plan, verdict=verdict(plan, name_correction=name), doubts=doubts, reasons=reasons
    )
    emit(dump_json(document), json_path, force=command.force)
    if json_path != "-":
        typer.echo(render(plan, name_correction=name), nl=False)
