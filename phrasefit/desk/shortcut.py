"""An icon that starts the desk: how people come back the next day.

Linux: Desktop Entry Specification 1.5 (freedesktop.org), in the menu of programs.
Windows: a batch file on the desktop.  macOS: a ``.command`` file on the desktop, which
opens in a terminal window.  All start this very Python, wherever it is installed.
"""

from __future__ import annotations

import os
import stat
import subprocess
import sys
from pathlib import Path

from phrasefit.errors import OutputError
from phrasefit.files import write_atomic

NAME = "Phrasefit desk"
COMMENT = "Does this routine fit this song? Songs, routines, sheets and evenings in the browser"
SAME_AS_PYTHON = ("-m", "phrasefit", "desk")
ICON = """<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 64 64">
<rect width="64" height="64" fill="#fff"/>
<path d="M4 14h56v24H4zM18 20v18M32 20v18M46 20v18" fill="none" stroke="#000" stroke-width="3"/>
<path d="M32 44l14 14h-8v4H26v-4h-8z" fill="#000"/>
</svg>
"""


def make_shortcut(
    *, system: str = sys.platform, python: str = sys.executable, home: Path | None = None
) -> Path:
    """Put the icon where the person will look for it; an old one is replaced.

    Parameters
    ----------
    system : str
        As `sys.platform`.
    python : str
        The interpreter that phrasefit is installed for.
    home : Path, optional
        The person's home folder.

    Returns
    -------
    Path
        What was made.

    Raises
    ------
    OutputError
        If it cannot be written.
    """
    home = home or Path.home()
    make = {"win32": _windows, "darwin": _macos}.get(system, _linux)
    try:
        return make(python, home)
    except OSError as exc:
        raise OutputError(
            f"{exc.filename or home}: cannot be written ({exc.strerror}); start the desk with"
            ' "phrasefit desk" instead'
        ) from exc


def _linux(python: str, home: Path) -> Path:
    data = Path(os.environ.get("XDG_DATA_HOME") or home / ".local" / "share")
    icon = _written(data / "icons" / "phrasefit-desk.svg", ICON)
    entry = [
        "[Desktop Entry]",
        "Type=Application",
        "Version=1.5",
        f"Name={NAME}",
        f"Comment={COMMENT}",
        f"Exec={' '.join(map(_exec_word, (python, *SAME_AS_PYTHON)))}",
        f"Icon={_entry_text(str(icon))}",
        "Terminal=false",
        "Categories=AudioVideo;Audio;",
        "",
    ]
    return _written(data / "applications" / "phrasefit-desk.desktop", "\n".join(entry))


def _exec_word(word: str) -> str:
    """Quote a word of ``Exec``: quoting first, then the escapes of any string (section 7)."""
    quoted = "".join(f"\\{sign}" if sign in '"`$\\' else sign for sign in word)
    return _entry_text(f'"{quoted}"').replace("%", "%%")


def _entry_text(text: str) -> str:
    return text.replace("\\", "\\\\").replace("\n", "\\n")


def _windows(python: str, home: Path) -> Path:
    # In a batch file a percent sign is written twice; the window stays small and in the back.
    command = f'@chcp 65001 >nul\n@start "{NAME}" /min "{python}" {" ".join(SAME_AS_PYTHON)}\n'
    text = command.replace("%", "%%").replace("\n", "\r\n")
    return _written(_desktop(home) / f"{NAME}.cmd", text)


def _macos(python: str, home: Path) -> Path:
    quoted = "'" + python.replace("'", "'\\''") + "'"
    made = _written(
        _desktop(home) / f"{NAME}.command", f"#!/bin/sh\nexec {quoted} {' '.join(SAME_AS_PYTHON)}\n"
    )
    made.chmod(made.stat().st_mode | stat.S_IXUSR)
    return made


def _desktop(home: Path) -> Path:
    """Find the desktop; Windows may keep it elsewhere, and tells where."""
    if sys.platform != "win32":
        return home / "Desktop"
    asked = subprocess.run(
        ["powershell", "-NoProfile", "-Command", "[Environment]::GetFolderPath('Desktop')"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    return Path(asked.stdout.strip() or home / "Desktop")


def _written(path: Path, text: str) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    return write_atomic(path, text, force=True)
