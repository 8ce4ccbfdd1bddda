"""A hostile afternoon: whatever is given, one clear line, exit code 2 and no scraps."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from full_disk import full_disk
from phrasefit.cli import _edge, app

ROUTINES = Path(__file__).parents[2] / "phrasefit" / "routines"
TEASPOONS = ROUTINES / "borrowed-teaspoons.toml"

# Every command that writes a file, and the ending of what it writes.
WRITERS = [
    (["fit", "--json"], "plan.json"),
    (["sheet", "--out"], "sheet.pdf"),
    (["sheet", "--out"], "sheet.png"),
    (["page", "--out"], "page.html"),
    (["captions", "--out"], "lesson.vtt"),
    (["practice", "--say", "nothing", "--out"], "clicks.wav"),
    (["export", "--to", "midi", "--out"], "song.mid"),
    (["export", "--to", "jams", "--out"], "song.jams"),
    (["export", "--to", "csv", "--out"], "walls.csv"),
    (["pack", "--out"], "class"),
]
FULL_AT_BYTES = 200


Captured = pytest.CaptureFixture[str]


def run(
    words: list[object], monkeypatch: pytest.MonkeyPatch, captured: Captured
) -> tuple[int, str, str]:
    """Run the program in this process as the shell would; give exit code and both outputs."""
    monkeypatch.setattr(sys, "argv", ["phrasefit", *map(str, words)])
    captured.readouterr()
    with pytest.raises(SystemExit) as done:
        _edge.run(app)
    out, err = captured.readouterr()
    return int(done.value.code or 0), out, err


def refused(words: list[object], monkeypatch: pytest.MonkeyPatch, captured: Captured) -> str:
    """Run what must be refused with one line, exit code 2 and no output; give the line."""
    code, out, err = run(words, monkeypatch, captured)
    assert code == 2, err
    assert out == ""
    assert err.startswith("phrasefit: ")
    assert err.count("\n") == 1
    return err


@pytest.fixture
def ask(monkeypatch: pytest.MonkeyPatch, capfd: Captured):
    """Run what must be refused; give the line."""
    return lambda *words: refused(list(words), monkeypatch, capfd)


@pytest.fixture(scope="module")
def song_map(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write a bar map by hand: 64 bars, a section every 8."""
    beats = [1.0 + 0.5 * i for i in range(256)]
    path = tmp_path_factory.mktemp("map") / "map.json"
    path.write_text(
        json.dumps(
            {
                "title": "Lantern\nRow \x1b[31m",
                "beats_s": beats,
                "positions": [i % 4 + 1 for i in range(256)],
                "sections": [{"start_s": beats[i], "letter": "A"} for i in range(0, 256, 32)],
            }
        )
    )
    return path


@pytest.mark.parametrize(("words", "name"), WRITERS, ids=[name for _, name in WRITERS])
def test_full_disk(
    words: list[str],
    name: str,
    song_map: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: Captured,  # in memory: a file would be full, too
) -> None:
    """No writer leaves half a file or a scrap behind."""
    monkeypatch.setattr("phrasefit.reports.pack.PRACTICE_PERCENTS", ())
    # Fonts are looked up once and kept in a file: that must not meet the full disk.
    from phrasefit.reports.fonts import families

    families("a")
    with full_disk(FULL_AT_BYTES):
        wanted = [*words, tmp_path / name, "--map", song_map, TEASPOONS]
        line = refused(wanted, monkeypatch, capsys)

    assert name in line
    assert "writing failed" in line
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(("words", "name"), WRITERS, ids=[name for _, name in WRITERS])
def test_existing_results_and_missing_folders(
    words: list[str], name: str, ask, song_map: Path, tmp_path: Path
) -> None:
    """What is there already stays; a folder that is missing is named."""
    there = tmp_path / name
    there.mkdir() if name == "class" else there.write_text("mine")

    assert "--force" in ask(*words, there, "--map", song_map, TEASPOONS)
    gone = tmp_path / "gone" / name
    assert "gone does not exist" in ask(*words, gone, "--map", song_map, TEASPOONS)
    assert [path.name for path in tmp_path.iterdir()] == [name]


