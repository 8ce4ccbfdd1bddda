"""The segmental kernels against brute force."""

from __future__ import annotations

from itertools import combinations, pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from phrasefit.form.segmentation import (
    best_segments,
    diagonal_sums,
    join_alike,
    segment_probabilities,
    start_probabilities,
)


def random_scores(n: int, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    scores = rng.normal(size=(n + 1, n + 1)) * 2
    scores[rng.random((n + 1, n + 1)) < 0.2] = -np.inf
    scores[0, n] = -1.0  # at least one segmentation is possible
    return scores


def all_segmentations(n: int) -> list[tuple[int, ...]]:
    """List the edges of every segmentation of `n` cells."""
    inner = range(1, n)
    return [(0, *cut, n) for size in range(n) for cut in combinations(inner, size)]


def score_of(scores: np.ndarray, edges: tuple[int, ...]) -> float:
    return float(sum(scores[a, b] for a, b in pairwise(edges)))


@settings(deadline=None)
@given(st.integers(1, 9), st.integers(0, 10_000))
def test_best_segments_equals_brute_force(n: int, seed: int) -> None:
    """No segmentation scores higher than the one found."""
    scores = random_scores(n, seed)
    found = (*best_segments(scores), n)
    best = max(score_of(scores, edges) for edges in all_segmentations(n))

    assert score_of(scores, found) == pytest.approx(best)


@settings(deadline=None)
@given(st.integers(1, 9), st.integers(0, 10_000))
def test_start_probabilities_equal_brute_force(n: int, seed: int) -> None:
    """Each probability is the share of all segmentations' weight that starts there."""
    scores = random_scores(n, seed)
    weights = {edges: np.exp(score_of(scores, edges)) for edges in all_segmentations(n)}
    total = sum(weights.values())
    expected = [sum(w for edges, w in weights.items() if c in edges) / total for c in range(n)]

    assert np.allclose(start_probabilities(segment_probabilities(scores)), expected)


def test_diagonal_sums_add_up_stretches(rng: np.random.Generator) -> None:
    """The difference of two entries is the sum over that stretch of a diagonal."""
    matrix = rng.normal(size=(7, 7))
    sums = diagonal_sums(matrix)

    assert sums[5, 6] - sums[2, 3] == pytest.approx(matrix[2, 3] + matrix[3, 4] + matrix[4, 5])


def test_join_alike_groups_what_is_alike() -> None:
    """Groups are numbered as they appear; the bridge is alone."""
    likeness = np.full((5, 5), -1.0)
    for one, other in [(0, 2), (0, 4), (2, 4), (1, 3)]:
        likeness[one, other] = likeness[other, one] = 1.0
    likeness[3, 2] = likeness[2, 3] = 0.4

    assert list(join_alike(likeness, np.ones(5), 0.5)) == [0, 1, 0, 1, 0]


def test_join_alike_takes_averages_not_single_links() -> None:
    """A chain of neighbors alike does not tie its ends together."""
    likeness = np.array([[9, 1.0, -9], [1.0, 9, 0.9], [-9, 0.9, 9]])

    assert list(join_alike(likeness, np.ones(3), 0.5)) == [0, 0, 1]


@pytest.mark.parametrize("n", [0, 1])
def test_join_alike_of_nothing_and_of_one(n: int) -> None:
    """Edges: no item, one item."""
    assert list(join_alike(np.zeros((n, n)), np.ones(n), 0.5)) == [0] * n
