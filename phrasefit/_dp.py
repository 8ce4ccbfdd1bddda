"""Exact dynamic-programming kernels on plain arrays; they know no music.

* `viterbi` and `forward_backward`: small dense hidden Markov models.
* `track_events`: the best chain of events whose gaps change slowly and which move through
  places, with stretches that have no events at all (a semi-Markov model).
* `fit_segments`: the best piecewise-linear fit with a price for each piece.

All scores are logarithms; the higher the better.  Tests compare each kernel with
brute force.
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
class Places:
    """Where events can be in a course of their own, whatever their rate.

    A chain begins in place ``p`` for `log_start` ``[p]`` [shape=(n_places,)]; from one event to
    the next it moves as `log_transition` [shape=(n_places, n_places), row = from] allows.
    """

    log_start: np.ndarray
    log_transition: np.ndarray


NO_PLACES = Places(log_start=np.zeros(1), log_transition=np.zeros((1, 1)))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Chain:
    """Consecutive events: `steps` [shape=(n,), increasing], their `rates` and `places`."""

    steps: np.ndarray
    rates: np.ndarray
    places: np.ndarray


def track_events(
    gain: np.ndarray, model: GapModel, places: Places = NO_PLACES
) -> tuple[list[Chain], float]:
    """Find the chains of events with the highest sum of gains less costs.

    Parameters
    ----------
    gain : np.ndarray [shape=(n_steps,) or (n_steps, n_places)]
        What an event at each step, in each place, brings; negative where one is unlikely.
    model : GapModel
        Which chains are possible and what they cost.
    places : Places, optional
        The course through places that events follow besides; by default there is one place.

    Returns
    -------
    (chains in order of time, score)

    Notes
    -----
    With ``Q[t, k, p]`` the best score of a path whose last event is at ``t`` with rate ``k``
    in place ``p``::

        R[t, k, p] = max over k' near k of  Q[t, k', p] - move_cost |k - k'|
        S[t, k, p] = max over p' of  R[t, k, p'] + log_transition[p', p]
        Q[t, k, p] = gain[t, p] + max(max over gaps g of S[t - g, k, p] - gap_cost,
                                      F[t] - start_cost[k] + log_start[p])
        F[t + 1]   = max(F[t], max over k, p of Q[t, k, p] - break_cost)

    ``F`` is the best score without a running chain; the answer is the best of all
    ``Q`` and the last ``F``.  Nothing within the shortest gap depends on each other, so
    that many steps are computed at once.  Only scores are kept: which of the options was
    the best is asked again for the events of the answer.
    O(n_steps * n_rates * n_places * (n_gaps + reach + n_places)).
    """
    search = _Search(gain, model, places)
    search.fill()
    end = int(search.best.max(axis=(1, 2)).argmax())
    score = float(search.best[end].max())
    return (search.trace(end), score) if score > search.free[-1] else ([], 0.0)


class _Search:
    """Tables of one search: `best` is Q, `onward` is S after as many steps as the longest gap.

    `best` has `reach` impossible rates to each side, so that moves are slices.
    """

    def __init__(self, gain: np.ndarray, model: GapModel, places: Places) -> None:
        self.model = model
        self.gain = np.asarray(gain, dtype=np.float32).reshape(len(gain), -1)
        self.start = (places.log_start - model.start_cost[:, None]).astype(np.float32)
        self.step = places.log_transition.astype(np.float32)
        self.gap_cost = model.gap_cost.astype(np.float32)
        self.move_cost = model.move_costs().astype(np.float32)
        self.pad = int(model.gaps.max())
        n_steps, (n_rates, n_places) = len(self.gain), self.start.shape
        shape = (n_steps, n_rates + 2 * model.reach, n_places)
        self.best = np.full(shape, IMPOSSIBLE, dtype=np.float32)
        shape = (n_steps + self.pad, n_rates, n_places)
        self.onward = np.full(shape, IMPOSSIBLE, dtype=np.float32)
        self.free = np.zeros(n_steps + 1)
        # What a chain of one event is worth when it has been broken off.
        self.alone = (self.gain + self.start.max(axis=0)).max(axis=1) - float(model.break_cost)
        # Few steps are possible, so that only each place's own sources are asked.
        n_sources = max(1, int((self.step > IMPOSSIBLE / 2).sum(axis=0).max()))
        self.sources = np.argsort(-self.step, axis=0)[:n_sources]
        self.source_step = np.take_along_axis(self.step, self.sources, axis=0)

    def fill(self) -> None:
        """Compute all scores, a block of steps at a time.

        Rates and places lie side by side in columns: the fewer the axes, the faster.
        """
        model, (n_steps, n_places) = self.model, self.gain.shape
        rates, block = np.arange(len(self.start)), int(model.gaps.min())
        start, n_columns = self.start.ravel(), self.start.size
        place_of = np.tile(np.arange(n_places), len(rates))
        gap_cost = np.repeat(self.gap_cost.T, n_places, axis=1)[:, None]
        best, onward = self.best.reshape(n_steps, -1), self.onward.reshape(-1, n_places)
        middle = model.reach * n_places
        for first in range(0, n_steps, block):
            steps = np.arange(first, min(first + block, n_steps))
            before = steps[:, None] + self.pad - model.gaps.T[:, None]  # (n_gaps, steps, rates)
            reached = onward.take(before * len(rates) + rates, axis=0)
            score = (reached.reshape(*before.shape[:2], -1) - gap_cost).max(axis=0)
            gain = self.gain[steps[:, None], place_of]
            score += gain
            self._end_chains(steps, score.max(axis=1).astype(np.float64))
            free = self.free[steps, None].astype(np.float32)
            np.maximum(score, free + start + gain, out=score)
            rows = best[first : first + len(steps)]
            rows[:, middle : middle + n_columns] = score
            for move, cost in enumerate(self.move_cost):
                near = rows[:, move * n_places : move * n_places + n_columns]
                np.maximum(score, near - cost, out=score)
            moved = score.reshape(len(steps), -1, n_places)
            self.onward[self.pad + steps] = self._stepped(moved)

    def _stepped(self, score: np.ndarray) -> np.ndarray:
        """Best score by the place after the next step [shape as given, places last]."""
        return (score[..., self.sources] + self.source_step).max(axis=-2)

    def _end_chains(self, steps: np.ndarray, top: np.ndarray) -> None:
        """Update F over a block: the best that has ended, or goes on with chains of one event.

        What lone events add up to is taken off, so that what is left is a running maximum.
        """
        lone = np.cumsum(np.maximum(self.alone[steps], 0.0))
        ended = np.maximum.accumulate(top - self.model.break_cost - lone)
        self.free[steps + 1] = np.maximum(ended, self.free[steps[0]]) + lone

    def trace(self, event: int) -> list[Chain]:
        """Walk back from the last event of the last chain."""
        chains = []
        while event >= 0:
            chain = self._trace_chain(event)
            chains.append(chain)
            event = self._break_before(int(chain.steps[0]))
        return chains[::-1]

    def _trace_chain(self, event: int) -> Chain:
        """Walk back from the last event of a chain to its first."""
        model, reach = self.model, self.model.reach
        rate, place = np.unravel_index(self.best[event].argmax(), self.best[event].shape)
        rate -= reach
        found = [(event, rate, place)]
        while True:
            gaps = model.gaps[rate]
            reached = self.onward[event + self.pad - gaps, rate, place] - self.gap_cost[rate]
            if np.float32(self.free[event]) + self.start[rate, place] > reached.max():
                break
            event -= int(gaps[reached.argmax()])
            near = self.best[event, rate : rate + 2 * reach + 1] - self.move_cost[:, None]
            near = near + self.step[:, place]
            move, place = np.unravel_index(near.argmax(), near.shape)
            rate += move - reach
            found.append((event, rate, place))
        steps, rates, places = np.array(found[::-1]).T
        return Chain(steps=steps, rates=rates, places=places)

    def _break_before(self, step: int) -> int:
        """Last event of the chain that was broken off before `step`; -1 if there is none."""
        while step > 0 and self.free[step] == self.free[step - 1]:
            step -= 1
        return step - 1


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
