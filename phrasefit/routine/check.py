"""Everything a routine file gets checked for: mistakes, and what is only unusual.

Errors come from reading (`spec`); the warnings here are doubts a person decides on, the
notes what is to be known.
Their limits are data at the top, with their sources: lists of the trade disagree.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from phrasefit.meters import DANCE_METERS
from phrasefit.model import Finding, Part, Routine, Step
from phrasefit.routine import dancer_state
from phrasefit.routine.feet import FOOT_WORDS, first_foot, frees, n_weight_changes
from phrasefit.routine.spec import read_routine
from phrasefit.routine.toml_lines import Source, read_text
from phrasefit.routine.turns import (
    EIGHTH_DEG,
    FULL_TURN_DEG,
    QUARTER_DEG,
    clock,
    format_turn,
    turn_words,
)
from phrasefit.routine.vocabulary import plain_pattern

USUAL_COUNTS = (16, 128)  # lengths in use; common practice, no source
SLOWEST_COUNTS_PER_MINUTE = 60.0  # below it bars a minute were meant
LOAD_TEMPO = 120.0  # counts a minute for the turn load of a routine without a tempo range

# No limit is published: more than one turn without a pause, and six turns a minute, are
# our own marks for "say something about dizziness and room".
LONG_RUN_DEG = 360
HIGH_LOAD_DEG_PER_MINUTE = 6 * 360


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelRule:
    """What published lists of levels say about size.

    `counts` are the smallest and the largest limit that a list names.
    """

    counts: tuple[int, int]
    max_turning_lines: int
    syncopation: bool
    extras: bool  # tags and restarts


# "Guide to Line Dance Level Definitions" (trade magazine, 2014, revised 2017) and, where it
# allows more, a newsletter's list (artsentertainment.cc).  They disagree on the counts.
LEVEL_RULES = {
    "absolute beginner": LevelRule(
        counts=(16, 32), max_turning_lines=1, syncopation=False, extras=False
    ),
    "beginner": LevelRule(counts=(32, 48), max_turning_lines=2, syncopation=True, extras=True),
}


def check_routine(path_or_text: Path | str) -> tuple[Routine | None, tuple[Finding, ...]]:
    """Check a routine file for everything at once.

    Parameters
    ----------
    path_or_text : Path or str
        A file; a text with ``=`` or several lines is taken as the file's content.

    Returns
    -------
    routine : Routine or None
        As the file stands, mistakes included; None if too little could be read.
    findings : tuple of Finding
        Errors, warnings and notes in the order of the file.

    Raises
    ------
    RoutineError
        If there is no such file, or it is no text.
    """
    is_text = isinstance(path_or_text, str) and ("\n" in path_or_text or "=" in path_or_text)
    text = str(path_or_text) if is_text else read_text(path_or_text)
    reading = read_routine(text, "" if is_text else str(path_or_text))
    findings = list(reading.findings)
    if reading.routine is not None and reading.source is not None:
        # After a mistake of counts or feet, doubts about where the weight ends are echoes.
        for warn in _WARNINGS if findings else (*_WARNINGS, *_WEIGHT_WARNINGS):
            findings.extend(warn(reading.routine, reading.source))
    order = sorted(findings, key=lambda f: (f.line, f.severity))
    return reading.routine, tuple(order)


def _warning(line: int, message: str) -> Finding:
    return Finding(severity="warning", line=line, message=message)


def _note(line: int, message: str) -> Finding:
    return Finding(severity="note", line=line, message=message)


def _part_line(source: Source, routine: Routine, part: Part, key: str) -> int:
    """Give the line of a part's key, wherever its part stands in the file."""
    return source.line("parts", part.name, key) if routine.sequence else source.line(key)


def _all_steps(routine: Routine) -> Iterator[Step]:
    for part in routine.parts:
        yield from part.steps


# ------------------------------------------------------------------ warnings


def _size_warnings(routine: Routine, source: Source) -> Iterator[Finding]:
    """Doubt lengths that are not whole bars, or far from those in use."""
    bar = routine.meter
    low, high = USUAL_COUNTS
    for part in routine.parts:
        line = _part_line(source, routine, part, "counts")
        if part.counts % bar:
            yield _warning(
                line,
                f"{part.counts} counts are no whole number of bars of {bar}: the next"
                " repetition begins inside a bar; check the counts",
            )
        if not routine.sequence and not low <= part.counts <= high:
            yield _warning(
                line,
                f"{part.counts} counts are unusual, most routines have {low} to {high};"
                " check the number",
            )


