"""Each kind of sheet looks as it did when somebody last looked at it."""

from __future__ import annotations

import pytest
from golden_pictures import FOLDER, KINDS, picture
from PIL import Image

from pictures import is_alike


@pytest.mark.parametrize("kind", KINDS)
def test_a_sheet_looks_as_it_did(kind: str) -> None:
    """Block by block as bright as the kept picture, which golden_pictures.py draws anew."""
    kept = FOLDER / f"{kind}.png"

    assert kept.stat().st_size < 40_000
    assert is_alike(picture(kind), Image.open(kept))


def test_a_missing_word_would_be_seen() -> None:
    """White over one row of the stand sheet is more than is let pass."""
    then = Image.open(FOLDER / "stand.png").convert("L")
    gone = then.copy()
    gone.paste(255, (120, 70, 300, 100))

    assert is_alike(then, then)
    assert not is_alike(gone, then)


def test_the_kept_pictures_are_those_of_the_kinds() -> None:
    """No picture is left over."""
    assert {path.stem for path in FOLDER.glob("*.png")} == set(KINDS)
