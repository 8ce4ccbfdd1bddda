"""Watching the rehearsal page in a browser: waiting, looking each frame, going to a place."""

from __future__ import annotations

import itertools
import time

import numpy as np

from browsing import PATIENCE_S
from phrasefit.model import FitPlan
from phrasefit.reports.cues import running_counts

# Look once a frame, after the page has drawn: the clock of the sound, and what is on screen.
WATCH = """(ms) => new Promise((done) => {
  const seen = [];
  const begin = performance.now();
  const look = (now) => {
    const shown = document.body.dataset;
    const clock = position();
    seen.push({ now, clock, read: performance.now(), time: Number(shown.time), hook: shown.count,
      count: document.getElementById("count").textContent,
      wall: document.getElementById("wall").textContent,
      mark: [...document.querySelectorAll("#sheet i.now")].map((box) => Number(box.dataset.at)),
      facing: document.getElementById("facing").textContent });
    if (performance.now() - begin < ms) requestAnimationFrame(look); else done(seen);
  };
  requestAnimationFrame(look);
})"""
FRAME_S = 1 / 60


def until(page, condition: str, *, seconds: float = PATIENCE_S) -> None:
    """Wait until a condition holds (Playwright's own way needs eval, which the page forbids)."""
    end = time.monotonic() + seconds
    while not page.evaluate(condition):
        assert time.monotonic() < end, f"still not so: {condition}"
        time.sleep(0.02)


def watched(page, seconds: float) -> list[dict]:
    """Watch the page for some seconds."""
    return page.evaluate(WATCH, seconds * 1000)


def assert_counts_are_the_plans(seen: list[dict], fit: FitPlan, *, rate: float = 1.0) -> None:
    """Compare count, wall, facing and mark with the plan, and the clock with the sound.

    A busy computer stops a page between two lines, and the sound's clock then jumps: one frame in
    ten may show that.
    """
    rows = running_counts(fit)
    is_late = []
    for before, now in itertools.pairwise(seen):
        row = rows[int(np.searchsorted(fit.grid.times_s, now["time"], side="right")) - 1]
        assert now["count"] == now["hook"] == str(row.spoken)
        assert now["mark"] == [row.index]
        assert now["wall"].split() == (["TAG"] if row.kind == "tag" else ["WALL", str(row.wall)])
        assert now["facing"] == f"{row.facing // 30 or 12}:00"
        frame_s = max(
            FRAME_S, (now["now"] - before["now"]) / 1000, (now["read"] - now["now"]) / 1000
        )
        is_late.append(abs(now["clock"] - now["time"]) > frame_s * rate + 0.003)
    assert np.mean(is_late) <= 0.1


def start_before_event(page, kind: str, *, counts: int) -> None:
    """Go to `counts` counts before the first event of a kind, without a count-in."""
    page.select_option("#count-in", "off")
    page.evaluate(
        "([kind, n]) => seek(state.score.times[state.score.events.find((e) => e.kind === kind).at"
        " - n] + 0.1)",
        [kind, counts],
    )
