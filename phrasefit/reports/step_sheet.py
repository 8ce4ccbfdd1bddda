"""The step sheet of a routine: counts, steps, feet, turns, facing, restarts, tags.

One row a step line, a heavier rule after every section of 8 (threes: 6).  A page is
broken between sections only, unless one section is longer than a page.
"""

from __future__ import annotations

from collections.abc import Sequence

from phrasefit.meters import DANCE_METERS
from phrasefit.model import Part, Routine, Step, TagOption
from phrasefit.reports.paper import MARGIN_PT, Document, fitting_size, wrapped
from phrasefit.routine.dancer_state import first_count, last_count, turn_after
from phrasefit.routine.turns import clock, format_turn

TYPE_PT, LEAD_PT = 12.0, 18.0
COLUMNS = (("counts", 0.13), ("step", 0.43), ("feet", 0.18), ("turn", 0.12), ("faces", 0.14))


def step_sheet(routine: Routine, *, paper: str = "a4") -> Document:
    """Lay out the step sheet of `routine` on `paper` ('a4' or 'letter')."""
    document = Document(paper=paper, title=routine.name)
    setter = _StepSetter(document)
    setter.heading(routine)
    for part in routine.parts:
        if len(routine.parts) > 1:
            setter.title(f"Part {part.name}, {part.counts} counts")
        setter.steps(part.steps, turn_after(part), routine.meter)
        setter.remark(_restart_words(part))
    for tag in routine.tags:
        if tag.steps:
            setter.title(f"TAG {tag.counts} {tag.name}".rstrip())
            turns = turn_after(
                Part(name="", counts=tag.counts, turn_deg=tag.turn_deg, steps=tag.steps)
            )
            setter.steps(tag.steps, turns, routine.meter)
    if plain := _plain_tags(routine.tags):
        setter.remark(plain)
    for note in routine.notes:
        setter.remark(note)
    setter.page_numbers()
    return document


def _restart_words(part: Part) -> str:
    if not part.restart_points:
        return "No restarts."
    points = [
        f"{point.after_count}{f' ({point.step_change})' if point.step_change else ''}"
        for point in part.restart_points
    ]
    return f"Restart possible after count {', '.join(points)}."


def _plain_tags(tags: Sequence[TagOption]) -> str:
    counts = sorted({tag.counts for tag in tags if not tag.steps})
    return f"Tags of {', '.join(map(str, counts))} counts, steps left to you." if counts else ""


class _StepSetter:
    """Sets a step sheet line by line and turns the page where it must."""

    def __init__(self, document: Document) -> None:
        self.document = document
        self.page = document.new_page()
        self.y = MARGIN_PT

    def _room(self, height: float) -> None:
        """Begin a new page unless `height` points are left."""
        if self.y + height > self.page.height_pt - MARGIN_PT - 14:
            self.page = self.document.new_page()
            self.y = MARGIN_PT

    def _line(self, words: str, size: float, *, bold: bool = False) -> None:
        self._room(size * 1.4)
        self.y += size * 1.4
        self.page.text(MARGIN_PT, self.y, words, size, bold=bold, width=self.page.inner_pt)

    def heading(self, routine: Routine) -> None:
        """Name, size, level, tempo, intro."""
        fits = fitting_size(routine.name, self.page.inner_pt, 20, smallest=13, bold=True)
        self._line(routine.name, fits, bold=True)
        walls = f"{routine.walls} wall{'s' * (routine.walls != 1)}"
        facts = [f"{routine.counts} counts", walls, routine.level]
        facts.append(DANCE_METERS[routine.meter].dance)
        if routine.tempo_bpm:
            low, high = routine.tempo_bpm
            facts.append(f"{low:g} to {high:g} counts a minute")
        if routine.intro_counts is not None:
            facts.append(f"start after {routine.intro_counts} counts")
        self._line(", ".join(fact for fact in facts if fact), 11.5)
        if routine.by:
            self._line(f"by {routine.by}", 11.5)
        if routine.sequence:
            self._line(f"danced {' '.join(routine.sequence)}", 11.5)

    def title(self, words: str) -> None:
        """Head a part or a tag."""
        self._room(70)
        self.y += 10
        self._line(words, 14, bold=True)

    def steps(self, steps: Sequence[Step], turned: Sequence[int], meter: int) -> None:
        """Set the step lines, section by section."""
        size = DANCE_METERS[meter].group_counts
        sections: dict[int, list[Step]] = {}
        for step in steps:
            sections.setdefault(max(first_count(step), 0) // size, []).append(step)
        for i, lines in enumerate(sections.values()):
            self._room(LEAD_PT * (len(lines) + 2))
            if i == 0:
                self._heads()
            for step in lines:
                self._step(step, turned)
            self.page.line(MARGIN_PT, self.y + 5, self.page.width_pt - MARGIN_PT, self.y + 5)
            self.y += 5

    def _cells(self, words: Sequence[str], size: float, *, bold: bool = False) -> None:
        x = MARGIN_PT
        for text, (_, share) in zip(words, COLUMNS, strict=True):
            width = share * self.page.inner_pt
            self.page.text(x, self.y, text, size, width=width - 6, bold=bold)
            x += width

    def _heads(self) -> None:
        self.y += LEAD_PT
        self._cells([name for name, _ in COLUMNS], 9)

    def _step(self, step: Step, turned: Sequence[int]) -> None:
        self._room(LEAD_PT)
        self.y += LEAD_PT
        facing = turned[min(last_count(step), len(turned) - 1)]
        self._cells(
            [
                step.counts,
                step.name,
                " ".join(step.feet),
                format_turn(step.turn_deg) if step.turn_deg else "",
                clock(facing % 360) if step.turn_deg else "",
            ],
            TYPE_PT,
        )

    def remark(self, words: str) -> None:
        """Set a remark, broken into lines."""
        if not words:
            return
        self.y += 4
        for line in wrapped(words[0].upper() + words[1:], self.page.inner_pt, 10.5):
            self._line(line, 10.5)

    def page_numbers(self) -> None:
        """Number the pages and add the caution for turns."""
        n_pages = len(self.document.pages)
        for number, page in enumerate(self.document.pages, start=1):
            y = page.height_pt - MARGIN_PT + 4
            caution = (
                "R right, L left, B both take weight; . no weight. Small steps; turns optional."
            )
            page.text(MARGIN_PT, y, caution, 7.5, width=page.inner_pt - 40)
            page.text(page.width_pt - MARGIN_PT, y, f"{number}/{n_pages}", 8, align="right")
