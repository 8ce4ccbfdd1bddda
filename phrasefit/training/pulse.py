"""``python -m phrasefit.training.pulse OUT``: fits the probability that there is a pulse.

A logistic model over `meter.pulse.pulse_margins` learns from

* made songs of every family, excerpts of 10 to 75 s (`known_songs`), loose playing among them;
* recordings with free licences, if a folder of them is given: excerpts of 10 to 60 s whose
  surroundings of 90 s the tracker reads with more sureness than `RECORDING_SURE`, so that
  music without a beat is not taught as music with one;
* sounds without a pulse (`pulseless`): speech, crowds, noise, weather, machines, free playing.

Both sides count alike, so what is called 0.5 is as often music as not where both are
met equally often.  Sounds of which no beat is decoded teach nothing: they are refused anyway.
OUT is the file of a network (.npz) or of the hand-made model (.json); only its `pulse` is
replaced.  Printed is what excerpts that taught nothing are called.
"""

from __future__ import annotations

import argparse
import logging
import multiprocessing
import sys
import zlib
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from phrasefit.audio import SAMPLE_RATE_HZ
from phrasefit.audio.features import extract_features
from phrasefit.files import write_atomic
from phrasefit.meter.beat_descriptors import prepare_evidence
from phrasefit.meter.confidence import judge_beats
from phrasefit.meter.handmade import HandmadeModel
from phrasefit.meter.learned import DECODER_PREFIX, LearnedModel
from phrasefit.meter.observe import ObservationModel
from phrasefit.meter.pointer import decode_song
from phrasefit.meter.pulse import pulse_margins
from phrasefit.meter.tempo_readings import find_readings, smooth_beats
from phrasefit.model import Audio, Features, SongInfo
from phrasefit.training.judgments import fit_logistic
from phrasefit.training.pulseless import KINDS, make_clip
from phrasefit.training.rendered import npz_bytes, one_thread_each
from phrasefit.training.source_recordings import recordings_in

SONG_SEED = 850_000_000  # far from the seeds of training, of checks and of the other fits
SHORTEST_S, LONGEST_S = 10.0, 60.0
SURROUNDINGS_S = 90.0
RECORDING_SURE = 0.5
EXCERPTS = 4  # of each recording
RIDGE = 3.0
CHECKED = 5  # every fifth excerpt teaches nothing and is used to check
MODELS: dict[str, ObservationModel] = {"learned": LearnedModel(), "handmade": HandmadeModel()}

logger = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Heard:
    """What models hear in one excerpt: `margins` by model, None where no beat was decoded."""

    kind: str
    has_pulse: bool
    seconds: float
    margins: dict[str, np.ndarray | None]


def hear_song(seed: int) -> list[Heard]:
    """Make a song of the training generator, cut an excerpt and listen."""
    from phrasefit.training.songs import make_song

    rng = np.random.default_rng([78, seed])
    length_s = float(np.exp(rng.uniform(np.log(SHORTEST_S), np.log(75))))
    song = make_song(SONG_SEED + seed, duration_s=length_s)
    return [_heard(song.family, True, song.samples)]


def hear_clip(seed: int) -> list[Heard]:
    """Make a sound without a pulse and listen."""
    return [_heard(KINDS[seed % len(KINDS)], False, make_clip(seed))]


def hear_recording(path: Path) -> list[Heard]:
    """Listen to excerpts of a recording, those whose surroundings are heard surely."""
    from phrasefit.audio.decode import decode

    samples = decode(path).samples
    rng = np.random.default_rng(zlib.crc32(path.name.encode()))
    model, found = MODELS["learned"], []
    n_around = min(len(samples), round(SURROUNDINGS_S * SAMPLE_RATE_HZ))
    for _ in range(EXCERPTS):
        first = int(rng.integers(0, len(samples) - n_around + 1))
        around = samples[first : first + n_around]
        heard = prepare_evidence(features := _features(around), model.observe(features))
        readings = find_readings(heard, model.decoder_weights())
        length_s = float(np.exp(rng.uniform(np.log(SHORTEST_S), np.log(LONGEST_S))))
        n = min(n_around, round(length_s * SAMPLE_RATE_HZ))
        first = int(rng.integers(0, n_around - n + 1))
        sure = judge_beats(heard, readings, model.decoder_weights()) if readings else 0.0
        if sure >= RECORDING_SURE:
            found.append(_heard("recording", True, around[first : first + n]))
    return found


def _features(samples: np.ndarray) -> Features:
    return extract_features(Audio(samples=samples, sample_rate_hz=SAMPLE_RATE_HZ, info=SongInfo()))


