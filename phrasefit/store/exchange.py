"""Corrections and routines as a file that another computer can read.

Songs are named by the hash of their sound, so such a file holds no paths.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

from phrasefit.errors import CacheError
from phrasefit.store.records import TABLES, Record

EXPORT_FORMAT = "phrasefit-store"
EXPORT_VERSION = 1
EXPORTED = ("correction", "routine")


def export_document(records: Iterable[Record]) -> dict[str, Any]:
    """Lay out corrections and routines as the JSON document that `read_export` reads."""
    rows: dict[str, list[dict[str, Any]]] = {table: [] for table in EXPORTED}
    for record in records:
        if record.table in EXPORTED and not record.is_removed:
            key, text = TABLES[record.table]
            rows[record.table].append(
                {key: record.key, text: record.text, "stored_at": record.stored_at}
            )
    return {"format": EXPORT_FORMAT, "version": EXPORT_VERSION, **rows}


def read_export(text: str, *, name: str) -> list[Record]:
    """Read what `export_document` laid out.

    Raises
    ------
    CacheError
        If it is something else, or a row in it is not usable.
    """
    try:
        document = json.loads(text)
        if document["format"] != EXPORT_FORMAT or document["version"] > EXPORT_VERSION:
            raise CacheError(
                f"{name}: was not exported by this phrasefit; make a file with"
                " `phrasefit store export`"
            )
        return [
            _read_row(table, row, name=name)
            for table in EXPORTED
            for row in document.get(table, [])
        ]
    except json.JSONDecodeError as exc:
        raise CacheError(
            f"{name}: is no JSON from line {exc.lineno}, column {exc.colno} on; make an export"
            " with `phrasefit store export`"
        ) from exc
    except (KeyError, TypeError, AttributeError, RecursionError) as exc:
        raise CacheError(
            f"{name}: is no export of phrasefit; make one with `phrasefit store export`"
        ) from exc
    except ValueError as exc:
        raise CacheError(
            f"{name}: cannot be read as an export ({str(exc)[:80]});"
            " make one with `phrasefit store export`"
        ) from exc


def _read_row(table: str, row: dict[str, Any], *, name: str) -> Record:
    key, text = TABLES[table]
    if set(row) == {key, text, "stored_at"}:
        record = Record(table, row[key], row[text], _seconds(row["stored_at"]))
        if isinstance(record.key, str) and isinstance(record.text, str) and _is_usable(record):
            return record
    raise CacheError(f"{name}: a {table} in it is damaged ({str(row)[:60]}); export again")


def _seconds(value: Any) -> float:
    is_time = isinstance(value, int | float) and not isinstance(value, bool) and 0 <= value < 1e11
    if not is_time:
        raise ValueError(f"stored_at = {str(value)[:30]} is no time")
    return float(value)


def _is_usable(record: Record) -> bool:
    if not _is_text(record.key) or not _is_text(record.text):
        return False
    return record.table != "correction" or isinstance(record.value(), dict)


def _is_text(text: str) -> bool:
    """Tell whether it can be kept: half a character, as ``"\\ud800"`` in JSON, cannot."""
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True
