"""Measure how the memory of the desk grows over days of use.

    python tests/bench/desk_day.py [--days N]

A day is what an instructor does on a busy one: 50 corrections of a song, its plan asked for
after each, an evening filled and run, the rehearsal view opened and shared with the room, sheets
printed.  Prints the resident memory of the desk's process after each day; growth is told from
the end of the first day on, when everything is loaded.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests"), str(ROOT / "tests" / "desk")]

from desk_evenings import change, fill_store, new_evening, search  # noqa: E402

from desk_server import RunningDesk, end, start_desk  # noqa: E402
from heard import fill  # noqa: E402

CORRECTIONS = 50
QUERY = "counts=32&walls=4"


def resident_mb(pid: int) -> float:
    """Read the resident memory of a process [MB]; Linux only."""
    status = Path(f"/proc/{pid}/status").read_text()
    line = next(line for line in status.splitlines() if line.startswith("VmRSS"))
    return int(line.split()[1]) * 1024 / 1e6


def use_for_a_day(desk: RunningDesk, song: str) -> None:
    """Correct, fill and run an evening, rehearse, share, print."""
    sheet = desk.get(f"/api/sheet/{song}?{QUERY}")
    for n in range(CORRECTIONS):
        seen = {name: sheet["corrections"][name] for name in ("revision", "mark")}
        beats = {"shift_one_beats": 1 if n % 2 else -1}
        sheet = desk.post(f"/api/sheet/{song}/correct?{QUERY}", seen | {"change": beats})
    evening = search(desk, new_evening(desk, title="At the mill"))
    evening = change(desk, evening, "add", song=song, routine="supplied:first-gate")
    for place in range(1, len(evening["rows"]) + 1):
        desk.post(f"/api/evenings/{evening['id']}/run", {"place": place})
    desk.post(f"/api/room/{song}?{QUERY}")
    for address in (
        f"/rehearse/{song}?{QUERY}",
        f"/api/evenings/{evening['id']}/files/floor.pdf",
        "/api/songs",
    ):
        assert desk.ask("GET", address).status == 200, address
    desk.post("/api/room/stop")


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--days", type=int, default=5)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as top:
        folder = fill_store(Path(top), with_sample=False)
        (song,) = fill(folder, "one-bar-for-breath")
        desk = start_desk(folder)
        try:
            desk.get("/api/songs")
            taken = [resident_mb(desk.process.pid)]
            for _ in range(asked.days):
                use_for_a_day(desk, song)
                taken.append(resident_mb(desk.process.pid))
        finally:
            end(desk)
    print("resident memory [MB] at the start and after each day:", *(f"{mb:.0f}" for mb in taken))
    growth = (taken[-1] - taken[1]) / max(1, asked.days - 1)
    print(f"growth after the first day: {growth:.1f} MB a day, over {asked.days - 1} days")


if __name__ == "__main__":
    main()
