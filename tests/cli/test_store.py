"""`store`: looking after the cache from the command line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from in_process import Program
from kept_songs import keep, square_song
from phrasefit.store import Store, default_path

ROUTINES = Path(__file__).parents[2] / "phrasefit" / "routines"
SAMPLES = Path(__file__).parents[2] / "sample_audio"


@pytest.fixture
def program(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Program:
    """The program in this process."""
    return Program(monkeypatch, capsys)


def test_info_and_prune(program: Program, tmp_path: Path) -> None:
    """The counts are shown; pruning tells what it removed."""
    with Store() as store:
        key = keep(store, tmp_path, square_song("Gone", 8, 8))
        store.put_analysis(key, "0", "{}", path=tmp_path / "Gone.wav")
    (tmp_path / "Gone.wav").unlink()

    done = program("store", "info")
    assert str(default_path()) in done.out
    assert "songs heard  1" in done.out
    assert "out of date  1" in done.out

    assert "out of date and removed: 1; files forgotten: 0" in program("store", "prune").out
    assert (
        "out of date and removed: 1; files forgotten: 1" in program("store", "prune", "--gone").out
    )


def test_export_import(program: Program, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A person's work moves to another computer."""
    target = tmp_path / "work.json"
    with Store() as store:
        store.put_correction("abc", {"meter": 3})
    program("store", "keep", ROUTINES / "first-gate.toml")

    done = program("store", "export", target)
    assert "1 correction and 1 routine" in done.err
    assert json.loads(target.read_text("utf-8"))["format"] == "phrasefit-store"
    program("store", "export", target, expect=2)

    monkeypatch.setenv("PHRASEFIT_DATA", str(tmp_path / "elsewhere"))
    done = program("store", "import", target)
    assert "took over 1 of 1 corrections and 1 of 1 routines" in done.out
    with Store() as store:
        assert store.get_correction("abc") == {"meter": 3}
        assert list(store.routines()) == ["First Gate"]
    program("store", "import", tmp_path / "missing.json", expect=2)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("wall,time\n", "is no JSON from line 1, column 1 on; make an export with"),
        ("{}", "is no export of phrasefit; make one with"),
        ("[1]", "is no export of phrasefit; make one with"),
    ],
)
def test_what_is_no_export_is_said_in_plain_words(
    text: str, said: str, program: Program, tmp_path: Path
) -> None:
    """Another file is refused without the words of the language it is read with."""
    other = tmp_path / "other.json"
    other.write_text(text, encoding="utf-8")

    assert f"other.json: {said}" in program("store", "import", other, expect=2).err


def test_verify(program: Program, tmp_path: Path) -> None:
    """A sound cache is told to be so; damage is named and fixed, code 1."""
    with Store() as store:
        key = keep(store, tmp_path, square_song("A", 8, 8))
    assert "all that is kept is in order" in program("store", "verify").out
    with Store() as store:
        store._db.execute("UPDATE analysis SET document = x'00'")

    done = program("store", "verify", expect=1)

    assert key[:12] in done.out
    assert "all that is kept is in order" in program("store", "verify").out


def test_damaged_file_is_told(program: Program) -> None:
    """A file that is no cache is moved aside; the user reads it on standard error."""
    default_path().write_bytes(b"no database" * 1000)

    done = program("store", "info")

    assert "the cache was damaged" in done.err
    assert "songs heard  0" in done.out


def test_set_aside(program: Program, tmp_path: Path) -> None:
    """A correction that does not fit is told, counted, listed with its song, and dropped."""
    song = tmp_path / "A.wav"
    with Store() as store:
        key = keep(store, tmp_path, square_song("A", 8, 8))
        store.put_correction(key, {"one_at_s": 9999.0})

    done = program("map", song)
    assert "no longer fits" in done.err and "store set-aside" in done.err
    assert program("map", song).err == ""

    assert "set aside    1 correction that no longer fits" in program("store", "info").out
    listed = program("store", "set-aside").out
    assert str(song) in listed and "9999" in listed and key[:12] in listed
    program("store", "set-aside", "--drop", "no such key", expect=2)
    assert "dropped" in program("store", "set-aside", "--drop", key[:12]).out
    assert "nothing is set aside" in program("store", "set-aside").out


@pytest.mark.parametrize("words", [("map", "SONG", "--forget"), ("correct", "SONG", "--forget")])
def test_forget_whatever_is_kept(program: Program, tmp_path: Path, words: tuple[str, ...]) -> None:
    """A correction that does not fit does not keep itself from being forgotten."""
    with Store() as store:
        key = keep(store, tmp_path, square_song("A", 8, 8))
        store.put_correction(key, {"one_at_s": 9999.0})

    program(*(tmp_path / "A.wav" if word == "SONG" else word for word in words))

    with Store() as store:
        assert store.get_correction(key) is None


def test_song_is_known_by_its_sound_on_another_computer(tmp_path: Path) -> None:
    """What export promises: a copy of the song elsewhere has the same fingerprint."""
    from phrasefit.audio.decode import decode

    song = SAMPLES / "marmalade-polka.ogg"
    copy = tmp_path / "Musik" / "a copy.ogg"
    copy.parent.mkdir()
    copy.write_bytes(song.read_bytes())

    assert decode(copy).info.content_hash == decode(song).info.content_hash


def test_keep_refuses_a_routine_with_mistakes(program: Program, tmp_path: Path) -> None:
    """Only routines that can be read are kept."""
    bad = tmp_path / "bad.toml"
    bad.write_text("counts = 'many'")

    program("store", "keep", ROUTINES / "first-gate.toml", bad, expect=2)

    with Store() as store:
        assert store.routines() == {}
