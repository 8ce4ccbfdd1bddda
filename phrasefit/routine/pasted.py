"""A typed or pasted step sheet: read line by line, what is not understood is marked.

Sheets are typed for people, so that the reader is tolerant in form (``1-8``, ``S1``, ``1&2``,
headings, remarks about walls, restarts and tags, every kind of dash) and strict in meaning:
a line that could say two things is marked, with a reason, and never guessed.  Marked lines
stay as remarks at the head of the routine file.  How sheets are typed: common practice, no
source.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

from phrasefit.errors import ParameterError
from phrasefit.meters import DANCE_METERS
from phrasefit.model import one_line
from phrasefit.routine.counts import MAX_COUNTS, count_number, parse_counts
from phrasefit.routine.dancer_state import last_count
from phrasefit.routine.part_reader import MOST_LISTED, parse_rhythm
from phrasefit.routine.sheet_changes import (
    announced_tag,
    denied,
    is_about_restart,
    is_announced,
    restart_after,
    says_only_after,
    tag_in,
    unquoted,
)
from phrasefit.routine.sheet_head import HeadReader
from phrasefit.routine.step_lines import HEADING_SIGNS, parse_steps
from phrasefit.routine.turns import facing_from_clock
from phrasefit.routine.typed_steps import plain, read_typed_step, split_counts
from phrasefit.routine.written import Draft, DraftBlock, file_text

MOST_LINES = 1000  # of a sheet
MOST_LETTERS = 500  # of a line; longer ones are no line of a sheet

STEP, HEADING, FACT, REMARK = "step", "heading", "fact", "remark"

_RANGE = re.compile(
    r"[\[(]?\s*(?:(?:s|sec|section|set)\.?\s*\d{1,2}\b\s*[:.)-]*)?\s*[\[(]?\s*"
    r"(?:counts?\s*)?(?P<first>\d{1,3})\s*-\s*(?P<last>\d{1,3})\s*[\])]?\s*[:.)\]-]*\s*(?P<title>.*)",
    re.I,
)
_SECTION = re.compile(
    r"[\[(]?\s*(?:s|sec|section|set)\.?\s*(?P<number>\d{1,2})\b\s*[\])]?\s*[:.)-]*\s*(?P<title>.*)",
    re.I,
)
_PART = re.compile(
    r'part\s+(?P<name>"(?:[^"\\]|\\.)*"|\w{1,20})\s*(?:[:,(-]\s*)*(?:(?P<counts>\d{1,3})\s*counts?)?'
    r"\s*[)]?\s*(?P<title>.*)",
    re.I,
)
_AGAIN = re.compile(
    r"(?:repeat|begin again|start again|start over|enjoy|have fun|end of dance)\b.*", re.I
)
_NOTE = re.compile(
    r"(?:weight|note|option(?:al)?|easier|easy|styling|hint|tip|ending|(?:to )?finish|nb\b).*",
    re.I,
)
_FACING = re.compile(
    r"(?:facing|face|faces)\s*:?\s*(?P<clock>\d{1,2}(?::\d{2})?(?:\s*o['’]clock)?)\.?", re.I
)
_MARKS = re.compile(r"^[\s•·▪◦●*_#]+(?=\S)|[*_]+$")  # bullets, bold, headings of plain text


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetLine:
    """One line of a sheet: `number` (1-based), its text, and how it was taken.

    `kind` is ``step``, ``heading``, ``fact`` or ``remark``; "" if it was not understood, and
    then `why` says what to write.  `taken_as` says in words what was read.
    """

    number: int
    text: str
    kind: str = ""
    taken_as: str = ""
    why: str = ""

    @property
    def is_understood(self) -> bool:
        """Tell whether the line went into the routine."""
        return bool(self.kind)


@dataclass(frozen=True, slots=True, kw_only=True)
class PastedSheet:
    """A sheet as read: every line that is not empty, and the routine file it makes."""

    lines: tuple[SheetLine, ...]
    text: str

    @property
    def not_understood(self) -> tuple[SheetLine, ...]:
        """List the lines that were not understood."""
        return tuple(line for line in self.lines if not line.is_understood)


def read_pasted(text: str) -> PastedSheet:
    """Read a typed step sheet.

    Parameters
    ----------
    text : str
        Anything; what is no sheet comes back as lines that were not understood.

    Returns
    -------
    PastedSheet
        At most `MOST_LINES` lines.
    """
    written = [(i, one_line(line)) for i, line in enumerate(text.splitlines(), start=1)]
    filled = [(number, line) for number, line in written if line]
    reader = _Reader([line for _, line in filled[:MOST_LINES]])
    lines = [reader.read(place, number) for place, (number, _) in enumerate(filled[:MOST_LINES])]
    if len(filled) > MOST_LINES:
        number, line = filled[MOST_LINES]
        why = f"a sheet has at most {MOST_LINES} lines; what follows was not read"
        lines.append(SheetLine(number=number, text=_short(line), why=why))
    draft = reader.finished()
    draft.remarks = [
        f"not understood, line {line.number} of the sheet: {line.text} ({line.why})"
        for line in lines
        if not line.is_understood
    ]
    return PastedSheet(lines=tuple(lines), text=file_text(draft))


def _short(text: str) -> str:
    return text if len(text) <= MOST_LETTERS else text[: MOST_LETTERS - 1] + "…"


Taken = tuple[str, str] | None  # kind and words, or None if a rule does not apply


class _Reader:
    """Goes through the lines and fills a draft; each rule takes a line or passes it on."""

    def __init__(self, lines: list[str]) -> None:
        self.lines = lines
        self.draft = Draft()
        self.block = self.draft.main
        self.plain_tags: list[int] = []
        self.tag_remarks: list[str] = []  # lines of tags that say more than a length
        self.head = HeadReader(self.draft)
        self.place = self.n_restarts = 0
        self.last_was_step = False
        self.rules: tuple[Callable[[str], Taken], ...] = (
            self._own_form, self._part, self._head, self._whole_size, self._no_changes,
            self._announced, self._restart, self._tag, self._size, self._again, self._facing_line,
            self._section, self._step, self._title, self._note, self._capitals, self._goes_on,
        )  # fmt: skip

    def read(self, place: int, number: int) -> SheetLine:
        """Read the line at `place`."""
        self.place = place
        line = self.lines[place]
        try:
            if len(line) > MOST_LETTERS:
                raise ParameterError(f"the line has more than {MOST_LETTERS} letters; divide it")
            text = _MARKS.sub("", line)
            taken = next((taken for rule in self.rules if (taken := rule(text))), None)
            if taken is None:
                raise ParameterError(
                    "no counts stand before it; write them, as in 1-2, or begin with Note:"
                )
        except ParameterError as exc:
            self.last_was_step = False
            return SheetLine(number=number, text=_short(line), why=str(exc))
        self.last_was_step = taken[0] == STEP
        return SheetLine(number=number, text=line, kind=taken[0], taken_as=taken[1])

    def finished(self) -> Draft:
        """Put the rest into the draft."""
        draft = self.draft
        with_steps = [block for block in draft.tag_blocks if block.rows]
        if not with_steps:
            self.plain_tags += [block.counts for block in draft.tag_blocks]
            # What else the lines say, as of which wall, has no other place in the file.
            draft.notes += self.tag_remarks
            draft.tag_blocks = []
        if self.plain_tags:
            draft.tags = sorted({number for number in self.plain_tags if number})
        return draft

    # ------------------------------------------------------------------- the rules

    def _own_form(self, text: str) -> Taken:
        """Take what is written as in a routine file: columns, ``-- heading``."""
        if text.startswith(HEADING_SIGNS):
            return self._heading(text.strip("-= "))
        if "|" not in text:
            return None
        sheet = parse_steps([(1, text)], self._meter)
        if sheet.findings:
            raise ParameterError(sheet.findings[0].message)
        self.block.rows.append(text.rstrip(" |") if text.count("|") > 3 else text)
        return STEP, text

    def _part(self, text: str) -> Taken:
        match = _PART.fullmatch(plain(text))
        if not match:
            return None
        name = unquoted(match["name"])
        block = DraftBlock(name=name, counts=int(match["counts"] or 0))
        if not 0 < block.counts <= MAX_COUNTS:
            block.counts = 0
        known = next((part for part in self.draft.parts if part.name == name), None)
        if known is None:
            if self.draft.main.rows:
                raise ParameterError("a part begins after steps without one; head those, too")
            self.draft.parts.append(block)
        self.block = known or block
        if title := match["title"].strip(" :-"):
            self.block.rows.append(f"-- {title}")
        return HEADING, f"part {name} begins"

    def _no_changes(self, text: str) -> Taken:
        kinds = denied(text)
        if "tags" in kinds:
            self.draft.tags = "none"
        if "restarts" in kinds:
            self._of_restarts.restarts = "none"
        return (FACT, text.lower()) if kinds else None

    def _announced(self, text: str) -> Taken:
        """Take ``1 Tag, 2 Restarts``, which says at most how long a tag is."""
        if not is_announced(text) or (is_about_restart(text) and "count" in text.lower()):
            return None
        counts = announced_tag(text)
        if counts and self._has_steps and self._steps_follow():
            return None  # it heads the tag's own steps
        self.draft.notes.append(text)
        if not counts:
            return REMARK, "kept as a note"
        self.plain_tags.append(counts)
        return FACT, f"a tag of {counts} counts; kept as a note"

    def _restart(self, text: str) -> Taken:
        if not is_about_restart(text) or self._is_step(text):
            return None
        self.n_restarts += 1
        if self.n_restarts > MOST_LISTED:
            raise ParameterError(f"there are more than {MOST_LISTED} restarts; leave some out")
        before = self._of_restarts.restarts
        listed = before if isinstance(before, list) else []
        group = DANCE_METERS[self._meter].group_counts
        after = restart_after(text, group=group, danced=self._danced())
        self._of_restarts.restarts = "any" if after is None else sorted({*listed, after})
        said = "any whole bar" if after is None else f"count {after}"
        if says_only_after(text):
            return FACT, f"a restart may come after {said}"
        self.draft.notes.append(text)
        return FACT, f"a restart may come after {said}; kept as a note"

    def _tag(self, text: str) -> Taken:
        if self._is_step(text):
            return None
        tag = tag_in(text, steps_follow=self._steps_follow(), in_head=not self._has_steps)
        if tag is None:
            return None
        self.block = tag
        self.draft.tag_blocks.append(tag)
        if tag.name:
            self.tag_remarks.append(text)
        length = f"of {tag.counts} counts" if tag.counts else "as long as its steps"
        return HEADING, f"a tag {length}" + (f": {tag.name}" if tag.name else "")

    def _head(self, text: str) -> Taken:
        said = self.head.keyed(text) or self.head.foot(text)
        return (FACT, said) if said else None

    def _whole_size(self, text: str) -> Taken:
        """Take a size before anything else that its line says of tags and restarts."""
        return self._size(text) if self.head.is_whole_size(text) else None

    def _size(self, text: str) -> Taken:
        of_head = not self._is_step(text) and not self._has_steps
        said = self.head.size(text) if of_head else ""
        return (FACT, said) if said else None

    def _title(self, text: str) -> Taken:
        said = "" if self._has_steps else self.head.title(text, is_first=self.place == 0)
        return (FACT, said) if said else None

    def _again(self, text: str) -> Taken:
        return (REMARK, "the dance begins again") if _AGAIN.fullmatch(text) else None

    def _facing_line(self, text: str) -> Taken:
        match = _FACING.fullmatch(text.strip("()[] "))
        if not match or not self.block.rows:
            return None
        facing_from_clock(match["clock"])
        self.block.rows.append(f"facing {match['clock'].lower()}")
        return FACT, f"everyone faces {match['clock']} here"

    def _section(self, text: str) -> Taken:
        """Take ``S2: 9-16 Rock steps``, or ``1-8`` where the lines below begin again.

        After a tag the dance goes on with the part before it.
        """
        said = plain(text)
        before = self.draft.parts[-1] if self.draft.parts else self.draft.main
        after_tag = self.block in self.draft.tag_blocks
        if match := _RANGE.fullmatch(said):
            named = re.match(r"[\[(]?\s*s(?:ec|ection|et)?\.?\s*\d", said, re.I) is not None
            if named or self._counts_follow_inside(match):
                self.block = before if after_tag else self.block
                return self._heading(match["title"] or f"{match['first']}-{match['last']}")
        if match := _SECTION.fullmatch(said):
            self.block = before if after_tag else self.block
            return self._heading(match["title"] or f"section {match['number']}")
        return None

    def _heading(self, title: str) -> Taken:
        """Head the steps that follow."""
        self.block.rows.append(f"-- {title}")
        return HEADING, title or "a section begins"

    def _step(self, text: str) -> Taken:
        counts, words = split_counts(plain(text))
        if not counts:
            return None
        words = text[len(text) - len(words) :] if plain(text).endswith(words) else words
        step = read_typed_step(counts, words)
        self.block.rows.append(step.row)
        said = step.row
        if step.facing:
            self.block.rows.append(f"facing {step.facing}")
            said += f", then facing {step.facing}"
        if not step.feet:
            said += " (feet left open)"
        return STEP, said

    def _note(self, text: str) -> Taken:
        bracketed = text.startswith("(") and text.endswith(")") and not self.last_was_step
        if not bracketed and not _NOTE.fullmatch(text):
            return None
        self.draft.notes.append(text)
        return REMARK, "kept as a note"

    def _capitals(self, text: str) -> Taken:
        """Take a line in capitals before steps as the heading of a section."""
        is_title = text.upper() == text and len(re.findall(r"[A-Z]", text)) >= 4
        return self._heading(text) if is_title and self._steps_follow() else None

    def _goes_on(self, text: str) -> Taken:
        """Join a line that was broken: it begins with a small letter, under a step."""
        if not self.last_was_step or not text[:1].islower() or "|" not in self.block.rows[-1]:
            return None
        cells = self.block.rows[-1].split(" | ")
        cells[1] = one_line(f"{cells[1]} {text.replace('|', '/')}")
        self.block.rows[-1] = " | ".join(cells)
        return STEP, f"goes on with the step above: {cells[1]}"

    # ------------------------------------------------------------- what rules ask

    @property
    def _meter(self) -> int:
        return parse_rhythm(self.draft.rhythm) if self.draft.rhythm else 4

    @property
    def _of_restarts(self) -> Draft | DraftBlock:
        """What a line on restarts is about: the part it stands in, or the whole routine."""
        return self.block if self.block in self.draft.parts else self.draft

    @property
    def _has_steps(self) -> bool:
        return any(block.rows for block in (self.draft.main, *self.draft.parts))

    def _is_step(self, text: str) -> bool:
        return bool(split_counts(plain(text))[0]) and not is_announced(text)

    def _steps_follow(self) -> bool:
        """Tell whether the next line is a step."""
        following = self.lines[self.place + 1 : self.place + 2]
        return bool(following) and self._is_step(_MARKS.sub("", following[0]))

    def _counts_follow_inside(self, match: re.Match[str]) -> bool:
        """Tell whether the line below begins again where this range begins, or at 1."""
        first, last = int(match["first"]), int(match["last"])
        following = self.lines[self.place + 1 : self.place + 2]
        if not following or last <= first:
            return False
        counts, _ = split_counts(plain(_MARKS.sub("", following[0])))
        try:
            begins = count_number(int(parse_counts(counts)[-1]) if counts else -1)
            first_of_next = count_number(max(0, int(parse_counts(counts)[0]))) if counts else 0
        except ParameterError:
            return False
        return first_of_next in (1, first) and (begins - first_of_next) < last - first

    def _danced(self) -> int:
        """Count how much of the part is danced by now."""
        steps = parse_steps(list(enumerate(self.block.rows)), self._meter).steps
        return count_number(last_count(steps[-1])) if steps else 0
