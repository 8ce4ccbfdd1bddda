"""Damaged caches: moved aside as they were, and all that can be read is carried over."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

from phrasefit.errors import CacheError
from phrasefit.store import Store, database, maintenance
from phrasefit.store.records import Record

ROOT = Path(__file__).parents[2]
N_ANALYSES = 20


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """Where the cache of the test lies."""
    return tmp_path / "c.sqlite3"


def filled(place: Path, n_corrections: int = 300) -> None:
    """Make a cache with analyses, corrections and a routine."""
    song = place.with_name("song.wav")
    song.write_bytes(b"sound")
    with Store(place) as store:
        for i in range(N_ANALYSES):
            store.put_analysis(f"{i:02x}", "1", "".join(map(chr, range(40 + i, 3000))), path=song)
        store.merge_records(
            Record("correction", f"{i:04}", '{"meter": 3}', 1.0) for i in range(n_corrections)
        )
        store.put_routine("Mine", "counts = 32")


def overwrite_root_page(place: Path, table: str) -> None:
    """Destroy the page where a table begins."""
    with sqlite3.connect(place) as db:
        (root,) = db.execute(
            "SELECT rootpage FROM sqlite_master WHERE name = ?", (table,)
        ).fetchone()
        (size,) = db.execute("PRAGMA page_size").fetchone()
    db.close()
    with place.open("r+b") as file:
        file.seek((root - 1) * size)
        file.write(b"\xff" * size)


def n_analyses_found(store: Store) -> int:
    """Count the analyses that can be recalled."""
    return sum(store.get_analysis(f"{i:02x}", "1") is not None for i in range(N_ANALYSES))


@pytest.mark.parametrize("content", [b"", b"S", b"this is no database at all, " * 100])
def test_file_that_is_no_cache_is_moved_aside(place: Path, content: bytes) -> None:
    """Something else under its name is kept, a new cache begun, and the user told."""
    place.write_bytes(content)

    with Store(place) as store:
        assert any("damaged" in note and "new one was begun" in note for note in store.notes)
        store.put_correction("abc", {"meter": 3})

    (aside,) = place.parent.glob("c.damaged-*.sqlite3")
    assert aside.read_bytes() == content
    with Store(place) as store:
        assert store.notes == []
        assert store.get_correction("abc") == {"meter": 3}


def test_corrections_outlive_a_damaged_cache(place: Path) -> None:
    """Where the pages of the analyses are lost, corrections and routines are carried over."""
    filled(place)
    overwrite_root_page(place, "analysis")

    with Store(place) as store:
        assert store.get_analysis("01", "1") is None  # this finds the damage
        assert store.get_correction("0299") == {"meter": 3}
        assert store.routines() == {"Mine": "counts = 32"}
        assert any("0 songs heard" in note for note in store.notes)


def test_corrections_outlive_their_own_pages(place: Path) -> None:
    """Where the pages of the corrections are lost, they come from the second copy."""
    filled(place)
    overwrite_root_page(place, "correction")

    with Store(place) as store:
        assert len(store.user_records()) == 301
        assert n_analyses_found(store) == N_ANALYSES
        assert any("300 corrections" in note and "brought back" in note for note in store.notes)


@pytest.mark.parametrize("n_bytes", [100, 4096, 60_000])
def test_salvage_without_the_second_copy(place: Path, n_bytes: int) -> None:
    """The database alone: with its end cut off nearly every row whose text is left is found."""
    filled(place, n_corrections=3000)
    place.with_name("c.journal.jsonl").unlink()
    with place.open("r+b") as file:
        size = file.seek(0, 2)
        file.truncate(size - n_bytes)
    left = place.read_bytes()
    n_left = sum(f'{i:04}{{"meter"'.encode() in left for i in range(3000))
    assert n_left > 1000

    with Store(place) as store:
        assert len(store.user_records()) > 0.98 * n_left
        assert n_analyses_found(store) == N_ANALYSES
        assert store.notes


@pytest.mark.parametrize("begin", [0, 16, 100])
def test_damaged_first_page(place: Path, begin: int) -> None:
    """Without a header, or without the list of tables, nothing at all is lost."""
    filled(place)
    place.with_name("c.journal.jsonl").unlink()
    with place.open("r+b") as file:
        file.seek(begin)
        file.write(b"\xff" * (100 if begin < 100 else 3000))

    with Store(place) as store:
        assert len(store.user_records()) == 301
        assert n_analyses_found(store) == N_ANALYSES


@pytest.mark.parametrize("number", [0, -5])
def test_wrong_schema_number(place: Path, number: int) -> None:
    """A number that no phrasefit writes is damage, not a full disk; nothing is lost."""
    filled(place)
    with sqlite3.connect(place) as db:
        db.execute(f"PRAGMA user_version = {number}")
    db.close()

    with Store(place) as store:
        assert any("the cache was damaged" in note for note in store.notes)
        assert not any("disk" in note for note in store.notes)
        assert len(store.user_records()) == 301
        assert n_analyses_found(store) == N_ANALYSES


def test_flipped_key_is_told(place: Path) -> None:
    """An analysis that is under a wrong name in the file is missed, not forgotten silently."""
    filled(place)
    with sqlite3.connect(place) as db:
        db.execute("UPDATE analysis SET content_hash = 'ff' WHERE content_hash = '00'")
        db.execute("INSERT OR REPLACE INTO file VALUES ('/music/a.wav', 1, 2, '00')")
    db.close()

    with Store(place) as store:
        assert store.get_analysis("00", "1") is None
        assert any("listened to again" in note for note in store.notes)


def test_lost_end_of_the_log_is_told(place: Path) -> None:
    """What was committed to the log and is gone from it is said, and only then."""
    song = place.with_name("song.wav")
    song.write_bytes(b"sound")
    with Store(place) as store:
        store.put_analysis("00", "1", "x" * 9000, path=song)
        reader = sqlite3.connect(place)  # keeps the log from being emptied
        reader.execute("BEGIN")
        reader.execute("SELECT * FROM file").fetchall()
        store.put_analysis("01", "1", "y" * 9000, path=song)
        files = {path.name: path.read_bytes() for path in place.parent.iterdir() if path.is_file()}
        reader.close()
    for lost in (0, 1, 5000, None):
        copy = place.with_name(f"copy-{lost}")
        copy.mkdir()
        for name, content in files.items():
            (copy / name).write_bytes(content)
        log = copy / "c.sqlite3-wal"
        if lost is None:
            log.unlink()
        else:
            log.write_bytes(files[log.name][: len(files[log.name]) - lost])

        with Store(copy / "c.sqlite3") as store:
            is_there = store.get_analysis("01", "1") is not None
            assert is_there == (lost == 0)
            assert any("listened to again" in note for note in store.notes) != is_there


def test_writing_to_a_damaged_cache(place: Path) -> None:
    """If damage shows while writing, the change goes to the new cache, with all the others."""
    filled(place)
    with Store(place) as store:
        content = bytearray(place.read_bytes())
        content[4096:] = b"\xff" * (len(content) - 4096)
        place.write_bytes(bytes(content))
    with Store(place) as store:
        store.put_correction("new", {"meter": 3})

        assert store.get_correction("new") == {"meter": 3}
        assert len(store.user_records()) == 302
        assert store.notes


def test_a_file_replaced_while_it_is_opened_is_not_moved_aside(
    place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another program replaces the damaged file just when this one has opened it."""
    place.write_bytes(b"no database " * 500)
    connect = sqlite3.connect

    def connect_then_other(*given, **more):
        opened = connect(*given, **more)
        monkeypatch.setattr(sqlite3, "connect", connect)
        with Store(place) as other:
            other.put_routine("a", "text")
        return opened

    monkeypatch.setattr(sqlite3, "connect", connect_then_other)
    with Store(place) as store:
        assert [str(key) for key in store.routines()] == ["a"]

    assert len(list(place.parent.glob("c.damaged-*"))) == 1


