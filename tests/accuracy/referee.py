"""Scores of one song against its truth; the judge is mir_eval, not the product.

Conventions, as papers on beat tracking report them:

* a beat is right within ±70 ms (`WINDOW_S`); events before 5 s are left out of
  truth and estimate (``mir_eval.beat.trim_beats``); the keys that end in ``_all``
  are scored without that trimming;
* CMLt: share of beats in continuous runs at the annotated tempo and phase; AMLt:
  the best of that over double, half and off-beat readings (tolerance 17.5 %);
* downbeat level: as downbeat F (untrimmed), but two bars of two may be one of four;
* timing: over beats matched within ±70 ms, the median of |error| and the median of
  the signed error, positive = the estimate is late;
* section boundaries: F at 0.5 s and 3 s with the start and end of the song trimmed;
* plan agreement (`plan_agreement`): 1 if both plans have as many walls and each
  starts within ±70 ms of its counterpart.

Nothing here knows how a map was made.
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass

import mir_eval
import numpy as np

WINDOW_S = 0.070
TRIM_S = 5.0


@dataclass(frozen=True)
class Reading:
    """Beats, ones and section starts of a song, true or estimated [seconds].

    `judge_ones` is False for a truth that does not know where the one is.
    """

    beats_s: np.ndarray
    downbeats_s: np.ndarray
    meter: int
    sections_s: tuple[float, ...] = ()
    end_s: float = 0.0
    judge_ones: bool = True


def f_measure(truth_s: np.ndarray, estimate_s: np.ndarray) -> float:
    """F-measure at ±70 ms; 0 where either side is empty."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # mir_eval warns of empty arrays; the score is 0
        return float(mir_eval.beat.f_measure(truth_s, estimate_s, WINDOW_S))


def level_downbeat_f(truth: Reading, estimate: Reading) -> float:
    """Downbeat F-measure that lets two bars of two be one of four, and 6 be 3 + 3.

    Where one meter is twice the other, every other bar line of the shorter bar is taken
    away, whichever half fits better; else the plain F-measure.
    """
    ones, found = truth.downbeats_s, estimate.downbeats_s
    if estimate.meter == 2 * truth.meter:
        return max(f_measure(ones[half::2], found) for half in (0, 1))
    if truth.meter == 2 * estimate.meter:
        return max(f_measure(ones, found[half::2]) for half in (0, 1))
    return f_measure(ones, found)


def timing_errors_ms(truth_s: np.ndarray, estimate_s: np.ndarray) -> np.ndarray:
    """Signed errors of the matched beats, positive = late."""
    if not truth_s.size or not estimate_s.size:
        return np.array([])
    pairs = mir_eval.util.match_events(truth_s, estimate_s, WINDOW_S)
    return np.array([1000 * (estimate_s[e] - truth_s[t]) for t, e in pairs])


def boundary_f(truth: Reading, estimate: Reading, window_s: float) -> float:
    """F of section boundaries, song start and end not counted; 0 where none is found."""
    parts = []
    for reading in (truth, estimate):
        inner = sorted(t for t in reading.sections_s if 0 < t < truth.end_s)
        edges = np.unique([0.0, *inner, truth.end_s])
        parts.append(np.column_stack([edges[:-1], edges[1:]]))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return float(mir_eval.segment.detection(*parts, window=window_s, trim=True)[2])


def score_reading(truth: Reading, estimate: Reading) -> dict[str, float]:
    """All scores of one song; NaN where the truth cannot judge."""
    trim = mir_eval.beat.trim_beats
    beats, found = trim(truth.beats_s), trim(estimate.beats_s)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        continuity = mir_eval.beat.continuity(beats, found) if found.size > 1 else (0.0,) * 4
    errors = timing_errors_ms(beats, found)
    scores = {
        "beat_f": f_measure(beats, found),
        "beat_f_all": f_measure(truth.beats_s, estimate.beats_s),
        "cmlt": float(continuity[1]),
        "amlt": float(continuity[3]),
        "downbeat_f": f_measure(trim(truth.downbeats_s), trim(estimate.downbeats_s)),
        "downbeat_f_all": f_measure(truth.downbeats_s, estimate.downbeats_s),
        "downbeat_f_level": level_downbeat_f(truth, estimate),
        "timing_ms": float(np.median(np.abs(errors))) if errors.size else np.nan,
        "bias_ms": float(np.median(errors)) if errors.size else np.nan,
        "meter_right": float(same_meter(truth.meter, estimate.meter)),
    }
    has_sections = len(truth.sections_s) > 1
    for name, window_s in (("section_f_05", 0.5), ("section_f_3", 3.0)):
        scores[name] = boundary_f(truth, estimate, window_s) if has_sections else np.nan
    if not truth.judge_ones:
        ones = ("downbeat_f", "downbeat_f_all", "downbeat_f_level", "meter_right")
        scores |= dict.fromkeys(ones, np.nan)
    return scores


