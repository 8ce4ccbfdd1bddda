"""``python -m phrasefit.training.calibrate NETWORK OUT``: what stands behind the network.

A trained network only hears.  Three things are fitted here on songs it has never seen and
stored beside it in the same file, under ``fusion.*`` and ``decoder.*``:

* how its log odds and those of the hand-made model are weighed against each other;
* the song-wide judgements (level, ones, meter) on what comes out of that;
* how sure each of those judgements may be called.

`measure` then counts how often the called sureness holds, on yet other songs and on
held-out material.

May import: audio, meter, files, training.{handmade, shelf}.
"""

from __future__ import annotations

import argparse
import logging
import multiprocessing
import os
import sys
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

import numpy as np

from phrasefit.errors import PhrasefitError
from phrasefit.meter import bars, beatwise, confidence, levels
from phrasefit.meter.handmade import HandmadeModel
from phrasefit.meter.learned import DECODER_PREFIX, HEAD_NAMES, LearnedModel
from phrasefit.meter.observe import beat_gain, downbeat_log_odds, log_odds
from phrasefit.model import Features
from phrasefit.training import handmade
from phrasefit.training.export import save_weights
from phrasefit.training.handmade import Collected, Lesson, beat_f_measure, fit_logistic

FIRST_SEED = 800_000_000  # far from the seeds of training and of the checks
SHORTEST_S, LONGEST_S = 15.0, 75.0  # excerpts to whole short songs
RIGHT_F = 0.8  # F-measure from which a reading is right, as in `handmade`
N_BINS = 10

Arrays = dict[str, np.ndarray]
Result = TypeVar("Result")
logger = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Verdict:
    """What was judged of one song: margins, and whether the judgement was right.

    `one_right` is None where the beats are wrong already.
    """

    beat_margins: np.ndarray
    beats_right: bool
    one_margins: np.ndarray
    one_right: bool | None
    meter_margins: np.ndarray
    meter_right: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Bin:
    """Readings called about equally sure: how sure on average, how many were right."""

    n_songs: int
    called: float
    right: float


# ------------------------------------------------------------------ fitting


def calibrate(arrays: Arrays, *, n_songs: int, n_processes: int, seed: int = FIRST_SEED) -> Arrays:
    """Fit everything that stands behind the network on `n_songs` songs a step.

    Returns
    -------
    dict of str to np.ndarray
        `arrays` with ``fusion.*`` and ``decoder.*`` replaced.
    """
    network = {k: v for k, v in arrays.items() if not k.startswith((DECODER_PREFIX, "fusion."))}
    fitted = dict(network)
    steps = (
        (collect_frames, fit_fusion),
        (collect_song, fit_judgements),
        (judge_song, fit_sureness),
    )
    for number, (collect, fit) in enumerate(steps):
        seeds = range(seed + number * n_songs, seed + (number + 1) * n_songs)
        found = for_songs(collect, fitted, seeds, n_processes=n_processes)
        logger.info("%s: %d songs", fit.__name__, len(found))
        fitted |= fit(found)
    return fitted


def for_songs(
    work: Callable[[LearnedModel, Lesson], Result],
    arrays: Arrays,
    seeds: Iterable[int],
    *,
    n_processes: int,
    held_out: bool = False,
) -> list[Result]:
    """Make the song of each seed and do `work` on it, in parallel; None is dropped."""
    with ProcessPoolExecutor(
        n_processes,
        mp_context=multiprocessing.get_context("spawn"),
        initializer=_prepare,
        initargs=(arrays, work, held_out),
    ) as pool:
        return [result for result in pool.map(_work_on, seeds) if result is not None]


_shared: dict[str, object] = {}  # what every song of a process needs


def _prepare(arrays: Arrays, work: Callable, held_out: bool) -> None:
    _shared.update(model=LearnedModel(arrays), work=work, held_out=held_out)


def _work_on(seed: int) -> object:
    """Make one song, cut it, do the work; songs that cannot be used give None."""
    rng = np.random.default_rng(seed)
    try:
        for lesson in handmade.make_lessons(1, seed, held_out=_shared["held_out"]):
            cut = cut_lesson(lesson, rng)
            if len(cut.beats_s) >= levels.MIN_BEATS:
                return _shared["work"](_shared["model"], cut)
    except PhrasefitError:
        logger.exception("song %d was not used", seed)
    return None


