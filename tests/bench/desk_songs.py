"""The desk's list of 10,000 songs in a real browser: until it appears, until it is filtered.

    python tests/bench/desk_songs.py [--songs 10000] [--times 15] [--folder FOLDER]

Fills a store with made-up songs (`rank_scale.fill`), opens the desk on it in Chromium and
measures, in the page itself:

* appearing: from the click on "Songs" until its first rows are drawn, and from the beginning of
  a fresh load of the page (medians of `--times`);
* filtering: from a change of the search, the tempo or the meter until the rows are drawn;
* scrolling: the slowest frame while the list is scrolled from end to end.

Then the desk idles for ten seconds with the page open: processor time and memory.  The aims
are 1 s to appear, 100 ms to filter, no measurable processor time and 150 MB.
"""

from __future__ import annotations

import argparse
import os
import statistics
import sys
import tempfile
import time
from pathlib import Path

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parent), str(HERE.parents[1])]

FROM_LOAD = """() => new Promise((done) => {
  const look = () => document.querySelector('.songtable .rows .row')
    ? requestAnimationFrame(() => done(performance.now())) : requestAnimationFrame(look);
  look();
})"""
FROM_CLICK = """() => new Promise((done) => {
  const begin = performance.now();
  document.querySelector('#top a[href="/songs"]').click();
  const look = () => document.querySelector('.songtable .rows .row')
    ? requestAnimationFrame(() => done(performance.now() - begin)) : requestAnimationFrame(look);
  requestAnimationFrame(look);
})"""
FILTER = """([name, value]) => new Promise((done) => {
  const field = document.querySelector(`.filters [name="${name}"]`);
  const begin = performance.now();
  field.value = value;
  const kind = field.tagName === 'SELECT' ? 'change' : 'input';
  field.dispatchEvent(new Event(kind, { bubbles: true }));
  requestAnimationFrame(() => setTimeout(() => done(performance.now() - begin)));
})"""
FOUND = "document.querySelector('.found').textContent"
SCROLL = """() => new Promise((done) => {
  let last = performance.now(), worst = 0, n = 0;
  const all = document.documentElement.scrollHeight;
  const step = (now) => {
    worst = Math.max(worst, now - last); last = now;
    scrollTo(0, all * (++n) / 60);
    n < 60 ? requestAnimationFrame(step) : done(worst);
  };
  requestAnimationFrame((now) => { last = now; requestAnimationFrame(step); });
})"""
WISHES = (
    ("q", "player 12"), ("q", "song 77"), ("q", ""), ("from", "100"), ("to", "110"), ("from", ""),
    ("to", ""), ("meter", "3"), ("meter", ""), ("sort", "title"), ("sort", "new"),
)  # fmt: skip


def idle(pid: int, seconds: float) -> tuple[float, float]:
    """Give processor seconds used meanwhile, and megabytes held, of a process."""
    ticks = os.sysconf("SC_CLK_TCK")

    def used() -> float:
        fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / ticks

    begin = used()
    time.sleep(seconds)
    status = Path(f"/proc/{pid}/status").read_text()
    return used() - begin, int(status.split("VmRSS:")[1].split()[0]) / 1024


def main(arguments: list[str] | None = None) -> int:
    """Fill, open, measure, print."""
    from rank_scale import fill

    from browsing import chromium
    from desk_server import end, start_desk

    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--songs", type=int, default=10_000)
    parser.add_argument("--times", type=int, default=15)
    parser.add_argument("--folder", type=Path)
    args = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as scratch:
        folder = args.folder or Path(scratch)
        folder.mkdir(parents=True, exist_ok=True)
        place = folder / "phrasefit.sqlite3"
        if not place.exists():
            fill(place, args.songs, 200)
        desk = start_desk(folder)
        try:
            with chromium() as browser:
                measure(desk, browser, args.times)
            cpu_s, mb = idle(desk.process.pid, 10.0)
            print(f"idle with no page: {cpu_s:.2f} s of processor in 10 s, {mb:.0f} MB")
        finally:
            end(desk)
    print(f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    return 0


def measure(desk, browser, times: int) -> None:
    """Measure in the page, and print."""
    page = browser.new_page(viewport={"width": 1280, "height": 900})
    page.goto(f"{desk.address}?view=/songs")
    page.evaluate(FROM_LOAD)
    page.wait_for_function(f"{FOUND}.includes('songs')")
    print(page.evaluate(FOUND))
    loads, clicks = [], []
    for _ in range(times):
        page.goto(f"{desk.origin}/songs")
        loads.append(page.evaluate(FROM_LOAD))
        page.wait_for_timeout(1000)
        page.get_by_role("link", name="Record").click()
        page.wait_for_url("**/record")
        clicks.append(page.evaluate(FROM_CLICK))
        page.wait_for_timeout(1000)
    print_ms("appears after a load of the page", loads)
    print_ms("appears after a click", clicks)
    page.wait_for_selector(".filters select[name=sort]")
    found = [page.evaluate(FILTER, list(wish)) for _ in range(times) for wish in WISHES]
    print_ms("filtered or sorted", found)
    print_ms("slowest frame of scrolling", [page.evaluate(SCROLL)])
    begin = time.monotonic()
    page.evaluate("fetch('/api/songs/best').then((answer) => answer.text())")
    print(f"the best routine of each: {time.monotonic() - begin:.1f} s more, in the background")
    page.wait_for_timeout(2000)
    cpu_s, mb = idle(desk.process.pid, 10.0)
    print(f"idle with a page open: {cpu_s:.2f} s of processor in 10 s, {mb:.0f} MB")
    page.close()


def print_ms(what: str, values: list[float]) -> None:
    """Print the median and the worst."""
    print(f"{what}: median {statistics.median(values):.0f} ms, worst {max(values):.0f} ms")


if __name__ == "__main__":
    sys.exit(main())
