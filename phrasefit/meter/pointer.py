"""The bar pointer over frames: beats and their places in the bar, decoded together.

A frame is a beat if an onset is there, and a one if chords and accents around it say so;
where both can be read in two ways, only the two together decide.  One exact search goes
through all tempos of a reading, all places in the bar, cut bars and changes of meter.

What tells a one needs beats around it.  They are those of the reading, moved along with
the frame that is asked about: at its own beats the evidence is that of `bars`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from phrasefit._dp import Chain, Places, track_events
from phrasefit.meter.bars import one_log_odds, own_odds, place_scores, three_log_odds
from phrasefit.meter.beat_descriptors import (
    FrameEvidence,
    describe_beats,
    nearest_frames,
    usual_columns,
)
from phrasefit.meter.statespace import METERS, BarStates, bar_states
from phrasefit.meter.tempo_readings import MIN_CHAIN_BEATS, Reading, gaps_near

PARTS = 12  # of a beat, at which ones are looked for; halves, thirds and quarters are among them


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Clock:
    """How a reading counts through the whole song: `frames` and their `counts`, both rising.

    Beat ``i`` of a reading without breaks has count ``i``; the last beat has `last`.
    """

    frames: np.ndarray
    counts: np.ndarray
    last: int

    def counts_at(self, frames: np.ndarray) -> np.ndarray:
        """Count in beats, with fractions, at any frame."""
        return np.interp(frames, self.frames, self.counts)

    def frames_at(self, counts: np.ndarray) -> np.ndarray:
        """Frames at which a count, with fractions, is reached."""
        return np.interp(counts, self.counts, self.frames)


def decode_song(
    heard: FrameEvidence, reading: Reading, weights: dict[str, np.ndarray]
) -> list[Chain]:
    """Find the beats that a reading counts, and their places in the bar.

    Parameters
    ----------
    heard : FrameEvidence
    reading : Reading
        At which tempo people count, roughly where, and whether on the off-beat.
    weights : dict of str to np.ndarray
        The observation model's `decoder_weights`.

    Returns
    -------
    list of Chain
        Stretches of beats; their `steps` are frames, their `places` states of `bar_states`.

    Notes
    -----
    States are the tempo and the place in the bar at the last beat; from beat to beat both
    move as `statespace` allows, and the best path is found exactly
    (`_dp.track_events`).  The idea is that of `bar_states`.
    """
    clock, states = wind_clock(reading, len(heard.gain)), bar_states()
    model, _ = gaps_near(reading.tempo_bpm, 1.0 / heard.hop_s)
    gain = heard_gain(heard, clock, off_beat=reading.off_beat)
    marks = mark_places(heard, clock, weights, states)
    places = Places(log_start=states.log_start, log_transition=states.log_transition)
    chains, _ = track_events(gain[:, None] + marks, model, places)
    return [chain for chain in chains if len(chain.steps) >= MIN_CHAIN_BEATS]


def wind_clock(reading: Reading, n_frames: int) -> Clock:
    """Count on through breaks between chains, and to both ends of the song."""
    beats = reading.beats
    steps = np.diff(beats)
    usual = np.median(steps[reading.unbroken])
    broken = np.maximum(np.rint(steps / usual), 1)
    counts = np.append(0, np.cumsum(np.where(reading.unbroken, 1, broken)))
    beyond = np.ceil(n_frames / usual) + 2
    return Clock(
        frames=np.hstack([beats[0] - beyond * usual, beats, beats[-1] + beyond * usual]),
        counts=np.hstack([-beyond, counts, counts[-1] + beyond]),
        last=int(counts[-1]),
    )


def heard_gain(heard: FrameEvidence, clock: Clock, *, off_beat: bool) -> np.ndarray:
    """What a beat at each frame brings [shape=(n_frames,)]; off the beat, half a beat later."""
    if not off_beat:
        return heard.gain
    frames = np.arange(len(heard.gain))
    later = clock.frames_at(clock.counts_at(frames) + 0.5)
    return heard.gain[nearest_frames(later, len(frames))]


def mark_places(
    heard: FrameEvidence, clock: Clock, weights: dict[str, np.ndarray], states: BarStates
) -> np.ndarray:
    """What a beat at each frame brings by its place in the bar [shape=(n_frames, n_states)].

    Log odds against a beat in any place, on average: places say where beats are only as
    far as one place fits better there than others.
    """
    counts = np.arange(clock.last + 1)
    usual = usual_columns(heard, clock.frames_at(counts))
    meter_odds, odds = 0.0, {meter: np.empty((len(counts), PARTS)) for meter in METERS}
    for part in range(PARTS):
        beats = clock.frames_at(counts + part / PARTS)
        rows = describe_beats(heard, beats, usual)
        if part == 0:
            meter_odds = three_log_odds(rows, weights)
        for meter, found in one_log_odds(own_odds(heard, beats), rows, weights).items():
            odds[meter][:, part] = found
    scores = place_scores(states, {m: o.ravel() for m, o in odds.items()}, meter_odds / len(counts))
    scores -= scores @ (np.exp(states.log_start) / len(METERS))[:, None]
    at = np.rint(clock.counts_at(np.arange(len(heard.gain))) * PARTS).astype(np.int64)
    inside = (at >= 0) & (at < len(scores))
    return np.where(inside[:, None], scores[np.where(inside, at, 0)], 0.0)
