"""The hand-made observation model: what a beat looks like in a few plain features.

Band-wise onsets around a frame, the rise of each band after it, and the change of
harmony across it are weighed by a logistic model.  The features are made by hand;
their weights were fitted by `phrasefit.training.handmade` on made songs, none of
which is a song that accuracy is reported on.
"""

from __future__ import annotations

import json
from functools import lru_cache
from importlib import resources

import numpy as np

from phrasefit.audio.features import band_means
from phrasefit.meter.observe import Activations
from phrasefit.model import Features

LAGS_FRAMES = range(-3, 4)
LOCAL_LEVEL_S = 4.0  # a quiet verse is judged against itself, not against the chorus
RISE_SPANS_FRAMES = (6, 12)
HARMONY_SPAN_FRAMES = 12
WEIGHTS_FILE = "handmade.json"


@lru_cache(maxsize=1)
def load_weights() -> dict[str, np.ndarray]:
    """Read the fitted weights that come with the package (constant term last)."""
    text = resources.files("phrasefit.meter").joinpath("weights", WEIGHTS_FILE).read_text("utf-8")
    return {name: np.array(values) for name, values in json.loads(text).items()}


class HandmadeModel:
    """Observation model from hand-made features; needs no further library.

    Parameters
    ----------
    weights : dict of str to np.ndarray, optional
        Fitted weights; by default those in the package.
    """

    name = "handmade"

    def __init__(self, weights: dict[str, np.ndarray] | None = None) -> None:
        self._weights = weights

    def observe(self, features: Features) -> Activations:
        """Give beat and downbeat probabilities for every frame of `features`."""
        return activations_from(frame_evidence(features), features.hop_s, self.decoder_weights())

    def decoder_weights(self) -> dict[str, np.ndarray]:
        """Weights of the song-wide judgements, fitted on what this model observes."""
        return load_weights() if self._weights is None else self._weights


def activations_from(
    evidence: np.ndarray, hop_s: float, weights: dict[str, np.ndarray]
) -> Activations:
    """Weigh the evidence of each frame; a downbeat is never likelier than a beat."""
    beat, downbeat = (_logistic(evidence, weights[name]) for name in ("beat", "downbeat"))
    return Activations(hop_s=hop_s, beat=beat, downbeat=np.minimum(beat, downbeat))


def frame_evidence(features: Features) -> np.ndarray:
    """Lay out what the model sees at each frame [shape=(n_frames, n_columns), float32].

    Columns: relative onset of each band at each of `LAGS_FRAMES`; change of harmony;
    rise of each band over each of `RISE_SPANS_FRAMES`.
    """
    onsets = relative_onsets(features)
    level = running_sum(band_means(features.log_mel))
    columns = [shift_rows(onsets, -lag) for lag in LAGS_FRAMES]
    columns.append(harmony_change(features.chroma, HARMONY_SPAN_FRAMES)[:, None])
    for span in RISE_SPANS_FRAMES:
        after, before = span_means(level, span)
        columns.append(after - before)
    return np.hstack([column.astype(np.float32, copy=False) for column in columns])


def relative_onsets(features: Features) -> np.ndarray:
    """Scale each band's onsets by its level nearby and in the whole song [shape as given]."""
    onsets = features.onset_envelope
    overall = np.sqrt((onsets * onsets).mean(axis=0))
    width = round(LOCAL_LEVEL_S / features.hop_s)
    nearby = np.sqrt(np.maximum(_moving_mean(onsets * onsets, width), 0.0))
    return np.sqrt(onsets / (0.5 * nearby + 0.5 * overall + 1e-3))


def harmony_change(chroma: np.ndarray, span: int) -> np.ndarray:
    """Cosine distance between chroma after and before each frame [shape=(n_frames,), 0-1]."""
    after, before = span_means(running_sum(chroma), span)
    return cosine_distance(after, before)


def cosine_distance(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Row by row 1 - cos of the angle between `a` and `b` [shape=(n, k)]."""
    norms = np.linalg.norm(a, axis=1) * np.linalg.norm(b, axis=1)
    return 1.0 - (a * b).sum(axis=1) / (norms + 1e-9)


def span_means(total: np.ndarray, span: int) -> tuple[np.ndarray, np.ndarray]:
    """Mean of the `span` rows from each row on, and of the `span` rows before it.

    `total` is the `running_sum` of the rows.  At the ends of the song only the rows there
    are used; before the first row the mean is 0.
    """
    n = len(total) - 1
    here = np.arange(n)
    last, first = np.minimum(here + span, n), np.maximum(here - span, 0)
    after = (total.take(last, axis=0) - total[:-1]) / (last - here)[:, None]
    before = (total[:-1] - total.take(first, axis=0)) / np.maximum(here - first, 1)[:, None]
    return after, before


def running_sum(rows: np.ndarray) -> np.ndarray:
    """Sums of the first 0, 1, 2 ... rows [shape=(n + 1, n_columns)]."""
    total = np.zeros((len(rows) + 1, rows.shape[1]))
    np.cumsum(rows, axis=0, out=total[1:])
    return total


def shift_rows(rows: np.ndarray, by: int) -> np.ndarray:
    """Move rows down by `by` (up if negative), zeros coming in."""
    moved = np.zeros_like(rows)
    if by >= 0:
        moved[by:] = rows[: len(rows) - by]
    else:
        moved[:by] = rows[-by:]
    return moved


def _moving_mean(rows: np.ndarray, width: int) -> np.ndarray:
    """Mean over `width` rows around each row, edge rows repeated."""
    half = width // 2
    padded = np.pad(rows, ((half, width - half), (0, 0)), mode="edge")
    total = np.cumsum(padded, axis=0, dtype=np.float64)
    return (total[width:] - total[:-width]).astype(np.float32) / width


def _logistic(evidence: np.ndarray, weights: np.ndarray) -> np.ndarray:
    return 1.0 / (1.0 + np.exp(-(evidence @ weights[:-1].astype(np.float32) + weights[-1])))
