"""A checked routine as text for a terminal and as a JSON document."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from phrasefit.meters import DANCE_METERS
from phrasefit.model import Finding, Part, Routine, TagOption
from phrasefit.routine import dancer_state
from phrasefit.routine.check import LOAD_TEMPO
from phrasefit.routine.counts import STRAIGHT, moment_label
from phrasefit.routine.feet import FOOT_WORDS
from phrasefit.routine.turns import (
    FULL_TURN_DEG,
    clock,
    format_turn,
    turn_words,
    wall_name,
    wall_order,
)

CHECK_FORMAT = "phrasefit-check"
FORMAT_VERSION = 1


def n_errors(findings: Sequence[Finding]) -> int:
    """Count the findings that must be fixed."""
    return sum(finding.severity == "error" for finding in findings)


def n_doubts(findings: Sequence[Finding]) -> int:
    """Count the findings that a person decides on."""
    return sum(finding.severity == "warning" for finding in findings)


def render(path: str, routine: Routine | None, findings: Sequence[Finding]) -> str:
    """Write findings and summary of one routine file, ending in a newline."""
    lines = [path, *_finding_lines(findings), f"  {how_many(findings)}", ""]
    if routine is not None:
        lines += [summary(routine, findings), ""]
    return "\n".join(lines) + "\n"


def how_many(findings: Sequence[Finding]) -> str:
    """Say how much there is to fix and to decide on."""
    errors, doubts = n_errors(findings), n_doubts(findings)
    if not errors and not doubts:
        return "no mistakes, no doubts"
    return f"{_many(errors, 'mistake')} to fix, {_many(doubts, 'doubt')} to decide on"


def summary(routine: Routine, findings: Sequence[Finding]) -> str:
    """Write what follows from the file: counts, walls, facings, restarts."""
    return "\n".join(_summary_lines(routine, doubtful=n_errors(findings) > 0))


def _finding_lines(findings: Sequence[Finding]) -> Iterator[str]:
    for finding in findings:
        where = f"line {finding.line}: " if finding.line else ""
        yield f"  {finding.severity:<8} {where}{finding.message}"


def _many(number: int, what: str) -> str:
    return f"{number or 'no'} {what}{'' if number == 1 else 's'}"


def _summary_lines(routine: Routine, *, doubtful: bool) -> Iterator[str]:
    by = f", by {routine.by}" if routine.by else ""
    yield f"{routine.name}{by}" + ("   (as the file stands, mistakes included)" if doubtful else "")
    yield from (f"  {line}" for line in _head_lines(routine))
    for part in routine.parts:
        yield from (f"  {line}" for line in _part_lines(routine, part))
    if routine.tags:
        yield f"  tags        {'; '.join(_tag_words(tag) for tag in routine.tags)}"
    else:
        yield "  tags        none"
    yield f"  turning     {_turning_words(routine)}"
    for place, assumption in enumerate(routine.assumed):
        yield f"  {'' if place else 'assumed':<11} {assumption}"


def _head_lines(routine: Routine) -> Iterator[str]:
    rhythm = DANCE_METERS[routine.meter].groups
    walls = f"{routine.walls} wall{'' if routine.walls == 1 else 's'}"
    counts = f"{routine.counts} counts" if not routine.sequence else "phrased"
    level = f", {routine.level}" if routine.level else ""
    swing = "" if routine.swing == STRAIGHT else f", swung: & at {routine.swing:.0%} of the count"
    yield f"size        {counts}, {walls}, {rhythm}{level}{swing}"
    turn = dancer_state.net_turn(routine)
    if routine.sequence:
        order = " ".join(routine.sequence)
        total = sum(part.counts for part in dancer_state.danced_parts(routine))
        yield f"sequence    {order}: {total} counts, {turn_words(turn)} in all"
    else:
        order = ", ".join(clock(facing) for facing in wall_order(turn))
        each = f"{turn_words(turn)} each time:" if turn else "no turn, every repetition faces"
        yield f"walls       {each} {order}"
    if routine.tempo_bpm:
        low, high = routine.tempo_bpm
        yield f"tempo       {low:g} to {high:g} counts a minute"
    if routine.intro_counts is not None:
        yield f"intro       {routine.intro_counts} counts"
    if routine.starting_foot:
        yield f"begins      on the {FOOT_WORDS[routine.starting_foot]}"


def _part_lines(routine: Routine, part: Part) -> Iterator[str]:
    if routine.sequence:
        yield f"part {part.name}: {part.counts} counts, {turn_words(part.turn_deg)}"
    size = DANCE_METERS[routine.meter].group_counts
    ends = [*range(size, part.counts, size), part.counts]
    facings = dancer_state.facing_after(part)
    free = dancer_state.free_foot_after(part)
    label = "facing"
    for end in ends if part.steps else ():
        facing, foot = facings[end - 1], free[end - 1]
        weight = {"": "", "B": "either foot free"}.get(foot, f"{FOOT_WORDS[foot]} free")
        line = f"{label:<11} after {end:>3}   {clock(facing):>5}  {wall_name(facing):<19} {weight}"
        yield line.rstrip()
        label = ""
    label = "restarts"
    for point in part.restart_points:
        change = point.step_change or (
            "no change of step" if routine.starting_foot else "feet not known"
        )
        line = f"{label:<11} after {point.after_count:>3}   {clock(point.turn_deg):>5}  {change}"
        yield line.rstrip()
        label = ""
    if not part.restart_points:
        yield "restarts    none"


def _tag_words(tag: TagOption) -> str:
    name = f'"{tag.name}" ' if tag.name else ""
    turn = f", {turn_words(tag.turn_deg)}" if tag.turn_deg else ""
    return f"{name}{tag.counts} count{'' if tag.counts == 1 else 's'}{turn}"


def _turning_words(routine: Routine) -> str:
    tempo = routine.tempo_bpm[1] if routine.tempo_bpm else LOAD_TEMPO
    load = dancer_state.turn_load_deg_per_minute(routine, tempo)
    if not load:
        return "none"
    run = dancer_state.longest_turn_run(routine)
    longest = f"; at most {turn_words(run.turn_deg)} without a pause" if run else ""
    turns = load / FULL_TURN_DEG
    return f"{turns:.1f} full turns a minute at {tempo:g} counts a minute{longest}"


# ---------------------------------------------------------------------- JSON


def check_document(
    results: Sequence[tuple[str, Routine | None, Sequence[Finding]]],
) -> dict[str, Any]:
    """Lay out checked files as the JSON document of ``phrasefit check --json``."""
    return {
        "format": CHECK_FORMAT,
        "version": FORMAT_VERSION,
        "files": [
            {
                "path": path,
                "errors": n_errors(findings),
                "warnings": n_doubts(findings),
                "findings": [
                    {"severity": f.severity, "line": f.line, "message": f.message} for f in findings
                ],
                "routine": _routine_document(routine) if routine else None,
            }
            for path, routine, findings in results
        ],
    }


def _routine_document(routine: Routine) -> dict[str, Any]:
    tempo = routine.tempo_bpm[1] if routine.tempo_bpm else LOAD_TEMPO
    return {
        "name": routine.name,
        "counts": routine.counts,
        "walls": routine.walls,
        "meter": routine.meter,
        "sequence": list(routine.sequence),
        "starting_foot": routine.starting_foot,
        "turn_deg": dancer_state.net_turn(routine),
        "turn_load_deg_per_minute": dancer_state.turn_load_deg_per_minute(routine, tempo),
        "turn_load_counts_per_minute": tempo,
        "parts": [_part_document(part) for part in routine.parts],
        "tags": [
            {"name": tag.name, "counts": tag.counts, "turn_deg": tag.turn_deg}
            for tag in routine.tags
        ],
        "assumed": list(routine.assumed),
    }


def _part_document(part: Part) -> dict[str, Any]:
    return {
        "name": part.name,
        "counts": part.counts,
        "turn_deg": part.turn_deg,
        "facing": [clock(facing) for facing in dancer_state.facing_after(part)],
        "free_foot": list(dancer_state.free_foot_after(part)),
        "restarts": [
            {
                "after_count": point.after_count,
                "facing": clock(point.turn_deg),
                "step_change": point.step_change,
            }
            for point in part.restart_points
        ],
        "steps": [
            {
                "line": step.line,
                "counts": [moment_label(moment) for moment in step.moments],
                "step": step.name,
                "feet": list(step.feet),
                "turn": format_turn(step.turn_deg),
            }
            for step in part.steps
        ],
    }
