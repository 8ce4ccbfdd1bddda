"""The arguments that name a song, a routine and a plan, shared by all commands that fit.

May import: everything inside functions; typer at the top.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from phrasefit.model import BarMap, Correction, FitPlan, Plan, Routine

Song = Annotated[Path | None, typer.Argument(help="The song; leave it out when --map is given.")]
RoutineFile = Annotated[Path | None, typer.Argument(help="The routine file (TOML).")]
Counts = Annotated[
    int | None,
    typer.Option("--counts", metavar="N", help="Counts of one wall, without a routine file."),
]
Walls = Annotated[int | None, typer.Option("--walls", metavar="N", help="1, 2 or 4 walls.")]
Waltz = Annotated[bool, typer.Option("--waltz", help="The --counts are waltz counts.")]
MapFile = Annotated[
    Path | None, typer.Option("--map", metavar="MAP.json", help="Plan from a bar map instead.")
]
StartAt = Annotated[
    str | None, typer.Option("--start-at", metavar="TIME", help="Begin the dance here.")
]
Changes = Annotated[
    int | None,
    typer.Option(
        "--changes", metavar="N", min=0, help="Take the plan with so many tags and restarts."
    ),
]
NoCache = Annotated[bool, typer.Option("--no-cache", help="Listen afresh and keep nothing.")]
Force = Annotated[bool, typer.Option("--force", help="Replace an existing file.")]


def routine_of(
    routine: Path | None, *, counts: int | None, walls: int | None, waltz: bool = False
) -> Routine:
    """Read the routine file, or make a routine of numbers alone.

    Raises
    ------
    ParameterError
        If both or neither are given.
    RoutineError
        If the file contradicts itself.
    """
    from phrasefit.errors import ParameterError
    from phrasefit.routine.spec import load_routine, routine_from_numbers

    if routine is not None and (counts is not None or walls is not None):
        raise ParameterError("give a routine file or --counts and --walls, not both")
    if routine is not None:
        return load_routine(routine)
    if counts is None:
        raise ParameterError("no routine given; name a routine file, or --counts 32 --walls 4")
    return routine_from_numbers(counts=counts, walls=walls or 1, meter=3 if waltz else 4)


def bar_map_of(
    song: Path | None,
    map_path: Path | None,
    *,
    targets: tuple[str | Path | None, ...] = (),
    force: bool = False,
    change: Correction | None = None,
    forget: bool = False,
    no_cache: bool = False,
    dance: Routine | None = None,
) -> tuple[BarMap, float | None]:
    """Take the map from a file or from listening, but not from both.

    The second value is 1 where a person has chosen the level to count at: the
    planner must not choose another one again.

    Raises
    ------
    ParameterError
        If both or neither are given, or corrections go with a map file.
    """
    from phrasefit.cli._song import check_targets, heard
    from phrasefit.errors import ParameterError
    from phrasefit.fields import load_json
    from phrasefit.pipeline import UNTOUCHED
    from phrasefit.serial import read_map

    if map_path is None:
        if song is None:
            raise ParameterError("no song given; name a song file, or a bar map with --map")
        analysis = heard(
            song,
            change=change,
            forget=forget,
            no_cache=no_cache,
            targets=targets,
            force=force,
            routine=dance,
        )
        return analysis.bar_map, 1.0 if analysis.correction.level else None
    if song is not None:
        raise ParameterError("give a song or --map, not both")
    if forget or change not in (None, UNTOUCHED):
        raise ParameterError("corrections belong to a song; mend the times in the map file instead")
    check_targets(targets, force=force)
    return read_map(load_json(map_path, what="a bar map"), name=str(map_path)), None


def planned(
    song: Path | None,
    routine: Path | None,
    *,
    counts: int | None = None,
    walls: int | None = None,
    waltz: bool = False,
    map_path: Path | None = None,
    start_at: str | None = None,
    targets: tuple[str | Path | None, ...] = (),
    force: bool = False,
    no_cache: bool = False,
) -> FitPlan:
    """Do what every command that needs a plan does first: read, listen, fit."""
    from phrasefit.cli._edge import parse_time
    from phrasefit.fit import fit_routine

    if map_path is not None and song is not None and routine is None:
        song, routine = None, song  # with --map the only argument is the routine
    dance = routine_of(routine, counts=counts, walls=walls, waltz=waltz)
    bar_map, beats_per_count = bar_map_of(
        song, map_path, targets=targets, force=force, no_cache=no_cache
    )
    return fit_routine(
        bar_map,
        dance,
        start_s=None if start_at is None else parse_time(start_at),
        beats_per_count=beats_per_count,
    )


def chosen(fit: FitPlan, changes: int | None) -> Plan:
    """Give the plan with `changes` tags and restarts; the advised one for None.

    Raises
    ------
    ParameterError
        If no plan has so many; says which there are.
    """
    from phrasefit.errors import ParameterError

    if changes is None:
        return fit.plan
    for plan in fit.plans:
        if plan.n_changes == changes:
            return plan
    known = ", ".join(str(plan.n_changes) for plan in fit.plans)
    raise ParameterError(f"--changes {changes}: no such plan for this song; there are {known}")
