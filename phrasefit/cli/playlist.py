"""``phrasefit playlist FOLDER ROUTINE...``: build the evening."""

from __future__ import annotations

from dataclasses import dataclass, fields
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from phrasefit.cli import _many as many
from phrasefit.cli import _options as options
from phrasefit.cli._plan import PlanLimits

if TYPE_CHECKING:
    from collections.abc import Sequence

    from phrasefit.cli._plan import Targets
    from phrasefit.evening.evening import Evening, EveningRequest
    from phrasefit.model import Routine

Words = list[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class EveningOptions:
    """What the evening should be like, as it is said on the command line.

    The fields are those of `phrasefit.evening.evening.EveningRequest`.
    """

    minutes: Annotated[float, typer.Option("--minutes", help="Length of the evening.")] = 60.0
    pause_s: Annotated[float, typer.Option("--pause", help="Seconds between dances.")] = 30.0
    curve: Annotated[
        str, typer.Option("--curve", metavar="TEMPOS", help="Counts a minute over the evening.")
    ] = ""
    fast_cpm: Annotated[
        float, typer.Option("--fast", help="A dance is fast from so many counts a minute.")
    ] = 120.0
    fast_in_a_row: Annotated[
        bool, typer.Option("--fast-in-a-row", help="Allow fast dances one after the other.")
    ] = False
    alternate: Annotated[
        bool, typer.Option("--alternate", help="Fast and slow by turns, without exception.")
    ] = False
    beginner_every: Annotated[
        int, typer.Option("--beginner-every", help="A beginner dance among so many; 0 = any.")
    ] = 3
    beginner_share: Annotated[
        float, typer.Option("--beginner-share", help="Share of beginner dances, 0 to 1.")
    ] = 0.0
    teach: Annotated[
        Words,
        typer.Option(
            "--teach", metavar="ROUTINE", help="A routine taught that evening: a word of its name."
        ),
    ] = options.EMPTY
    teach_minutes: Annotated[
        float, typer.Option("--teach-minutes", help="Minutes of teaching for each of them.")
    ] = 15.0
    artist_gap: Annotated[
        int, typer.Option("--artist-gap", help="Dances between two songs of one artist.")
    ] = 2
    rhythm_gap: Annotated[
        int, typer.Option("--rhythm-gap", help="Dances between two of one rhythm.")
    ] = 0
    must: Annotated[
        Words, typer.Option("--must", metavar="WORD", help="Title, artist or routine to have.")
    ] = options.EMPTY
    never: Annotated[
        Words, typer.Option("--never", metavar="WORD", help="Title, artist or routine to leave.")
    ] = options.EMPTY
    fixed: Annotated[
        Words, typer.Option("--at", metavar="PLACE=WORD", help="Put it at this place: 3=waltz.")
    ] = options.EMPTY
    repeats: Annotated[
        int, typer.Option("--repeats", help="How often a routine may be danced.")
    ] = 1
    repeat_gap: Annotated[
        int, typer.Option("--repeat-gap", help="Dances between two of one routine.")
    ] = 4
    instead: Annotated[
        list[int],
        typer.Option(
            "--instead", metavar="PLACE", help="Not this dance: the next best at this place."
        ),
    ] = options.EMPTY
    min_length_s: Annotated[
        str, typer.Option("--min-length", metavar="TIME", help="Leave out shorter songs.")
    ] = "2:00"
    min_score: Annotated[
        float, typer.Option("--min-score", help="Leave out pairs that fit worse.")
    ] = 50.0
    seed: Annotated[int, typer.Option("--seed", help="Another number, another evening.")] = 0

    def request(self) -> EveningRequest:
        """Read the texts among them."""
        from phrasefit.cli._edge import parse_time
        from phrasefit.evening.evening import EveningRequest

        given = {field.name: getattr(self, field.name) for field in fields(self)}
        read = {
            "curve": _tempos(self.curve),
            "fixed": tuple(map(_fixed, self.fixed)),
            "instead": tuple(self.instead),
            "min_length_s": parse_time(self.min_length_s),
        }
        return EveningRequest(**given | read)


@dataclass(frozen=True, kw_only=True)
class FewChanges(PlanLimits):
    """Plans for an evening: not much can be remembered."""

    max_changes: options.MaxChanges = 2  # as `phrasefit.evening.evening.MAX_CHANGES`


@dataclass(frozen=True, slots=True, kw_only=True)
class Outputs:
    """The files that are written."""

    title: Annotated[str, typer.Option("--title", help="Name of the evening.")] = "Floor list"
    starts_at: Annotated[
        str | None,
        typer.Option(
            "--starts-at", metavar="HH:MM", help="Time of day it begins, for the floor list."
        ),
    ] = None
    xspf_path: Annotated[
        Path | None, typer.Option("--xspf", metavar="PATH", help="Write an XSPF playlist.")
    ] = None
    m3u8_path: Annotated[
        Path | None, typer.Option("--m3u8", metavar="PATH", help="Write an M3U8 playlist.")
    ] = None
    csv_path: Annotated[
        str | None, typer.Option("--csv", metavar="PATH", help="Write a table.")
    ] = None
    floor_path: Annotated[
        Path | None, typer.Option("--floor", metavar="PATH", help="Print the floor list: PDF, PNG.")
    ] = None
    paper: Annotated[options.Paper, typer.Option("--paper", help="Of the floor list.")] = (
        options.Paper.A4
    )
    json_path: options.Json = None

    @property
    def starts_at_s(self) -> float | None:
        """When it begins, in seconds after midnight.

        Raises
        ------
        ParameterError
            If that is no time of day.
        """
        from phrasefit.clock import seconds_of_day
        from phrasefit.errors import ParameterError

        if self.starts_at is None:
            return None
        seconds = seconds_of_day(self.starts_at)
        if seconds is None:
            raise ParameterError(
                f"starts-at={self.starts_at!r} is no time of day; write it as in --starts-at 19:30"
            )
        return seconds

    @property
    def targets(self) -> Targets:
        """All files that are asked for."""
        return (
            *(self.xspf_path, self.m3u8_path, self.csv_path),
            *(self.floor_path, self.json_path),
        )

    def check_endings(self) -> None:
        """Refuse before the long work what could not be written after it."""
        from phrasefit.errors import ParameterError

        _ = self.starts_at_s  # says so if it is no time of day
        if self.floor_path and self.floor_path.suffix.lower() not in (".pdf", ".png"):
            raise ParameterError(
                f"{self.floor_path}: the floor list is printed as .pdf or .png; name it so"
            )


def register(app: typer.Typer) -> None:
    """Add the command to `app`."""
    app.command("playlist")(options.spread(playlist))


def playlist(
    things: options.Places = None,
    *,
    known: options.Known = False,
    evening: EveningOptions,
    limits: FewChanges,
    outputs: Outputs,
    work: many.Work,
) -> None:
    """Choose songs and routines for an evening and put them in order.

    No song twice; no two fast dances in a row and a beginner dance every third unless
    you say otherwise. The same seed gives the same evening again: keep a dance with
    --at, ask for another with --instead.

    Example: phrasefit playlist music/ routines/*.toml --minutes 60 --floor evening.pdf

    Example: phrasefit playlist music/ routines/*.toml --at 1=waltz --instead 4
    """
    from phrasefit.evening.build import build_evening

    wanted = evening.request()
    places, files = many.split_places(things or [])
    requests = [limits.request(routine) for routine in _routines(files)]
    workers = work.workers()
    outputs.check_endings()
    with many.open_store() as store:
        library, report = many.gather(
            places, store, workers,
            known=known, targets=outputs.targets, force=work.force,
        )  # fmt: skip
        if report.n_left:  # stopped: an evening of some of the songs is no use
            many.finish(report)
        pairings = library.pairings(requests, wanted, workers)
        found = build_evening(pairings, wanted)
        paths = many.file_of(library, report)
    _write(found, paths, outputs, force=work.force)
    many.finish(report)


def _tempos(text: str) -> tuple[float, ...]:
    from phrasefit.errors import ParameterError

    try:
        return tuple(float(part) for part in text.split(",") if part.strip())
    except ValueError as exc:
        raise ParameterError(f"curve={text!r} is no list of tempos; write 95,120,110") from exc


def _fixed(text: str) -> tuple[int, str]:
    from phrasefit.errors import ParameterError
    from phrasefit.evening.evening import place_and_word

    fixed = place_and_word(text)
    if fixed is None:
        raise ParameterError(f"at={text!r} is no place; write --at 3=waltz")
    return fixed


def _routines(files: Sequence[Path]) -> list[Routine]:
    from phrasefit.errors import ParameterError

    routines = many.read_routines(files)
    if not routines:
        raise ParameterError("no routine given; name the routine files (TOML) of the evening")
    return routines


def _write(evening: Evening, paths: dict[str, str], outputs: Outputs, *, force: bool) -> None:
    """Write every file asked for, and the evening on the terminal."""
    from phrasefit.cli._edge import emit
    from phrasefit.cli._pages import save
    from phrasefit.files import write_atomic
    from phrasefit.reports import playlists
    from phrasefit.reports.floor_list import floor_list
    from phrasefit.serial import dump_json

    if path := outputs.xspf_path:
        text = playlists.xspf(evening, paths, folder=path.absolute().parent, title=outputs.title)
        write_atomic(path, text, force=force)
    if path := outputs.m3u8_path:
        text = playlists.m3u8(evening, paths, folder=path.absolute().parent)
        write_atomic(path, text, force=force)
    if path := outputs.floor_path:
        document = floor_list(
            evening,
            title=outputs.title,
            paper=outputs.paper.value,
            starts_at_s=outputs.starts_at_s,
        )
        save(document, path, force=force)
    emit(playlists.evening_csv(evening, paths), outputs.csv_path, force=force)
    emit(dump_json(playlists.evening_document(evening, paths)), outputs.json_path, force=force)
    if "-" not in (outputs.csv_path, outputs.json_path):
        typer.echo(playlists.render_evening(evening), nl=False)
