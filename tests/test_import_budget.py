"""``--help`` is instant because nothing heavy is imported for it."""

from __future__ import annotations

import subprocess
import sys

import pytest

from phrasefit.cli import COMMANDS

HEAVY = (
    "numpy", "scipy", "librosa", "numba", "matplotlib", "soundfile", "soxr", "joblib", "av",
    "sqlite3", "platformdirs", "rich", "pydantic", "tomllib",
)  # fmt: skip


def run_help(*words: str) -> subprocess.CompletedProcess[str]:
    """Run the help of a command in a fresh process and list what it imported."""
    code = (
        "import sys\nfrom phrasefit.cli import main\n"
        f"sys.argv = ['phrasefit', *{list(words)!r}, '--help']\n"
        "try:\n    main()\nexcept SystemExit:\n    pass\n"
        "print('IMPORTED', *sys.modules)"
    )
    return subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)


@pytest.mark.parametrize("command", ["", *COMMANDS])
def test_help_imports_nothing_heavy(command: str) -> None:
    """No heavy library is loaded to show the help of any command."""
    out = run_help(*([command] if command else [])).stdout

    imported = set(out.split("IMPORTED", 1)[1].split())

    assert imported.isdisjoint(HEAVY)
