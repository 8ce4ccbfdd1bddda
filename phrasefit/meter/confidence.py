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
from phrasefit.model import Alternative, Confidence, Correction

SHOWN_FROM = 0.02  # rarer alternatives are not worth a line
LEVEL_NAMES = ((0.5, "half"), (2.0, "double"))
LEVEL_TOLERANCE = 0.12
RARE = 1e-9  # readings that are all but ruled out share a doubt as well

Weights = dict[str, np.ndarray]


def judge_beats(heard: FrameEvidence, readings: list[Reading], weights: Weights) -> float:
    """Probability that the first reading has the beats right."""
    return probability_by(weights["sure_of_beats"], beat_margins(heard, readings))


def judge_bars(
    bars: Bars, meter: int, sure_of_beats: float, weights: Weights
) -> tuple[float, float]:
    """Probability that the ones are right, and that the meter is (given the beats)."""
    sure_of_meter = probability_by(weights["sure_of_meter"], meter_margins(bars, meter))
    given = probability_by(weights["sure_of_one"], one_margins(bars, meter))
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
            log_odds_of(best.probability),
            mean_gain(heard, best),
            heard.gain_near[between].mean(),
            min(10 * unevenness(best), 2.0),
            steps.sum() / len(heard.gain),
            abs(np.log(best.tempo_bpm / USUAL_BPM)),
        ]
    )


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
    readings: list[Reading], bars: Bars, meter: int, tempo_bpm: float, sure: Confidence
) -> tuple[Alternative, ...]:
    """Other readings, the most probable first, each with the correction that selects it.

    `sure` is how sure the chosen one is called.  What is left is shared among the others, and
    none of them is called likelier than it.
    """
    found = _other_ones(bars, meter, tempo_bpm, sure)
    found += _other_levels(readings, meter, sure)
    found += _other_meters(meter, tempo_bpm, sure)
    shown = [a for a in found if a.probability >= SHOWN_FROM]
    return tuple(sorted(shown, key=lambda a: -a.probability))


def _other_ones(bars: Bars, meter: int, tempo_bpm: float, sure: Confidence) -> list[Alternative]:
    """The doubt about the one where the beats are right, shared by the evidence."""
    scores = shift_scores(bars, meter)[1:]
    share = np.exp((scores - scores.max()) * np.sqrt(len(bars.positions)))
    share *= (sure.beats - sure.downbeat) / share.sum()
    return [
        Alternative(
            kind="one",
            correction=Correction(shift_one_beats=shift),
            probability=round(min(float(part), sure.downbeat), 3),
            tempo_bpm=tempo_bpm,
            meter=meter,
        )
        for shift, part in enumerate(share, start=1)
    ]


def _other_levels(readings: list[Reading], meter: int, sure: Confidence) -> list[Alternative]:
    """The doubt about the beats, shared among all readings; those of another level are listed."""
    best, others = readings[0], readings[1:]
    doubt = (1 - sure.beats) / max(sum(r.probability for r in others), RARE)
    found = []
    for ratio, kind in LEVEL_NAMES:
        tempo = best.tempo_bpm * ratio
        near = [r for r in others if abs(r.tempo_bpm / tempo - 1) < LEVEL_TOLERANCE]
        probability = doubt * sum(r.probability for r in near)
        found.append(
            Alternative(
                kind=kind,
                correction=Correction(level=ratio),
                probability=round(min(probability, sure.beats), 3),
                tempo_bpm=tempo,
                meter=meter,
            )
        )
    return found


def _other_meters(meter: int, tempo_bpm: float, sure: Confidence) -> list[Alternative]:
    other = 3 if meter == 4 else 4
    return [
        Alternative(
            kind="meter",
            correction=Correction(meter=other),
            probability=round(1 - sure.meter, 3),
            tempo_bpm=tempo_bpm,
            meter=other,
        )
    ]


def probability_by(weights: np.ndarray, margins: np.ndarray) -> float:
    """Probability by a logistic model whose constant comes last."""
    return float(1.0 / (1.0 + np.exp(-(margins @ weights[:-1] + weights[-1]))))


def log_odds_of(probability: float) -> float:
    """Log odds, never beyond those of one in ten thousand."""
    bounded = min(max(probability, 1e-4), 1 - 1e-4)
    return float(np.log(bounded / (1 - bounded)))
