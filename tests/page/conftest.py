"""A real Chromium for the rehearsal page, and songs to rehearse."""

from __future__ import annotations

import wave
from collections.abc import Callable, Iterator
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

import phrasefit
from browsing import PATIENCE_S
from fit_songs import make_part, make_routine
from phrasefit.fit import fit_routine
from phrasefit.model import FitPlan, TagOption
from phrasefit.reports.page import page as page_of
from phrasefit.routine.spec import load_routine, routine_from_numbers
from songs import song

ROUTINES = Path(phrasefit.__file__).parent / "routines"
RATE_HZ = 8000


@pytest.fixture
def opened(browser, tmp_path: Path) -> Iterator[Callable]:
    """Open pages from disk; at the end none may have asked the network or complained."""
    contexts, asked, complaints = [], [], []

    def answer(dialog) -> None:
        """Leave the page when it asks; a dialog that anything else opens is a fault."""
        if dialog.type == "beforeunload":
            return dialog.accept()
        complaints.append("dialog")
        return dialog.dismiss()

    def open_page(text: str, *, width: int = 1280, height: int = 800, **options):
        path = tmp_path / f"page{len(contexts)}.html"
        path.write_text(text, encoding="utf-8")
        context = browser.new_context(viewport={"width": width, "height": height}, **options)
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(1000 * PATIENCE_S)
        page.on("request", lambda request: asked.append(request.url))
        page.on("console", lambda message: complaints.append(message.text))
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("dialog", answer)
        page.goto(path.as_uri())
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert [url for url in asked if not url.startswith(("file:", "blob:", "data:"))] == []
    assert complaints == []


@pytest.fixture(scope="session")
def fits() -> SimpleNamespace:
    """Plans of every kind: tag, restart, both at once, waltz, parts, every other beat counted."""

    def fit(lengths: tuple[int, ...], routine, **options) -> FitPlan:
        return fit_routine(song(lengths, **options), routine)

    teaspoons = load_routine(ROUTINES / "borrowed-teaspoons.toml")
    return SimpleNamespace(
        tagged=fit((32, 64, 64, 36, 64, 64, 64), routine_from_numbers(counts=32, walls=4)),
        restarted=fit((32, 64, 64, 48, 64, 64, 64, 64), teaspoons, bpm=124.0),
        waltz=fit(
            (24, 96, 96, 96), load_routine(ROUTINES / "mill-pond-waltz.toml"), meter=3, bpm=96.0
        ),
        parts=fit((32, 64, 32, 64, 64, 64), load_routine(ROUTINES / "two-lanterns.toml")),
        halved=fit((64, 128, 128, 128), teaspoons, bpm=200.0),
        doubled=fit((16, 64, 64), teaspoons, bpm=55.0),
        tag_and_restart=fit(
            (32, 84, *[64] * 6),
            make_routine(make_part(cuts={16: 0}), tags=(TagOption(counts=4, turn_deg=90),)),
        ),
    )


@pytest.fixture
def rehearse(opened: Callable, fits: SimpleNamespace) -> Callable:
    """Open the page of one of `fits` by name."""
    return lambda name, **options: opened(page_of(getattr(fits, name)), **options)


@pytest.fixture(scope="session")
def recording(fits: SimpleNamespace, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write the song of the tagged plan as a WAV file: a short tone on every beat."""
    times = fits.tagged.bar_map.beat_times_s
    samples = np.zeros(round(fits.tagged.bar_map.duration_s * RATE_HZ))
    tone = np.sin(2 * np.pi * 880 * np.arange(400) / RATE_HZ) * np.linspace(0.5, 0, 400)
    for start in np.round(times * RATE_HZ).astype(int):
        samples[start : start + 400] += tone
    path = tmp_path_factory.mktemp("song") / "lantern row.wav"
    with wave.open(str(path), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(RATE_HZ)
        out.writeframes((samples * 32767).astype("<i2").tobytes())
    return path
