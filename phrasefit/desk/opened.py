"""Songs that were opened lately, kept in memory: a correction need not read them again."""

from __future__ import annotations

import json
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import dataclass, field
from typing import Any

from phrasefit import pipeline
from phrasefit.store import Store

MOST_SONGS = 6  # of four minutes and with all plans about 3 MB each
MOST_STATES = 8  # of one song: as corrected, and what was planned from it


@dataclass(kw_only=True)
class _Song:
    """A song as heard, and what was made of it, the latest last."""

    stored_at: float
    found: pipeline.Analysis
    made: OrderedDict[Hashable, Any] = field(default_factory=OrderedDict)


class Opened:
    """The songs opened lately; may be asked from any thread."""

    def __init__(self) -> None:
        self._songs: OrderedDict[str, _Song] = OrderedDict()
        self._lock = threading.Lock()

    def found(self, store: Store, content_hash: str) -> pipeline.Analysis | None:
        """Recall what was heard of a song, without corrections; None if it was not heard."""
        song = self._song(store, content_hash)
        return song.found if song else None

    def analysis(self, store: Store, content_hash: str) -> pipeline.Analysis | None:
        """Recall what was heard of a song, with its corrections as they are kept now."""
        song = self._song(store, content_hash)
        if song is None:
            return None
        kept = store.get_correction(content_hash)
        return self._made(
            song,
            ("corrected", json.dumps(kept)),
            lambda: pipeline.with_kept_correction(song.found, store),
        )

    def remember(self, content_hash: str, analysis: pipeline.Analysis, kept: Any) -> None:
        """Keep a song as it was corrected just now; `kept` is what the store keeps of it."""
        song = self._songs.get(content_hash)
        if song:
            self._made(song, ("corrected", json.dumps(kept)), lambda: analysis)

    def made(self, analysis: pipeline.Analysis, wanted: Hashable, make: Callable[[], Any]) -> Any:
        """Recall what was made of a song as it is corrected now, or make it."""
        song = self._songs.get(analysis.info.content_hash)
        if song is None:
            return make()
        return self._made(song, (analysis.correction, wanted), make)

    def _song(self, store: Store, content_hash: str) -> _Song | None:
        version = pipeline.analysis_version()
        stored_at = store.when_heard(content_hash, version)
        with self._lock:
            song = self._songs.get(content_hash)
            if song is not None and song.stored_at == stored_at:
                self._songs.move_to_end(content_hash)
                return song
        text = store.get_analysis(content_hash, version)
        if text is None:
            return None
        stored_at = store.when_heard(content_hash, version) or 0.0
        song = _Song(stored_at=stored_at, found=pipeline.recalled(text, None))
        with self._lock:
            self._songs[content_hash] = song
            while len(self._songs) > MOST_SONGS:
                self._songs.popitem(last=False)
        return song

    def _made(self, song: _Song, name: Hashable, make: Callable[[], Any]) -> Any:
        with self._lock:
            if name in song.made:
                song.made.move_to_end(name)
                return song.made[name]
        result = make()
        with self._lock:
            song.made[name] = result
            while len(song.made) > MOST_STATES:
                song.made.popitem(last=False)
        return result
