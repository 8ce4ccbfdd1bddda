"""How excerpts of released recordings in ten styles are heard: a development set.

    python tests/accuracy/excerpts.py AUDIO ANNOTATIONS [--weights FILE.npz] [--out FILE.json]

AUDIO is the folder `data` of the public repository zenny126/py: the first 15 to 20 s of 100
recordings, ``blues.00000.wav`` and so on; ANNOTATIONS is the folder `gtzan/annotations/beats`
of CPJKU/beat_this_annotations (MIT), where people marked beats and ones.  Nothing of them is
kept here, and no model learns from them.

Only the first five of each style are ever read (`SEEN`); the others are kept for judging.
Printed are, for each style: excerpts, how many were refused, how many got a map with the
loud doubt, F-measure of beats, continuity (CMLt, AMLt), F-measure of ones, and how many
excerpts whose beats are right have their ones mostly on the second, third or fourth beat.
Nothing is trimmed from the start, as the excerpts are short.  Refused counts as 0; where
people marked beats but no ones, ones are not judged.
"""

from __future__ import annotations

import argparse
import json
import warnings
from pathlib import Path

import mir_eval
import numpy as np
from referee import calibration_error, f_measure, unbiased_calibration_error

from phrasefit.audio.decode import decode
from phrasefit.audio.features import extract_features, first_sample, opens_s
from phrasefit.errors import NoPulseError
from phrasefit.form import weigh_ones
from phrasefit.form.evidence import beat_evidence
from phrasefit.meter import track
from phrasefit.meter.learned import LearnedModel
from phrasefit.model import BarMap

STYLES = (
    "blues", "classical", "country", "disco", "hiphop", "jazz", "metal", "pop", "reggae", "rock",
)  # fmt: skip
SEEN = range(5)  # of each style; the rest judges and is not looked at
AMBIGUOUS = ("blues.00001", "disco.00001", "reggae.00002", "metal.00004")  # as people marked them
RIGHT_BEATS, RIGHT_ONES = 0.8, 0.8
N_DRAWS = 1000
COLUMNS = ("beat_f", "cmlt", "amlt", "downbeat_f")


def excerpts(audio: Path, annotations: Path) -> list[tuple[str, Path, Path]]:
    """Name, sound and marks of the excerpts that may be looked at."""
    names = [f"{style}.{number:05d}" for style in STYLES for number in SEEN]
    return [
        (name, audio / f"{name}.wav", annotations / f"gtzan_{name.replace('.', '_')}.beats")
        for name in names
    ]


def judge(sound: Path, marks: Path, model: LearnedModel) -> dict:
    """Score one excerpt."""
    audio = decode(sound)
    truth = np.loadtxt(marks, ndmin=2)
    truth = truth[truth[:, 0] < audio.samples.size / audio.sample_rate_hz]
    has_ones = truth.shape[1] == 2
    beats_s, ones_s = truth[:, 0], truth[truth[:, -1] == 1, 0]
    try:
        features = extract_features(audio, first_sample(audio.samples))
        found = track(audio, features, model=model)
        evidence = beat_evidence(features, found.beat_times_s)
        found = weigh_ones(found, evidence, opens_s(audio))
    except NoPulseError:
        unmarked = {} if has_ones else {"downbeat_f": np.nan}
        return dict.fromkeys(COLUMNS, 0.0) | {"refused": True} | unmarked
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of too few beats; the score is 0
        continuity = mir_eval.beat.continuity(beats_s, found.beat_times_s)
    sure = found.confidence
    return {
        "refused": False,
        "doubtful": found.confidence.hardly_steady,
        "pulse": found.confidence.pulse,
        "beat_f": f_measure(beats_s, found.beat_times_s),
        "cmlt": float(continuity[1]),
        "amlt": float(continuity[3]),
        "downbeat_f": f_measure(ones_s, found.beat_times_s[found.positions == 1])
        if has_ones
        else np.nan,
        "one_on": place_of_ones(truth, found) if has_ones else None,
        "sure_of_beats": sure.beats,
        "sure_of_one": sure.downbeat,
        "tempo_bpm": found.tempo_bpm,
        "true_bpm": 60 / float(np.median(np.diff(beats_s))),
    }


def place_of_ones(truth: np.ndarray, found: BarMap) -> int | None:
    """Which marked beat of the bar most ones that were found are on; None if beats are wrong."""
    if f_measure(truth[:, 0], found.beat_times_s) < RIGHT_BEATS:
        return None
    ones_s = found.beat_times_s[found.positions == 1]
    nearest = np.abs(truth[:, 0] - ones_s[:, None]).argmin(axis=1)
    return int(np.bincount(truth[nearest, 1].astype(int)).argmax())


def table(rows: list[dict]) -> str:
    """Markdown: one line for each style, and one for all."""
    head = "| style | n | refused | doubt | beat F | CMLt | AMLt | downbeat F | one on 2, 3, 4 |"
    lines = [head, "|" + " --- |" * 9]
    for style in (*STYLES, "all"):
        chosen = [row for row in rows if style in ("all", row["style"])]
        means = " | ".join(f"{np.nanmean([row[name] for row in chosen]):.3f}" for name in COLUMNS)
        places = [sum(row.get("one_on") == place for row in chosen) for place in (2, 3, 4)]
        refused = sum(row["refused"] for row in chosen)
        doubted = sum(row.get("doubtful", False) for row in chosen)
        lines.append(
            f"| {style} | {len(chosen)} | {refused} | {doubted} | {means} |"
            f" {', '.join(map(str, places))} |"
        )
    return "\n".join(lines)


def sureness(rows: list[dict]) -> str:
    """How far called sureness is from what was right, over the maps that were made.

    Beside the error stands what a judge would score on average whose every word is true, drawn
    at random: with so few maps that is far from 0.
    """
    lines, draws = [], np.random.default_rng(0)
    for name, score, enough in (
        ("sure_of_beats", "beat_f", RIGHT_BEATS),
        ("sure_of_one", "downbeat_f", RIGHT_ONES),
    ):
        maps = [row for row in rows if not row["refused"] and np.isfinite(row[score])]
        sure = np.array([row[name] for row in maps])
        right = np.array([row[score] >= enough for row in maps], dtype=float)
        error = calibration_error(sure, right)
        by_chance = [
            calibration_error(sure, draws.random(sure.size) < sure) for _ in range(N_DRAWS)
        ]
        lines.append(
            f"{name}: called {sure.mean():.2f}, right {right.mean():.2f}, error {error:.3f}"
            f" ({np.mean(by_chance):.3f} if all of it were true;"
            f" {unbiased_calibration_error(sure, right):.3f} without what chance adds)"
        )
    return "\n".join(lines)


def main() -> None:
    """Judge the excerpts and print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("audio", type=Path)
    parser.add_argument("annotations", type=Path)
    parser.add_argument("--weights", type=Path, help="weights (.npz) other than those shipped")
    parser.add_argument("--out", type=Path, help="JSON of every excerpt")
    options = parser.parse_args()
    model = LearnedModel(dict(np.load(options.weights)) if options.weights else None)
    rows = []
    for name, sound, marks in excerpts(options.audio, options.annotations):
        row = judge(sound, marks, model)
        rows.append({"name": name, "style": name.split(".")[0]} | row)
        scores = " ".join(f"{row[column]:.2f}" for column in COLUMNS)
        note = " (marks are ambiguous)" if name in AMBIGUOUS else ""
        print(f"{name} {'refused' if row['refused'] else scores}{note}")
    print(table(rows), sureness(rows), sep="\n\n")
    if options.out:
        options.out.write_text(json.dumps(rows, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
