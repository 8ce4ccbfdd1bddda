"""The practice groove: the same in every process, and struck where the counts are."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from phrasefit.reports.groove import groove

ROOT = Path(__file__).parents[2]
RATE_HZ = 22050
PRINT_DIGEST = """
import hashlib, numpy as np
from phrasefit.reports.groove import groove
times_s = np.arange(9) * 0.5
for meter, group in ((4, 8), (3, 6)):
    places = [i % group for i in range(8)]
    sound = groove(times_s, places, meter=meter, swing=0.6, n_samples=90000, sample_rate_hz=22050)
    print(hashlib.sha256(sound.tobytes()).hexdigest())
"""


def test_the_same_counts_sound_the_same_in_every_process() -> None:
    """Practice audio made twice is equal, whatever order a process keeps its sets in."""
    digests = {
        subprocess.run(
            [sys.executable, "-c", PRINT_DIGEST],
            env=os.environ | {"PYTHONHASHSEED": str(seed), "PYTHONPATH": str(ROOT)},
            capture_output=True, text=True, check=True,
        ).stdout
        for seed in (1, 2)
    }  # fmt: skip

    assert len(digests) == 1


@pytest.mark.parametrize(("meter", "group"), [(4, 8), (3, 6)])
def test_every_count_is_struck_at_its_time(meter: int, group: int) -> None:
    """A stroke begins within a millisecond of each count, out of near silence before it."""
    times_s = 0.25 + np.arange(2 * group + 1) * 0.8
    places = [i % group for i in range(2 * group)]

    sound = groove(
        times_s, places, meter=meter, swing=0.5, n_samples=15 * RATE_HZ, sample_rate_hz=RATE_HZ
    )

    assert sound.dtype == np.float32 and np.abs(sound).max() == pytest.approx(1.0)
    steps = np.abs(np.diff(sound, prepend=0.0))
    for time_s in times_s[:-1]:
        at = round(time_s * RATE_HZ)
        assert steps[at - 220 : at].max() < 0.1 * steps[at : at + 220].max()
