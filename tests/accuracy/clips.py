"""Cut songs with a known truth into clips, as other measurements of trackers use them.

    python tests/accuracy/clips.py OUTFOLDER FOLDER... [--seconds 30] [--clips 4]

Clips lie evenly over each song of the folders (audio with NAME.json beside it); those with
less than eight beats are left out.  `run.py` judges them like songs, but for the first five
seconds, which it leaves out of each.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import numpy as np
import soundfile
from render import Truth, save_song
from run import songs_below

MIN_BEATS = 8


def cut_song(path: Path, out: Path, *, seconds: float, n_clips: int) -> None:
    """Write the clips of one song."""
    document = json.loads(path.with_suffix(".json").read_text("utf-8"))
    beats_s, positions = np.array(document["beats_s"]), np.array(document["positions"])
    samples, rate_hz = soundfile.read(path, dtype="float32")
    last_s = max(0.0, len(samples) / rate_hz - seconds)
    for number, start_s in enumerate(np.linspace(0, last_s, n_clips + 2)[1:-1]):
        inside = (beats_s >= start_s) & (beats_s < start_s + seconds)
        if inside.sum() < MIN_BEATS:
            continue
        first = round(start_s * rate_hz)
        clip = samples[first : first + round(seconds * rate_hz)]
        kept = {k: document[k] for k in ("judge_ones",) if k in document}
        truth = Truth(
            beats_s[inside] - first / rate_hz, positions[inside], document["meter"], notes=kept
        )
        save_song(out, f"{path.stem}-{number}", clip, truth)


def main() -> None:
    """Cut all songs."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("out", type=Path)
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--seconds", type=float, default=30.0)
    parser.add_argument("--clips", type=int, default=4, help="of each song")
    options = parser.parse_args()
    for path, set_name in songs_below(options.folders):
        cut_song(path, options.out / set_name, seconds=options.seconds, n_clips=options.clips)


if __name__ == "__main__":
    main()
