"""``python tests/meter/regenerate.py``: records anew what `test_steps` compares with.

Never run by the tests; a change of the recorded files needs a sentence in the commit.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent))

from phrasefit._dp import track_events
from phrasefit.audio.features import extract_features
from phrasefit.meter.handmade import HandmadeModel
from phrasefit.meter.observe import beat_gain
from phrasefit.meter.statespace import beat_gaps
from phrasefit.model import Audio, SongInfo
from synth import RATE_HZ, make_song

FOLDER = Path(__file__).parent.parent / "data" / "meter"


def main() -> None:
    """Write the beat gains of a loosely played song with a stop, and its chains."""
    song = make_song("p4*2 4*6 ~3.3 4*6", bpm=112, looseness_s=0.01)
    audio = Audio(samples=song.samples, sample_rate_hz=RATE_HZ, info=SongInfo())
    gain = np.round(beat_gain(HandmadeModel().observe(extract_features(audio))), 2)
    chains, score = track_events(gain.astype(np.float32), beat_gaps(50.0)[0])
    FOLDER.mkdir(parents=True, exist_ok=True)
    stored = {"gain": [float(f"{g:.2f}") for g in gain]}
    (FOLDER / "stop.in.json").write_text(json.dumps(stored) + "\n", "utf-8")
    found = {"chains": [chain.steps.tolist() for chain in chains], "score": round(score, 3)}
    (FOLDER / "stop.out.json").write_text(json.dumps(found) + "\n", "utf-8")


if __name__ == "__main__":
    main()
