"""``phrasefit picture``: files, pages, refusals; librosa is loaded for the sound page only."""

from __future__ import annotations

import dataclasses
import io
import os
import re
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pypdf
import pytest
from matplotlib.image import imread
from typer.testing import CliRunner, Result

import phrasefit
from phrasefit import pipeline
from phrasefit.cli import app
from phrasefit.fit.grid import count_grid
from phrasefit.model import Correction
from phrasefit.serial import dump_json, map_document
from phrasefit.store import Store
from phrasefit.store.database import FILE_NAME
from songs import song

ROOT = Path(phrasefit.__file__).parent
TEASPOONS = ROOT / "routines" / "borrowed-teaspoons.toml"
DUST = ROOT.parent / "sample_audio" / "half-a-bar-of-dust.ogg"


def picture(*arguments: object) -> Result:
    """Run the command."""
    return CliRunner().invoke(app, ["picture", *map(str, arguments)])


@pytest.fixture
def song_map(tmp_path: Path) -> Path:
    """Write a bar map to draw."""
    path = tmp_path / "lantern row.json"
    path.write_text(dump_json(map_document(song((32, 64, 64, 48, 64)))), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def heard(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, pipeline.Analysis]:
    """Listen once to the sample song with half a bar in it."""
    folder = tmp_path_factory.mktemp("heard")
    with Store(folder / FILE_NAME) as store:
        return folder, pipeline.analyse(DUST, store=store)


def test_a_map_gives_the_counts_without_the_sound(song_map: Path, tmp_path: Path) -> None:
    """One page, named after the map unless told otherwise."""
    out = tmp_path / "row.pdf"
    result = picture("--map", song_map, TEASPOONS, "--out", out)

    assert result.exit_code == 0 and result.stdout == f"wrote {out}\n"
    (page,) = pypdf.PdfReader(out).pages
    words = page.extract_text()
    assert "START: count 1" in words and "12:00" in words and "Tempogram" not in words


def test_the_name_comes_from_the_song(
    song_map: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without --out it is a PDF beside where one works."""
    monkeypatch.chdir(tmp_path)

    assert picture("--map", song_map).stdout == "wrote lantern row.pdf\n"
    assert (tmp_path / "lantern row.pdf").read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize("ending", ["png", "svg", "pdf", "SVG"])
def test_the_ending_says_the_format(ending: str, song_map: Path, tmp_path: Path) -> None:
    """PNG opens as an image, SVG parses, PDF is read; capitals do not matter."""
    out = tmp_path / f"row.{ending}"
    result = picture("--map", song_map, "--counts", 32, "--walls", 4, "--out", out)

    assert result.exit_code == 0, result.output
    if ending == "png":
        assert imread(out).shape[:2] == (1753, 1240)
    elif ending == "pdf":
        assert "music A, 32" in pypdf.PdfReader(out).pages[0].extract_text()
    else:
        assert ElementTree.fromstring(out.read_bytes()).tag.endswith("svg")


def test_nothing_is_replaced_unless_asked(song_map: Path, tmp_path: Path) -> None:
    """An existing file is left alone with exit code 2; --force replaces it."""
    out = tmp_path / "row.png"
    out.write_bytes(b"mine")

    refused = picture("--map", song_map, "--out", out)
    assert isinstance(refused.exception, phrasefit.errors.PhrasefitError)
    assert out.read_bytes() == b"mine"
    assert picture("--map", song_map, "--out", out, "--force").exit_code == 0
    assert imread(out).shape[:2] == (1753, 1240)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--out", "row.gif"), r"row\.gif: pages are written as \.pdf, \.png or \.svg"),
        (("--kind", "sound"), "--kind sound needs the song file"),
        (("--counts", "32", "--changes", "9"), "changes=9 must lie between 0 and"),
    ],
)
def test_what_cannot_be_drawn_is_said(
    arguments: tuple[str, ...], words: str, song_map: Path
) -> None:
    """Each refusal says what to do."""
    result = picture("--map", song_map, *arguments)

    assert isinstance(result.exception, phrasefit.errors.PhrasefitError)
    assert re.search(words, str(result.exception))


def test_a_song_gets_both_pages(
    heard: tuple[Path, pipeline.Analysis], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """PDF: two pages in one file; PNG: a file a page, and both or none is written."""
    monkeypatch.setenv("PHRASEFIT_DATA", str(heard[0]))
    out = tmp_path / "dust.pdf"
    assert picture(DUST, "--counts", 32, "--walls", 4, "--out", out).exit_code == 0
    counts, sound = (" ".join(p.extract_text().split()) for p in pypdf.PdfReader(out).pages)

    assert "odd bar: 2 beats" in counts and "check the count" in counts and "how loud" in counts
    assert "Tempogram" in sound and "counted: 88" in sound and "the beat: 176" in sound

    (tmp_path / "dust-2.png").write_bytes(b"mine")
    refused = picture(DUST, "--out", tmp_path / "dust.png")
    assert isinstance(refused.exception, phrasefit.errors.PhrasefitError)
    assert not (tmp_path / "dust.png").exists()
    assert (tmp_path / "dust-2.png").read_bytes() == b"mine"


def test_loudness_comes_from_what_is_kept(heard: tuple[Path, pipeline.Analysis]) -> None:
    """Counted as found, it is the loudness of the beats; every other beat, of both together."""
    analysis = heard[1]
    beats, loudness = analysis.found.beat_times_s, analysis.evidence.loudness_db
    one = pipeline.loudness_of_counts(analysis, np.append(beats, analysis.found.end_s))
    np.testing.assert_allclose(one, loudness, atol=0.02)  # kept as half-precision numbers

    grid = count_grid(dataclasses.replace(analysis.bar_map, beats_per_count=2.0))
    two = pipeline.loudness_of_counts(analysis, grid.times_s)
    pairs = loudness[: 2 * 60].reshape(-1, 2).mean(axis=1)
    np.testing.assert_allclose(two[:60], pairs, atol=0.02)
    assert len(two) == len(grid.times_s) - 1

    halved = pipeline.corrected(analysis, Correction(level=0.5, nudge_s=0.02))
    times = np.append(halved.bar_map.beat_times_s, halved.bar_map.end_s)
    assert pipeline.loudness_of_counts(halved, times).shape == (len(times) - 1,)


@pytest.mark.parametrize(("kind", "is_loaded"), [("counts", False), ("all", True)])
def test_librosa_is_loaded_for_the_sound_only(
    kind: str, is_loaded: bool, heard: tuple[Path, pipeline.Analysis], tmp_path: Path
) -> None:
    """In a fresh process, the pages of counts do not pay for it."""
    code = (
        "import sys\nfrom phrasefit.cli import main\n"
        f"sys.argv = ['phrasefit', 'picture', {str(DUST)!r}, '--kind', {kind!r},"
        f" '--out', {str(tmp_path / 'x.pdf')!r}]\n"
        "try:\n    main()\nexcept SystemExit:\n    pass\n"
        "print('IMPORTED', *sys.modules)"
    )
    environment = {**os.environ, "PHRASEFIT_DATA": str(heard[0])}
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, env=environment
    )

    assert ("librosa" in done.stdout.split("IMPORTED", 1)[1].split()) is is_loaded
    assert pypdf.PdfReader(io.BytesIO((tmp_path / "x.pdf").read_bytes())).pages
