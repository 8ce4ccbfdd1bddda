"""``python -m phrasefit.training.handmade OUT``: fits the weights of the hand-made model.

Songs are made, listened to, and small logistic models are fitted: is a frame a beat; a
downbeat; which way of counting is right; is a beat a one (in four, in three); is the song in
three; how sure may each of these be called.  Songs that judge accuracy are never among them.

The weights in the package were fitted on 600 made songs and, with ``--folder``, on 172
accompaniments written by MMA with a random tune, and 47 pieces of the game Freedoom, both
rendered by FluidSynth with three General MIDI soundfonts.

May import: audio, meter, training.songs (scipy inside functions).
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from phrasefit.errors import PhrasefitError
from phrasefit.files import write_atomic
from phrasefit.meter import bars, beatwise, handmade, levels
from phrasefit.meter.observe import Activations
from phrasefit.meter.statespace import METERS
from phrasefit.model import Features

N_SONGS = 600
SONG_S = 75.0
FIRST_SEED = 3_000_000
NEAR_S = 0.070  # window common in beat evaluation
RIGHT_F = 0.8  # a reading with this F-measure is the right one
OTHER_FRAMES = 0.25  # share of the frames between beats that are learned from

# Songs in two and six teach at which level to count, not where the ones are.
DANCED_METERS = (2, 3, 4, 6)

Rows = tuple[np.ndarray, np.ndarray]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lesson:
    """A song's features and truth."""

    features: Features
    beats_s: np.ndarray
    positions: np.ndarray
    meter: int


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


def make_lessons(
    n_songs: int, first_seed: int = FIRST_SEED, *, held_out: bool = False
) -> Iterator[Lesson]:
    """Make songs and their features; songs in meters nobody dances to are left out."""
    from phrasefit.audio.features import extract_features
    from phrasefit.model import Audio, SongInfo
    from phrasefit.training.songs import make_song

    for seed in range(first_seed, first_seed + n_songs):
        song = make_song(seed, duration_s=SONG_S, held_out=held_out)
        truth = song.truth
        if truth.meter not in DANCED_METERS:
            continue
        audio = Audio(samples=song.samples, sample_rate_hz=22050, info=SongInfo())
        yield Lesson(
            features=extract_features(audio),
            beats_s=truth.beats_s[truth.audible],
            positions=truth.positions[truth.audible],
            meter=truth.meter,
        )


def read_lessons(folder: Path) -> Iterator[Lesson]:
    """Read songs that were rendered elsewhere: audio files with their truth beside them.

    ``NAME.json`` beside ``NAME.wav`` holds `beats_s`, `positions` and `meter`.
    """
    from phrasefit.audio.decode import decode
    from phrasefit.audio.features import extract_features

    for path in sorted(folder.glob("*.json")):
        truth = json.loads(path.read_text("utf-8"))
        if truth["meter"] in DANCED_METERS:
            yield Lesson(
                features=extract_features(decode(path.with_suffix(".wav"))),
                beats_s=np.array(truth["beats_s"]),
                positions=np.array(truth["positions"]),
                meter=truth["meter"],
            )


def fit_frames(lessons: Iterable[Lesson]) -> dict[str, np.ndarray]:
    """Fit the frame models `beat` and `downbeat`."""
    rng = np.random.default_rng(0)
    rows, is_beat, is_one = [], [], []
    for lesson in lessons:
        evidence = handmade.frame_evidence(lesson.features)
        frames = np.rint(lesson.beats_s / lesson.features.hop_s).astype(int)
        inside = frames < len(evidence)
        frames, positions = frames[inside], lesson.positions[inside]
        label = np.zeros(len(evidence), dtype=int)
        label[frames] = np.where(positions == 1, 2, 1)
        beside = np.zeros(len(evidence), dtype=bool)
        for step in (-2, -1, 1, 2):
            beside[np.clip(frames + step, 0, len(evidence) - 1)] = True
        within = np.zeros(len(evidence), dtype=bool)
        within[frames[0] : frames[-1] + 1] = True
        others = within & ~beside & (rng.random(len(evidence)) < OTHER_FRAMES)
        keep = others | (label > 0)
        rows.append(evidence[keep])
        is_beat.append(label[keep] > 0)
        is_one.append(label[keep] > 1)
    table = np.vstack(rows)
    weights = {}
    for name, labels in (("beat", is_beat), ("downbeat", is_one)):
        weights[name] = fit_logistic(table, np.concatenate(labels).astype(float), ridge=30.0)
        weights[name][-1] += np.log(OTHER_FRAMES)
    return weights


