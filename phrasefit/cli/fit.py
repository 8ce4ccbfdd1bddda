"""``phrasefit fit SONG ROUTINE``: does the routine go with the song, and how?

May import: everything, inside the command body.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from phrasefit.cli import _corrections as options


def register(app: typer.Typer) -> None:
    """Add the command to `app`."""
    app.command("fit")(fit)


def fit(
    song: Annotated[
        Path | None, typer.Argument(help="The song; leave it out when --map is given.")
    ] = None,
    routine: Annotated[Path | None, typer.Argument(help="The routine file (TOML).")] = None,
    counts: Annotated[
        int | None, typer.Option("--counts", help="Counts of one wall, without a routine file.")
    ] = None,
    walls: Annotated[int | None, typer.Option("--walls", help="1, 2 or 4 walls.")] = None,
    waltz: Annotated[bool, typer.Option("--waltz", help="The --counts are waltz counts.")] = False,
    map_path: Annotated[
        Path | None, typer.Option("--map", metavar="MAP.json", help="Plan from a bar map instead.")
    ] = None,
    start_at: Annotated[
        str | None, typer.Option("--start-at", metavar="TIME", help="Begin the dance here.")
    ] = None,
    max_changes: Annotated[
        int, typer.Option("--max-changes", min=0, max=12, help="Most tags and restarts allowed.")
    ] = 4,
    costs_path: Annotated[
        Path | None, typer.Option("--costs", metavar="FILE", help="Own weights of the plan (TOML).")
    ] = None,
    json_path: Annotated[
        str | None,
        typer.Option(
            "--json", metavar="PATH", help="Also write the plan as JSON; - prints only it."
        ),
    ] = None,
    one_at: options.OneAt = None,
    shift_one: options.ShiftOne = 0,
    half: options.Half = False,
    double: options.Double = False,
    meter: options.Meter = None,
    nudge: options.Nudge = 0.0,
    section_at: options.SectionAt = [],  # noqa: B006 - typer copies it
    no_section_at: options.NoSectionAt = [],  # noqa: B006
    forget: options.Forget = False,
    no_cache: Annotated[
        bool, typer.Option("--no-cache", help="Listen afresh and keep nothing.")
    ] = False,
    force: Annotated[bool, typer.Option("--force", help="Replace an existing file.")] = False,
) -> None:
    """Fit a routine to a song: count 1, walls, facings, tags, restarts, ending.

    Example: phrasefit fit song.mp3 routine.toml
    Example: phrasefit fit song.mp3 --counts 32 --walls 4
    """
    from phrasefit.cli._edge import emit, parse_time
    from phrasefit.cli._song import fitted, routine_of
    from phrasefit.fit.costs import Costs
    from phrasefit.reports.fit_text import render
    from phrasefit.reports.words import verdict
    from phrasefit.serial import dump_json, fit_document

    if map_path is not None and song is not None and routine is None:
        song, routine = None, song  # with --map the only argument is the routine
    dance = routine_of(routine, counts=counts, walls=walls, meter=3 if waltz else None)
    change = options.correction_from(
        one_at=one_at,
        shift_one=shift_one,
        half=half,
        double=double,
        meter=meter,
        nudge=nudge,
        section_at=section_at,
        no_section_at=no_section_at,
    )
    bar_map = _bar_map(
        song, map_path, change=change, forget=forget, no_cache=no_cache,
        targets=(json_path,), force=force,
    )  # fmt: skip
    plan = fitted(
        bar_map,
        dance,
        start_s=None if start_at is None else parse_time(start_at),
        max_changes=max_changes,
        costs=Costs() if costs_path is None else Costs.load(costs_path),
    )
    emit(dump_json(fit_document(plan, verdict=verdict(plan))), json_path, force=force)
    if json_path != "-":
        typer.echo(render(plan), nl=False)


def _bar_map(song, map_path, *, change, forget, **hearing):
    """Take the map from a file or from listening, but not from both."""
    from phrasefit.cli._song import check_targets, heard
    from phrasefit.errors import ParameterError
    from phrasefit.pipeline import UNTOUCHED
    from phrasefit.serial import load_json, read_map

    if map_path is None:
        if song is None:
            raise ParameterError("no song given; name a song file, or a bar map with --map")
        return heard(song, change=change, forget=forget, **hearing).bar_map
    if song is not None:
        raise ParameterError("give a song or --map, not both")
    if change != UNTOUCHED or forget:
        raise ParameterError("corrections belong to a song; mend the times in the map file instead")
    check_targets(hearing["targets"], force=hearing["force"])
    return read_map(load_json(map_path, what="a bar map"), name=str(map_path))
