"""``python -m phrasefit.training.calibrate NETWORK OUT``: what stands behind the network.

A trained network only hears.  Three things are fitted here on songs it has never seen and
stored beside it in the same file, under ``fusion.*`` and ``decoder.*``:

* how its log odds and those of the hand-made model are weighed against each other;
* the song-wide judgements (level, ones, meter) on what comes out of that;
* how sure each of those judgements may be called.

How often the called sureness holds is counted by `phrasefit.training.reliability`.

May import: audio, meter, files, training.{handmade, shelf}.
"""

from __future__ import annotations

import argparse
import logging
import multiprocessing
import os
import sys
import tempfile
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import TypeVar

import numpy as np

from phrasefit.audio import HOP_S
from phrasefit.files import write_atomic
from phrasefit.meter import bars, beatwise, confidence, levels
from phrasefit.meter.handmade import HandmadeModel
from phrasefit.meter.learned import DECODER_PREFIX, HEAD_NAMES, LearnedModel
from phrasefit.meter.observe import ObservationModel, log_odds
from phrasefit.meter.statespace import METERS
from phrasefit.model import Features
from phrasefit.training import handmade
from phrasefit.training.export import save_weights
from phrasefit.training.handmade import Collected, Lesson, beat_f_measure, fit_logistic
from phrasefit.training.shelf import npz_bytes, one_thread_each

FIRST_SEED = 800_000_000  # far from the seeds of training and of the checks
SHORTEST_S, LONGEST_S = 15.0, 75.0  # excerpts to whole short songs
RIGHT_F = 0.8  # F-measure from which a reading is right, as in `handmade`
FEATURE_NAMES = ("log_mel", "onset_envelope", "chroma", "loudness_db")

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


# ------------------------------------------------------------------ fitting


