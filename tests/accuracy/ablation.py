"""What each family of training variety buys: the same short training without it.

``voices``, ``coding``, ``noise`` and ``rooms`` are ingredients: the songs are rendered
again, from the same seeds, without them.  Families such as ``swing`` or ``drumless`` are
left out whole and made up for by songs of the others.  All runs see the same hours for the
same number of batches; mir_eval judges all on the same songs set aside.  Every variant is
trained from several seeds, for a difference smaller than that between seeds says nothing.

::

    python tests/accuracy/ablation.py SONGS --out TABLE.json --batches 2500 --device cuda
"""

from __future__ import annotations

import argparse
import json
import logging
import multiprocessing
import os
import sys
from concurrent.futures import ProcessPoolExecutor, as_completed
from pathlib import Path

import numpy as np

from phrasefit.training.rendered import HELD_OUT_MARK, SONG_HOURS, RenderJob, start_rendering
from phrasefit.training.songs import FAMILIES
from phrasefit.training.train import TrainingPlan, train

EVERYTHING = "everything"
SCORES = ("beat_f", "downbeat_f")
DEFAULT_VARIANTS = "voices,coding,swing,drumless,folk"


def render_all(names: list[str], options: argparse.Namespace) -> dict[str, Path]:
    """Render the songs to learn from, again for each ingredient that is left out."""
    folders, processes = {}, []
    for name in names:
        if name in FAMILIES or name == EVERYTHING:
            folders[name] = options.songs / "songs"
            continue
        job = RenderJob(
            folder=options.songs / f"without-{name}",
            n_songs=int(1.1 * options.hours / SONG_HOURS),
            seed=1_000_000 * options.seed,
            without=frozenset({name}),
        )
        processes += start_rendering(job, n_processes=options.renderers)
        folders[name] = job.folder
    for process in processes:
        process.join()
    return folders


def run_variant(name: str, seed: int, folder: Path, options: argparse.Namespace) -> dict:
    """Train once without `name` and judge the result."""
    plan = TrainingPlan(
        batches=options.batches,
        songs_folder=folder,
        validation_folder=options.songs / "validation",
        out=options.out.with_name(f"{options.out.stem}-{name}-{seed}.npz"),
        device=options.device,
        seed=seed,
        batch=options.batch,
        capacity_hours=options.hours,
        check_every_s=np.inf,
        compiled=False,  # runs are too short to win back the compiling
        without=frozenset({name}) if name in FAMILIES else frozenset(),
    )
    train(plan)
    story = json.loads(plan.out.with_suffix(".json").read_text(encoding="utf-8"))
    return {
        "without": name,
        "seed": seed,
        "hours": round(story["hours"], 1),
        "checks": story["log"][-1]["checks"],
    }


def summary(rows: list[dict]) -> list[dict[str, object]]:
    """Mean F-measures of each variant less those of everything, seed by seed.

    ``known`` and ``held_out`` are all songs of either kind, ``own`` those of the family that
    was left out; each with the standard error of the mean over seeds.
    """
    scores = {(row["without"], row["seed"]): row["checks"] for row in rows}
    table = []
    for name in dict.fromkeys(row["without"] for row in rows):
        seeds = [s for n, s in scores if n == name and (EVERYTHING, s) in scores]
        entry: dict[str, object] = {"without": name, "seeds": len(seeds)}
        for kind in ("known", "held_out", "own"):
            pairs = [
                (_mean(scores[name, s], kind, name), _mean(scores[EVERYTHING, s], kind, name))
                for s in seeds
            ]
            if pairs and pairs[0][0] is not None:
                entry[kind] = _difference(np.array(pairs))
        table.append(entry)
    return table


def _mean(checks: list[dict], kind: str, name: str) -> list[float] | None:
    """Mean beat and downbeat F over the songs of one kind; None where there are none."""
    held_out = [row["family"].endswith(HELD_OUT_MARK) for row in checks]
    chosen = {
        "known": [row for row, held in zip(checks, held_out, strict=True) if not held],
        "held_out": [row for row, held in zip(checks, held_out, strict=True) if held],
        "own": [row for row in checks if row["family"].removesuffix(HELD_OUT_MARK) == name],
    }[kind]
    if not chosen:
        return None
    n_songs = [row["n_songs"] for row in chosen]
    return [float(np.average([r[key] for r in chosen], weights=n_songs)) for key in SCORES]


def _difference(pairs: np.ndarray) -> dict[str, object]:
    """With and without [shape=(n_seeds, 2, n_scores)]: mean, mean change, its standard error."""
    change = pairs[:, 0] - pairs[:, 1]
    n_seeds = len(change)
    error = change.std(axis=0, ddof=1) / np.sqrt(n_seeds) if n_seeds > 1 else np.full(2, np.nan)
    named = {"without": pairs[:, 0].mean(axis=0), "change": change.mean(axis=0), "error": error}
    return {
        key: {score: round(float(v), 4) for score, v in zip(SCORES, values, strict=True)}
        for key, values in named.items()
    }


def main() -> None:
    """Run all variants, seed by seed; the table is rewritten after each run."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("songs", type=Path, help="songs folder of python -m phrasefit.training")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--variants", default=DEFAULT_VARIANTS)
    parser.add_argument("--seeds", type=int, default=3, help="runs of each variant")
    parser.add_argument("--batches", type=int, default=2500)
    parser.add_argument("--hours", type=float, default=12.0)
    parser.add_argument("--device", default="cpu")
    parser.add_argument("--batch", type=int, default=64)
    parser.add_argument("--seed", type=int, default=0, help="as the songs were made with")
    parser.add_argument("--jobs", type=int, default=1, help="runs at a time on the device")
    parser.add_argument("--renderers", type=int, default=max(1, (os.cpu_count() or 2) // 2))
    options = parser.parse_args()
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(message)s", stream=sys.stdout)
    folders = render_all([EVERYTHING, *options.variants.split(",")], options)
    rows: list[dict] = []
    with ProcessPoolExecutor(options.jobs, multiprocessing.get_context("spawn")) as pool:
        runs = [
            pool.submit(run_variant, name, seed, folder, options)
            for seed in range(options.seeds)
            for name, folder in folders.items()
        ]
        for run in as_completed(runs):
            rows.append(run.result())
            story = {"summary": summary(rows), "rows": rows}
            options.out.write_text(json.dumps(story, indent=1), encoding="utf-8")
            print(json.dumps(story["summary"]), flush=True)


if __name__ == "__main__":
    main()
