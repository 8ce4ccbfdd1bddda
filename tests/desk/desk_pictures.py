"""Draw the pictures of the desk for README: `python tests/desk/desk_pictures.py`.

Real sample songs, heard once into a folder of the moment; a real desk; a real Chromium.
"""

from __future__ import annotations

import io
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from PIL import Image  # noqa: E402

from browsing import chromium  # noqa: E402
from desk_server import end, start_desk  # noqa: E402
from heard import SAMPLES, fill  # noqa: E402

WIDTH, HEIGHT = 1280, 860
COLORS = 32
SHOWN = ("one-bar-for-breath", "routine=supplied:borrowed-teaspoons")
NOW = 70  # the count that the mark stands on


def save(page, name: str) -> None:
    """Save what is in sight, small."""
    image = Image.open(io.BytesIO(page.screenshot())).convert("RGB")
    small = image.quantize(COLORS, dither=Image.Dither.NONE)
    small.save(SAMPLES / f"{name}.png", optimize=True)


def draw(desk, page, key: str) -> None:
    """Draw the list of songs, and a song while it plays."""
    page.goto(desk.address)
    page.get_by_text("Mill Pond Waltz (").wait_for()
    save(page, "desk-songs")
    page.goto(f"{desk.origin}/sheet/{key}?{SHOWN[1]}")
    page.locator(f".sheet i[data-at='{NOW}']").click()
    page.get_by_role("menuitem", name="play from here").click()
    page.locator(f".sheet i.now[data-at='{NOW + 2}']").wait_for()
    page.get_by_role("button", name="Pause", exact=True).click()
    page.evaluate("document.activeElement.blur(); scroll(0, 0)")
    save(page, "desk-sheet")


def main() -> None:
    """Hear the songs, open the desk, draw."""
    names = [song.stem for song in sorted(SAMPLES.glob("*.ogg"))]
    with tempfile.TemporaryDirectory() as place, chromium() as browser:
        keys = dict(zip(names, fill(Path(place), *names), strict=True))
        desk = start_desk(Path(place))
        try:
            page = browser.new_page(viewport={"width": WIDTH, "height": HEIGHT})
            page.set_default_timeout(60_000)
            draw(desk, page, keys[SHOWN[0]])
        finally:
            end(desk)


if __name__ == "__main__":
    main()
