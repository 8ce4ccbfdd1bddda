"""A few seconds of what the long scripts here do for minutes."""

from __future__ import annotations

import random
import shutil
from pathlib import Path

import caches
import kills
import pytest


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> dict[bool, tuple[Path, caches.Content]]:
    """Two caches: one closed in order, one whose log was left by a kill."""
    folder = tmp_path_factory.mktemp("caches")
    return {
        unclean: (
            folder / str(unclean),
            caches.make(folder / str(unclean), random.Random(2), n=8, unclean=unclean),
        )
        for unclean in (False, True)
    }


@pytest.mark.parametrize("name", [*caches.DAMAGES, *caches.LOG_DAMAGES])
def test_damaged_cache(
    name: str, sound: dict[bool, tuple[Path, caches.Content]], tmp_path: Path
) -> None:
    """No correction is lost, and no analysis without a word."""
    folder, content = sound[name in caches.LOG_DAMAGES]
    place = tmp_path / "cache"
    shutil.copytree(folder, place)
    ({**caches.DAMAGES, **caches.LOG_DAMAGES}[name])(place, random.Random(name))

    found = caches.judge(place, content)

    assert found.lost == []
    assert found.silent == []


def test_killed_writers(tmp_path: Path) -> None:
    """After each of three kills all that was reported as done is there."""
    tally = kills.Tally()
    for i in range(3):
        kills.kill_one(tmp_path, random.Random(i), tally)

    assert tally.n_reported >= 3
    assert tally.lost == []
