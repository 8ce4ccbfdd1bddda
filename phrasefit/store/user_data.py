"""What a person made: corrections, routines, corrections that were set aside.

Everything here is kept twice, in the database and in the journal beside it.  Every
opening compares the two; what one has lost or has damaged the other gives back.  A
change is read, decided and written under one lock, so that of two programs that change
the same thing the second starts from what the first has made.

May import: errors, files, the modules of store, standard library.
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from phrasefit.errors import OutputError
from phrasefit.store.database import Database
from phrasefit.store.journal import Contents, Journal
from phrasefit.store.records import (
    REMOVED,
    TABLES,
    TICK_S,
    Record,
    Records,
    in_words,
    latest,
)
from phrasefit.store.salvage import put_record, sound_row

Document = dict[str, Any]
KEY_SIGNS = 12  # of a content hash, enough to tell songs apart
UNREADABLE = "its text was damaged"


@dataclass(frozen=True, slots=True, kw_only=True)
class SetAside:
    """A correction that no longer fits its song, and why.

    `key` names it for dropping it; `name` is the content hash of the song; `kept` is the
    correction, as text if it could not be read.
    """

    key: str
    name: str
    kept: Any
    reason: str
    stored_at: float


class UserData(Database):
    """The part of the store that no program can make again; see `Database`."""

    def __init__(self, path: Path | None = None) -> None:
        super().__init__(path)
        self._journal = Journal(self.path.with_suffix(".journal.jsonl"))
        self._merged: Records = {}  # in a closed folder, where the database cannot be put right
        self._compare_copies()

    def _on_replaced(self) -> None:
        if hasattr(self, "_journal"):  # else the file was damaged when it was opened
            self._compare_copies()

    # ------------------------------------------------------------------ corrections

    def get_correction(self, content_hash: str) -> Document | None:
        """Recall what a person corrected in the song.

        One that cannot be read is set aside, with a note.
        """
        record = self._get("correction", content_hash)
        if record is None:
            return None
        document = _object_in(record)
        if document is None:
            self.set_aside_correction(content_hash, "it is no correction")
            self.notes.append(
                f"the correction kept for song {content_hash[:12]} cannot be read; it was set"
                " aside, see `phrasefit store set-aside`"
            )
        return document

    def edit_correction(
        self, content_hash: str, change: Callable[[Document | None], Document | None]
    ) -> Document | None:
        """Change the corrections of a song while no other program can.

        Parameters
        ----------
        content_hash : str
            The song.
        change : callable(kept) -> changed
            Given the corrections that are kept now, or None; returns those to keep, or
            None to keep none.  What it raises is passed on, and nothing is changed.  It
            may be called again if the file proves damaged.

        Returns
        -------
        dict or None
            What `change` returned.

        Raises
        ------
        CacheError
            If nothing can be written.
        """
        result: Document | None = None

        def decide() -> list[Record]:
            nonlocal result
            kept = self._get("correction", content_hash)
            result = change(_object_in(kept) if kept else None)
            if result is None and kept is None:
                return []
            text = REMOVED if result is None else json.dumps(result)
            return [self._record("correction", content_hash, text)]

        self._write(decide)
        return result

    def put_correction(self, content_hash: str, correction: Document) -> None:
        """Keep a person's corrections of the song, in place of earlier ones."""
        self.edit_correction(content_hash, lambda _: correction)

    def delete_correction(self, content_hash: str) -> None:
        """Remove a person's corrections of the song, whatever they are."""
        self.edit_correction(content_hash, lambda _: None)

    def set_aside_correction(self, content_hash: str, reason: str) -> None:
        """Take a correction that does not fit its song out of use, and keep it.

        In a closed folder it stays where it is.
        """
        if self.read_only:
            return

        def decide() -> list[Record]:
            kept = self._get("correction", content_hash)
            if kept is None:
                return []
            return [
                self._aside("correction", content_hash, _object_in(kept) or kept.text, reason),
                self._record("correction", content_hash, REMOVED),
            ]

        self._write(decide)

    def corrections_set_aside(self) -> list[SetAside]:
        """List the corrections (and routines) that are out of use, oldest first."""
        found = [
            SetAside(
                key=record.key,
                name=str(document.get("name")),
                kept=document.get("kept"),
                reason=str(document.get("reason")),
                stored_at=record.stored_at,
            )
            for record in self._all("set_aside")
            if (document := _object_in(record)) is not None
        ]
        return sorted(found, key=lambda aside: aside.stored_at)

    def drop_set_aside(self, key: str) -> bool:
        """Remove a correction that was set aside for good; tell whether it was there."""
        was_there = False

        def decide() -> list[Record]:
            nonlocal was_there
            was_there = self._get("set_aside", key) is not None
            return [self._record("set_aside", key, REMOVED)] if was_there else []

        self._write(decide)
        return was_there

    # --------------------------------------------------------------------- routines

    def routines(self) -> dict[str, str]:
        """Recall the routines kept: name to the text of the routine file."""
        return {record.key: record.text for record in self._all("routine")}

    def put_routine(self, name: str, text: str) -> None:
        """Keep a routine, in place of an earlier one of this name."""
        self._write(lambda: [self._record("routine", name, text)])

    # ------------------------------------------------------------- another computer

    def user_records(self) -> list[Record]:
        """Recall all corrections and routines."""
        return [*self._all("correction"), *self._all("routine")]

    def merge_records(self, records: Iterable[Record]) -> dict[str, int]:
        """Take over records of another store; of two for the same thing the later one stays.

        Returns
        -------
        dict
            How many of each table were taken over.
        """
        offered = latest(records)
        taken = dict.fromkeys(TABLES, 0)

        def decide() -> list[Record]:
            known = [self._get(record.table, record.key) for record in offered.values()]
            later = [
                record
                for record, mine in zip(offered.values(), known, strict=True)
                if mine is None or mine.stored_at < record.stored_at
            ]
            for table in TABLES:
                taken[table] = sum(record.table == table for record in later)
            return [self._record(r.table, r.key, r.text, r.stored_at) for r in later]

        self._write(decide)
        return taken

    def count_kept(self, table: str) -> int:
        """Count what is kept in a table of records."""
        return len(self._all(table))

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

        def work() -> None:
            records = decide()
            for record in records:
                put_record(self._db, record)
                self._forget_summary(record.key)
            if records:
                self._journal.append(records)

        if self.read_only:
            self._change(work)  # which refuses
        with self._lock:
            if not self._is_as_opened():  # another program has replaced a damaged file
                self._db.close()
                self._open_or_replace()
                self._compare_copies()
            n_bytes = self._journal.n_bytes()
            try:
                self._change(work)
            except BaseException:
                self._journal.cut_back(n_bytes)
                raise

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
        with self._lock:
            self._change(self._put_both_right)

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


def _object_in(record: Record) -> Document | None:
    """Read the JSON object that a record holds; None if it holds something else."""
    try:
        value = record.value()
    except ValueError:
        return None
    return value if isinstance(value, dict) else None
