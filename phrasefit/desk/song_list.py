"""What the list of songs says of each, read again only when something has changed."""

from __future__ import annotations

import functools
import os
import sqlite3
import threading
from collections.abc import Set
from dataclasses import dataclass
from pathlib import Path

from phrasefit import pipeline
from phrasefit.collection import Collection
from phrasefit.desk import places
from phrasefit.desk.desk import Desk
from phrasefit.model import DoubtKind, SongSummary
from phrasefit.ranking.summary import summary_version
from phrasefit.reports.doubts import METER_WORDS, song_cell
from phrasefit.store import Store

COLUMNS = (
    "hash", "title", "artist", "tempo", "meter", "duration_s", "sure", "doubt", "heard_at", "plays",
    "cut_off",
)  # fmt: skip
SUMMED_UP_AT_ONCE = 12  # songs that a list sums up itself; more are left to a process

Stamp = tuple[int, int, int]  # file, its place on the disk, how often others have changed it


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Listed:
    """All songs: a row of `COLUMNS` for each, and what names each as it is now.

    `key_of` leads from that name to the content hash; a correction changes the name.
    `n_to_come` songs are not summed up yet.
    """

    rows: list[list[object]]
    meters: dict[int, str]
    key_of: dict[str, str]
    n_to_come: int


class _Watch:
    """Tells whether a database has changed, without reading it (SQLite, PRAGMA data_version)."""

    def __init__(self) -> None:
        self._path: Path | None = None
        self._opened: os.stat_result | None = None
        self._db: sqlite3.Connection | None = None

    def stamp(self, path: Path) -> Stamp | None:
        """Give what is another after each change by anybody; None if that cannot be told."""
        try:
            state = path.stat()
            if self._db is None or self._path != path or not self._is_same(state):
                self._db = sqlite3.connect(path, check_same_thread=False)
                self._path, self._opened = path, state
            (version,) = self._db.execute("PRAGMA data_version").fetchone()
        except (OSError, sqlite3.Error):
            self._db = None
            return None
        return id(self._db), state.st_ino, version

    def _is_same(self, state: os.stat_result) -> bool:
        return self._opened is not None and os.path.samestat(self._opened, state)


_lock = threading.Lock()
_watch = _Watch()
_last: tuple[Stamp, Listed] | None = None


def all_songs(desk: Desk, store: Store) -> Listed:
    """List all songs; many that are not summed up yet come a little later."""
    global _last
    with _lock:
        stamp = _watch.stamp(store.path)
        if stamp is None or _last is None or _last[0] != stamp:
            listed = _read(desk, store)
            if stamp is None:
                return listed
            _last = stamp, listed
        return _last[1]


def _read(desk: Desk, store: Store) -> Listed:
    version = pipeline.analysis_version()
    known = store.summaries(summary_version(version))
    heard_at = store.heard_at(version)
    missing = heard_at.keys() - {song.content_hash for song in known}
    if len(missing) > SUMMED_UP_AT_ONCE:
        desk.hearing.sum_up(missing)
    elif missing:
        known += Collection.of(store, keys=missing).table.songs
    plays = playable(store)
    meters = {song.meter for song in known}
    return Listed(
        rows=[row_of(song, heard_at.get(song.content_hash, 0.0), plays) for song in known],
        meters={beats: METER_WORDS.get(beats, str(beats)) for beats in sorted(meters)},
        key_of={_as_it_is(song): song.content_hash for song in known},
        n_to_come=len(heard_at) - len(known),
    )


def _as_it_is(song: SongSummary) -> str:
    return f"{song.content_hash[:20]}/{song.counts_per_minute:.3f}/{hash(song.grid)}"


def playable(store: Store) -> set[str]:
    """List the songs that have a file in a place they may be played from."""
    within = tuple(os.path.join(place, "") for place in places.places_of(store))
    return {key for path, (_, _, key) in store.files().items() if path.startswith(within)}


def row_of(song: SongSummary, heard_at: float, plays: Set[str]) -> list[object]:
    """Lay out what the list says of a song, see `COLUMNS`."""
    return [
        song.content_hash,
        song.title,
        song.artist,
        round(song.counts_per_minute, 1),
        song.meter,
        round(song.duration_s),
        round(song.confidence, 3),
        _doubt_cell(song.doubts),
        round(heard_at),
        int(song.content_hash in plays),
        int(song.cut_off),
    ]


@functools.cache
def _doubt_cell(doubts: str) -> str:
    return song_cell(DoubtKind(kind) for kind in doubts.split(",") if kind)
