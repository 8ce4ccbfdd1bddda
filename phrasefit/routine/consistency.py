"""Contradictions inside a routine: counts, weight, facing, walls.

Each function yields an error `Finding` for every mistake it sees, with the line and
what to do.  Numbers in messages are the dancers' (1-based).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction

from phrasefit.meters import DANCE_METERS
from phrasefit.model import Finding, Step
from phrasefit.routine.counts import count_number, count_words, moment_label
from phrasefit.routine.dancer_state import first_count, last_count
from phrasefit.routine.feet import FOOT_WORDS, NO_WEIGHT, OTHER, first_foot, frees, is_legal
from phrasefit.routine.step_lines import FacingNote
from phrasefit.routine.turns import (
    FULL_TURN_DEG,
    clock,
    format_turn,
    turn_words,
    wall_name,
    walls_from_turn,
)


def _error(line: int, message: str) -> Finding:
    return Finding(severity="error", line=line, message=message)


# -------------------------------------------------------------------- counts


def counts_of(steps: Sequence[Step]) -> int:
    """Give the number of counts that step lines reach to."""
    return max((count_number(last_count(step)) for step in steps), default=0)


def count_findings(
    steps: Sequence[Step],
    counts: int,
    *,
    stated: bool,
    meter: int,
    section_counts: Sequence[int] = (),
) -> Iterator[Finding]:
    """Find counts that are missing, doubled, out of order or beyond the end.

    Parameters
    ----------
    steps : sequence of Step
        At least one.
    counts : int
        Counts the part has, as the file says or as the steps reach.
    stated : bool
        The file says so.
    section_counts : sequence of int
        Lengths of the sections if their numbers begin again, for the message.
    """
    yield from _doubled(steps, meter)
    reached = counts_of(steps)
    named = {moment for step in steps for moment in step.moments}
    missing = [count for count in range(min(counts, reached)) if count not in named]
    for run in _runs(missing):
        line = next(step.line for step in steps if last_count(step) > run[-1])
        yield _error(line, _missing_words(run, meter))
    if stated and reached != counts:
        yield _error(steps[-1].line, _total_words(reached, counts, section_counts, meter))


def repeat_findings(steps: Sequence[Step], counts: int) -> Iterator[Finding]:
    """Find a moment borrowed before count 1 that the last count uses as well."""
    named = {moment for step in steps for moment in step.moments}
    for step in steps:
        clash = [moment for moment in step.moments if moment < 0 and moment + counts in named]
        if clash:
            yield _error(
                step.line,
                f"{moment_label(clash[0])} is danced twice when the routine repeats, here and as"
                f" {moment_label(clash[0] + counts)} at its end; take one of them out",
            )


def _runs(counts: Sequence[int]) -> list[list[int]]:
    """Group counts that follow each other."""
    runs: list[list[int]] = []
    for count in counts:
        if runs and count == runs[-1][-1] + 1:
            runs[-1].append(count)
        else:
            runs.append([count])
    return runs


def _doubled(steps: Sequence[Step], meter: int) -> Iterator[Finding]:
    """Find moments danced twice, and lines that stand before their time."""
    line_of: dict[Fraction, int] = {}
    latest = Fraction(-1)
    for step in steps:
        twice = [moment for moment in step.moments if moment in line_of]
        if twice:
            whole = twice[0].denominator == 1
            label = count_words(int(twice[0]) + 1, meter) if whole else moment_label(twice[0])
            more = f" and {len(twice) - 1} more are" if len(twice) > 1 else " is"
            yield _error(
                step.line,
                f"{label}{more} danced twice, here and on line {line_of[twice[0]]};"
                " take one of them out, or correct the numbers",
            )
        elif step.moments[0] < latest:
            yield _error(
                step.line,
                f"{count_words(count_number(first_count(step)), meter)} stands after count"
                f" {moment_label(latest)}; put the lines in the order they are danced",
            )
        for moment in step.moments:
            line_of.setdefault(moment, step.line)
        latest = max(latest, step.moments[-1])


def _missing_words(run: Sequence[int], meter: int) -> str:
    """Word a gap in the counts that ends before the line it is reported on."""
    first, last = count_number(run[0]), count_number(run[-1])
    example = f'"{first}-{last} | hold"' if len(run) > 1 else f'"{first} | hold"'
    verb = "are" if len(run) > 1 else "is"
    return (
        f"{count_words(first, meter, last)} {verb} missing before this line;"
        f" every count is written, a pause too, as {example}"
    )


def _total_words(reached: int, counts: int, section_counts: Sequence[int], meter: int) -> str:
    """Word a total that is not what the file says."""
    sections = ""
    if section_counts:
        usual = DANCE_METERS[meter].group_counts
        lengths = ", ".join(str(length) for length in section_counts)
        sections = f" in sections of {lengths} (a section usually has {usual})"
    gap = (
        f"write {count_words(reached + 1, meter, counts)}, too"
        if reached < counts
        else f"take {count_words(counts + 1, meter, reached)} out"
    )
    return (
        f"the steps end with count {reached}{sections}, but the file says counts = {counts};"
        f" {gap}, or correct the number"
    )


# -------------------------------------------------------------------- weight


def weight_findings(steps: Sequence[Step], foot: str) -> Iterator[Finding]:
    """Find steps on a foot that has the weight already.

    `foot` is the foot that the file says begins; "" = whichever steps first.
    """
    signs = [sign for step in steps for sign in step.feet]
    weight = OTHER[foot or first_foot(signs)]
    begun = False
    for step in steps:
        if not step.feet:
            weight = ""  # nothing is said about this line: anything may follow
        for moment, sign in zip(step.moments, step.feet, strict=False):
            if not is_legal(weight, sign):
                yield _error(step.line, _weight_words(moment, sign, foot if not begun else ""))
            if sign != NO_WEIGHT:
                weight, begun = sign, True


def _weight_words(moment: Fraction, sign: str, declared_foot: str) -> str:
    """Word a step on the wrong foot."""
    if declared_foot:
        return (
            f"the first step is on the {FOOT_WORDS[sign]}, but the file says foot ="
            f' "{declared_foot}"; correct one of them'
        )
    return (
        f"count {moment_label(moment)} steps on the {FOOT_WORDS[sign]}, which has the weight"
        f" already; make it a touch (.) or a step on the {FOOT_WORDS[OTHER[sign]]},"
        " or fix the steps before it"
    )


def tag_weight_findings(steps: Sequence[Step], foot: str, line: int) -> Iterator[Finding]:
    """Find a tag that does not hand the weight back to where the routine begins."""
    yield from weight_findings(steps, foot)
    if not all(step.feet for step in steps):
        return
    weight = OTHER[foot]
    for step in steps:
        for sign in step.feet:
            weight = weight if sign == NO_WEIGHT else sign
    if not frees(weight, foot):
        yield _error(
            line,
            f"the tag ends with the weight on the {FOOT_WORDS[weight]}, but the routine begins"
            f" with that foot; change its last step into a touch (.) or add one step",
        )


# ------------------------------------------------------------ facing and walls


def facing_findings(steps: Sequence[Step], notes: Sequence[FacingNote]) -> Iterator[Finding]:
    """Find facing notes that the turns above them contradict."""
    for note in notes:
        faced = sum(step.turn_deg for step in steps[: note.n_steps]) % FULL_TURN_DEG
        if faced != note.facing:
            yield _error(
                note.line,
                f"the file says facing {clock(note.facing)}, but the turns above lead to"
                f" {clock(faced)} ({wall_name(faced)}); correct the note or a turn",
            )


def turn_findings(turn_deg: int, declared_deg: int | None, line: int) -> Iterator[Finding]:
    """Find a stated sum of turns that the step lines contradict."""
    if declared_deg is not None and declared_deg != turn_deg:
        yield _error(
            line,
            f'the file says turn = "{format_turn(declared_deg)}", but the step lines add up to'
            f" {turn_words(turn_deg)}; correct one of them or leave turn out",
        )


def wall_findings(turn_deg: int, declared: int | None, line: int) -> Iterator[Finding]:
    """Find a stated number of walls that the turns of one repetition contradict."""
    walls = walls_from_turn(turn_deg)
    if declared is not None and declared != walls:
        yield _error(
            line,
            f"the file says walls = {declared}, but one repetition adds up to"
            f" {turn_words(turn_deg)}, which makes {walls}"
            f" {'wall' if walls == 1 else 'walls'}; correct a turn or the number",
        )
