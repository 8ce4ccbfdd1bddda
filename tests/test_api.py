"""The public names exist, cost nothing to import, and their examples run."""

from __future__ import annotations

import doctest
import importlib
import importlib.resources
import subprocess
import sys
from pathlib import Path

import pytest

import phrasefit

ROOT = Path(__file__).parent.parent


@pytest.mark.parametrize("name", phrasefit.__all__)
def test_public_names_exist(name: str) -> None:
    """Every name that is promised can be had."""
    assert getattr(phrasefit, name) is not None


def test_every_home_is_public() -> None:
    """The list of names and the table of their homes agree."""
    assert set(phrasefit.__all__) == {"__version__", "fit", *phrasefit._HOMES}


def test_unknown_name_is_an_attribute_error() -> None:
    """A slip of the pen is an ordinary error."""
    with pytest.raises(AttributeError, match="fitt"):
        phrasefit.fitt  # noqa: B018


def test_import_loads_nothing_heavy() -> None:
    """A program that only imports phrasefit pays for no library."""
    code = (
        "import sys, phrasefit; print({'numpy', 'scipy', 'sqlite3', 'joblib'} & set(sys.modules))"
    )

    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert out.stdout.strip() == "set()"


def test_types_are_shipped() -> None:
    """The marker file of PEP 561 is in the package."""
    assert importlib.resources.files("phrasefit").joinpath("py.typed").is_file()


@pytest.mark.parametrize(
    "name",
    ["phrasefit", "phrasefit.ranking.rank", "phrasefit.fit.planner", "phrasefit.reports.times"],
)
def test_examples_run(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """The examples in the docstrings give what they say."""
    monkeypatch.chdir(ROOT)

    failed, tried = doctest.testmod(importlib.import_module(name))

    assert tried > 0
    assert failed == 0
