"""``phrasefit practice SONG ROUTINE``: audio without the song, to practise and film to."""

from __future__ import annotations

from enum import StrEnum
from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from phrasefit.cli._edge import tell
from phrasefit.cli._options import spread
from phrasefit.cli._plan import PlanCommand

LONG_S = 900.0  # longer practice audio is told beforehand, with its size
WAV_BYTES_S = 88_200


class Saying(StrEnum):
    """What is spoken."""

    CUES = "cues"
    NUMBERS = "numbers"
    BOTH = "both"
    NOTHING = "nothing"


def register(app: typer.Typer) -> None:
    """Add the command to `app`."""
    app.command("practice", short_help="Clicks and cues without the song.")(spread(practice))


def practice(
    *,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", help="A .wav, .flac, .ogg or .mp3 file (else named after song and routine)."
        ),
    ] = None,
    percent: Annotated[
        str, typer.Option("--percent", metavar="P,P", help="Of the song's tempo: 75,85,100.")
    ] = "100",
    tempo: Annotated[
        float | None, typer.Option("--tempo", help="Steady counts a minute instead.")
    ] = None,
    with_intro: Annotated[
        bool, typer.Option("--with-intro", help="Keep the song's intro: runs beside the song.")
    ] = False,
    say: Annotated[
        Saying, typer.Option("--say", help="cues, numbers, both or nothing.")
    ] = Saying.CUES,
    numbers_on_count: Annotated[
        bool, typer.Option("--numbers-on-count", help="Say numbers on their counts, not before.")
    ] = False,
    groove: Annotated[
        bool, typer.Option("--groove", help="Add a quiet backing of drums and bass.")
    ] = False,
    command: PlanCommand,
) -> None:
    """Make practice audio: clicks, spoken cues, no music of the song.

    Start quietly with headphones: clicks are sharper than music.

    Example: phrasefit practice song.mp3 routine.toml --percent 75,85,100

    Example: phrasefit practice --map map.json --counts 32 --tempo 96 --groove
    """
    from phrasefit.clock import clock_time
    from phrasefit.files import write_atomic
    from phrasefit.reports.practice import (
        PracticeRequest,
        encode,
        known_format,
        length_s,
        unsaid_note,
    )
    from phrasefit.reports.practice import practice as made

    target = command.named(out, "-practice.wav")
    known_format(target.suffix)
    wanted = [
        PracticeRequest(
            percent=share,
            tempo=tempo,
            intro=with_intro,
            saying=say.value,
            numbers_on_count=numbers_on_count,
            with_groove=groove,
        )
        for share in percents(percent, steady=tempo is not None)
    ]
    targets = [
        target if len(wanted) == 1 else target.with_stem(f"{target.stem}-{wish.percent:g}")
        for wish in wanted
    ]
    planned = command.planned(*targets)
    for path, wish in zip(targets, wanted, strict=True):
        if (seconds := length_s(planned.fit, planned.plan, wish)) > LONG_S:
            size = f"{seconds * WAV_BYTES_S / 1e6:.0f} MB as WAV"
            tell(f"{path} will last {clock_time(seconds, decimals=0)} ({size})", err=True)
        audio = made(planned.fit, planned.plan, wish)
        write_atomic(path, partial(encode, audio, path.suffix), force=command.force)
        tell(f"wrote {path}")
    calls = say in (Saying.CUES, Saying.BOTH)
    if calls and (note := unsaid_note(planned.fit.routine)):
        tell(f"phrasefit: {note}", err=True)


def percents(text: str, *, steady: bool) -> list[float]:
    """Read ``75,85,100``.

    Raises
    ------
    ParameterError
        If it is no list of numbers, or several tempos are asked for a steady file.
    """
    from phrasefit.errors import ParameterError, shown

    try:
        shares = [float(part) for part in text.replace("%", "").split(",")]
    except ValueError as exc:
        raise ParameterError(
            f"--percent {shown(text)} is no list of numbers; write 75,85,100"
        ) from exc
    if len(set(shares)) < len(shares):
        raise ParameterError(f"--percent {shown(text)} names one tempo twice; leave one out")
    if steady and shares != [100.0]:
        raise ParameterError("give --percent or --tempo, not both")
    return shares
