"""Writers that are killed with SIGKILL, and what they had reported as done."""

from __future__ import annotations

import random
import signal
import subprocess
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path

from phrasefit.store import Store, maintenance

ROOT = Path(__file__).parents[2]
WRITER = """
import sys
from pathlib import Path
sys.path.insert(0, sys.argv[3])
from phrasefit.store import Store
folder, begin = Path(sys.argv[1]), int(sys.argv[2])
song = folder / "song.wav"
song.write_bytes(b"sound")
with Store(folder / "phrasefit.sqlite3") as store:
    for i in range(begin, begin + 100_000):
        store.put_analysis(f"{i:064x}", "1", f"{i} " * 3000, path=song)
        print("analysis", i, flush=True)
        store.edit_correction("shared", lambda kept: {**(kept or {}), f"n{i % 40}": i})
        print("shared", i, flush=True)
        store.put_correction(f"{i:064x}", {"meter": 3, "n": i})
        print("correction", i, flush=True)
        if i % 3 == 0:
            store.delete_correction(f"{i:064x}")
            print("forgotten", i, flush=True)
        store.put_routine(f"R{i % 7}", f"{i} " * 2000)
        print("routine", i, flush=True)
"""


@dataclass
class Tally:
    """What was reported as done, over all kills."""

    n_kills: int = 0
    n_reported: int = 0
    lost: list[str] = field(default_factory=list)
    next_number: int = 0


def kill_one(folder: Path, rng: random.Random, tally: Tally) -> None:
    """Start a writer, kill it at some moment, and look for all that it reported."""
    begin = tally.next_number
    writer = subprocess.Popen(
        [sys.executable, "-c", WRITER, str(folder), str(begin), str(ROOT)],
        stdout=subprocess.PIPE,
        text=True,
    )
    writer.stdout.readline()  # it is at work
    time.sleep(rng.random() * 0.5)
    writer.send_signal(signal.SIGKILL)
    rest, _ = writer.communicate()
    lines = [f"analysis {begin}", *rest.splitlines()]
    if not rest.endswith("\n") and rest:
        lines.pop()  # cut off by the kill
    done = [(kind, int(i)) for kind, i in (line.split() for line in lines)]
    tally.n_kills += 1
    tally.n_reported += len(done)
    tally.next_number = begin + 100_000
    with Store(folder / "phrasefit.sqlite3") as store:
        _look(store, done, tally)
        tally.lost += maintenance.verify(store)


def _look(store: Store, done: list[tuple[str, int]], tally: Tally) -> None:
    forgotten = {i for kind, i in done if kind == "forgotten"}
    shared = store.get_correction("shared") or {}
    routines = store.routines()
    newest: dict[str, int] = {}
    for kind, i in done:
        key = f"{i:064x}"
        if kind == "analysis" and store.get_analysis(key, "1") != f"{i} " * 3000:
            tally.lost.append(f"analysis {i}")
        if kind == "shared" and shared.get(f"n{i % 40}", -1) < i:
            tally.lost.append(f"change {i} of a correction")
        if kind == "correction" and i not in forgotten:
            kept = store.get_correction(key)
            # Between the two reports the removal may have been made already.
            if kept != {"meter": 3, "n": i} and not (i % 3 == 0 and (kind, i) == done[-1]):
                tally.lost.append(f"correction {i}")
        if kind == "forgotten" and store.get_correction(key) is not None:
            tally.lost.append(f"{i} was forgotten and is back")
        if kind == "routine":
            newest[f"R{i % 7}"] = i
    for name, i in newest.items():
        if int(routines.get(name, "-1").split()[0]) < i:
            tally.lost.append(f"routine {name}")
