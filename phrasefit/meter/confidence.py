"""How sure the readings are, and which others are possible.

Every number is a logistic function of a few margins, fitted for each observation model
on songs whose truth is known (`phrasefit.training`), so that of the readings called 80 % sure
about 80 % are right.
"""

from __future__ import annotations

import numpy as np

from phrasefit.meter.bars import Bars
from phrasefit.meter.beat_descriptors import FrameEvidence, nearest_frames
from phrasefit.meter.statespace import METERS, USUAL_BPM
from phrasefit.meter.tempo_readings import Reading
from phrasefit.model import Alternative, Correction

MIN_TOTAL_GAIN = 35.0  # log odds; a dozen clear beats, which speech brings by chance, have less
# Least `pulse_strength` of a pulse by observation model: the learned one hears beats as more
# likely.  Between the strongest speech and noise and the weakest songs, see `has_pulse`.
LEAST_STRENGTH = {"handmade": 2.75, "learned": 13.0}
STEP_CHANGE = 0.005  # of a step: how much players differ from one beat to the next
ON_BEAT_FRAMES = 2
SHOWN_FROM = 0.02  # rarer alternatives are not worth a line
LEVEL_NAMES = ((0.5, "half"), (2.0, "double"))
LEVEL_TOLERANCE = 0.12

Weights = dict[str, np.ndarray]


def judge_beats(heard: FrameEvidence, readings: list[Reading], weights: Weights) -> float:
    """Probability that the first reading has the beats right."""
    return _probability(weights["sure_of_beats"], beat_margins(heard, readings))


def judge_bars(
    bars: Bars, meter: int, sure_of_beats: float, weights: Weights
) -> tuple[float, float]:
    """Probability that the ones are right, and that the meter is (given the beats)."""
    sure_of_meter = _probability(weights["sure_of_meter"], meter_margins(bars, meter))
    given = _probability(weights["sure_of_one"], one_margins(bars, meter))
    return sure_of_beats * given, sure_of_meter


def beat_margins(heard: FrameEvidence, readings: list[Reading]) -> np.ndarray:
    """What the sureness of the beats is judged by [shape=(n_columns,)].

    Log odds of the best reading against all others; beat gain on its beats and between;
    unevenness; share of the song it covers; its tempo.
    """
    best = readings[0]
    beats, inside = best.beats, best.unbroken
    steps = np.diff(beats)[inside]
    between = nearest_frames(((beats[1:] + beats[:-1]) / 2)[inside], len(heard.gain))
    return np.array(
        [
            _log_odds(best.probability),
            mean_gain(heard, best),
            heard.gain_near[between].mean(),
            min(10 * unevenness(best), 2.0),
            steps.sum() / len(heard.gain),
            abs(np.log(best.tempo_bpm / USUAL_BPM)),
        ]
    )


def has_pulse(heard: FrameEvidence, reading: Reading, model_name: str) -> bool:
    """Tell music from speech, noise and free playing by how far its beats stand out.

    `tests/accuracy/speech.py` measures it.
    """
    total = mean_gain(heard, reading) * len(reading.beats)
    least = LEAST_STRENGTH.get(model_name, min(LEAST_STRENGTH.values()))
    return total >= MIN_TOTAL_GAIN and pulse_strength(heard, reading) >= least


def pulse_strength(heard: FrameEvidence, reading: Reading) -> float:
    """Evidence for the beats in units of what chance brings, less if it is unclear or uneven.

    What chance gains on n beats grows as the root of n.  A tracker finds chains in anything
    that has onsets, but in speech much that sounds like a beat lies beside them,
    and to follow they must change their step.
    """
    n_beats = len(reading.beats)
    evidence = mean_gain(heard, reading) * np.sqrt(n_beats)
    steps = [np.diff(chain) for chain in reading.chains]
    change = np.concatenate([np.abs(np.diff(step)) for step in steps]).mean()
    change /= np.median(np.concatenate(steps))
    clear = np.sqrt(share_on_beats(heard, reading))
    return float(max(evidence, 0.0) * clear * np.exp(-change / STEP_CHANGE))


def share_on_beats(heard: FrameEvidence, reading: Reading) -> float:
    """How much of all that sounds like a beat, from first to last beat, lies on the beats."""
    gain = heard.gain
    inner = gain[1:-1]
    is_peak = (inner > gain[:-2]) & (inner >= gain[2:]) & (inner > 0)
    peaks = np.flatnonzero(is_peak) + 1
    on_beats = everywhere = 0.0
    for chain in reading.chains:
        near = (peaks >= chain[0] - ON_BEAT_FRAMES) & (peaks <= chain[-1] + ON_BEAT_FRAMES)
        here = peaks[near]
        after = np.clip(np.searchsorted(chain, here), 1, len(chain) - 1)
        distance = np.minimum(np.abs(here - chain[after - 1]), np.abs(here - chain[after]))
        on_beats += gain[here][distance <= ON_BEAT_FRAMES].sum()
        everywhere += gain[here].sum()
    return float(on_beats / everywhere) if everywhere else 0.0


