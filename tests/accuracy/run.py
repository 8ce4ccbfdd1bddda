"""Measure how well songs are heard, and whether the plans made from them hold.

    python tests/accuracy/run.py FOLDER... [--systems naive hand learned] [--out FILE.json]

Each FOLDER (searched with its sub-folders) holds audio files with a truth NAME.json
beside them: `beats_s`, `positions`, `meter` and, if known, `sections` [`start_s`,
`letter`].  `symbolic.py` makes such folders; ``sample_audio`` is one.  Printed is a
Markdown table of means over songs with 95 % bootstrap intervals; `--out` gets every
song.  What each number means is written in `referee.py`.

Plan agreement: `fit_routine` plans a routine of C counts and 4 walls (`--counts`,
waltz songs: 3/4 of C) once on the map heard and once on the true map.  Where the
truth has no sections, the product itself finds them on the true beats; such sets are
marked ``*``.  "Plan, form given" gives both maps the same true sections, so that only
beats and bars can differ.  "Walls shared" is the F-measure of wall starts, "start" the share
of plans that begin as the one from the true map does.  Regret is what the plan of the map
heard scores less on the true map than the best plan there [points of 100]: all of its score
where there is no plan, or one for other bars.
"""

from __future__ import annotations

import argparse
import datetime
import json
import time
from pathlib import Path

import numpy as np
from referee import (
    Reading,
    bootstrap_interval,
    calibration_error,
    category,
    plan_agreement,
    score_reading,
    wall_overlap,
)
from systems import Song, hear, naive_map, reading_of, with_form_of

from phrasefit.errors import PhrasefitError

AUDIO_ENDINGS = {".wav", ".ogg", ".flac", ".mp3", ".m4a"}
SHOWN = (
    ("beat_f", "beat F"),
    ("cmlt", "CMLt"),
    ("amlt", "AMLt"),
    ("downbeat_f", "downbeat F"),
    ("downbeat_f_level", "downbeat F, level free"),
    ("timing_ms", "timing ms"),
    ("bias_ms", "bias ms"),
    ("meter_right", "meter"),
    ("section_f_05", "section 0.5 s"),
    ("section_f_3", "section 3 s"),
    ("plan", "plan agreement"),
    ("start", "start"),
    ("regret", "regret, mean"),
    ("walls", "walls shared"),
    ("plan_bars", "plan, form given"),
)


def planned(bar_map, counts: int):
    """Fit a routine of so many counts; why there is no plan, if there is none."""
    from phrasefit.fit import fit_routine
    from phrasefit.routine.spec import routine_from_numbers

    in_threes = bar_map.meter % 3 == 0
    routine = routine_from_numbers(
        counts=counts * 3 // 4 if in_threes else counts, walls=4, meter=3 if in_threes else 4
    )
    try:
        return fit_routine(bar_map, routine)
    except PhrasefitError as exc:
        return str(exc)


def regret(true_fit, heard_fit) -> float:
    """Points that the plan heard loses on the true map against the best plan there."""
    from phrasefit.fit.regret import points_on

    best = true_fit.plan.score
    if heard_fit is None or heard_fit.routine.meter != true_fit.routine.meter:
        return best
    worth = points_on(heard_fit.plan, heard_fit.grid, true_fit.grid, true_fit.request)
    return max(best - min(max(worth, 0.0), 100.0), 0.0)


def compare_plans(true_map, heard_map, all_counts: list[int]) -> dict[str, float]:
    """Agreement and regret of the plans for each routine length, and their means."""
    rows = []
    for counts in all_counts:
        true_fit = planned(true_map, counts)
        if isinstance(true_fit, str):
            continue  # nothing to dance on the true map either: no question was asked
        heard_fit = None if heard_map is None else planned(heard_map, counts)
        heard_fit = None if isinstance(heard_fit, str) else heard_fit
        expected, got = (
            [wall.start_s for wall in fit.plan.walls] if fit else []
            for fit in (true_fit, heard_fit)
        )
        rows.append(
            {
                "plan": plan_agreement(expected, got),
                "walls": wall_overlap(expected, got),
                "start": plan_agreement(expected[:1], got[:1]),
                "regret": regret(true_fit, heard_fit),
                "counts": counts,
            }
        )
    means = {key: float(np.mean([r[key] for r in rows])) for key in rows[0]} if rows else {}
    means.pop("counts", None)
    by_counts = {f"{key}_{r['counts']}": r[key] for r in rows for key in ("plan", "regret")}
    return means | by_counts


