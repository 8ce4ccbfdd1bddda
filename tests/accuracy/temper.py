"""How far sureness is off on songs by others: `run.py`'s results give two constants.

    python tests/accuracy/temper.py results.json --sets modules openmsx/fluidr3

Made songs, on which sureness is fitted, are easier than songs by others.  The log odds of
the beats, and of the ones given the beats, get a constant each, fitted to whether the
readings of the songs of SETS were right (as `run.py` judges right); they are to be added to
the constants of `phrasefit.training.calibrate.OTHERS_TEMPER`, and to the measured weights,
with ``--weights``.  Sets used here say nothing about sureness any more; the others do.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import numpy as np

from phrasefit.training.export import read_weights, save_weights

ENOUGH = {"beat_f_all": 0.9, "downbeat_f_level": 0.85}  # as `run.confidence_table`
STEP, MOST = 0.01, 4.0


def log_odds(sure: np.ndarray) -> np.ndarray:
    """Log odds of probabilities, kept finite."""
    sure = np.clip(sure, 1e-3, 1 - 1e-3)
    return np.log(sure / (1 - sure))


def sigmoid(odds: np.ndarray) -> np.ndarray:
    """Probabilities of log odds."""
    return 1 / (1 + np.exp(-odds))


def best_shift(odds: np.ndarray, factor: np.ndarray, right: np.ndarray) -> float:
    """Find the constant that makes ``factor * sigmoid(odds + constant)`` likeliest."""
    shifts = np.arange(-MOST, MOST, STEP)
    sure = np.clip(factor * sigmoid(odds + shifts[:, None]), 1e-6, 1 - 1e-6)
    likelihood = np.where(right, np.log(sure), np.log(1 - sure)).sum(axis=1)
    return float(shifts[np.argmax(likelihood)])


def main() -> None:
    """Fit, say what changes; change the weights if they are named."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("results", type=Path)
    parser.add_argument("--weights", type=Path, help="weights to change (.npz)")
    parser.add_argument("--sets", nargs="+", required=True)
    options = parser.parse_args()
    rows = [
        row
        for row in json.loads(options.results.read_text("utf-8"))["rows"]
        if row["system"] == "learned" and row["set"].rstrip("*") in options.sets
        and "sure_of_one" in row and np.isfinite(row["downbeat_f_level"])
    ]  # fmt: skip
    beats, ones = (np.array([row[f"sure_of_{name}"] for row in rows]) for name in ("beats", "one"))
    right = {name: np.array([row[name] >= least for row in rows]) for name, least in ENOUGH.items()}
    shift = best_shift(log_odds(beats), np.ones(len(rows)), right["beat_f_all"])
    tempered = sigmoid(log_odds(beats) + shift)
    given = log_odds(ones / beats)
    shift_ones = best_shift(given, tempered, right["downbeat_f_level"])
    print(f"{len(rows)} songs: beats {beats.mean():.2f} -> {tempered.mean():.2f},"
          f" right {right['beat_f_all'].mean():.2f}")  # fmt: skip
    print(f"ones {ones.mean():.2f} -> {(tempered * sigmoid(given + shift_ones)).mean():.2f},"
          f" right {right['downbeat_f_level'].mean():.2f}")  # fmt: skip
    print(f"add to sure_of_beats {shift:.2f}, to sure_of_one {shift_ones:.2f}")
    if options.weights:
        weights = read_weights(options.weights)
        weights["decoder.sure_of_beats"][-1] += shift
        weights["decoder.sure_of_one"][-1] += shift_ones
        save_weights(weights, options.weights, force=True)


if __name__ == "__main__":
    main()
