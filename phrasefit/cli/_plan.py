"""The arguments that name a song, a routine and a plan, shared by all commands that fit.

Each dataclass holds options that come together; `phrasefit.cli._options.spread` shows
their fields to typer.
"""

from __future__ import annotations

import functools
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NamedTuple

import typer

from phrasefit.cli import _options as options

if TYPE_CHECKING:
    from phrasefit.fit.request import ChangePlace, PlanRequest
    from phrasefit.fit.settings import Settings
    from phrasefit.hand_out import Planned
    from phrasefit.model import BarMap, Correction, Routine
    from phrasefit.pipeline import Analysis

Targets = tuple[str | Path | None, ...]


class Source(NamedTuple):
    """A bar map, and what was heard of the song where one was listened to."""

    bar_map: BarMap
    analysis: Analysis | None


# The classes below have no slots, so that a command's options can be made of several.


@dataclass(frozen=True, kw_only=True)
class RoutineNumbers:
    """A routine of which no more is known than its numbers."""

    counts: Annotated[
        int | None,
        typer.Option("--counts", metavar="N", help="Counts of one wall, without a routine file."),
    ] = None
    walls: Annotated[int | None, typer.Option("--walls", metavar="N", help="1, 2 or 4 walls.")] = (
        None
    )
    waltz: Annotated[bool, typer.Option("--waltz", help="The --counts are waltz counts.")] = False

    def routine_or(self, file: Path | None) -> Routine:
        """Read the routine file, or make a routine of the numbers.

        Raises
        ------
        ParameterError
            If both or neither are given.
        RoutineError
            If the file contradicts itself.
        """
        from phrasefit.errors import ParameterError
        from phrasefit.meters import FOURS, THREES
        from phrasefit.routine.spec import load_routine, routine_from_numbers

        if file is not None and (self.counts is not None or self.walls is not None):
            raise ParameterError("give a routine file or --counts and --walls, not both")
        if file is not None:
            return load_routine(file)
        if self.counts is None:
            raise ParameterError("no routine given; name a routine file, or --counts 32 --walls 4")
        meter = THREES if self.waltz else FOURS
        walls = 1 if self.walls is None else self.walls
        return routine_from_numbers(counts=self.counts, walls=walls, meter=meter.bar_counts)


@dataclass(frozen=True, kw_only=True)
class PlanLimits:
    """What holds for the plans of all songs."""

    settings_path: Annotated[
        Path | None,
        typer.Option("--settings", metavar="FILE", help="Own costs and tempo ranges (TOML)."),
    ] = None
    max_changes: options.MaxChanges = 4

    @functools.cached_property
    def _settings(self) -> Settings:
        from phrasefit.fit.settings import Settings

        return Settings() if self.settings_path is None else Settings.load(self.settings_path)

    def request(self, routine: Routine) -> PlanRequest:
        """Say what is asked of the planner.

        Raises
        ------
        ParameterError
            If options contradict each other, or the settings cannot be read.
        """
        from phrasefit.fit.request import PlanRequest

        return PlanRequest(
            routine=routine,
            max_changes=self.max_changes,
            costs=self._settings.costs,
            tempo_rows=self._settings.tempo_rows,
        )


@dataclass(frozen=True, kw_only=True)
class PlanOptions(PlanLimits):
    """Which plan of one song: the same options for every command that shows one."""

    start_at: Annotated[
        str | None, typer.Option("--start-at", metavar="TIME", help="Begin the dance here.")
    ] = None
    intro: Annotated[
        int | None, typer.Option("--intro", metavar="N", min=0, help="Begin after so many counts.")
    ] = None
    changes: Annotated[
        int | None,
        typer.Option(
            "--changes", metavar="N", min=0, help="Take the plan with so many tags and restarts."
        ),
    ] = None
    restart_at: Annotated[
        list[str],
        typer.Option("--restart-at", metavar="TIME", help="A restart must come here (again: +1)."),
    ] = options.EMPTY
    no_restart_at: Annotated[
        list[str], typer.Option("--no-restart-at", metavar="TIME", help="No restart comes here.")
    ] = options.EMPTY
    tag_at: Annotated[
        list[str], typer.Option("--tag-at", metavar="TIME", help="A tag must come here.")
    ] = options.EMPTY
    no_tag_at: Annotated[
        list[str], typer.Option("--no-tag-at", metavar="TIME", help="No tag comes here.")
    ] = options.EMPTY

    def request(self, routine: Routine) -> PlanRequest:
        """Say what is asked of the planner; see `PlanLimits.request`."""
        from dataclasses import replace

        from phrasefit.cli._edge import parse_time
        from phrasefit.errors import ParameterError

        if self.start_at is not None and self.intro is not None:
            raise ParameterError(
                "--start-at and --intro both say where the dance begins; give only one of them"
            )
        return replace(
            super().request(routine),
            start_s=None if self.start_at is None else parse_time(self.start_at),
            intro=self.intro,
            changes=self.changes,
            demanded=_places(self.restart_at, self.tag_at),
            forbidden=_places(self.no_restart_at, self.no_tag_at),
        )


