"""Cutting a row of cells into segments, exactly; knows no music.

A segmentation of ``n`` cells has edges ``0 = e0 < e1 < ... < n``.  Its log score is
the sum of ``scores[e_i, e_(i+1)]``; `IMPOSSIBLE` entries cannot be used.
"""

from __future__ import annotations

import numpy as np

IMPOSSIBLE = -np.inf


def best_segments(scores: np.ndarray) -> np.ndarray:
    """Find the segmentation with the highest score.

    Parameters
    ----------
    scores : np.ndarray [shape=(n + 1, n + 1)]
        Log score of a segment from row to column; only ``row < column`` is read.

    Returns
    -------
    np.ndarray [shape=(n_segments,), int]
        Where segments start, the first being 0.  Of equals the one with later,
        fewer cuts.

    Notes
    -----
    ``best[e] = max over a < e of best[a] + scores[a, e]``; O(n²).
    """
    n = len(scores) - 1
    best = np.full(n + 1, IMPOSSIBLE)
    best[0] = 0.0
    came_from = np.zeros(n + 1, dtype=int)
    for end in range(1, n + 1):
        through = best[:end] + scores[:end, end]
        came_from[end] = np.argmax(through)
        best[end] = through[came_from[end]]
    starts = []
    while n > 0:
        n = came_from[n]
        starts.append(n)
    return np.array(starts[::-1], dtype=int)


def segment_probabilities(scores: np.ndarray) -> np.ndarray:
    """Give the probability of every segment, over all segmentations.

    Parameters
    ----------
    scores : np.ndarray [shape=(n + 1, n + 1)]
        As for `best_segments`; a segmentation has the probability ``exp(score)``, up
        to a constant.

    Returns
    -------
    np.ndarray [shape=(n, n + 1), 0-1]
        That a segment reaches from row to column.

    Notes
    -----
    Forward and backward sums of a semi-Markov model (S. Sarawagi and W. Cohen,
    "Semi-Markov conditional random fields for information extraction", 2004); O(n²).
    """
    n = len(scores) - 1
    forward = np.zeros(n + 1)
    backward = np.zeros(n + 1)
    for end in range(1, n + 1):
        forward[end] = np.logaddexp.reduce(forward[:end] + scores[:end, end])
    for start in range(n - 1, -1, -1):
        backward[start] = np.logaddexp.reduce(scores[start, start + 1 :] + backward[start + 1 :])
    log_odds = forward[:n, None] + scores[:n] + backward - forward[n]
    forwards = np.arange(n + 1) > np.arange(n)[:, None]
    return np.exp(np.where(forwards, np.minimum(log_odds, 0.0), IMPOSSIBLE))


def start_probabilities(segments: np.ndarray) -> np.ndarray:
    """Give the probability that a segment starts at each cell [shape=(n,), 0-1]; 1 at cell 0.

    `segments` as `segment_probabilities` gives them.
    """
    return np.minimum(segments.sum(axis=1), 1.0)


def total_score(scores: np.ndarray) -> float:
    """Log of the sum over all segmentations of ``exp(score)``; `scores` as for `best_segments`."""
    n = len(scores) - 1
    total = np.zeros(n + 1)
    for end in range(1, n + 1):
        total[end] = np.logaddexp.reduce(total[:end] + scores[:end, end])
    return float(total[n])


def diagonal_sums(matrix: np.ndarray) -> np.ndarray:
    """Sum `matrix` along its diagonals.

    Returns
    -------
    np.ndarray [shape=(n + 1, n + 1)]
        ``s[i, j] = matrix[i-1, j-1] + matrix[i-2, j-2] + ...``: the sum over a stretch
        of a diagonal is the difference of two entries.
    """
    n = len(matrix)
    sums = np.zeros((n + 1, n + 1))
    for row in range(n):
        sums[row + 1, 1:] = sums[row, :-1] + matrix[row]
    return sums


def join_alike(likeness: np.ndarray, sizes: np.ndarray, threshold: float) -> np.ndarray:
    """Group items whose average likeness is at least `threshold`.

    Parameters
    ----------
    likeness : np.ndarray [shape=(n, n)], symmetric
    sizes : np.ndarray [shape=(n,), > 0]
        Weight of each item in the averages.
    threshold : float
        Groups less alike than this stay apart.

    Returns
    -------
    np.ndarray [shape=(n,), int]
        Group of each item, numbered in order of first appearance.

    Notes
    -----
    Agglomerative clustering with average linkage: the most alike pair of groups is
    joined until none reaches the threshold; O(n³) for n in the tens.
    """
    n = len(likeness)
    group = np.arange(n)
    weight = np.asarray(sizes, dtype=float).copy()
    between = np.array(likeness, dtype=float)
    np.fill_diagonal(between, IMPOSSIBLE)
    while n > 1:
        keep, lost = np.unravel_index(np.argmax(between), between.shape)
        if not between[keep, lost] >= threshold:
            break
        total = weight[keep] + weight[lost]
        merged = (weight[keep] * between[keep] + weight[lost] * between[lost]) / total
        between[keep], between[:, keep], weight[keep] = merged, merged, total
        between[lost], between[:, lost] = IMPOSSIBLE, IMPOSSIBLE
        between[keep, keep] = IMPOSSIBLE
        group[group == lost] = keep
    _, first, number = np.unique(group, return_index=True, return_inverse=True)
    return np.argsort(np.argsort(first))[number]