def _unused_warnings(routine: Routine, source: Source) -> Iterator[Finding]:
    """Doubt parts that the sequence never dances."""
    for part in routine.parts:
        if routine.sequence and part.name not in routine.sequence:
            yield _warning(
                source.line("parts", part.name),
                f"part {part.name} is never danced; add it to the sequence or take it out",
            )


def _lead_warnings(routine: Routine, source: Source) -> Iterator[Finding]:
    """Doubt a last count that does not lead into what is danced next."""
    danced = dancer_state.danced_parts(routine)
    following = danced[1:] if routine.sequence else danced[:1]
    told = set()
    for part, after in zip(danced, following, strict=False):
        foot = dancer_state.starting_foot(after)
        weight = dancer_state.weight_after_counts(part)[-1]
        if frees(weight, foot) or (part.name, after.name) in told:
            continue
        told.add((part.name, after.name))
        then = f"part {after.name}" if routine.sequence else "the routine"
        mirrored = ", unless every other repetition is meant to begin on the other foot"
        yield _warning(
            part.steps[-1].line,
            f"the last count leaves the weight on the {FOOT_WORDS[weight]}, but {then} begins"
            " with that foot; make the last step a touch or add a step"
            + ("" if routine.sequence else mirrored),
        )


def _level_warnings(routine: Routine, source: Source) -> Iterator[Finding]:
    """Doubt a routine larger than its level; the lists themselves are doubtful."""
    rule = LEVEL_RULES.get(routine.level.lower().replace("-", " "))
    if rule is None:
        return
    line = source.line("level")
    doubt = "(lists of levels disagree; decide yourself)"
    fewest, most = rule.counts
    turning = [step for step in _all_steps(routine) if step.turn_deg]
    if routine.counts > most:
        yield _warning(
            line,
            f"{routine.counts} counts are many for {routine.level}:"
            f" lists allow {fewest} to {most} {doubt}",
        )
    if len(turning) > rule.max_turning_lines:
        yield _warning(
            line,
            f"{len(turning)} lines turn, which is much for {routine.level}:"
            f" usually at most {rule.max_turning_lines} {doubt}",
        )
    off_beat = [
        step for step in _all_steps(routine) if any(m.denominator > 1 for m in step.moments)
    ]
    if off_beat and not rule.syncopation:
        yield _warning(
            off_beat[0].line, f"{routine.level} usually has no steps between counts {doubt}"
        )
    asked = source.data.get("restarts", "none") != "none"
    if not rule.extras and (asked or any(tag.steps for tag in routine.tags)):
        yield _warning(line, f"{routine.level} usually has no tags or restarts {doubt}")


def _turn_warnings(routine: Routine, source: Source) -> Iterator[Finding]:
    """Warn of much turning, of eighths left open, of rare numbers of walls."""
    run = dancer_state.longest_turn_run(routine)
    if run and abs(run.turn_deg) > LONG_RUN_DEG:
        yield _warning(
            run.line,
            f"from here {turn_words(run.turn_deg)} without a pause; check that there is"
            " room, and offer those who get dizzy a version that does not turn",
        )
    tempo = routine.tempo_bpm[1] if routine.tempo_bpm else LOAD_TEMPO
    load = dancer_state.turn_load_deg_per_minute(routine, tempo)
    if load > HIGH_LOAD_DEG_PER_MINUTE:
        yield _warning(
            source.line("tempo"),
            f"{load / FULL_TURN_DEG:.0f} full turns a minute at {tempo:g} counts a minute are"
            " many; mind smooth soles, room and dizziness",
        )
    for part in routine.parts:
        if part.turn_deg % QUARTER_DEG == EIGHTH_DEG:
            eighths = [step for step in part.steps if step.turn_deg % QUARTER_DEG]
            line = eighths[-1].line if eighths else _part_line(source, routine, part, "turn")
            yield _warning(
                line,
                f"an eighth turn stays open: {part.counts} counts end facing"
                f" {clock(part.turn_deg)}, a corner; close it with another"
                f" {format_turn(EIGHTH_DEG)[:-2]} unless that is meant",
            )
    if not routine.parts[0].steps and routine.walls in (3, 8):
        yield _warning(source.line("walls"), f"{routine.walls} walls are rare; check the number")


