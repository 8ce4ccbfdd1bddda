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
SEGMENT_STEPS = 1 << 14  # of the tables of `track_events`; of frames five minutes


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
    that many steps are computed at once.  Only scores are kept, those of `SEGMENT_STEPS` at a
    time: which of the options was the best is asked again for the events of the answer.
    O(n_steps * n_rates * n_places * (n_gaps + reach + n_places)).
    """
    search = _Search(gain, model, places)
    end, score = search.fill()
    return (search.trace(end), score) if score > search.free[-1] else ([], 0.0)


class _Search:
    """One search: `best` is Q, `onward` is S after as many steps as the longest gap.

    Both hold one segment of steps at a time, from `first` on.  Of the others only `kept` is
    there, the scores that a segment looks back to: `trace` fills them again.  `best` has
    `reach` impossible rates to each side and a row too many, so that a move shifts all rows.
    """

    def __init__(self, gain: np.ndarray, model: GapModel, places: Places) -> None:
        self.model = model
        self.gain = np.asarray(gain, dtype=np.float32).reshape(len(gain), -1)
        self.start = (places.log_start - model.start_cost[:, None]).astype(np.float32)
        self.step = places.log_transition.astype(np.float32)
        self.gap_cost = model.gap_cost.astype(np.float32)
        self.move_cost = model.move_costs().astype(np.float32)
        self.pad, self.block = int(model.gaps.max()), int(model.gaps.min())
        self.segment = self.block * max(1, SEGMENT_STEPS // self.block)
        n_steps, (n_rates, n_places) = len(self.gain), self.start.shape
        n_rows = min(n_steps, self.segment)
        shape = (n_rows + 1, n_rates + 2 * model.reach, n_places)
        self.best = np.full(shape, IMPOSSIBLE, dtype=np.float32)
        self.onward = np.full((self.pad + n_rows, *self.start.shape), IMPOSSIBLE, dtype=np.float32)
        self.first, self.kept = 0, [self.onward[: self.pad].copy()]
        # Chains of one event that have been broken off add up to `lone`; F less that only rises.
        alone = (self.gain + self.start.max(axis=0)).max(axis=1) - float(model.break_cost)
        self.lone = np.append(0.0, np.cumsum(np.maximum(alone, 0.0, dtype=np.float64)))
        self.break_cost = self.lone + model.break_cost
        self.risen, self.free = np.zeros(n_steps + 1), np.zeros(n_steps + 1)
        # Few steps are possible, so that only each place's own sources are asked.
        n_sources = (self.step > IMPOSSIBLE / 2).sum(axis=0)
        self.sources = np.argsort(-self.step, axis=0)[: max(1, int(n_sources.max()))]
        self.source_step = np.take_along_axis(self.step, self.sources, axis=0)
        self.meeting = np.flatnonzero(n_sources > 1)  # places with several sources

    def fill(self) -> tuple[int, float]:
        """Compute all scores; gives the last event of the best path, and its score."""
        end, score = 0, -np.inf
        for first in range(0, len(self.gain), self.segment):
            if first:
                self.kept.append(self.onward[-self.pad :].copy())
            top = self._fill_segment(first)
            if top.max() > score:
                end, score = first + int(top.argmax()), float(top.max())
        return end, score

    def _fill_segment(self, first: int) -> np.ndarray:
        """Compute the scores of a segment, a block at a time; gives the best of each step.

        Rates and places lie side by side in columns: the fewer the axes, the faster.
        """
        self.first = first
        self.onward[: self.pad] = self.kept[first // self.segment]
        n_rates, n_places = self.start.shape
        n_columns, middle = self.start.size, self.model.reach * n_places
        n_rows = min(self.segment, len(self.gain) - first)
        start, onward = self.start.ravel(), self.onward.reshape(-1, n_places)
        best = self.best.reshape(len(self.best), -1)
        width = best.shape[1]
        near = np.lib.stride_tricks.sliding_window_view(best.ravel(), best.size - width)
        near = near[: 2 * middle + 1 : n_places]  # (moves, steps and columns)
        move_cost = self.move_cost[:, None]
        gap_cost = np.repeat(self.gap_cost.T, n_places, axis=1)[:, None]
        gain = np.tile(self.gain[first : first + n_rows], n_rates)
        before = np.arange(self.block)[:, None] + self.pad - self.model.gaps.T[:, None]
        before = before * n_rates + np.arange(n_rates)  # (n_gaps, block, rates)
        for row in range(0, n_rows, self.block):
            rows = slice(row, min(row + self.block, n_rows))
            n_now = rows.stop - row
            reached = onward[row * n_rates :].take(before[:, :n_now], axis=0)
            reached = reached.reshape(len(before), n_now, -1)
            reached -= gap_cost
            score = best[rows, middle : middle + n_columns]
            np.maximum.reduce(reached, axis=0, out=score)
            gained = gain[rows]
            score += gained
            begun = start + self._end_chains(first + row, np.maximum.reduce(score, axis=1))[:, None]
            begun += gained
            np.maximum(score, begun, out=score)
            moved = near[:, row * width : rows.stop * width] - move_cost
            moved = np.maximum.reduce(moved, axis=0)
            moved = moved.reshape(n_now, width)[:, :n_columns]
            self.onward[self.pad + row : self.pad + rows.stop] = self._stepped(
                moved.reshape(n_now, *self.start.shape)
            )
        return best[:n_rows].max(axis=1)

    def _stepped(self, score: np.ndarray) -> np.ndarray:
        """Best score by the place after the next step [shape as given, places last]."""
        if score.shape[-1] == 1:
            return score + self.source_step[0]
        stepped = score[..., self.sources[0]] + self.source_step[0]
        if self.meeting.size:
            several = score[..., self.sources[:, self.meeting]] + self.source_step[:, self.meeting]
            stepped[..., self.meeting] = np.maximum.reduce(several, axis=-2)
        return stepped

    def _end_chains(self, first: int, top: np.ndarray) -> np.ndarray:
        """Update F over a block by its chains' best scores `top`; gives F at its steps."""
        steps = slice(first + 1, first + 1 + len(top))
        risen = self.risen[first : steps.stop]
        np.subtract(top, self.break_cost[steps], out=risen[1:])
        np.maximum.accumulate(risen, out=risen)
        np.add(risen[1:], self.lone[steps], out=self.free[steps])
        return self.free[first : steps.stop - 1].astype(np.float32)

    def trace(self, event: int) -> list[Chain]:
        """Walk back from the last event of the last chain."""
        chains = []
        while event >= 0:
            chain = self._trace_chain(event)
            chains.append(chain)
            event = self._break_before(int(chain.steps[0]))
        return chains[::-1]

    def _row_of(self, step: int) -> int:
        """Row of a step in the tables; fills its segment if another is there."""
        if not self.first <= step < self.first + self.segment:
            self._fill_segment(step - step % self.segment)
        return step - self.first

    def _trace_chain(self, event: int) -> Chain:
        """Walk back from the last event of a chain to its first."""
        model, reach = self.model, self.model.reach
        row, n_places = self._row_of(event), len(self.step)
        rate, place = divmod(int(self.best[row].argmax()), n_places)
        rate -= reach
        found = [(event, rate, place)]
        while True:
            gaps = model.gaps[rate]
            reached = self.onward[row + self.pad - gaps, rate, place] - self.gap_cost[rate]
            chosen = reached.argmax()
            if np.float32(self.free[event]) + self.start[rate, place] > reached[chosen]:
                break
            event -= int(gaps[chosen])
            row = self._row_of(event)
            near = self.best[row, rate : rate + 2 * reach + 1] - self.move_cost[:, None]
            near += self.step[:, place]
            move, place = divmod(int(near.argmax()), n_places)
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
