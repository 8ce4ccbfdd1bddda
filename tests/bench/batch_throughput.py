"""How much faster two processes listen to a folder than one.

    python tests/bench/batch_throughput.py [--songs 10] [--jobs 1 2]

Makes different songs of two and a half minutes, listens to all of them in a fresh store with
each number of processes, and prints seconds a song, after one song that warms each
process up.  The aim is 1.8 times the throughput with two processes; it can only be seen
on a machine with two idle cores, so the load is printed as well.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from pathlib import Path

AIM = 1.8
SECONDS = 150.0  # shorter ones would measure the start of each song more than the work


def make_songs(folder: Path, n: int) -> list[Path]:
    """Write songs of different tempos and seeds."""
    import soundfile

    sys.path.insert(0, str(Path(__file__).parents[1]))
    from synth import make_song

    paths = []
    for i in range(n):
        bpm = 96.0 + 3 * i
        song = make_song(f"4*{round(SECONDS * bpm / 240)}", bpm=bpm, seed=i)
        paths.append(folder / f"{i}.wav")
        soundfile.write(paths[-1], song.samples, song.rate_hz)
    return paths


def seconds_for(paths: list[Path], n_jobs: int, folder: Path) -> float:
    """Listen to all songs after the processes have been warmed up."""
    from phrasefit.batch import Workers, listen_to
    from phrasefit.store import Store

    workers = Workers(n_jobs=n_jobs)
    folder.mkdir(exist_ok=True)
    with Store(folder / f"warm-{n_jobs}.sqlite3") as store:
        listen_to(paths[: max(2, 2 * n_jobs)], store, workers=workers)
    with Store(folder / f"cold-{n_jobs}.sqlite3") as store:
        begin = time.perf_counter()
        report = listen_to(paths, store, workers=workers)
        spent = time.perf_counter() - begin
    if report.failures:
        raise SystemExit(f"{report.failures[0].path}: {report.failures[0].trouble}")
    return spent


def main(arguments: list[str] | None = None) -> int:
    """Print seconds a song for each number of processes, and the ratio to one."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--songs", type=int, default=10)
    parser.add_argument("--repeats", type=int, default=2, help="the quickest counts")
    parser.add_argument("--jobs", type=int, nargs="+", default=[1, 2])
    args = parser.parse_args(arguments)
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ[name] = "1"  # otherwise one process would use both cores
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        paths = make_songs(folder, args.songs)
        times = {
            n: min(seconds_for(paths, n, folder / str(i)) for i in range(args.repeats))
            for n in args.jobs
        }
    first = times[args.jobs[0]]
    for n, spent in times.items():
        print(
            f"{n} processes: {spent:.1f} s for {len(paths)} songs of {SECONDS:.0f} s,"
            f" {spent / len(paths):.2f} s each, {first / spent:.2f} times the first"
        )
    print(f"aim: {AIM} times with two; load {os.getloadavg()[0]:.1f} of {os.cpu_count()} cores")
    return 0


if __name__ == "__main__":
    sys.exit(main())
