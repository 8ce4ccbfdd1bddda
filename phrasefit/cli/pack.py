"""``phrasefit pack SONG ROUTINE``: everything for a class in one folder.

May import: everything, inside the command body.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from phrasefit.cli import _plan as options
from phrasefit.cli.sheet import Paper


def register(app: typer.Typer) -> None:
    """Add the command to `app`."""
    app.command("pack", short_help="Everything for a class in one folder.")(pack)


def pack(
    song: options.Song = None,
    routine: options.RoutineFile = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="The folder to make (else named after the song).")
    ] = None,
    paper: Annotated[Paper, typer.Option("--paper", help="a4 or letter.")] = Paper.A4,
    counts: options.Counts = None,
    walls: options.Walls = None,
    waltz: options.Waltz = False,
    map_path: options.MapFile = None,
    start_at: options.StartAt = None,
    changes: options.Changes = None,
    no_cache: options.NoCache = False,
    force: options.Force = False,
) -> None:
    """Put everything for a class into one folder.

    Sheets, rehearsal page, practice audio, captions, exchange files, and an index
    page that lists them.

    Example: phrasefit pack song.mp3 routine.toml --out tuesday
    """
    from phrasefit.cli._edge import Progress
    from phrasefit.cli._song import heard
    from phrasefit.cli.page import origin_of
    from phrasefit.reports.pack import check_folder, write_pack

    source = song or map_path
    target = out or Path(f"{source.stem if source else 'song'}-pack")
    check_folder(target, force=force)
    fit = options.planned(
        song,
        routine,
        counts=counts,
        walls=walls,
        waltz=waltz,
        map_path=map_path,
        start_at=start_at,
        no_cache=no_cache,
    )
    progress = Progress("writing")
    try:
        plan = options.chosen(fit, changes)
        # What nobody keeps cannot be corrected: without the cache the page only plays.
        kept = None if no_cache or map_path or song is None else heard(song)
        write_pack(
            target,
            fit,
            plan,
            paper=paper.value,
            force=force,
            origin=origin_of(kept, fit) if kept else None,
            progress=progress,
        )
    finally:
        progress.close()
    typer.echo(f"wrote {target}; open {target / 'index.html'}")
