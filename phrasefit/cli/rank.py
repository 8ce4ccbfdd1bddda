"""``phrasefit rank FOLDER ROUTINE...``: which songs of a collection go with a routine?

May import: everything, inside the command body.
"""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from phrasefit.cli import _many as many
from phrasefit.cli import _plan as options

if TYPE_CHECKING:
    from collections.abc import Sequence

    from phrasefit.fit.rank import Ranking


class Sort(StrEnum):
    """The order in which the best songs are shown."""

    SCORE = "score"
    TEMPO = "tempo"
    CHANGES = "changes"
    LENGTH = "length"
    TITLE = "title"
    CONFIDENCE = "confidence"


def register(app: typer.Typer) -> None:
    """Add the command to `app`."""
    app.command("rank")(rank)


def rank(
    things: Annotated[
        list[Path] | None,
        typer.Argument(metavar="FOLDER... ROUTINE...", help="Folders or songs; routine files."),
    ] = None,
    counts: options.Counts = None,
    walls: options.Walls = None,
    waltz: options.Waltz = False,
    known: many.Known = False,
    show: Annotated[int, typer.Option("--show", min=1, help="How many songs to show.")] = 25,
    show_all: Annotated[bool, typer.Option("--all", help="Show all songs that fit.")] = False,
    tempo: Annotated[
        str | None, typer.Option("--tempo", metavar="LOW-HIGH", help="Only these counts a minute.")
    ] = None,
    max_changes: many.MaxChanges = 4,
    min_confidence: Annotated[
        float, typer.Option("--min-confidence", min=0, max=1, help="Only songs heard so surely.")
    ] = 0.0,
    meter: Annotated[
        int | None, typer.Option("--meter", help="Only songs with so many beats a bar.")
    ] = None,
    words: Annotated[
        list[str], typer.Option("--title", metavar="WORD", help="Word in title or artist.")
    ] = [],  # noqa: B006 - typer copies it
    sort: Annotated[Sort, typer.Option("--sort", help="Order of the songs shown.")] = Sort.SCORE,
    csv_path: Annotated[
        str | None, typer.Option("--csv", metavar="PATH", help="Also write the table as CSV.")
    ] = None,
    json_path: Annotated[
        str | None, typer.Option("--json", metavar="PATH", help="Also as JSON; - prints only it.")
    ] = None,
    costs_path: many.CostsFile = None,
    jobs: many.Jobs = 0,
    backend: many.Backend = "loky",
    scheduler: many.Scheduler = "",
    force: options.Force = False,
) -> None:
    """Find the songs of a collection that go best with each routine.

    New songs are listened to first; Ctrl-C keeps what is done. Songs that cannot be
    brought to the routine's tempo come last. Exit code 1 if files could not be used.

    Example: phrasefit rank music/ copper-kettle.toml --tempo 100-124 --max-changes 1

    Example: phrasefit rank --known --counts 32 --walls 4
    """
    from phrasefit.cli._edge import emit
    from phrasefit.cli._song import check_targets
    from phrasefit.fit.rank import Wanted, rank_shelf
    from phrasefit.reports import table
    from phrasefit.serial import dump_json

    places, files = many.split_places(things or [])
    if files and (counts is not None or walls is not None):
        options.routine_of(files[0], counts=counts, walls=walls)  # says what to choose
    routines = many.read_routines(files) or [
        options.routine_of(None, counts=counts, walls=walls, waltz=waltz)
    ]
    wanted = Wanted(
        counts_per_minute=many.tempo_range(tempo),
        meter=meter,
        min_confidence=min_confidence,
        words=tuple(words),
    )
    costs, crew = many.costs_of(costs_path), many.crew_of(jobs, backend, scheduler)
    check_targets((csv_path, json_path), force=force)
    with many.open_store() as store:
        library, report = many.gather(places, store, crew, known=known)
        rankings = [
            rank_shelf(
                library.shelf,
                routine,
                library.planner(routine, max_changes, costs, crew=crew),
                top=None if show_all else show,
                wanted=wanted,
                max_changes=max_changes,
                costs=costs,
                n_threads=crew.n_workers,
            )
            for routine in routines
        ]
        rankings = [_sorted(ranking, sort) for ranking in rankings]
        paths = many.file_of(library, report, store)
    document = table.rank_document(
        rankings,
        paths,
        failures=[(str(f.path), f.reason) for f in report.failures],
        n_left=report.n_left,
    )
    emit(dump_json(document), json_path, force=force)
    emit(table.rows_csv(_rows(document["rankings"])), csv_path, force=force)
    if "-" not in (json_path, csv_path):
        typer.echo("\n".join(table.render_ranking(ranking) for ranking in rankings), nl=False)
    many.finish(report)


def _rows(rankings: Sequence[dict]) -> list[tuple[str, int, dict]]:
    return [
        (ranking["routine"]["name"], place, row)
        for ranking in rankings
        for place, row in enumerate(ranking["songs"], start=1)
    ]


def _sorted(ranking: Ranking, sort: Sort) -> Ranking:
    """Put the best songs into another order."""
    from dataclasses import replace

    from phrasefit.fit.rank import least_confidence

    keys = {
        Sort.TEMPO: lambda fit: fit.tempo.counts_per_minute,
        Sort.CHANGES: lambda fit: fit.plan.n_changes,
        Sort.LENGTH: lambda fit: fit.bar_map.duration_s,
        Sort.TITLE: lambda fit: fit.bar_map.title.casefold(),
        Sort.CONFIDENCE: lambda fit: -least_confidence(fit.bar_map),
    }
    if sort is Sort.SCORE:
        return ranking
    return replace(ranking, songs=tuple(sorted(ranking.songs, key=lambda s: keys[sort](s.fit))))
