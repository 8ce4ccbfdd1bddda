"""How likely a section, and a phrase, begins at each bar line: a few small networks.

Each network reads the cues of all bar lines through convolutions over bars, so that what
speaks for a boundary is heard in its surroundings (a fill before it, the last boundary
eight bars ago).  Trained by `phrasefit.training.sections`; run with NumPy.  Their log
odds are averaged: several networks err less together than one.
"""

from __future__ import annotations

from functools import lru_cache
from importlib import resources

import numpy as np

from phrasefit.form.boundary_cues import BarEvidence, bars_together, by_turns

DILATIONS = (1, 2, 4, 8)  # bars; together a line is judged by what is up to 16 bars away
KERNEL = 3
WEIGHTS_FILE = "lines.npz"


@lru_cache(maxsize=1)
def line_weights() -> dict[str, np.ndarray]:
    """Read the shipped weights.

    Returns
    -------
    dict of str to np.ndarray
        Matrices [shape=(n_networks, n_in, n_out)] and offsets [shape=(n_networks, 1,
        n_out)] of the layers ``in``, ``block.N.wide``, ``block.N.out`` and ``out``;
        ``length`` and ``repeat``: what the length of a section and its repetition
        weigh beside the log odds of its start.
    """
    path = resources.files("phrasefit.form") / "weights" / WEIGHTS_FILE
    with path.open("rb") as file, np.load(file, allow_pickle=False) as stored:
        return {name: stored[name].astype(np.float64) for name in stored.files}


def odds_of(bars: BarEvidence) -> tuple[np.ndarray, np.ndarray]:
    """Judge every bar line of a song with the shipped weights, as `line_odds` does."""
    odds = by_turns(
        lambda cues: np.stack(line_odds(cues), axis=1), bars.cues, bars_together(bars.meter)
    )
    return odds[:, 0], odds[:, 1]


def line_odds(
    cues: np.ndarray, weights: dict[str, np.ndarray] | None = None
) -> tuple[np.ndarray, np.ndarray]:
    """Judge every bar line of a song.

    Parameters
    ----------
    cues : np.ndarray [shape=(n, n_cues)]
        As `phrasefit.form.boundary_cues` makes them.
    weights : dict, optional
        The shipped ones if left out.

    Returns
    -------
    section_odds, phrase_odds : np.ndarray [shape=(n,), log odds]
        That a section begins there, beside what its length says; that a phrase of
        any level does.
    """
    w = weights or line_weights()
    hidden = np.maximum(_over_bars(cues[None], w["in.weight"], 1) + w["in.offset"], 0.0)
    for index, dilation in enumerate(DILATIONS):
        name = f"block.{index}"
        wide = _over_bars(hidden, w[f"{name}.wide.weight"], dilation) + w[f"{name}.wide.offset"]
        hidden = hidden + np.maximum(wide, 0.0) @ w[f"{name}.out.weight"] + w[f"{name}.out.offset"]
    odds = (np.maximum(hidden, 0.0) @ w["out.weight"] + w["out.offset"]).mean(axis=0)
    return odds[:, 0], odds[:, 1]


def _over_bars(rows: np.ndarray, matrix: np.ndarray, dilation: int) -> np.ndarray:
    """Convolve over bars; before and after the song there is nothing."""
    n = rows.shape[1]
    padded = np.pad(rows, ((0, 0), (dilation, dilation), (0, 0)))
    shifted = [padded[:, k * dilation : k * dilation + n] for k in range(KERNEL)]
    return np.concatenate(shifted, axis=2) @ matrix