def cut_lesson(lesson: Lesson, rng: np.random.Generator) -> Lesson:
    """Cut a random excerpt of `SHORTEST_S` to `LONGEST_S` seconds."""
    hop_s, n_frames = lesson.features.hop_s, len(lesson.features.log_mel)
    length = min(int(rng.uniform(SHORTEST_S, LONGEST_S) / hop_s), n_frames)
    first = int(rng.integers(0, n_frames - length + 1))
    names = ("log_mel", "onset_envelope", "chroma", "loudness_db")
    rows = {name: getattr(lesson.features, name)[first : first + length] for name in names}
    beats_s = lesson.beats_s - first * hop_s
    inside = (beats_s >= 0) & (beats_s < length * hop_s)
    return Lesson(
        features=Features(hop_s=hop_s, **rows),
        beats_s=beats_s[inside],
        positions=lesson.positions[inside],
        meter=lesson.meter,
    )


def collect_frames(model: LearnedModel, lesson: Lesson) -> tuple[np.ndarray, np.ndarray]:
    """Log odds of both models at some frames [shape=(n, 2, 2)], and labels [shape=(n, 2)].

    Frames beside a beat belong to neither side and are left out.
    """
    both = (LearnedModel(_bare(model.weights)), HandmadeModel())
    seen = [model_.observe(lesson.features) for model_ in both]
    odds = np.stack([[log_odds(a.beat), log_odds(a.downbeat)] for a in seen])
    label = np.zeros((odds.shape[2], 2), dtype=bool)
    frames = np.rint(lesson.beats_s / lesson.features.hop_s).astype(int)
    frames = np.clip(frames, 0, len(label) - 1)
    label[frames, 0] = True
    label[frames[lesson.positions == 1], 1] = True
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


def collect_song(model: LearnedModel, lesson: Lesson) -> Collected:
    """What the song-wide models learn from one song."""
    return handmade.collect([lesson], model.observe)


def fit_judgements(found: list[Collected]) -> Arrays:
    """Fit level, ones and meter on what this model observes."""
    merged = Collected([], {meter: [] for meter in found[0].beats}, [])
    for part in found:
        merged.choices += part.choices
        merged.meters += part.meters
        for meter, rows in part.beats.items():
            merged.beats[meter] += rows
    return _prefixed(handmade.fit_songs(merged))


def judge_song(model: LearnedModel, lesson: Lesson) -> Verdict | None:
    """Track one song and compare each judgement with the truth; None without a pulse."""
    activations, weights = model.observe(lesson.features), model.decoder_weights()
    surface = beatwise.prepare_surface(lesson.features, beat_gain(activations))
    readings = levels.find_readings(surface, weights)
    if not readings:
        return None
    found = bars.place_bars(surface, readings[0].chains, downbeat_log_odds(activations), weights)
    meter = int(np.bincount(found.meters).argmax())
    beats_s = readings[0].beats * lesson.features.hop_s
    beats_right = beat_f_measure(lesson.beats_s, beats_s) >= RIGHT_F
    ones_s = lesson.beats_s[lesson.positions == 1]
    one_right = beat_f_measure(ones_s, beats_s[found.positions == 1]) >= RIGHT_F
    return Verdict(
        beat_margins=confidence.beat_margins(surface, readings),
        beats_right=bool(beats_right),
        one_margins=confidence.one_margins(found, meter),
        one_right=bool(one_right) if beats_right else None,
        meter_margins=confidence.meter_margins(found, meter),
        meter_right=meter == lesson.meter,
    )


def fit_sureness(found: list[Verdict]) -> Arrays:
    """Fit the three logistic models that turn margins into probabilities."""
    tables = {
        "sure_of_beats": [(v.beat_margins, v.beats_right) for v in found],
        "sure_of_one": [(v.one_margins, v.one_right) for v in found if v.one_right is not None],
        "sure_of_meter": [(v.meter_margins, v.meter_right) for v in found],
    }
    fitted = {}
    for name, pairs in tables.items():
        rows, right = (np.array(part, dtype=float) for part in zip(*pairs, strict=True))
        fitted[name] = fit_logistic(rows, right, ridge=3.0)
    return _prefixed(fitted)


def _prefixed(fitted: Arrays) -> Arrays:
    return {DECODER_PREFIX + name: values for name, values in fitted.items()}


def _bare(arrays: Arrays) -> Arrays:
    return {key: value for key, value in arrays.items() if not key.startswith("fusion.")}


# ---------------------------------------------------------------- measuring


