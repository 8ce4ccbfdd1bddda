"""The tables of the cache, and how an older file is brought up to date."""

from __future__ import annotations

import sqlite3

from phrasefit.store.records import checksum_of

# Each entry brings the file from schema n to n + 1; never edit one that has shipped.
MIGRATIONS: tuple[str, ...] = (
    """
    CREATE TABLE file (
        path TEXT PRIMARY KEY, size INTEGER NOT NULL, mtime_ns INTEGER NOT NULL,
        content_hash TEXT NOT NULL
    ) WITHOUT ROWID;
    CREATE TABLE analysis (
        content_hash TEXT NOT NULL, version TEXT NOT NULL, document BLOB NOT NULL,
        stored_at REAL NOT NULL, PRIMARY KEY (content_hash, version)
    ) WITHOUT ROWID;
    CREATE TABLE correction (
        content_hash TEXT PRIMARY KEY, document TEXT NOT NULL, stored_at REAL NOT NULL
    ) WITHOUT ROWID;
    CREATE INDEX file_by_hash ON file (content_hash);
    """,
    # 2: ranking reads all songs at once, so what it needs stands in one narrow table;
    # routines a person wants to keep; why a file could not be used, not to try it again.
    """
    CREATE TABLE summary (
        content_hash TEXT PRIMARY KEY, version TEXT NOT NULL, title TEXT NOT NULL,
        artist TEXT NOT NULL, duration_s REAL NOT NULL, tempo_bpm REAL NOT NULL,
        meter INTEGER NOT NULL, confidence REAL NOT NULL, as_tracked INTEGER NOT NULL,
        grid BLOB NOT NULL
    );
    CREATE TABLE failure (
        path TEXT PRIMARY KEY, size INTEGER NOT NULL, mtime_ns INTEGER NOT NULL,
        version TEXT NOT NULL, reason TEXT NOT NULL
    ) WITHOUT ROWID;
    CREATE TABLE routine (
        name TEXT PRIMARY KEY, text TEXT NOT NULL, stored_at REAL NOT NULL
    ) WITHOUT ROWID;
    """,
    # 3: rows carry a checksum, so that a flipped bit is noticed; corrections that no
    # longer fit their song are set aside; the level that a person chose stands beside the
    # song, whichever it is (summaries are made again by the next ranking).
    # `records.Record` says what is summed.
    """
    ALTER TABLE analysis ADD COLUMN checksum INTEGER;
    ALTER TABLE correction ADD COLUMN checksum INTEGER;
    ALTER TABLE routine ADD COLUMN checksum INTEGER;
    DROP TABLE summary;
    CREATE TABLE summary (
        content_hash TEXT PRIMARY KEY, version TEXT NOT NULL, title TEXT NOT NULL,
        artist TEXT NOT NULL, duration_s REAL NOT NULL, tempo_bpm REAL NOT NULL,
        meter INTEGER NOT NULL, confidence REAL NOT NULL, beats_per_count REAL,
        grid BLOB NOT NULL, checksum INTEGER
    );
    CREATE TABLE set_aside (
        key TEXT PRIMARY KEY, document TEXT NOT NULL, stored_at REAL NOT NULL,
        checksum INTEGER
    ) WITHOUT ROWID;
    UPDATE correction
        SET checksum = record_checksum('correction', content_hash, document, stored_at);
    UPDATE routine SET checksum = record_checksum('routine', name, text, stored_at);
    DELETE FROM file WHERE content_hash NOT IN (SELECT content_hash FROM analysis);
    """,
    # 4: what a person made at the desk: steps to undo, evenings, what was taught.
    """
    CREATE TABLE desk (
        key TEXT PRIMARY KEY, document TEXT NOT NULL, stored_at REAL NOT NULL,
        checksum INTEGER
    ) WITHOUT ROWID;
    """,
    # 5: lists of songs show the counts a minute and the doubts of each (summaries are made
    # again), the newest first: an index, as the documents that stand between are long.
    """
    DROP TABLE summary;
    CREATE TABLE summary (
        content_hash TEXT PRIMARY KEY, version TEXT NOT NULL, title TEXT NOT NULL,
        artist TEXT NOT NULL, duration_s REAL NOT NULL, tempo_bpm REAL NOT NULL,
        meter INTEGER NOT NULL, confidence REAL NOT NULL, beats_per_count REAL,
        counts_per_minute REAL NOT NULL, doubts TEXT NOT NULL, grid BLOB NOT NULL,
        checksum INTEGER
    );
    CREATE INDEX analysis_by_time ON analysis (version, stored_at, content_hash);
    """,
    # 6: beside the words stands the reason that programs decide by (files are tried again).
    """
    DROP TABLE failure;
    CREATE TABLE failure (
        path TEXT PRIMARY KEY, size INTEGER NOT NULL, mtime_ns INTEGER NOT NULL,
        version TEXT NOT NULL, trouble TEXT NOT NULL, reason TEXT NOT NULL
    ) WITHOUT ROWID;
    """,
    # 7: lists of songs say which file is cut off (summaries are made again); files that were
    # refused because they are cut off are tried again.
    """
    DROP TABLE summary;
    CREATE TABLE summary (
        content_hash TEXT PRIMARY KEY, version TEXT NOT NULL, title TEXT NOT NULL,
        artist TEXT NOT NULL, duration_s REAL NOT NULL, tempo_bpm REAL NOT NULL,
        meter INTEGER NOT NULL, confidence REAL NOT NULL, beats_per_count REAL,
        counts_per_minute REAL NOT NULL, doubts TEXT NOT NULL, cut_off INTEGER NOT NULL,
        grid BLOB NOT NULL, checksum INTEGER
    );
    DELETE FROM failure;
    """,
)
SCHEMA = len(MIGRATIONS)


def migrate(db: sqlite3.Connection, schema: int) -> None:
    """Bring the tables from `schema` up to date, inside the caller's transaction."""
    db.create_function("record_checksum", 4, _checksum, deterministic=True)
    for script in MIGRATIONS[schema:]:
        for statement in script.split(";"):
            db.execute(statement)
    db.execute(f"PRAGMA user_version = {SCHEMA}")


def _checksum(table: str, key: object, text: object, stored_at: object) -> int | None:
    """Vouch for a row of an earlier schema; None for one that damage has touched."""
    if isinstance(key, str) and isinstance(text, str) and isinstance(stored_at, float):
        return checksum_of(table, key, text, stored_at)
    return None
