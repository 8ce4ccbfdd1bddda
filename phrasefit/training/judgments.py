"""Song-wide judgments (level, ones, meter, sureness): collected from songs and fitted."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

from phrasefit.meter import bars, beat_descriptors, confidence, handmade, pointer, tempo_readings
from phrasefit.meter.observe import Activations, ObservationModel
from phrasefit.meter.statespace import METERS
from phrasefit.model import Features
from phrasefit.training.known_songs import KnownSong

NEAR_S = 0.070  # window common in beat evaluation
RIGHT_F = 0.8  # a reading with this F-measure is the right one

Rows = tuple[np.ndarray, np.ndarray]


def fit_logistic(
    rows: np.ndarray, labels: np.ndarray, *, ridge: float, offset: np.ndarray | float = 0.0
) -> np.ndarray:
    """Fit a logistic model by Newton's method [shape=(n_columns + 1,), constant last].

    `ridge` is the penalty on squared weights of columns scaled to unit spread;
    `offset` is a part of the log odds that is known already.
    """
    mean, spread = rows.mean(axis=0), rows.std(axis=0) + 1e-6
    x = np.hstack([(rows - mean) / spread, np.ones((len(rows), 1))]).astype(np.float64)
    penalty = np.full(x.shape[1], ridge)
    penalty[-1] = 1e-6
    w = np.zeros(x.shape[1])
    for _ in range(12):
        p = 1 / (1 + np.exp(-(x @ w + offset)))
        slope = x.T @ (labels - p) - penalty * w
        curve = (x * (p * (1 - p))[:, None]).T @ x + np.diag(penalty)
        w += np.linalg.solve(curve, slope)
    scaled = w[:-1] / spread
    return np.append(scaled, w[-1] - scaled @ mean)


def fit_choice(groups: list[Rows], *, ridge: float) -> np.ndarray:
    """Fit weights under which the right row of each group scores highest.

    `groups` are (rows [shape=(n, n_columns)], shares [shape=(n,), sum 1]) (D. McFadden,
    "Conditional logit analysis of qualitative choice behavior", 1973).
    """
    from scipy.optimize import minimize

    every = np.vstack([rows for rows, _ in groups])
    mean, spread = every.mean(axis=0), every.std(axis=0) + 1e-6
    scaled = [((rows - mean) / spread, shares) for rows, shares in groups]

    def loss(w: np.ndarray) -> tuple[float, np.ndarray]:
        value, slope = ridge * w @ w, 2 * ridge * w
        for rows, shares in scaled:
            score = rows @ w
            log_p = score - score.max()
            log_p -= np.log(np.exp(log_p).sum())
            value -= shares @ log_p
            slope = slope - rows.T @ (shares - np.exp(log_p))
        return value, slope

    w = minimize(loss, np.zeros(every.shape[1]), jac=True, method="L-BFGS-B").x / spread
    return np.append(w, -w @ mean)


def judge_readings(
    song: KnownSong, heard: beat_descriptors.FrameEvidence
) -> list[tuple[tempo_readings.Reading, float]]:
    """Every candidate reading with its F-measure against the true beats."""
    hop_s = song.features.hop_s
    return [
        (reading, beat_f_measure(song.beats_s, reading.beats * hop_s))
        for reading in tempo_readings.candidate_readings(heard)
    ]


def beat_f_measure(true_s: np.ndarray, found_s: np.ndarray) -> float:
    """F-measure with `NEAR_S` (each beat counted to its nearest)."""
    if not len(found_s):
        return 0.0
    near = np.abs(true_s[:, None] - found_s).min(axis=1) <= NEAR_S
    return 2 * near.sum() / (len(true_s) + len(found_s))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Collected:
    """What the song-wide models learn from one song: its candidate readings.

    `columns` [shape=(n_readings, n_columns)] and `shares` [shape=(n_readings,), sum 1] of the
    readings; of each reading its beat descriptors `rows` and the observation model's `own` odds.
    `right` is the index of the right reading, `tempo_bpm` its tempo; `known` and `is_one` are the
    truth at its beats.
    """

    columns: np.ndarray
    shares: np.ndarray
    rows: tuple[np.ndarray, ...]
    own: tuple[np.ndarray, ...]
    right: int
    known: np.ndarray
    is_one: np.ndarray
    meter: int
    tempo_bpm: float


def collect(
    songs: Iterable[KnownSong], observe: Callable[[Features], Activations]
) -> list[Collected]:
    """Run each song as far as an observation model brings it, beside its truth.

    Songs of which no reading is right teach nothing and are left out.
    """
    found = []
    for song in songs:
        heard = beat_descriptors.prepare_evidence(song.features, observe(song.features))
        judged = judge_readings(song, heard)
        if judged and max(f for _, f in judged) >= RIGHT_F:
            found.append(_collect_song(song, heard, judged))
    return found


def _collect_song(
    song: KnownSong,
    heard: beat_descriptors.FrameEvidence,
    judged: list[tuple[tempo_readings.Reading, float]],
) -> Collected:
    readings, scores = [reading for reading, _ in judged], np.array([f for _, f in judged])
    right = int(scores.argmax())
    distance = np.abs(readings[right].beats[:, None] * song.features.hop_s - song.beats_s)
    rows = [beat_descriptors.describe_beats(heard, r.beats).astype(np.float32) for r in readings]
    return Collected(
        columns=np.stack([tempo_readings.describe_reading(heard, r) for r in readings]),
        shares=(scores >= RIGHT_F) / np.sum(scores >= RIGHT_F),
        rows=tuple(rows),
        own=tuple(bars.own_odds(heard, r.beats) for r in readings),
        right=right,
        known=distance.min(axis=1) <= NEAR_S,
        is_one=song.positions[distance.argmin(axis=1)] == 1,
        meter=song.meter,
        tempo_bpm=readings[right].tempo_bpm,
    )


def fit_songs(
    songs: list[Collected], *, own_share: float = 1.0, deaf_too: bool = False
) -> dict[str, np.ndarray]:
    """Fit the models `one_in_4`, `one_in_3`, `level` and `three`.

    `own_share` of the model's own odds count, see `bars.own_share`.  With `deaf_too` ones
    are also told in copies of the songs in which the observation model says nothing: on
    music unlike the training songs it may err, and what chords and accents say must not
    have been left to it.
    """
    # Ones must not look clearer in a song because they were fitted on it.
    halves = songs[0::2], songs[1::2]
    choices = []
    for part, others in zip(halves, reversed(halves), strict=True):
        ones = fit_ones(others, own_share=own_share, deaf_too=deaf_too)
        choices += [(_reading_columns(song, ones), song.shares) for song in part]
    barred = [song for song in songs if song.meter in METERS]
    evidence = np.stack([bars.meter_evidence(song.rows[song.right]) for song in barred])
    is_three = np.array([float(song.meter == 3) for song in barred])
    return fit_ones(songs, own_share=own_share, deaf_too=deaf_too) | {
        "level": fit_choice(choices, ridge=8.0),
        "three": fit_logistic(evidence, is_three, ridge=3.0),
    }


def fit_ones(
    songs: list[Collected], *, own_share: float = 1.0, deaf_too: bool = False
) -> dict[str, np.ndarray]:
    """Fit the models that tell a one from other beats, one for each meter."""
    weights = {} if own_share == 1.0 else {"own_share": np.array(own_share)}
    for meter in METERS:
        chosen = [song for song in songs if song.meter == meter]
        if not chosen:  # a run with few songs keeps what the package knows
            weights[f"one_in_{meter}"] = handmade.load_weights()[f"one_in_{meter}"]
            continue
        around = [beat_descriptors.with_neighbors(s.rows[s.right])[s.known] for s in chosen]
        is_one = [song.is_one[song.known] for song in chosen]
        own = [own_share * song.own[song.right][song.known] for song in chosen]
        if deaf_too:
            around, is_one = 2 * around, 2 * is_one
            own += [np.full(odds.shape, -np.log(meter - 1)) for odds in own]
        weights[f"one_in_{meter}"] = fit_logistic(
            np.concatenate(around),
            np.concatenate(is_one).astype(float),
            ridge=500.0,
            offset=np.concatenate(own),
        )
    return weights


def _reading_columns(song: Collected, ones: dict[str, np.ndarray]) -> np.ndarray:
    clearness = [
        tempo_readings.clearness_of_ones(bars.one_log_odds(own, rows, ones))
        for own, rows in zip(song.own, song.rows, strict=True)
    ]
    return np.hstack([song.columns, np.stack(clearness)])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Verdict:
    """What was judged of one song: margins, and whether the judgment was right.

    `one_right` is None where the beats are wrong already.
    """

    beat_margins: np.ndarray
    beats_right: bool
    one_margins: np.ndarray
    one_right: bool | None
    meter_margins: np.ndarray
    meter_right: bool


def judge_song(model: ObservationModel, song: KnownSong) -> Verdict | None:
    """Track one song and compare each judgment with the truth.

    None without a pulse, and in meters that the bar pointer reads as others.
    """
    if song.meter not in METERS:
        return None
    activations, weights = model.observe(song.features), model.decoder_weights()
    heard = beat_descriptors.prepare_evidence(song.features, activations)
    readings = tempo_readings.find_readings(heard, weights)
    decoded = pointer.decode_song(heard, readings[0], weights) if readings else []
    if not decoded:
        return None
    chains = tuple(tempo_readings.smooth_beats(chain.steps) for chain in decoded)
    places = np.concatenate([chain.places for chain in decoded])
    found = bars.place_bars(heard, chains, weights, places)
    meter = int(np.bincount(found.meters).argmax())
    beats_s = np.concatenate(chains) * song.features.hop_s
    beats_right = beat_f_measure(song.beats_s, beats_s) >= RIGHT_F
    ones_s = song.beats_s[song.positions == 1]
    one_right = beat_f_measure(ones_s, beats_s[found.positions == 1]) >= RIGHT_F
    return Verdict(
        beat_margins=confidence.beat_margins(heard, readings),
        beats_right=bool(beats_right),
        one_margins=confidence.one_margins(found, meter),
        one_right=bool(one_right) if beats_right else None,
        meter_margins=confidence.meter_margins(found, meter),
        meter_right=meter == song.meter,
    )


def fit_sureness(found: list[Verdict]) -> dict[str, np.ndarray]:
    """Fit the three logistic models that turn margins into probabilities."""
    tables = {
        "sure_of_beats": [(v.beat_margins, v.beats_right) for v in found],
        "sure_of_one": [(v.one_margins, v.one_right) for v in found if v.one_right is not None],
        "sure_of_meter": [(v.meter_margins, v.meter_right) for v in found],
    }
    fitted = {}
    for name, pairs in tables.items():
        rows, right = (np.array(part, dtype=float) for part in zip(*pairs, strict=True))
        fitted[name] = fit_logistic(rows, right, ridge=3.0)
    return fitted