def called_and_right(verdicts: list[Verdict], weights: Arrays) -> dict[str, np.ndarray]:
    """Sureness and rightness of beats and ones of each song [shape=(n, 2)].

    The sureness of the ones is that of the beats times that of the ones given them.
    """

    def sure(name: str, margins: np.ndarray) -> float:
        fitted = weights[name]
        return float(1 / (1 + np.exp(-(margins @ fitted[:-1] + fitted[-1]))))

    beats = [(sure("sure_of_beats", v.beat_margins), v.beats_right) for v in verdicts]
    ones = [
        (beat[0] * sure("sure_of_one", v.one_margins), bool(v.one_right))
        for beat, v in zip(beats, verdicts, strict=True)
    ]
    meters = [(sure("sure_of_meter", v.meter_margins), v.meter_right) for v in verdicts]
    named = {"beats": beats, "ones": ones, "meter": meters}
    return {name: np.array(pairs, dtype=float) for name, pairs in named.items()}


def bin_reliability(pairs: np.ndarray) -> tuple[list[Bin], float]:
    """Sort sureness into bins of equal width; expected calibration error over them.

    C. Guo et al., "On calibration of modern neural networks", 2017.
    """
    index = np.minimum((pairs[:, 0] * N_BINS).astype(int), N_BINS - 1)
    bins, error = [], 0.0
    for number in range(N_BINS):
        inside = pairs[index == number]
        if len(inside):
            called, right = inside.mean(axis=0)
            bins.append(Bin(n_songs=len(inside), called=float(called), right=float(right)))
            error += len(inside) / len(pairs) * abs(called - right)
    return bins, float(error)


def draw_reliability(tables: dict[str, np.ndarray], path: Path) -> None:
    """Draw called sureness against the share that was right, one line for each judgement."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(5, 5), layout="constrained")
    axes = figure.add_subplot(xlabel="called sure", ylabel="share that was right")
    axes.plot([0, 1], [0, 1], color="0.7", linestyle="--", label="perfect")
    for (name, pairs), marker in zip(tables.items(), "os^", strict=True):
        bins, error = bin_reliability(pairs)
        called, right = [b.called for b in bins], [b.right for b in bins]
        axes.plot(called, right, marker=marker, label=f"{name} (error {error:.3f})")
    axes.legend()
    figure.savefig(path, dpi=120)


def main() -> int:
    """Fit, measure on other songs, write the weights and what was measured."""
    parser = argparse.ArgumentParser(prog="python -m phrasefit.training.calibrate")
    parser.add_argument("network", type=Path, help="weights of a training run (.npz)")
    parser.add_argument("out", type=Path, help="weights to write (.npz)")
    parser.add_argument("--songs", type=int, default=600, help="songs for each of three steps")
    parser.add_argument("--processes", type=int, default=max(1, os.cpu_count() or 1))
    parser.add_argument("--diagram", type=Path, help="reliability diagram to draw (.png)")
    parser.add_argument("--force", action="store_true", help="replace an existing file")
    options = parser.parse_args()
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(message)s", stream=sys.stdout)
    with np.load(options.network, allow_pickle=False) as stored:
        arrays = {key: stored[key].astype(np.float32) for key in stored.files}
    arrays = calibrate(arrays, n_songs=options.songs, n_processes=options.processes)
    save_weights(arrays, options.out, force=options.force)
    report(arrays, options)
    return 0


def report(arrays: Arrays, options: argparse.Namespace) -> None:
    """Print reliability on fresh songs and on held-out material; draw the former."""
    first = FIRST_SEED + 10 * options.songs
    for held_out in (False, True):
        seeds = range(first, first + options.songs)
        verdicts = for_songs(
            judge_song, arrays, seeds, n_processes=options.processes, held_out=held_out
        )
        tables = called_and_right(verdicts, LearnedModel(arrays).decoder_weights())
        print(f"{'held-out material' if held_out else 'fresh songs'}: {len(verdicts)} songs")
        for name, pairs in tables.items():
            bins, error = bin_reliability(pairs)
            cells = ", ".join(f"{b.called:.2f}>{b.right:.2f} ({b.n_songs})" for b in bins)
            print(f"  {name}: right {pairs[:, 1].mean():.3f}, error {error:.3f}: {cells}")
        if options.diagram and not held_out:
            draw_reliability(tables, options.diagram)


if __name__ == "__main__":
    sys.exit(main())
