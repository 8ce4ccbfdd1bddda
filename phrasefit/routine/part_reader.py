"""Parts and tags of a routine file: counts, turn and step lines of one block."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from phrasefit.errors import ParameterError, shown
from phrasefit.meters import DANCE_METERS
from phrasefit.model import Part, TagOption
from phrasefit.routine.consistency import (
    count_findings,
    counts_of,
    facing_findings,
    tag_weight_findings,
    turn_findings,
    weight_findings,
)
from phrasefit.routine.counts import MAX_COUNTS, count_number
from phrasefit.routine.dancer_state import first_count, last_count
from phrasefit.routine.key_reader import MOST_TEXTS, KeyReader
from phrasefit.routine.restarts import restart_points, turning_line_cut, usual_restart_counts
from phrasefit.routine.step_lines import StepSheet, parse_steps
from phrasefit.routine.tags import Tags, any_tags, plain_tags
from phrasefit.routine.turns import parse_turn

PART_KEYS = ("counts", "turn", "restarts", "steps")
TAG_KEYS = ("name", "counts", "turn", "steps")

MOST_TAG_COUNTS = 64  # longer is a part of its own; common practice, no source
MOST_LISTED = 64  # restarts or tags: nobody remembers a tenth of them
MOST_COUNTS_OF = {"restarts": MAX_COUNTS, "tags": MOST_TAG_COUNTS}

MOST_NAMED = 12  # parts in a message
MOST_SEQUENCE = 10_000  # letters: every name at its longest

ONLY_PART = "A"  # what the one part of an ordinary routine is called

WHOLE_NUMBERS_HOW = 'write "any", "none" or a list of counts, as in [16]'


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """One part or tag as read; `turn_deg` is None if neither turn nor steps say it."""

    reader: KeyReader
    counts: int
    turn_deg: int | None
    sheet: StepSheet

    @property
    def turns_known(self) -> bool:
        """Tell whether sums of turns mean anything."""
        return self.sheet.turns_read and self.sheet.counts_read


def read_block(reader: KeyReader, meter: int) -> Block | None:
    """Read counts, turn and steps of one block; None if its length is unknown."""
    findings = reader.findings
    stated = reader.whole("counts", 1, MAX_COUNTS)
    turn = reader.parsed("turn", parse_turn, None)
    lines = reader.block("steps")
    sheet = parse_steps(lines or [], meter)
    steps = sheet.steps
    findings.extend(sheet.findings)
    if lines is not None and not steps and not sheet.findings:
        reader.complain("steps", "the steps are empty; write a line for each, or leave steps out")
    counts = stated or counts_of(steps)
    if not counts:
        if "counts" not in reader.table:
            reader.complain("counts", "the number of counts is missing; write counts = 32")
        return None
    if steps and sheet.counts_read:
        findings.extend(
            count_findings(
                steps,
                counts,
                stated=stated is not None,
                meter=meter,
                section_counts=sheet.section_counts,
            )
        )
    block = Block(reader=reader, counts=counts, turn_deg=turn, sheet=sheet)
    if not steps:
        return block
    total = sum(step.turn_deg for step in steps)
    if block.turns_known:
        findings.extend(facing_findings(steps, sheet.facing_notes))
        findings.extend(turn_findings(total, turn, reader.line("turn")))
    return replace(block, turn_deg=total)


def build_part(name: str, block: Block) -> Part:
    """Make the part of a block, restart points still missing."""
    return Part(
        name=name, counts=block.counts, turn_deg=block.turn_deg or 0, steps=block.sheet.steps
    )


def check_weight(block: Block, foot: str) -> None:
    """Add the mistakes of weight in a part; `foot` "" = the part's own first foot."""
    if block.sheet.counts_read:
        block.reader.findings.extend(weight_findings(block.sheet.steps, foot))


def read_numbers(reader: KeyReader, key: str) -> tuple[int, ...] | None:
    """Read "any" (None), "none" (empty) or a list of counts."""
    value = reader.table.get(key, "any")
    listed = [value] if type(value) is int else value
    if isinstance(listed, str) and listed.lower() in ("any", "none"):
        return None if listed.lower() == "any" else ()
    if isinstance(listed, list) and all(type(item) is int and item > 0 for item in listed):
        most = MOST_COUNTS_OF[key]
        if len(listed) <= MOST_LISTED and max(listed, default=0) <= most:
            return tuple(listed)
        reader.complain(key, f"{key} lists at most {MOST_LISTED} counts, none beyond {most}")
        return None
    reader.complain(key, f"{key} is not understood; {WHOLE_NUMBERS_HOW}")
    return None


