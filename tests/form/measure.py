"""Measure form apart from tracking: sections found on the true beats of songs.

    python tests/form/measure.py FOLDER...

Each FOLDER (with its sub-folders) holds audio files with a truth NAME.json beside them:
`beats_s`, `positions`, `meter` and `sections` [`start_s`, `letter`].  Printed are means
over songs of boundary F at 0.5 s and 3 s and of pairwise letter F (mir_eval is the
referee), how often boundaries of each strength are right, and the processor time.
"""

from __future__ import annotations

import argparse
import json
import time
from dataclasses import dataclass
from pathlib import Path

import mir_eval
import numpy as np

from phrasefit.audio.decode import decode
from phrasefit.audio.features import extract_features
from phrasefit.form.boundary_cues import bar_evidence
from phrasefit.form.evidence import BeatEvidence, beat_evidence
from phrasefit.form.sections import find_sections, segment_scores


@dataclass(frozen=True)
class TrueSong:
    """A song's evidence on its true beats, and its true sections [beats]."""

    name: str
    beats_s: np.ndarray
    positions: np.ndarray
    meter: int
    starts: np.ndarray
    letters: list[str]
    evidence: BeatEvidence

    @property
    def edges_s(self) -> np.ndarray:
        """Where beats begin, and the last one ends."""
        return np.append(self.beats_s, self.beats_s[-1] + np.median(np.diff(self.beats_s)))


def load(path: Path) -> TrueSong | None:
    """Read a song and its truth; None if there is no truth with sections."""
    truth_path = path.with_suffix(".json")
    truth = json.loads(truth_path.read_text(encoding="utf-8")) if truth_path.exists() else {}
    if not truth.get("sections"):
        return None
    beats = np.array(truth["beats_s"], dtype=float)
    starts_s = np.array([section["start_s"] for section in truth["sections"]])
    return TrueSong(
        name=path.stem,
        beats_s=beats,
        positions=np.array(truth["positions"]),
        meter=int(truth["meter"]),
        starts=np.abs(beats[:, None] - starts_s).argmin(axis=0),
        letters=[section["letter"] for section in truth["sections"]],
        evidence=beat_evidence(extract_features(decode(path)), beats),
    )


def score(song: TrueSong) -> tuple[list[float], list[tuple[float, bool]]]:
    """Give F at 0.5 s and 3 s, letter F and seconds; strength and truth of each boundary."""
    began = time.process_time()
    bars = bar_evidence(song.evidence, song.positions, song.meter)
    sections = find_sections(bars, segment_scores(bars))
    cpu_s = time.process_time() - began
    edges = song.edges_s - song.edges_s[song.starts[0]]  # mir_eval wants to begin at 0
    ends = [section.start_beat + section.n_beats for section in sections]
    sections = [s for s, end in zip(sections, ends, strict=True) if end > song.starts[0]]
    found = np.array([section.start_beat for section in sections])
    true_spans = _spans(edges[np.append(song.starts, len(edges) - 1)])
    found_spans = _spans(edges[np.append(found, len(edges) - 1)])
    found_spans[0, 0] = true_spans[0, 0]
    f_values = [
        mir_eval.segment.detection(true_spans, found_spans, window=window, trim=True)[2]
        for window in (0.5, 3.0)
    ]
    letters = [section.letter for section in sections]
    letter_f = mir_eval.segment.pairwise(true_spans, song.letters, found_spans, letters)[2]
    right = [(s.strength, s.start_beat in song.starts) for s in sections[1:]]
    return [*f_values, letter_f, cpu_s], right


def _spans(edges_s: np.ndarray) -> np.ndarray:
    return np.stack([edges_s[:-1], edges_s[1:]], axis=1)


def main() -> None:
    """Measure all songs of the folders given."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folders", type=Path, nargs="+")
    options = parser.parse_args()
    paths = [p for folder in options.folders for p in sorted(folder.rglob("*.*"))]
    audio = [p for p in paths if p.suffix in {".ogg", ".wav", ".flac", ".mp3", ".m4a"}]
    songs = [song for path in audio if (song := load(path))]
    results, judged = [], []
    for song in songs:
        values, right = score(song)
        results.append(values)
        judged += right
        exact_f, near_f, letter_f, _ = values
        print(f"{song.name:32} F 0.5 s {exact_f:.2f}  3 s {near_f:.2f}  letters {letter_f:.2f}")
    means = np.mean(results, axis=0)
    print(f"{len(songs)} songs: F 0.5 s {means[0]:.3f}, F 3 s {means[1]:.3f},"
          f" letters {means[2]:.3f}, {1000 * means[3]:.0f} ms a song")  # fmt: skip
    strengths, hits = np.array(judged).T
    for low in (0.0, 0.4, 0.6, 0.8, 0.95):
        chosen = (strengths >= low) & (strengths < {0.95: 1.1, 0.0: 0.4}.get(low, low + 0.2))
        if chosen.any():
            print(f"  strength {strengths[chosen].mean():.2f}: {hits[chosen].mean():.2f} right"
                  f" of {chosen.sum()}")  # fmt: skip


if __name__ == "__main__":
    main()
