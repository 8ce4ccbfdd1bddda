"""``python -m phrasefit.training.handmade OUT``: fits the weights of the hand-made model.

Songs are made, listened to, and small logistic models are fitted: is a frame a beat; a
downbeat; which way of counting is right; is a beat a one (in four, in three); is the song in
three; how sure may each of these be called.  Songs that judge accuracy are never among them.

The weights in the package were fitted on 600 made songs and, with ``--folder``, on 172
accompaniments written by MMA with a random tune, and 47 pieces of the game Freedoom, both
rendered by FluidSynth with three General MIDI soundfonts.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterable
from pathlib import Path

import numpy as np

from phrasefit.errors import PhrasefitError
from phrasefit.files import write_atomic
from phrasefit.meter import handmade
from phrasefit.training.judgments import (
    collect,
    fit_logistic,
    fit_songs,
    fit_sureness,
    judge_song,
)
from phrasefit.training.known_songs import KnownSong, cut_song, make_known_songs, read_known_songs

N_SONGS = 600
FIRST_SEED = 3_000_000
OTHER_FRAMES = 0.25  # share of the frames between beats that are learned from


def fit_frames(songs: Iterable[KnownSong]) -> dict[str, np.ndarray]:
    """Fit the frame models `beat` and `downbeat`."""
    rng = np.random.default_rng(0)
    rows, is_beat, is_one = [], [], []
    for song in songs:
        evidence = handmade.frame_evidence(song.features)
        frames = np.rint(song.beats_s / song.features.hop_s).astype(int)
        inside = frames < len(evidence)
        frames, positions = frames[inside], song.positions[inside]
        label = np.zeros(len(evidence), dtype=int)
        label[frames] = np.where(positions == 1, 2, 1)
        beside = np.zeros(len(evidence), dtype=bool)
        for step in (-2, -1, 1, 2):
            beside[np.clip(frames + step, 0, len(evidence) - 1)] = True
        within = np.zeros(len(evidence), dtype=bool)
        within[frames[0] : frames[-1] + 1] = True
        others = within & ~beside & (rng.random(len(evidence)) < OTHER_FRAMES)
        keep = others | (label > 0)
        rows.append(evidence[keep])
        is_beat.append(label[keep] > 0)
        is_one.append(label[keep] > 1)
    table = np.vstack(rows)
    weights = {}
    for name, labels in (("beat", is_beat), ("downbeat", is_one)):
        weights[name] = fit_logistic(table, np.concatenate(labels).astype(float), ridge=30.0)
        weights[name][-1] += np.log(OTHER_FRAMES)
    return weights


def fit_handmade(songs: list[KnownSong]) -> dict[str, np.ndarray]:
    """Fit everything; the last third of the songs serves for how sure it may be called."""
    learned, judged = songs[: 2 * len(songs) // 3], songs[2 * len(songs) // 3 :]
    weights = fit_frames(learned)
    weights |= fit_songs(collect(learned, handmade.HandmadeModel(weights).observe))
    rng = np.random.default_rng(0)
    model = handmade.HandmadeModel(weights)
    verdicts = [judge_song(model, cut_song(song, rng)) for song in judged]
    return weights | fit_sureness([verdict for verdict in verdicts if verdict])


def main() -> int:
    """Make the songs, fit, write the weights as JSON."""
    parser = argparse.ArgumentParser(prog="python -m phrasefit.training.handmade")
    parser.add_argument("out", type=Path, help="weights to write (.json)")
    parser.add_argument("--songs", type=int, default=N_SONGS)
    parser.add_argument("--folder", type=Path, action="append", default=[], help="more songs")
    parser.add_argument("--force", action="store_true", help="replace an existing file")
    options = parser.parse_args()
    try:
        songs = [song for folder in options.folder for song in read_known_songs(folder)]
        songs += make_known_songs(options.songs, FIRST_SEED)
        np.random.default_rng(0).shuffle(songs)
        weights = fit_handmade(songs)
        write_weights(options.out, weights, force=options.force)
    except PhrasefitError as exc:
        print(f"phrasefit.training.handmade: {exc}", file=sys.stderr)
        return 2
    print(f"{len(songs)} songs, weights written to {options.out}")
    return 0


def write_weights(path: Path, weights: dict[str, np.ndarray], *, force: bool = False) -> None:
    """Write four significant digits of each weight: more would be noise of the songs made."""
    rounded = {name: [float(f"{v:.4g}") for v in values] for name, values in weights.items()}
    lines = ",\n".join(f"  {json.dumps(k)}: {json.dumps(v)}" for k, v in rounded.items())
    write_atomic(path, "{\n" + lines + "\n}\n", force=force)


if __name__ == "__main__":
    sys.exit(main())
