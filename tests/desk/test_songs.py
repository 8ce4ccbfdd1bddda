"""The list of songs, their sound, and what is handed out of it."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

from phrasefit.batch import Workers, listen_to, songs_in
from phrasefit.desk.places import choose_folder
from phrasefit.store import Store

SAMPLES = Path(__file__).parents[2] / "sample_audio"


@pytest.fixture(scope="module")
def heard(tmp_path_factory) -> Path:
    """Hear a song once; a data folder that knows it, with its folder beside, chosen."""
    top = tmp_path_factory.mktemp("heard")
    (top / "music").mkdir()
    shutil.copy(SAMPLES / "paper-boat-waltz.ogg", top / "music" / "Päper boat.ogg")
    with Store(top / "data" / "phrasefit.sqlite3") as store:
        listen_to(songs_in([top / "music"]), store, workers=Workers(n_jobs=1))
        choose_folder(store, top / "music")
    return top


def key_in(desk) -> str:
    """Name the one song of the list."""
    (row,) = desk.get("/api/songs")["rows"]
    return row[0]


def test_the_sound_is_given_in_ranges(new_desk, heard) -> None:
    """What a browser plays is the file, whole or in parts (RFC 9110, 14)."""
    desk = new_desk(heard / "data")
    content = (heard / "music" / "Päper boat.ogg").read_bytes()
    address = f"/api/songs/{key_in(desk)}/sound"

    whole = desk.ask("GET", address)
    part = desk.ask("GET", address, headers={"range": "bytes=100-299"})

    assert (whole.status, whole.body) == (200, content)
    assert whole.headers["content-type"] == "audio/ogg"
    assert (part.status, part.body) == (206, content[100:300])
    assert part.headers["content-range"] == f"bytes 100-299/{len(content)}"


def test_only_songs_are_handed_out(new_desk, heard) -> None:
    """No other name leads to a file."""
    desk = new_desk(heard / "data")

    for name in ("0" * 64, "..%2f..%2fphrasefit.sqlite3", "%00", "..", "x" * 5000):
        answer = desk.ask("GET", f"/api/songs/{name}/sound")
        assert answer.status == 404, name


def test_a_link_out_of_a_folder_is_not_followed(new_desk, heard, tmp_path) -> None:
    """A song that is moved out of the chosen folder and linked there is not served."""
    copy = tmp_path / "copy"
    shutil.copytree(heard, copy)
    with Store(copy / "data" / "phrasefit.sqlite3") as store:
        choose_folder(store, copy / "music")
        listen_to(songs_in([copy / "music"]), store, workers=Workers(n_jobs=1))
    song = copy / "music" / "Päper boat.ogg"
    desk = new_desk(copy / "data")
    shutil.move(heard / "music", tmp_path / "away")  # else it is found where it was heard first
    try:
        assert desk.ask("GET", f"/api/songs/{key_in(desk)}/sound").status == 200
        outside = tmp_path / "outside.ogg"
        shutil.move(song, outside)
        os.symlink(outside, song)
        assert desk.ask("GET", f"/api/songs/{key_in(desk)}/sound").status == 404
    finally:
        shutil.move(tmp_path / "away", heard / "music")