def test_several_programs_find_the_damage_at_once(place: Path) -> None:
    """Only one file is moved aside, and no program moves the new one."""
    place.write_bytes(b"no database " * 500)
    code = """
        import sys
        from pathlib import Path
        from phrasefit.store import Store
        with Store(Path(sys.argv[1])) as store:
            store.put_routine(sys.argv[2], "text")
    """
    programs = [
        subprocess.Popen([sys.executable, "-c", textwrap.dedent(code), str(place), name], cwd=ROOT)
        for name in "abcd"
    ]

    assert [program.wait(timeout=60) for program in programs] == [0] * 4
    assert len(list(place.parent.glob("c.damaged-*"))) == 1
    with Store(place) as store:
        assert list(store.routines()) == list("abcd")


def test_program_that_holds_an_old_file_writes_to_the_new_one(place: Path) -> None:
    """What is changed after another program has replaced the file is not lost with it."""
    song = place.with_name("song.wav")
    song.write_bytes(b"sound")
    with Store(place) as slow:
        slow.put_correction("abc", {"meter": 3})
        with Store(place) as quick:
            quick.rebuild()
            quick.put_correction("ghi", {"meter": 6})

            assert slow.get_correction("ghi") == {"meter": 6}
            quick.rebuild()
        slow.put_analysis("a1", "1", "{}", path=song)
        with Store(place) as quick:
            quick.rebuild()
        slow.put_correction("def", {"meter": 4})

    with Store(place) as store:
        assert store.get_analysis("a1", "1") == "{}"
        assert store.get_correction("abc") == {"meter": 3}
        assert store.get_correction("def") == {"meter": 4}


def test_log_of_a_file_that_is_gone_is_not_applied_to_a_new_one(place: Path) -> None:
    """A new cache begins empty although the old one's log is still there."""
    Path(f"{place}-wal").write_bytes(b"\x37\x7f\x06\x82" * 5000)

    with Store(place) as store:
        assert store.count("analysis") == 0
        assert maintenance.verify(store) == []
    assert list(place.parent.glob("c.damaged-*-wal"))


def test_cache_in_use_is_said_to_be(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A program that holds the file for too long is named, not the disk."""
    monkeypatch.setattr(database, "BUSY_TIMEOUT_S", 0.2)
    with Store(place) as store:
        holder = sqlite3.connect(place, isolation_level=None)
        holder.execute("BEGIN EXCLUSIVE")

        with pytest.raises(CacheError, match="another program has been using the cache"):
            store.put_correction("abc", {"meter": 3})

        holder.execute("ROLLBACK")
        holder.close()
        store.put_correction("abc", {"meter": 3})
        assert store.get_correction("abc") == {"meter": 3}


def test_verify_rebuilds_a_damaged_file(place: Path) -> None:
    """What SQLite finds wrong in its file is told, and put right."""
    filled(place)
    content = bytearray(place.read_bytes())
    at = content.find(b'0250{"meter"')
    page = at // 4096 * 4096
    content[page : page + 4096] = os.urandom(4096)
    place.write_bytes(bytes(content))

    with Store(place) as store:
        maintenance.verify(store)
        assert store.notes
        assert maintenance.verify(store) == []
        assert len(store.user_records()) == 301
