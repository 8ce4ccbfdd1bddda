"""``phrasefit page``: one file, a strict policy, options, refusals (no browser needed)."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

import phrasefit
from phrasefit.cli import app
from phrasefit.errors import PhrasefitError
from phrasefit.fit import fit_routine
from phrasefit.reports.cues import running_counts
from phrasefit.reports.page import Entry, index_page
from phrasefit.reports.page.index import Use
from phrasefit.routine.spec import load_routine
from phrasefit.serial import dump_json, map_document, read_map
from songs import song

TEASPOONS = Path(phrasefit.__file__).parent / "routines" / "borrowed-teaspoons.toml"


def page(*arguments: object) -> Result:
    """Run the command."""
    return CliRunner().invoke(app, ["page", *map(str, arguments)])


@pytest.fixture
def song_map(tmp_path: Path) -> Path:
    """Write a bar map to plan from."""
    path = tmp_path / "lantern row.json"
    path.write_text(dump_json(map_document(song((32, 64, 64, 48, 64)))), encoding="utf-8")
    return path


def block(text: str, pattern: str) -> str:
    """Take the one block of a page that matches."""
    (found,) = re.findall(pattern, text, re.DOTALL)
    return found


def test_the_policy_allows_this_script_and_style_only(song_map: Path, tmp_path: Path) -> None:
    """The hashes of W3C CSP Level 3 are those of the blocks; nothing is inline or remote."""
    out = tmp_path / "page.html"
    result = page("--map", song_map, TEASPOONS, "--out", out)
    text = out.read_text("utf-8")
    policy = block(text, r'Content-Security-Policy" content="([^"]*)"')

    assert result.exit_code == 0 and f"wrote {out}" in result.stdout
    assert policy.startswith("default-src 'none'; ")
    assert "unsafe" not in policy and "http" not in policy
    for kind, pattern in (
        ("style", r"<style>(.*?)</style>"),
        ("script", r"<script>(.*?)</script>"),
    ):
        digest = hashlib.sha256(block(text, pattern).encode()).digest()
        assert f"{kind}-src 'sha256-{base64.b64encode(digest).decode()}'" in policy
    for banned in (
        r'style="',
        r"\bon\w+=\"",
        r"\beval\(",
        r"innerHTML",
        r"fetch\(",
    ):
        assert not re.search(banned, text)
    assert set(re.findall(r"https?://[^\"' ]+", text)) == {"http://www.w3.org/2000/svg"}


def test_the_page_holds_the_running_counts_of_the_plan(song_map: Path, tmp_path: Path) -> None:
    """What all media play from is what the page shows, count by count."""
    out = tmp_path / "page.html"
    page("--map", song_map, TEASPOONS, "--out", out, "--changes", 0)
    data = json.loads(block(out.read_text("utf-8"), r'id="plan">(.*?)</script>'))
    fit = fit_routine(read_map(json.loads(song_map.read_text("utf-8"))), load_routine(TEASPOONS))
    rows = running_counts(fit, fit.plans[0])

    assert [(r["wall"], r["count"], r["facing"]) for r in data["score"]["rows"]] == [
        (row.wall, row.count, row.facing) for row in rows
    ]
    assert data["score"]["times"] == fit.grid.times_s.tolist()
    named = [
        data["steps"][r["step"]]["name"] for r in data["score"]["rows"] if r["step"] is not None
    ]
    assert named == [row.step.name for row in rows if row.step is not None]
    assert data["save"] is None


def test_a_name_cannot_end_the_data(tmp_path: Path) -> None:
    """Markup in names is escaped in the data block and in the index page."""
    bar_map, evil = song((32, 32)), "</script><script>alert(1)</script>"
    path = tmp_path / "map.json"
    path.write_text(dump_json({**map_document(bar_map), "title": evil}), encoding="utf-8")
    out = tmp_path / "page.html"
    page("--map", path, "--counts", 32, "--out", out)
    text = out.read_text("utf-8")
    fit = fit_routine(read_map(json.loads(path.read_text("utf-8"))), load_routine(TEASPOONS))
    listed = index_page(fit, [Entry(path='a"><script>.pdf', words="<b>", use=Use.PRINT)])

    assert "<script>alert" not in text
    assert json.loads(block(text, r'id="plan">(.*?)</script>'))["title"] == evil
    assert "<script" not in listed and "script-src" not in listed
    assert 'href="./a%22%3E%3Cscript%3E.pdf"' in listed


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--embed",), "--embed needs the song file"),
        (("--changes", "9"), "changes=9 must lie between 0 and max_changes=4"),
        (("--changes", "9", "--max-changes", "9"), "no plan worth dancing has just so many"),
        (("--start-at", "9", "--intro", "16"), "--start-at and --intro both say"),
        (("--start-at", "soon"), "is not a time"),
    ],
)
def test_refusals(song_map: Path, tmp_path: Path, arguments: tuple[str, ...], words: str) -> None:
    """What cannot be done is said, and nothing is written."""
    out = tmp_path / "page.html"
    result = page("--map", song_map, "--counts", 32, "--out", out, *arguments)

    assert isinstance(result.exception, PhrasefitError)
    assert words in str(result.exception)
    assert not out.exists()


def test_a_page_is_never_replaced_by_accident(song_map: Path, tmp_path: Path) -> None:
    """An existing file is kept unless --force is given."""
    out = tmp_path / "page.html"
    out.write_text("mine", encoding="utf-8")
    refused = page("--map", song_map, "--counts", 32, "--out", out)

    assert "add --force" in str(refused.exception)
    assert out.read_text("utf-8") == "mine"
    assert page("--map", song_map, "--counts", 32, "--out", out, "--force").exit_code == 0


def test_embedding_refuses_what_browsers_do_not_play(tmp_path: Path) -> None:
    """An unknown kind of file is named before any listening."""
    odd = tmp_path / "song.wma"
    odd.write_bytes(b"x")

    result = page(odd, TEASPOONS, "--embed", "--out", tmp_path / "page.html")

    assert "--embed knows .mp3" in str(result.exception)
