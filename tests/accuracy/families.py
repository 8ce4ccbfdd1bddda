"""Songs of every family of the training generator, never trained on, for `run.py`.

    PHRASEFIT_MATERIAL=MATERIAL python tests/accuracy/families.py OUTFOLDER [--songs 8]

Half of each family's songs are made of material that was trained on, from other seeds; half
of held-out soundfonts, scores and rhythm styles.  Songs in meters nobody dances to are
left out.  Folders are named after the families: `run.py` makes one row of each.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import soxr
from render import RATE_HZ, Truth, save_song

from phrasefit.audio import SAMPLE_RATE_HZ
from phrasefit.training.known_songs import DANCED_METERS
from phrasefit.training.rendered import VALIDATION_SEED
from phrasefit.training.songs import FAMILIES, make_song

FIRST_SEED = VALIDATION_SEED + 50_000_000
SONG_S = 60.0


def write_songs(out: Path, family: str, n_songs: int) -> None:
    """Make the songs of one family; those that are there are kept."""
    for number in range(n_songs):
        held_out = number % 2 == 1
        name = f"{number:02d}-{'held-out' if held_out else 'known'}"
        if (out / family / f"{name}.json").exists():
            continue
        song = make_song(FIRST_SEED + number, family=family, duration_s=SONG_S, held_out=held_out)
        if song.truth.meter not in DANCED_METERS:
            continue
        heard = song.truth.audible
        truth = Truth(
            beats_s=song.truth.beats_s[heard],
            positions=song.truth.positions[heard],
            meter=song.truth.meter,
            notes={"source": song.source, "style": song.truth.style},
        )
        samples = soxr.resample(song.samples, SAMPLE_RATE_HZ, RATE_HZ)
        save_song(out / family, name, samples, truth)


def main() -> None:
    """Make the songs of all families."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("out", type=Path)
    parser.add_argument("--songs", type=int, default=8, help="of each family")
    options = parser.parse_args()
    for family in FAMILIES:
        print(family, flush=True)
        write_songs(options.out, family, options.songs)


if __name__ == "__main__":
    main()
