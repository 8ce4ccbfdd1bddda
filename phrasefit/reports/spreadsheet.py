"""Tables as CSV (RFC 4180) that any spreadsheet opens, and in which it calculates nothing.

The text begins with a byte-order mark, which older spreadsheets need to read UTF-8.  A cell
that a spreadsheet would take for a formula (a title, a part, a file may be called ``=1+1``)
is written with an apostrophe before it, which shows as text.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence

BYTE_ORDER_MARK = "\ufeff"
FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r")
_NUMBER = re.compile(r"[+-]?\d+(\.\d+)?")


def csv_text(columns: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Write a table as CSV text, byte-order mark included."""
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\r\n")
    table.writerow(columns)
    table.writerows([plain_cell(str(cell)) for cell in row] for row in rows)
    return BYTE_ORDER_MARK + out.getvalue()


def plain_cell(text: str) -> str:
    """Keep a spreadsheet from taking a text for a formula; numbers stay numbers.

    Examples
    --------
    >>> plain_cell("=1+1"), plain_cell("-3.5")
    ("'=1+1", '-3.5')
    """
    is_formula = text.startswith(FORMULA_SIGNS) and not _NUMBER.fullmatch(text)
    return f"'{text}" if is_formula else text
