"""``phrasefit correct SONG``: correct by options, or take over what was corrected in a page.

A page's file (`phrasefit.corrections.document`) is applied only to the song and the map that
were looked at: once, and to nothing else.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from phrasefit.cli._corrections import CorrectionOptions
from phrasefit.cli._edge import tell
from phrasefit.cli._options import spread
from phrasefit.errors import ParameterError

if TYPE_CHECKING:
    from phrasefit.model import Correction
    from phrasefit.pipeline import Analysis


def register(app: typer.Typer) -> None:
    """Add the command to `app`."""
    app.command("correct", short_help="Corrections of a song: made, listed or dropped.")(
        spread(correct)
    )


def correct(
    song: Annotated[Path, typer.Argument(help="The song to correct.")],
    file: Annotated[
        Path | None, typer.Argument(help="The corrections saved from its page (JSON).")
    ] = None,
    *,
    corrections: CorrectionOptions,
) -> None:
    """Correct a song by options or by a file from its page, list what is kept, or drop it.

    Corrections are used by all later commands; then make the page again.

    Example: phrasefit correct song.mp3 song-correction.json

    Example: phrasefit correct song.mp3 --name-section '0:23 chorus' --singing-at 0:15

    Example: phrasefit correct song.mp3 --forget
    """
    from phrasefit.cli._song import heard
    from phrasefit.corrections import UNTOUCHED
    from phrasefit.reports.correction_words import correction_words

    change = corrections.correction()
    if file is not None and (corrections.forget or change != UNTOUCHED):
        raise ParameterError("give a correction file or options such as --forget, not both")
    if file is not None:
        _apply_file(song, file)
    elif change != UNTOUCHED:
        _show(heard(song, change=change, forget=corrections.forget), change)
    elif corrections.forget:
        heard(song, forget=True)
        tell(f"{song}: no corrections are kept any more")
    else:
        kept = heard(song).correction
        words = correction_words(kept) if kept != UNTOUCHED else "no corrections are kept"
        tell(f"{song}: {words}")


def _apply_file(song: Path, file: Path) -> None:
    from phrasefit.cli._song import heard
    from phrasefit.corrections.document import read_saved
    from phrasefit.hand_out import check_belongs

    saved = read_saved(file)
    check_belongs(saved, heard(song), song=str(song), file=str(file), drop="--forget")
    _show(heard(song, change=saved.change, level_of_beats=True), saved.change)
    typer.echo("\nthe page still counts as before: make it again with phrasefit page")


def _show(analysis: Analysis, change: Correction) -> None:
    """Show what was corrected, and the map that it leads to."""
    from phrasefit.fit.grid import level_of
    from phrasefit.reports.correction_words import correction_words
    from phrasefit.reports.map_text import render

    typer.echo(f"corrected: {correction_words(change)}\n")
    typer.echo(render(analysis.bar_map, beats_per_count=level_of(analysis.bar_map)), nl=False)
