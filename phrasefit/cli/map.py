"""``phrasefit map SONG``: listen to a song and show its bar map.

May import: everything, inside the command body.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from phrasefit.cli import _corrections as options


def register(app: typer.Typer) -> None:
    """Add the command to `app`."""
    app.command("map", short_help="Beats, bars, sections and phrases of a song.")(map_song)


def map_song(
    song: Annotated[Path, typer.Argument(help="The song: WAV, FLAC, OGG, MP3 or M4A.")],
    json_path: Annotated[
        str | None,
        typer.Option(
            "--json", metavar="PATH", help="Also write the map as JSON; - prints only it."
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
    hand_made: Annotated[
        bool, typer.Option("--hand-made", help="Listen without the learned model.")
    ] = False,
    no_cache: Annotated[
        bool, typer.Option("--no-cache", help="Listen afresh and keep nothing.")
    ] = False,
    force: Annotated[bool, typer.Option("--force", help="Replace an existing file.")] = False,
) -> None:
    """Show a song's tempo, bars, sections and phrases, and every doubt about them.

    Corrections are kept and used by all later commands; --forget drops them.

    Example: phrasefit map song.mp3 --shift-one +1
    """
    from phrasefit.cli._edge import emit
    from phrasefit.cli._song import beats_per_count, heard
    from phrasefit.reports.map_text import render
    from phrasefit.serial import dump_json, map_document

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
    analysis = heard(
        song,
        change=change,
        forget=forget,
        hand_made=hand_made,
        no_cache=no_cache,
        targets=(json_path,),
        force=force,
    )
    bar_map = analysis.bar_map
    per_count = beats_per_count(analysis)
    emit(dump_json(map_document(bar_map, beats_per_count=per_count)), json_path, force=force)
    if json_path != "-":
        typer.echo(render(bar_map, beats_per_count=per_count), nl=False)
