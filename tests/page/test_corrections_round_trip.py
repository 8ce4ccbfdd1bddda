"""From the page to the program and back: a correction counts the same in both."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import jsonschema
import pytest
from typer.testing import CliRunner

import phrasefit
from drums import played
from phrasefit.cli import app

SCHEMA = Path(phrasefit.__file__).parent / "schemas" / "correction.schema.json"


def run(*arguments: object) -> str:
    """Run phrasefit in this process."""
    result = CliRunner().invoke(app, [*map(str, arguments)])
    assert result.exit_code == 0, result.exception
    return result.stdout


def test_what_is_mended_in_the_page_is_mended_everywhere(opened: Callable, tmp_path: Path) -> None:
    """The saved file is valid, applies, and the new page counts as the old one did after it."""
    song, out = played(tmp_path / "barn door.wav", bpm=120, seconds=30), tmp_path / "page.html"
    run("page", song, "--counts", 16, "--walls", 4, "--out", out)
    before = json.loads(run("map", song, "--json", "-"))
    page = opened(out.read_text("utf-8"))
    page.click("#correct summary")
    page.click("#one-later")
    assert not page.is_visible("#rows")  # the plan is made anew by the program, not guessed
    page.click("#beats-earlier")
    page.click("#beats-earlier")
    recounted = page.evaluate("state.score.times")
    with page.expect_download() as download:
        page.click("#save")
    file = tmp_path / download.value.suggested_filename
    download.value.save_as(file)
    jsonschema.validate(json.loads(file.read_text("utf-8")), json.loads(SCHEMA.read_text("utf-8")))

    told = run("correct", song, file)
    after = json.loads(run("map", song, "--json", "-"))
    run("page", song, "--counts", 16, "--walls", 4, "--out", out, "--force")
    again = opened(out.read_text("utf-8"))

    assert file.name == "barn-door-correction.json"
    assert "all beats earlier by 20 ms, every one later by 1 beat" in told
    assert after["positions"][1:] == before["positions"][:-1]
    assert again.evaluate("data.score.times") == pytest.approx(recounted, abs=1e-9)
    assert again.evaluate("data.key") != page.evaluate("data.key")  # nothing is applied twice

    again.click("#correct summary")
    name, words = ("half", "half") if again.is_enabled("#half") else ("double", "twice")
    again.click(f"#{name}")  # which one there is room for depends on the beat that was found
    level = again.evaluate("[state.score.times, changeWords(state.change)]")
    pace = float(again.inner_text("#percent").split()[2])
    with again.expect_download() as download:
        again.click("#save")
    download.value.save_as(file)
    run("correct", song, file)
    run("page", song, "--counts", 16, "--walls", 4, "--out", out, "--force")

    assert level[1] == f"counted {words} as fast"
    last = opened(out.read_text("utf-8"))
    assert last.evaluate("data.counts_per_minute") == pytest.approx(pace, abs=0.6)
    assert last.evaluate("data.score.times") == pytest.approx(level[0], abs=1e-9)
