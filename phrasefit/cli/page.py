"""``phrasefit page SONG ROUTINE``: a rehearsal page for browser or tablet, in one file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from phrasefit.cli._edge import tell
from phrasefit.cli._options import spread
from phrasefit.cli._pages import check_ending
from phrasefit.cli._plan import PlanCommand

if TYPE_CHECKING:
    from phrasefit.reports.page import Recording

MOST_EMBEDDED_BYTES = 60_000_000  # a browser on a tablet still opens a file of this size


def register(app: typer.Typer) -> None:
    """Add the command to `app`."""
    app.command("page", short_help="A rehearsal page for browser or tablet.")(spread(page))


def page(
    *,
    out: Annotated[
        Path | None,
        typer.Option("--out", help="An .html file (else named after song and routine)."),
    ] = None,
    embed: Annotated[
        bool, typer.Option("--embed", help="Put the song into the page; mind its license.")
    ] = False,
    command: PlanCommand,
) -> None:
    """Make a rehearsal page: count, wall, facing and cues in step with the song.

    It opens from disk in any browser, asks nothing of the network, plays your own song
    file or clicks, and takes corrections, which "phrasefit correct" then applies.

    Example: phrasefit page song.mp3 routine.toml --out page.html

    Example: phrasefit page --map map.json --counts 32 --walls 4
    """
    from phrasefit.files import write_atomic
    from phrasefit.hand_out import origin_of
    from phrasefit.reports.page import page as made

    target = check_ending(command.named(out, ".html"), (".html", ".htm"), "the page is")
    recording = recording_of(command.song, target) if embed else None
    planned = command.planned(target)
    text = made(planned.fit, planned.plan, origin=origin_of(planned), recording=recording)
    write_atomic(target, text, force=command.force)
    tell(f"wrote {target}")
    if embed:
        typer.echo(
            "the page carries the recording: keep it to yourself unless your license allows more"
        )


def recording_of(song: Path | None, target: Path) -> Recording:
    """Read the song file for the page to carry.

    Raises
    ------
    ParameterError
        If there is no song file, or a browser would not play or hold it.
    AudioError
        If it cannot be read.
    """
    from phrasefit.errors import AudioError, ParameterError
    from phrasefit.reports.page import MEDIA_TYPES, Recording

    if song is None:
        raise ParameterError("--embed needs the song file; give it in place of --map")
    kind = MEDIA_TYPES.get(song.suffix.lower())
    if kind is None:
        known = ", ".join(MEDIA_TYPES)
        raise ParameterError(f"{song}: --embed knows {known}; convert the song to one of them")
    try:
        content = song.read_bytes()
    except OSError as exc:
        raise AudioError(f"{song}: cannot be read ({exc.strerror}); give another file") from exc
    if len(content) > MOST_EMBEDDED_BYTES:
        raise ParameterError(
            f"{song}: {len(content) / 1e6:.0f} MB are too many for {target.name};"
            " leave --embed out and open the song in the page, or use an MP3"
        )
    return Recording(media_type=kind, content=content)
