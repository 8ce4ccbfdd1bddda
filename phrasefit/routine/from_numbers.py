"""A routine of which only the numbers are known, and what is then taken for granted."""

from __future__ import annotations

from dataclasses import replace

from phrasefit.errors import ParameterError
from phrasefit.meters import DANCE_METERS
from phrasefit.model import Part, Routine
from phrasefit.routine.counts import MAX_COUNTS
from phrasefit.routine.part_reader import ONLY_PART
from phrasefit.routine.restarts import restart_points, usual_restart_counts
from phrasefit.routine.tags import any_tags
from phrasefit.routine.turns import turn_words, walls_from_turn

# Turn of one repetition if only the number of walls is known: to the right where the
# side is open.  3 and 8 walls are rare.
TURN_OF_WALLS = {1: 0, 2: 180, 3: 120, 4: 90, 8: 45}

USUAL_WALLS = (1, 2, 4)

ASSUMED_PLACE = "the turn comes at the very end: at a restart nothing has been turned yet"
ASSUMED_FEET = "no feet are written: restarts are taken to need no change of step"
ASSUMED_FIRST_FOOT = (
    "the foot that begins is not written: restarts are taken to need no change of step"
)


def assumed_turn(turn_deg: int) -> str:
    """Say that the turn was taken from the number of walls."""
    side = "" if abs(turn_deg) in (0, 180) else "; if it goes to the left, say so with turn"
    return f"one repetition makes {turn_words(turn_deg)} (from the number of walls){side}"


def routine_from_numbers(
    *,
    counts: int = 32,
    walls: int = 4,
    meter: int = 4,
    turn_deg: int | None = None,
    name: str = "",
    tempo_bpm: tuple[float, float] | None = None,
    intro_counts: int | None = None,
) -> Routine:
    """Make a routine of which only the numbers are known.

    Parameters
    ----------
    counts : int
        Counts of one repetition, 4 to 512.
    walls : int
        1, 2 or 4.
    meter : int
        4 or 3 (waltz).
    turn_deg : int, optional
        Signed turn of one repetition [degrees, right = +]; by default the one that
        makes `walls`, to the right.
    name : str
        What to call it; its numbers if left out.
    tempo_bpm : (float, float), optional
        Slowest and fastest tempo [counts a minute].
    intro_counts : int, optional
        Counts of intro it wants.

    Returns
    -------
    Routine
        `assumed` says what was taken for granted about turn, feet, restarts and tags.

    Raises
    ------
    ParameterError
        If a number is out of range, or `turn_deg` does not make `walls`.
    """
    if meter not in DANCE_METERS:
        raise ParameterError(f"meter={meter} must be 4, or 3 for a waltz")
    if not 4 <= counts <= MAX_COUNTS:
        raise ParameterError(f"counts={counts} must lie between 4 and {MAX_COUNTS}")
    if walls not in USUAL_WALLS:
        raise ParameterError(
            f"walls={walls} must be 1, 2 or 4; write a routine file for other turns"
        )
    turn = TURN_OF_WALLS[walls] if turn_deg is None else turn_deg
    if walls_from_turn(turn) != walls:
        raise ParameterError(
            f"turn_deg={turn} makes {walls_from_turn(turn)} walls, not walls={walls};"
            " give one of them only"
        )
    part = Part(name=ONLY_PART, counts=counts, turn_deg=turn)
    tags, odd_bar_tags = any_tags(meter)
    points = restart_points(part, usual_restart_counts(counts, meter), "")
    return Routine(
        name=name or f"{counts} counts, {walls} {'wall' if walls == 1 else 'walls'}",
        parts=(replace(part, restart_points=points),),
        walls=walls,
        meter=meter,
        tags=tags,
        odd_bar_tags=odd_bar_tags,
        tempo_bpm=tempo_bpm,
        intro_counts=intro_counts,
        assumed=(_assumed(turn),),
    )


def _assumed(turn_deg: int) -> str:
    """Say in one line what is taken for granted of a routine that has no steps."""
    turn = f"each wall turns at its very end ({turn_words(turn_deg)})" if turn_deg else "no turn"
    return f"{turn}; no change of step at a restart"
