"""Fixtures for every room: a private cache, one seeded random generator."""

from __future__ import annotations

import functools
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import hypothesis
import numpy as np
import pytest
import typer.main
import typer.testing

from browsing import chromium

# How long a drawn case takes depends on who else uses the machine: time is measured by scripts.
hypothesis.settings.register_profile("untimed", deadline=None)
hypothesis.settings.load_profile("untimed")


@pytest.fixture(autouse=True, scope="session")
def commands_built_once() -> Iterator[None]:
    """Build typer's tree of commands once, not anew (40 ms) at each of a thousand calls."""
    built = functools.cache(typer.main.get_command)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(typer.main, "get_command", built)
        patch.setattr(typer.testing, "_get_command", built)
        yield


@pytest.fixture(autouse=True)
def private_cache(
    tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch
) -> Path:
    """Keep tests away from the user's own cache."""
    folder = tmp_path_factory.mktemp("cache")
    monkeypatch.setenv("PHRASEFIT_DATA", str(folder))
    return folder


@pytest.fixture
def rng() -> np.random.Generator:
    """Give the same random numbers on every run."""
    return np.random.default_rng(20261125)


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """Start Chromium once for all tests of pages."""
    with chromium() as running:
        yield running
