"""Each kind of sheet looks as it did when somebody last looked at it."""

from __future__ import annotations

import numpy as np
import pytest
from golden_pictures import FOLDER, KINDS, blocks, picture
from PIL import Image

# Gray of 255: fonts of another version move edges by less; a line, a shape or a word that
# comes, goes or moves changes some block by more.
MOST_OF_A_BLOCK = 60.0
MOST_ON_AVERAGE = 2.0


@pytest.mark.parametrize("kind", KINDS)
def test_a_sheet_looks_as_it_did(kind: str) -> None:
    """Block by block as bright as the kept picture, which golden_pictures.py draws anew."""
    kept = FOLDER / f"{kind}.png"
    now, then = blocks(picture(kind)), blocks(Image.open(kept))

    assert kept.stat().st_size < 40_000
    assert now.shape == then.shape
    change = np.abs(now - then)
    assert change.max() <= MOST_OF_A_BLOCK
    assert change.mean() <= MOST_ON_AVERAGE


def test_a_missing_word_would_be_seen() -> None:
    """White over one row of the stand sheet is more than is let pass."""
    then = Image.open(FOLDER / "stand.png").convert("L")
    gone = then.copy()
    gone.paste(255, (120, 70, 300, 100))

    change = np.abs(blocks(gone) - blocks(then))

    assert change.max() > MOST_OF_A_BLOCK or change.mean() > MOST_ON_AVERAGE


def test_the_kept_pictures_are_those_of_the_kinds() -> None:
    """No picture is left over."""
    assert {path.stem for path in FOLDER.glob("*.png")} == set(KINDS)
