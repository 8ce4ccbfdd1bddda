"""Step lines to steps: ``counts | step | feet | turn``.

Counts are numbered through the whole part (``9-10``) or begin again at 1 with every
section of 8 (waltz: 6); the part is read as *by section* if no number in it is
larger than a section.  Blank lines and ``# remarks`` are skipped; a ``-- heading`` is kept
with the step below it;
``facing 3:00`` states where everyone should look by then, 12:00 being where the part
began.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from phrasefit.errors import ParameterError
from phrasefit.meters import DANCE_METERS
from phrasefit.model import Finding, Step, one_line
from phrasefit.routine.counts import parse_counts
from phrasefit.routine.feet import NO_WEIGHT, parse_feet
from phrasefit.routine.key_reader import MOST_TEXT, too_long
from phrasefit.routine.turns import facing_from_clock, parse_turn

_FACING_NOTE = re.compile(r"facing[\s:]\s*(?P<clock>.*)", re.IGNORECASE)
HEADING_SIGNS = ("--", "==")
_COLUMNS = "counts | step | feet | turn"


MOST_LINES = 2000  # of a part: four for each count of the longest routine


@dataclass(frozen=True, slots=True, kw_only=True)
class FacingNote:
    """A line that states the facing (degrees) after the first `n_steps` steps."""

    line: int
    n_steps: int
    facing: int


@dataclass(frozen=True, slots=True, kw_only=True)
class StepSheet:
    """What a block of step lines says, as far as it could be read.

    `section_counts` holds the length of each section if the numbers begin again,
    else it is empty.  `counts_read` and `turns_read` are False if a line's counts
    or turn could not be read: sums over them would only repeat that complaint.
    """

    steps: tuple[Step, ...] = ()
    facing_notes: tuple[FacingNote, ...] = ()
    section_counts: tuple[int, ...] = ()
    counts_read: bool = True
    turns_read: bool = True
    findings: tuple[Finding, ...] = ()

    @property
    def states_feet(self) -> bool:
        """Tell whether any line says which foot takes weight."""
        return any(step.feet for step in self.steps)


class _Reader:
    """Collects rows and findings while the lines go by."""

    def __init__(self) -> None:
        self.findings: list[Finding] = []
        self.steps: list[Step] = []
        self.notes: list[FacingNote] = []
        self.without_feet: list[int] = []
        self.states_feet = False
        self.counts_read = True
        self.turns_read = True
        self.heading = ""

    def complain(self, line: int, message: object) -> None:
        self.findings.append(Finding(severity="error", line=line, message=str(message)))

    def read_line(self, line: int, text: str) -> None:
        text = text.strip()
        if text.startswith(HEADING_SIGNS):
            above = one_line(text.strip("-= "))
            whole = ", ".join(filter(None, (self.heading, above)))
            self.heading = self._bounded(line, "the heading", whole)
            return
        if not text or text.startswith("#"):
            return
        if match := _FACING_NOTE.fullmatch(text):
            self._read_note(line, match["clock"])
        else:
            self._read_row(line, text)

    def _read_note(self, line: int, clock_text: str) -> None:
        try:
            facing = facing_from_clock(clock_text)
        except ParameterError as exc:
            self.complain(line, exc)
        else:
            self.notes.append(FacingNote(line=line, n_steps=len(self.steps), facing=facing))

    def _read_row(self, line: int, text: str) -> None:
        cells = [cell.strip() for cell in text.removeprefix("|").split("|")]
        while len(cells) > 4 and not cells[-1]:
            cells.pop()
        if not 2 <= len(cells) <= 4:
            self.complain(line, f"a step line has two to four columns; write {_COLUMNS}")
            self.counts_read = False
            return
        counts, name, feet, turn = cells + [""] * (4 - len(cells))
        try:
            moments = parse_counts(counts)
        except ParameterError as exc:
            self.complain(line, exc)
            self.counts_read = False
            return
        if not name:
            self.complain(line, f"the step has no name; write {_COLUMNS}")
        self.steps.append(
            Step(
                line=line,
                counts=" ".join(counts.split()),
                moments=moments,
                name=self._bounded(line, "the step", name),
                feet=self._feet(line, feet, name, len(moments)),
                turn_deg=self._turn(line, turn),
                heading=self.heading,
            )
        )
        self.heading = ""

    def _bounded(self, line: int, what: str, text: str) -> str:
        if len(text) > MOST_TEXT:
            self.complain(line, too_long(what, text))
        return text[:MOST_TEXT]

    def _feet(self, line: int, text: str, name: str, n_moments: int) -> tuple[str, ...]:
        if not text:
            if name.lower() == "hold":
                return (NO_WEIGHT,) * n_moments
            self.without_feet.append(line)
            return ()
        self.states_feet = True
        try:
            return parse_feet(text, n_moments)
        except ParameterError as exc:
            self.complain(line, exc)
            return ()

    def _turn(self, line: int, text: str) -> int:
        try:
            return parse_turn(text)
        except ParameterError as exc:
            self.complain(line, exc)
            self.turns_read = False
            return 0


def parse_steps(lines: Sequence[tuple[int, str]], meter: int) -> StepSheet:
    """Read the step lines of one part.

    Parameters
    ----------
    lines : sequence of (int, str)
        Line numbers in the file and their texts.
    meter : int
        4 or 3: sections of 8 or 6 counts.

    Returns
    -------
    StepSheet
        Every line that could be read, its moments counted from the start of the
        part, and an error for every one that could not.
    """
    reader = _Reader()
    for line, text in lines[:MOST_LINES]:
        reader.read_line(line, text)
    if len(lines) > MOST_LINES:
        reader.complain(lines[MOST_LINES][0], f"a part has at most {MOST_LINES} lines of steps")
        reader.counts_read = False
    if reader.states_feet:
        for line in reader.without_feet:
            reader.complain(
                line,
                "the feet are missing; write R, L, B (both) or . for each moment, as others do",
            )
    offsets, section_counts = _section_offsets(reader.steps, meter)
    steps = [_shift(step, by) for step, by in zip(reader.steps, offsets, strict=True)]
    if not reader.states_feet:  # a hold alone says nothing about the feet
        steps = [replace(step, feet=()) for step in steps]
    return StepSheet(
        steps=tuple(steps),
        facing_notes=tuple(reader.notes),
        section_counts=section_counts,
        counts_read=reader.counts_read,
        turns_read=reader.turns_read,
        findings=tuple(reader.findings),
    )


def _shift(step: Step, counts: int) -> Step:
    """Move a step from its section's numbering to the part's."""
    return replace(step, moments=tuple(moment + counts for moment in step.moments))


def _section_offsets(steps: Sequence[Step], meter: int) -> tuple[list[int], tuple[int, ...]]:
    """Say how many counts lie before each step's section, and how long sections are.

    A line that names count 1 begins a new section once the last one, begun with its
    count 1, has reached a whole bar; earlier it is a count danced twice.
    """
    last_moment = max((step.moments[-1] for step in steps), default=Fraction(0))
    if last_moment >= DANCE_METERS[meter].group_counts:
        return [0] * len(steps), ()
    bar = meter
    offsets: list[int] = []
    lengths: list[int] = []
    start = reached = 0
    begun = False
    for step in steps:
        if 0 in step.moments:
            if begun and reached >= bar:
                lengths.append(-(-reached // bar) * bar)
                start += lengths[-1]
                reached = 0
            begun = True
        offsets.append(start)
        reached = max(reached, int(step.moments[-1]) + 1)
    return offsets, (*lengths, -(-reached // bar) * bar) if lengths else ()
