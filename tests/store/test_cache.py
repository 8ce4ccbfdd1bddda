"""The cache keeps what it is given, knows files by their sound, and survives what happens to it."""

from __future__ import annotations

import json
import resource
import signal
import sqlite3
import subprocess
import sys
import textwrap
import time
from pathlib import Path

import pytest

from phrasefit.errors import CacheError, Reason
from phrasefit.model import SongSummary
from phrasefit.store import Store, default_path, maintenance
from phrasefit.store.exchange import export_document, read_export
from phrasefit.store.schema import SCHEMA, migrate

DATA = Path(__file__).parent / "data"
SUMMARY = SongSummary(
    content_hash="abc", version="1.1", title="T", artist="", duration_s=9.0, tempo_bpm=120.0,
    meter=4, confidence=0.9, beats_per_count=None, counts_per_minute=120.0,
    doubts="one", cut_off=True, grid=b"grid",
)  # fmt: skip


@pytest.fixture
def song(tmp_path: Path) -> Path:
    """Stand in for a song file: the cache only looks at its size and age."""
    path = tmp_path / "song.wav"
    path.write_bytes(b"sound")
    return path


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """Where the cache of the test lies."""
    return tmp_path / "c.sqlite3"


def run_python(code: str, *arguments: object) -> subprocess.Popen[str]:
    """Start another program that uses the cache."""
    return subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(code), *map(str, arguments)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


# -------------------------------------------------------------------- keeping


def test_analysis_round_trip(place: Path, song: Path) -> None:
    """What was put comes back after the cache is closed and opened again."""
    with Store(place) as store:
        store.put_analysis("abc", "1", '{"a": "é"}', path=song)

    with Store(place) as store:
        assert store.hash_of(song) == "abc"
        assert store.get_analysis("abc", "1") == '{"a": "é"}'
        assert store.get_analysis("abc", "2") is None
        assert store.hashes_heard("1") == {"abc"}