def _places(restarts: Iterable[str], tags: Iterable[str]) -> tuple[ChangePlace, ...]:
    """Read where restarts and tags shall or shall not be."""
    from phrasefit.cli._edge import parse_time
    from phrasefit.fit.request import ChangePlace
    from phrasefit.model import EventKind

    given = [(EventKind.RESTART, text) for text in restarts]
    given += [(EventKind.TAG, text) for text in tags]
    return tuple(ChangePlace(kind=kind, at_s=parse_time(text)) for kind, text in given)


@dataclass(frozen=True, kw_only=True)
class SongAndRoutine(RoutineNumbers):
    """A song and a routine, as they are named on the command line."""

    song: Annotated[
        Path | None, typer.Argument(help="The song; leave it out when --map is given.")
    ] = None
    routine: Annotated[Path | None, typer.Argument(help="The routine file (TOML).")] = None
    map_path: options.MapFile = None

    def __post_init__(self) -> None:
        if self.map_path is not None and self.song is not None and self.routine is None:
            # With --map the only argument is the routine.
            object.__setattr__(self, "routine", self.song)
            object.__setattr__(self, "song", None)

    @property
    def has_routine(self) -> bool:
        """Whether a routine is named, by its file or by numbers."""
        return self.routine is not None or self.counts is not None

    def named(self, out: Path | None, ending: str) -> Path:
        """Give the file to write: the one asked for, else one named after song and routine.

        Two routines for one song, and two songs for one routine, get different names.
        """
        from phrasefit.hand_out import numbers_name, stem_of

        name = ""
        if self.routine is not None:
            name = self.routine.stem
        elif self.counts is not None:
            name = numbers_name(self.counts, self.walls or 1, waltz=self.waltz)
        return out or Path(f"{stem_of(self.song or self.map_path or 'song', name)}{ending}")


@dataclass(frozen=True, kw_only=True)
class PlanCommand(PlanOptions, SongAndRoutine):
    """What every command takes that shows or writes something of a plan."""

    no_cache: options.NoCache = False
    force: options.Force = False

    def source(self, *targets: str | Path | None) -> Source:
        """Listen to the song or read its map, once `targets` are known to be writable."""
        return source_of(
            self.song, self.map_path, targets=targets, force=self.force, no_cache=self.no_cache
        )

    def planned(
        self,
        *targets: str | Path | None,
        change: Correction | None = None,
        forget: bool = False,
    ) -> Planned:
        """Do what every command that needs a plan does first: read, listen, correct, fit."""
        from phrasefit.cli._edge import tell
        from phrasefit.hand_out import planned

        request = self.request(self.routine_or(self.routine))
        source = source_of(
            self.song,
            self.map_path,
            targets=targets,
            force=self.force,
            change=change,
            forget=forget,
            no_cache=self.no_cache,
            routine=request.routine,
        )
        if any(target is not None for target in targets):  # files do not say it, `fit` does
            for note in source.bar_map.notes:
                tell(f"phrasefit: {note}", err=True)
        return planned(source.bar_map, request, source.analysis)


def source_of(
    song: Path | None,
    map_path: Path | None,
    *,
    targets: Targets = (),
    force: bool = False,
    change: Correction | None = None,
    forget: bool = False,
    no_cache: bool = False,
    routine: Routine | None = None,
) -> Source:
    """Take the map from a file or from listening, but not from both.

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
            routine=routine,
        )
        return Source(analysis.bar_map, analysis)
    if song is not None:
        raise ParameterError("give a song or --map, not both")
    if forget or change not in (None, UNTOUCHED):
        raise ParameterError("corrections belong to a song; correct the times in the map file")
    bar_map = read_map(load_json(map_path, what="a bar map"), name=str(map_path))
    check_targets(targets, force=force)
    return Source(bar_map, None)
