"""``python -m phrasefit.training.handmade OUT``: fits the weights of the hand-made model.

Songs are made, listened to, and five small logistic models are fitted: is a frame a
beat; a downbeat; which way of counting is right; is a beat a one (in four, in three); is the
song in three.  Songs that judge accuracy are never among them.

May import: audio, meter, training.songs (scipy inside functions).
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from phrasefit.errors import PhrasefitError
from phrasefit.files import write_atomic
from phrasefit.meter import bars, beatwise, handmade, levels
from phrasefit.meter.statespace import METERS
from phrasefit.model import Features

N_SONGS = 600
SONG_S = 75.0
FIRST_SEED = 3_000_000
NEAR_S = 0.070  # window common in beat evaluation
RIGHT_F = 0.8  # a reading with this F-measure is the right one
LAYERS = 3  # beat, level, bars: later models see what earlier ones give

Rows = tuple[np.ndarray, np.ndarray]
Observe = Callable[[Features], np.ndarray]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lesson:
    """A song's features and truth."""

    features: Features
    beats_s: np.ndarray
    positions: np.ndarray
    meter: int


def fit_logistic(
    rows: np.ndarray, labels: np.ndarray, *, ridge: float, offset: np.ndarray | float = 0.0
) -> np.ndarray:
    """Fit a logistic model by Newton's method [shape=(n_columns + 1,), constant last].

    `ridge` is the penalty on squared weights of columns scaled to unit spread;
    `offset` is a part of the log odds that is known already.
    """
    mean, spread = rows.mean(axis=0), rows.std(axis=0) + 1e-6
    x = np.hstack([(rows - mean) / spread, np.ones((len(rows), 1))]).astype(np.float64)
    penalty = np.full(x.shape[1], ridge)
    penalty[-1] = 1e-6
    w = np.zeros(x.shape[1])
    for _ in range(12):
        p = 1 / (1 + np.exp(-(x @ w + offset)))
        slope = x.T @ (labels - p) - penalty * w
        curve = (x * (p * (1 - p))[:, None]).T @ x + np.diag(penalty)
        w += np.linalg.solve(curve, slope)
    scaled = w[:-1] / spread
    return np.append(scaled, w[-1] - scaled @ mean)


def fit_choice(groups: list[Rows], *, ridge: float) -> np.ndarray:
    """Fit weights under which the right row of each group scores highest.

    `groups` are (rows [shape=(n, n_columns)], shares [shape=(n,), sum 1]) (D. McFadden,
    "Conditional logit analysis of qualitative choice behavior", 1973).
    """
    from scipy.optimize import minimize

    every = np.vstack([rows for rows, _ in groups])
    mean, spread = every.mean(axis=0), every.std(axis=0) + 1e-6
    scaled = [((rows - mean) / spread, shares) for rows, shares in groups]

    def loss(w: np.ndarray) -> tuple[float, np.ndarray]:
        value, slope = ridge * w @ w, 2 * ridge * w
        for rows, shares in scaled:
            score = rows @ w
            log_p = score - score.max()
            log_p -= np.log(np.exp(log_p).sum())
            value -= shares @ log_p
            slope = slope - rows.T @ (shares - np.exp(log_p))
        return value, slope

    w = minimize(loss, np.zeros(every.shape[1]), jac=True, method="L-BFGS-B").x / spread
    return np.append(w, -w @ mean)
