"""The tables of the cache, and how an older file is brought up to date."""

from __future__ import annotations

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
    # 3: the level that a person chose stands beside the song, whichever it is; summaries
    # are made again by the next ranking.
    """
    DROP TABLE summary;
    CREATE TABLE summary (
        content_hash TEXT PRIMARY KEY, version TEXT NOT NULL, title TEXT NOT NULL,
        artist TEXT NOT NULL, duration_s REAL NOT NULL, tempo_bpm REAL NOT NULL,
        meter INTEGER NOT NULL, confidence REAL NOT NULL, beats_per_count REAL,
        grid BLOB NOT NULL
    );
    """,
)
SCHEMA = len(MIGRATIONS)
# Tables that a person filled and no program can make again.
HAND_MADE: dict[str, tuple[str, ...]] = {
    "correction": ("content_hash", "document", "stored_at"),
    "routine": ("name", "text", "stored_at"),
}
