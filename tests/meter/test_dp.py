"""Every kernel against brute force on small cases, and a state space worked by hand."""

from __future__ import annotations

from functools import cache
from itertools import pairwise, product

import numpy as np
import pytest

from phrasefit._dp import (
    IMPOSSIBLE,
    NO_PLACES,
    GapModel,
    Places,
    fit_segments,
    forward_backward,
    track_events,
    viterbi,
)

SEEDS = range(20)


def random_hmm(seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A small hidden Markov model with random log probabilities."""
    rng = np.random.default_rng(seed)
    n_states, n_steps = rng.integers(2, 4), rng.integers(1, 6)
    start = np.log(rng.dirichlet(np.ones(n_states)))
    transition = np.log(rng.dirichlet(np.ones(n_states), size=n_states))
    return start, transition, rng.normal(size=(n_steps, n_states))


def all_paths(start, transition, emission) -> dict[tuple[int, ...], float]:
    """Score of every state path."""
    n_steps, n_states = emission.shape
    scores = {}
    for path in product(range(n_states), repeat=n_steps):
        score = start[path[0]] + sum(emission[t, s] for t, s in enumerate(path))
        scores[path] = score + sum(transition[a, b] for a, b in pairwise(path))
    return scores


@pytest.mark.parametrize("seed", SEEDS)
def test_viterbi_finds_the_best_of_all_paths(seed: int) -> None:
    """The path and its score equal the best by enumeration."""
    model = random_hmm(seed)
    scores = all_paths(*model)

    path, score = viterbi(*model)

    assert score == pytest.approx(max(scores.values()))
    assert scores[tuple(path)] == pytest.approx(score)


@pytest.mark.parametrize("seed", SEEDS)
def test_posteriors_are_sums_over_all_paths(seed: int) -> None:
    """State probabilities and likelihood equal sums over every path."""
    model = random_hmm(seed)
    scores = all_paths(*model)
    total = np.logaddexp.reduce(list(scores.values()))
    expected = np.zeros_like(model[2])
    for path, score in scores.items():
        expected[np.arange(len(path)), path] += np.exp(score - total)

    posterior, log_likelihood = forward_backward(*model)

    assert log_likelihood == pytest.approx(total)
    assert posterior == pytest.approx(expected)


def test_viterbi_worked_by_hand() -> None:
    """Rain or sun over three days: staying costs 0, changing 1, the middle day lies."""
    change = np.array([[0.0, -1.0], [-1.0, 0.0]])
    evidence = np.array([[1.0, 0.0], [0.0, 1.5], [1.0, 0.0]])

    path, score = viterbi(np.zeros(2), change, evidence)

    # Staying in state 0 brings 1 + 0 + 1; following the middle day 1 + 1.5 + 1 - 2.
    assert path.tolist() == [0, 0, 0]
    assert score == pytest.approx(2.0)


# ------------------------------------------------------------------- chains


def random_gaps(seed: int) -> tuple[np.ndarray, GapModel]:
    """Few steps and two or three rates, so that all sets of events can be tried."""
    rng = np.random.default_rng(seed)
    n_rates = int(rng.integers(2, 4))
    first = rng.integers(2, 4)
    gaps = first + np.arange(n_rates)[:, None] + np.array([0, 1])
    model = GapModel(
        gaps=gaps,
        gap_cost=rng.uniform(0, 0.5, size=gaps.shape),
        start_cost=rng.uniform(0.2, 1.0, size=n_rates),
        break_cost=float(rng.uniform(0.1, 1.5)),
        move_cost=float(rng.uniform(0.1, 0.6)),
        reach=1,
    )
    return rng.normal(scale=1.5, size=8), model


def random_places(seed: int) -> tuple[np.ndarray, GapModel, Places]:
    """The same with two or three places, some of whose steps are impossible."""
    gain, model = random_gaps(seed)
    rng = np.random.default_rng([seed, 1])
    n_places = int(rng.integers(2, 4))
    transition = np.where(
        rng.random((n_places, n_places)) < 0.6, -rng.exponential(size=(n_places, n_places)),
        IMPOSSIBLE,
    )  # fmt: skip
    places = Places(log_start=-rng.exponential(size=n_places), log_transition=transition)
    return gain[:, None] + rng.normal(scale=0.7, size=(len(gain), n_places)), model, places


def random_chains(seed: int, placed: bool) -> tuple[np.ndarray, GapModel, Places]:
    """A case of either kind, gains by place."""
    if placed:
        return random_places(seed)
    gain, model = random_gaps(seed)
    return gain[:, None], model, NO_PLACES


def best_by_enumeration(gain: np.ndarray, model: GapModel, places: Places) -> float:
    """Grow every chain event by event; what can follow a break is asked once for each step."""
    n, n_places = gain.shape
    begun = places.log_start - model.start_cost[:, None]

    def grow(step: int, rate: int, place: int) -> float:
        """What a chain brings after its event at `step`, and all chains after it."""
        best = max(0.0, best_from(step + 1) - model.break_cost)
        for other, onto in product(range(len(model.gaps)), range(n_places)):
            moved = places.log_transition[place, onto] - model.move_cost * abs(other - rate)
            if abs(other - rate) > model.reach:
                continue
            for gap, cost in zip(model.gaps[other], model.gap_cost[other], strict=True):
                if step + gap < n:
                    onward = grow(step + gap, other, onto)
                    best = max(best, gain[step + gap, onto] - cost + moved + onward)
        return best

    @cache
    def best_from(first: int) -> float:
        return max(
            (
                gain[step, place] + begun[rate, place] + grow(step, rate, place)
                for step in range(first, n)
                for rate, place in np.ndindex(*begun.shape)
            ),
            default=-np.inf,
        )

    return max(0.0, best_from(0))


@pytest.mark.parametrize("placed", [False, True])
@pytest.mark.parametrize("seed", SEEDS)
def test_chains_are_the_best_of_all(seed: int, placed: bool) -> None:
    """The score equals that of trying every chain and every break, in all places."""
    case = random_chains(seed, placed)

    _, score = track_events(*case)

    assert score == pytest.approx(best_by_enumeration(*case), abs=1e-4)


@pytest.mark.parametrize("placed", [False, True])
@pytest.mark.parametrize("seed", SEEDS)
def test_chains_cost_what_is_claimed(seed: int, placed: bool) -> None:
    """The events given back add up to the score that was claimed for them."""
    gain, model, places = random_chains(seed, placed)

    chains, score = track_events(gain, model, places)

    total = -model.break_cost * max(0, len(chains) - 1)
    for chain in chains:
        total += gain[chain.steps, chain.places].sum() - model.start_cost[chain.rates[0]]
        total += places.log_start[chain.places[0]]
        total += places.log_transition[chain.places[:-1], chain.places[1:]].sum()
        for index in range(1, len(chain.steps)):
            rate, gap = chain.rates[index], chain.steps[index] - chain.steps[index - 1]
            total -= model.move_cost * abs(rate - chain.rates[index - 1])
            total -= model.gap_cost[rate][model.gaps[rate].tolist().index(gap)]
    assert total == pytest.approx(score, abs=1e-4)


@pytest.mark.parametrize("placed", [False, True])
@pytest.mark.parametrize("seed", SEEDS)
def test_segments_are_seamless(seed: int, placed: bool, monkeypatch) -> None:
    """Tables of a few steps at a time, filled again on the way back, give the same chains."""
    _, model, places = random_chains(seed, placed)
    gain = np.random.default_rng(seed).normal(scale=1.5, size=(100, len(places.log_start)))
    gain[40:60] -= 5.0  # a break, so that there are several chains

    whole = track_events(gain, model, places)
    monkeypatch.setattr("phrasefit._dp.SEGMENT_STEPS", 7)
    parts = track_events(gain, model, places)

    assert parts[1] == whole[1]
    assert len(parts[0]) == len(whole[0]) > 1
    for part, chain in zip(parts[0], whole[0], strict=True):
        for name in ("steps", "rates", "places"):
            assert np.array_equal(getattr(part, name), getattr(chain, name))


def test_one_place_is_none() -> None:
    """Gains by step alone are those of a single place."""
    gain, model = random_gaps(3)

    (plain, score), (placed, same) = track_events(gain, model), track_events(gain[:, None], model)

    assert score == same
    assert [c.steps.tolist() for c in plain] == [c.steps.tolist() for c in placed]


def test_no_chain_where_nothing_is_gained() -> None:
    """Steps that all cost leave no event at all."""
    _, model = random_gaps(0)

    assert track_events(np.full(30, -1.0), model) == ([], 0.0)


# ------------------------------------------------------------------- pieces


def cost_of(values, weights, starts, piece_cost) -> float:
    """Weighted squared error of least-squares lines between `starts`, with their price."""
    total = piece_cost * len(starts)
    for start, stop in zip(starts, [*starts[1:], len(values)], strict=True):
        at = np.arange(start, stop)
        degree = min(1, len(at) - 1)
        line = np.polyfit(at, values[start:stop], degree, w=np.sqrt(weights[start:stop]))
        total += (weights[start:stop] * (values[start:stop] - np.polyval(line, at)) ** 2).sum()
    return total


@pytest.mark.parametrize("seed", SEEDS)
def test_pieces_are_the_cheapest_of_all(seed: int) -> None:
    """No other set of breaks is cheaper."""
    rng = np.random.default_rng(seed)
    values, weights = np.cumsum(rng.normal(size=9)), rng.uniform(0.5, 2, size=9)

    starts = fit_segments(values, weights, piece_cost=0.5, min_length=2)

    found = cost_of(values, weights, starts.tolist(), 0.5)
    for bits in product([0, 1], repeat=8):
        others = [0, *(i + 1 for i, bit in enumerate(bits) if bit)]
        if min(np.diff([*others, 9])) >= 2:
            assert found <= cost_of(values, weights, others, 0.5) + 1e-9


def test_a_series_shorter_than_a_piece_is_one_piece() -> None:
    """Too few points still give one piece from the start."""
    assert fit_segments(np.array([1.0, 5.0]), np.ones(2), piece_cost=1, min_length=4).tolist() == [
        0
    ]
