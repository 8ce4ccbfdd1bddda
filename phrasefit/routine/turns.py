"""Turns, facings and walls.

A turn is signed degrees, right (clockwise) = +.  A facing is degrees clockwise from
the front wall, 0-359: 0 = 12:00, 90 = 3:00 (right wall), 180 = 6:00 (back),
270 = 9:00 (left wall); it is fixed to the room, not to the dancer.
Common practice, no source.
"""

from __future__ import annotations

import math
import re
from fractions import Fraction

from phrasefit.errors import ParameterError, shown

FULL_TURN_DEG = 360
QUARTER_DEG = 90
EIGHTH_DEG = 45
MAX_TURN_DEG = 4 * FULL_TURN_DEG  # on one step line; more is a slip of the pen

_GLYPHS = {
    "¼": " 1/4",
    "½": " 1/2",
    "¾": " 3/4",
    "⅛": " 1/8",
    "⅜": " 3/8",
    "⅝": " 5/8",
    "⅞": " 7/8",
}
_NO_TURN = {"", "none", "no", "no turn", "-", ".", "0"}
_TURN = re.compile(
    r"(?:(?P<full>full)|(?:(?P<whole>[0-9]{1,3})\s+)?(?P<top>[0-9]{1,3})\s*/\s*(?P<bottom>[0-9]{1,3})"
    r"|(?P<turns>[0-9]{1,3}))"
    r"(?:\s*turns?)?(?:\s*(?:to\s+(?:the\s+)?)?(?P<side>left|right|l|r)\b)?(?:\s*turns?)?"
)
_HOW = "write a turn as 1/4 L, 1/2 R, 3/4 L, full R, 1/8 L or none"
_WALL_NAMES = {
    0: "front wall",
    45: "front right corner",
    90: "right wall",
    135: "back right corner",
    180: "back wall",
    225: "back left corner",
    270: "left wall",
    315: "front left corner",
}
_SHARE_WORDS = {45: "an eighth", 90: "a quarter", 180: "half a turn", 270: "three quarters"}


def _one_turn(text: str) -> int:
    """Read one turn with its direction as signed degrees."""
    match = _TURN.fullmatch(text)
    if match is None:
        raise ParameterError(f"turn {shown(text)} is not understood; {_HOW}")
    if match["side"] is None:
        raise ParameterError(f"turn {shown(text)} has no direction; write {text} L or {text} R")
    if match["bottom"] and int(match["bottom"]) == 0:
        raise ParameterError(f"turn {shown(text)} divides by nothing; {_HOW}")
    share = Fraction(1) if match["full"] else Fraction(int(match["turns"] or match["whole"] or 0))
    if match["top"]:
        share += Fraction(int(match["top"]), int(match["bottom"]))
    degrees = share * FULL_TURN_DEG
    if degrees.denominator != 1 or degrees % EIGHTH_DEG:
        raise ParameterError(f"turn {shown(text)} is no number of eighths; {_HOW}")
    if degrees > MAX_TURN_DEG:
        raise ParameterError(f"turn {shown(text)} is more than four full turns; {_HOW}")
    return int(degrees) if match["side"].startswith("r") else -int(degrees)


def parse_turn(text: str) -> int:
    """Read the turn of a step line.

    Parameters
    ----------
    text : str
        ``1/4 L``, ``1/2 R``, ``3/4 L``, ``full R``, ``1 1/4 L``, ``1/8 R``, ``none`` or
        nothing; several with a comma or ``+`` between are added up.

    Returns
    -------
    int
        Signed degrees, right = +, a multiple of 45.

    Raises
    ------
    ParameterError
        If the text is no turn or lacks a direction.

    Examples
    --------
    >>> parse_turn("1/4 L"), parse_turn("1/2 R + 1/2 R")
    (-90, 360)
    """
    cleaned = text.lower()
    for glyph, fraction in _GLYPHS.items():
        cleaned = cleaned.replace(glyph, fraction)
    pieces = [" ".join(piece.split()) for piece in re.split(r"[,+]", cleaned)]
    return sum(_one_turn(piece) for piece in pieces if piece not in _NO_TURN)


def format_turn(turn_deg: int) -> str:
    """Write a turn as `parse_turn` reads it: ``1/4 L``, ``full R``, ``none``."""
    if not turn_deg:
        return "none"
    share = Fraction(abs(turn_deg), FULL_TURN_DEG)
    whole, rest = divmod(share, 1)
    amount = " ".join([str(whole)] * bool(whole) + [str(rest)] * bool(rest))
    return f"{'full' if share == 1 else amount} {'R' if turn_deg > 0 else 'L'}"


def turn_words(turn_deg: int) -> str:
    """Say a turn: ``a quarter to the left``, ``one full turn to the right``."""
    if not turn_deg:
        return "no turn"
    side = "right" if turn_deg > 0 else "left"
    size = abs(turn_deg)
    if size == FULL_TURN_DEG:
        return f"one full turn to the {side}"
    return f"{_SHARE_WORDS.get(size) or format_turn(size)[:-2] + ' turns'} to the {side}"


def clock(facing_deg: int) -> str:
    """Write a facing as clock text, such as ``3:00`` or ``10:30``.

    Examples
    --------
    >>> clock(0), clock(-90), clock(45)
    ('12:00', '9:00', '1:30')
    """
    minutes = round(facing_deg % FULL_TURN_DEG * 2) % 720  # a clock hour is 30 degrees
    return f"{minutes // 60 or 12}:{minutes % 60:02d}"


def facing_from_clock(text: str) -> int:
    """Read ``3:00``, ``3``, ``3 o'clock`` or ``10:30`` as degrees, 0-359.

    Raises
    ------
    ParameterError
        If the text is no direction on the clock face that a wall or corner has.
    """
    match = re.fullmatch(r"\s*(\d{1,2})(?::(\d{2}))?(?:\s*o['’]clock)?\s*", text.lower())
    hours, minutes = (int(match[1]), int(match[2] or 0)) if match else (0, 0)
    facing = (hours * 30 + minutes // 2) % FULL_TURN_DEG
    if not match or not 1 <= hours <= 12 or minutes % 30 or facing % EIGHTH_DEG:
        raise ParameterError(
            f"facing {shown(text.strip())} is not understood;"
            " write 12:00, 3:00, 6:00, 9:00 or a corner such as 1:30"
        )
    return facing


def wall_name(facing_deg: int) -> str:
    """Say a facing: front wall, right wall, back wall, left wall, or the corner."""
    facing = facing_deg % FULL_TURN_DEG
    return _WALL_NAMES.get(facing, f"{clock(facing)} direction")


def walls_from_turn(turn_deg: int) -> int:
    """Count the directions a routine begins on: 360 / gcd(net turn, 360).

    Examples
    --------
    >>> [walls_from_turn(turn) for turn in (0, 180, 90, -90, 45, 360)]
    [1, 2, 4, 4, 8, 1]
    """
    return FULL_TURN_DEG // math.gcd(turn_deg, FULL_TURN_DEG)


def wall_order(turn_deg: int) -> tuple[int, ...]:
    """List the facings of successive repetitions until the front comes again."""
    return tuple(turn_deg * wall % FULL_TURN_DEG for wall in range(walls_from_turn(turn_deg)))


def turn_to_front(facing_deg: int) -> int:
    """Give the shortest signed turn that faces the front; half a turn goes right."""
    back = -facing_deg % FULL_TURN_DEG
    return back - FULL_TURN_DEG if back > 180 else back