def load_model(system: str, weights: Path | None):
    """Give the observation model of a system; None is the hand-made one."""
    if system != "learned":
        return None
    from phrasefit.meter.learned import LearnedModel

    return LearnedModel(dict(np.load(weights)) if weights else None)


def judge(path: Path, set_name: str, options: argparse.Namespace) -> list[dict]:
    """One row for each system on one song."""
    song = Song(path)
    true_map = song.true_map() if options.counts else None
    rows = []
    for system in options.systems:
        started = time.process_time()
        if system == "naive":
            heard, reason = naive_map(song)
        else:
            heard, reason = hear(song, load_model(system, options.weights))
        cpu_s = time.process_time() - started + song.listening_s
        estimate = reading_of(heard) if heard else Reading(np.array([]), np.array([]), 4)
        scores = score_reading(song.truth, estimate)
        if system == "naive":  # it looks for none
            scores |= {"section_f_05": np.nan, "section_f_3": np.nan}
        row = {"set": set_name, "song": song.name, "system": system, "failure": reason}
        row |= scores | {"category": category(song.truth, estimate, scores)}
        row |= {"true_meter": song.truth.meter, "heard_meter": estimate.meter}
        row |= {"true_bpm": _bpm(song.truth.beats_s), "heard_bpm": _bpm(estimate.beats_s)}
        row |= {"has_sections": len(song.truth.sections_s) > 1, "cpu_s": round(cpu_s, 2)}
        if heard and system != "naive":
            confidence = heard.confidence
            row |= {"sure_of_beats": confidence.beats, "sure_of_one": confidence.downbeat}
            row |= {"sure_of_meter": confidence.meter}
        if options.counts and song.truth.judge_ones:
            if heard and system == "naive":
                heard = song.with_form(heard)
            row |= compare_plans(true_map, heard, options.counts)
            same_form = [m and with_form_of(m, true_map) for m in (true_map, heard)]
            row["plan_bars"] = compare_plans(*same_form, options.counts).get("plan", np.nan)
        rows.append(row)
    return rows


def _bpm(beats_s: np.ndarray) -> float | None:
    return round(60 / float(np.median(np.diff(beats_s))), 1) if beats_s.size > 1 else None


def judge_or_say(path: Path, set_name: str, options: argparse.Namespace) -> list[dict]:
    """One broken song must not stop the measurement, and must be seen in it."""
    try:
        return judge(path, set_name, options)
    except PhrasefitError as exc:
        return [{"set": set_name, "song": path.stem, "system": "all", "failure": str(exc)}]


def songs_below(folders: list[Path]) -> list[tuple[Path, str]]:
    """Audio files that have a truth beside them, with the name of their set."""
    found = []
    for folder in folders:
        for path in sorted(folder.rglob("*")):
            if path.suffix.lower() in AUDIO_ENDINGS and path.with_suffix(".json").exists():
                below = path.parent.relative_to(folder)
                found.append((path, "/".join([folder.name, *below.parts])))
    return found


def table(rows: list[dict], systems: list[str]) -> str:
    """Markdown: one line for each set and system, `mean [low high]`."""
    head = ["set", "system", "n", *(title for _, title in SHOWN)]
    lines = [" | ".join(head), " | ".join(["---"] * len(head))]
    for set_name in dict.fromkeys(row["set"] for row in rows):
        for system in systems:
            chosen = [r for r in rows if r["set"] == set_name and r["system"] == system]
            if not chosen:
                continue
            star = "" if chosen[0].get("has_sections") else "*"
            cells = [set_name + star, system, str(len(chosen))]
            cells += [_cell([r.get(key, np.nan) for r in chosen], key) for key, _ in SHOWN]
            lines.append(" | ".join(cells))
    return "\n".join(f"| {line} |" for line in lines)


def _cell(values: list[float], key: str) -> str:
    mean, low, high = bootstrap_interval(np.array(values, float))
    digits = 1 if key.endswith("_ms") or key == "regret" else 2
    return "–" if np.isnan(mean) else f"{mean:.{digits}f} [{low:.{digits}f} {high:.{digits}f}]"


