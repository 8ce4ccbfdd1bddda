"""``python -m phrasefit.training.calibrate NETWORK OUT``: what stands behind the network.

A trained network only hears.  Three things are fitted here on songs it has never seen and
stored beside it in the same file, under ``fusion.*`` and ``decoder.*``:

* how its log odds and those of the hand-made model are weighed against each other;
* the song-wide judgments (level, ones, meter) on what comes out of that;
* how sure each of those judgments may be called.

How often the called sureness holds is counted by `phrasefit.training.reliability`.
"""

from __future__ import annotations

import argparse
import logging
import os
import sys
import tempfile
from pathlib import Path

import numpy as np

from phrasefit.meter.handmade import HandmadeModel
from phrasefit.meter.learned import DECODER_PREFIX, HEAD_NAMES, LearnedModel
from phrasefit.meter.observe import log_odds
from phrasefit.meter.statespace import USUAL_BPM
from phrasefit.training import judgments
from phrasefit.training.judgments import Collected, Verdict, fit_logistic, judge_song
from phrasefit.training.known_songs import Arrays, KnownSong, SongSource, for_songs
from phrasefit.training.reliability import report

# Of the network's odds of a one beside chords and accents: most ones right, over whole songs, on
# tracker modules and openttd-openmsx (91 songs by others), and on 60 made songs of held-out
# material (a quarter and a half alike, the whole worse).
OWN_SHARE = 0.25

# Released songs are less often slow than made ones, and a song's level is judged by tempo too.
# Mean and spread of log tempo in the 912 released songs of the Harmonix Set (O. Nieto et al.,
# "The Harmonix Set: beats, downbeats, and functional segment annotations of western popular
# music", 2019).
RELEASED_BPM, RELEASED_SPREAD = 112.5, 0.228
# Made songs, on which sureness is fitted, are easier than songs by others: by what the log odds
# of each sureness are multiplied for that, and what is added, by `tests/accuracy/temper.py` on 68
# songs by others and, for the beats, on 585 clips of 10 to 90 s and 85 songs by others.
OTHERS_TEMPER = {"sure_of_beats": (0.4, 0.53), "sure_of_one": (1.0, -0.87)}

logger = logging.getLogger(__name__)


def calibrate(arrays: Arrays, source: SongSource, *, checkpoint: Path | None = None) -> Arrays:
    """Fit everything that stands behind the network.

    Weights go to `checkpoint` after every fit: a run that is cut off keeps what it has.

    Returns
    -------
    dict of str to np.ndarray
        `arrays` with ``fusion.*`` and ``decoder.*`` replaced.
    """
    from phrasefit.training.export import save_weights  # the fitting processes need no torch

    network = {k: v for k, v in arrays.items() if not k.startswith((DECODER_PREFIX, "fusion."))}
    fitted = dict(network)
    steps = (
        (collect_frames, fit_fusion),
        (collect_song, fit_judgments),
        (judge_song, fit_sureness),
    )
    for (collect, fit), seeds in zip(steps, source.steps, strict=False):
        found = for_songs(collect, fitted, source, seeds)
        logger.info("%s: %d songs", fit.__name__, len(found))
        fitted |= fit(found)
        if checkpoint:
            save_weights(fitted, checkpoint, force=True)
    return fitted


def collect_frames(model: LearnedModel, song: KnownSong) -> tuple[np.ndarray, np.ndarray]:
    """Log odds of both models at some frames [shape=(n, 2, 2)], and labels [shape=(n, 2)].

    Frames beside a beat belong to neither side and are left out.
    """
    both = (LearnedModel(_bare(model.weights)), HandmadeModel())
    seen = [model_.observe(song.features) for model_ in both]
    odds = np.stack([[log_odds(a.beat), log_odds(a.downbeat)] for a in seen])
    label = np.zeros((odds.shape[2], 2), dtype=bool)
    frames = np.rint(song.beats_s / song.features.hop_s).astype(int)
    frames = np.clip(frames, 0, len(label) - 1)
    label[frames, 0] = True
    label[frames[song.positions == 1], 1] = True
    beside = np.zeros(len(label), dtype=bool)
    for step in (-2, -1, 1, 2):
        beside[np.clip(frames + step, 0, len(label) - 1)] = True
    keep = label[:, 0] | ~beside
    keep[: frames[0]] = keep[frames[-1] + 1 :] = False
    return odds.transpose(2, 1, 0)[keep], label[keep]


