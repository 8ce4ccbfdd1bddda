"""Time corrections at the desk: from the tap in the menu to the sheet drawn anew.

    python tests/bench/desk_corrections.py [SONG] [--repeats N]

Starts a desk on a folder of its own and corrects a song N times in Chromium, each time
"the one is a beat later", which lays all bars, sections and the plan anew.  Prints the
median and the slowest, the planner's own time for the same corrections, and the difference
of the medians.  The aim is at most 100 ms beyond the planner's own time.
"""

from __future__ import annotations

import argparse
import os
import re
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from urllib.parse import quote

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "tests"))

from browsing import chromium  # noqa: E402
from phrasefit import pipeline  # noqa: E402
from phrasefit.desk.places import choose_folder  # noqa: E402
from phrasefit.fit import fit_routine  # noqa: E402
from phrasefit.model import Correction  # noqa: E402
from phrasefit.routine.from_numbers import routine_from_numbers  # noqa: E402
from phrasefit.store import Store  # noqa: E402

AIM_MS = 100.0
QUERY = "counts=32&walls=4"
WATCH = """() => {
  window.taken = [];
  let begun = null;
  document.addEventListener("click", (event) => {
    if (event.target.textContent === "the one is a beat later") begun = performance.now();
  }, true);
  new MutationObserver(() => {
    const since = begun;
    begun = null;
    if (since !== null) requestAnimationFrame(() => setTimeout(() =>
      window.taken.push(performance.now() - since)));
  }).observe(document.querySelector(".lines"), { childList: true });
}"""


def planner_ms(analysis: pipeline.Analysis, repeats: int) -> list[float]:
    """Time the planner alone on the same corrections."""
    routine = routine_from_numbers(counts=32, walls=4)
    taken, correction = [], analysis.correction
    for _ in range(repeats):
        shifted = pipeline.added(analysis, correction, Correction(shift_one_beats=1))
        correction = shifted.correction
        begun = time.perf_counter()
        fit_routine(shifted.bar_map, routine)
        taken.append(1000 * (time.perf_counter() - begun))
    return taken


def desk_ms(data: Path, content_hash: str, repeats: int) -> list[float]:
    """Time the same corrections at the desk, in a browser."""
    desk = subprocess.Popen(
        [sys.executable, "-m", "phrasefit", "desk", "--no-browser"],
        env=os.environ | {"PHRASEFIT_DATA": str(data), "PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        assert desk.stdout is not None
        address = re.search(r"http://\S+", desk.stdout.readline())
        assert address is not None
        with chromium() as browser:
            page = browser.new_page()
            page.goto(f"{address[0]}?view={quote(f'/sheet/{content_hash}?{QUERY}', safe='')}")
            page.locator(".sheet i").first.wait_for()
            page.evaluate(WATCH)
            for n in range(repeats):
                page.locator(".sheet i[data-at='20']").click()
                page.get_by_role("menuitem", name="the one is a beat later").click()
                page.wait_for_function(f"() => window.taken.length === {n + 1}")
            return list(page.evaluate("() => window.taken"))
    finally:
        desk.terminate()
        desk.wait()


def main() -> int:
    """Measure and print; the exit code tells whether the aim is met."""
    parser = argparse.ArgumentParser(description=__doc__)
    sample = ROOT / "sample_audio" / "one-bar-for-breath.ogg"
    parser.add_argument("song", type=Path, nargs="?", default=sample)
    parser.add_argument("--repeats", type=int, default=50)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        with Store(Path(folder) / "phrasefit.sqlite3") as store:
            analysis = pipeline.analyse(asked.song, store=store)
            choose_folder(store, asked.song.resolve().parent)
        alone = planner_ms(analysis, asked.repeats)
        whole = desk_ms(Path(folder), analysis.info.content_hash, asked.repeats)
    beyond = statistics.median(whole) - statistics.median(alone)
    for name, taken in (("tap to sheet", whole), ("planner alone", alone)):
        print(f"{name}: median {statistics.median(taken):.0f} ms, slowest {max(taken):.0f} ms")
    print(f"beyond the planner: {beyond:.0f} ms, {asked.repeats} corrections (aim {AIM_MS:.0f} ms)")
    return int(beyond > AIM_MS)


if __name__ == "__main__":
    raise SystemExit(main())
