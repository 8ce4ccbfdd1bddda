"""Whether there is a pulse at all: one probability, from what tracking has found anyway.

A tracker finds chains in anything that has onsets.  What tells music from speech, noise,
crowds and free playing is how far beats stand out, how much of all that sounds like a beat
lies on them, how even they are, how much of the song they cover, and whether ones come
back; no single one of these tells, so a logistic model weighs them, fitted by
`phrasefit.training.pulse`.
"""

from __future__ import annotations

import numpy as np

from phrasefit.meter.bars import one_log_odds, own_odds
from phrasefit.meter.beat_descriptors import FrameEvidence, describe_beats, nearest_frames
from phrasefit.meter.confidence import judge_beats, log_odds_of, probability_by
from phrasefit.meter.tempo_readings import Reading, clearness_of_ones

ON_BEAT_FRAMES = 2
ENOUGH_BEATS = 128  # a minute tells as much of a pulse as an hour


def judge_pulse(
    heard: FrameEvidence,
    readings: list[Reading],
    chains: list[np.ndarray],
    weights: dict[str, np.ndarray],
) -> float:
    """Probability that somebody could tap along.

    Parameters
    ----------
    heard : FrameEvidence
    readings : list of Reading
        All that were found, the chosen one first.
    chains : list of np.ndarray, frames
        The beats as decoded.
    weights : dict of str to np.ndarray
        The observation model's `decoder_weights`.

    Returns
    -------
    float
        As if music with and sounds without a pulse were given equally often.
    """
    return probability_by(weights["pulse"], pulse_margins(heard, readings, chains, weights))


def pulse_margins(
    heard: FrameEvidence,
    readings: list[Reading],
    chains: list[np.ndarray],
    weights: dict[str, np.ndarray],
) -> np.ndarray:
    """What the pulse is judged by [shape=(n_columns,)].

    Log odds of the beats; beat gain on them and between; evidence in units of what chance
    brings; share of all that sounds like a beat that lies on them; how much steps change;
    share of the time they cover; their number, at most `ENOUGH_BEATS`; best fit of ones at
    even distances and its lead, the better of three and four.
    """
    beats, n_frames = np.concatenate(chains), len(heard.gain)
    n_beats = min(len(beats), ENOUGH_BEATS)
    steps = [np.diff(chain) for chain in chains]
    usual = np.median(np.concatenate(steps))
    change = np.concatenate([np.abs(np.diff(step)) for step in steps]).mean() / usual
    between = np.concatenate([(chain[1:] + chain[:-1]) / 2 for chain in chains])
    gain_on, gain_between = (
        heard.gain_near[nearest_frames(at, n_frames)].mean() for at in (beats, between)
    )
    rows = describe_beats(heard, beats)
    ones = clearness_of_ones(one_log_odds(own_odds(heard, beats), rows, weights)).reshape(-1, 4)
    best = ones[ones[:, 0].argmax()]
    return np.array(
        [
            log_odds_of(judge_beats(heard, readings, weights)),
            gain_on,
            gain_between,
            np.log1p(max(gain_on, 0.0) * np.sqrt(n_beats)),
            share_on_beats(heard, chains),
            np.log(change + 1e-3),
            sum(step.sum() for step in steps) / n_frames,
            np.log(n_beats),
            best[0],
            best[1],
        ]
    )


def share_on_beats(heard: FrameEvidence, chains: list[np.ndarray]) -> float:
    """How much of all that sounds like a beat, from first to last beat, lies on the beats."""
    gain = heard.gain
    inner = gain[1:-1]
    is_peak = (inner > gain[:-2]) & (inner >= gain[2:]) & (inner > 0)
    peaks = np.flatnonzero(is_peak) + 1
    on_beats = everywhere = 0.0
    for chain in chains:
        near = (peaks >= chain[0] - ON_BEAT_FRAMES) & (peaks <= chain[-1] + ON_BEAT_FRAMES)
        here = peaks[near]
        after = np.clip(np.searchsorted(chain, here), 1, len(chain) - 1)
        distance = np.minimum(np.abs(here - chain[after - 1]), np.abs(here - chain[after]))
        on_beats += gain[here][distance <= ON_BEAT_FRAMES].sum()
        everywhere += gain[here].sum()
    return float(on_beats / everywhere) if everywhere else 0.0
