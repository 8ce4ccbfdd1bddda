"""Where third-party sounds and tunes lie while training: nothing of them is shipped.

The folder holds ``fonts/*.sf2`` (sounds), ``kits/*.npz`` (drum kits) and
``scores/*.npz`` (symbolic music); `python -m phrasefit.training.sources FOLDER`
fills it from installed packages with free licenses.  Without it songs are made from
our own synthesis and composer only.
"""

from __future__ import annotations

import os
from pathlib import Path

FOLDER_VARIABLE = "PHRASEFIT_MATERIAL"

# Whole sources that no training song uses.
HELD_OUT_SOUNDS = frozenset({"timgm6mb"})  # soundfont and the kits made from it


def find_folder() -> Path | None:
    """Return the material folder named by the environment, or None."""
    named = os.environ.get(FOLDER_VARIABLE)
    folder = Path(named) if named else None
    return folder if folder and folder.is_dir() else None


def list_files(kind: str, suffix: str) -> list[Path]:
    """List the files of one kind (``fonts``, ``kits``, ``scores``), sorted by name."""
    folder = find_folder()
    return sorted((folder / kind).glob(f"*{suffix}")) if folder else []