def _restart_warnings(routine: Routine, source: Source) -> Iterator[Finding]:
    """Doubt restarts that a file asks for at odd places or on the wrong foot."""
    bar = routine.meter
    for part in routine.parts:
        own = source.data.get("parts", {}).get(part.name, {}) if routine.sequence else source.data
        own = own if "restarts" in own else source.data
        if not isinstance(own.get("restarts"), list | int):
            continue
        line = _part_line(source, routine, part, "restarts")
        for point in part.restart_points:
            if point.after_count % bar:
                yield _warning(
                    line,
                    f"a restart after count {point.after_count} falls inside a bar of {bar};"
                    " most songs break on whole bars, check the number",
                )
            if point.turn_deg % QUARTER_DEG:
                yield _warning(
                    line,
                    f"a restart after count {point.after_count} begins facing"
                    f" {clock(point.turn_deg)}, a corner; close the eighth turn first",
                )
            if point.step_change:  # nothing to decide on: dancers are told to change the step
                yield _note(
                    line,
                    f"a restart after count {point.after_count} needs a change of step:"
                    f" {point.step_change}",
                )


def _tag_warnings(routine: Routine, source: Source) -> Iterator[Finding]:
    """Doubt tags of lengths that songs rarely ask for."""
    usual = DANCE_METERS[routine.meter].usual_tags
    for place, tag in enumerate(routine.tags):
        if tag.counts not in (*usual, 1):
            lengths = ", ".join(str(length) for length in usual)
            yield _warning(
                source.line("tags", place, "counts"),
                f"a tag of {tag.counts} counts is unusual ({lengths} are in use);"
                " it fits only a song with such an odd bar",
            )


def _tempo_warnings(routine: Routine, source: Source) -> Iterator[Finding]:
    """Doubt tempos that look like bars a minute."""
    if routine.tempo_bpm and routine.tempo_bpm[1] < SLOWEST_COUNTS_PER_MINUTE:
        low, high = routine.tempo_bpm
        yield _warning(
            source.line("tempo"),
            f"tempo = [{low:g}, {high:g}] looks like bars a minute; in counts a minute that is"
            f" [{low * routine.meter:g}, {high * routine.meter:g}]",
        )


def _step_warnings(routine: Routine, source: Source) -> Iterator[Finding]:
    """Doubt steps that are counted, weighted or turned otherwise than usual."""
    tags = [step for tag in routine.tags for step in tag.steps]
    for step in (*_all_steps(routine), *tags):
        pattern = plain_pattern(step.name)
        if pattern is None:
            continue
        n_counts = sum(moment.denominator == 1 for moment in step.moments)
        usual = pattern.weight_changes_in(n_counts)
        name, written = pattern.name, f"this line has {n_counts}"
        if not usual:
            counts = " or ".join(str(counts) for counts, _ in pattern.usual)
            yield _warning(step.line, f"a {name} usually takes {counts} counts, {written}")
            continue
        changes = n_weight_changes(step.feet)
        if step.feet and changes not in usual:
            numbers = " or ".join(str(number) for number in usual)
            yield _warning(
                step.line,
                f"a {name} in {n_counts} counts usually has {numbers} weight changes,"
                f" this line has {changes}; check the feet",
            )
        yield from _step_turn_warnings(step, n_counts)


def _step_turn_warnings(step: Step, n_counts: int) -> Iterator[Finding]:
    """Doubt turns of steps that exist for turning."""
    pattern = plain_pattern(step.name)
    if pattern is None or not pattern.must_turn:
        return
    if not pattern.turn_is_usual(step.turn_deg, n_counts):
        sizes = " or ".join(format_turn(size)[:-2] for size in pattern.turns_deg)
        yield _warning(
            step.line,
            f"a {pattern.name} usually turns {sizes}, this line {turn_words(step.turn_deg)};"
            " check the turn",
        )
    foot = first_foot(step.feet)
    if pattern.name == "pivot" and step.turn_deg and foot:
        towards = "R" if step.turn_deg > 0 else "L"
        if foot == towards:
            yield _warning(
                step.line,
                f"a pivot turns away from the foot that steps forward: with the"
                f" {FOOT_WORDS[foot]} that is {format_turn(-step.turn_deg)}; check foot and turn",
            )


_WARNINGS = (
    _size_warnings,
    _unused_warnings,
    _level_warnings,
    _turn_warnings,
    _tag_warnings,
    _tempo_warnings,
    _step_warnings,
)
_WEIGHT_WARNINGS = (_lead_warnings, _restart_warnings)
