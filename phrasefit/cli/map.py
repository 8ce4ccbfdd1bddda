"""``phrasefit map SONG``: listen to a song and show its bar map."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from phrasefit.cli._corrections import CorrectionOptions
from phrasefit.cli._options import Force, NoCache, spread


def register(app: typer.Typer) -> None:
    """Add the command to `app`."""
    app.command("map", short_help="Beats, bars, sections and phrases of a song.")(spread(map_song))


def map_song(
    song: Annotated[Path, typer.Argument(help="The song: WAV, FLAC, OGG, MP3 or M4A.")],
    *,
    json_path: Annotated[
        str | None,
        typer.Option(
            "--json", metavar="PATH", help="Also write the map as JSON; - prints only it."
        ),
    ] = None,
    corrections: CorrectionOptions,
    hand_made: Annotated[
        bool, typer.Option("--hand-made", help="Listen without the learned model.")
    ] = False,
    anyway: Annotated[
        bool,
        typer.Option("--anyway", help="Make a map also of what is taken for speech or noise."),
    ] = False,
    no_cache: NoCache = False,
    force: Force = False,
) -> None:
    """Show a song's tempo, bars, sections and phrases, and every doubt about them.

    Corrections are kept and used by all later commands; --forget drops them. Speech,
    noise and the like get no map unless --anyway insists; later commands then use that map.

    Example: phrasefit map song.mp3 --shift-one +1
    """
    from functools import partial

    from phrasefit.cli._corrections import option_words
    from phrasefit.cli._edge import emit
    from phrasefit.cli._song import heard
    from phrasefit.corrections import UNTOUCHED
    from phrasefit.fit.grid import level_of
    from phrasefit.reports.correction_words import correction_words
    from phrasefit.reports.map_text import render
    from phrasefit.serial import dump_json, map_document

    analysis = heard(
        song,
        change=corrections.correction(),
        forget=corrections.forget,
        hand_made=hand_made,
        anyway=anyway,
        no_cache=no_cache,
        targets=(json_path,),
        force=force,
    )
    bar_map = analysis.bar_map
    per_count = level_of(bar_map)
    name_correction = partial(option_words, beats_per_count=per_count)
    document = map_document(bar_map, beats_per_count=per_count)
    for rival, reading in zip(bar_map.alternatives, document["alternatives"], strict=True):
        if option := name_correction(rival.correction):
            reading["option"] = option
    emit(dump_json(document), json_path, force=force)
    if json_path != "-":
        text = render(bar_map, beats_per_count=per_count, name_correction=name_correction)
        typer.echo(text, nl=False)
        if analysis.correction != UNTOUCHED:
            typer.echo(f"\ncorrected by hand: {correction_words(analysis.correction)}")
