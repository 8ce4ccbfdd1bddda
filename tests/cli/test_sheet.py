"""``phrasefit sheet``: names of files, cards on a page, refusals."""

from __future__ import annotations

from pathlib import Path

import pypdf
import pytest
from typer.testing import CliRunner, Result

import phrasefit
from phrasefit.cli import app
from phrasefit.serial import dump_json, map_document
from songs import song

ROUTINES = Path(phrasefit.__file__).parent / "routines"


def run(*arguments: object) -> Result:
    """Run the program."""
    return CliRunner().invoke(app, list(map(str, arguments)))


@pytest.fixture
def song_map(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Write a bar map to plan on, in the folder that one works in."""
    path = tmp_path / "lantern row.json"
    path.write_text(dump_json(map_document(song((32, 64, 64, 48, 64)))), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return path


def test_a_second_routine_for_a_song_has_files_of_its_own(song_map: Path, tmp_path: Path) -> None:
    """Names come from song and routine: nothing collides, nothing needs --force."""
    spoons, numbers = ROUTINES / "borrowed-teaspoons.toml", ("--counts", 32, "--walls", 4)

    for command, kind in (("sheet", ("--kind", "floor")), ("sheet", ("--kind", "dj"))):
        for routine in ((spoons,), numbers):
            assert run(command, "--map", song_map, *routine, *kind).exit_code == 0

    assert {path.name for path in tmp_path.glob("*.pdf")} == {
        "lantern row-borrowed-teaspoons-floor.pdf",
        "lantern row-borrowed-teaspoons-dj.pdf",
        "lantern row-32-counts-4-walls-floor.pdf",
        "lantern row-32-counts-4-walls-dj.pdf",
    }


def test_cards_for_the_dj(song_map: Path, tmp_path: Path) -> None:
    """Four on a page unless another number is asked for, which is one of those there are."""
    out = tmp_path / "two.pdf"
    asked = ("sheet", "--map", song_map, "--counts", 32, "--walls", 4, "--kind", "dj")

    assert run(*asked, "--per-page", 2, "--out", out).exit_code == 0
    (page,) = pypdf.PdfReader(out).pages
    assert page.extract_text().count("count in") == 2
    refused = run(*asked, "--per-page", 5, "--out", tmp_path / "five.pdf")
    assert refused.exit_code != 0
    assert "choose one of 1, 2, 4" in str(refused.exception)