def test_maps_that_are_none(ask, tmp_path: Path) -> None:
    """Whatever stands in the file, the message names it."""
    contents = [
        b"", b"[]", b"3", b"{", b"\xff\xfe", b"[" * 50_000,
        b'{"beats_s": [1, 2], "positions": [1, NaN]}',
        b'{"beats_s": [2, 1], "positions": [1, 2]}',
        b'{"beats_s": [1, 2], "positions": [2, 3], "title": 7}',
        b'{"beats_s": [1000, 1500, 2000], "positions": [1, 2, 3]}',
    ]  # fmt: skip
    for i, content in enumerate(contents):
        path = tmp_path / f"map{i}.json"
        path.write_bytes(content)
        assert path.name in ask("fit", "--map", path, "--counts", "32", "--walls", "4")
    assert "no such file" in ask("fit", "--map", tmp_path / "gone.json", TEASPOONS)


def test_routines_that_are_none(ask, song_map: Path, tmp_path: Path) -> None:
    """Whatever stands in the file, the message names it."""
    contents = [
        b"", b"\x00\xff", b"hello", b"a=" + b"[" * 5000, b"counts = " + b"9" * 5000,
        b'name = "x"\ncounts = -32\nwalls = 4', b'name = "x"\ncounts = 32\nwalls = 5',
        b'name = "x"\ncounts = 32\nwalls = 4\ntempo = [nan, inf]',
        b'name = "x"\ncounts = 4\nwalls = 1\nsteps = """\n1-3 | walk | R L R\n"""',
    ]  # fmt: skip
    for i, content in enumerate(contents):
        path = tmp_path / f"routine{i}.toml"
        path.write_bytes(content)
        assert path.name in ask("fit", "--map", song_map, path)


@pytest.mark.parametrize(
    "name", ["a b.wav", 'it\'s "q".wav', "💃.wav", "new\nline.wav", "%s{}.wav"]
)
def test_songs_with_odd_names_are_named(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    """A name is shown as it is, on one line, and does not become a pattern or an option."""
    path = tmp_path / name
    soundfile.write(path, np.zeros(22050 * 6, np.float32), 22050)

    code, out, err = run(["map", path], monkeypatch, capfd)

    assert (code, out) == (2, "")
    shown = str(path).replace("\n", "\\n")
    assert f"{shown}: no steady beat found; the file is silent" in err


def test_a_title_cannot_write_on_the_terminal(
    song_map: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    """Control characters of a title are left out of what is printed."""
    code, out, _ = run(["fit", "--map", song_map, TEASPOONS], monkeypatch, capfd)

    assert code == 0
    assert "Lantern Row [31m" in out
    assert "\x1b" not in out


def to_output(words: list[str], target: object) -> subprocess.CompletedProcess[str]:
    """Run the program in a process of its own with standard output going to `target`."""
    return subprocess.run(words, stdout=target, stderr=subprocess.PIPE, text=True, check=False)


def test_output_to_a_full_disk_and_a_closed_pipe(song_map: Path) -> None:
    """Standard output may fail too: one line for a full disk, none for a reader that left."""
    words = [sys.executable, "-m", "phrasefit", "fit", "--map", str(song_map), str(TEASPOONS)]
    if Path("/dev/full").exists():
        with open("/dev/full", "w") as full:
            done = subprocess.run(
                words, stdout=full, stderr=subprocess.PIPE, text=True, check=False
            )
        assert (done.returncode, done.stderr.count("\n")) == (2, 1)
        assert "standard output" in done.stderr
    reader, writer = os.pipe()
    os.close(reader)
    done = to_output(words, writer)
    os.close(writer)
    assert done.stderr == ""


def test_no_data_folder(ask, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A place where no cache can be is named, with the option that does without."""
    blocked = tmp_path / "file"
    blocked.touch()
    song = tmp_path / "song.wav"
    soundfile.write(song, np.zeros(22050 * 6, np.float32), 22050)
    monkeypatch.setenv("PHRASEFIT_DATA", str(blocked))

    assert "--no-cache" in ask("map", song)
