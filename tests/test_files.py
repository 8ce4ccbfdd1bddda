"""Results are written whole or not at all."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from full_disk import full_disk
from phrasefit.errors import OutputError
from phrasefit.files import write_atomic


def test_text_is_written_as_utf8(tmp_path: Path) -> None:
    """Text arrives as UTF-8, with the permissions of an ordinary new file."""
    path = write_atomic(tmp_path / "a.txt", "Größe\n")

    plain = tmp_path / "plain"
    plain.touch()
    assert path.read_bytes() == "Größe\n".encode()
    assert path.stat().st_mode == plain.stat().st_mode


def test_existing_file_needs_force(tmp_path: Path) -> None:
    """An existing result is kept unless the user says otherwise."""
    path = tmp_path / "a.txt"
    path.write_text("old")

    with pytest.raises(OutputError, match="--force"):
        write_atomic(path, "new")
    assert path.read_text() == "old"

    write_atomic(path, "new", force=True)
    assert path.read_text() == "new"


@pytest.mark.parametrize("force", [False, True])
def test_full_disk_leaves_nothing_half_written(tmp_path: Path, force: bool) -> None:
    """When the system refuses to write on, the old file stays and no scrap is left.

    A limit on the file size stands in for a full disk: both fail in `write`.
    """
    path = tmp_path / "a.bin"
    if force:
        path.write_bytes(b"old")
    with full_disk(10_000), pytest.raises(OutputError, match="writing failed"):
        write_atomic(path, b"x" * 1_000_000, force=force)

    assert [p.read_bytes() for p in tmp_path.iterdir()] == ([b"old"] if force else [])


def test_missing_folder_is_named(tmp_path: Path) -> None:
    """The message names the folder to make."""
    with pytest.raises(OutputError, match=r"folder .*nowhere does not exist"):
        write_atomic(tmp_path / "nowhere" / "a.txt", "x")


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write everywhere")
def test_closed_folder_is_named(tmp_path: Path) -> None:
    """The message says which folder is closed to writing."""
    tmp_path.chmod(0o500)
    try:
        with pytest.raises(OutputError, match="cannot be written to"):
            write_atomic(tmp_path / "a.txt", "x")
    finally:
        tmp_path.chmod(0o700)
