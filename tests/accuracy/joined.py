"""How songs of two tempi are heard: pairs of songs whose truth is known, joined at a one.

    python tests/accuracy/joined.py FOLDER... [--pairs N] [--out FILE.json]

FOLDER holds songs with a truth NAME.json beside them (`symbolic.py` and others make such).
Of each pair 36 to 44 s are taken of either song, from a one to a one, equally loud.  Printed
is the F-measure of beats and of ones: of the pieces alone, and of each in the joined song.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import numpy as np
import soundfile
import soxr
from referee import f_measure
from run import AUDIO_ENDINGS

from phrasefit.audio import SAMPLE_RATE_HZ
from phrasefit.audio.features import extract_features, first_sample
from phrasefit.errors import NoPulseError
from phrasefit.meter import track
from phrasefit.meter.learned import LearnedModel
from phrasefit.model import Audio, SongInfo

LEAD_S = 5.0  # of each song, left out
LONG_S = (36.0, 44.0)
LOUD = 0.1  # root mean square of each piece
SEED = 7

Piece = tuple[np.ndarray, np.ndarray, np.ndarray]  # samples, beats [s], which of them are ones


def piece_of(path: Path, draws: np.random.Generator) -> Piece | None:
    """Cut a piece out of a song; None where the song is too short."""
    truth = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
    beats_s, is_one = np.array(truth["beats_s"]), np.array(truth["positions"]) == 1
    samples, rate_hz = soundfile.read(path, dtype="float32", always_2d=True)
    ones_s = beats_s[is_one]
    begins = ones_s[(ones_s > LEAD_S) & (ones_s < len(samples) / rate_hz - LONG_S[1])]
    if not begins.size:
        return None
    begin_s = draws.choice(begins)
    ends = ones_s[(ones_s > begin_s + LONG_S[0]) & (ones_s < begin_s + LONG_S[1])]
    if not ends.size:
        return None
    cut = samples[round(begin_s * rate_hz) : round(ends[0] * rate_hz)].mean(axis=1)
    sound = soxr.resample(cut, rate_hz, SAMPLE_RATE_HZ)
    sound *= LOUD / max(float(np.sqrt(np.mean(sound**2))), 1e-4)
    inside = (beats_s > begin_s - 1e-6) & (beats_s < ends[0] - 1e-6)
    return sound, beats_s[inside] - begin_s, is_one[inside]


def hear(samples: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give the beats of a sound and which are ones; none where it is refused."""
    audio = Audio(samples=samples, sample_rate_hz=SAMPLE_RATE_HZ, info=SongInfo())
    try:
        found = track(audio, extract_features(audio, first_sample(samples)), model=LearnedModel())
    except NoPulseError:
        return np.zeros(0), np.zeros(0, bool)
    return found.beat_times_s, found.positions == 1


def measure(first: Piece, second: Piece) -> list[tuple[float, float]]:
    """F of beats and ones: of the pieces alone, of the first and the second when joined."""
    joint_s = len(first[0]) / SAMPLE_RATE_HZ
    beats_s, is_one = hear(np.append(first[0], second[0]))
    is_first = beats_s < joint_s - 0.3  # the beat of the joint is the second's
    heard = [
        *(hear(piece[0]) for piece in (first, second)),
        (beats_s[is_first], is_one[is_first]),
        (beats_s[~is_first] - joint_s, is_one[~is_first]),
    ]
    truths = (first, second, first, second)
    return [
        (f_measure(true_s, found_s), f_measure(true_s[ones], found_s[found_ones]))
        for (_, true_s, ones), (found_s, found_ones) in zip(truths, heard, strict=True)
    ]


def main() -> None:
    """Print the means over all pairs."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--pairs", type=int, default=80)
    parser.add_argument("--out", type=Path)
    given = parser.parse_args()
    songs = sorted(
        path
        for folder in given.folders
        for path in folder.rglob("*")
        if path.suffix in AUDIO_ENDINGS and path.with_suffix(".json").exists()
    )
    draws = np.random.default_rng(SEED)
    rows = []
    for _ in range(given.pairs):
        first, second = (piece_of(songs[i], draws) for i in draws.choice(len(songs), 2, False))
        if first and second:
            rows.append(measure(first, second))
    names = ("first alone", "second alone", "first joined", "second joined")
    for name, (beats, ones) in zip(names, np.mean(rows, axis=0), strict=True):
        print(f"{name:<14} beats {beats:.3f}  ones {ones:.3f}")
    print(f"{len(rows)} pairs")
    if given.out:
        given.out.write_text(json.dumps(rows), encoding="utf-8")


if __name__ == "__main__":
    main()
