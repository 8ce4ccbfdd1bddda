"""The correction options that `map` and `fit` share."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import typer

from phrasefit.cli._edge import parse_time
from phrasefit.errors import ParameterError

if TYPE_CHECKING:
    from phrasefit.model import Correction


@dataclass(frozen=True, slots=True, kw_only=True)
class CorrectionOptions:
    """What a person says about a song on the command line."""

    one_at: Annotated[
        str | None,
        typer.Option("--one-at", metavar="TIME", help="A time that is a one: 12.35 or 0:12.35."),
    ] = None
    shift_one: Annotated[
        int,
        typer.Option(
            "--shift-one",
            metavar="BEATS",
            min=-64,
            max=64,
            help="Move every one, later (+1) or earlier.",
        ),
    ] = 0
    half: Annotated[bool, typer.Option("--half", help="Count every other beat.")] = False
    double: Annotated[bool, typer.Option("--double", help="Count twice as many beats.")] = False
    meter: Annotated[
        int | None, typer.Option("--meter", metavar="BEATS", help="Beats in a bar: 2, 3, 4 or 6.")
    ] = None
    nudge: Annotated[
        float,
        typer.Option("--nudge", metavar="MS", help="Move all beats by milliseconds, later is +."),
    ] = 0.0
    section_at: Annotated[
        list[str],
        typer.Option("--section-at", metavar="TIME", help="A section starts here (again: +1)."),
    ] = ()
    no_section_at: Annotated[
        list[str], typer.Option("--no-section-at", metavar="TIME", help="No section starts here.")
    ] = ()
    forget: Annotated[
        bool, typer.Option("--forget", help="Drop all earlier corrections of the song.")
    ] = False

    def correction(self) -> Correction:
        """Make a `Correction` of it.

        Raises
        ------
        ParameterError
            If options exclude one another or a value is out of range.
        """
        from phrasefit.model import Correction

        if self.half and self.double:
            raise ParameterError("--half and --double undo one another; give only one")
        if self.meter not in (None, 2, 3, 4, 6):
            raise ParameterError(
                f"--meter {self.meter} is not known; give 2, 3, 4 or 6 beats a bar"
            )
        if abs(self.nudge) > 500:
            raise ParameterError(
                f"--nudge {self.nudge:g} is more than half a second; are these milliseconds?"
            )
        return Correction(
            level=0.5 if self.half else 2.0 if self.double else None,
            meter=self.meter,
            one_at_s=None if self.one_at is None else parse_time(self.one_at),
            shift_one_beats=self.shift_one,
            nudge_s=self.nudge / 1000.0,
            sections_at_s=tuple(parse_time(text) for text in self.section_at),
            no_section_at_s=tuple(parse_time(text) for text in self.no_section_at),
        )
