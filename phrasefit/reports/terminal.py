"""Lines for a terminal: as wide as it is, words behind a label below one another."""

from __future__ import annotations

import shutil
import textwrap
import unicodedata
from bisect import bisect_right
from collections.abc import Iterable, Sequence
from itertools import accumulate
from typing import NamedTuple

UNBROKEN = 10_000  # columns: what goes into a file or another program is neither broken nor cut
LEAST_COLUMNS = 60  # a narrower terminal breaks lines itself: in less no table has room


class Labeled(NamedTuple):
    """Words that go on under themselves where they need several lines."""

    label: str
    words: str


Line = str | Labeled  # a row of a table stays as it is


def columns(without: int = UNBROKEN) -> int:
    """Tell how many columns there are; `without` a terminal (a file, another program) so many."""
    return max(LEAST_COLUMNS, shutil.get_terminal_size((without, 24)).columns)


def in_blocks(blocks: Iterable[Sequence[Line]], width: int) -> str:
    """Write blocks of lines with an empty line between, ending in a newline; empty ones go.

    Words that are labeled take lines of at most `width` columns.
    """
    texts = ("\n".join(row for line in block for row in _rows(line, width)) for block in blocks)
    return "\n\n".join(text for text in texts if text) + "\n"


def cut(text: str, room: int) -> str:
    """Cut a name to so many columns; letters of some scripts take two, marks none."""
    ends = list(accumulate(_columns_of(sign) for sign in text))
    if not ends or ends[-1] <= room:
        return text
    return text[: bisect_right(ends, room - 1)].rstrip() + "…"


def _columns_of(sign: str) -> int:
    """Tell how many columns a sign takes (Unicode Standard Annex 11)."""
    if unicodedata.combining(sign):
        return 0
    return 2 if unicodedata.east_asian_width(sign) in "WF" else 1


def _rows(line: Line, width: int) -> list[str]:
    if isinstance(line, str):
        return [line]
    return textwrap.wrap(
        line.words, width, initial_indent=line.label, subsequent_indent=" " * len(line.label),
        break_on_hyphens=False,
    )  # fmt: skip