def fit_fusion(found: list[tuple[np.ndarray, np.ndarray]]) -> Arrays:
    """Weights of the learned and the hand-made log odds, and a constant, for each head."""
    odds, labels = (np.concatenate(part) for part in zip(*found, strict=True))
    return {
        f"fusion.{name}": fit_logistic(odds[:, head], labels[:, head].astype(float), ridge=10.0)
        for head, name in enumerate(HEAD_NAMES[:2])
    }


def collect_song(model: LearnedModel, song: KnownSong) -> Collected | None:
    """What the song-wide models learn from one song."""
    return next(iter(judgments.collect([song], model.observe)), None)


def fit_judgments(found: list[Collected]) -> Arrays:
    """Fit level, ones and meter on what this model observes."""
    fitted = judgments.fit_songs(found, own_share=OWN_SHARE, deaf_too=True)
    prior = tempo_prior(np.array([song.tempo_bpm for song in found]))
    return _prefixed(fitted | {"tempo_prior": prior})


def tempo_prior(made_bpm: np.ndarray) -> np.ndarray:
    """Log odds of a tempo in released songs against made ones, both taken as log-normal.

    Returns
    -------
    np.ndarray [shape=(2,)]
        Factors of the log of the tempo over `USUAL_BPM`, and of its square.
    """
    log_made = np.log(made_bpm / USUAL_BPM)
    mean = np.array([np.log(RELEASED_BPM / USUAL_BPM), log_made.mean()])
    precision = 1 / np.array([RELEASED_SPREAD, log_made.std()]) ** 2
    linear, square = mean * precision, -precision / 2
    return np.array([linear[0] - linear[1], square[0] - square[1]])


def fit_sureness(found: list[Verdict]) -> Arrays:
    """Fit how sure each judgment may be called."""
    return _prefixed(judgments.fit_sureness(found))


def temper(arrays: Arrays) -> Arrays:
    """Make sureness fit songs by others, as the last step: made songs would now differ."""
    tempered = dict(arrays)
    for name, (factor, shift) in OTHERS_TEMPER.items():
        key = DECODER_PREFIX + name
        tempered[key] = factor * arrays[key] + np.append(np.zeros(len(arrays[key]) - 1), shift)
    return tempered


def _prefixed(fitted: Arrays) -> Arrays:
    return {DECODER_PREFIX + name: values for name, values in fitted.items()}


def _bare(arrays: Arrays) -> Arrays:
    return {key: value for key, value in arrays.items() if not key.startswith("fusion.")}


def main() -> int:
    """Fit, measure on other songs, write the weights and what was measured."""
    parser = argparse.ArgumentParser(prog="python -m phrasefit.training.calibrate")
    parser.add_argument("network", type=Path, help="weights of a training run (.npz)")
    parser.add_argument("out", type=Path, help="weights to write (.npz)")
    parser.add_argument(
        "--songs", type=int, default=300, help="songs of each of the two large fits"
    )
    parser.add_argument("--folder", type=Path, help="folder to keep made songs in")
    parser.add_argument("--processes", type=int, default=max(1, os.cpu_count() or 1))
    parser.add_argument("--diagram", type=Path, help="reliability diagram to draw (.png)")
    parser.add_argument("--force", action="store_true", help="replace an existing file")
    options = parser.parse_args()
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(message)s", stream=sys.stdout)
    from phrasefit.training.export import save_weights

    with np.load(options.network, allow_pickle=False) as stored:
        arrays = {key: stored[key].astype(np.float32) for key in stored.files}

    source = SongSource(
        folder=options.folder or Path(tempfile.mkdtemp(prefix="phrasefit-songs-")),
        n_processes=options.processes,
        n_songs=options.songs,
    )
    arrays = calibrate(arrays, source)
    save_weights(temper(arrays), options.out, force=options.force)
    report(arrays, source, options.diagram)
    return 0


if __name__ == "__main__":
    sys.exit(main())
