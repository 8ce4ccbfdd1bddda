"""``phrasefit playlist FOLDER ROUTINE...``: build the evening.

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

    from phrasefit.batch import Crew
    from phrasefit.fit.costs import Costs
    from phrasefit.fit.evening import Evening, Offer, Wishes
    from phrasefit.library import Library
    from phrasefit.model import Routine

OFFERS = 320  # pairs of song and routine the solver chooses from; more take minutes
LEAST_PER_ROUTINE = 12


class Paper(StrEnum):
    """The paper the floor list is printed on."""

    A4 = "a4"
    LETTER = "letter"


Words = list[str]


def register(app: typer.Typer) -> None:
    """Add the command to `app`."""
    app.command("playlist")(playlist)


def playlist(
    things: Annotated[
        list[Path] | None,
        typer.Argument(metavar="FOLDER... ROUTINE...", help="Folders or songs; routine files."),
    ] = None,
    known: many.Known = False,
    minutes: Annotated[float, typer.Option("--minutes", help="Length of the evening.")] = 60.0,
    pause: Annotated[float, typer.Option("--pause", help="Seconds between dances.")] = 30.0,
    curve: Annotated[
        str, typer.Option("--curve", metavar="TEMPOS", help="Counts a minute over the evening.")
    ] = "",
    fast: Annotated[
        float, typer.Option("--fast", help="A dance is fast from so many counts a minute.")
    ] = 120.0,
    fast_in_a_row: Annotated[
        bool, typer.Option("--fast-in-a-row", help="Allow fast dances one after the other.")
    ] = False,
    alternate: Annotated[
        bool, typer.Option("--alternate", help="Fast and slow by turns, without exception.")
    ] = False,
    beginner_every: Annotated[
        int, typer.Option("--beginner-every", help="A beginner dance among so many; 0 = any.")
    ] = 3,
    beginner_share: Annotated[
        float, typer.Option("--beginner-share", help="Share of beginner dances, 0 to 1.")
    ] = 0.0,
    teach: Annotated[
        Words, typer.Option("--teach", metavar="ROUTINE", help="A routine taught that evening.")
    ] = [],  # noqa: B006 - typer copies it
    teach_minutes: Annotated[
        float, typer.Option("--teach-minutes", help="Minutes of teaching for each of them.")
    ] = 15.0,
    artist_gap: Annotated[
        int, typer.Option("--artist-gap", help="Dances between two songs of one artist.")
    ] = 2,
    rhythm_gap: Annotated[
        int, typer.Option("--rhythm-gap", help="Dances between two of one rhythm.")
    ] = 0,
    must: Annotated[
        Words, typer.Option("--must", metavar="WORD", help="Title, artist or routine to have.")
    ] = [],  # noqa: B006
    never: Annotated[
        Words, typer.Option("--never", metavar="WORD", help="Title, artist or routine to leave.")
    ] = [],  # noqa: B006
    at: Annotated[
        Words, typer.Option("--at", metavar="PLACE=WORD", help="Put it at this place: 3=waltz.")
    ] = [],  # noqa: B006
    repeats: Annotated[
        int, typer.Option("--repeats", help="How often a routine may be danced.")
    ] = 1,
    min_score: Annotated[
        float, typer.Option("--min-score", help="Leave out pairs that fit worse.")
    ] = 50.0,
    max_changes: many.MaxChanges = 2,
    seed: Annotated[int, typer.Option("--seed", help="Another number, another evening.")] = 0,
    title: Annotated[str, typer.Option("--title", help="Name of the evening.")] = "Floor list",
    xspf_path: Annotated[
        Path | None, typer.Option("--xspf", metavar="PATH", help="Write an XSPF playlist.")
    ] = None,
    m3u8_path: Annotated[
        Path | None, typer.Option("--m3u8", metavar="PATH", help="Write an M3U8 playlist.")
    ] = None,
    csv_path: Annotated[
        str | None, typer.Option("--csv", metavar="PATH", help="Write a table.")
    ] = None,
    floor_path: Annotated[
        Path | None, typer.Option("--floor", metavar="PATH", help="Print the floor list: PDF, PNG.")
    ] = None,
    paper: Annotated[Paper, typer.Option("--paper", help="Of the floor list.")] = Paper.A4,
    json_path: Annotated[
        str | None, typer.Option("--json", metavar="PATH", help="Also as JSON; - prints only it.")
    ] = None,
    costs_path: many.CostsFile = None,
    jobs: many.Jobs = 0,
    backend: many.Backend = "loky",
    scheduler: many.Scheduler = "",
    force: options.Force = False,
) -> None:
    """Choose songs and routines for an evening and put them in order.

    No song twice; no two fast dances in a row and a beginner dance every third unless
    you say otherwise. The same seed gives the same evening again.

    Example: phrasefit playlist music/ routines/*.toml --minutes 60 --floor evening.pdf
    """
    from phrasefit.cli._song import check_targets
    from phrasefit.fit.evening import Wishes
    from phrasefit.fit.playlist import build_evening

    wishes = Wishes(
        minutes=minutes,
        pause_s=pause,
        curve=_tempos(curve),
        fast_cpm=fast,
        fast_in_a_row=fast_in_a_row,
        alternate=alternate,
        beginner_every=beginner_every,
        beginner_share=beginner_share,
        teach=tuple(teach),
        teach_minutes=teach_minutes,
        artist_gap=artist_gap,
        rhythm_gap=rhythm_gap,
        must=tuple(must),
        never=tuple(never),
        fixed=tuple(_fixed(text) for text in at),
        repeats=repeats,
        min_score=min_score,
        seed=seed,
    )
    places, files = many.split_places(things or [])
    routines = _routines(files)
    costs, crew = many.costs_of(costs_path), many.crew_of(jobs, backend, scheduler)
    targets = (xspf_path, m3u8_path, csv_path, floor_path, json_path)
    check_targets(targets, force=force)
    _check_floor(floor_path)
    with many.open_store() as store:
        library, report = many.gather(places, store, crew, known=known)
        offers = _offers(library, routines, wishes, max_changes, costs, crew)
        evening = build_evening(offers, wishes)
        paths = many.file_of(library, report, store)
    _write(evening, paths, targets, title=title, paper=paper, force=force)
    many.finish(report)


def _tempos(text: str) -> tuple[float, ...]:
    from phrasefit.errors import ParameterError

    try:
        return tuple(float(part) for part in text.split(",") if part.strip())
    except ValueError as exc:
        raise ParameterError(f"curve={text!r} is no list of tempos; write 95,120,110") from exc


def _fixed(text: str) -> tuple[int, str]:
    from phrasefit.errors import ParameterError

    place, _, word = text.partition("=")
    if not place.strip().isdigit() or not word.strip():
        raise ParameterError(f"at={text!r} is no place; write --at 3=waltz")
    return int(place), word.strip()


def _routines(files: Sequence[Path]) -> list[Routine]:
    from phrasefit.errors import ParameterError

    routines = many.read_routines(files)
    if not routines:
        raise ParameterError("no routine given; name the routine files (TOML) of the evening")
    return routines


def _check_floor(path: Path | None) -> None:
    from phrasefit.errors import ParameterError

    if path is not None and path.suffix.lower() not in (".pdf", ".png"):
        raise ParameterError(f"{path}: the floor list is printed as .pdf or .png; name it so")


def _offers(
    library: Library,
    routines: Sequence[Routine],
    wishes: Wishes,
    max_changes: int,
    costs: Costs,
    crew: Crew,
) -> list[Offer]:
    """Plan the best songs for each routine, and those that were asked for by name."""
    from phrasefit.fit.evening import Offer
    from phrasefit.fit.rank import Wanted, rank_shelf

    top = max(LEAST_PER_ROUTINE, OFFERS // len(routines))
    asked = [word for _, word in wishes.fixed] + [*wishes.must]
    offers: dict[tuple[str, str], Offer] = {}
    for routine in routines:
        plan = library.planner(routine, max_changes, costs, crew=crew)
        for words in ((), *((word,) for word in asked)):
            ranking = rank_shelf(
                library.shelf,
                routine,
                plan,
                top=top,
                wanted=Wanted(words=words),
                max_changes=max_changes,
                costs=costs,
                n_threads=crew.n_workers,
            )
            for song in ranking.songs:
                if abs(song.fit.tempo.change_percent) <= Wanted().max_change_percent:
                    offers[song.key, routine.name] = Offer(key=song.key, fit=song.fit)
    return list(offers.values())


def _write(
    evening: Evening,
    paths: dict[str, str],
    targets: tuple[Path | None, Path | None, str | None, Path | None, str | None],
    *,
    title: str,
    paper: Paper,
    force: bool,
) -> None:
    """Write every file asked for, and the evening on the terminal."""
    from phrasefit.cli._edge import emit
    from phrasefit.cli.sheet import save
    from phrasefit.files import write_atomic
    from phrasefit.reports import playlists
    from phrasefit.reports.floor_list import floor_list
    from phrasefit.serial import dump_json

    xspf_path, m3u8_path, csv_path, floor_path, json_path = targets
    if xspf_path:
        text = playlists.xspf(evening, paths, folder=xspf_path.absolute().parent, title=title)
        write_atomic(xspf_path, text, force=force)
    if m3u8_path:
        text = playlists.m3u8(evening, paths, folder=m3u8_path.absolute().parent)
        write_atomic(m3u8_path, text, force=force)
    if floor_path:
        save(floor_list(evening, title=title, paper=paper.value), floor_path, force=force)
    emit(playlists.evening_csv(evening, paths), csv_path, force=force)
    emit(dump_json(playlists.evening_document(evening, paths)), json_path, force=force)
    if "-" not in (csv_path, json_path):
        typer.echo(playlists.render_evening(evening), nl=False)
