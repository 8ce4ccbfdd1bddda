"""`rank`: table, filters, files, failures, on songs kept before and on songs that sound."""

from __future__ import annotations

import csv
import io
import json
import os
import subprocess
import sys
from importlib.resources import files
from pathlib import Path

import jsonschema
import pytest
import soundfile

from in_process import Program
from kept_songs import keep, square_song
from phrasefit.model import Confidence
from phrasefit.store import Store
from synth import make_song

ROUTINES = Path(__file__).parents[2] / "phrasefit" / "routines"
TEASPOONS = ROUTINES / "borrowed-teaspoons.toml"


@pytest.fixture
def program(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Program:
    """The program in this process."""
    monkeypatch.setenv("COLUMNS", "100")
    return Program(monkeypatch, capsys)


@pytest.fixture
def music(tmp_path: Path) -> Path:
    """A folder whose songs were all heard before."""
    folder = tmp_path / "music"
    folder.mkdir()
    with Store() as store:
        keep(store, folder, square_song("Square", 4, 8, 8, 8, 8, artist="Ada"))
        keep(store, folder, square_song("Extra Bar", 4, 8, 9, 8, 8, 8, 8, 8, artist="Ada"))
        keep(store, folder, square_song("Quick", 4, 8, 8, 8, bpm=145))
        keep(store, folder, square_song("Waltz", 8, 8, 8, 8, bpm=96, meter=3))
        unsure = Confidence(downbeat=0.4)
        keep(store, folder, square_song("=Unsure", 4, 8, 8, 8, bpm=104, confidence=unsure))
    return folder


def test_table(program: Program, music: Path) -> None:
    """One line a song; those far off the tempo stand apart, and nobody is told to play them."""
    done = program("rank", music, TEASPOONS)

    rows = [line for line in done.out.splitlines() if line[:4].strip().rstrip(".").isdigit()]
    assert [row.split("  ")[-1] for row in rows] == [
        "Square - Ada", "=Unsure", "Extra Bar - Ada", "Quick",
    ]  # fmt: skip
    assert rows[0].split()[1] == "100"
    assert "  too fast       145   " in rows[-1] and "-14.5" not in done.out
    assert done.out.index("out of reach, the tempo is off by more than 8 %:") > done.out.index(
        rows[2]
    )
    assert "  check the one  104   " in rows[1] and " 40%  " in rows[1]
    assert len(done.out.splitlines()) == 1 + 1 + len(rows) + 2
    assert "left out: 1 song, not counted in fours" in done.out
    assert done.err == ""


def test_what_is_wrong_with_a_recording_is_said_under_the_table(
    program: Program, music: Path
) -> None:
    """A song that is cut off takes its place in the table, but not without a word."""
    note = "the file is cut off, only its first 1:02 can be heard"
    with Store() as store:
        keep(store, music, square_song("Half Heard", 4, 8, 8, 8, notes=(note,)))
    done = program("rank", music, TEASPOONS)

    assert f"Half Heard: {note}" in done.out.splitlines()
    assert done.out.count(note) == 1


def test_columns_stand_under_their_heads(program: Program, music: Path) -> None:
    """The longest doubt moves no cell."""
    with Store() as store:
        doubted = Confidence(phrase=0.3)
        keep(store, music, square_song("Vague", 4, 8, 8, 8, bpm=106, confidence=doubted))

    head, *rows = program("rank", music, TEASPOONS).out.splitlines()[1:6]

    assert any("  check the phrases  " in row for row in rows)
    for row in rows:
        assert row[head.index("tempo") - 2 :].startswith("  ") and row[head.index("tempo")] != " "
        assert row[head.index("song") - 2 :].startswith("  ") and row[head.index("song")] != " "


def test_long_report(program: Program, music: Path) -> None:
    """The whole verdict stands under each line; one out of reach is not to be played faster."""
    done = program("rank", music, TEASPOONS, "--long")

    words = " ".join(done.out.split())
    assert "Check the one (40% sure): hear whether a new line of the song begins" in words
    assert "If that is right, it fits as it is (" in words
    assert "145 counts a minute is too fast (96 to 124 is wanted), by 14 %: choose another" in words


@pytest.mark.parametrize("width", [60, 70, 80, 100])
def test_as_wide_as_the_terminal(
    program: Program, music: Path, monkeypatch: pytest.MonkeyPatch, width: int
) -> None:
    """No line is longer than the terminal is wide."""
    monkeypatch.setenv("COLUMNS", str(width))

    assert max(map(len, program("rank", music, TEASPOONS).out.splitlines())) <= width


def test_stopped_before_the_end_writes_no_table(
    program: Program, music: Path, tmp_path: Path, stopped: pytest.MonkeyPatch
) -> None:
    """The same command goes on afterwards; a table of half the songs would be in its way."""
    words = ("rank", music, TEASPOONS, "--csv", tmp_path / "t.csv", "--json", tmp_path / "t.json")
    done = program(*words, expect=130)
    stopped.undo()

    assert "3 are left; run the command again" in done.err
    assert not list(tmp_path.glob("t.*"))
    program(*words)
    assert len(list(tmp_path.glob("t.*"))) == 2


def test_show_and_filters(program: Program, music: Path) -> None:
    """Fewer rows, and only those asked for; what is left out is told."""
    done = program("rank", music, TEASPOONS, "--show", 1)
    assert "the best 1 of 5 songs" in done.out
    assert "not shown: 3 that come after these" in done.out

    done = program("rank", music, TEASPOONS, "--title", "ada", "--tempo", "100-120", "--json", "-")
    (ranking,) = json.loads(done.out)["rankings"]
    assert [row["title"] for row in ranking["songs"]] == ["Square", "Extra Bar"]
    assert ranking["n_filtered"] == 3

    done = program("rank", music, TEASPOONS, "--min-confidence", 0.5, "--all", "--json", "-")
    assert "=Unsure" not in done.out


@pytest.mark.parametrize("asked", ["107", "104-107", "107-107.5"])
def test_a_tempo_is_found_as_it_is_shown(asked: str, program: Program, tmp_path: Path) -> None:
    """The table says 107 of 107.3 counts a minute, so that is what people ask for."""
    with Store() as store:
        keep(store, tmp_path, square_song("Lamp", 4, 8, 8, 8, bpm=107.3))

    done = program("rank", tmp_path, TEASPOONS, "--tempo", asked)

    assert "the best 1 of 1 song" in done.out and " 107 " in done.out


def test_what_was_put_aside_is_not_said_to_fit_badly(program: Program, music: Path) -> None:
    """Where all songs were put aside it is not said that none fits."""
    done = program("rank", music, TEASPOONS, "--tempo", "60")

    assert "none of 5 songs fits it and is what you asked for\n" in done.out
    assert "put aside by what you asked for: 5" in done.out


def test_max_changes_and_sort(program: Program, music: Path) -> None:
    """No more changes than asked for; another order on request."""

    def songs(*options: object) -> list[dict]:
        done = program("rank", music, TEASPOONS, "--json", "-", *options)
        return json.loads(done.out)["rankings"][0]["songs"]

    assert max(row["n_changes"] for row in songs()) > 0
    assert max(row["n_changes"] for row in songs("--max-changes", 0)) == 0
    tempos = [row["counts_per_minute"] for row in songs("--sort", "tempo")]
    assert tempos == sorted(tempos)
    titles = [row["title"] for row in songs("--sort", "title")]
    assert titles[:-1] == sorted(titles[:-1], key=str.casefold)
    for order in ("title", "changes", "length", "confidence"):  # out of the tempo's reach: last
        assert [row["title"] for row in songs("--sort", order)][3:] == ["Quick"]
    rows = csv.DictReader(io.StringIO(program(
        "rank", music, TEASPOONS, "--sort", "title", "--csv", "-").out.removeprefix("\ufeff")
    ))  # fmt: skip
    assert [row["title"] for row in rows][-1] == "Quick"


def test_files(program: Program, music: Path, tmp_path: Path) -> None:
    """JSON obeys its schema; CSV begins with a byte-order mark and holds no formula."""
    csv_path, json_path = tmp_path / "t.csv", tmp_path / "t.json"

    program("rank", music, TEASPOONS, ROUTINES / "first-gate.toml", "--csv", csv_path,
            "--json", json_path)  # fmt: skip

    document = json.loads(json_path.read_text("utf-8"))
    schema = json.loads(files("phrasefit").joinpath("schemas/rank.schema.json").read_text("utf-8"))
    jsonschema.validate(document, schema)
    assert [r["routine"]["name"] for r in document["rankings"]] == [
        "Borrowed Teaspoons",
        "First Gate",
    ]
    assert document["rankings"][0]["songs"][0]["path"] == str(music / "Square.wav")
    text = csv_path.read_bytes().decode("utf-8")
    assert text.startswith("\ufeff")
    rows = list(csv.DictReader(io.StringIO(text[1:])))
    assert len(rows) == 8
    assert "'=Unsure" in {row["title"] for row in rows}
    program("rank", music, TEASPOONS, "--csv", csv_path, expect=2)
    program("rank", music, TEASPOONS, "--csv", csv_path, "--force")


def test_known_songs_without_a_folder(program: Program, music: Path) -> None:
    """`--known` takes every song heard before, wherever it lies."""
    done = program("rank", "--known", "--counts", 32, "--walls", 4, "--json", "-")

    (ranking,) = json.loads(done.out)["rankings"]
    assert ranking["n_songs"] == 5
    assert ranking["songs"][0]["path"].startswith(str(music))


def test_songs_that_sound(program: Program, tmp_path: Path) -> None:
    """A real folder: two songs are heard and ranked, a broken file is listed, code 1."""
    folder = tmp_path / "sounding"
    (folder / "sub").mkdir(parents=True)
    for name, bpm in (("a", 108.0), ("sub/b", 120.0)):
        song = make_song("4*16", bpm=bpm, seed=3)
        soundfile.write(folder / f"{name}.wav", song.samples, song.rate_hz)
    (folder / "bad.mp3").write_text("no song")

    first = program("rank", folder, "--counts", 16, "--walls", 1, "--jobs", 2, expect=1)
    again = program("rank", folder, "--counts", 16, "--walls", 1, "--jobs", 2, expect=1)

    assert "the best 2 of 2 songs" in first.out
    assert "1 file could not be used:" in first.err
    assert f"{folder / 'bad.mp3'}: is not a sound file" in first.err
    assert (again.out, again.err) == (first.out, first.err)


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ((TEASPOONS,), "no folder given"),
        (("--known", "FOLDER", TEASPOONS), "give folders or --known, not both"),
        (("FOLDER",), "no routine given"),
        (("FOLDER", TEASPOONS, "--counts", 32), "not both"),
        (("FOLDER", TEASPOONS, "--tempo", "fast"), "write --tempo 100-124"),
        (("FOLDER", TEASPOONS, "--tempo", "120-100"), "lower one first"),
        (("FOLDER", TEASPOONS, "--backend", "dask"), "--scheduler tcp://HOST:8786"),
        (("EMPTY", TEASPOONS), "there are no songs in it"),
        (("MISSING", TEASPOONS), "no such folder"),
    ],
)
def test_slips_are_explained(
    program: Program, music: Path, tmp_path: Path, words: tuple, message: str
) -> None:
    """Each slip ends with code 2 and one line that says what to do."""
    (tmp_path / "empty").mkdir()
    places = {"FOLDER": music, "EMPTY": tmp_path / "empty", "MISSING": tmp_path / "missing"}

    done = program("rank", *(places.get(word, word) for word in words), expect=2)

    assert message in done.err
    assert len(done.err.splitlines()) == 1


def test_song_left_out_after_a_correction(program: Program, music: Path) -> None:
    """A correction made by another command counts in the next ranking."""
    with Store() as store:
        key = store.hash_of(music / "Square.wav")
        store.put_correction(key, {"meter": 3, "one_at_s": 0.5})

    done = program("rank", music, TEASPOONS)

    assert "Square" not in done.out
    assert "left out: 2 songs, not counted in fours" in done.out


def test_names_that_are_no_text_fail_alone(music: Path, tmp_path: Path) -> None:
    """A song whose name is no UTF-8 is listed as failed; the others are ranked, files written."""
    with open(os.fsencode(music) + b"/bad\xff.wav", "wb") as file:
        file.write(b"RIFF")
    out = tmp_path / "rank.json"
    words = [sys.executable, "-m", "phrasefit", "rank", music, TEASPOONS, "--json", out]

    done = subprocess.run(words, capture_output=True, check=False)

    assert done.returncode == 1, done.stderr
    assert b"Square - Ada" in done.stdout
    assert b"bad" in done.stderr and b"Traceback" not in done.stderr
    assert json.loads(out.read_text("utf-8"))
