"""The cache keeps what it is given and knows files by their sound."""

from __future__ import annotations

from pathlib import Path

import pytest

from phrasefit.errors import CacheError
from phrasefit.store import Store


@pytest.fixture
def song(tmp_path: Path) -> Path:
    """Stand in for a song file: the cache only looks at its size and age."""
    path = tmp_path / "song.wav"
    path.write_bytes(b"sound")
    return path


def test_analysis_round_trip(tmp_path: Path, song: Path) -> None:
    """What was put comes back after the cache is closed and opened again."""
    with Store(tmp_path / "c.sqlite3") as store:
        store.put_analysis("abc", "1", '{"a": "é"}', path=song)

    with Store(tmp_path / "c.sqlite3") as store:
        assert store.hash_of(song) == "abc"
        assert store.get_analysis("abc", "1") == '{"a": "é"}'
        assert store.get_analysis("abc", "2") is None


def test_changed_file_is_not_known(tmp_path: Path, song: Path) -> None:
    """A file that was changed after it was heard must be heard again."""
    with Store(tmp_path / "c.sqlite3") as store:
        store.put_analysis("abc", "1", "{}", path=song)
        song.write_bytes(b"other sound")

        assert store.hash_of(song) is None


def test_correction_can_be_removed(tmp_path: Path) -> None:
    """A correction is kept until it is deleted."""
    with Store(tmp_path / "c.sqlite3") as store:
        store.put_correction("abc", {"meter": 3})
        assert store.get_correction("abc") == {"meter": 3}

        store.delete_correction("abc")

        assert store.get_correction("abc") is None


def test_newer_schema_is_refused(tmp_path: Path) -> None:
    """A cache from a newer phrasefit is left alone, with the remedy in the message."""
    with Store(tmp_path / "c.sqlite3") as store:
        store._db.execute("PRAGMA user_version = 999")

    with pytest.raises(CacheError, match="newer phrasefit"):
        Store(tmp_path / "c.sqlite3")
