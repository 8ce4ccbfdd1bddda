"""At which level people count: the beat, not its half or its double.

The decoder's first answer is tried against its relatives (half, double, two thirds
... and each of them moved to the off-beat).  Every candidate is tracked exactly
within its own tempo range and then judged as a whole by how its drum pattern, its harmony
and its tempo look when counted that way.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from phrasefit._dp import GapModel, track_events
from phrasefit.meter.bars import one_log_odds, own_odds
from phrasefit.meter.beat_descriptors import (
    FrameEvidence,
    describe_beats,
    nearest_frames,
    onsets_in_beats,
)
from phrasefit.meter.statespace import HIGH_BPM, LOW_BPM, USUAL_BPM, beat_gaps

RELATIVES = (1 / 3, 1 / 2, 2 / 3, 1.0, 3 / 2, 2.0)
WITHIN = (0.82, 1.22)  # tempo range of one candidate: drift yes, another level no
EDGE = (0.95, 1.05)  # a tempo at the edge of the range may be measured just outside it
MIN_BEATS = 8
MIN_CHAIN_BEATS = 4  # fewer hits in a row are a fill, not a pulse
PATTERN_LAGS = (1, 2, 3, 4)
SMOOTHING = np.array([1, 2, 3, 2, 1]) / 9  # removes what rounding to frames did


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reading:
    """One way to count the song.

    `chains` are stretches of beats [frames]; `level` is the tempo relative to the
    decoder's first answer; `off_beat` says that it was moved by half a beat.
    """

    chains: tuple[np.ndarray, ...]
    level: float
    off_beat: bool
    tempo_bpm: float
    probability: float = 1.0

    @property
    def beats(self) -> np.ndarray:
        """All beats [shape=(n,), frames]."""
        return np.concatenate(self.chains)

    @property
    def unbroken(self) -> np.ndarray:
        """Which beats are followed by one of the same chain [shape=(n - 1,), bool]."""
        ends = np.cumsum([len(chain) for chain in self.chains]) - 1
        return ~np.isin(np.arange(ends[-1]), ends)


def find_readings(heard: FrameEvidence, weights: dict[str, np.ndarray]) -> list[Reading]:
    """List the ways to count a song, the most probable first; empty if it has no pulse."""
    readings = candidate_readings(heard)
    if not readings:
        return []
    score = np.array([score_reading(heard, reading, weights) for reading in readings])
    share = np.exp(score - score.max())
    share /= share.sum()
    order = np.argsort(-share, kind="stable")
    return [
        Reading(
            chains=readings[i].chains,
            level=readings[i].level,
            off_beat=readings[i].off_beat,
            tempo_bpm=readings[i].tempo_bpm,
            probability=float(share[i]),
        )
        for i in order
    ]


def candidate_readings(heard: FrameEvidence) -> list[Reading]:
    """Track the song freely, then once at each related level, on and off the beat."""
    frames_per_s = 1.0 / heard.hop_s
    first = _track(heard, *beat_gaps(frames_per_s))
    if not first:
        return []
    first_bpm = 60.0 * frames_per_s / _usual_gap(first)
    readings = []
    for level in RELATIVES:
        bpm = first_bpm * level
        if not LOW_BPM * EDGE[0] < bpm < HIGH_BPM * EDGE[1]:
            continue
        stays = level == 1.0 and _stays_near(first, 60.0 * frames_per_s / bpm)
        chains = first if stays else _track(heard, *gaps_near(bpm, frames_per_s))
        if sum(map(len, chains)) < MIN_BEATS:
            continue
        tempo = 60.0 * frames_per_s / _usual_gap(chains)
        if not LOW_BPM * EDGE[0] < tempo < HIGH_BPM * EDGE[1]:
            continue
        between = tuple((c[1:] + c[:-1]) / 2 for c in chains)
        for off_beat, stretch in ((False, tuple(chains)), (True, between)):
            if stretch:
                readings.append(
                    Reading(chains=stretch, level=level, off_beat=off_beat, tempo_bpm=tempo)
                )
    return readings


def _stays_near(chains: list[np.ndarray], gap: float) -> bool:
    """Say whether a free search never left the tempos of one level: a second finds the same."""
    gaps = np.concatenate([np.diff(chain) for chain in chains])
    return bool(gap / WITHIN[1] < gaps.min() and gaps.max() < gap / WITHIN[0])


def gaps_near(bpm: float, frames_per_s: float) -> tuple[GapModel, np.ndarray]:
    """The gaps of beats that are counted at one level."""
    low, high = max(bpm * WITHIN[0], 0.9 * LOW_BPM), min(bpm * WITHIN[1], 1.1 * HIGH_BPM)
    return beat_gaps(frames_per_s, low, high)


def score_reading(heard: FrameEvidence, reading: Reading, weights: dict[str, np.ndarray]) -> float:
    """Log odds, up to a constant, that people count this way."""
    rows = describe_beats(heard, reading.beats)
    ones = one_log_odds(own_odds(heard, reading.beats), rows, weights)
    columns = np.concatenate([describe_reading(heard, reading), clearness_of_ones(ones)])
    tempo = np.log(reading.tempo_bpm / USUAL_BPM)
    prior = weights.get("tempo_prior", np.zeros(2)) @ (tempo, tempo**2)
    return float(columns @ weights["level"][:-1] + prior)


def describe_reading(heard: FrameEvidence, reading: Reading) -> np.ndarray:
    """Describe how the song looks if counted this way [shape=(n_columns,)].

    Onsets by place in the beat and band, relative to the song's mean; likeness of the
    pattern on the beat after 1, 2, 3 and 4 beats, by band and for changes of harmony; tempo;
    beat gain on and between beats; change of harmony on and between; evenness.
    """
    beats = reading.beats
    inside = reading.unbroken
    steps = np.diff(beats)[inside]
    usual = heard.onsets.mean(axis=0) + 1e-6
    onsets = onsets_in_beats(heard, beats)[inside] / usual
    pattern = [_likeness(onsets[:, 0], lag) for lag in PATTERN_LAGS]
    n_frames = len(heard.gain)
    on = nearest_frames(beats, n_frames)
    between = nearest_frames(((beats[1:] + beats[:-1]) / 2)[inside], n_frames)
    gain_on, gain_between = heard.gain_near[on].mean(), heard.gain_near[between].mean()
    usual_change = heard.change.mean() + 1e-6
    change = heard.change[on][:, None]
    tempo = np.log(reading.tempo_bpm / USUAL_BPM)
    numbers = [
        *(tempo, tempo**2, max(tempo, 0.0) ** 3, min(tempo, 0.0) ** 3),
        *(gain_on, gain_between, gain_on * len(beats) / (n_frames * heard.hop_s)),
        *(change.mean() / usual_change, heard.change[between].mean() / usual_change),
        np.std(steps) / np.mean(steps),
        *(_likeness(change, lag)[0] for lag in PATTERN_LAGS),
    ]
    return np.concatenate([onsets.mean(axis=0).ravel(), *pattern, numbers])


def clearness_of_ones(one_odds: dict[int, np.ndarray]) -> np.ndarray:
    """How well ones at even distances explain the odds of a one [shape=(8,)].

    For each meter: log likelihood a beat of the best place; its lead over the next; mean
    odds of its ones; mean size of all odds.
    """
    columns = []
    for meter, odds in one_odds.items():
        is_one = np.arange(len(odds)) % meter == np.arange(meter)[:, None]
        fit = -np.logaddexp(0, np.where(is_one, -odds, odds)).mean(axis=1)
        best = int(fit.argmax())
        lead = fit[best] - np.delete(fit, best).max()
        columns += [fit[best], lead, odds[is_one[best]].mean(), np.abs(odds).mean()]
    return np.array(columns)


def smooth_beats(beats: np.ndarray) -> np.ndarray:
    """Remove the jitter of beats that were rounded to frames."""
    if len(beats) < len(SMOOTHING):
        return beats.astype(np.float64)
    reach = len(SMOOTHING) // 2
    return np.convolve(np.pad(beats, reach, mode="reflect", reflect_type="odd"), SMOOTHING, "valid")


def _track(heard: FrameEvidence, model: GapModel, gap: np.ndarray) -> list[np.ndarray]:
    chains, _ = track_events(heard.gain, model)
    return [smooth_beats(c.steps) for c in chains if len(c.steps) >= MIN_CHAIN_BEATS]


def _usual_gap(chains: list[np.ndarray]) -> float:
    return float(np.median(np.concatenate([np.diff(c) for c in chains])))


def _likeness(rows: np.ndarray, lag: int) -> np.ndarray:
    """Autocorrelation of each column after `lag` beats [shape=(n_columns,)]."""
    if len(rows) <= lag + MIN_CHAIN_BEATS:
        return np.zeros(rows.shape[1])
    centred = rows - rows.mean(axis=0)
    return (centred[lag:] * centred[:-lag]).mean(axis=0) / ((centred**2).mean(axis=0) + 1e-2)
