"""``phrasefit captions SONG ROUTINE``: subtitles of counts and cues for a lesson video.

May import: everything, inside the command body.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from phrasefit.cli import _plan as options


def register(app: typer.Typer) -> None:
    """Add the command to `app`."""
    app.command("captions", short_help="Captions for a lesson video.")(captions)


def captions(
    song: options.Song = None,
    routine: options.RoutineFile = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="A .vtt or .srt file (else named after the song).")
    ] = None,
    offset: Annotated[
        float, typer.Option("--offset", metavar="S", help="Seconds at which the song begins.")
    ] = 0.0,
    counts: options.Counts = None,
    walls: options.Walls = None,
    waltz: options.Waltz = False,
    map_path: options.MapFile = None,
    start_at: options.StartAt = None,
    changes: options.Changes = None,
    no_cache: options.NoCache = False,
    force: options.Force = False,
) -> None:
    """Write captions of walls, steps, tags and restarts: WebVTT, or SRT by the file's ending.

    A video that carries a song needs licenses for the song; captions alone do not.

    Example: phrasefit captions song.mp3 routine.toml --out lesson.vtt --offset 12.5
    """
    from phrasefit.errors import ParameterError
    from phrasefit.files import write_atomic
    from phrasefit.reports import captions as made

    source = song or map_path
    target = out or Path(f"{source.stem if source else 'song'}.vtt")
    writers = {".vtt": made.webvtt, ".srt": made.srt}
    if target.suffix.lower() not in writers:
        raise ParameterError(f"{target}: is neither .vtt nor .srt; end the name in one of them")
    fit = options.planned(
        song,
        routine,
        counts=counts,
        walls=walls,
        waltz=waltz,
        map_path=map_path,
        start_at=start_at,
        targets=(target,),
        force=force,
        no_cache=no_cache,
    )
    items = made.captions(fit, options.chosen(fit, changes), offset_s=offset)
    write_atomic(target, writers[target.suffix.lower()](items), force=force)
    typer.echo(f"wrote {target}")
