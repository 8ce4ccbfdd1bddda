"""The states that the decoders move through: gaps between beats, positions in bars."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from phrasefit._dp import IMPOSSIBLE, GapModel, forward_backward, viterbi

LOW_BPM, HIGH_BPM = 55.0, 215.0  # what dancers count, waltzes and fast two-steps included
RATE_STEP = 0.025  # neighbouring tempos differ by this share
GAP_SPREAD_FRAMES = 2  # a beat may come this many frames early or late
PLAYED_SPREAD = 0.02  # of a gap: how unevenly people play from beat to beat
ROUNDING_FRAMES = 0.55  # spread that rounding to frames brings by itself
MOVE_COST = 6.0  # for each `RATE_STEP` of tempo change from beat to beat
MOVE_REACH = 3
START_COST = 6.0  # so that a few chance hits are not taken for a pulse
BREAK_COST = 20.0  # music seldom stops and begins again out of phase
# Tempos of released songs: median 119, wider than measured (74-150 for 90 % of the Harmonix Set)
# because slow ballads and fast waltzes are danced to as well.
USUAL_BPM, USUAL_SPREAD = 118.0, 0.45

METERS = (4, 3)
EXTRA_BEATS = 2  # a bar may be this much longer than its meter
CUT_COST = 13.0  # a bar that ends early or late, as log probability
# The same where all of the song speaks, its repeats as well: what is repeated is heard many times
# over, so that a cut which is there gains far more than the first price.  With this one a
# false odd bar is rare, and of true ones few are lost (see `tests/accuracy/odd_bars.py`).
BELIEVED_CUT_COST = 38.0
METER_CHANGE_COST = 20.0


def beat_gaps(
    frames_per_s: float, low_bpm: float = LOW_BPM, high_bpm: float = HIGH_BPM
) -> tuple[GapModel, np.ndarray]:
    """Lay out the tempos between two bounds, and what beats at each may do.

    Returns
    -------
    (GapModel over frames, gap of each rate [shape=(n_rates,), frames])
    """
    n_rates = max(2, round(np.log(high_bpm / low_bpm) / RATE_STEP) + 1)
    bpm = np.geomspace(low_bpm, high_bpm, n_rates)
    gap = 60.0 * frames_per_s / bpm
    offsets = np.arange(-GAP_SPREAD_FRAMES, GAP_SPREAD_FRAMES + 1)
    gaps = np.rint(gap).astype(np.int64)[:, None] + offsets
    spread = np.maximum(ROUNDING_FRAMES, PLAYED_SPREAD * gap)[:, None]
    prior = -0.5 * (np.log(bpm / USUAL_BPM) / USUAL_SPREAD) ** 2
    prior -= np.log(np.exp(prior).sum())
    model = GapModel(
        gaps=gaps,
        gap_cost=0.5 * ((gaps - gap[:, None]) / spread) ** 2,
        start_cost=START_COST - prior,
        break_cost=BREAK_COST,
        move_cost=MOVE_COST,
        reach=min(MOVE_REACH, n_rates - 1),
    )
    return model, gap


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BarStates:
    """All places in a bar, in every meter: state ``i`` is `position` ``[i]`` of `meter` ``[i]``."""

    meter: np.ndarray
    position: np.ndarray
    log_start: np.ndarray
    log_transition: np.ndarray
    cut_cost: float


def bar_states(cut_cost: float = CUT_COST) -> BarStates:
    """Build the bar pointer: from each position to the next, or at a price elsewhere.

    Notes
    -----
    A bar of meter ``m`` runs 1, 2 ... m and begins again.  For `cut_cost` it may end
    early (after two beats or more) or run on for up to `EXTRA_BEATS`.  At the end of a bar
    the meter may change for `METER_CHANGE_COST`.  The idea of a pointer moving through the
    bar is from N. Whiteley, A. Cemgil and S. Godsill, "Bayesian modelling of
    temporal structure in musical audio", 2006; the compact beat-wise states follow
    F. Krebs, S. Boeck and G. Widmer, "An efficient state-space model for joint
    tempo and meter tracking", 2015 (both from memory).
    """
    meter = np.repeat(METERS, [m + EXTRA_BEATS for m in METERS])
    position = np.concatenate([np.arange(1, m + EXTRA_BEATS + 1) for m in METERS])
    n = len(meter)
    transition = np.full((n, n), IMPOSSIBLE)
    for a in range(n):
        for b in range(n):
            here, there = (meter[a], position[a]), (meter[b], position[b])
            transition[a, b] = -_move_cost(*here, *there, cut_cost)
    return BarStates(
        meter=meter,
        position=position,
        log_start=np.where(position <= meter, -np.log(meter), IMPOSSIBLE),
        log_transition=transition,
        cut_cost=cut_cost,
    )


def _move_cost(
    meter: int, position: int, next_meter: int, next_position: int, cut_cost: float
) -> float:
    """Cost of one beat's step from place to place."""
    if next_position != 1:
        if next_meter != meter or next_position != position + 1:
            return -IMPOSSIBLE
        return cut_cost if next_position == meter + 1 else 0.0
    if position < 2:
        return -IMPOSSIBLE
    cut = cut_cost if position < meter else 0.0
    return cut + (METER_CHANGE_COST if next_meter != meter else 0.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BarCourses:
    """All courses of bars over chains of beats; bars begin anew at each chain.

    `n_beats` are the lengths of the chains.  Paths [shape=(n,)] and emissions
    [shape=(n, n_states)] run over the beats of all chains.
    """

    states: BarStates
    n_beats: tuple[int, ...]

    def best(self, emission: np.ndarray) -> np.ndarray:
        """Find the best path, as indices of states."""
        states = self.states
        return np.concatenate(
            [viterbi(states.log_start, states.log_transition, e)[0] for e in self._split(emission)]
        )

    def posterior(self, emission: np.ndarray) -> tuple[np.ndarray, float]:
        """Compute the probability of each state at each beat, and the log likelihood of all."""
        start, transition = self.states.log_start, self.states.log_transition
        parts = [forward_backward(start, transition, e) for e in self._split(emission)]
        return np.concatenate([part for part, _ in parts]), sum(score for _, score in parts)

    def score(self, path: np.ndarray, emission: np.ndarray) -> float:
        """Log probability of a path, as `best` maximizes it."""
        total = emission[np.arange(len(path)), path].sum()
        for part in self._split(path):
            total += self.states.log_start[part[0]]
            total += self.states.log_transition[part[:-1], part[1:]].sum()
        return float(total)

    def _split(self, rows: np.ndarray) -> list[np.ndarray]:
        return np.split(rows, np.cumsum(self.n_beats)[:-1])
