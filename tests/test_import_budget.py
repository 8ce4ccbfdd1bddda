"""``--help`` is instant because nothing heavy is imported for it."""

from __future__ import annotations

import os
import subprocess
import sys
import time

import pytest

from phrasefit.cli import COMMANDS

HEAVY = (
    "numpy", "scipy", "librosa", "numba", "matplotlib", "soundfile", "soxr", "joblib", "av",
    "sqlite3", "platformdirs", "rich", "pydantic", "tomllib",
)  # fmt: skip
HELP_LIMIT_S = 0.3


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


def test_help_is_quick() -> None:
    """The best of five fresh processes answers within the limit (skipped on a busy machine)."""
    if os.getloadavg()[0] > 1.5:
        pytest.skip("the machine is busy")
    times = []
    for _ in range(5):
        begin = time.perf_counter()
        subprocess.run(
            [sys.executable, "-m", "phrasefit", "--help"], capture_output=True, check=True
        )
        times.append(time.perf_counter() - begin)

    assert min(times) < HELP_LIMIT_S
