"""Where the ones are: what tells a one, and the bars over beats that are settled.

Beats carry what only they can: chord changes, the alternation of kick and snare,
the start of a section.  A logistic model for each meter says how much each beat looks
like a one with a bar around it; `pointer` decodes beats and places by it.  When beats
have been moved to their onsets, counted back to the first sound and carried through breaks,
`place_bars` gives places to those that are new, doubts to all, and hears what repeats, so
that added and dropped beats are found where they are (`repeats`).  The others keep the
places they were decoded with.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from phrasefit.meter.beat_descriptors import (
    FrameEvidence,
    describe_beats,
    nearest_frames,
    with_neighbors,
)
from phrasefit.meter.repeats import LONGEST_BEATS, link_beats, posterior_with_repeats, settle
from phrasefit.meter.statespace import (
    BELIEVED_CUT_COST,
    METERS,
    BarCourses,
    BarStates,
    bar_states,
)

METER_LAGS = (2, 3, 4, 6, 8)
# Beats that are looked at with a bar around them tell the same story several times.
EVIDENCE_SHARE = 0.5  # with the costs of `statespace`: most ones right on made songs
NOT_DECODED = -1
HOLD = 100.0  # log odds: more than any evidence, less than what is impossible
EVIDENCE_RANGE = 6.0  # no single beat decides a song


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bars:
    """The course of the bars over one song.

    `positions` and `meters` [shape=(n,)], 1 = downbeat; `posterior` [shape=(n, n_states)] of
    `states`; `meter_odds` is the log odds of three against four by song-wide evidence;
    `one_odds` ``{meter: log odds of a one [shape=(n,)]}``.
    """

    positions: np.ndarray
    meters: np.ndarray
    posterior: np.ndarray
    states: BarStates
    meter_odds: float
    one_odds: dict[int, np.ndarray]


def place_bars(
    heard: FrameEvidence,
    chains: tuple[np.ndarray, ...],
    weights: dict[str, np.ndarray],
    decoded: np.ndarray,
) -> Bars:
    """Find the bars over chains of beats, of which most have been decoded with their places.

    Parameters
    ----------
    heard : FrameEvidence
    chains : tuple of np.ndarray, frames
        Stretches of beats; bars begin anew at each.
    weights : dict of str to np.ndarray
        The observation model's `decoder_weights`.
    decoded : np.ndarray [shape=(n_beats,)]
        The state of each beat, as `pointer` found it; `NOT_DECODED` where it is open.

    Returns
    -------
    Bars
        Over all beats of all chains.
    """
    beats = np.concatenate(chains)
    rows = describe_beats(heard, beats)
    one_odds = one_log_odds(own_odds(heard, beats), rows, weights)
    meter_odds = three_log_odds(rows, weights)
    states = bar_states()
    n_beats = tuple(len(chain) for chain in chains)
    courses = BarCourses(states=states, n_beats=n_beats)
    # Spread over the song, so that a change of meter within it stays possible.
    emission = place_scores(states, one_odds, meter_odds / len(beats))
    path, posterior = courses.best(_held(emission, decoded)), courses.posterior(emission)[0]
    if len(beats) <= LONGEST_BEATS:
        links = link_beats(heard, beats)
        believed = BarCourses(states=bar_states(BELIEVED_CUT_COST), n_beats=n_beats)
        settled = settle(path, believed, emission, links)
        if not np.array_equal(settled, path):
            path, posterior = settled, posterior_with_repeats(settled, courses, emission, links)
    return Bars(
        positions=states.position[path],
        meters=states.meter[path],
        posterior=posterior,
        states=states,
        meter_odds=meter_odds,
        one_odds=one_odds,
    )


def _held(emission: np.ndarray, decoded: np.ndarray) -> np.ndarray:
    """Hold decoded beats in their places, unless no bars go through them: a bridge ties chains."""
    held, known = emission.copy(), decoded != NOT_DECODED
    held[known, decoded[known]] += HOLD
    return held


def own_odds(heard: FrameEvidence, beats: np.ndarray) -> np.ndarray:
    """The observation model's log odds of a one at each beat [shape=(n_beats,)]."""
    return heard.downbeat[nearest_frames(beats, len(heard.downbeat))]


def one_log_odds(
    own: np.ndarray, rows: np.ndarray, weights: dict[str, np.ndarray]
) -> dict[int, np.ndarray]:
    """Log odds that each beat is a one, for each meter [shape=(n_beats,)].

    `own` as from `own_odds`, and what `rows` of `describe_beats` add to them.  No
    single beat may decide a song: the odds are bounded.
    """
    around, share = with_neighbors(rows), own_share(weights)
    odds = {}
    for meter in METERS:
        fitted = weights[f"one_in_{meter}"]
        sum_ = around @ fitted[:-1] + fitted[-1] + share * own
        odds[meter] = np.clip(sum_, -EVIDENCE_RANGE, EVIDENCE_RANGE)
    return odds


def own_share(weights: dict[str, np.ndarray]) -> float:
    """How much of the model's own odds of a one counts.

    A network that errs, errs in the same way through a whole song; chords and accents
    are told apart from it and seldom err with it.
    """
    return float(weights.get("own_share", 1.0))


def three_log_odds(rows: np.ndarray, weights: dict[str, np.ndarray]) -> float:
    """Log odds that the song is in three rather than in four."""
    return float(meter_evidence(rows) @ weights["three"][:-1] + weights["three"][-1])


def meter_evidence(rows: np.ndarray) -> np.ndarray:
    """How alike beats are that lie 2, 3, 4, 6 and 8 apart [shape=(n_columns,)].

    Descriptors are put together in four groups: low onsets, high onsets, harmony and
    bass, sound as a whole.
    """
    groups = (rows[:, 0:2], rows[:, 3:7], rows[:, 21:26], rows[:, 26:28])
    evidence = []
    for group in groups:
        centred = group - group.mean(axis=0)
        power = (centred**2).mean() + 1e-6
        for lag in METER_LAGS:
            same = centred[lag:] * centred[:-lag] if len(rows) > lag + 4 else np.zeros((1, 1))
            evidence.append(same.mean() / power)
    return np.array(evidence)


def place_scores(
    states: BarStates, one_odds: dict[int, np.ndarray], three_share: float
) -> np.ndarray:
    """Log probability of what is heard in each state at each beat [shape=(n_beats, n_states)].

    `three_share` is added in bars of three: a beat's share of the song-wide odds.
    """
    scores = np.empty((len(next(iter(one_odds.values()))), len(states.position)))
    for meter, odds in one_odds.items():
        share = three_share if meter == 3 else 0.0
        shared = EVIDENCE_SHARE * odds
        one, other = -np.logaddexp(0, -shared), -np.logaddexp(0, shared)
        for column in np.flatnonzero(states.meter == meter):
            scores[:, column] = (one if states.position[column] == 1 else other) + share
    return scores