def regrets(rows: list[dict], systems: list[str]) -> str:
    """Markdown: regret over all plans of each set, most of which have none."""
    lines = ["| set | system | plans | median | mean | no regret |", "|" + " --- |" * 6]
    for set_name in dict.fromkeys(row["set"] for row in rows):
        for system in systems:
            points = np.array(
                [value for row in rows if (row["set"], row["system"]) == (set_name, system)
                 for key, value in row.items() if key.startswith("regret_")]
            )  # fmt: skip
            if points.size:
                lines.append(
                    f"| {set_name} | {system} | {points.size} | {np.median(points):.1f}"
                    f" | {points.mean():.1f} | {np.mean(points < 1):.2f} |"
                )
    return "\n".join(lines)


def calibration(rows: list[dict], systems: list[str]) -> str:
    """Markdown: whether the confidences hold, over the songs of all sets together.

    Right: beat F ≥ 0.9; downbeat F (level free) ≥ 0.85; the meter a dancer tells apart.
    """
    questions = {
        "beats": ("sure_of_beats", "beat_f_all", 0.9),
        "the one": ("sure_of_one", "downbeat_f_level", 0.85),
        "meter": ("sure_of_meter", "meter_right", 1.0),
    }
    lines = ["| confidence | system | n | right | said | error |", "|" + " --- |" * 6]
    for system in systems:
        for title, (sure, score, enough) in questions.items():
            pairs = [(r[sure], r[score] >= enough) for r in rows
                     if r["system"] == system and sure in r and np.isfinite(r[score])]  # fmt: skip
            if pairs:
                said, right = np.array(pairs, float).T
                error = calibration_error(said, right)
                lines.append(f"| {title} | {system} | {len(pairs)} | {right.mean():.2f}"
                             f" | {said.mean():.2f} | {error:.3f} |")  # fmt: skip
    return "\n".join(lines)


def failures(rows: list[dict], systems: list[str]) -> str:
    """Markdown: for each set and system the songs of each kind of failure."""
    lines = []
    for set_name in dict.fromkeys(row["set"] for row in rows):
        for system in systems:
            chosen = [r for r in rows if r["set"] == set_name and r["system"] == system]
            kinds: dict[str, list[str]] = {}
            for row in chosen:
                kinds.setdefault(row["category"], []).append(
                    f"{row['song']} ({row['true_bpm']}/{row['heard_bpm']} bpm,"
                    f" {row['true_meter']}/{row['heard_meter']},"
                    f" {row['beat_f']:.2f} {row['downbeat_f']:.2f})"
                )
            for kind in sorted(kinds):
                names = f"{len(kinds[kind])}" if kind == "ok" else "; ".join(kinds[kind])
                lines.append(f"- {set_name} {system} **{kind}** ({len(kinds[kind])}): {names}")
    return "\n".join(lines)


def parse() -> argparse.Namespace:
    """Read the options."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument(
        "--systems", nargs="+", default=["naive", "hand", "learned"],
        choices=["naive", "hand", "learned"],
    )  # fmt: skip
    parser.add_argument("--weights", type=Path, help="weights (.npz) other than those shipped")
    parser.add_argument("--counts", nargs="*", type=int, default=[32, 64, 48])
    parser.add_argument("--jobs", type=int, default=1, help="worker processes")
    parser.add_argument("--limit", type=int, help="only the first songs of all")
    parser.add_argument("--out", type=Path, help="JSON of every song")
    return parser.parse_args()


def main() -> None:
    """Judge all songs and print the tables."""
    from joblib import Parallel, delayed

    options = parse()
    songs = songs_below(options.folders)[: options.limit]
    if not songs:
        raise SystemExit("no audio with a truth NAME.json beside it in these folders")
    work = Parallel(n_jobs=options.jobs, return_as="generator")(
        delayed(judge_or_say)(path, set_name, options) for path, set_name in songs
    )
    rows = [row for song_rows in work for row in song_rows]
    broken = [row for row in rows if row["system"] == "all"]
    rows = [row for row in rows if row["system"] != "all"]
    for part in (table, regrets, calibration, failures):
        print(part(rows, options.systems), end="\n\n")
    for row in broken:
        print(f"- not judged: {row['set']}/{row['song']}: {row['failure']}")
    if options.out:
        document = {
            "date": datetime.date.today().isoformat(),
            "folders": [folder.name for folder in options.folders],
            "weights": options.weights.name if options.weights else "shipped",
            "rows": rows,
            "broken": broken,
        }
        options.out.write_text(json.dumps(document, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
