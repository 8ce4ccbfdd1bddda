"""Records that are kept twice: in the database and in the journal beside it.

Every opening compares the two; what one has lost or has damaged the other gives back.
A change is in both copies before it is reported as kept.
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from phrasefit.errors import CacheError, OutputError
from phrasefit.store.database import Database
from phrasefit.store.journal import Contents, Journal
from phrasefit.store.records import TABLES, TICK_S, Record, Records, in_words, latest
from phrasefit.store.salvage import put_record, sound_row

KEY_SIGNS = 12  # of a content hash, enough to tell songs apart
UNREADABLE = "its text was damaged"


class TwoCopies(Database):
    """The tables of `phrasefit.store.records`, each record of which is also in the journal."""

    def __init__(self, path: Path | None = None) -> None:
        super().__init__(path)
        self._journal = Journal(self.path.with_suffix(".journal.jsonl"))
        self._merged: Records = {}  # in a closed folder, where the database cannot be put right
        self._compare_copies()

    def _on_replaced(self) -> None:
        if hasattr(self, "_journal"):  # else the file was damaged when it was opened
            self._compare_copies()

    # ------------------------------------------------------------------ single records

    def _get(self, table: str, key: str) -> Record | None:
        """Read one record; a damaged one is put right from the other copy first."""
        record = self._stored(table, key)
        return None if record is None or record.is_removed else record

    def _stored(self, table: str, key: str) -> Record | None:
        if self.read_only:
            return self._merged.get((table, key))
        query = f"SELECT * FROM {table} WHERE {TABLES[table][0]} = ?"
        rows = self._ask(query, (key,))
        if not rows:
            return None
        record = sound_row(table, rows[0])
        if record is None and not self._db.in_transaction:
            self._compare_copies()
            rows = self._ask(query, (key,))
            record = sound_row(table, rows[0]) if rows else None
        return record

    def _all(self, table: str) -> list[Record]:
        if self.read_only:
            found = [record for record in self._merged.values() if record.table == table]
        else:
            rows = self._ask(f"SELECT * FROM {table} ORDER BY {TABLES[table][0]}")
            found = [record for row in rows if (record := sound_row(table, row))]
            if len(found) < len(rows) and not self._db.in_transaction:
                self._compare_copies()
                rows = self._ask(f"SELECT * FROM {table} ORDER BY {TABLES[table][0]}")
                found = [record for row in rows if (record := sound_row(table, row))]
        return [record for record in found if not record.is_removed]

    def _record(self, table: str, key: str, text: str, stored_at: float | None = None) -> Record:
        """Make a record that is later than the one it replaces, whatever the clock says."""
        now = time.time() if stored_at is None else stored_at
        before = self._stored(table, key)
        return Record(table, key, text, max(now, before.stored_at + TICK_S) if before else now)

    def _aside(self, table: str, name: str, kept: Any, reason: str) -> Record:
        """Make the record of something set aside, under a key that is free."""
        keys = (name[:KEY_SIGNS], *(f"{name[:KEY_SIGNS]}.{n}" for n in range(2, 10_000)))
        key = next(key for key in keys if not self._get("set_aside", key))
        document = {"table": table, "name": name, "kept": kept, "reason": reason}
        return self._record("set_aside", key, json.dumps(document))

    # ------------------------------------------------------------------- both copies

    def _write(self, decide: Callable[[], list[Record]]) -> None:
        """Ask `decide` for records and write them to both copies, as one change."""

        n_bytes: int | None = None

        def work() -> None:
            nonlocal n_bytes
            records = decide()
            for record in records:
                put_record(self._db, record)
                self._forget_summary(record.key)
            if records:
                n_bytes = self._journal.n_bytes()
                self._journal.append(records)

        def undo() -> None:
            nonlocal n_bytes
            if n_bytes is not None:
                self._journal.cut_back(n_bytes)
            n_bytes = None

        self._change(work, undo=undo)

    def _forget_summary(self, content_hash: str) -> None:
        """Drop the summary of a song that has changed; ranking makes it again."""
        self._db.execute("DELETE FROM summary WHERE content_hash = ?", (content_hash,))

    def _compare_copies(self) -> None:
        """Put right what one copy has lost or has damaged; say so where it matters."""
        are_right, merged, *_ = self._read_both()
        if self.read_only:
            self._merged = merged
        if are_right or self.read_only:
            return
        try:
            self._change(self._put_both_right)
        except CacheError as exc:  # a full disk: what is there can be read all the same
            self.notes.append(str(exc))

    def _read_both(self) -> tuple[bool, Records, list[tuple[str, Any]], Contents]:
        """Read both copies: are they equal, all records, damaged rows, the journal."""
        rows = [(table, row) for table in TABLES for row in self._ask(f"SELECT * FROM {table}")]
        stored = [sound_row(table, row) for table, row in rows]
        damaged = [row for row, record in zip(rows, stored, strict=True) if record is None]
        kept = latest(record for record in stored if record)
        try:
            second = self._journal.read()
        except OSError as exc:
            self.notes.append(f"{self._journal.path}: cannot be read ({exc.strerror}); remove it")
            second = Contents(records=tuple(kept.values()))
        merged = latest([*kept.values(), *second.records])
        is_sound = not (damaged or second.n_damaged or second.is_torn)
        are_equal = kept == merged == latest(second.records)
        is_short = not second.is_long(len(merged))
        return is_sound and are_equal and is_short, merged, damaged, second

    def _put_both_right(self) -> None:
        is_right, merged, damaged, second = self._read_both()
        if is_right:
            return  # another program was in the middle of a change
        given_back = self._give_back(merged, damaged, second)
        texts = {record.text for record in given_back}
        lost = [
            (table, row)
            for table, row in damaged
            if (table, row[0]) not in merged and row[1] not in texts
        ]
        for table, row in lost:
            aside = self._aside(table, str(row[0]), str(row[1]), UNREADABLE)
            put_record(self._db, aside)
            merged[aside.table, aside.key] = aside
        self._tell(given_back, lost, second)
        try:
            self._journal.rewrite(merged.values())
        except OutputError as exc:
            self.notes.append(f"the second copy of corrections and routines: {exc}")

    def _give_back(self, merged: Records, damaged: list[Any], second: Contents) -> list[Record]:
        """Write to the database what only the journal has."""
        theirs = set(second.records)
        given_back = [
            record
            for record in merged.values()
            if record in theirs and self._stored(record.table, record.key) != record
        ]
        for table in {table for table, _ in damaged}:  # keys that cannot be read stay no more
            self._db.execute(f"DELETE FROM {table}")
        for record in merged.values():
            put_record(self._db, record)
        for record in given_back:
            self._forget_summary(record.key)
        return given_back

    def _tell(self, given_back: list[Record], lost: list[Any], second: Contents) -> None:
        if self.was_new:
            self.notes.append(
                f"{self.path.name} was missing; {in_words(given_back)} were brought back from"
                f" {self._journal.path.name}, the songs are listened to again"
            )
        elif any(not record.is_removed for record in given_back):
            self.notes.append(
                f"{in_words(given_back)} were missing from the cache or damaged in it; they were"
                f" brought back from {self._journal.path.name}"
            )
        if lost:
            self.notes.append(
                f"{len(lost)} corrections or routines were damaged in the cache and could not be"
                " brought back; what is left of them was set aside, see `phrasefit store"
                " set-aside`"
            )
        if second.n_damaged:
            self.notes.append(
                f"{self._journal.path.name}, the second copy of corrections and routines, was"
                " damaged; it was made again from the cache"
            )