def test_place_in_the_users_data_folder(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without the variable the cache lies in the data folder that the system names."""
    import platformdirs

    monkeypatch.delenv("PHRASEFIT_DATA")

    assert default_path().parent == Path(platformdirs.user_data_dir("phrasefit", appauthor=False))


def test_changed_file_is_not_known(place: Path, song: Path) -> None:
    """A file that was changed after it was heard must be heard again."""
    with Store(place) as store:
        store.put_analysis("abc", "1", "{}", path=song)
        song.write_bytes(b"other sound")

        assert store.hash_of(song) is None


def test_failure_is_kept_for_the_version(place: Path, song: Path) -> None:
    """Why a file was of no use is remembered for one analysis version."""
    with Store(place) as store:
        store.put_failure(song, "1", "no beat", Reason.NO_STEADY_BEAT)

        (kept,) = store.failures("1").values()
        assert kept[2:] == ("no beat", Reason.NO_STEADY_BEAT)
        assert store.failures("2") == {}
        store.put_failure(song, "2", "no sound")
        assert next(iter(store.failures("2").values()))[2:] == ("no sound", None)


def test_correction_can_be_removed(place: Path) -> None:
    """A correction is kept until it is deleted."""
    with Store(place) as store:
        store.put_correction("abc", {"meter": 3})
        assert store.get_correction("abc") == {"meter": 3}

        store.delete_correction("abc")

        assert store.get_correction("abc") is None


def test_summary_goes_when_the_song_changes(place: Path, song: Path) -> None:
    """A correction, its removal and a new analysis each drop the summary."""
    with Store(place) as store:
        for change in (
            lambda: store.put_correction("abc", {}),
            lambda: store.delete_correction("abc"),
            lambda: store.put_analysis("abc", "1", "{}", path=song),
        ):
            store.put_summaries([SUMMARY])
            assert store.summaries("1.1") == [SUMMARY]

            change()

            assert store.summaries("1.1") == []


def test_damaged_document_is_heard_again(place: Path, song: Path) -> None:
    """An analysis that cannot be unpacked counts as not there."""
    with Store(place) as store:
        store.put_analysis("abc", "1", "{}", path=song)
        store._db.execute("UPDATE analysis SET document = x'00ff'")

        assert store.get_analysis("abc", "1") is None


# ----------------------------------------------------------------- migrations


def test_newer_schema_is_refused(place: Path) -> None:
    """A cache from a newer phrasefit is left alone, with the remedy in the message."""
    with Store(place) as store:
        store._db.execute("PRAGMA user_version = 999")

    with pytest.raises(CacheError, match="newer phrasefit"):
        Store(place)


@pytest.mark.parametrize("schema", range(1, SCHEMA))
def test_each_earlier_schema_is_brought_up_to_date(place: Path, schema: int) -> None:
    """A file of every earlier schema opens, keeps what it held, and takes what is new."""
    db = sqlite3.connect(place)
    db.executescript((DATA / f"schema-{schema}.sql").read_text(encoding="utf-8"))
    db.close()

    with Store(place) as store:
        assert store.schema() == SCHEMA
        assert store.get_analysis("abc", "1") == '{"a": "é"}'
        assert store.get_correction("abc") == {"meter": 3}
        assert store.get_correction("def") == {"level": 0.5}
        assert store.files() == {"/music/song.wav": (5, 123, "abc")}
        assert store.failures("1") == {}  # files once refused are tried again
        store.put_summaries([SUMMARY])
        assert store.summaries("1.1") == [SUMMARY]
        kept = {"Mine": "counts = 32"} if schema > 1 else {}
        store.put_routine("R", "text")
        assert store.routines() == {**kept, "R": "text"}
        assert store.notes == []

    fresh = sqlite3.connect(place.with_name("fresh.sqlite3"))
    migrate(fresh, 0)
    tables = "SELECT type, name, sql FROM sqlite_master WHERE sql IS NOT NULL ORDER BY name"
    moved = sqlite3.connect(place)
    assert [" ".join(str(r).split()) for r in moved.execute(tables)] == [
        " ".join(str(r).split()) for r in fresh.execute(tables)
    ]
    moved.close()
    fresh.close()


def test_two_programs_bring_it_up_to_date_at_once(place: Path) -> None:
    """Of several programs that find an old file one migrates it and all can use it."""
    db = sqlite3.connect(place)
    db.executescript((DATA / "schema-1.sql").read_text(encoding="utf-8"))
    db.close()
    code = """
        import sys
        from pathlib import Path
        from phrasefit.store import Store
        with Store(Path(sys.argv[1])) as store:
            print(store.schema(), store.get_correction("abc"))
    """

    programs = [run_python(code, place) for _ in range(4)]

    for program in programs:
        out, err = program.communicate(timeout=60)
        assert out == f"{SCHEMA} {{'meter': 3}}\n", err


# ------------------------------------------------- several programs, kill, disk


WRITER = """
    import sys
    from pathlib import Path
    from phrasefit.store import Store
    place, song, name, n = Path(sys.argv[1]), Path(sys.argv[2]), sys.argv[3], int(sys.argv[4])
    with Store(place) as store:
        for i in range(n):
            store.put_analysis(f"{name}{i}", "1", "x" * 20000, path=song)
            print(i, flush=True)
"""


def test_several_programs_write_at_once(place: Path, song: Path) -> None:
    """Nothing that any of them was told is kept gets lost."""
    programs = [run_python(WRITER, place, song, name, 25) for name in "abc"]
    for program in programs:
        _, err = program.communicate(timeout=90)
        assert program.returncode == 0, err

    with Store(place) as store:
        assert store.hashes_heard("1") == {f"{name}{i}" for name in "abc" for i in range(25)}
        assert maintenance.verify(store) == []


def test_killed_program_loses_nothing_it_had_kept(place: Path, song: Path) -> None:
    """After kill -9 in the middle of writing, all that was reported is there and sound."""
    program = run_python(WRITER, place, song, "a", 100_000)
    done = [int(program.stdout.readline()) for _ in range(12)]
    program.send_signal(signal.SIGKILL)
    program.communicate()

    with Store(place) as store:
        assert store.hashes_heard("1") >= {f"a{i}" for i in done}
        assert all(store.get_analysis(key, "1") for key in store.hashes_heard("1"))
        assert maintenance.verify(store) == []


def test_full_disk_is_told_and_loses_nothing(place: Path, song: Path) -> None:
    """Where the file may not grow the error says what to do; earlier songs stay."""
    with Store(place) as store:
        store.put_analysis("old", "1", "{}", path=song)
        store._db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    code = """
        import resource, signal, sys, random
        from pathlib import Path
        from phrasefit.errors import CacheError
        from phrasefit.store import Store
        with Store(Path(sys.argv[1])) as store:
            signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
            resource.setrlimit(resource.RLIMIT_FSIZE, (200_000, resource.RLIM_INFINITY))
            noise = "".join(random.choices("abcdefghij" * 9, k=3_000_000))
            try:
                store.put_analysis("new", "1", noise, path=Path(sys.argv[2]))
            except CacheError as exc:
                print(exc)
            print(store.get_analysis("old", "1"), store.get_analysis("new", "1"))
    """
    assert resource.getrlimit(resource.RLIMIT_FSIZE)

    out, err = run_python(code, place, song).communicate(timeout=60)

    assert "make room on the disk or use --no-cache" in out, err
    assert out.splitlines()[-1] == "{} None"
    with Store(place) as store:
        assert store.hashes_heard("1") == {"old"}
        assert maintenance.verify(store) == []


def test_no_folder_can_be_made(tmp_path: Path) -> None:
    """A cache that cannot be opened says so and names the way round."""
    (tmp_path / "file").write_text("in the way")

    with pytest.raises(CacheError, match="use --no-cache to do without"):
        Store(tmp_path / "file" / "c.sqlite3")


# ------------------------------------------------ export, import, maintenance


def test_export_and_import(tmp_path: Path, place: Path) -> None:
    """Corrections and routines go to another cache; of two the later one stays."""
    with Store(place) as store:
        store.put_correction("both", {"meter": 4})
        store.put_correction("mine", {"level": 2.0})
        store.put_routine("R", "text")
        text = json.dumps(export_document(store.user_records()))
    with Store(tmp_path / "other.sqlite3") as other:
        time.sleep(0.01)
        other.put_correction("both", {"meter": 3})

        taken = other.merge_records(read_export(text, name="x"))

        assert (taken["correction"], taken["routine"]) == (1, 1)
        assert other.get_correction("both") == {"meter": 3}
        assert other.get_correction("mine") == {"level": 2.0}


@pytest.mark.parametrize(
    "text",
    [
        "no json",
        "[]",
        '{"format": "other", "version": 1}',
        '{"format": "phrasefit-store", "version": 99}',
        '{"format": "phrasefit-store", "version": 1, "correction": [{"content_hash": 1}]}',
    ],
)
def test_bad_export_is_refused(text: str) -> None:
    """A file that is no export is named."""
    with pytest.raises(CacheError, match=r"other\.json"):
        read_export(text, name="other.json")


def test_verify_removes_what_cannot_be_read(place: Path, song: Path) -> None:
    """A damaged analysis is found, told and removed; the others stay."""
    with Store(place) as store:
        store.put_analysis("good", "1", "{}", path=song)
        store.put_analysis("bad", "1", "{}", path=song)
        store._db.execute("UPDATE analysis SET document = x'00' WHERE content_hash = 'bad'")

        (trouble,) = maintenance.verify(store)

        assert "bad" in trouble
        assert store.hashes_heard("1") == {"good"}
        assert maintenance.verify(store) == []


def test_prune(place: Path, song: Path, tmp_path: Path) -> None:
    """Old versions go; with `gone` also songs without files; a person's work never does."""
    lost = tmp_path / "lost.wav"
    lost.write_bytes(b"y")
    with Store(place) as store:
        store.put_analysis("here", "1", "{}", path=song)
        store.put_analysis("here", "0", "{}", path=song)
        store.put_analysis("lost", "1", "{}", path=lost)
        store.put_correction("lost", {"meter": 3})
        lost.unlink()

        first = maintenance.prune(store, "1")
        assert (first.n_analyses, first.n_files) == (1, 0)
        assert store.hashes_heard("1") == {"here", "lost"}

        second = maintenance.prune(store, "1", gone=True)
        assert (second.n_analyses, second.n_files) == (1, 1)
        assert store.hashes_heard("1") == {"here"}
        assert store.get_correction("lost") == {"meter": 3}


def test_info(place: Path, song: Path) -> None:
    """The counts are those of what was put in."""
    with Store(place) as store:
        store.put_analysis("a", "1", "{}", path=song)
        store.put_analysis("a", "0", "{}", path=song)
        store.put_correction("a", {})
        store.put_failure(song, "1", "silent")

        found = maintenance.info(store, "1")

    assert (found.n_songs, found.n_stale, found.n_files) == (1, 1, 1)
    assert (found.n_corrections, found.n_routines, found.n_failures) == (1, 0, 1)
    assert found.schema == SCHEMA
    assert found.n_bytes > 4096