def add_restart_points(
    part: Part, reader: KeyReader, allowed: tuple[int, ...] | None, foot: str, meter: int
) -> Part:
    """Give a part its restart points; explicit ones that cannot be are complained about."""
    for after in allowed or ():
        cut = turning_line_cut(part, after)
        if not after < part.counts:
            reader.complain(
                "restarts",
                f"a restart after count {after} is not possible in {part.counts} counts;"
                f" name a count below {part.counts}",
            )
        elif cut:
            numbers = f"{count_number(first_count(cut))}-{count_number(last_count(cut))}"
            reader.complain(
                "restarts",
                f"a restart after count {after} cuts line {cut.line} (counts {numbers}) while it"
                f" turns; split that line in two, so that the turn by count {after} is clear",
            )
    wanted = usual_restart_counts(part.counts, meter) if allowed is None else allowed
    return replace(part, restart_points=restart_points(part, wanted, foot))


def read_tags(top: KeyReader, foot: str, meter: int) -> tuple[Tags, Tags]:
    """Read `tags` and `odd_bar_tags`: "any", "none", lengths, or tables with steps."""
    value = top.table.get("tags")
    if isinstance(value, list) and value and isinstance(value[0], Mapping):
        return _read_tag_tables(top, value, foot, meter), ()
    lengths = read_numbers(top, "tags")
    return any_tags(meter) if lengths is None else (plain_tags(lengths), ())


def _read_tag_tables(top: KeyReader, value: list[Any], foot: str, meter: int) -> Tags:
    if len(value) > MOST_LISTED:
        top.complain("tags", f"tags has {len(value)} tables; {MOST_LISTED} are the most")
        return ()
    tags = []
    for place, table in enumerate(value):
        if not isinstance(table, Mapping):
            top.complain("tags", f"tags mixes numbers and tables; {WHOLE_NUMBERS_HOW}")
            continue
        reader = KeyReader(top.source, table, ("tags", place), top.findings)
        if tag := _read_tag(reader, foot, meter):
            tags.append(tag)
    return tuple(tags)


def _read_tag(reader: KeyReader, foot: str, meter: int) -> TagOption | None:
    """Read one ``[[tags]]`` table."""
    reader.refuse_unknown(TAG_KEYS)
    block = read_block(reader, meter)
    if block is None:
        return None
    steps = block.sheet.steps
    if foot and block.sheet.states_feet and block.sheet.counts_read:
        reader.findings.extend(tag_weight_findings(steps, foot, steps[-1].line))
    return TagOption(
        counts=block.counts, turn_deg=block.turn_deg or 0, name=reader.text("name"), steps=steps
    )


def parse_rhythm(text: str) -> int:
    """Read the rhythm as the meter dancers count: 4 or 3.

    Raises
    ------
    ParameterError
        If the text names no rhythm known here.
    """
    for dance in DANCE_METERS.values():
        if text.strip().lower() in dance.rhythms:
            return dance.bar_counts
    raise ParameterError(
        f"rhythm {shown(text)} is not known; write 4/4 (also for 2/4, and for 6/8 or 12/8"
        " counted in two or four) or waltz (3/4)"
    )


def read_sequence(top: KeyReader, names: Sequence[str]) -> tuple[str, ...]:
    """Read the order of parts: ``"A A B"``, ``"AAB"`` or a list."""
    value = top.table.get("sequence")
    if "parts" not in top.table:
        if value is not None:
            top.complain("sequence", "sequence needs parts; write [parts.A], [parts.B] …")
        return ()
    if isinstance(value, str):
        listed = _in_sequence(value[:MOST_SEQUENCE], names)
    else:
        n_before = len(top.findings)
        listed = list(top.texts("sequence"))
        if len(top.findings) > n_before:
            return ()
    if len(listed) > MOST_TEXTS:
        top.complain("sequence", f"sequence lists {len(listed)} parts; {MOST_TEXTS} are the most")
        return ()
    if not listed:
        top.complain("sequence", 'the order of the parts is missing; write sequence = "A A B"')
        return ()
    unknown = sorted({name for name in listed if name not in names})
    if unknown and names:
        top.complain(
            "sequence",
            f"sequence names part {shown(unknown[0])}, which is not written;"
            f" known are {', '.join(names[:MOST_NAMED])}",
        )
        return ()
    return tuple(listed)


def _in_sequence(text: str, names: Sequence[str]) -> list[str]:
    """Cut ``"A A B"``, ``"A-A-B"`` or ``"AAB"`` into names, which may hold spaces and signs."""
    words = text.replace(",", " ").split()
    if all(word in names for word in words):
        return words
    longest_first = sorted(names, key=len, reverse=True)
    known = "|".join(re.escape(name) for name in longest_first)
    found = re.findall(rf"{known}|[^\s,-]" if known else r"\S+", text)
    # What is not known is better told as it was written.
    return found if all(word in names for word in found) or len(words) < 2 else words
