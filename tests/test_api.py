"""The public names exist, cost nothing to import, and their examples run."""

from __future__ import annotations

import doctest
import importlib
import importlib.resources
import inspect
import pkgutil
import re
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


def test_all_examples_run(monkeypatch: pytest.MonkeyPatch) -> None:
    """The examples in the docstrings of every module give what they say."""
    monkeypatch.chdir(ROOT)
    tried: dict[str, int] = {}
    for module in pkgutil.walk_packages(phrasefit.__path__, "phrasefit."):
        if module.name.startswith(("phrasefit.demo", "phrasefit.training")):
            continue
        if not module.name.endswith("__main__"):
            results = doctest.testmod(importlib.import_module(module.name))
            assert results.failed == 0, module.name
            tried[module.name] = results.attempted
    tried["phrasefit"] = doctest.testmod(phrasefit).attempted

    assert sum(n > 0 for n in tried.values()) >= 12
    assert tried["phrasefit"] and tried["phrasefit.fit.planner"]


@pytest.mark.parametrize("name", sorted(phrasefit.__all__))
def test_public_functions_are_documented_as_numpydoc_asks(name: str) -> None:
    """What goes in, what comes out and what is raised stand under their own headings."""
    thing = getattr(phrasefit, name)
    text = inspect.getdoc(thing) or ""
    assert text
    if not inspect.isfunction(thing):
        return
    signature = inspect.signature(thing)
    if signature.parameters:
        section = text.split("Parameters\n----------", 1)
        assert len(section) == 2, "no section of parameters"
        for parameter in signature.parameters:
            assert re.search(
                rf"^\**([\w, *]*\b)?{parameter}\b[\w, ]*( :|$)", section[1], re.MULTILINE
            ), f"{parameter} is not documented"
    if signature.return_annotation not in (None, "None"):
        assert "Returns\n-------" in text, "no section of what is returned"
