"""Results are written whole or not at all."""

from __future__ import annotations

import os
import socket
import stat
from pathlib import Path

import pytest

from full_disk import full_disk
from phrasefit.errors import OutputError
from phrasefit.files import protect, write_atomic


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


# ----------------------------------------------------- what must not be destroyed


def test_what_the_user_gave_is_never_written_over(tmp_path: Path) -> None:
    """Not with force, and not by another name of the same file."""
    song = tmp_path / "song.wav"
    song.write_bytes(b"music")
    (tmp_path / "linked.wav").symlink_to(song)
    (tmp_path / "same.wav").hardlink_to(song)
    protect(song, "the song")

    for name in ("song.wav", "linked.wav", "same.wav"):
        with pytest.raises(OutputError, match="is the song itself"):
            write_atomic(tmp_path / name, "x", force=True)

    assert song.read_bytes() == b"music"


def test_pipes_are_written_to(tmp_path: Path) -> None:
    """A named pipe gets the bytes and is still a pipe."""
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    reader = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
    try:
        write_atomic(pipe, "counts\n", force=True)
        assert os.read(reader, 100) == b"counts\n"
    finally:
        os.close(reader)
    assert stat.S_ISFIFO(pipe.stat().st_mode)


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can make a device")
def test_a_device_is_written_to_and_stays_one(tmp_path: Path) -> None:
    """A device of our own, like /dev/null, swallows the result and stays what it is."""
    device = tmp_path / "null"
    try:
        os.mknod(device, 0o666 | stat.S_IFCHR, os.makedev(1, 3))
        device.write_bytes(b"")
    except PermissionError:
        pytest.skip("no devices can be made here")

    write_atomic(device, "x", force=True)

    assert stat.S_ISCHR(device.stat().st_mode)


def test_a_link_that_leads_nowhere_exists(tmp_path: Path) -> None:
    """It is kept without force; with it, what it leads to is made and the link stays."""
    link = tmp_path / "link.txt"
    link.symlink_to(tmp_path / "kept.txt")

    with pytest.raises(OutputError, match="exists already"):
        write_atomic(link, "x")
    write_atomic(link, "x", force=True)

    assert link.is_symlink() and (tmp_path / "kept.txt").read_text() == "x"


def test_a_socket_is_refused(tmp_path: Path) -> None:
    """What is neither file nor pipe is no place for a result."""
    with socket.socket(socket.AF_UNIX) as server:
        server.bind(str(tmp_path / "s"))
        with pytest.raises(OutputError, match="no file that can be replaced"):
            write_atomic(tmp_path / "s", "x", force=True)
