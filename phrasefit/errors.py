"""The exception tree: every failure a user can fix has one class here.

::

    PhrasefitError              root; the command line catches this and nothing else
    ├── AudioError              a song file cannot be read (names the file and what to do)
    ├── NoPulseError            the file was read, but no steady beat was found in it
    ├── ParameterError          a value is out of its legal range (also a ValueError)
    ├── RoutineError            a routine file contradicts itself (file, line, remedy)
    ├── MapError                a bar map or correction file cannot be used
    ├── NoFitError              song and routine are fine, but no plan exists
    ├── OutputError             a result cannot be written
    ├── CacheError              the store of earlier analyses cannot be used
    └── MissingExtraError       an optional library is not installed (names the install)

Messages start in lower case, have no final full stop and read
``what is wrong; what to do``.
"""

from __future__ import annotations

import json
from enum import StrEnum


class Reason(StrEnum):
    """Why there is no beat or no plan, for programs; the message says it to people."""

    SILENT = "silent"
    CLIP_TOO_SHORT = "clip too short"
    NO_STEADY_BEAT = "no steady beat"  # taken for speech or noise: a map may be had `anyway`
    NO_BEATS = "no beats"
    NO_ONE = "no one"
    OTHER_METER = "other meter"
    SHORTER_THAN_ONE_WALL = "shorter than one wall"
    NO_EVENING = "no evening"
    NO_TIME = "no time"


class PhrasefitError(Exception):
    """Root of all errors that a user can fix.

    Parameters
    ----------
    what : str
        What is wrong; what to do.
    where : object
        The file it is about, put before the message; empty if none.
    reason : Reason, optional
        What a program may decide by.
    """

    def __init__(self, what: str = "", *, where: object = "", reason: Reason | None = None) -> None:
        super().__init__(f"{where}: {what}" if str(where) else what)
        self.what = what
        self.reason = reason


class AudioError(PhrasefitError):
    """A song file cannot be read."""


class NoPulseError(PhrasefitError):
    """No steady beat was found in a readable song."""


class ParameterError(PhrasefitError, ValueError):
    """A value lies outside its legal range."""


class RoutineError(PhrasefitError):
    """A routine file contradicts itself or cannot be read."""


class MapError(PhrasefitError):
    """A bar map or a correction cannot be used."""


class NoFitError(PhrasefitError):
    """Song and routine are fine, but no plan exists for them."""


class OutputError(PhrasefitError):
    """A result cannot be written."""


class CacheError(PhrasefitError):
    """The store of earlier analyses cannot be used."""


class MissingExtraError(PhrasefitError):
    """An optional library is needed and not installed."""


MOST_SHOWN = 40  # signs of a value in a message: enough to know it again
MOST_SHOWN_BITS = 128  # of a whole number that is written out


def shown(value: object) -> str:
    """Write a value that somebody gave as a message shows it: short, on one line, in quotes.

    Parameters
    ----------
    value : object
        Of any size: a text of a megabyte, a number of thousands of digits, lists in lists.

    Returns
    -------
    str
        At most `MOST_SHOWN` signs.

    Examples
    --------
    >>> print(shown("two\\nlines"), shown(10**50), sep=", ")
    "two\\nlines", a number of 51 digits
    """
    if isinstance(value, int) and value.bit_length() > MOST_SHOWN_BITS:
        return f"a number of {int(value.bit_length() * 0.30103) + 1} digits"
    try:
        if isinstance(value, str):  # as in the files that people write
            text = json.dumps(value[: 2 * MOST_SHOWN], ensure_ascii=False)
        else:
            text = repr(value)
    except (ValueError, RecursionError):  # endless digits or brackets inside
        text = f"a {type(value).__name__} too large to show"
    return text if len(text) <= MOST_SHOWN else text[: MOST_SHOWN - 1] + "\u2026"
