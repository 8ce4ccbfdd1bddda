"""Writing results: whole or not at all, never over something by accident."""

from __future__ import annotations

import contextlib
import io
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from phrasefit.errors import OutputError

if TYPE_CHECKING:
    import numpy as np


def check_target(path: Path, *, force: bool) -> None:
    """Refuse early, before any work, what could not be written later.

    Raises
    ------
    OutputError
        If `path` exists and `force` is False, is a folder, or its folder is
        missing or closed to writing.
    """
    folder = path.parent
    if path.is_dir():
        raise OutputError(f"{path}: is a folder; give a file name inside it")
    if path.exists() and not force:
        raise OutputError(f"{path}: exists already; add --force to replace it")
    if not folder.is_dir():
        raise OutputError(f"{path}: the folder {folder} does not exist; make it first")
    if not os.access(folder, os.W_OK):
        raise OutputError(f"{path}: the folder {folder} cannot be written to; choose another")


@contextlib.contextmanager
def _temporary_beside(path: Path) -> Iterator[Path]:
    """Yield a temporary name in the same folder; move it onto `path` at the end."""
    try:
        handle, name = tempfile.mkstemp(
            dir=path.parent, prefix=f".{path.stem[:40]}.", suffix=path.suffix
        )
        os.close(handle)
    except OSError as exc:
        raise OutputError(f"{path}: cannot be written ({exc.strerror}); choose another") from exc
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
        reason = exc.strerror or str(exc)
        raise OutputError(
            f"{path}: writing failed ({reason}); nothing was left behind, make room and try again"
        ) from exc
    finally:
        temporary.unlink(missing_ok=True)


def sound_bytes(
    samples: np.ndarray,
    sample_rate_hz: int,
    *,
    container: str,
    subtype: str,
    tags: dict[str, str] | None = None,
    compression_level: float | None = None,
) -> bytes:
    """Encode sound as the bytes of a file.

    Parameters
    ----------
    samples : array [shape=(n,) or (n, n_channels), -1 to 1]
    sample_rate_hz : int
    container, subtype : str
        As libsndfile names them: ``OGG`` and ``VORBIS``, ``MP3`` and ``MPEG_LAYER_III`` ...
    tags : dict, optional
        Attributes of ``soundfile.SoundFile``, such as ``title`` and ``artist``.
    compression_level : float, optional
        0 (best) to 1 (smallest), for lossy formats.
    """
    import soundfile

    out = io.BytesIO()
    with soundfile.SoundFile(
        out,
        "w",
        sample_rate_hz,
        1 if samples.ndim == 1 else samples.shape[1],
        subtype=subtype,
        format=container,
        compression_level=compression_level,
    ) as file:
        for name, words in (tags or {}).items():
            setattr(file, name, words)
        # In one piece libsndfile's Vorbis writer overruns its stack on long files.
        for start in range(0, len(samples), sample_rate_hz):
            file.write(samples[start : start + sample_rate_hz])
    return out.getvalue()


def write_atomic(path: Path | str, content: bytes | str, *, force: bool = False) -> Path:
    """Write `content` to `path` so that readers see all of it or nothing.

    Parameters
    ----------
    path : Path or str
        The file to make.
    content : bytes or str
        Text is written as UTF-8.
    force : bool
        Replace an existing file.

    Raises
    ------
    OutputError
        If the file exists without `force`, or the folder or disk refuses.
    """
    path = Path(path)
    check_target(path, force=force)
    with _temporary_beside(path) as temporary:
        temporary.write_bytes(
            content.encode("utf-8", "backslashreplace") if isinstance(content, str) else content
        )
    return path