def judge_readings(lesson: Lesson, surface: beatwise.Surface) -> list[tuple[levels.Reading, float]]:
    """Every candidate reading with its F-measure against the true beats."""
    hop_s = lesson.features.hop_s
    return [
        (reading, beat_f_measure(lesson.beats_s, reading.beats * hop_s))
        for reading in levels.candidate_readings(surface)
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
    `right` is the index of the right reading; `known` and `is_one` are the truth at its beats.
    """

    columns: np.ndarray
    shares: np.ndarray
    rows: tuple[np.ndarray, ...]
    own: tuple[np.ndarray, ...]
    right: int
    known: np.ndarray
    is_one: np.ndarray
    meter: int


def collect(
    lessons: Iterable[Lesson], observe: Callable[[Features], Activations]
) -> list[Collected]:
    """Run each song as far as an observation model brings it, beside its truth.

    Songs of which no reading is right teach nothing and are left out.
    """
    found = []
    for lesson in lessons:
        surface = beatwise.prepare_surface(lesson.features, observe(lesson.features))
        judged = judge_readings(lesson, surface)
        if judged and max(f for _, f in judged) >= RIGHT_F:
            found.append(_collect_song(lesson, surface, judged))
    return found


def _collect_song(
    lesson: Lesson, surface: beatwise.Surface, judged: list[tuple[levels.Reading, float]]
) -> Collected:
    readings, scores = [reading for reading, _ in judged], np.array([f for _, f in judged])
    right = int(scores.argmax())
    distance = np.abs(readings[right].beats[:, None] * lesson.features.hop_s - lesson.beats_s)
    rows = [beatwise.describe_beats(surface, r.beats).astype(np.float32) for r in readings]
    return Collected(
        columns=np.stack([levels.describe_reading(surface, r) for r in readings]),
        shares=(scores >= RIGHT_F) / np.sum(scores >= RIGHT_F),
        rows=tuple(rows),
        own=tuple(bars.own_odds(surface, r.beats) for r in readings),
        right=right,
        known=distance.min(axis=1) <= NEAR_S,
        is_one=lesson.positions[distance.argmin(axis=1)] == 1,
        meter=lesson.meter,
    )


def fit_songs(songs: list[Collected]) -> dict[str, np.ndarray]:
    """Fit the models `one_in_4`, `one_in_3`, `level` and `three`."""
    # Ones must not look clearer in a song because they were fitted on it.
    halves = songs[0::2], songs[1::2]
    choices = []
    for part, others in zip(halves, reversed(halves), strict=True):
        ones = fit_ones(others)
        choices += [(_reading_columns(song, ones), song.shares) for song in part]
    barred = [song for song in songs if song.meter in METERS]
    evidence = np.stack([bars.meter_evidence(song.rows[song.right]) for song in barred])
    is_three = np.array([float(song.meter == 3) for song in barred])
    return fit_ones(songs) | {
        "level": fit_choice(choices, ridge=8.0),
        "three": fit_logistic(evidence, is_three, ridge=3.0),
    }


def fit_ones(songs: list[Collected]) -> dict[str, np.ndarray]:
    """Fit the models that tell a one from other beats, one for each meter."""
    weights = {}
    for meter in METERS:
        chosen = [song for song in songs if song.meter == meter]
        if not chosen:  # a run with few songs keeps what the package knows
            weights[f"one_in_{meter}"] = handmade.load_weights()[f"one_in_{meter}"]
            continue
        around = [beatwise.with_neighbors(s.rows[s.right])[s.known] for s in chosen]
        is_one = [song.is_one[song.known] for song in chosen]
        own = [song.own[song.right][song.known] for song in chosen]
        weights[f"one_in_{meter}"] = fit_logistic(
            np.concatenate(around),
            np.concatenate(is_one).astype(float),
            ridge=500.0,
            offset=np.concatenate(own),
        )
    return weights


def _reading_columns(song: Collected, ones: dict[str, np.ndarray]) -> np.ndarray:
    clearness = [
        levels.clearness_of_ones(bars.one_log_odds(own, rows, ones))
        for own, rows in zip(song.own, song.rows, strict=True)
    ]
    return np.hstack([song.columns, np.stack(clearness)])


def fit_handmade(lessons: list[Lesson]) -> dict[str, np.ndarray]:
    """Fit everything; the last third of the songs serves for how sure it may be called."""
    # Here, not above: `calibrate` builds on this module.
    from phrasefit.training.calibrate import DECODER_PREFIX, cut_lesson, fit_sureness, judge_song

    learned, judged = lessons[: 2 * len(lessons) // 3], lessons[2 * len(lessons) // 3 :]
    weights = fit_frames(learned)
    weights |= fit_songs(collect(learned, handmade.HandmadeModel(weights).observe))
    rng = np.random.default_rng(0)
    model = handmade.HandmadeModel(weights)
    verdicts = [judge_song(model, cut_lesson(lesson, rng)) for lesson in judged]
    sureness = fit_sureness([verdict for verdict in verdicts if verdict])
    return weights | {k.removeprefix(DECODER_PREFIX): v for k, v in sureness.items()}


def main() -> int:
    """Make the songs, fit, write the weights as JSON."""
    parser = argparse.ArgumentParser(prog="python -m phrasefit.training.handmade")
    parser.add_argument("out", type=Path, help="weights to write (.json)")
    parser.add_argument("--songs", type=int, default=N_SONGS)
    parser.add_argument("--folder", type=Path, action="append", default=[], help="more songs")
    parser.add_argument("--force", action="store_true", help="replace an existing file")
    options = parser.parse_args()
    try:
        lessons = [lesson for folder in options.folder for lesson in read_lessons(folder)]
        lessons += make_lessons(options.songs)
        np.random.default_rng(0).shuffle(lessons)
        weights = fit_handmade(lessons)
        write_weights(options.out, weights, force=options.force)
    except PhrasefitError as exc:
        print(f"phrasefit.training.handmade: {exc}", file=sys.stderr)
        return 2
    print(f"{len(lessons)} songs, weights written to {options.out}")
    return 0


def write_weights(path: Path, weights: dict[str, np.ndarray], *, force: bool = False) -> None:
    """Write four significant digits of each weight: more would be noise of the songs made."""
    rounded = {name: [float(f"{v:.4g}") for v in values] for name, values in weights.items()}
    lines = ",\n".join(f"  {json.dumps(k)}: {json.dumps(v)}" for k, v in rounded.items())
    write_atomic(path, "{\n" + lines + "\n}\n", force=force)


if __name__ == "__main__":
    sys.exit(main())
