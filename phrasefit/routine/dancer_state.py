"""Questions that planning and reports put to a routine: facing, weight, turn load.

Lists "per count" have one entry for each count of a part: entry `i` is the state
once count `i` (0-based) has been danced.  A turn counts as done with the last count
of its step line; write a line of its own for a turn that must be known earlier.
"""

from __future__ import annotations

import functools
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import takewhile

from phrasefit.model import Part, Routine, Step
from phrasefit.routine.counts import owning_count
from phrasefit.routine.feet import OTHER, first_foot, free_foot, weight_after
from phrasefit.routine.turns import FULL_TURN_DEG


@dataclass(frozen=True, slots=True, kw_only=True)
class TurnRun:
    """Turning to one side without a line between that stands still or turns back."""

    turn_deg: int
    part: str
    line: int


def last_count(step: Step) -> int:
    """Give the 0-based count with which a step line is done."""
    return max(owning_count(moment, step.moments) for moment in step.moments)


def first_count(step: Step) -> int:
    """Give the 0-based count with which a step line begins."""
    return owning_count(step.moments[0], step.moments)


def turn_after(part: Part) -> tuple[int, ...]:
    """Give the sum of all turns done by each count [signed degrees, not folded]."""
    turned = [0] * part.counts
    if not part.steps and part.counts:
        turned[-1] = part.turn_deg  # numbers only: taken to be turned at the very end
    for step in part.steps:
        for count in range(min(last_count(step), part.counts - 1), part.counts):
            turned[count] += step.turn_deg
    return tuple(turned)


def facing_after(part: Part) -> tuple[int, ...]:
    """Give the facing after each count, 0-359 degrees; the part begins at 0 = 12:00."""
    return tuple(turn % FULL_TURN_DEG for turn in turn_after(part))


def signs_in_order(part: Part) -> Iterator[tuple[int, str]]:
    """Yield (0-based owning count, foot sign) of every moment; "" where none is stated."""
    for step in part.steps:
        feet = step.feet or ("",) * len(step.moments)
        for moment, sign in zip(step.moments, feet, strict=True):
            yield owning_count(moment, step.moments), sign


def starting_foot(part: Part) -> str:
    """Name the foot a part begins with: its first foot with weight; "" if not known."""
    return first_foot(sign for _, sign in signs_in_order(part))


def weight_after_counts(part: Part) -> tuple[str, ...]:
    """Give the foot with the weight after each count: ``R``, ``L``, ``B`` or ""."""
    signs: list[list[str]] = [[] for _ in range(part.counts)]
    for count, sign in signs_in_order(part):
        signs[min(max(count, 0), part.counts - 1)].append(sign)
    weight = OTHER[starting_foot(part)]
    weights = []
    for danced in signs:
        weight = weight_after(weight, danced)
        weights.append(weight)
    return tuple(weights)


def free_foot_after(part: Part) -> tuple[str, ...]:
    """Give the foot that may step after each count: ``R``, ``L``, ``B`` (either) or ""."""
    return tuple(free_foot(weight) for weight in weight_after_counts(part))


def danced_parts(routine: Routine) -> tuple[Part, ...]:
    """List the parts in the order danced: one, or the sequence of a phrased routine."""
    by_name = {part.name: part for part in routine.parts}
    return tuple(by_name[name] for name in routine.sequence) or routine.parts[:1]


def net_turn(routine: Routine) -> int:
    """Sum the turns of one repetition (phrased: of the sequence) [signed degrees]."""
    return sum(part.turn_deg for part in danced_parts(routine))


def turn_load_deg_per_minute(routine: Routine, counts_per_minute: float) -> float:
    """Give how much is turned in a minute, to either side, full turns included.

    Parameters
    ----------
    counts_per_minute : float
        Speed of the dance [counts a minute, > 0].

    Returns
    -------
    float
        Degrees a minute: the turns of all lines without their signs, as what makes
        dizzy is the turning, not where it ends.  Parts without steps add their sum.
    """
    turned = n_counts = 0
    for part in danced_parts(routine):
        turns = [step.turn_deg for step in part.steps] or [part.turn_deg]
        turned += sum(abs(turn) for turn in turns)
        n_counts += part.counts
    return turned / n_counts * counts_per_minute


def longest_turn_run(routine: Routine) -> TurnRun | None:
    """Find the most turning to one side in step lines that follow each other.

    The routine repeats, so that its last lines run on into the first ones.
    Returns None if nothing turns or no steps are given.
    """
    lines = [(part, step) for part in danced_parts(routine) for step in part.steps]
    turns = [step.turn_deg for _, step in lines]
    if not any(turns):
        return None
    n_lines = len(lines)
    # A run begins where the line before does not turn the same way; none does in a
    # routine that turns one way on every line.
    begins = [i for i in range(n_lines) if turns[i] and turns[i - 1] * turns[i] <= 0] or [0]
    runs = []
    for begin in begins:
        ahead = (turns[(begin + step) % n_lines] for step in range(n_lines))
        part, step = lines[begin]
        runs.append(
            TurnRun(
                turn_deg=sum(takewhile(functools.partial(_same_side, turns[begin]), ahead)),
                part=part.name,
                line=step.line,
            )
        )
    return max(runs, key=lambda run: abs(run.turn_deg))


def _same_side(one_deg: int, other_deg: int) -> bool:
    return one_deg * other_deg > 0
