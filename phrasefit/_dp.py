"""Exact dynamic-programming kernels on plain arrays; they know no music.

* `viterbi` and `forward_backward`: small dense hidden Markov models.
* `track_events`: the best chain of events whose gaps change slowly, with stretches
  that have no events at all (a semi-Markov model).
* `fit_segments`: the best piecewise-linear fit with a price for each piece.

All scores are logarithms; the higher the better.  Tests compare each kernel with
brute force.  May import: NumPy.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

IMPOSSIBLE = -1e9  # a log score that no path can pay, finite so that sums stay numbers


def viterbi(
    log_start: np.ndarray, log_transition: np.ndarray, log_emission: np.ndarray
) -> tuple[np.ndarray, float]:
    """Find the best state path of a hidden Markov model.

    Parameters
    ----------
    log_start : np.ndarray [shape=(n_states,)]
    log_transition : np.ndarray [shape=(n_states, n_states)]
        Row = from, column = to.
    log_emission : np.ndarray [shape=(n_steps, n_states)]

    Returns
    -------
    (path [shape=(n_steps,), int], score)

    References
    ----------
    A. Viterbi, "Error bounds for convolutional codes and an asymptotically optimum
    decoding algorithm", 1967.
    """
    n_steps, n_states = log_emission.shape
    back = np.zeros((n_steps, n_states), dtype=np.int32)
    score = log_start + log_emission[0]
    columns = np.arange(n_states)
    for step in range(1, n_steps):
        through = score[:, None] + log_transition
        back[step] = through.argmax(axis=0)
        score = through[back[step], columns] + log_emission[step]
    path = np.zeros(n_steps, dtype=np.int64)
    path[-1] = int(score.argmax())
    for step in range(n_steps - 1, 0, -1):
        path[step - 1] = back[step, path[step]]
    return path, float(score.max())


def forward_backward(
    log_start: np.ndarray, log_transition: np.ndarray, log_emission: np.ndarray
) -> tuple[np.ndarray, float]:
    """Compute the probability of each state at each step, given all evidence.

    Parameters are those of `viterbi`.

    Returns
    -------
    (posterior [shape=(n_steps, n_states), rows sum to 1], log likelihood)

    References
    ----------
    L. Rabiner, "A tutorial on hidden Markov models and selected applications in
    speech recognition", 1989 (scaled recursion).
    """
    n_steps, n_states = log_emission.shape
    transition = np.exp(log_transition)
    peak = log_emission.max(axis=1, keepdims=True)
    emission = np.exp(log_emission - peak)
    alpha = np.empty((n_steps, n_states))
    scale = np.empty(n_steps)
    start_peak = log_start.max()
    current = np.exp(log_start - start_peak) * emission[0]
    for step in range(n_steps):
        if step:
            current = (alpha[step - 1] @ transition) * emission[step]
        scale[step] = current.sum()
        alpha[step] = current / scale[step]
    beta = np.ones((n_steps, n_states))
    for step in range(n_steps - 2, -1, -1):
        beta[step] = transition @ (emission[step + 1] * beta[step + 1]) / scale[step + 1]
    posterior = alpha * beta
    posterior /= posterior.sum(axis=1, keepdims=True)
    return posterior, float(np.log(scale).sum() + peak.sum() + start_peak)


# --------------------------------------------------------------- event chains


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GapModel:
    """How far apart events may be, and what it costs when the gap changes.

    There are ``n`` rates in order.  At rate ``k`` the gap to the event before is one of
    `gaps` ``[k]`` [shape=(n, n_gaps), steps] at `gap_cost` ``[k]`` [same shape].
    From one event to the next the rate may move by up to `reach` places for
    `move_cost` a place.  A chain begins at rate ``k`` for `start_cost` ``[k]`` [shape=(n,)].
    To break off and begin another chain later costs `break_cost` besides; the last chain
    ends for nothing.  Before, between and after chains nothing is gained.
    """

    gaps: np.ndarray
    gap_cost: np.ndarray
    start_cost: np.ndarray
    break_cost: float
    move_cost: float
    reach: int

    def move_costs(self) -> np.ndarray:
        """Cost of each move from ``-reach`` to ``+reach`` places."""
        return self.move_cost * np.abs(np.arange(-self.reach, self.reach + 1))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Chain:
    """Consecutive events: `steps` [shape=(n,), increasing] and their `rates`."""

    steps: np.ndarray
    rates: np.ndarray


def track_events(gain: np.ndarray, model: GapModel) -> tuple[list[Chain], float]:
    """Find the chains of events with the highest sum of gains less costs.

    Parameters
    ----------
    gain : np.ndarray [shape=(n_steps,)]
        What an event at each step brings; negative where one is unlikely.
    model : GapModel
        Which chains are possible and what they cost.

    Returns
    -------
    (chains in order of time, score)

    Notes
    -----
    With ``Q[t, k]`` the best score of a path whose last event is at ``t`` with rate ``k``::

        R[t, k] = max over k' near k of  Q[t, k'] - move_cost |k - k'|
        Q[t, k] = gain[t] + max(max over gaps g of R[t - g, k] - gap_cost, F[t] - start_cost[k])
        F[t+1]  = max(F[t], max over k of Q[t, k] - break_cost)

    ``F`` is the best score without a running chain; the answer is the best of all
    ``Q`` and the last ``F``.  Nothing within the shortest gap
    depends on each other, so that many steps are computed at once.
    O(n_steps * n_rates * (n_gaps + reach)).
    """
    tables = _fill_tables(np.asarray(gain, dtype=np.float32), model)
    end = np.unravel_index(tables.best.argmax(), tables.best.shape)
    if tables.best[end] <= tables.free[-1]:
        return [], 0.0
    last = (int(end[0]) - tables.pad, int(end[1]) - model.reach)
    return _trace_chains(tables, model, *last), float(tables.best[end])


@dataclass(frozen=True, slots=True, eq=False)
class _Tables:
    """`best` is Q padded by `pad` steps and `reach` rates; `gap_index` -1 = chain start."""

    best: np.ndarray
    gap_index: np.ndarray
    free: np.ndarray
    last_event: np.ndarray
    last_rate: np.ndarray
    pad: int


def _fill_tables(gain: np.ndarray, model: GapModel) -> _Tables:
    n_steps, n_rates = gain.size, len(model.gaps)
    pad, block = int(model.gaps.max()), int(model.gaps.min())
    reach = model.reach
    best = np.full((n_steps + pad, n_rates + 2 * reach), IMPOSSIBLE, dtype=np.float32)
    moved = np.full((n_steps + pad, n_rates), IMPOSSIBLE, dtype=np.float32)
    gap_index = np.full((n_steps, n_rates), -1, dtype=np.int8)
    free = np.zeros(n_steps + 1)
    last_event = np.full(n_steps + 1, -1, dtype=np.int64)
    last_rate = np.zeros(n_steps + 1, dtype=np.int64)
    gap_cost, start_cost = model.gap_cost.astype(np.float32), model.start_cost.astype(np.float32)
    cheapest_start = float(start_cost.min())
    rates = np.arange(n_rates)[None, :, None]
    for start in range(0, n_steps, block):
        steps = np.arange(start, min(start + block, n_steps))
        reached = moved[steps[:, None, None] + pad - model.gaps, rates] - gap_cost
        continued = reached.max(axis=2)
        top = gain[steps] + continued.max(axis=1)
        for step, top_here in zip(steps.tolist(), top.tolist(), strict=True):
            ended = max(top_here, float(gain[step]) + free[step] - cheapest_start)
            free[step + 1] = max(free[step], ended - model.break_cost)
        begun = free[steps, None].astype(np.float32) - start_cost
        is_start = begun > continued
        score = gain[steps, None] + np.where(is_start, begun, continued)
        gap_index[steps] = np.where(is_start, -1, reached.argmax(axis=2))
        rose = free[steps + 1] > free[steps]
        last_event[steps[rose] + 1] = steps[rose]
        last_rate[steps[rose] + 1] = score[rose].argmax(axis=1)
        rows = slice(start + pad, steps[-1] + 1 + pad)
        best[rows, reach : reach + n_rates] = score
        for move, cost in zip(range(2 * reach + 1), model.move_costs(), strict=True):
            shifted = best[rows, move : move + n_rates] - np.float32(cost)
            np.maximum(moved[rows], shifted, out=moved[rows])
    return _Tables(best, gap_index, free, last_event, last_rate, pad)


def _trace_chains(tables: _Tables, model: GapModel, event: int, rate: int) -> list[Chain]:
    """Walk back from the last event of the last chain."""
    chains = []
    move_costs = model.move_costs()
    while event >= 0:
        events, rates = [event], [rate]
        while (gap := tables.gap_index[event, rate]) >= 0:
            event -= int(model.gaps[rate, gap])
            near = tables.best[event + tables.pad, rate : rate + 2 * model.reach + 1] - move_costs
            rate += int(near.argmax()) - model.reach
            events.append(event)
            rates.append(rate)
        chains.append(Chain(steps=np.array(events[::-1]), rates=np.array(rates[::-1])))
        event, rate = _break_before(tables, event)
    return chains[::-1]


def _break_before(tables: _Tables, step: int) -> tuple[int, int]:
    """Last event, and its rate, of the chain that was broken off before `step`; -1 if none."""
    while step > 0 and tables.last_event[step] < 0:
        step -= 1
    return int(tables.last_event[step]), int(tables.last_rate[step])


# ------------------------------------------------------------ piecewise lines


def fit_segments(
    values: np.ndarray, weights: np.ndarray, *, piece_cost: float, min_length: int = 2
) -> np.ndarray:
    """Fit straight pieces to a series, as few as their price allows.

    Parameters
    ----------
    values, weights : np.ndarray [shape=(n,)]
        The series over 0, 1, 2 ... and how much each point counts.
    piece_cost : float
        Price of one more piece, in units of weighted squared error.
    min_length : int
        Fewest points of a piece.

    Returns
    -------
    np.ndarray [shape=(n_pieces,)]
        First index of each piece; the first is 0.

    Notes
    -----
    Exact, by dynamic programming over the last break; O(n^2) with running sums
    (R. Bellman, "On the approximation of curves by line segments using dynamic
    programming", 1961).
    """
    n = len(values)
    errors = _line_errors(np.asarray(values, np.float64), np.asarray(weights, np.float64))
    total = np.full(n + 1, np.inf)
    total[0] = 0.0
    cut = np.zeros(n + 1, dtype=np.int64)
    for end in range(1, n + 1):
        latest = max(end - min_length, 0) if end < n or end >= min_length else 0
        options = total[: latest + 1] + errors(latest + 1, end) + piece_cost
        cut[end] = int(options.argmin())
        total[end] = options[cut[end]] if end >= min_length or end == n else np.inf
    breaks, end = [], n
    while end > 0:
        end = int(cut[end])
        breaks.append(end)
    return np.array(breaks[::-1])


def _line_errors(values: np.ndarray, weights: np.ndarray):
    """Return f(n_starts, end): weighted squared error of the best line on [s, end)."""
    x = np.arange(len(values), dtype=np.float64)
    middle = values - values.mean()
    sums = [
        np.concatenate([[0.0], np.cumsum(weights * a)])
        for a in (np.ones_like(x), x, middle, x * x, x * middle, middle * middle)
    ]

    def errors(n_starts: int, end: int) -> np.ndarray:
        w, wx, wy, wxx, wxy, wyy = (s[end] - s[:n_starts] for s in sums)
        w = np.maximum(w, 1e-12)
        xx, xy, yy = wxx - wx * wx / w, wxy - wx * wy / w, wyy - wy * wy / w
        slope_part = np.where(xx > 1e-9, xy * xy / np.maximum(xx, 1e-9), 0.0)
        return np.maximum(yy - slope_part, 0.0)

    return errors
