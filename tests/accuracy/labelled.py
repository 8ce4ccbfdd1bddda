"""Pop and rock songs with voices, recorded to a click, with beats labelled by us.

    python tests/accuracy/labelled.py OUTFOLDER FOLDER

FOLDER is searched for the audio of the freely copyable songs (CC BY-NC, BY-NC-SA,
BY-NC-ND) of the public repository UltraStar-Deluxe/songs; files are known by
their SHA-256.  Each chart there gives a song's tempo; the songs taken keep it within
10 ms from start to end.  `LABELS` holds what we read by hand, before any tracker of ours
was run on them, from the rise of bass drum, of snare and of harmony at the eight
eighths of a bar, in five stretches of each song: which eighths are beats, and
which is the one, where all stretches agree (else ``"judge_ones": false``).
"""

from __future__ import annotations

import hashlib
import sys
from pathlib import Path

import numpy as np
import soundfile
from render import RATE_HZ, Truth, attack_offset_s, save_song

# SHA-256 (start) -> tempo [beats a minute], time of eighth 0 [s], one [eighth of the bar],
# whether the one is sure; beats are the eighths of the same parity as the one.
LABELS = {
    "f22207d5173d": (94.9973, 0.0706, 1, True),
    "e6a217a50535": (133.3438, 0.2020, 0, True),
    "cc6b2a526962": (150.0142, 0.0747, 3, False),
    "a2bfd1c1e8fa": (140.0182, 0.0871, 2, True),
    "d0b9305ac27e": (159.9984, 0.3212, 0, True),
    "32f1484bf416": (80.0391, 0.3320, 2, True),
    "92b093a17f15": (95.0182, 0.2609, 0, False),
    "4e3154ed1f4c": (150.0010, 0.1023, 5, True),
    "1a2e1c244a62": (140.0013, 0.0478, 2, False),
    "de567daa4f3d": (157.5474, 0.0811, 1, True),
    "7c04d1167d40": (130.0116, 0.1513, 3, True),
}
N_PARTS = 8
BEATS_A_BAR = 4
MAX_STRAY_S = 0.012


def aligned(samples: np.ndarray, beats_s: np.ndarray) -> np.ndarray:
    """Move beats onto the sound by a line through the offsets of the parts of the song."""
    parts = np.array_split(beats_s, N_PARTS)
    middles = np.array([part.mean() for part in parts])
    offsets = np.array([attack_offset_s(samples, part) for part in parts])
    near = np.abs(offsets - np.median(offsets)) < 0.02
    line = np.polyfit(middles[near], offsets[near], 1)
    stray = np.abs(offsets[near] - np.polyval(line, middles[near])).max()
    if near.sum() < N_PARTS - 2 or stray > MAX_STRAY_S:
        raise ValueError(f"offsets {np.round(1000 * offsets).tolist()} ms")
    return beats_s + np.polyval(line, beats_s)


def main() -> None:
    """Find, align and write all labelled songs."""
    out, folder = Path(sys.argv[1]), Path(sys.argv[2])
    files = sorted(p for p in folder.rglob("*") if p.suffix in (".ogg", ".mp3"))
    for path in files:
        digest = hashlib.sha256(path.read_bytes()).hexdigest()[:12]
        if digest not in LABELS:
            continue
        bpm, eighth_s, one, sure = LABELS[digest]
        samples, rate = soundfile.read(path, dtype="float32", always_2d=True)
        if rate != RATE_HZ:
            print(f"{digest} left out: {rate} Hz")
            continue
        samples = np.repeat(samples, 2, axis=1) if samples.shape[1] == 1 else samples
        eighths = np.arange(int((len(samples) / RATE_HZ - eighth_s) * bpm / 30))
        eighths = eighths[eighths % 2 == one % 2]
        try:
            beats_s = aligned(samples, eighth_s + eighths * 30 / bpm)
        except ValueError as exc:
            print(f"{digest} left out: {exc}")
            continue
        level = np.array(
            [np.abs(part).mean() for part in np.split(samples, (beats_s * rate).astype(int))]
        )
        heard = np.flatnonzero(level[1:] > 0.01)
        keep = slice(heard[0], heard[-1] + 1)
        positions = 1 + (eighths - one) // 2 % BEATS_A_BAR
        notes = {"source": "UltraStar-Deluxe/songs", "judge_ones": sure}
        truth = Truth(beats_s[keep], positions[keep], BEATS_A_BAR, notes=notes)
        save_song(out / "labelled", digest, samples, truth)
        print(f"{digest} {bpm:.1f} bpm, {len(truth.beats_s)} beats, one {sure}")


if __name__ == "__main__":
    main()