@dataclass(frozen=True, slots=True, kw_only=True)
class SongSource:
    """Where the songs of the fits come from: made by many processes, kept in a folder."""

    folder: Path
    n_processes: int
    n_songs: int = 300
    seed: int = FIRST_SEED

    @property
    def steps(self) -> tuple[range, range, range, range]:
        """Seeds for fusion, judgements, sureness and measuring."""
        sizes = (self.n_songs // 5, self.n_songs, self.n_songs, self.n_songs // 2)
        ends = self.seed + np.cumsum(sizes)
        return tuple(range(int(e) - n, int(e)) for e, n in zip(ends, sizes, strict=True))


def calibrate(arrays: Arrays, source: SongSource, *, checkpoint: Path | None = None) -> Arrays:
    """Fit everything that stands behind the network.

    Weights go to `checkpoint` after every fit: a run that is cut off keeps what it has.

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
    for (collect, fit), seeds in zip(steps, source.steps, strict=False):
        found = for_songs(collect, fitted, source, seeds)
        logger.info("%s: %d songs", fit.__name__, len(found))
        fitted |= fit(found)
        if checkpoint:
            save_weights(fitted, checkpoint, force=True)
    return fitted


def for_songs(
    work: Callable[[LearnedModel, Lesson], Result],
    arrays: Arrays,
    source: SongSource,
    seeds: Iterable[int],
    *,
    held_out: bool = False,
) -> list[Result]:
    """Do `work` on the song of each seed, in parallel; None is dropped."""
    one_thread_each()
    with ProcessPoolExecutor(
        source.n_processes,
        mp_context=multiprocessing.get_context("spawn"),
        initializer=_prepare,
        initargs=(arrays, work, source.folder, held_out),
    ) as pool:
        return [result for result in pool.map(_work_on, seeds) if result is not None]


_shared: dict[str, object] = {}  # what every song of a process needs


def _prepare(arrays: Arrays, work: Callable, folder: Path, held_out: bool) -> None:
    _shared.update(model=LearnedModel(arrays), work=work, folder=folder, held_out=held_out)


def _work_on(seed: int) -> object:
    """Do the work on an excerpt of one song; songs that cannot be used give None."""
    try:
        lesson = make_lesson(_shared["folder"], seed, held_out=_shared["held_out"])
    except Exception:  # one song that cannot be made must not end the fit
        logger.exception("song %d was not made", seed)
        return None
    if lesson is None:
        return None
    cut = cut_lesson(lesson, np.random.default_rng(seed))
    return _shared["work"](_shared["model"], cut) if len(cut.beats_s) >= levels.MIN_BEATS else None


def start_making(source: SongSource, *, n_processes: int) -> list[BaseProcess]:
    """Start processes that fill `source.folder` with all songs the fits will ask for."""
    wanted = [(seed, False) for seeds in source.steps for seed in seeds]
    wanted += [(seed, True) for seed in source.steps[-1]]
    one_thread_each()
    context = multiprocessing.get_context("spawn")
    processes = [
        context.Process(
            target=_make_share, args=(source.folder, wanted[share::n_processes]), daemon=True
        )
        for share in range(n_processes)
    ]
    for process in processes:
        process.start()
    return processes


def _make_share(folder: Path, wanted: list[tuple[int, bool]]) -> None:
    os.nice(15)
    for seed, held_out in wanted:
        try:
            make_lesson(folder, seed, held_out=held_out)
        except Exception:  # one song that cannot be made must not end the run
            logger.exception("song %d was not made", seed)


def make_lesson(folder: Path, seed: int, *, held_out: bool) -> Lesson | None:
    """Read a song's features and truth from `folder`, or make and keep them there.

    None for songs in meters that the decoder does not know.
    """
    path = folder / f"{'held-out-' if held_out else ''}{seed}.npz"
    if not path.exists():
        folder.mkdir(parents=True, exist_ok=True)
        lessons = list(handmade.make_lessons(1, seed, held_out=held_out))
        arrays = lesson_arrays(lessons[0]) if lessons else {}
        write_atomic(path, npz_bytes(arrays), force=True)
    with np.load(path, allow_pickle=False) as stored:
        if not stored.files:
            return None
        return Lesson(
            features=Features(hop_s=HOP_S, **{name: stored[name] for name in FEATURE_NAMES}),
            beats_s=stored["beats_s"],
            positions=stored["positions"],
            meter=int(stored["meter"]),
        )


def lesson_arrays(lesson: Lesson) -> Arrays:
    """A song's features and truth as named arrays."""
    arrays = {name: getattr(lesson.features, name) for name in FEATURE_NAMES}
    return arrays | {
        "beats_s": lesson.beats_s,
        "positions": lesson.positions,
        "meter": np.array(lesson.meter),
    }


def cut_lesson(lesson: Lesson, rng: np.random.Generator) -> Lesson:
    """Cut a random excerpt of `SHORTEST_S` to `LONGEST_S` seconds."""
    hop_s, n_frames = lesson.features.hop_s, len(lesson.features.log_mel)
    length = min(int(rng.uniform(SHORTEST_S, LONGEST_S) / hop_s), n_frames)
    first = int(rng.integers(0, n_frames - length + 1))
    rows = {name: getattr(lesson.features, name)[first : first + length] for name in FEATURE_NAMES}
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


def collect_song(model: LearnedModel, lesson: Lesson) -> Collected | None:
    """What the song-wide models learn from one song."""
    return next(iter(handmade.collect([lesson], model.observe)), None)


def fit_judgements(found: list[Collected]) -> Arrays:
    """Fit level, ones and meter on what this model observes."""
    return _prefixed(handmade.fit_songs(found))


def judge_song(model: ObservationModel, lesson: Lesson) -> Verdict | None:
    """Track one song and compare each judgement with the truth.

    None without a pulse, and in meters that the bar pointer reads as others.
    """
    if lesson.meter not in METERS:
        return None
    activations, weights = model.observe(lesson.features), model.decoder_weights()
    surface = beatwise.prepare_surface(lesson.features, activations)
    readings = levels.find_readings(surface, weights)
    if not readings:
        return None
    found = bars.place_bars(surface, readings[0].chains, weights)
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
    with np.load(options.network, allow_pickle=False) as stored:
        arrays = {key: stored[key].astype(np.float32) for key in stored.files}
    from phrasefit.training.reliability import report

    source = SongSource(
        folder=options.folder or Path(tempfile.mkdtemp(prefix="phrasefit-lessons-")),
        n_processes=options.processes,
        n_songs=options.songs,
    )
    arrays = calibrate(arrays, source)
    save_weights(arrays, options.out, force=options.force)
    report(arrays, source, options.diagram)
    return 0


if __name__ == "__main__":
    sys.exit(main())
