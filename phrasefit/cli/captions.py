"""``phrasefit captions SONG ROUTINE``: subtitles of counts and cues for a lesson video."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from phrasefit.cli._edge import tell
from phrasefit.cli._options import spread
from phrasefit.cli._plan import PlanCommand


def register(app: typer.Typer) -> None:
    """Add the command to `app`."""
    app.command("captions", short_help="Captions for a lesson video.")(spread(captions))


def captions(
    *,
    out: Annotated[
        Path | None,
        typer.Option("--out", help="A .vtt or .srt file (else named after song and routine)."),
    ] = None,
    offset: Annotated[
        float, typer.Option("--offset", metavar="S", help="Seconds at which the song begins.")
    ] = 0.0,
    command: PlanCommand,
) -> None:
    """Write captions of walls, steps, tags and restarts: WebVTT, or SRT by the file's ending.

    A video that carries a song needs licenses for the song; captions alone do not.

    Example: phrasefit captions song.mp3 routine.toml --out lesson.vtt --offset 12.5
    """
    from phrasefit.errors import ParameterError
    from phrasefit.files import write_atomic
    from phrasefit.hand_out import CAPTION_ENDINGS, captions_of

    target = command.named(out, ".vtt")
    if target.suffix.lower() not in CAPTION_ENDINGS:
        raise ParameterError(f"{target}: is neither .vtt nor .srt; end the name in one of them")
    made = captions_of(target.suffix, command.planned(target), offset_s=offset)
    write_atomic(target, made, force=command.force)
    tell(f"wrote {target}")
