"""Small pictures of what is made, compared with those that somebody has looked at."""

from __future__ import annotations

import numpy as np
from PIL import Image

WIDTH_PX = 360
BLOCK_PX = 6  # compared are means of blocks, which a font's finer details do not move much
# Gray of 255: fonts of another version move edges by less; a line, a shape or a word that
# comes, goes or moves changes some block by more.
MOST_OF_A_BLOCK = 60.0
MOST_ON_AVERAGE = 2.0


def small(large: Image.Image) -> Image.Image:
    """Make a picture small and gray."""
    size = WIDTH_PX, round(large.height * WIDTH_PX / large.width)
    return large.convert("L").resize(size, Image.Resampling.BOX)


def blocks(image: Image.Image) -> np.ndarray:
    """Give the mean gray of each block [0-255]."""
    gray = np.asarray(image.convert("L"), dtype=float)
    rows, columns = (n // BLOCK_PX for n in gray.shape)
    cut = gray[: rows * BLOCK_PX, : columns * BLOCK_PX]
    return cut.reshape(rows, BLOCK_PX, columns, BLOCK_PX).mean(axis=(1, 3))


def is_alike(now: Image.Image, then: Image.Image) -> bool:
    """Tell whether two small pictures show the same, block by block."""
    if blocks(now).shape != blocks(then).shape:
        return False
    change = np.abs(blocks(now) - blocks(then))
    return bool(change.max() <= MOST_OF_A_BLOCK and change.mean() <= MOST_ON_AVERAGE)
