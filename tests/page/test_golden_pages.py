"""Page and index look as they did when somebody last looked at them.

``PHRASEFIT_DRAW=1 pytest tests/page/test_golden_pages.py`` keeps the pictures anew, on purpose:
look at each before it is committed.
"""

from __future__ import annotations

import io
import os
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace

import pytest
from PIL import Image

from phrasefit.reports.pack import items
from phrasefit.reports.page import page as page_of
from phrasefit.reports.page.index import Entry, index_page
from pictures import is_alike, small
from watching import until

FOLDER = Path(__file__).parent / "golden"
SCREEN = {"width": 820, "height": 1180}  # a tablet, upright
HAS_THE_FONT = (
    "(() => { const room = document.createElement('canvas').getContext('2d');"
    " const width = (font) => {"
    " room.font = `72px ${font}`; return room.measureText('mill').width; };"
    " return width('\"Liberation Sans\", monospace') !== width('monospace'); })()"
)


def compare(page, name: str) -> None:
    """Compare what is on the screen with the kept picture."""
    if not page.evaluate(HAS_THE_FONT):
        pytest.skip("the kept pictures are drawn with Liberation Sans")
    now = small(Image.open(io.BytesIO(page.screenshot(animations="disabled"))))
    kept = FOLDER / f"{name}.png"
    if os.environ.get("PHRASEFIT_DRAW"):
        FOLDER.mkdir(exist_ok=True)
        now.quantize(8).save(kept, optimize=True)
    assert is_alike(now, Image.open(kept)), name


def test_the_page_looks_as_it_did(opened: Callable, fits: SimpleNamespace) -> None:
    """In light and dark, four counts before a restart."""
    page = opened(page_of(fits.restarted), reduced_motion="reduce", **SCREEN)
    restart = next(event for event in fits.restarted.plan.events if event.kind == "restart")
    page.evaluate(f"seek(state.score.times[{restart.count - 4}])")
    until(page, "document.getElementById('notice').className === 'warn'")
    compare(page, "page-light")
    page.keyboard.press("d")
    compare(page, "page-dark")


def test_the_index_looks_as_it_did(opened: Callable, fits: SimpleNamespace) -> None:
    """The index of a pack; the player of the browser is left out."""
    entries = [Entry(path=i.name, words=i.purpose, use=i.use) for i in items(fits.restarted)]
    page = opened(index_page(fits.restarted, entries), **SCREEN)
    page.evaluate(
        "document.querySelectorAll('audio').forEach((a) => { a.style.visibility = 'hidden'; })"
    )
    compare(page, "index")
