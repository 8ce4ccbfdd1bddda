"""The page knows the song it was made for, whatever its file, from another as long."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile
from typer.testing import CliRunner

from phrasefit.cli import app
from watching import until

SAMPLES = Path(__file__).parents[2] / "sample_audio"
HEARD = SAMPLES / "marmalade-polka.ogg"
OTHER = SAMPLES / "thirty-two-fence-posts.ogg"  # of all samples the nearest to it, when as long


@pytest.fixture(scope="module")
def page_text(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Make the page of a sample song as a user does."""
    out = tmp_path_factory.mktemp("page") / "page.html"
    made = CliRunner().invoke(
        app, ["page", str(HEARD), "--counts", "32", "--walls", "4", "--out", str(out)]
    )
    assert made.exit_code == 0, made.output
    return out.read_text("utf-8")


def test_any_copy_of_the_song_is_taken(opened: Callable, page_text: str, tmp_path: Path) -> None:
    """WAV, a softer MP3 that begins a little later: each is played without a question."""
    samples, rate_hz = soundfile.read(HEARD, dtype="float32")
    later = np.concatenate([np.zeros((round(0.4 * rate_hz), *samples.shape[1:])), 0.3 * samples])
    wav, mp3 = tmp_path / "copy.wav", tmp_path / "copy.mp3"
    soundfile.write(wav, samples, rate_hz)
    soundfile.write(mp3, later, rate_hz, compression_level=0.9)
    page = opened(page_text)

    for file in (wav, mp3):
        page.evaluate("delete document.body.dataset.alike")
        page.set_input_files("#file", str(file))
        until(page, "document.body.dataset.alike !== undefined")

        assert page.evaluate("Number(document.body.dataset.alike)") > 0.95, file.name
        assert not page.evaluate("$('wrong').open") and not page.is_visible("#not-the-song")


def test_another_song_as_long_is_warned_of(
    opened: Callable, page_text: str, tmp_path: Path
) -> None:
    """Cut to the same length it cannot be told by that; the page stops and asks all the same."""
    samples, rate_hz = soundfile.read(OTHER, dtype="float32")
    length = soundfile.info(HEARD).duration
    file = tmp_path / "another.wav"
    soundfile.write(file, samples[: round(length * rate_hz)], rate_hz)
    page = opened(page_text)

    page.set_input_files("#file", str(file))
    until(page, "document.getElementById('wrong').open")

    assert "another.wav is as long as the song of the plan" in page.inner_text("#wrong")
    page.click("#wrong-keep")
    assert "Not the song of the plan" in page.inner_text("#not-the-song")
    page.set_input_files("#file", str(HEARD))
    until(page, "!$('not-the-song').checkVisibility()")
