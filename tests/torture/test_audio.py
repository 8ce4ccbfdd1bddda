"""A few of the cases that `audio_long.py` tries by the thousand."""

from __future__ import annotations

from pathlib import Path

from audio_long import run


def test_damaged_files_are_decoded_or_refused(tmp_path: Path) -> None:
    """No traceback, and nothing lost in silence."""
    faults = [
        (case.ending, case.wounds, verdict)
        for case, verdict, _ in run(120, tmp_path, seed=7)
        if verdict not in ("whole", "noted", "refused")
    ]

    assert faults == []
