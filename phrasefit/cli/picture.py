"""``phrasefit picture SONG [ROUTINE]``: what was heard, to look at."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from phrasefit.cli._edge import tell
from phrasefit.cli._options import Paper, PaperSize, spread
from phrasefit.cli._pages import check_ending, save
from phrasefit.cli._plan import PlanCommand

if TYPE_CHECKING:
    from phrasefit.reports.song_view import SongView


class Kind(StrEnum):
    """Which pages are drawn."""

    ALL = "all"
    COUNTS = "counts"
    SOUND = "sound"


def register(app: typer.Typer) -> None:
    """Add the command to `app`."""
    app.command("picture", short_help="What was heard, to look at: PDF, PNG or SVG.")(
        spread(picture)
    )


def picture(
    *,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", help="A .pdf, .png or .svg file (else named after song and routine)."
        ),
    ] = None,
    kind: Annotated[
        Kind,
        typer.Option(
            "--kind",
            help="counts: the song in lines of counts; sound: tempogram and chromagram; all: both.",
        ),
    ] = Kind.ALL,
    paper: PaperSize = Paper.A4,
    command: PlanCommand,
) -> None:
    """Draw the song as it was heard: counts, ones, phrases, sections, doubts, and the plan.

    A second page shows the sound itself, for the curious; it needs the song, not only its
    map.  A PDF holds all pages; PNG and SVG are one file a page (song.png, song-2.png).

    Example: phrasefit picture song.mp3 routine.toml

    Example: phrasefit picture song.mp3 --kind counts --out song.png
    """
    from phrasefit.errors import ParameterError
    from phrasefit.reports.paper import Document
    from phrasefit.reports.song_picture import add_count_pages, number_pages

    target = check_ending(command.named(out, ".pdf"), (".pdf", ".png", ".svg"))
    if kind is Kind.SOUND and command.song is None:
        raise ParameterError("--kind sound needs the song file; give it in place of --map")
    view = view_of(command, target)
    document = Document(paper=paper.value, title=view.bar_map.title or target.stem)
    if kind is not Kind.SOUND:
        add_count_pages(document, view)
    if kind is not Kind.COUNTS and command.song is not None:
        from phrasefit.audio.decode import decode
        from phrasefit.reports.spectra import add_spectra_page, spectra_of

        add_spectra_page(document, spectra_of(decode(command.song)), view)
    number_pages(document)
    for path in save(document, target, force=command.force):
        tell(f"wrote {path}")


def view_of(command: PlanCommand, target: Path) -> SongView:
    """Listen to the song or read its map; lay the routine over it if there is one."""
    from phrasefit.fit.grid import count_grid
    from phrasefit.pipeline import loudness_of_counts
    from phrasefit.reports.song_view import SongView

    fit = plan = None
    if command.has_routine:
        fit, plan, analysis = command.planned(target)
        bar_map, grid = fit.bar_map, fit.grid
    else:
        source = command.source(target)
        bar_map, analysis = source
        grid = count_grid(bar_map)
    loudness_db = loudness_of_counts(analysis, grid.times_s) if analysis else None
    return SongView(bar_map=bar_map, grid=grid, loudness_db=loudness_db, fit=fit, plan=plan)