def same_meter(truth: int, estimate: int) -> bool:
    """Twos with fours, threes with sixes: what a dancer tells apart."""
    return (truth % 3 == 0) == (estimate % 3 == 0)


def plan_agreement(
    truth_s: Sequence[float], estimate_s: Sequence[float], window_s: float = WINDOW_S
) -> float:
    """Return 1.0 if the wall starts of both plans are the same within `window_s`, else 0.0."""
    if len(truth_s) != len(estimate_s):
        return 0.0
    return float(np.all(np.abs(np.subtract(truth_s, estimate_s)) <= window_s))


def wall_overlap(truth_s: Sequence[float], estimate_s: Sequence[float]) -> float:
    """Share of wall starts in agreement, the F-measure of both lists at ±70 ms."""
    return f_measure(np.asarray(truth_s, float), np.asarray(estimate_s, float))


def category(truth: Reading, estimate: Reading, scores: dict[str, float]) -> str:
    """What kind of failure a song is: the question a builder asks first.

    ``ok`` · ``one`` (beats right, downbeat not) · ``meter`` · ``half`` / ``double`` /
    ``third`` (tempo level) · ``offbeat`` · ``partly`` · ``lost``.
    """
    if scores["beat_f_all"] >= 0.85:
        if scores["downbeat_f_level"] >= 0.75 or not truth.judge_ones:
            return "ok"
        return "one" if scores["meter_right"] else "meter"
    if estimate.beats_s.size < 4:
        return "lost"
    ratio = np.median(np.diff(truth.beats_s)) / np.median(np.diff(estimate.beats_s))
    for name, value in (("half", 0.5), ("double", 2.0), ("third", 1 / 3), ("triple", 3.0)):
        if abs(ratio / value - 1) < 0.05:
            return name
    if abs(ratio - 1) < 0.05:
        middle = truth.beats_s[:-1] + np.diff(truth.beats_s) / 2
        if f_measure(middle, estimate.beats_s) >= 0.6:
            return "offbeat"
    return "partly" if scores["beat_f_all"] >= 0.5 else "lost"


def calibration_error(sure: np.ndarray, right: np.ndarray, n_bins: int = 5) -> float:
    """Expected calibration error: |share right - mean probability| over equal bins of songs.

    Guo, Pleiss, Sun, Weinberger: On calibration of modern neural networks, 2017, with
    bins of equal numbers of songs instead of equal width, as few songs are measured.
    """
    order = np.argsort(sure, kind="stable")
    bins = np.array_split(order, min(n_bins, order.size))
    gaps = [abs(np.mean(right[b]) - np.mean(sure[b])) * b.size for b in bins if b.size]
    return float(np.sum(gaps) / max(1, order.size))


def unbiased_calibration_error(sure: np.ndarray, right: np.ndarray, n_bins: int = 5) -> float:
    """Root of the squared calibration error over equal bins, without what chance adds to it.

    The debiased estimator of A. Kumar, P. Liang and T. Ma, "Verified uncertainty calibration",
    2019: each bin's squared gap less the variance of its mean.  Below 0 is 0.
    """
    order = np.argsort(sure, kind="stable")
    total = 0.0
    for rows in np.array_split(order, n_bins):
        share = np.mean(right[rows])
        chance = share * (1 - share) / (rows.size - 1)
        total += rows.size / order.size * ((share - np.mean(sure[rows])) ** 2 - chance)
    return float(np.sqrt(max(total, 0.0)))


def bootstrap_interval(
    values: np.ndarray, n_draws: int = 2000, seed: int = 0
) -> tuple[float, float, float]:
    """Mean over songs and its 95 % bootstrap interval; NaN values are left out."""
    values = np.asarray(values, float)
    values = values[np.isfinite(values)]
    if not values.size:
        return (np.nan, np.nan, np.nan)
    rng = np.random.default_rng(seed)
    means = rng.choice(values, (n_draws, values.size)).mean(axis=1)
    return (float(values.mean()), *(float(q) for q in np.percentile(means, [2.5, 97.5])))
