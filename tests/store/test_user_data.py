"""What a person made is kept twice, changed by one program at a time, and put aside, not lost."""

from __future__ import annotations

import json
import os
import sqlite3
import subprocess
import sys
import tempfile
import textwrap
from collections.abc import Iterator
from pathlib import Path

import pytest

from phrasefit.errors import CacheError, MapError
from phrasefit.store import Store
from phrasefit.store.journal import Journal
from phrasefit.store.records import Record, latest, read_line

ROOT = Path(__file__).parents[2]


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """Where the cache of the test lies."""
    return tmp_path / "c.sqlite3"


@pytest.fixture
def journal(place: Path) -> Path:
    """Where its second copy lies."""
    return place.with_name("c.journal.jsonl")


# ------------------------------------------------------------------------ records


def test_line_proves_itself() -> None:
    """A line comes back as it was written; with any sign changed it is refused."""
    record = Record("correction", "abc", '{"meter": 3, "title": "é\\n"}', 1000.5)
    line = record.line.rstrip()
    assert read_line(line) == record

    for i in range(len(line)):
        assert read_line(line[:i] + chr(ord(line[i]) ^ 1) + line[i + 1 :]) in (None, record)
        assert read_line(line[:i]) is None


@pytest.mark.parametrize("line", ["", "[]", "{}", "[1, 2, 3, 4, 5]", "[" * 5000, '["a"]', "nul"])
def test_line_of_something_else_is_refused(line: str) -> None:
    """Whatever stands in a line, it is a record or nothing."""
    assert read_line(line) is None


def test_latest_counts_in_any_order() -> None:
    """Copies can be put together in any order: the latest record of a thing stays."""
    old, new = Record("correction", "a", "{}", 1.0), Record("correction", "a", "null", 2.0)
    other = Record("routine", "a", "text", 0.5)

    for order in ([old, new, other], [other, new, old]):
        assert latest(order) == {("correction", "a"): new, ("routine", "a"): other}


# -------------------------------------------------------------------- one at a time


def test_edit_sees_what_is_kept_now(place: Path) -> None:
    """A change is given what another program kept a moment ago; None removes it."""
    with Store(place) as one, Store(place) as other:
        other.put_correction("abc", {"meter": 3})

        changed = one.edit_correction("abc", lambda kept: {**kept, "level": 2.0})

        assert changed == other.get_correction("abc") == {"meter": 3, "level": 2.0}
        assert other.edit_correction("abc", lambda kept: None) is None
        assert one.get_correction("abc") is None


def test_edit_that_fails_changes_nothing(place: Path, journal: Path) -> None:
    """What the change raises is passed on; both copies are as they were."""
    with Store(place) as store:
        store.put_correction("abc", {"meter": 3})
        before = journal.read_bytes()

        def refuse(kept: object) -> dict[str, object]:
            raise MapError("does not fit")

        with pytest.raises(MapError, match="does not fit"):
            store.edit_correction("abc", refuse)

        assert store.get_correction("abc") == {"meter": 3}
    assert journal.read_bytes() == before


def test_two_programs_lose_no_change(place: Path) -> None:
    """Two programs that add eight marks each to one song keep all sixteen."""
    code = """
        import sys
        from pathlib import Path
        from phrasefit.store import Store
        for i in range(8):
            with Store(Path(sys.argv[1])) as store:
                store.edit_correction("abc", lambda kept: {**(kept or {}), f"{sys.argv[2]}{i}": i})
    """
    programs = [
        subprocess.Popen([sys.executable, "-c", textwrap.dedent(code), str(place), name], cwd=ROOT)
        for name in "ab"
    ]

    assert [program.wait(timeout=60) for program in programs] == [0, 0]
    with Store(place) as store:
        assert len(store.get_correction("abc")) == 16
        assert store.notes == []