def _heard(kind: str, has_pulse: bool, samples: np.ndarray) -> Heard:
    features = _features(samples)
    return Heard(
        kind=kind,
        has_pulse=has_pulse,
        seconds=len(samples) / SAMPLE_RATE_HZ,
        margins={name: margins_of(model, features) for name, model in MODELS.items()},
    )


def margins_of(model: ObservationModel, features: Features) -> np.ndarray | None:
    """Track as far as the pulse is judged; None if no beat is decoded."""
    weights = model.decoder_weights()
    heard = prepare_evidence(features, model.observe(features))
    readings = find_readings(heard, weights)
    chains = decode_song(heard, readings[0], weights) if readings else []
    if not chains:
        return None
    return pulse_margins(heard, readings, [smooth_beats(c.steps) for c in chains], weights)


def fit_pulse(excerpts: list[Heard], model_name: str) -> np.ndarray:
    """Fit the logistic model of one observation model; both sides count alike."""
    known = [e for e in excerpts if e.margins[model_name] is not None]
    rows = np.stack([e.margins[model_name] for e in known])
    label = np.array([e.has_pulse for e in known], dtype=float)
    fitted = fit_logistic(rows, label, ridge=RIDGE)
    n_all = np.array([sum(e.has_pulse == side for e in excerpts) for side in (False, True)])
    fitted[-1] += np.log(n_all[0] / n_all[1])
    return fitted


def report(excerpts: list[Heard], model_name: str, weights: np.ndarray) -> Iterator[str]:
    """Lines that say what each kind of excerpt is called."""
    for kind in dict.fromkeys(e.kind for e in excerpts):
        found = [e.margins[model_name] for e in excerpts if e.kind == kind]
        rows = [row for row in found if row is not None]
        odds = np.array([row @ weights[:-1] + weights[-1] for row in rows])
        called = np.round(np.quantile(1 / (1 + np.exp(-odds)), [0, 0.05, 0.5, 0.95, 1]), 3)
        yield f"{kind:12s} {len(found)}, {len(found) - len(rows)} without beats; {called}"


def collect(
    n_songs: int,
    n_clips: int,
    folder: Path | None,
    n_processes: int,
    network: Path | None = None,
) -> list[Heard]:
    """Listen to everything, in parallel; with the learned model of `network` if it is given."""
    one_thread_each()
    paths = recordings_in(folder) if folder else []
    context = multiprocessing.get_context("spawn")
    found = []
    with ProcessPoolExecutor(
        n_processes, mp_context=context, initializer=_use, initargs=(network,)
    ) as pool:
        for work, items in (
            (hear_clip, range(n_clips)),
            (hear_song, range(n_songs)),
            (hear_recording, paths),
        ):
            futures = [pool.submit(work, item) for item in items]
            for item, future in zip(items, futures, strict=True):
                try:
                    found += future.result()
                except Exception:  # one file that cannot be read must not end the fit
                    logger.exception("%s was left out", item)
            logger.info("%s: %d", work.__name__, len(items))
    return found


def _use(network: Path | None) -> None:
    """Listen with other weights of the network than those shipped."""
    if network:
        with np.load(network, allow_pickle=False) as stored:
            arrays = {key: stored[key].astype(np.float32) for key in stored.files}
        MODELS["learned"] = LearnedModel(arrays)


def main() -> int:
    """Listen, fit, write, say how well it tells excerpts apart."""
    parser = argparse.ArgumentParser(prog="python -m phrasefit.training.pulse")
    parser.add_argument("out", type=Path, help="weights to put it into (.npz or .json)")
    parser.add_argument("--songs", type=int, default=600)
    parser.add_argument("--clips", type=int, default=600)
    parser.add_argument("--recordings", type=Path, help="folder of music recordings")
    parser.add_argument("--processes", type=int, default=multiprocessing.cpu_count())
    options = parser.parse_args()
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(message)s", stream=sys.stdout)
    is_network = options.out.suffix == ".npz"
    found = collect(
        options.songs,
        options.clips,
        options.recordings,
        options.processes,
        options.out if is_network else None,
    )
    learned_from = [one for i, one in enumerate(found) if i % CHECKED]
    name = "learned" if is_network else "handmade"
    weights = fit_pulse(learned_from, name)
    print("\n".join(report(found[::CHECKED], name, weights)))
    if is_network:
        with np.load(options.out, allow_pickle=False) as stored:
            arrays = {key: stored[key] for key in stored.files}
        arrays[DECODER_PREFIX + "pulse"] = weights.astype(np.float32)
        write_atomic(options.out, npz_bytes(arrays, compressed=True), force=True)
    else:
        from phrasefit.training.handmade import write_weights

        everything = HandmadeModel().decoder_weights() | {"pulse": weights}
        write_weights(options.out, everything, force=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
