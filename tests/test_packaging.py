"""The wheel holds what users run, and no more."""

from __future__ import annotations

import shutil
import subprocess
import sys
from email import message_from_bytes
from email.message import Message
from pathlib import Path
from zipfile import ZipFile

import pytest

ROOT = Path(__file__).parent.parent
FROM_A_CHECKOUT = {"demo", "training", "VOCABULARY.md"}  # the song generator and the training code
NOT_FILES_OF_OURS = {"__pycache__"}


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> ZipFile:
    """Build the wheel from a copy: a `build/` left in the checkout would be taken in."""
    source, out = tmp_path_factory.mktemp("source"), tmp_path_factory.mktemp("wheel")
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, source)
    shutil.copytree(ROOT / "phrasefit", source / "phrasefit")
    code = "import sys, setuptools.build_meta as m; print(m.build_wheel(sys.argv[1]))"
    built = subprocess.run(
        [sys.executable, "-c", code, str(out)], cwd=source, capture_output=True, text=True
    )
    assert built.returncode == 0, built.stderr
    with ZipFile(out / built.stdout.splitlines()[-1]) as archive:
        yield archive


def metadata(wheel: ZipFile) -> Message:
    """Read the METADATA of a wheel."""
    name = next(name for name in wheel.namelist() if name.endswith(".dist-info/METADATA"))
    return message_from_bytes(wheel.read(name))


def test_the_wheel_holds_the_package_without_generator_and_training(wheel: ZipFile) -> None:
    """Every file of the package is in it, code and data, but for what is run from a checkout."""
    ours = {path.relative_to(ROOT) for path in (ROOT / "phrasefit").rglob("*") if path.is_file()}
    wanted = {
        path.as_posix()
        for path in ours
        if path.parts[1] not in FROM_A_CHECKOUT and not NOT_FILES_OF_OURS & set(path.parts)
    }

    held = {name for name in wheel.namelist() if not name.split("/")[0].endswith(".dist-info")}

    assert held == wanted


def test_the_example_routines_ship(wheel: ZipFile) -> None:
    """All five, as files to open and change."""
    held = [name for name in wheel.namelist() if name.startswith("phrasefit/routines/")]

    assert len(held) == 5 and all(name.endswith(".toml") for name in held)


def test_training_asks_nothing_of_users(wheel: ZipFile) -> None:
    """No dependency of the wheel, not even an optional one, is there for training or tests."""
    asked = " ".join(metadata(wheel).get_all("Requires-Dist"))

    assert set(metadata(wheel).get_all("Provides-Extra")) == {"chapters", "speech"}
    for name in ("torch", "music21", "tinysoundfont", "pytest", "mir_eval"):
        assert name not in asked


def test_the_license_is_named_as_spdx_does(wheel: ZipFile) -> None:
    """MIT, with the text of the license inside (core metadata 2.4)."""
    assert metadata(wheel)["License-Expression"] == "MIT"
    assert any(name.endswith(".dist-info/licenses/LICENSE") for name in wheel.namelist())
