"""What a person made, as records that are kept twice: in the database and in the journal.

A record carries the time of its change and a checksum.  Of two records for the same
thing the later one counts, and removing is a record too.  So the two copies can be put
together in any order, and whatever one of them has lost the other gives back.
"""

from __future__ import annotations

import json
import math
import zlib
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

# Table -> its columns for key and text.
TABLES: dict[str, tuple[str, str]] = {
    "correction": ("content_hash", "document"),
    "routine": ("name", "text"),
    "set_aside": ("key", "document"),
    "desk": ("key", "document"),  # keys are "kind/name", see `UserData.desk_items`
}
REMOVED = "null"  # the text of a record that says: there is none any more
TICK_S = 1e-6  # between two changes of one record, should the clock stand still or go back


@dataclass(frozen=True, slots=True)
class Record:
    """One row of a table in `TABLES`; `stored_at` [seconds since 1970]."""

    table: str
    key: str
    text: str
    stored_at: float

    @property
    def is_removed(self) -> bool:
        """Tell whether this says that there is nothing any more."""
        return self.text == REMOVED

    @property
    def checksum(self) -> int:
        """The sum over all fields."""
        return checksum_of(self.table, self.key, self.text, self.stored_at)

    @property
    def line(self) -> str:
        """The record as a line of the journal: a JSON list that ends with the checksum."""
        fields = [self.table, self.key, self.text, self.stored_at, f"{self.checksum:08x}"]
        return json.dumps(fields) + "\n"

    def value(self) -> Any:
        """Read the text as JSON.

        Raises
        ------
        ValueError
            If it is no JSON.
        """
        try:
            return json.loads(self.text)
        except RecursionError as exc:
            raise ValueError("too many brackets") from exc


def checksum_of(table: str, key: str, text: str, stored_at: float) -> int:
    """Sum up the fields of a record (CRC-32 of them as a JSON list)."""
    return zlib.crc32(json.dumps([table, key, text, stored_at]).encode("ascii"))


def read_line(line: str) -> Record | None:
    """Read a line of the journal; None if it is damaged."""
    try:
        table, key, text, stored_at, checksum = json.loads(line)
    except (ValueError, TypeError, RecursionError):
        return None
    return sound_record(table, key, text, stored_at, checksum and _whole(checksum))


def _whole(checksum: Any) -> int | None:
    try:
        return int(checksum, 16)
    except (TypeError, ValueError):
        return None


def sound_record(table: Any, key: Any, text: Any, stored_at: Any, checksum: Any) -> Record | None:
    """Build a record from what was read; None if damage has touched it."""
    is_typed = isinstance(key, str) and isinstance(text, str) and isinstance(stored_at, float)
    if not isinstance(table, str) or table not in TABLES or not is_typed:
        return None
    record = Record(table, key, text, stored_at)
    return record if math.isfinite(stored_at) and record.checksum == checksum else None


Records = dict[tuple[str, str], Record]  # by table and key


def latest(records: Iterable[Record]) -> Records:
    """Keep the latest record of each thing."""
    found: Records = {}
    for record in records:
        known = found.get((record.table, record.key))
        if known is None or (known.stored_at, known.text) < (record.stored_at, record.text):
            found[record.table, record.key] = record
    return found


def in_words(records: Iterable[Record]) -> str:
    """Say how many corrections and routines these are."""
    kinds = [record.table for record in records if not record.is_removed]
    n = {table: kinds.count(table) for table in TABLES}
    parts = [
        f"{n['correction']} correction{'s' * (n['correction'] != 1)}",
        f"{n['routine']} routine{'s' * (n['routine'] != 1)}",
    ]
    if n["desk"]:
        parts.append(f"{n['desk']} record{'s' * (n['desk'] != 1)} of the desk")
    if n["set_aside"]:
        parts.append(f"{n['set_aside']} set aside")
    return " and ".join(parts) if len(parts) == 2 else ", ".join(parts)
