"""``phrasefit suits SONG ROUTINES...``: which routines fit this song?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from phrasefit.cli import _many as many
from phrasefit.cli import _options as options
from phrasefit.cli._plan import PlanOptions, source_of

if TYPE_CHECKING:
    from phrasefit.model import Routine


def register(app: typer.Typer) -> None:
    """Add the command to `app`."""
    app.command("suits")(options.spread(suits))


def suits(
    song: Annotated[Path, typer.Argument(help="The song; with --map a folder of routines.")],
    places: Annotated[
        list[Path] | None,
        typer.Argument(metavar="ROUTINES...", help="Routine files, or folders with them."),
    ] = None,
    *,
    map_path: options.MapFile = None,
    plan: PlanOptions,
    long: options.Long = False,
    csv_path: options.Csv = None,
    json_path: options.Json = None,
    no_cache: options.NoCache = False,
    force: options.Force = False,
) -> None:
    """Find the routines that fit a song best.

    Without ROUTINES the routines kept by `phrasefit store keep` are tried. A file with
    mistakes is named and passed over; the exit code is then 1.

    Example: phrasefit suits song.mp3 routines/
    """
    from phrasefit.cli._edge import EXIT_PARTIAL, emit, tell
    from phrasefit.ranking.suits import suiting
    from phrasefit.reports import table
    from phrasefit.reports.rank_text import render_suits
    from phrasefit.serial import dump_json

    places, heard_song = places or [], None if map_path else song
    if map_path is not None:
        places = [song, *places]  # with --map all arguments are routines
    routines, failures = _routines(places)
    requests = [plan.request(routine) for routine in routines]
    source = source_of(
        heard_song, map_path, targets=(csv_path, json_path), force=force, no_cache=no_cache
    )
    fits, unfit = suiting(source.bar_map, requests)
    n_bad = len(failures)
    failures += unfit
    document = table.suits_document(fits, path=str(heard_song or map_path), failures=failures)
    emit(dump_json(document), json_path, force=force)
    rows = [(row["routine"]["name"], i, row) for i, row in enumerate(document["routines"], start=1)]
    emit(table.rows_csv(rows), csv_path, force=force)
    if "-" not in (json_path, csv_path):
        typer.echo(render_suits(fits, long=long), nl=False)
    for name, reason in failures[:n_bad]:
        tell(f"{name}: {reason}", err=True)
    for name, reason in unfit:
        tell(f"left out: {name}; {reason}", err=True)
    if n_bad:
        raise typer.Exit(EXIT_PARTIAL)


def _routines(places: Sequence[Path]) -> tuple[list[Routine], list[tuple[str, str]]]:
    """Read all routine files there are; a mistake in one does not stop the others."""
    from phrasefit.errors import ParameterError, RoutineError
    from phrasefit.routine.spec import load_routine, parse_routine

    routines, failures = [], []
    if places:
        readers = [(str(path), lambda path=path: load_routine(path)) for path in _files(places)]
    else:
        with many.open_store() as store:
            kept = store.routines()
        readers = [(name, lambda text=text: parse_routine(text)) for name, text in kept.items()]
    if not readers:
        raise ParameterError(
            "no routine to try; name a folder with routine files (TOML),"
            " or keep some with `phrasefit store keep`"
        )
    for name, read in readers:
        try:
            routines.append(read())
        except RoutineError as exc:
            failures.append((name, exc.what))
    return routines, failures


def _files(places: Sequence[Path]) -> Iterator[Path]:
    for place in places:
        yield from sorted(place.rglob("*.toml")) if place.is_dir() else [place]
