"""A few of the damaged texts that ``texts.py`` draws, in every build."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import texts


def test_no_text_breaks_the_program() -> None:
    """Every drawn case ends with an answer or a sentence, never with a traceback."""
    _, examples = texts.torture(250, seed=7)

    assert examples == {}
