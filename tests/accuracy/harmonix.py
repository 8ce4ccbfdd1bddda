"""Run the planner over the bar maps that people made of 912 released songs.

    python tests/accuracy/harmonix.py FOLDER [--songs N] [--counts 32 64 48] [--show N]
        [--sensitivity]

FOLDER holds ``songs.jsonl.gz``: the Harmonix Set (Nieto et al., ISMIR 2019, MIT
licence), one JSON object a line with ``genre``, ``beats_s``, ``positions`` and
``sections`` ([start in seconds, label], the last one is the end).  Without the folder
the script says so and stops.  Section edges are taken to the nearest downbeat (the later of
two); phrases inside sections are ours (`phrasefit.form.phrases`).

A song *fits* with n changes in one of two meanings: *on a phrase*: every phrase start
begins a wall; *on an eight*: every phrase start falls on a whole number of eights (waltz:
sixes) of a wall.  The plan looked at is the one of the planner with at most n changes.
"""

from __future__ import annotations

import argparse
import dataclasses
import gzip
import itertools
import json
import sys
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from itertools import islice, pairwise
from pathlib import Path

import numpy as np

from phrasefit.errors import NoFitError
from phrasefit.fit import Costs, fit_routine
from phrasefit.fit.phrase_hits import phrase_hits
from phrasefit.form.phrases import group_phrases
from phrasefit.meters import DANCE_METERS
from phrasefit.model import BarMap, FitPlan, Restart, Section, Tag
from phrasefit.reports.fit_text import render
from phrasefit.routine.from_numbers import routine_from_numbers

MAX_CHANGES = 3
GENRES = ("Pop", "Hip-Hop", "Dance/Electronic", "Country", "Rock")  # those with 30 songs or more
# What was measured on the same songs before the planner was written, with details of the
# snapping and the first section that we can only guess at [share of songs, percent].
EARLIER_SHARES = {8: 64, 16: 47, 32: 18, 64: 1, 48: 0}


@dataclasses.dataclass(frozen=True)
class Song:
    """A bar map with its genre and the labels of its sections."""

    genre: str
    bar_map: BarMap
    labels: tuple[str, ...]


def read_songs(path: Path) -> Iterator[Song]:
    """Read every song that has at least two sections on different bars."""
    with gzip.open(path, "rt", encoding="utf-8") as lines:
        for line in lines:
            song = _song(json.loads(line))
            if len(song.labels) > 1:
                yield song


def _song(row: dict) -> Song:
    beats, positions = np.array(row["beats_s"]), np.array(row["positions"])
    downbeats = np.flatnonzero(positions == 1)
    lengths = Counter(np.diff(downbeats).tolist())
    starts: dict[int, str] = {}
    for start_s, label in row["sections"][:-1]:
        starts.setdefault(_nearest_downbeat(beats, downbeats, start_s), label)
    edges = [*sorted(starts), len(beats)]
    letters = {label: chr(65 + i % 26) for i, label in enumerate(dict.fromkeys(starts.values()))}
    sections = tuple(
        Section(start_beat=a, n_beats=b - a, letter=letters[starts[a]], strength=1.0)
        for a, b in pairwise(edges)
    )
    gap = float(np.median(np.diff(beats)))
    meter = lengths.most_common(1)[0][0]
    bar_map = BarMap(
        beat_times_s=beats,
        positions=positions,
        meter=meter,
        tempo_bpm=60 / gap,
        end_s=float(beats[-1]) + gap,
        duration_s=float(beats[-1]) + gap,
        sections=sections,
        phrases=group_phrases(positions, meter, sections),
    )
    return Song(row["genre"], bar_map, tuple(starts[a] for a in edges[:-1]))


def _nearest_downbeat(beats: np.ndarray, downbeats: np.ndarray, start_s: float) -> int:
    away = np.round(np.abs(beats[downbeats] - start_s), 4)
    return int(downbeats[np.flatnonzero(away == away.min())[-1]])


