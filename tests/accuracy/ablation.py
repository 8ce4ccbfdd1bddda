"""What each family of training variety buys: the same short training without it.

``voices``, ``coding``, ``noise`` and ``rooms`` are ingredients: the songs are rendered
again, from the same seeds, without them.  Families such as ``swing`` or ``drumless`` are
left out whole and made up for by songs of the others.  All runs see the same hours for the
same minutes; mir_eval judges all on the same songs set aside.

::

    python tests/accuracy/ablation.py SONGS --out TABLE.json --minutes 2 --device cuda
"""

from __future__ import annotations

import argparse
import json
import logging
import os
import sys
from pathlib import Path

import numpy as np

from phrasefit.training.shelf import HELD_OUT_MARK, SONG_HOURS, RenderJob, start_rendering
from phrasefit.training.songs import FAMILIES
from phrasefit.training.train import TrainingPlan, train

EVERYTHING = "everything"
SCORES = ("beat_f", "downbeat_f")
DEFAULT_VARIANTS = "voices,coding,swing,drumless,accompanied"


def render_all(names: list[str], options: argparse.Namespace) -> dict[str, Path]:
    """Render the songs to learn from, again for each ingredient that is left out."""
    folders = {}
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
        for process in start_rendering(job, n_processes=options.renderers):
            process.join()
        folders[name] = job.folder
    return folders


def run_variant(name: str, folder: Path, options: argparse.Namespace) -> dict[str, object]:
    """Train once without `name` and judge the result."""
    plan = TrainingPlan(
        minutes=options.minutes,
        songs_folder=folder,
        validation_folder=options.songs / "validation",
        out=options.out.with_name(f"{options.out.stem}-{name}.npz"),
        device=options.device,
        seed=options.seed,
        batch=options.batch,
        capacity_hours=options.hours,
        check_every_s=np.inf,
        compiled=False,  # two minutes are too short to win back the compiling
        without=frozenset({name}) if name in FAMILIES else frozenset(),
    )
    train(plan)
    story = json.loads(plan.out.with_suffix(".json").read_text(encoding="utf-8"))
    rows = story["log"][-1]["checks"]
    return {
        "without": name,
        "hours": round(story["hours"], 1),
        "known": _mean([r for r in rows if not r["family"].endswith(HELD_OUT_MARK)]),
        "held_out": _mean([r for r in rows if r["family"].endswith(HELD_OUT_MARK)]),
        "same_family": [r for r in rows if r["family"].startswith(name)],
    }


def _mean(rows: list[dict]) -> dict[str, float]:
    """Mean F-measures over songs; nothing where there are none."""
    if not rows:
        return {}
    n_songs = [row["n_songs"] for row in rows]
    means = {key: np.average([r[key] for r in rows], weights=n_songs) for key in SCORES}
    return {key: round(float(value), 4) for key, value in means.items()}


def main() -> None:
    """Run all variants one after the other; the table is rewritten after each."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("songs", type=Path, help="songs folder of python -m phrasefit.training")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--variants", default=DEFAULT_VARIANTS)
    parser.add_argument("--minutes", type=float, default=2.0)
    parser.add_argument("--hours", type=float, default=5.0)
    parser.add_argument("--device", default="cpu")
    parser.add_argument("--batch", type=int, default=64)
    parser.add_argument("--seed", type=int, default=0, help="as the songs were made with")
    parser.add_argument("--renderers", type=int, default=max(1, (os.cpu_count() or 2) - 1))
    options = parser.parse_args()
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(message)s", stream=sys.stdout)
    table: list[dict[str, object]] = []
    names = [EVERYTHING, *options.variants.split(",")]
    for name, folder in render_all(names, options).items():
        table.append(run_variant(name, folder, options))
        options.out.write_text(json.dumps(table, indent=1), encoding="utf-8")
        print(json.dumps(table[-1]))


if __name__ == "__main__":
    main()
