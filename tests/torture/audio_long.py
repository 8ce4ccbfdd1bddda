"""Decodes thousands of damaged song files: no traceback, no hang, nothing lost in silence.

``python tests/torture/audio_long.py [MUTATIONS] [--seed 0]``

Each case is a whole file of a random kind with one to three wounds: its end or a piece cut
out, bytes overwritten with noise or zeros, bits turned, junk put in.  It must be decoded or
refused with an `AudioError`.  What is decoded must be as long as the whole song, or carry a
note that says what is missing.  Wounds in the first `HEAD_BYTES` may alter what a header
means, such as the rate, and of an MP3 without a header nobody knows the length: there only
tracebacks and hangs count.
"""

from __future__ import annotations

import argparse
import collections
import faulthandler
import random
import sys
import tempfile
import time
import traceback
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent))

from phrasefit.audio.decode import decode
from phrasefit.errors import AudioError
from sound_files import rate_for, write_song
from synth import make_song

ENDINGS = (
    "wav", "adpcm.wav", "aiff", "flac", "ogg", "opus", "flac.ogg", "mp3", "vbr.mp3", "m4a", "webm",
)  # fmt: skip
HEAD_BYTES = 8192
ALLOWED_LOSS_S = 0.6  # half a second is what `decode` lets pass, and encoders pad
HANG_S = 60

Wound = Callable[[random.Random, bytes, int, int], bytes]
WOUNDS: dict[str, Wound] = {
    "cut": lambda rng, data, at, n: data[:at],
    "hole": lambda rng, data, at, n: data[:at] + data[at + n :],
    "noise": lambda rng, data, at, n: data[:at] + rng.randbytes(n) + data[at + n :],
    "zeros": lambda rng, data, at, n: data[:at] + bytes(n) + data[at + n :],
    "junk": lambda rng, data, at, n: data[:at] + rng.randbytes(n) + data[at:],
    "again": lambda rng, data, at, n: data[: at + n] + data[at:],
    "bit": lambda rng, data, at, n: (
        data[:at] + bytes([data[at] ^ 1 << rng.randrange(8)]) + data[at + 1 :]
    ),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """A damaged file: `is_body` says that no header was touched."""

    ending: str
    wounds: tuple[str, ...]
    is_body: bool
    content: bytes


def whole_files(folder: Path, notation: str = "4*12") -> dict[str, bytes]:
    """Encode one short song as every kind."""
    files = {}
    for ending in ENDINGS:
        rate_hz = rate_for(ending)
        samples = make_song(notation, rate_hz=rate_hz).samples
        path = write_song(folder / f"whole.{ending}", ending, samples, rate_hz)
        files[ending] = path.read_bytes()
    return files


def damaged(files: dict[str, bytes], rng: random.Random) -> Case:
    """Draw one case."""
    ending = rng.choice(sorted(files))
    content, wounds, is_body = files[ending], [], True
    for _ in range(rng.choice((1, 1, 1, 2, 3))):
        wounds.append(rng.choice(sorted(WOUNDS)))
        in_head = rng.random() < 0.3
        lowest, highest = (0, HEAD_BYTES) if in_head else (HEAD_BYTES, len(content))
        at = rng.randrange(min(lowest, len(content) - 1), max(1, min(highest, len(content))))
        is_body &= at >= HEAD_BYTES
        n_bytes = min(rng.choice((1, 16, 500, 4000, 30_000)), len(content) - at)
        content = WOUNDS[wounds[-1]](rng, content, at, n_bytes) or b"\0"
    return Case(ending=ending, wounds=tuple(wounds), is_body=is_body, content=content)


def judge(case: Case, path: Path, whole_s: dict[str, float]) -> str:
    """Decode a case: "whole", "noted" or "refused"; anything else is a fault and says which."""
    path.write_bytes(case.content)
    faulthandler.dump_traceback_later(HANG_S, exit=True)
    try:
        audio = decode(path)
    except AudioError as exc:
        return "refused" if str(exc).startswith(f"{path}: ") else f"nameless: {exc}"
    except Exception:
        return "traceback: " + traceback.format_exc(limit=-2)
    finally:
        faulthandler.cancel_dump_traceback_later()
    if not np.all(np.isfinite(audio.samples)):
        return "not numbers"
    lost_s = whole_s[case.ending] - audio.info.duration_s
    if case.is_body and lost_s > ALLOWED_LOSS_S and not audio.info.notes:
        return f"lost {lost_s:.2f} s in silence"
    return "noted" if audio.info.notes else "whole"


def run(n_mutations: int, folder: Path, seed: int) -> Iterator[tuple[Case, str, float]]:
    """Yield each case, how it was judged, and the seconds that took."""
    rng, files = random.Random(seed), whole_files(folder)
    whole_s = {ending: decode(folder / f"whole.{ending}").info.duration_s for ending in files}
    for _ in range(n_mutations):
        case = damaged(files, rng)
        began = time.monotonic()
        verdict = judge(case, folder / "damaged", whole_s)
        yield case, verdict, time.monotonic() - began


def main() -> int:
    """Run, and print the counts and every fault."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("mutations", nargs="?", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=0)
    wanted = parser.parse_args()
    counts: collections.Counter[str] = collections.Counter()
    slowest_s, faults = 0.0, 0
    with tempfile.TemporaryDirectory() as folder:
        for case, verdict, took_s in run(wanted.mutations, Path(folder), wanted.seed):
            counts[f"{case.ending:10} {verdict.split(':')[0].split(' ')[0]}"] += 1
            slowest_s = max(slowest_s, took_s)
            if verdict not in ("whole", "noted", "refused"):
                faults += 1
                print(case.ending, case.wounds, verdict, flush=True)
    for name, n in sorted(counts.items()):
        print(f"{name:24} {n}")
    print(f"{wanted.mutations} files, {faults} faults, slowest {slowest_s:.2f} s")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
