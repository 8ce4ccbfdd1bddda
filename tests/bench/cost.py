"""Cost of listening, as ratios to librosa's load and beat tracker in the same run.

``python tests/bench/cost.py [--minutes 3.5] [--repeat 3]``

CPU time (user + system) of child processes; *cold* is a fresh process that listens once,
*warm* what a second song costs in the same process.  Peak memory is of the cold
process.  The song is a stereo MP3 written by soundfile.  Every figure is the best of
`--repeat` runs, because other programs can only add to it; the systems take turns, so that
other programs meet them all alike.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import resource
import subprocess
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

OURS = """
from phrasefit.audio.decode import decode
from phrasefit.audio.features import extract_features, first_sample
from phrasefit.meter import track
def listen(path):
    audio = decode(path)
    return track(audio, extract_features(audio, first_sample(audio.samples)))
"""
# The whole of `phrasefit map` but for printing: phrases too, and the model that it uses.
WHOLE = """
from pathlib import Path
from phrasefit import pipeline
def listen(path):
    return pipeline.listen(Path(path), hand_made={hand_made})
"""
THEIRS = """
import librosa
def listen(path):
    samples, rate = librosa.load(path)
    return librosa.beat.beat_track(y=samples, sr=rate)
"""
FRAME = """
import sys, time
{code}
path = sys.argv[1]
listen(path)
if len(sys.argv) > 2:
    started = time.process_time()
    listen(path)
    print(time.process_time() - started)
"""
SYSTEMS = {
    "librosa load + beat_track": THEIRS,
    "decode + features + track": OURS,
    "map, hand-made": WHOLE.format(hand_made=True),
    "map, learned": WHOLE.format(hand_made=False),
}


def write_song(path: Path, minutes: float) -> None:
    """Write a stereo MP3 at 44.1 kHz of a made song, repeated to length."""
    import numpy as np
    import soundfile

    from synth import make_song

    song = make_song("p4*4 4*16 p4*4 4*14 2", bpm=118, looseness_s=0.004, rate_hz=44100)
    n_samples = int(minutes * 60 * song.rate_hz)
    left = np.resize(song.samples, n_samples)
    hiss = 0.001 * np.random.default_rng(0).standard_normal(n_samples)
    soundfile.write(path, np.stack([left, 0.9 * left + hiss], axis=1), song.rate_hz)


def run_cold(code: str, path: Path) -> tuple[float, float]:
    """CPU seconds and peak MB of a fresh process."""
    process = subprocess.Popen([sys.executable, "-c", FRAME.format(code=code), str(path)])
    _, status, usage = os.wait4(process.pid, 0)
    if status:
        raise SystemExit(f"a measured process failed with status {status}")
    process.returncode = 0
    return usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024


def run_warm(code: str, path: Path) -> float:
    """CPU seconds of the second song in a process."""
    command = [sys.executable, "-c", FRAME.format(code=code), str(path), "again"]
    return float(subprocess.run(command, check=True, capture_output=True, text=True).stdout)


def measure(names: list[str], path: Path, repeat: int) -> dict[str, tuple[float, float, float]]:
    """Best cold and warm CPU seconds, and peak MB, of each system."""
    cold, warm = ({name: [] for name in names} for _ in range(2))
    for _ in range(repeat):
        for name in names:
            cold[name].append(run_cold(SYSTEMS[name], path))
            warm[name].append(run_warm(SYSTEMS[name], path))
    return {
        name: (min(s for s, _ in cold[name]), min(warm[name]), max(mb for _, mb in cold[name]))
        for name in names
    }


def main() -> None:
    """Measure and print one row a system."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--minutes", type=float, default=3.5)
    parser.add_argument("--repeat", type=int, default=3)
    parser.add_argument("--systems", nargs="*", choices=list(SYSTEMS), default=list(SYSTEMS)[:2])
    options = parser.parse_args()
    os.environ |= dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"), "1")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "song.mp3"
        # In a process of its own: a child's peak memory starts from its parent's size.
        maker = multiprocessing.get_context("spawn").Process(
            target=write_song, args=(path, options.minutes)
        )
        maker.start()
        maker.join()
        rows = measure(options.systems, path, options.repeat)
    base_cold, base_warm, _ = next(iter(rows.values()))
    print(f"{options.minutes:g} minutes of stereo MP3, one thread")
    print(f"{'':28}  cold s  ratio   warm s  ratio   peak MB")
    for name, (cold, warm, peak_mb) in rows.items():
        print(
            f"{name:28} {cold:7.2f} {cold / base_cold:6.2f} {warm:8.2f} {warm / base_warm:6.2f}"
            f" {peak_mb:9.0f}"
        )
    own_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"(the measuring process itself: {own_mb:.0f} MB)")


if __name__ == "__main__":
    main()
