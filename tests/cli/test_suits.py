"""`suits`: which routines go with a song."""

from __future__ import annotations

import json
from importlib.resources import files
from pathlib import Path

import jsonschema
import pytest

from in_process import Program
from kept_songs import keep, square_song
from phrasefit.store import Store

ROUTINES = Path(__file__).parents[2] / "phrasefit" / "routines"


@pytest.fixture
def program(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Program:
    """The program in this process."""
    return Program(monkeypatch, capsys)


@pytest.fixture
def song(tmp_path: Path) -> Path:
    """A song heard before."""
    with Store() as store:
        keep(store, tmp_path, square_song("Square", 4, 8, 8, 8, 8, 8))
    return tmp_path / "Square.wav"


def test_routines_for_a_song(program: Program, song: Path, tmp_path: Path) -> None:
    """All routines of a folder, the best first; one that cannot be danced says why."""
    target = tmp_path / "s.json"

    done = program("suits", song, ROUTINES, "--json", target, "--csv", tmp_path / "s.csv")

    assert "Square: 4 routines, the best first" in done.out
    assert "left out: Mill Pond Waltz; the song has 4 beats a bar" in done.err
    document = json.loads(target.read_text("utf-8"))
    schema = json.loads(files("phrasefit").joinpath("schemas/suits.schema.json").read_text("utf-8"))
    jsonschema.validate(document, schema)
    scores = [round(row["score"], 1) for row in document["routines"]]
    assert scores == sorted(scores, reverse=True)
    assert (tmp_path / "s.csv").read_text("utf-8").count(",Square,") == 4


def test_file_with_mistakes_is_passed_over(program: Program, song: Path, tmp_path: Path) -> None:
    """A routine file with a mistake is named, the others are tried, code 1."""
    folder = tmp_path / "routines"
    folder.mkdir()
    (folder / "bad.toml").write_text("counts = 'many'")
    (folder / "good.toml").write_text((ROUTINES / "first-gate.toml").read_text("utf-8"))

    done = program("suits", song, folder, expect=1)

    assert "First Gate" in done.out
    assert "bad.toml" in done.err


def test_kept_routines(program: Program, song: Path) -> None:
    """Without files the routines kept before are tried; without any the remedy is told."""
    done = program("suits", song, expect=2)
    assert "phrasefit store keep" in done.err
    program("store", "keep", ROUTINES / "first-gate.toml", ROUTINES / "borrowed-teaspoons.toml")

    done = program("suits", song)

    assert "Square: 2 routines" in done.out


def test_map_instead_of_a_song(program: Program, tmp_path: Path) -> None:
    """With --map all arguments are routines."""
    target = tmp_path / "map.json"
    beats = [i / 2 for i in range(160)]
    target.write_text(json.dumps({"beats_s": beats, "positions": [i % 4 + 1 for i in range(160)]}))

    done = program("suits", "--map", target, ROUTINES / "first-gate.toml", ROUTINES)

    assert "First Gate" in done.out
