"""Lines for a terminal: as wide as it is, words behind a label below one another."""

from __future__ import annotations

import shutil
import textwrap
from collections.abc import Iterable, Sequence
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


def _rows(line: Line, width: int) -> list[str]:
    if isinstance(line, str):
        return [line]
    return textwrap.wrap(
        line.words, width, initial_indent=line.label, subsequent_indent=" " * len(line.label),
        break_on_hyphens=False,
    )  # fmt: skip
