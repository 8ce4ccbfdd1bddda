"""The correction options that `map` and `fit` share.

May import: errors, model, typer, cli._edge.
"""

from __future__ import annotations

from typing import Annotated

import typer

from phrasefit.cli._edge import parse_time
from phrasefit.errors import ParameterError

OneAt = Annotated[
    str | None,
    typer.Option("--one-at", metavar="TIME", help="A time that is a one: 12.35 or 0:12.35."),
]
ShiftOne = Annotated[
    int, typer.Option("--shift-one", metavar="BEATS", help="Move every one, later (+1) or earlier.")
]
Half = Annotated[bool, typer.Option("--half", help="Count every other beat.")]
Double = Annotated[bool, typer.Option("--double", help="Count twice as many beats.")]
Meter = Annotated[
    int | None, typer.Option("--meter", metavar="BEATS", help="Beats in a bar: 2, 3, 4 or 6.")
]
Nudge = Annotated[
    float, typer.Option("--nudge", metavar="MS", help="Move all beats by milliseconds, later is +.")
]
SectionAt = Annotated[
    list[str],
    typer.Option("--section-at", metavar="TIME", help="A section starts here (again: +1)."),
]
NoSectionAt = Annotated[
    list[str], typer.Option("--no-section-at", metavar="TIME", help="No section starts here.")
]
Forget = Annotated[bool, typer.Option("--forget", help="Drop all earlier corrections of the song.")]


def correction_from(
    *,
    one_at: str | None,
    shift_one: int,
    half: bool,
    double: bool,
    meter: int | None,
    nudge: float,
    section_at: list[str],
    no_section_at: list[str],
):
    """Make a `Correction` of the options given on the command line.

    Raises
    ------
    ParameterError
        If options exclude one another or a value is out of range.
    """
    from phrasefit.model import Correction

    if half and double:
        raise ParameterError("--half and --double undo one another; give only one")
    if meter is not None and meter not in (2, 3, 4, 6):
        raise ParameterError(f"--meter {meter} is not known; give 2, 3, 4 or 6 beats a bar")
    if abs(nudge) > 500:
        raise ParameterError(
            f"--nudge {nudge:g} is more than half a second; are these milliseconds?"
        )
    return Correction(
        level=0.5 if half else 2.0 if double else None,
        meter=meter,
        one_at_s=None if one_at is None else parse_time(one_at),
        shift_one_beats=shift_one,
        nudge_s=nudge / 1000.0,
        sections_at_s=tuple(parse_time(text) for text in section_at),
        no_section_at_s=tuple(parse_time(text) for text in no_section_at),
    )
