"""The list of songs, their sound, and what is handed out of it."""

from __future__ import annotations

import os
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from kept_songs import keep, square_song
from phrasefit.batch import Workers, listen_to, songs_in
from phrasefit.corrections import UNTOUCHED
from phrasefit.desk.desk import Desk
from phrasefit.desk.places import choose_folder
from phrasefit.desk.songs import analysis_of
from phrasefit.pipeline import correct
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


def test_songs_are_judged_for_routines_as_the_planner_does(new_desk, heard) -> None:
    """The quick judgment agrees with whole plans; what cannot be danced is not in it."""
    desk = new_desk(heard / "data")
    key = key_in(desk)
    plans = {row["key"]: row for row in desk.get(f"/api/songs/{key}/suits")["routines"]}

    fits = desk.get("/api/songs/fits?routine=supplied:mill-pond-waltz")
    best = desk.get("/api/songs/best")["best"][key]
    others = desk.get("/api/songs/fits?routine=supplied:first-gate")["fits"]

    score, in_reach, _ = fits["fits"][key]
    assert in_reach and abs(score - plans["supplied:mill-pond-waltz"]["score"]) <= 1
    assert best == [score, "Mill Pond Waltz", "supplied:mill-pond-waltz"]
    assert others == {}  # a routine in fours, a song in threes


def test_the_list_follows_a_correction(new_desk, heard, tmp_path) -> None:
    """Counted twice as slowly by a person, the song is listed with half the counts a minute."""
    shutil.copytree(heard / "data", tmp_path / "data")
    desk = new_desk(tmp_path / "data")
    columns = desk.get("/api/songs")["columns"]
    before = desk.get("/api/songs")["rows"][0]
    with desk_store(tmp_path) as store:
        analysis = analysis_of(Desk(store_path=store.path), store, before[0])
        correct(analysis, replace(UNTOUCHED, level=0.5), store=store)

    after = desk.get("/api/songs")["rows"][0]

    tempo = columns.index("tempo")
    assert after[tempo] == pytest.approx(before[tempo] / 2, abs=0.1)


def test_the_list_marks_a_file_that_is_cut_off(new_desk, page_of, tmp_path) -> None:
    """Whoever looks for a song sees it before it is opened; a whole one has no mark."""
    music, data = tmp_path / "music", tmp_path / "data"
    music.mkdir()
    data.mkdir()
    note = "the file is cut off, only 1:02.0 of 3:00.0 can be heard; copy or download it again"
    with desk_store(tmp_path) as store:
        keep(store, music, square_song("Half Heard", 4, 8, 8, 8, notes=(note,)))
        keep(store, music, square_song("Heard Out", 4, 8, 8, 8))
        choose_folder(store, music)
    page = page_of(new_desk(data), "/songs")

    page.get_by_role("link", name="Half Heard (cut off)", exact=True).wait_for()
    page.get_by_role("link", name="Heard Out", exact=True).wait_for()


def desk_store(folder: Path) -> Store:
    """Open the store of a desk beside it, as the command line may."""
    return Store(folder / "data" / "phrasefit.sqlite3")
