"""Which foot carries the weight.

A sign says who takes weight at a moment: ``R``, ``L``, ``B`` (both feet, such as a
jump or a heel split) or ``.`` (nobody new: touch, kick, hitch, hold).  The weight
before and after a moment is ``R``, ``L``, ``B`` or "" (not known).  Only a free foot
can step: after ``R`` the next weight must be ``L`` or ``B``, however many touches lie
between.  Common practice; that a step changes weight and a touch does not:
"Basic line dance terms" (sound-a-motion.tripod.com/basicsteps.html).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from phrasefit.errors import ParameterError, shown

NO_WEIGHT = "."
BOTH = "B"
OTHER = {"R": "L", "L": "R", "B": "B", "": ""}
FOOT_WORDS = {"R": "right foot", "L": "left foot", "B": "both feet", "": "a foot not stated"}

_SIGNS = {"r": "R", "l": "L", "b": "B", ".": ".", "-": ".", "_": "."}
_NAMES = {"right": "R", "left": "L", "both": "B", "r": "R", "l": "L"}


def parse_feet(text: str, n_moments: int) -> tuple[str, ...]:
    """Read the feet of a step line, one sign for each of its `n_moments`.

    Spaces between the signs are free: ``R L R`` is ``RLR``.

    Raises
    ------
    ParameterError
        If a sign is unknown, or there are more or fewer signs than moments.
    """
    joined = "".join(text.split()).replace(",", "").lower()
    unknown = [sign for sign in joined if sign not in _SIGNS]
    if any(sign.isdigit() for sign in unknown):
        raise ParameterError(
            f"feet {shown(text.strip())} look like a turn;"
            " the order is counts | step | feet | turn, so put another | before it"
        )
    if unknown:
        raise ParameterError(
            f"feet {shown(text.strip())}: {shown(unknown[0])} is not understood;"
            " write R, L, B (both) or . (no weight)"
        )
    if len(joined) != n_moments:
        raise ParameterError(
            f"feet {shown(text.strip())} are {len(joined)} for {n_moments} moments of the counts;"
            " write one sign for each, and . where no foot takes weight"
        )
    return tuple(_SIGNS[sign] for sign in joined)


def parse_foot(text: str) -> str:
    """Read the foot that begins: ``R``, ``L``, ``right`` or ``left``."""
    foot = _NAMES.get(text.strip().lower().removesuffix(" foot"), "")
    if foot not in ("R", "L"):
        raise ParameterError(f'foot {shown(text)} is not understood; write "R" or "L"')
    return foot


def is_legal(weight: str, sign: str) -> bool:
    """Tell whether `sign` can follow when the weight is on `weight`."""
    return sign not in ("R", "L") or sign != weight


def weight_after(weight: str, signs: Iterable[str]) -> str:
    """Give the weight after `signs`, starting from `weight`."""
    for sign in signs:
        weight = weight if sign == NO_WEIGHT else sign
    return weight


def free_foot(weight: str) -> str:
    """Name the foot that may step next: ``R``, ``L``, ``B`` (either) or "" (not known)."""
    return OTHER[weight]


def first_foot(signs: Iterable[str]) -> str:
    """Name the first foot that takes weight alone; "" if both or none come first."""
    first = next((sign for sign in signs if sign != NO_WEIGHT), "")
    return first if first in ("R", "L") else ""


def frees(weight: str, foot: str) -> bool:
    """Tell whether `foot` may step when the weight is on `weight` (unknown: yes)."""
    return not foot or is_legal(weight, foot)


def n_weight_changes(signs: Sequence[str]) -> int:
    """Count the signs that take weight."""
    return sum(sign != NO_WEIGHT for sign in signs)
