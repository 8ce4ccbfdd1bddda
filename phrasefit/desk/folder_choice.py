"""How a folder on this computer is chosen: typed or pasted, or picked from a list of names.

The list begins at a few places and goes down from there.  A page knows each folder of it by
a token that is made when it is listed, so that it can never name another.
"""

from __future__ import annotations

import os
import re
import secrets
import sys
import unicodedata
from collections import OrderedDict
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import unquote, urlsplit

from phrasefit.desk.endpoints import NotThere
from phrasefit.errors import ParameterError, shown

MOST_TYPED = 4096  # letters, as long as a path can be
MOST_TOKENS = 20_000
MOST_LISTED = 1000
_QUOTES = ("''", '""', "“”", "‘’", "«»", "„“", "``")


class FolderList:
    """Folders by name, level by level; remembers which it has shown."""

    def __init__(self) -> None:
        self._shown: OrderedDict[str, Path] = OrderedDict()

    def folder(self, token: str) -> Path:
        """Give the folder of a token.

        Raises
        ------
        NotThere
            If it has not been shown, or was so long ago.
        """
        if token not in self._shown:
            raise NotThere("this list of folders is too old; open it again")
        return self._shown[token]

    def look(self, token: str = "") -> dict[str, object]:
        """List what is in a folder, or the places to begin at."""
        if not token:
            places = [(_place_name(path), path) for path in _beginnings()]
            return {"title": "This computer", "above": None, "folders": self._rows(places)}
        here = self.folder(token)
        names = [(path.name, path) for path in _folders_in(here)]
        tops = [os.path.realpath(path) for path in _beginnings()]
        above = "" if os.path.realpath(here) in tops else self._token(here.parent)
        return {
            "title": str(here),
            "above": above,
            "here": token,
            "folders": self._rows(names[:MOST_LISTED]),
        }

    def _rows(self, folders: list[tuple[str, Path]]) -> list[dict[str, str]]:
        return [{"name": name, "token": self._token(path)} for name, path in folders]

    def _token(self, path: Path) -> str:
        token = secrets.token_urlsafe(12)
        self._shown[token] = path
        while len(self._shown) > MOST_TOKENS:
            self._shown.popitem(last=False)
        return token


def _folders_in(folder: Path) -> list[Path]:
    """List the folders in one, without hidden ones and links."""
    try:
        with os.scandir(folder) as entries:
            names = [
                entry.name
                for entry in entries
                if not entry.name.startswith(".") and entry.is_dir(follow_symlinks=False)
            ]
    except OSError as exc:
        raise ParameterError(
            f"{folder}: cannot be looked into ({exc.strerror}); choose another"
        ) from exc
    return [folder / name for name in sorted(names, key=str.casefold)]


def _beginnings() -> Iterator[Path]:
    """Yield where music may be: the person's music folder and home, and disks plugged in."""
    import platformdirs

    music, home = Path(platformdirs.user_music_dir()), Path.home()
    if music != home and music.is_dir():
        yield music
    yield home
    if sys.platform == "win32":
        yield from (Path(f"{letter}:\\") for letter in "DEFGHIJKLMNOPQRSTUVWXYZ"
                    if os.path.isdir(f"{letter}:\\"))  # fmt: skip
        return
    for above in (Path("/media", home.name), Path("/run/media", home.name), Path("/Volumes")):
        if above.is_dir():
            yield from _folders_in(above)


def _place_name(path: Path) -> str:
    return "Home" if path == Path.home() else path.name or str(path)


# ------------------------------------------------------------------------------- typed paths


def typed_folder(text: str) -> Path:
    """Find the folder that a person typed or pasted.

    Parameters
    ----------
    text : str
        As people paste it: in quotes, with spaces around, as ``file://`` address, from ``~``,
        with the backslashes of a terminal, with accents written in either way.

    Returns
    -------
    Path

    Raises
    ------
    ParameterError
        If there is no such folder; with a hint where the mistake can be told.
    """
    if len(text) > MOST_TYPED or "\0" in text:
        raise ParameterError(f"{shown(text)} is no folder; paste its path")
    wanted = _unquoted(text.strip())
    if not wanted:
        raise ParameterError("no folder is named; paste its path, or choose it from the list")
    for path in _readings(wanted):
        if path.is_dir():
            return _usable(path)
        if path.is_file():
            raise ParameterError(f"{path} is a file; name its folder, {path.parent}")
    if len(parts := _several(text.strip())) > 1:
        raise ParameterError(f"these look like {len(parts)} folders; add one after the other")
    raise ParameterError(
        f"{shown(wanted)}: there is no such folder on this computer; check the name, or choose it"
        " from the list"
    )


def _usable(path: Path) -> Path:
    real = Path(os.path.realpath(path))
    if real == Path(real.anchor):
        raise ParameterError(f"{real} is the whole disk; name the folder with your songs")
    if not os.access(real, os.R_OK | os.X_OK):
        raise ParameterError(f"{real}: this folder may not be read; choose another")
    return real


def _unquoted(text: str) -> str:
    while len(text) > 1 and text[0] + text[-1] in _QUOTES:
        text = text[1:-1].strip()
    return text


def _readings(text: str) -> Iterator[Path]:
    """Yield what the text may mean, the plainest first; only whole paths."""
    candidates = [text]
    if text.casefold().startswith("file:"):
        named = unquote(urlsplit(text).path)
        candidates = [named[1:] if re.match(r"/[A-Za-z]:", named) else named]
    elif "\\" in text and os.sep == "/":
        candidates.append(re.sub(r"\\(.)", r"\1", text))  # as terminals write spaces
    for candidate in candidates:
        for form in (candidate, *(unicodedata.normalize(f, candidate) for f in ("NFC", "NFD"))):
            try:
                path = Path(form).expanduser()
            except RuntimeError:  # ~ of somebody who is not here
                continue
            if path.is_absolute():
                yield path


def _several(text: str) -> list[Path]:
    """Find two or more folders in what looks like one."""
    pieces = re.split(r"[\n\r;]+|(?<=['\"])\s+(?=['\"])|\s+(?=[/~]|[A-Za-z]:\\|file:)", text)
    found = [path for piece in pieces for path in _readings(_unquoted(piece.strip()))]
    return [path for path in dict.fromkeys(found) if path.exists()]