def unevenness(reading: Reading) -> float:
    """How far a step from beat to beat usually is from the usual step, as a share of it.

    Medians: a change of tempo, or a few beats gone astray, are no unevenness.
    """
    steps = np.diff(reading.beats)[reading.unbroken]
    usual = np.median(steps)
    return float(np.median(np.abs(steps - usual)) / usual)


def mean_gain(heard: FrameEvidence, reading: Reading) -> float:
    """Log odds of a beat, on average over the beats of a reading."""
    return float(heard.gain_near[nearest_frames(reading.beats, len(heard.gain))].mean())


def one_margins(bars: Bars, meter: int) -> np.ndarray:
    """What the sureness of the ones is judged by [shape=(n_columns,)].

    The lead of the chosen ones over the best other place in the bar, a beat on average and
    over the song; the mean posterior; the share of irregular bars; level of the evidence.
    """
    scores = shift_scores(bars, meter)
    n_beats = len(bars.positions)
    lead = scores[0] - scores[1:].max()
    chosen = (bars.states.position == bars.positions[:, None]) & (
        bars.states.meter == bars.meters[:, None]
    )
    posterior = bars.posterior[chosen].mean()
    starts = np.flatnonzero(bars.positions == 1)
    irregular = np.mean(np.diff(starts) != meter) if len(starts) > 1 else 1.0
    return np.array([lead, lead * np.sqrt(n_beats), posterior, irregular, float(meter == 3)])


def meter_margins(bars: Bars, meter: int) -> np.ndarray:
    """What the sureness of the meter is judged by: its log odds, song-wide and by the bars."""
    mass = {m: bars.posterior[:, bars.states.meter == m].mean() for m in METERS}
    sign = 1.0 if meter == 3 else -1.0
    rival = sum(mass.values()) - mass[meter]
    return np.array([sign * bars.meter_odds, rival, float(meter == 3)])


def shift_scores(bars: Bars, meter: int) -> np.ndarray:
    """Evidence, a beat on average, if every one were 0, 1 ... beats later [shape=(meter,)]."""
    odds = bars.one_odds[meter]
    is_one = bars.positions == 1
    return np.array([odds[np.roll(is_one, shift)].sum() for shift in range(meter)]) / len(odds)


def list_alternatives(
    readings: list[Reading], bars: Bars, meter: int, tempo_bpm: float, weights: Weights
) -> tuple[Alternative, ...]:
    """Other readings, the most probable first, each with the correction that selects it."""
    found = _other_ones(bars, meter, tempo_bpm, weights)
    found += _other_levels(readings, meter)
    found += _other_meters(bars, meter, tempo_bpm, weights)
    shown = [a for a in found if a.probability >= SHOWN_FROM]
    return tuple(sorted(shown, key=lambda a: -a.probability))


def _other_ones(bars: Bars, meter: int, tempo_bpm: float, weights: Weights) -> list[Alternative]:
    """The doubt about the one, shared among the other places by their evidence."""
    doubt = 1.0 - _probability(weights["sure_of_one"], one_margins(bars, meter))
    scores = shift_scores(bars, meter)[1:]
    share = np.exp((scores - scores.max()) * np.sqrt(len(bars.positions)))
    share /= share.sum()
    return [
        Alternative(
            kind="one",
            correction=Correction(shift_one_beats=shift),
            probability=round(float(doubt * part), 3),
            tempo_bpm=tempo_bpm,
            meter=meter,
        )
        for shift, part in enumerate(share, start=1)
    ]


def _other_levels(readings: list[Reading], meter: int) -> list[Alternative]:
    best = readings[0]
    found = []
    for ratio, kind in LEVEL_NAMES:
        near = [
            r
            for r in readings[1:]
            if abs(r.tempo_bpm / best.tempo_bpm / ratio - 1) < LEVEL_TOLERANCE
        ]
        found.append(
            Alternative(
                kind=kind,
                correction=Correction(level=ratio),
                probability=round(sum(r.probability for r in near), 3),
                tempo_bpm=best.tempo_bpm * ratio,
                meter=meter,
            )
        )
    return found


def _other_meters(bars: Bars, meter: int, tempo_bpm: float, weights: Weights) -> list[Alternative]:
    doubt = 1.0 - _probability(weights["sure_of_meter"], meter_margins(bars, meter))
    other = 3 if meter == 4 else 4
    return [
        Alternative(
            kind="meter",
            correction=Correction(meter=other),
            probability=round(doubt, 3),
            tempo_bpm=tempo_bpm,
            meter=other,
        )
    ]


def _probability(weights: np.ndarray, margins: np.ndarray) -> float:
    return float(1.0 / (1.0 + np.exp(-(margins @ weights[:-1] + weights[-1]))))


def _log_odds(probability: float) -> float:
    bounded = min(max(probability, 1e-4), 1 - 1e-4)
    return float(np.log(bounded / (1 - bounded)))
