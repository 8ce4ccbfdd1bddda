"""The icon that starts the desk; of other systems the written form."""

from __future__ import annotations

import configparser
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from phrasefit.desk.shortcut import make_shortcut
from phrasefit.errors import OutputError


@pytest.fixture(autouse=True)
def no_data_home(monkeypatch) -> None:
    """Keep away from the folders of whoever runs the tests."""
    monkeypatch.delenv("XDG_DATA_HOME", raising=False)


def exec_line(path: Path) -> str:
    """Read ``Exec`` as the Desktop Entry Specification says: escapes first, then quoting."""
    entry = configparser.RawConfigParser()
    entry.optionxform = str
    entry.read(path, encoding="utf-8")
    assert entry["Desktop Entry"]["Type"] == "Application"
    assert Path(entry["Desktop Entry"]["Icon"].replace("\\\\", "\\")).exists()
    return entry["Desktop Entry"]["Exec"].replace("\\\\", "\\").replace("%%", "%")


@pytest.mark.parametrize(
    "name", ["plain", "with space", "per%cent", "dollar$x", 'quo"te', "back\\s"]
)
def test_the_menu_entry_starts_this_python(tmp_path: Path, name: str) -> None:
    """Run as a desktop would, it reaches this interpreter, whatever its folder is called."""
    folder = tmp_path / name
    folder.mkdir()
    python = folder / "python"
    python.write_text(f'#!/bin/sh\necho "$@" > "{tmp_path}/said"\n')
    python.chmod(0o755)

    made = make_shortcut(system="linux", python=str(python), home=tmp_path)
    subprocess.run(["sh", "-c", exec_line(made)], check=True)  # its quoting is that of a shell

    assert made == tmp_path / ".local/share/applications/phrasefit-desk.desktop"
    assert (tmp_path / "said").read_text().split() == ["-m", "phrasefit", "desk"]


def test_the_menu_entry_is_valid(tmp_path: Path) -> None:
    """The specification's own checker finds nothing."""
    checker = shutil.which("desktop-file-validate")
    if checker is None:
        pytest.skip("no desktop-file-validate: install Debian's desktop-file-utils")
    made = make_shortcut(system="linux", home=tmp_path)

    done = subprocess.run([checker, made], capture_output=True, text=True, check=False)

    assert (done.returncode, done.stdout + done.stderr) == (0, "")


def test_macos_gets_a_command_that_runs(tmp_path: Path) -> None:
    """A ``.command`` file is a shell script that may be executed."""
    python = tmp_path / "it's python"
    python.symlink_to("/bin/echo")

    made = make_shortcut(system="darwin", python=str(python), home=tmp_path)

    assert made == tmp_path / "Desktop" / "Phrasefit desk.command"
    assert os.access(made, os.X_OK)
    assert subprocess.run([made], capture_output=True, text=True, check=True).stdout == (
        "-m phrasefit desk\n"
    )


def test_windows_gets_a_batch_file(tmp_path: Path) -> None:
    """Quoted for spaces, percent signs doubled, lines ended as there (written form only)."""
    python = "C:\\Users\\Jürgen 100%\\python.exe"

    made = make_shortcut(system="win32", python=python, home=tmp_path)

    text = made.read_bytes().decode("utf-8")
    assert made.name == "Phrasefit desk.cmd"
    assert text.endswith('"C:\\Users\\Jürgen 100%%\\python.exe" -m phrasefit desk\r\n')
    assert text.count("\r\n") == text.count("\n") == 2


def test_it_can_be_made_again(tmp_path: Path) -> None:
    """After an update the icon is made anew."""
    make_shortcut(system="linux", python="/old", home=tmp_path)

    assert sys.executable in exec_line(make_shortcut(system="linux", home=tmp_path))


def test_where_nothing_can_be_written_it_says_so(tmp_path: Path) -> None:
    """A file in place of the folder."""
    (tmp_path / ".local").write_text("")

    with pytest.raises(OutputError, match="start the desk with"):
        make_shortcut(system="linux", home=tmp_path)
