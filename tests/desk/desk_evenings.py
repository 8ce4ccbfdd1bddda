"""A data folder with songs for an evening: a dozen written down, one sample really heard."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

from heard import fill
from kept_songs import keep, square_song
from phrasefit.collection import Collection
from phrasefit.store import Store

NAMES = (
    "#1 & more", "Grün", "Extra", "Last <one>", "Fünf", "Six", "=1+1", "Eight", "Nine o'clock",
    "Ten", "Eleven", "Waltz",
)  # fmt: skip
EASY = {"minutes": 8, "beginner_every": 0, "min_length_s": 60}  # wishes that these songs can meet


def fill_store(top: Path, *, with_sample: bool = True) -> Path:
    """Make ``top/data`` with songs in ``top/my music``; give the data folder."""
    music = top / "my music"
    music.mkdir(parents=True)
    with Store(top / "data" / "phrasefit.sqlite3") as store:
        for i, name in enumerate(NAMES):
            bars = (4, 8, 9 if name == "Extra" else 8, 8, 8, 8, 8)
            meter, bpm = (3, 96) if name == "Waltz" else (4, 100 + 2 * i)
            song = square_song(name, *bars, bpm=bpm, meter=meter, artist=f"Band {i % 3}")
            keep(store, music, song)
    if with_sample:
        fill(top / "data", "paper-boat-waltz", music=music)
    with Store(top / "data" / "phrasefit.sqlite3") as store:
        Collection.of(store)  # sums up those written down
    return top / "data"


def new_evening(desk: Any, **settings: Any) -> dict[str, Any]:
    """Make an evening with wishes that can be met; `settings` change it."""
    made = desk.post("/api/evenings")
    return change(desk, made, "settings", **({"wishes": EASY} | settings))


def change(desk: Any, state: dict[str, Any], what: str, **more: Any) -> dict[str, Any]:
    """Change one thing of an evening, as its view does."""
    sent = {"do": what, "revision": state["revision"], **more}
    return desk.post(f"/api/evenings/{state['id']}", sent)


def search(desk: Any, state: dict[str, Any], **more: Any) -> dict[str, Any]:
    """Fill the evening, or swap one place, and wait for what comes of it."""
    address = f"/api/evenings/{state['id']}"
    desk.post(f"{address}/search", {"revision": state["revision"], **more})
    return waited(desk, state)


def waited(desk: Any, state: dict[str, Any]) -> dict[str, Any]:
    """Wait until nothing is searched for the evening."""
    end = time.monotonic() + 60
    while time.monotonic() < end:
        now = desk.get(f"/api/evenings/{state['id']}")
        if now["searching"] is None:
            return now
        time.sleep(0.05)
    raise AssertionError("the search does not end")


def dances(state: dict[str, Any]) -> list[tuple[str, str]]:
    """List the dances of an evening: title of the song, name of the routine."""
    return [(row["title"], row["name"]) for row in state["rows"] if row["kind"] != "lesson"]
