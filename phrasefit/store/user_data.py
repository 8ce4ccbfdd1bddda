"""What a person made: corrections, routines, corrections that were set aside.

A change is read, decided and written under one lock, so that of two programs that change
the same thing the second starts from what the first has made.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from phrasefit.store.copies import TwoCopies
from phrasefit.store.records import REMOVED, TABLES, Record, latest

Document = dict[str, Any]


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


class UserData(TwoCopies):
    """The part of the store that no program can make again; see `Database`."""

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
        return self._edit("correction", content_hash, change)

    def _edit(
        self, table: str, key: str, change: Callable[[Document | None], Document | None]
    ) -> Document | None:
        """Change the object that a record holds; see `edit_correction`."""
        result: Document | None = None

        def decide() -> list[Record]:
            nonlocal result
            kept = self._get(table, key)
            result = change(_object_in(kept) if kept else None)
            if result is None and kept is None:
                return []
            text = REMOVED if result is None else json.dumps(result)
            return [self._record(table, key, text)]

        self._write(decide)
        return result

    def put_correction(self, content_hash: str, correction: Document) -> None:
        """Keep a person's corrections of the song, in place of earlier ones."""
        self.edit_correction(content_hash, lambda _: correction)

    def edit_song(
        self,
        content_hash: str,
        change: Callable[[Document | None, Document | None], tuple[Document | None, Document]],
    ) -> None:
        """Change the corrections of a song and their history at the desk, both or neither.

        Parameters
        ----------
        content_hash : str
            The song.
        change : callable(correction, history) -> (correction, history)
            As in `edit_correction`; the history is what `desk_item` keeps as ``history``.

        Raises
        ------
        CacheError
            If nothing can be written.
        """
        key = f"history/{content_hash}"

        def decide() -> list[Record]:
            kept, past = self._get("correction", content_hash), self._get("desk", key)
            correction, history = change(
                _object_in(kept) if kept else None, _object_in(past) if past else None
            )
            records = [self._record("desk", key, json.dumps(history))]
            if correction is not None or kept is not None:
                text = REMOVED if correction is None else json.dumps(correction)
                records.append(self._record("correction", content_hash, text))
            return records

        self._write(decide)

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

    def edit_routine(self, name: str, change: Callable[[str | None], str | None]) -> None:
        """Change a routine while no other program can; as `edit_correction`, with its text."""

        def decide() -> list[Record]:
            kept = self._get("routine", name)
            text = change(kept.text if kept else None)
            if text is None and kept is None:
                return []
            return [self._record("routine", name, REMOVED if text is None else text)]

        self._write(decide)

    # --------------------------------------------------------------------- the desk

    def desk_items(self, kind: str) -> dict[str, Document]:
        """Recall everything of one kind (``evening``, ``lesson`` ...) by its name."""
        return {
            record.key.removeprefix(f"{kind}/"): document
            for record in self._all("desk")
            if record.key.startswith(f"{kind}/") and (document := _object_in(record)) is not None
        }

    def desk_item(self, kind: str, name: str) -> Document | None:
        """Recall one thing that a person made at the desk; None if there is none."""
        record = self._get("desk", f"{kind}/{name}")
        return _object_in(record) if record else None

    def edit_desk_item(
        self, kind: str, name: str, change: Callable[[Document | None], Document | None]
    ) -> Document | None:
        """Change one thing of the desk while no other program can; see `edit_correction`."""
        return self._edit("desk", f"{kind}/{name}", change)

    # ------------------------------------------------------------- another computer

    def user_records(self) -> list[Record]:
        """Recall all corrections, routines and what was made at the desk."""
        return [*self._all("correction"), *self._all("routine"), *self._all("desk")]

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


def _object_in(record: Record) -> Document | None:
    """Read the JSON object that a record holds; None if it holds something else."""
    try:
        value = record.value()
    except ValueError:
        return None
    return value if isinstance(value, dict) else None
