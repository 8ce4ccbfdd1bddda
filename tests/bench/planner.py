"""Time the planner: a 10-minute song, routines of 64 counts and others, all numbers of changes.

    python tests/bench/planner.py [--repeats N]

Prints the processor time of one `fit_routine` call, median and slowest of N.  The aim for
64 counts and four changes is 50 ms.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import time

import numpy as np

from phrasefit.fit import fit_routine
from phrasefit.model import BarMap, Part, RestartPoint, Routine, Section, TagOption
from phrasefit.routine.from_numbers import routine_from_numbers

AIM_MS = 50.0


def long_song(minutes: float = 10.0, bpm: float = 120.0) -> BarMap:
    """Build a song in fours that leaves phrases of 32 every third section."""
    n_bars = round(minutes * bpm / 4)
    beats = np.arange(4 * n_bars)
    lengths = [17 if i % 3 == 2 else 16 for i in range(n_bars // 16 + 1)]
    starts = [4 * start for start in np.cumsum([0, 8, *lengths]) if start < n_bars]
    sections = tuple(
        Section(start_beat=int(a), n_beats=int(b - a), letter="AB"[i % 2], strength=1.0)
        for i, (a, b) in enumerate(zip(starts, [*starts[1:], len(beats)], strict=True))
    )
    seconds = len(beats) * 60 / bpm
    return BarMap(
        beat_times_s=beats * 60 / bpm,
        positions=beats % 4 + 1,
        meter=4,
        tempo_bpm=bpm,
        end_s=seconds,
        duration_s=seconds,
        sections=sections,
    )


def phrased() -> Routine:
    """Build a routine of two parts in a sequence of twelve."""
    cuts = tuple(RestartPoint(after_count=k, turn_deg=0) for k in range(4, 32, 4))
    return Routine(
        name="phrased",
        walls=2,
        parts=(
            Part(name="A", counts=32, turn_deg=180, restart_points=cuts),
            Part(name="B", counts=32, turn_deg=90, restart_points=cuts),
        ),
        sequence=tuple("AABAABABBAAB"),
        tags=tuple(TagOption(counts=n) for n in (2, 4, 8, 16)),
    )


def time_ms(song: BarMap, routine: Routine, repeats: int) -> list[float]:
    """Measure processor time of each of `repeats` calls, after one to warm up."""
    fit_routine(song, routine)
    spent = []
    for _ in range(repeats):
        begin = time.process_time()
        fit_routine(song, routine)
        spent.append(1000 * (time.process_time() - begin))
    return spent


def main(arguments: list[str] | None = None) -> int:
    """Print one line a routine."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--repeats", type=int, default=21)
    args = parser.parse_args(arguments)
    song = long_song()
    print(f"{song.duration_s / 60:.1f} minutes, {len(song.beat_times_s)} counts, up to 4 changes")
    routines = [routine_from_numbers(counts=c, walls=4) for c in (64, 48, 32, 16)] + [phrased()]
    for routine in routines:
        spent = time_ms(song, routine, args.repeats)
        print(
            f"  {routine.name:<22} median {statistics.median(spent):6.1f} ms"
            f"  slowest {max(spent):6.1f} ms"
        )
    print(f"aim for 64 counts: {AIM_MS:.0f} ms")
    return 0


if __name__ == "__main__":
    sys.exit(main())