def test_a_clock_that_goes_back_does_not_undo_a_change(
    place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The last change counts in both copies, even if it bears an earlier time."""
    with Store(place) as store:
        store.put_correction("abc", {"meter": 3})
        monkeypatch.setattr("phrasefit.store.copies.time.time", lambda: 1000.0)
        store.put_correction("abc", {"meter": 4})

    with Store(place) as store:
        assert store.get_correction("abc") == {"meter": 4}


# ------------------------------------------------------------------- kept twice


def test_each_copy_gives_back_what_the_other_lost(place: Path, journal: Path) -> None:
    """Without the database, and without the journal, nothing is missing; forgetting stays."""
    with Store(place) as store:
        store.put_correction("abc", {"meter": 3})
        store.put_correction("def", {"meter": 3})
        store.delete_correction("def")
        store.put_routine("R", "counts = 32")

    for lost in (place, journal, place):
        lost.unlink()
        with Store(place) as store:
            assert store.get_correction("abc") == {"meter": 3}
            assert store.get_correction("def") is None
            assert store.routines() == {"R": "counts = 32"}
            told = [note for note in store.notes if "1 correction and 1 routine" in note]
            assert bool(told) == (lost == place)
            assert journal.exists()


def test_damaged_text_is_given_back(place: Path) -> None:
    """A correction that somebody or something changed in the file is not believed."""
    with Store(place) as store:
        store.put_correction("abc", {"meter": 3})
    for text in ('{"meter": 4}', "{no", "[]", "7"):
        with sqlite3.connect(place) as db:
            db.execute("UPDATE correction SET document = ?", (text,))
        db.close()

        with Store(place) as store:
            assert store.get_correction("abc") == {"meter": 3}
            assert any("brought back" in note for note in store.notes)


def test_torn_last_line_costs_nothing(place: Path, journal: Path) -> None:
    """A line whose writer was killed is passed over without a word."""
    with Store(place) as store:
        store.put_correction("abc", {"meter": 3})
    with journal.open("a") as file:
        file.write('["correction", "def", "{')

    with Store(place) as store:
        assert store.notes == []
        assert store.get_correction("abc") == {"meter": 3}
    assert not Journal(journal).read().is_torn


def test_journal_stays_short(place: Path, journal: Path) -> None:
    """Lines that were overtaken do not pile up for ever."""
    with Store(place) as store:
        for i in range(150):
            store.put_correction("abc", {"n": i})
    with Store(place) as store:
        assert store.get_correction("abc") == {"n": 149}
    assert len(journal.read_text().splitlines()) == 1


def test_journal_that_cannot_be_written(place: Path, journal: Path) -> None:
    """Where the second copy cannot be kept a change is refused, and nothing changed."""
    with Store(place) as store:
        store.put_correction("abc", {"meter": 3})
        journal.unlink()
        journal.mkdir()

        with pytest.raises(CacheError, match="cannot be written"):
            store.put_correction("abc", {"meter": 4})

        assert store.get_correction("abc") == {"meter": 3}


# -------------------------------------------------------------------- set aside


def test_set_aside(place: Path) -> None:
    """A correction out of use can be seen, twice for one song, and dropped for good."""
    with Store(place) as store:
        for meter in (3, 4):
            store.put_correction("abc", {"meter": meter})
            store.set_aside_correction("abc", "does not fit")
        assert store.get_correction("abc") is None
        first, second = store.corrections_set_aside()
        assert (first.name, first.kept, first.reason) == ("abc", {"meter": 3}, "does not fit")
        assert second.kept == {"meter": 4}

        assert store.drop_set_aside(first.key)
        assert not store.drop_set_aside(first.key)

    with Store(place) as store:
        assert [aside.kept for aside in store.corrections_set_aside()] == [{"meter": 4}]


@pytest.mark.parametrize("text", ["no json", "[1]", "7", "[" * 5000])
def test_correction_of_an_earlier_version_that_is_none(place: Path, text: str) -> None:
    """What an earlier version kept and cannot be read is set aside, with a note."""
    db = sqlite3.connect(place)
    db.executescript((Path(__file__).parent / "data/schema-2.sql").read_text(encoding="utf-8"))
    db.execute("UPDATE correction SET document = ? WHERE content_hash = 'abc'", (text,))
    db.commit()
    db.close()

    with Store(place) as store:
        assert store.get_correction("abc") is None
        assert store.get_correction("def") == {"level": 0.5}
        assert any("set aside" in note for note in store.notes)
        assert [aside.kept for aside in store.corrections_set_aside()] == [text]


# ------------------------------------------------------------------- closed folder


@pytest.fixture
def closed() -> Iterator[Path]:
    """Give a folder that others than its owner can only read."""
    with tempfile.TemporaryDirectory(prefix="closed-") as folder:
        Path(folder).chmod(0o755)
        yield Path(folder)


def read_in(folder: Path) -> dict[str, object]:
    """Use the cache in `folder` as somebody who may only read it."""
    code = """
        import json, os, sys
        from pathlib import Path
        from phrasefit.errors import CacheError
        from phrasefit.store import Store, maintenance
        if os.getuid() == 0:
            os.setuid(65534)
        with Store(Path(sys.argv[1], "c.sqlite3")) as store:
            store.put_analysis("new", "1", "{}", path=Path(sys.argv[1], "c.sqlite3"))
            try:
                store.put_correction("abc", {})
            except CacheError as exc:
                refusal = str(exc)
            print(json.dumps({
                "correction": store.get_correction("abc"), "routines": store.routines(),
                "analysis": store.get_analysis("abc", "1"), "notes": store.notes,
                "refusal": refusal, "n": maintenance.info(store, "1").n_corrections,
            }))
    """
    for path in folder.iterdir():
        path.chmod(0o444)
    folder.chmod(0o555)
    try:
        done = subprocess.run(
            [sys.executable, "-c", textwrap.dedent(code), str(folder)],
            cwd=ROOT,
            capture_output=True,
            text=True,
            check=False,
        )
    finally:
        folder.chmod(0o755)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


@pytest.mark.skipif(not hasattr(os, "setuid"), reason="needs the rights of Unix files")
@pytest.mark.parametrize("harm", ["", "database", "older"])
def test_closed_folder(closed: Path, harm: str) -> None:
    """What is kept in a closed folder is read; what cannot be kept is said, not a failure."""
    place = closed / "c.sqlite3"
    with Store(place) as store:
        store.put_analysis("abc", "1", '{"a": "é"}', path=place)
        store.put_correction("abc", {"meter": 3})
        store.put_routine("R", "text")
    if harm == "database":
        place.write_bytes(b"no database " * 500)
    if harm == "older":
        for path in closed.iterdir():
            path.unlink()
        db = sqlite3.connect(place)
        data = Path(__file__).parent / "data/schema-2.sql"
        db.executescript(data.read_text(encoding="utf-8").replace("'Mine'", "'R'"))
        db.close()

    found = read_in(closed)

    assert found["correction"] == {"meter": 3}
    assert list(found["routines"]) == ["R"]
    assert found["analysis"] == (None if harm == "database" else '{"a": "é"}')
    assert "cannot be written to" in found["refusal"]
    assert any("is not kept" in note for note in found["notes"])
    assert found["n"] >= 1
