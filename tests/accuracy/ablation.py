"""What each family of training variety buys: the same short training without it.

Each run learns from the same songs folder for the same minutes, once with everything
and once without the songs that bear a tag (voices, coding, swing, drumless ...); all are
judged by mir_eval on the same songs set aside.  A run without a tag also sees fewer
songs: its hours stand in the table.

::

    python tests/accuracy/ablation.py SONGS --out TABLE.json --minutes 3 --device cuda
"""

from __future__ import annotations

import argparse
import json
import logging
import sys
from dataclasses import asdict
from pathlib import Path

import numpy as np

from phrasefit.meter.learned import LearnedModel
from phrasefit.training.shelf import load_song
from phrasefit.training.train import CheckRow, TrainingPlan, check_songs, train

EVERYTHING = "everything"


def run_variant(name: str, options: argparse.Namespace) -> dict[str, object]:
    """Train once without the songs tagged `name` and judge the result by family."""
    out = options.out.with_name(f"{options.out.stem}-{name}.npz")
    plan = TrainingPlan(
        minutes=options.minutes,
        songs_folder=options.songs / "songs",
        validation_folder=options.songs / "validation",
        out=out,
        device=options.device,
        seed=options.seed,
        batch=options.batch,
        check_every_s=np.inf,
        without_tags=frozenset() if name == EVERYTHING else frozenset({name}),
    )
    train(plan)
    story = json.loads(out.with_suffix(".json").read_text(encoding="utf-8"))
    songs = [load_song(path) for path in sorted(plan.validation_folder.glob("*.npz"))]
    with np.load(out) as archive:
        model = LearnedModel({k: archive[k].astype(np.float32) for k in archive.files})
    tagged = [song for song in songs if name in song.tags]
    rows = check_songs(model, songs)
    return {
        "without": name,
        "hours": story["hours"],
        "all": _mean(rows),
        "tagged": _mean(check_songs(model, tagged)) if tagged else None,
        "families": [asdict(row) for row in rows],
    }


def _mean(rows: list[CheckRow]) -> dict[str, float]:
    """Mean over songs, not over families."""
    n_songs = np.array([row.n_songs for row in rows])
    return {
        "beat_f": float(np.average([row.beat_f for row in rows], weights=n_songs)),
        "downbeat_f": float(np.average([row.downbeat_f for row in rows], weights=n_songs)),
    }


def main() -> None:
    """Run all variants one after the other; the table is rewritten after each."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("songs", type=Path, help="songs folder of python -m phrasefit.training")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--tags", default="voice,coded,swing,drumless")
    parser.add_argument("--minutes", type=float, default=3.0)
    parser.add_argument("--device", default="cpu")
    parser.add_argument("--batch", type=int, default=64)
    parser.add_argument("--seed", type=int, default=0)
    options = parser.parse_args()
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(message)s", stream=sys.stdout)
    table: list[dict[str, object]] = []
    for name in (EVERYTHING, *options.tags.split(",")):
        table.append(run_variant(name, options))
        options.out.write_text(json.dumps(table, indent=1), encoding="utf-8")
        print(json.dumps({k: v for k, v in table[-1].items() if k != "families"}))


if __name__ == "__main__":
    main()
