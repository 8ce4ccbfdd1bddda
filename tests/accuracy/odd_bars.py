"""Are odd bars heard where they are, and only there?

    python tests/accuracy/odd_bars.py OUTFOLDER FOLDER... [--jobs N]

FOLDERS hold songs with a truth, as for `run.py`.  Judged are songs in fours whose ones are
known.  *False* is an odd bar heard in a song that has none: every true bar has four beats and
lasts as long as its neighbors do (`EVEN`).  As few songs have a true one, each song gets one:
before its clearest section in the middle two beats are cut out, or played a second time, in
turn (written to OUTFOLDER, with a truth beside them).  *Found* is such a bar if an odd one is
heard that begins at most a bar away.  A song rendered with two soundfonts is spliced once.
The splice is cross-faded; what no splice has is the band that plays into an odd bar.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import numpy as np
import soundfile
from render import Truth, save_song
from run import load_model, songs_below
from systems import Song, hear

from phrasefit.model import BarMap

BEATS = 4  # a bar
SPLICED = 2  # beats cut out or played twice
FADE_S = 0.010
EVEN = 0.2  # of a bar, that its neighbor may be longer or shorter
INSIDE = (0.3, 0.75)  # of the song, where it is spliced
OTHER_RENDERS = "fluidr3"


def odd_bars(beats_s: np.ndarray, positions: np.ndarray) -> list[float]:
    """Starts of bars that do not have four beats; the last one, which may be cut, is not asked."""
    ones = np.flatnonzero(np.asarray(positions) == 1)
    return [float(beats_s[one]) for one, n in zip(ones, np.diff(ones), strict=False) if n != BEATS]


def has_none(song: Song) -> bool:
    """Tell whether all true bars of a song are alike, in beats and in time."""
    beats_s = np.array(song.document["beats_s"])
    ones_s = beats_s[np.array(song.document["positions"]) == 1]
    bars_s = np.diff(ones_s)
    steady = np.all(np.abs(bars_s[1:] / bars_s[:-1] - 1) < EVEN)
    return bool(steady) and not odd_bars(beats_s, song.document["positions"])


def splice(song: Song, out: Path, *, repeat: bool) -> Path | None:
    """Write the song with two beats less, or more, before a section; None if there is no place."""
    song_map = song.true_map()
    beats_s, positions = np.array(song.document["beats_s"]), np.array(song.document["positions"])
    low, high = (share * beats_s[-1] for share in INSIDE)
    inside = [s for s in song_map.sections if low < beats_s[s.start_beat] < high]
    inside = [s for s in inside if positions[s.start_beat] == 1]
    if not inside:
        return None
    at = max(inside, key=lambda section: section.strength).start_beat
    samples, rate_hz = soundfile.read(song.path, dtype="float32", always_2d=True)
    first, last = (round((beats_s[at - n] - FADE_S) * rate_hz) for n in (SPLICED, 0))
    away_s = beats_s[at] - beats_s[at - SPLICED]
    if repeat:
        sound = cross_faded(samples[:last], samples, first, rate_hz)
        moved_s = np.append(beats_s[:at], beats_s[at - SPLICED :] + away_s)
        places = np.concatenate([positions[:at], [BEATS + 1, BEATS + 2], positions[at:]])
    else:
        sound = cross_faded(samples[:first], samples, last, rate_hz)
        moved_s = np.append(beats_s[: at - SPLICED], beats_s[at:] - away_s)
        places = np.delete(positions, [at - 2, at - 1])
    truth = Truth(moved_s, places, BEATS, notes={"odd_bar_s": float(beats_s[at - BEATS])})
    name = f"{song.path.parent.name}-{song.name}-{'more' if repeat else 'less'}"
    save_song(out, name, sound, truth)
    return out / f"{name}.wav"


def cross_faded(head: np.ndarray, samples: np.ndarray, start: int, rate_hz: int) -> np.ndarray:
    """Go on from the end of `head` with ``samples[start:]``."""
    n = round(FADE_S * rate_hz)
    rising = np.linspace(0, 1, n, dtype=np.float32)[:, None]
    middle = head[-n:] * (1 - rising) + samples[start - n : start] * rising
    return np.concatenate([head[:-n], middle, samples[start:]])


def judge(path: Path, set_name: str, out: Path, *, repeat: bool) -> dict | None:
    """Hear a song and what was spliced of it; None if it is not asked about."""
    song = Song(path)
    if song.truth.meter != BEATS or not song.truth.judge_ones:
        return None
    row = {"set": set_name.split("/")[0], "song": path.stem, "false": None, "found": None}
    model = load_model("learned", None)
    if has_none(song):
        heard, _ = hear(song, model)
        row["false"] = bool(heard and _odd_in(heard))
    made = None if OTHER_RENDERS in set_name else splice(song, out, repeat=repeat)
    if made:
        true_s = json.loads(made.with_suffix(".json").read_text(encoding="utf-8"))["odd_bar_s"]
        heard, _ = hear(Song(made), model)
        near = BEATS * 60 / heard.tempo_bpm if heard else 0.0
        row["found"] = bool(heard) and any(abs(s - true_s) <= 1.1 * near for s in _odd_in(heard))
    return row


def _odd_in(heard: BarMap) -> list[float]:
    in_fours = heard.meter == BEATS
    return odd_bars(heard.beat_times_s, heard.positions) if in_fours else []


def main() -> None:
    """Judge all songs and print one line a set."""
    from joblib import Parallel, delayed

    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("out", type=Path)
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--jobs", type=int, default=1)
    options = parser.parse_args()
    rows = Parallel(n_jobs=options.jobs)(
        delayed(judge)(path, set_name, options.out, repeat=bool(number % 2))
        for number, (path, set_name) in enumerate(songs_below(options.folders))
    )
    rows = [row for row in rows if row]
    for set_name in [*dict.fromkeys(row["set"] for row in rows), "all"]:
        chosen = [row for row in rows if set_name in (row["set"], "all")]
        false = [row["false"] for row in chosen if row["false"] is not None]
        found = [row["found"] for row in chosen if row["found"] is not None]
        print(
            f"{set_name}: false in {sum(false)} of {len(false)}, found {sum(found)} of {len(found)}"
        )
    for row in rows:
        if row["false"] or row["found"] is False:
            print(f"- {row['set']}/{row['song']}: {'false' if row['false'] else 'not found'}")


if __name__ == "__main__":
    main()
