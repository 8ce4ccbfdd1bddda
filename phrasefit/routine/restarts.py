"""Where a repetition may be cut short, and what the feet then need.

A restart after count k begins count 1 again facing wherever count k left everyone.
It works as it is if the foot that begins the routine is free; else the sheet must
name a change of step.  Restarts fall on whole sections (8 counts, waltz 6), else on
bars (4, waltz 3): "Phrasing music"
(myplace.frontier.com/~dancin.feats/phrasingmusic.html) and common practice.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from phrasefit.model import Part, RestartPoint, Step
from phrasefit.routine.counts import moment_label, owning_count
from phrasefit.routine.dancer_state import (
    first_count,
    last_count,
    turn_after,
    weight_after_counts,
)
from phrasefit.routine.feet import FOOT_WORDS, NO_WEIGHT, OTHER, frees


def usual_restart_counts(n_counts: int, meter: int) -> tuple[int, ...]:
    """List the numbers of counts after which a restart is usual: whole bars."""
    bar = meter
    return tuple(range(bar, n_counts, bar))


def turning_line_cut(part: Part, after_count: int) -> Step | None:
    """Find the step line that a cut would split while it turns, if there is one."""
    for step in part.steps:
        if step.turn_deg and first_count(step) < after_count <= last_count(step):
            return step
    return None


def restart_points(part: Part, wanted: Iterable[int], foot: str) -> tuple[RestartPoint, ...]:
    """Work out the restart points of a part.

    Parameters
    ----------
    part : Part
        Its own `restart_points` are not looked at.
    wanted : iterable of int
        Numbers of counts danced before the cut; those outside the part, and those
        inside a line that turns (how much is turned by then is not known), are left out.
    foot : str
        The foot that the routine begins with; "" if not known (then nothing is said
        about the feet).

    Returns
    -------
    tuple of RestartPoint
        In order of counts.
    """
    turns = turn_after(part)
    weights = weight_after_counts(part)
    points = []
    for after in sorted(set(wanted)):
        if not 0 < after < part.counts or turning_line_cut(part, after):
            continue
        free = frees(weights[after - 1], foot)
        change = "" if free else _step_change(part, after, foot)
        points.append(
            RestartPoint(after_count=after, turn_deg=turns[after - 1], step_change=change)
        )
    return tuple(points)


def _step_change(part: Part, after: int, foot: str) -> str:
    """Say in a sheet's words how the weight is brought off `foot` before the cut."""
    moment, sign = [
        (moment, sign)
        for step in part.steps
        for moment, sign in zip(step.moments, step.feet or [""] * len(step.moments), strict=True)
        if owning_count(moment, step.moments) < after
    ][-1]
    label = moment_label(moment)
    if sign == NO_WEIGHT:
        return f"on count {label} step on the {FOOT_WORDS[OTHER[foot]]} with weight"
    if moment != math.floor(moment):
        return f"leave out the step on count {label}"
    return f"on count {label} touch the {FOOT_WORDS[foot]} instead of stepping on it"
