"""The trade's count notation, and the only conversion between 0- and 1-based counts.

A moment is a `Fraction` of counts from the start of a part: count 1 is moment 0.
``e``, ``&`` and ``a`` are the quarters of a count (1/4, 1/2, 3/4) when the music is
straight; swing moves where they sound, never where they are written.

=========  ======================  ===========================================
written    moments                 remark
=========  ======================  ===========================================
``1-4``    0, 1, 2, 3              whole counts
``3&4``    2, 2 1/2, 3             three moves in two counts
``&5``     3 1/2, 4                a leading sign borrows from the count before
``7&8&``   6, 6 1/2, 7, 7 1/2      a trailing sign belongs to its number
``1&a2``   0, 1/2, 3/4, 1
``&1``     -1/2, 0                 borrowed from the last count of what went before
=========  ======================  ===========================================

A sign directly behind a number belongs to it; after a space it leads to the next
number, so that ``1 & 2`` is ``1&2``.  Common practice, no source.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import pairwise

from phrasefit.errors import ParameterError, shown
from phrasefit.meters import DANCE_METERS

MAX_COUNTS = 512  # four times the longest routine in use; keeps "1-99999999" harmless

SIGNS = {"e": Fraction(1, 4), "&": Fraction(1, 2), "a": Fraction(3, 4)}
_SIGN_OF = {fraction: sign for sign, fraction in SIGNS.items()}

STRAIGHT = 0.5
TRIPLET_SWING = 2 / 3  # the usual shuffle: long and short note as 2 to 1

_TOKEN = re.compile(
    r"(?P<first>[0-9]{1,9})(?:\s*[-–]\s*(?P<last>[0-9]{1,9}))?|(?P<sign>[e&a])|(?P<gap>[\s,]+)"
)
_HOW = "write counts as 1, 1-2, 3&4, &5, 7&8& or 1a2"


def count_number(index: int) -> int:
    """Give the number that dancers say for the 0-based count `index`."""
    return index + 1


def count_index(number: int) -> int:
    """Give the 0-based index of the count that dancers call `number`."""
    return number - 1


def _tokens(text: str) -> Iterator[re.Match[str]]:
    """Cut `text` into numbers, ranges, signs and gaps."""
    place = 0
    while place < len(text):
        match = _TOKEN.match(text, place)
        if match is None:
            rest = text[place:]
            raise ParameterError(f"counts {shown(text)}: {shown(rest)} is not understood; {_HOW}")
        yield match
        place = match.end()


def _whole_counts(match: re.Match[str], text: str) -> range:
    """Read ``5`` or ``5-8`` as 0-based counts."""
    first = int(match["first"])
    last = int(match["last"] or first)
    if first < 1:
        raise ParameterError(f"counts {shown(text)}: counting starts at 1, not at {first}; {_HOW}")
    if last > MAX_COUNTS:
        raise ParameterError(f"counts {shown(text)}: a routine has at most {MAX_COUNTS} counts")
    if match["last"] and last <= first:
        better = f"{last}-{first}" if last < first else f"{first}"
        raise ParameterError(f"counts {shown(text)} do not go forward; write {better}")
    return range(count_index(first), count_index(last) + 1)


def parse_counts(text: str) -> tuple[Fraction, ...]:
    """Read the counts of one step line.

    Parameters
    ----------
    text : str
        Such as ``1-2``, ``3&4``, ``&5``, ``7&8&``, ``1&a2``.

    Returns
    -------
    tuple of Fraction
        Strictly increasing moments [counts, 0 = count 1; a leading ``&1`` is -1/2].

    Raises
    ------
    ParameterError
        If `text` is empty, not in the notation, or not increasing.

    Examples
    --------
    >>> [str(moment) for moment in parse_counts("&5")]
    ['7/2', '4']
    """
    cleaned = text.strip().lower().replace("and", "&")
    moments: list[Fraction] = []
    waiting: list[Fraction] = []  # signs that lead to a number not yet read
    last: int | None = None
    attached = False
    for match in _tokens(cleaned):
        if match["gap"]:
            attached = False
        elif match["sign"]:
            sign = SIGNS[match["sign"]]
            if attached and last is not None:
                moments.append(last + sign)
            else:
                waiting.append(sign)
        else:
            whole = _whole_counts(match, cleaned)
            moments += [whole[0] - 1 + sign for sign in waiting]
            moments += [Fraction(index) for index in whole]
            waiting, last, attached = [], whole[-1], True
    if last is None:
        raise ParameterError(f"counts {shown(text.strip())} name no number; {_HOW}")
    moments += [last + sign for sign in waiting]
    if any(later <= earlier for earlier, later in pairwise(moments)):
        raise ParameterError(f"counts {shown(text.strip())} do not go forward; {_HOW}")
    return tuple(moments)


def owning_count(moment: Fraction, line: Sequence[Fraction]) -> int:
    """Give the 0-based count that a moment of a step line is danced with.

    A sign behind its number belongs to that count; a leading sign belongs to the
    count it leads to, though it sounds earlier: a repetition cut after count 4
    leaves out the ``&`` of ``&5``.
    """
    whole = math.floor(moment)
    return whole if whole in line else whole + 1


def moment_label(moment: Fraction) -> str:
    """Name one moment as dancers do: ``16``, ``16&``, ``4a``; before count 1: ``&1``."""
    whole = math.floor(moment)
    sign = _SIGN_OF.get(moment - whole, "")
    return f"{count_number(whole)}{sign}" if whole >= 0 else f"{sign}{count_number(whole) + 1}"


def count_words(first: int, meter: int, last: int | None = None) -> str:
    """Name counts (1-based), with their place in the section from the second on.

    Examples
    --------
    >>> count_words(5, 4), count_words(13, 4), count_words(13, 4, 16)
    ('count 5', 'count 13 (5 of section 2)', 'counts 13-16 (5-8 of section 2)')
    """
    size = DANCE_METERS[meter].group_counts
    section, place = divmod(count_index(first), size)
    if last is None or last == first:
        words, places = f"count {first}", f"{place + 1}"
    else:
        words, places = f"counts {first}-{last}", f"{place + 1}-{place + 1 + last - first}"
        if count_index(last) // size != section:
            return words
    return words + (f" ({places} of section {section + 1})" if section else "")


def sounding_offset(fraction: Fraction, swing: float) -> float:
    """Say where in its count a single ``e``, ``&`` or ``a`` sounds.

    Parameters
    ----------
    fraction : Fraction
        0, 1/4, 1/2 or 3/4 of a count, as written.
    swing : float
        Where ``&`` sounds [fraction of a count, 0.5 straight to 0.75]; 2/3 is the
        usual shuffle.

    Returns
    -------
    float
        Fraction of a count, 0 <= offset < 1.  In straight music the fraction itself; with
        triplet swing ``&`` and ``a`` both sound on the last third, ``e`` on the first.

    Raises
    ------
    ParameterError
        If either value is out of range.

    Notes
    -----
    Common practice, no source.
    """
    if not STRAIGHT <= swing <= 0.75:
        raise ParameterError(f"swing={swing:g} must lie between 0.5 (straight) and 0.75")
    if fraction != 0 and fraction not in _SIGN_OF:
        raise ParameterError(f"fraction={fraction} must be 0, 1/4 (e), 1/2 (&) or 3/4 (a)")
    triplet = min(1.0, (swing - STRAIGHT) / (TRIPLET_SWING - STRAIGHT))
    if fraction == SIGNS["&"]:
        return swing
    if fraction == SIGNS["a"]:
        return max(swing, 0.75 - triplet / 12)
    return float(fraction) + (triplet / 12 if fraction else 0.0)
