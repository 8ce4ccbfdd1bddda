"""``python -m phrasefit.training.self_labels RECORDINGS SONGS``: recordings label themselves.

Recordings with free licences (`source_recordings`) have no marked beats.  The present tracker
marks them: it hears the whole recording in all ways of `hearings.BENDS`, as it is and bent in
tempo, pitch and tone, and a recording is kept only where all readings agree and their mean is
sure.  The network then learns to hear the same under the hard augmentation of `augment`,
beside made songs.  Excerpts go to the folder SONGS as the packs that `rendered` reads.
"""

from __future__ import annotations

import argparse
import logging
import multiprocessing
import sys
import zlib
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from phrasefit.audio.features import extract_features
from phrasefit.meter import bars, beat_descriptors, confidence, pointer, tempo_readings
from phrasefit.meter.hearings import BENDS, hear_bent, together
from phrasefit.meter.learned import HEAD_NAMES, LearnedModel
from phrasefit.meter.observe import Activations
from phrasefit.model import Features
from phrasefit.training.judgments import beat_f_measure
from phrasefit.training.rendered import (
    LEVELS_PER_UNIT,
    RenderedSong,
    one_thread_each,
    store_songs,
)
from phrasefit.training.source_recordings import recordings_in

LONGEST_S = 240.0  # of one recording: no maker fills the memory
EXCERPT_S = 60.0
LEAST_SURE = {"beats": 0.8, "ones": 0.55}
LEAST_AGREED = 0.9  # F-measure of beats, and of ones, between hearings
COPIES = 3  # of each excerpt: recordings are few beside made songs

logger = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Marked:
    """Beats and places that one hearing marks, and how sure it is of beats and of ones."""

    beats_s: np.ndarray
    positions: np.ndarray
    sure_of_beats: float
    sure_of_one: float

    @property
    def ones_s(self) -> np.ndarray:
        return self.beats_s[self.positions == 1]


def label(path: Path, model: LearnedModel) -> list[RenderedSong]:
    """Mark one recording; empty if hearings differ or are not sure."""
    from phrasefit.audio.decode import decode

    audio = decode(path)
    n = round(LONGEST_S * audio.sample_rate_hz)
    first = max(0, (audio.samples.size - n) // 2)
    features = extract_features(type(audio)(
        samples=audio.samples[first : first + n], sample_rate_hz=audio.sample_rate_hz,
        info=audio.info,
    ))  # fmt: skip
    mel = features.log_mel
    heard = [hear_bent(model.probabilities, mel, bend)[:, :2] for bend in BENDS]
    marked = mark(model, features, together(heard))
    if marked is None or not is_sure(marked):
        return []
    others = [mark(model, features, one) for one in heard]
    if not all(other is not None and agree(marked, other) for other in others):
        return []
    return cut(features, marked, path.name)


def mark(model: LearnedModel, features: Features, heard: np.ndarray) -> Marked | None:
    """Track with these probabilities; None if nothing is found."""
    named = dict(zip(HEAD_NAMES, heard.T, strict=False))
    activations = model.fused(Activations(hop_s=features.hop_s, **named), features)
    weights = model.decoder_weights()
    evidence = beat_descriptors.prepare_evidence(features, activations)
    readings = tempo_readings.find_readings(evidence, weights)
    decoded = pointer.decode_song(evidence, readings[0], weights) if readings else []
    if not decoded:
        return None
    chains = tuple(tempo_readings.smooth_beats(chain.steps) for chain in decoded)
    places = np.concatenate([chain.places for chain in decoded])
    found = bars.place_bars(evidence, chains, weights, places)
    sure = confidence.judge_beats(evidence, readings, weights)
    meter = int(np.bincount(found.meters).argmax())
    return Marked(
        beats_s=np.concatenate(chains) * features.hop_s,
        positions=found.positions,
        sure_of_beats=sure,
        sure_of_one=confidence.judge_bars(found, meter, sure, weights)[0],
    )


def is_sure(marked: Marked) -> bool:
    return marked.sure_of_beats >= LEAST_SURE["beats"] and marked.sure_of_one >= LEAST_SURE["ones"]


def agree(one: Marked, other: Marked) -> bool:
    """Whether two hearings mark the same beats and the same ones."""
    return (
        beat_f_measure(one.beats_s, other.beats_s) >= LEAST_AGREED
        and beat_f_measure(one.ones_s, other.ones_s) >= LEAST_AGREED
    )


def cut(features: Features, marked: Marked, source: str) -> list[RenderedSong]:
    """Cut a marked recording into excerpts; where no beat is known little is learned."""
    songs, n = [], round(EXCERPT_S / features.hop_s)
    levels = np.clip(np.rint(features.log_mel * LEVELS_PER_UNIT), 0, 255).astype(np.uint8)
    for first in range(0, len(levels) - n // 3, n):
        start_s, stop_s = first * features.hop_s, (first + n) * features.hop_s
        inside = (marked.beats_s >= start_s) & (marked.beats_s < stop_s)
        if inside.sum() < n * features.hop_s / 3:  # a break, or a beginning without a beat
            continue
        songs.append(
            RenderedSong(
                levels=levels[first : first + n],
                beats_s=marked.beats_s[inside] - start_s,
                positions=marked.positions[inside],
                audible=np.ones(int(inside.sum()), dtype=bool),
                phrase_starts=np.zeros(0, dtype=np.int64),
                family="recordings",
                source=source,
            )
        )
    return songs


def _label_file(path: Path, out: Path, weights: Path | None) -> int:
    """Label one file and store its excerpts; how many there are."""
    model = LearnedModel(dict(np.load(weights)) if weights else None)
    try:
        songs = label(path, model)
    except Exception:  # one file that cannot be read must not end the run
        logger.exception("%s was left out", path.name)
        return 0
    if songs:
        store_songs(out / f"recording-{zlib.crc32(path.name.encode()):08x}.npz", songs * COPIES)
    return len(songs)


def main() -> int:
    """Label a folder, in parallel."""
    parser = argparse.ArgumentParser(prog="python -m phrasefit.training.self_labels")
    parser.add_argument("recordings", type=Path)
    parser.add_argument("songs", type=Path)
    parser.add_argument("--weights", type=Path, help="of the teacher; default: those shipped")
    parser.add_argument("--processes", type=int, default=multiprocessing.cpu_count())
    options = parser.parse_args()
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(message)s", stream=sys.stdout)
    options.songs.mkdir(parents=True, exist_ok=True)
    paths = recordings_in(options.recordings)
    one_thread_each()
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(options.processes, mp_context=context) as pool:
        todo = [pool.submit(_label_file, p, options.songs, options.weights) for p in paths]
        found = [future.result() for future in todo]
    kept = sum(n > 0 for n in found)
    print(f"{kept} of {len(paths)} recordings agree with themselves: {sum(found)} excerpts")
    return 0


if __name__ == "__main__":
    sys.exit(main())