def grid_share(songs: Sequence[Song], counts: int) -> float:
    """Give the share of songs whose sections all start on one grid of `counts`, in bars of 4.

    The grid is anchored at the first section after the intro; the last section (the
    outro, mostly) is left out.
    """
    on_grid = []
    for song in songs:
        downbeats = np.flatnonzero(song.bar_map.positions == 1)
        starts = [
            int(np.searchsorted(downbeats, s.start_beat))
            for s, label in zip(song.bar_map.sections, song.labels, strict=True)
        ]
        intro = 0
        while intro < len(starts) - 1 and song.labels[intro] in ("silence", "intro"):
            intro += 1
        bars = np.array(starts[intro:-1])
        if bars.size:
            on_grid.append(bool(np.all((bars - bars[0]) % (counts // 4) == 0)))
    return float(np.mean(on_grid))


def plan_all(
    songs: Sequence[Song], counts: int, costs: Costs, meter: int = 4
) -> list[FitPlan | None]:
    """Fit a routine of `counts` counts and four walls to every song; None where none fits."""
    routine = routine_from_numbers(counts=counts, walls=4, meter=meter)
    fits = []
    for song in songs:
        try:
            fits.append(fit_routine(song.bar_map, routine, max_changes=MAX_CHANGES, costs=costs))
        except NoFitError:
            fits.append(None)
    return fits


def fits_with(fit: FitPlan, n_changes: int, group: int | None) -> bool:
    """Tell whether a plan with at most `n_changes` meets every phrase (on eights: `group`)."""
    for plan in fit.plans:
        if plan.n_changes <= n_changes:
            into = [hit.into_counts for hit in phrase_hits(plan, fit.grid)]
            if all(k % group == 0 if group else k == 0 for k in into):
                return True
    return False


def percent(values: Iterable[bool | float]) -> str:
    """Write a share."""
    return f"{100 * np.mean(list(values)):5.1f}"


def report_fits(title: str, fits: Sequence[FitPlan]) -> None:
    """Print one line: how many fit with 0-3 changes, what is advised, the mean score."""
    if not fits:
        return
    phrase = " ".join(
        percent(fits_with(fit, n, None) for fit in fits) for n in range(MAX_CHANGES + 1)
    )
    eight = " ".join(
        percent(fits_with(fit, n, DANCE_METERS[fit.routine.meter].group_counts) for fit in fits)
        for n in range(MAX_CHANGES + 1)
    )
    advised = " ".join(
        percent(fit.plan.n_changes == n for fit in fits) for n in range(MAX_CHANGES + 1)
    )
    plain = np.mean([fit.plans[0].score for fit in fits])
    best = np.mean([fit.plan.score for fit in fits])
    print(
        f"  {title:<18}{len(fits):>4} | {phrase} | {eight} | {advised} | {plain:5.1f} {best:5.1f}"
    )


def report_counts(songs: Sequence[Song], counts: int) -> list[FitPlan | None]:
    """Print the table for one length of routine, by genre."""
    meter = 3 if songs[0].bar_map.meter % 3 == 0 else 4
    fits = plan_all(songs, counts, Costs(), meter)
    print(f"\nroutine of {counts} counts{' (waltz)' * (meter == 3)}, four walls [percent of songs]")
    head = "0     1     2     3"
    print(f"  {'':<22} | on a phrase with     |  on an eight with     | advised changes")
    print(f"  {'':<22} |  {head}   |  {head}   |  {head}   | score plain, advised")
    pairs = [(song, fit) for song, fit in zip(songs, fits, strict=True) if fit]
    report_fits("all", [fit for _, fit in pairs])
    for genre in GENRES if meter == 4 else ():
        report_fits(genre, [fit for song, fit in pairs if song.genre == genre])
    odd = [fit for song, fit in pairs if has_odd_bars(song.bar_map)]
    report_fits("with odd bars", odd)
    return fits


def has_odd_bars(bar_map: BarMap) -> bool:
    """Tell whether a bar between the first and the last differs from the meter."""
    lengths = np.diff(np.flatnonzero(bar_map.positions == 1))
    return bool(np.any(lengths[:-1] != bar_map.meter))


def report_events(fits: Sequence[FitPlan | None]) -> None:
    """Print which restarts and tags the advised plans use."""
    events: Counter[str] = Counter()
    for fit in fits:
        if fit is None:
            continue
        for before, event in itertools.pairwise(fit.plan.events):
            if isinstance(event, Restart):
                tag = f" + tag {before.counts}" if isinstance(before, Tag) else ""
                events[f"restart after {event.after_count}{tag}"] += 1
            elif isinstance(event, Tag) and not event.cut_short:
                events[f"tag {event.counts}"] += 1
    total = sum(events.values())
    print(f"\nevents in the advised plans ({total})")
    print(
        "  " + ", ".join(f"{what}: {100 * n / total:.0f} %" for what, n in events.most_common(14))
    )


def report_sensitivity(songs: Sequence[Song], counts: int, base: Sequence[FitPlan | None]) -> None:
    """Print how many advised plans change when one cost is made half as big or half bigger."""
    print(f"\none value of the table x 0.5 and x 1.5 ({counts} counts): same start and walls,")
    print("  same number of changes, mean number of changes [percent, percent, number]")
    for field in dataclasses.fields(Costs):
        value = getattr(Costs(), field.name)
        if field.name in ("meet_start", "groups_after_event", "end_off_front"):
            continue
        cells = []
        for factor in (0.5, 1.5):
            # A value of 0 is moved by as much as its neighbor in the table.
            changed = value * factor if value else (factor - 1) * Costs().meet_group
            fits = plan_all(songs, counts, dataclasses.replace(Costs(), **{field.name: changed}))
            cells.append(_compared(base, fits))
        print(f"  {field.name:<18} {value:>6}   {cells[0]}   {cells[1]}")


def _compared(base: Sequence[FitPlan | None], fits: Sequence[FitPlan | None]) -> str:
    pairs = [(a.plan, b.plan) for a, b in zip(base, fits, strict=True) if a and b]
    walls = percent(
        [w.start_count for w in a.walls] == [w.start_count for w in b.walls] for a, b in pairs
    )
    number = percent(a.n_changes == b.n_changes for a, b in pairs)
    return f"{walls} {number} {np.mean([b.n_changes for _, b in pairs]):5.2f}"


def main(arguments: list[str] | None = None) -> int:
    """Run the measurements; 0 also where the songs are not there."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path, nargs="?", help="folder of songs.jsonl.gz")
    parser.add_argument("--songs", type=int, help="only the first so many songs")
    parser.add_argument("--counts", type=int, nargs="+", default=[32, 64, 48])
    parser.add_argument("--show", type=int, default=0, help="print so many plans of odd songs")
    parser.add_argument("--sensitivity", action="store_true", help="vary every cost by half")
    args = parser.parse_args(arguments)
    path = args.folder / "songs.jsonl.gz" if args.folder else None
    if path is None or not path.is_file():
        print(f"skipped: the Harmonix bar maps are not there ({path or 'no folder given'})")
        return 0
    songs = list(read_songs(path))[: args.songs]
    fours = [song for song in songs if song.bar_map.meter == 4]
    print(f"{len(songs)} songs, {len(fours)} in fours")
    print("songs whose sections all stay on one grid [percent; in brackets: measured earlier]")
    for counts, earlier in EARLIER_SHARES.items():
        print(f"  {counts:>2} counts {100 * grid_share(fours, counts):5.1f} ({earlier})")
    for counts in args.counts:
        fits = report_counts(fours, counts)
        if counts == args.counts[0]:
            report_events(fits)
            odd = (f for s, f in zip(fours, fits, strict=True) if f and has_odd_bars(s.bar_map))
            for fit in islice(odd, args.show):
                print("\n" + render(fit))
            if args.sensitivity:
                report_sensitivity(fours, counts, fits)
    threes = [song for song in songs if song.bar_map.meter % 3 == 0]
    if threes:
        report_counts(threes, 48)
    return 0


if __name__ == "__main__":
    sys.exit(main())
