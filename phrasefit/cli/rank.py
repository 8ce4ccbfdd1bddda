"""``phrasefit rank FOLDER ROUTINE...``: which songs of a collection fit a routine?"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated

import typer

from phrasefit.cli import _many as many
from phrasefit.cli import _options as options
from phrasefit.cli._plan import PlanLimits, RoutineNumbers

if TYPE_CHECKING:
    from collections.abc import Sequence

    from phrasefit.batch import BatchReport
    from phrasefit.ranking.rank import Ranking, SongFilter


class Sort(StrEnum):
    """The order in which the best songs are shown."""

    SCORE = "score"
    TEMPO = "tempo"
    CHANGES = "changes"
    LENGTH = "length"
    TITLE = "title"
    CONFIDENCE = "confidence"


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """Which songs are looked at."""

    tempo: Annotated[
        str | None, typer.Option("--tempo", metavar="LOW-HIGH", help="Only these counts a minute.")
    ] = None
    min_confidence: Annotated[
        float,
        typer.Option("--min-confidence", min=0, max=1, help="Minimum confidence, 0 to 1."),
    ] = 0.0
    meter: Annotated[
        int | None, typer.Option("--meter", help="Only songs with so many beats a bar.")
    ] = None
    words: Annotated[
        list[str], typer.Option("--title", metavar="WORD", help="Word in title or artist.")
    ] = options.EMPTY

    def wanted(self) -> SongFilter:
        """Say it in the words of the ranking."""
        from phrasefit.ranking.rank import SongFilter

        return SongFilter(
            counts_per_minute=many.tempo_range(self.tempo),
            meter=self.meter,
            min_confidence=self.min_confidence,
            words=tuple(self.words),
        )


def register(app: typer.Typer) -> None:
    """Add the command to `app`."""
    app.command("rank")(options.spread(rank))


def rank(
    things: options.Places = None,
    *,
    numbers: RoutineNumbers,
    known: options.Known = False,
    show: Annotated[int, typer.Option("--show", min=1, help="How many songs to show.")] = 25,
    show_all: Annotated[bool, typer.Option("--all", help="Show all songs that fit.")] = False,
    choice: Choice,
    limits: PlanLimits,
    sort: Annotated[Sort, typer.Option("--sort", help="Order of the songs shown.")] = Sort.SCORE,
    long: options.Long = False,
    csv_path: options.Csv = None,
    json_path: options.Json = None,
    work: many.Work,
) -> None:
    """Find the songs of a collection that fit each routine best, one line a song.

    New songs are listened to first; Ctrl-C keeps what is done. Songs out of the reach of
    the routine's tempo stand apart at the end. Exit code 1 if files could not be used.

    Example: phrasefit rank music/ borrowed-teaspoons.toml --tempo 100-124 --max-changes 1

    Example: phrasefit rank --known --counts 32 --walls 4
    """
    from phrasefit.reports.rank_text import render_ranking

    places, files = many.split_places(things or [])
    first, others = (files[0], files[1:]) if files else (None, ())
    routines = [numbers.routine_or(first), *many.read_routines(others)]
    requests = [limits.request(routine) for routine in routines]
    wanted, workers = choice.wanted(), work.workers()
    with many.open_store() as store:
        library, report = many.gather(
            places, store, workers,
            known=known, targets=(csv_path, json_path), force=work.force,
        )  # fmt: skip
        csv_path, json_path = (many.unless_stopped(report, p) for p in (csv_path, json_path))
        top = None if show_all else show
        rankings = [
            _sorted(library.ranked(request, workers, songs=wanted, top=top), sort)
            for request in requests
        ]
        paths = many.file_of(library, report)
    if "-" not in (json_path, csv_path):
        texts = (render_ranking(ranking, long=long) for ranking in rankings)
        typer.echo("\n".join(texts), nl=False)
    _write(rankings, paths, report, csv_path, json_path, force=work.force)
    many.finish(report)


def _write(
    rankings: Sequence[Ranking],
    paths: dict[str, str],
    report: BatchReport,
    csv_path: str | None,
    json_path: str | None,
    *,
    force: bool,
) -> None:
    """Write the files asked for; none if songs are left, so that the next run can write them."""
    from phrasefit.cli._edge import emit
    from phrasefit.reports import table
    from phrasefit.serial import dump_json

    if report.n_left:
        csv_path, json_path = (path if path == "-" else None for path in (csv_path, json_path))
    document = table.rank_document(
        rankings,
        paths,
        failures=[(str(f.path), f.trouble) for f in report.failures],
        n_left=report.n_left,
    )
    emit(dump_json(document), json_path, force=force)
    emit(table.rows_csv(_rows(document["rankings"])), csv_path, force=force)


def _rows(rankings: Sequence[dict]) -> list[tuple[str, int, dict]]:
    return [
        (ranking["routine"]["name"], place, row)
        for ranking in rankings
        for place, row in enumerate(ranking["songs"], start=1)
    ]


def _sorted(ranking: Ranking, sort: Sort) -> Ranking:
    """Put the best songs into another order; those out of the tempo's reach come after."""
    from dataclasses import replace

    from phrasefit.fit.tempo import is_in_reach
    from phrasefit.ranking.summary import least_confidence

    keys = {
        Sort.TEMPO: lambda fit: fit.tempo.counts_per_minute,
        Sort.CHANGES: lambda fit: fit.plan.n_changes,
        Sort.LENGTH: lambda fit: fit.bar_map.duration_s,
        Sort.TITLE: lambda fit: fit.bar_map.title.casefold(),
        Sort.CONFIDENCE: lambda fit: -least_confidence(fit.bar_map),
    }
    if sort is Sort.SCORE:
        return ranking
    ordered = sorted(
        ranking.songs, key=lambda song: (not is_in_reach(song.fit.tempo), keys[sort](song.fit))
    )
    return replace(ranking, songs=tuple(ordered))
