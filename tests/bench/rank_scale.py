"""Rank 100,000 kept songs for one routine: seconds and memory.

    python tests/bench/rank_scale.py [--songs 100000] [--distinct 5000] [--folder FOLDER]

Fills a store with made-up bar maps, then ranks them in a fresh process as
``phrasefit rank --known`` does, and prints wall seconds, processor seconds and the peak
of memory.  The aim is 10 s on two cores and 1 GB.

The songs follow what was counted over 912 annotated pop songs (Harmonix Set, Nieto et
al., ISMIR 2019): lengths of sections, leftover bars, introductions, share of odd bars,
tempos and meters.  `--distinct` different songs are drawn; the others repeat them with
another title, tempo and key, because drawing and laying out each would take minutes.
The folder is kept, so that a second call only ranks.
"""

from __future__ import annotations

import argparse
import itertools
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
import zlib
from pathlib import Path

import numpy as np

AIM_S, AIM_MB = 10.0, 1000.0
# Share of interior sections by length in bars, of introductions, and of meters.
SECTION_BARS = {8: 0.488, 16: 0.15, 4: 0.102, 12: 0.059, 9: 0.033, 10: 0.03, 6: 0.03, 7: 0.03,
                5: 0.028, 11: 0.02, 3: 0.03}  # fmt: skip
INTRO_BARS = {4: 0.31, 8: 0.24, 2: 0.06, 16: 0.05, 0: 0.05, 6: 0.1, 12: 0.09, 10: 0.1}
METERS = {4: 887, 6: 17, 3: 6, 2: 2}
ODD_BAR_SONGS = 0.14  # songs with a bar of another length
ODD_BEATS = {6: 67, 5: 38, 3: 32, 2: 31}


def draw(rng: np.random.Generator, shares: dict[int, float]) -> int:
    """Draw a key by its share."""
    keys, weights = np.array(list(shares)), np.array(list(shares.values()), dtype=float)
    return int(rng.choice(keys, p=weights / weights.sum()))


def draw_song(rng: np.random.Generator):
    """Draw a bar map; sections by the shares above, phrases by the program's own rules.

    What is expected of phrases beside those shown is laid on half of the bars (`fill`).
    """
    from phrasefit.form.phrases import group_phrases
    from phrasefit.model import BarMap, Confidence, Section

    meter = draw(rng, METERS)
    bpm = float(np.clip(rng.normal(117, 24), 60, 190))
    bars_wanted = rng.normal(218, 35) * bpm / 60 / meter
    sections = [draw(rng, INTRO_BARS)]
    while sum(sections) < bars_wanted:
        sections.append(draw(rng, SECTION_BARS))
    lengths = np.full(sum(sections), meter)
    if rng.random() < ODD_BAR_SONGS:
        lengths[rng.integers(len(lengths))] = draw(rng, ODD_BEATS)
    positions = np.concatenate([np.arange(1, n + 1) for n in lengths])
    bar_beats = np.concatenate([[0], np.cumsum(lengths)])
    edges = bar_beats[np.cumsum([0, *(n for n in sections if n)])]
    beats = np.arange(len(positions)) * 60 / bpm + 0.3
    sections_found = tuple(
        Section(
            start_beat=int(a),
            n_beats=int(b - a),
            letter="ABCD"[i % 4],
            strength=float(rng.uniform(0.5, 1)),
        )
        for i, (a, b) in enumerate(itertools.pairwise(edges))
    )
    return BarMap(
        beat_times_s=beats,
        positions=positions,
        meter=meter,
        tempo_bpm=bpm,
        end_s=beats[-1] + 60 / bpm,
        duration_s=beats[-1] + 3,
        sections=sections_found,
        phrases=group_phrases(positions, meter, sections_found),
        confidence=Confidence(downbeat=float(rng.beta(8, 2)), phrase=float(rng.beta(6, 2))),
    )


def fill(place: Path, n_songs: int, n_distinct: int) -> None:
    """Put songs into a store, as listening would have."""
    import dataclasses

    sys.path.insert(0, str(Path(__file__).parents[1]))
    from fit_songs import with_outlook
    from kept_songs import analysis_of
    from phrasefit import pipeline
    from phrasefit.ranking.summary import summary_of
    from phrasefit.store import Store
    from phrasefit.store.salvage import analysis_checksum

    rng, version = np.random.default_rng(20261125), pipeline.analysis_version()
    drawn = []
    for i in range(min(n_distinct, n_songs)):
        analysis = analysis_of(with_outlook(draw_song(rng), rng), Path(f"{i}.mp3"))
        text = zlib.compress(pipeline.document_of(analysis).encode())
        drawn.append((summary_of(analysis.bar_map, key=str(i), version=version), text))
    summaries, rows = [], []
    for i in range(n_songs):
        summary, text = drawn[i % len(drawn)]
        faster = 1 if i < len(drawn) else rng.uniform(0.98, 1.02)
        summary = dataclasses.replace(
            summary,
            content_hash=f"{i:064x}",
            title=f"Song {i}",
            artist=f"Player {i % 997}",
            tempo_bpm=summary.tempo_bpm * faster,
            counts_per_minute=summary.counts_per_minute * faster,
        )
        summaries.append(summary)
        checksum = analysis_checksum(summary.content_hash, version, text)
        rows.append((summary.content_hash, version, text, float(i), checksum))
    with Store(place) as store:
        query = "INSERT INTO analysis VALUES (?, ?, ?, ?, ?)"
        store._change(lambda: store._db.executemany(query, rows))
        store.put_summaries(summaries)


def measure(folder: Path, routine: Path) -> dict[str, float]:
    """Rank in a fresh process, the whole command; give seconds and megabytes."""
    command = [
        sys.executable, "-m", "phrasefit", "rank", "--known", str(routine), "--json", "-",
    ]  # fmt: skip
    begin = time.perf_counter()
    done = subprocess.run(
        command, env={**os.environ, "PHRASEFIT_DATA": str(folder)}, capture_output=True, check=True
    )
    wall_s = time.perf_counter() - begin
    usage = resource.getrusage(resource.RUSAGE_CHILDREN)
    (ranking,) = json.loads(done.stdout)["rankings"]
    return {
        "wall_s": wall_s,
        "cpu_s": usage.ru_utime + usage.ru_stime,
        "mb": usage.ru_maxrss / 1024,
        "n_songs": ranking["n_songs"],
        "n_planned": ranking["n_planned"],
    }


def main(arguments: list[str] | None = None) -> int:
    """Fill, rank, print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--songs", type=int, default=100_000)
    parser.add_argument("--distinct", type=int, default=5_000)
    parser.add_argument("--folder", type=Path)
    parser.add_argument("--routine", type=Path)
    args = parser.parse_args(arguments)
    root = Path(__file__).parents[2]
    routine = args.routine or root / "phrasefit/routines/borrowed-teaspoons.toml"
    with tempfile.TemporaryDirectory() as scratch:
        folder = args.folder or Path(scratch)
        folder.mkdir(parents=True, exist_ok=True)
        place = folder / "phrasefit.sqlite3"
        if not place.exists():
            fill(place, args.songs, args.distinct)
        found = measure(folder, routine)
    print(
        f"{found['n_songs']:.0f} songs, {found['n_planned']:.0f} planned exactly:"
        f" {found['wall_s']:.1f} s (processor {found['cpu_s']:.1f} s), {found['mb']:.0f} MB;"
        f" aim {AIM_S:.0f} s and {AIM_MB:.0f} MB; load {os.getloadavg()[0]:.1f}"
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
