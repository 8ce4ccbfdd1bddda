"""``python -m phrasefit.training``: from nothing to the shipped file, in one command.

Songs are rendered by all processors but one while the network learns from what is
there already.  The families in `HELD_OUT_FAMILIES` are never trained on.

May import: training, errors.
"""

from __future__ import annotations

import argparse
import logging
import os
import sys
import tempfile
from pathlib import Path

from phrasefit.errors import PhrasefitError

VALIDATION_SONGS = 96  # spread evenly over all families, held-out ones included


def main() -> int:
    """Parse the options, start the renderers, train, say where the weights are."""
    options = _parser().parse_args()
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(message)s", stream=sys.stdout)
    try:
        out = _run(options)
    except PhrasefitError as exc:
        print(f"phrasefit.training: {exc}", file=sys.stderr)
        return 2
    print(f"weights written to {out}")
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m phrasefit.training", description=__doc__)
    parser.add_argument("--out", type=Path, required=True, help="weights to write (.npz)")
    parser.add_argument("--hours", type=float, default=150.0, help="music to render [hours]")
    parser.add_argument("--minutes", type=float, default=18.0, help="training time [minutes]")
    parser.add_argument("--families", default="", help="only these song families, with commas")
    parser.add_argument("--without", default="", help="leave out songs with these tags or families")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--device", default="", help="cpu, cuda, cuda:1 ...; default: the best")
    parser.add_argument("--songs", type=Path, help="folder to keep rendered songs in")
    parser.add_argument("--renderers", type=int, default=max(1, (os.cpu_count() or 2) - 1))
    parser.add_argument("--first-songs", type=int, default=200, help="songs to wait for")
    parser.add_argument("--song-seconds", type=float, default=90.0)
    parser.add_argument("--batch", type=int, default=64)
    return parser


def _run(options: argparse.Namespace) -> Path:
    import torch

    from phrasefit.training.shelf import (
        VALIDATION_SEED,
        RenderJob,
        start_rendering,
        wait_for_songs,
    )
    from phrasefit.training.songs import FAMILIES, HELD_OUT_FAMILIES
    from phrasefit.training.train import TrainingPlan, train

    folder = options.songs or Path(tempfile.mkdtemp(prefix="phrasefit-songs-"))
    device = options.device or ("cuda" if torch.cuda.is_available() else "cpu")
    chosen = tuple(filter(None, options.families.split(",")))
    families = chosen or tuple(name for name in FAMILIES if name not in HELD_OUT_FAMILIES)
    checks = RenderJob(
        folder=folder / "validation",
        families=tuple(FAMILIES),
        seed=VALIDATION_SEED,
        hours=VALIDATION_SONGS * options.song_seconds / 3600,
        duration_s=options.song_seconds,
    )
    songs = RenderJob(
        folder=folder / "songs",
        families=families,
        seed=options.seed * 1_000_000,
        hours=options.hours,
        duration_s=options.song_seconds,
    )
    for process in start_rendering(checks, n_processes=options.renderers):
        process.join()
    renderers = start_rendering(songs, n_processes=options.renderers)
    wait_for_songs(songs.folder, options.first_songs)
    plan = TrainingPlan(
        minutes=options.minutes,
        songs_folder=songs.folder,
        validation_folder=checks.folder,
        out=options.out,
        device=device,
        seed=options.seed,
        batch=options.batch,
        without_tags=frozenset(filter(None, options.without.split(","))),
    )
    out = train(plan)
    for process in renderers:
        process.terminate()
    return out


if __name__ == "__main__":
    raise SystemExit(main())
