"""The correction options that `map` and `fit` share, and how a correction is typed."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import typer

from phrasefit.cli._edge import parse_time
from phrasefit.cli._options import EMPTY
from phrasefit.errors import ParameterError

if TYPE_CHECKING:
    from phrasefit.model import Correction, OddBar, SectionName


@dataclass(frozen=True, slots=True, kw_only=True)
class CorrectionOptions:
    """What a person says about a song on the command line."""

    one_at: Annotated[
        list[str],
        typer.Option(
            "--one-at", metavar="TIME", help="A time that is a one: 12.35 (again: from there on)."
        ),
    ] = EMPTY
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
    odd_bar: Annotated[
        list[str],
        typer.Option("--odd-bar", metavar="TIME=BEATS", help="This bar has so many beats."),
    ] = EMPTY
    no_odd_bar: Annotated[
        list[str],
        typer.Option("--no-odd-bar", metavar="TIME", help="This bar has as many as all others."),
    ] = EMPTY
    section_at: Annotated[
        list[str],
        typer.Option("--section-at", metavar="TIME", help="A section starts here (again: +1)."),
    ] = EMPTY
    no_section_at: Annotated[
        list[str], typer.Option("--no-section-at", metavar="TIME", help="No section starts here.")
    ] = EMPTY
    name_section: Annotated[
        list[str],
        typer.Option(
            "--name-section",
            metavar="'TIME NAME'",
            help="What the section here is called: '0:23 chorus' (again: +1).",
        ),
    ] = EMPTY
    singing_at: Annotated[
        str | None,
        typer.Option("--singing-at", metavar="TIME", help="The singing begins here."),
    ] = None
    no_singing: Annotated[
        bool, typer.Option("--no-singing", help="Take back where the singing begins.")
    ] = False
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
        if self.singing_at is not None and self.no_singing:
            raise ParameterError("--singing-at and --no-singing contradict; give only one")
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
            ones_at_s=_times(self.one_at),
            shift_one_beats=self.shift_one,
            nudge_s=self.nudge / 1000.0,
            odd_bars=tuple(map(_odd_bar, self.odd_bar)),
            no_odd_bar_at_s=_times(self.no_odd_bar),
            sections_at_s=_times(self.section_at),
            no_section_at_s=_times(self.no_section_at),
            section_names=tuple(map(_section_name, self.name_section)),
            singing_at_s=None if self.singing_at is None else parse_time(self.singing_at),
            no_singing=self.no_singing,
        )


def _times(texts: Sequence[str]) -> tuple[float, ...]:
    return tuple(sorted({parse_time(text) for text in texts}))


def _odd_bar(text: str) -> OddBar:
    """Read ``1:02.4=2``: when the bar begins, and its beats."""
    from phrasefit.corrections.document import ODD_BAR_BEATS
    from phrasefit.model import OddBar

    at, _, beats = text.partition("=")
    low, high = ODD_BAR_BEATS
    if not beats.strip().isdecimal() or not low <= int(beats) <= high:
        raise ParameterError(
            f"--odd-bar {text}: give when the bar begins and its beats, {low} to {high},"
            " such as 1:02.4=2"
        )
    return OddBar(at_s=parse_time(at), beats=int(beats))


def _section_name(text: str) -> SectionName:
    """Read ``0:23 chorus``: a place in the section, and what it is called."""
    from phrasefit.model import SectionName

    at, _, name = text.strip().partition(" ")
    return SectionName(at_s=parse_time(at), name=name)


def option_words(correction: Correction, beats_per_count: float = 1.0) -> str:
    """Name what a user types for a correction; its level is told from the counts shown.

    Examples
    --------
    >>> from phrasefit.model import Correction
    >>> option_words(Correction(shift_one_beats=2))
    '--shift-one +2'
    """
    level = correction.level and {0.5: "--half", 2.0: "--double"}.get(
        correction.level * beats_per_count
    )
    words = [
        f"--nudge {correction.nudge_s * 1000:+g}" if correction.nudge_s else "",
        level or "",
        f"--meter {correction.meter}" if correction.meter else "",
        *(f"--one-at {time_s:.2f}" for time_s in correction.ones_at_s),
        f"--shift-one {correction.shift_one_beats:+d}" if correction.shift_one_beats else "",
        *(f"--odd-bar {bar.at_s:.2f}={bar.beats}" for bar in correction.odd_bars),
        *(f"--no-odd-bar {time_s:.2f}" for time_s in correction.no_odd_bar_at_s),
        *(f"--section-at {time_s:.2f}" for time_s in correction.sections_at_s),
        *(f"--no-section-at {time_s:.2f}" for time_s in correction.no_section_at_s),
        *(
            f"--name-section {shlex.quote(f'{name.at_s:.2f} {name.name}'.strip())}"
            for name in correction.section_names
        ),
        "" if correction.singing_at_s is None else f"--singing-at {correction.singing_at_s:.2f}",
        "--no-singing" if correction.no_singing else "",
    ]
    return " ".join(filter(None, words))
