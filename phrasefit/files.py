"""Writing results: whole or not at all, never over something by accident.

A result goes to a new file, or with `force` in place of an earlier result.  What is no
regular file (a pipe, ``/dev/null``) is written to, never replaced.  Files that the user
gave (`protect`) are never written over, whatever their path is called this time.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import shutil
import stat
import tempfile
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from phrasefit.errors import OutputError

if TYPE_CHECKING:
    import numpy as np


# Names that Windows keeps for devices, whatever ending follows, and signs that no name may
# hold there (Microsoft, "Naming Files, Paths, and Namespaces").
_DEVICES = re.compile(r"^(CON|PRN|AUX|NUL|(COM|LPT)[0-9¹²³])(?=\.|$)", re.IGNORECASE)
_NO_NAME_SIGNS = re.compile(r'[<>:"/\\|?*\x00-\x1f\x7f\u2028\u2029]')
MOST_STEM_BYTES = 200  # of a name, which ends at 255; leaves room for our own endings

# Device and inode of every file that was given to the program, and what it is.
_given: dict[tuple[int, int], str] = {}


def safe_stem(stem: str) -> str:
    """Make the beginning of a file name, taken from another, one that every system takes.

    Parameters
    ----------
    stem : str
        The stem of a song's name, or its title.

    Examples
    --------
    >>> safe_stem("CON"), safe_stem("what now?. ."), safe_stem("Paper Boat")
    ('CON_', 'what now_', 'Paper Boat')
    """
    whole = os.fsencode(_NO_NAME_SIGNS.sub("_", stem))
    if len(whole) > MOST_STEM_BYTES:  # not cut inside a letter
        whole = whole[:MOST_STEM_BYTES].decode("utf-8", "ignore").encode()
    return _DEVICES.sub(r"\1_", os.fsdecode(whole).rstrip(". ")) or "song"


def protect(path: Path | str | None, what: str) -> None:
    """Remember a file that the user gave, so that no result is written over it.

    Parameters
    ----------
    path : Path, str or None
        Nothing is remembered of what is missing or no regular file.
    what : str
        How a message calls it: ``the song``, ``the routine`` ...
    """
    state = None if path is None else _state(Path(path))
    if state and stat.S_ISREG(state.st_mode):
        _given[state.st_dev, state.st_ino] = what


def _state(path: Path) -> os.stat_result | None:
    """Look at what `path` leads to, links followed; None if there is nothing."""
    try:
        return path.stat()
    except (OSError, ValueError):  # ValueError: a null byte in the name
        return None


def _is_stream(state: os.stat_result | None) -> bool:
    """Tell what is written to from what is replaced: pipes, terminals, ``/dev/null``."""
    return state is not None and (stat.S_ISFIFO(state.st_mode) or stat.S_ISCHR(state.st_mode))


def check_target(path: Path, *, force: bool) -> None:
    """Refuse early, before any work, what could not be written later.

    Raises
    ------
    OutputError
        If `path` is a folder, a disk or a socket, a file that the user gave, or exists
        (a link that leads nowhere does, too) and `force` is False; or if its folder is
        missing or closed to writing.
    """
    state = _state(path)
    if _is_stream(state):
        return
    if state and stat.S_ISDIR(state.st_mode):
        raise OutputError(f"{path}: is a folder; give a file name inside it")
    if state and not stat.S_ISREG(state.st_mode):
        raise OutputError(f"{path}: is no file that can be replaced; choose another name")
    if state and (what := _given.get((state.st_dev, state.st_ino))):
        raise OutputError(f"{path}: is {what} itself; choose another name for the result")
    check_free(path, force=force)
    check_folder_of(path)


def check_free(path: Path, *, force: bool) -> None:
    """Refuse to replace what is there, be it a link that leads nowhere, without `force`.

    Raises
    ------
    OutputError
    """
    if os.path.lexists(path) and not force:
        raise OutputError(f"{path}: exists already; add --force to replace it")


def check_folder_of(path: Path) -> None:
    """Refuse a place in a folder that is missing or closed to writing.

    Raises
    ------
    OutputError
    """
    folder = Path(os.path.realpath(path)).parent if path.is_symlink() else path.parent
    if not folder.is_dir():
        raise OutputError(f"{path}: the folder {folder} does not exist; make it first")
    if not os.access(folder, os.W_OK):
        raise OutputError(f"{path}: the folder {folder} cannot be written to; choose another")


def cannot_begin(path: Path, exc: OSError) -> OutputError:
    """Say that nothing can be written there."""
    return OutputError(f"{path}: cannot be written ({_reason(exc)}); choose another")


def failed_midway(path: Path, exc: OSError) -> OutputError:
    """Say that writing was begun and given up."""
    return OutputError(
        f"{path}: writing failed ({_reason(exc)}); nothing was left behind, make room and try again"
    )


def _reason(exc: OSError) -> str:
    return exc.strerror or str(exc)


@contextlib.contextmanager
def _temporary_beside(path: Path) -> Iterator[Path]:
    """Yield a temporary name in the same folder; move it onto `path` at the end."""
    try:
        handle, name = tempfile.mkstemp(
            dir=path.parent, prefix=f".{path.stem[:40]}.", suffix=path.suffix
        )
        os.close(handle)
    except OSError as exc:
        raise cannot_begin(path, exc) from exc
    temporary = Path(name)
    try:
        yield temporary
        with temporary.open("rb+") as written:
            os.fsync(written.fileno())
        umask = os.umask(0)
        os.umask(umask)
        temporary.chmod(0o666 & ~umask)
        temporary.replace(path)
    except OSError as exc:
        raise failed_midway(path, exc) from exc
    finally:
        temporary.unlink(missing_ok=True)


def write_sound(
    file: BinaryIO,
    blocks: Iterable[np.ndarray],
    sample_rate_hz: int,
    *,
    n_channels: int,
    container: str,
    subtype: str,
    tags: dict[str, str] | None = None,
    compression_level: float | None = None,
) -> None:
    """Encode sound into an open file, piece by piece.

    Parameters
    ----------
    file : binary file, open for writing
    blocks : iterable of array [shape=(n,) or (n, n_channels), -1 to 1]
        In pieces of about a second: in one piece libsndfile's Vorbis writer overruns its
        stack on long files.
    sample_rate_hz, n_channels : int
    container, subtype : str
        As libsndfile names them: ``OGG`` and ``VORBIS``, ``MP3`` and ``MPEG_LAYER_III`` ...
    tags : dict, optional
        Attributes of ``soundfile.SoundFile``, such as ``title`` and ``artist``.
    compression_level : float, optional
        0 (best) to 1 (smallest), for lossy formats.

    Raises
    ------
    OSError
        If the file cannot take all of it, as when the disk is full.
    """
    import soundfile

    target = _FromC(file)
    try:
        with soundfile.SoundFile(
            target,
            "w",
            sample_rate_hz,
            n_channels,
            subtype=subtype,
            format=container,
            compression_level=compression_level,
        ) as sound:
            for name, words in (tags or {}).items():
                setattr(sound, name, words)
            for block in blocks:
                sound.write(block)
    except (AssertionError, soundfile.LibsndfileError):
        if target.error is None:
            raise
    if target.error is not None:
        raise target.error


class _FromC:
    """A file that libsndfile writes to: an error cannot pass through C, so it is kept here."""

    def __init__(self, file: BinaryIO) -> None:
        self._file = file
        self.error: OSError | None = None
        self.seek, self.tell, self.read = file.seek, file.tell, file.read

    def write(self, data: bytes) -> int:
        """Write all of `data`, or nothing once the disk is full."""
        try:
            return self._file.write(data) if self.error is None else 0
        except OSError as exc:
            self.error = exc
            return 0

    def flush(self) -> None:
        """Hand on what is buffered."""
        try:
            self._file.flush()
        except OSError as exc:
            self.error = self.error or exc


def sound_bytes(samples: np.ndarray, sample_rate_hz: int, **how: Any) -> bytes:
    """Encode sound [shape=(n,) or (n, n_channels), -1 to 1] as the bytes of a file.

    The other arguments are those of `write_sound`.
    """
    out = io.BytesIO()
    n_channels = 1 if samples.ndim == 1 else samples.shape[1]
    write_sound(
        out, in_blocks(samples, sample_rate_hz), sample_rate_hz, n_channels=n_channels, **how
    )
    return out.getvalue()


def in_blocks(samples: np.ndarray, n_samples: int) -> Iterator[np.ndarray]:
    """Cut sound into pieces of `n_samples`."""
    for start in range(0, len(samples), n_samples):
        yield samples[start : start + n_samples]


Writer = Callable[[BinaryIO], None]  # writes into a file that is open for reading, too


def write_atomic(path: Path | str, content: bytes | str | Writer, *, force: bool = False) -> Path:
    """Write `content` to `path` so that readers see all of it or nothing.

    A pipe or device is written to as it is.

    Parameters
    ----------
    path : Path or str
        The file to make.
    content : bytes, str or callable
        Text is written as UTF-8.  What is long is written by a callable that is given the
        open file, so that it need not be in memory as a whole.
    force : bool
        Replace an existing file.

    Raises
    ------
    OutputError
        If `check_target` refuses the path, or the folder or disk does.
    """
    path = Path(path)
    check_target(path, force=force)
    if _is_stream(_state(path)):
        _pour(path, content)
        return path
    # A link stays: what it leads to is replaced.
    target = Path(os.path.realpath(path)) if path.is_symlink() else path
    with _temporary_beside(target) as temporary, temporary.open("wb+") as file:
        _fill(file, content)
    return path


def _fill(file: BinaryIO, content: bytes | str | Writer) -> None:
    if callable(content):
        content(file)
    else:
        data = content.encode("utf-8", "backslashreplace") if isinstance(content, str) else content
        file.write(data)


def _pour(path: Path, content: bytes | str | Writer) -> None:
    """Write to a pipe or device; by way of a file, as a writer may go back and forth in it."""
    try:
        with tempfile.TemporaryFile() as whole, path.open("wb") as stream:
            _fill(whole, content)
            whole.seek(0)
            shutil.copyfileobj(whole, stream)
    except OSError as exc:
        raise cannot_begin(path, exc) from exc
