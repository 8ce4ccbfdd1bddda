"""``python -m phrasefit.training``: from nothing to the shipped file, in one command.

Songs are rendered by all processors but one while the network learns from what is
there already.  Held-out soundfonts, scores and styles are never trained on.
"""

from __future__ import annotations

import argparse
import logging
import os
import sys
import tempfile
from multiprocessing.process import BaseProcess as Process
from pathlib import Path

from phrasefit.errors import PhrasefitError
from phrasefit.training.rendered import (
    PACK_SONGS,
    SONG_HOURS,
    VALIDATION_SEED,
    RenderJob,
    start_rendering,
)
from phrasefit.training.songs import FAMILIES

SONGS_A_FAMILY = 7  # songs of each family set aside, and as many of held-out material


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
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--device", default="", help="cpu, cuda, cuda:1 ...; default: the best")
    parser.add_argument("--songs", type=Path, help="folder to keep rendered songs in")
    parser.add_argument("--renderers", type=int, default=max(1, (os.cpu_count() or 2) - 1))
    parser.add_argument("--first-packs", type=int, default=32, help="files of songs to wait for")
    parser.add_argument("--calibration-songs", type=int, default=300)
    parser.add_argument("--batch", type=int, default=128)
    parser.add_argument("--rate", type=float, default=3e-3, help="highest learning rate")
    parser.add_argument("--start-from", type=Path, help="weights of an earlier run to go on from")
    return parser


def _run(options: argparse.Namespace) -> Path:
    import torch

    from phrasefit.training.calibrate import calibrate, temper
    from phrasefit.training.export import read_weights, save_weights
    from phrasefit.training.known_songs import SongSource, start_making
    from phrasefit.training.reliability import report
    from phrasefit.training.train import TrainingPlan, train

    folder = options.songs or Path(tempfile.mkdtemp(prefix="phrasefit-songs-"))
    songs = RenderJob(
        folder=folder / "songs",
        n_songs=int(options.hours / SONG_HOURS),
        seed=options.seed * 1_000_000,
        families=tuple(filter(None, options.families.split(","))),
    )
    checks = _render_validation(folder / "validation", options.renderers)
    known_songs = SongSource(
        folder=folder / "known-songs",
        n_processes=options.renderers,
        n_songs=options.calibration_songs,
    )
    renderers = start_rendering(songs, n_processes=options.renderers)
    renderers += start_making(known_songs, n_processes=max(1, options.renderers // 4))
    plan = TrainingPlan(
        minutes=options.minutes,
        songs_folder=songs.folder,
        validation_folder=folder / "validation",
        out=options.out,
        device=options.device or ("cuda" if torch.cuda.is_available() else "cpu"),
        seed=options.seed,
        first_packs=options.first_packs,
        batch=options.batch,
        learning_rate=options.rate,
        start_from=options.start_from,
    )
    out = train(plan)
    for process in checks + renderers:
        process.terminate()
    arrays = calibrate(read_weights(out), known_songs, checkpoint=out)
    save_weights(temper(arrays), out, force=True)
    report(arrays, known_songs, out.with_suffix(".png"))
    return out


def _render_validation(folder: Path, n_processes: int) -> list[Process]:
    """Render the songs set aside: every family, from trained-on and held-out material."""
    families = tuple(FAMILIES)
    n_songs = SONGS_A_FAMILY * len(families)
    processes: list[Process] = []
    for held_out in (False, True):
        job = RenderJob(
            folder=folder,
            n_songs=n_songs,
            seed=VALIDATION_SEED,
            families=families,
            held_out=held_out,
        )
        processes += start_rendering(job, n_processes=min(n_processes, -(-n_songs // PACK_SONGS)))
    return processes


if __name__ == "__main__":
    raise SystemExit(main())
