"""A quiet backing of drums and bass, made here, so that practice has a pulse.

Fours: bass drum on 1 and 3, snare on 2 and 4; threes: bass drum on 1, brushes on 2 and
3; hats between the counts, late in swung music.  The bass goes round a plain
progression of our own, one chord for each group of counts.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

import numpy as np

from phrasefit.routine.counts import sounding_offset
from phrasefit.sounds import N_TIMBRE
from phrasefit.sounds.drums import brush, closed_hat, kick, snare
from phrasefit.sounds.dsp import add_at
from phrasefit.sounds.strings import upright_bass

SEED = 8
BASS_ROOTS = (36, 41, 43, 36)  # MIDI notes of the chords, one a group: C F G C
FIFTH = 7

# (piece, level) on each count of a bar, and between counts.
BARS = {
    4: ((kick, 1.0), (snare, 0.5), (kick, 0.8), (snare, 0.5)),
    3: ((kick, 1.0), (brush, 0.45), (brush, 0.45)),
}
BETWEEN = (closed_hat, 0.25)


def groove(
    times_s: np.ndarray,
    places: Sequence[int],
    *,
    meter: int,
    swing: float,
    n_samples: int,
    sample_rate_hz: int,
) -> np.ndarray:
    """Play drums and bass on counts.

    Parameters
    ----------
    times_s : array [shape=(n + 1,), seconds]
        Each count, and the end of the last.
    places : sequence of int [length n]
        Place of each count in its group of 8 (6), from 0.
    meter : int
        4 or 3.
    swing : float
        Where the hat between two counts sounds, 0.5 (straight) to 0.75.
    n_samples, sample_rate_hz : int
        Length and rate of the result.

    Returns
    -------
    array [shape=(n_samples,), float32]
        Peak 1.
    """
    rng = np.random.default_rng(SEED)
    timbre = rng.random(N_TIMBRE)
    out = np.zeros(n_samples, dtype=np.float32)
    between = sounding_offset(Fraction(1, 2), swing)
    # In a fixed order, as all draw from one generator: the same counts give the same samples.
    pieces = dict.fromkeys(piece for piece, _ in (*BARS[meter], BETWEEN))
    strokes = {piece: piece(rng, sample_rate_hz, 0.6, timbre) for piece in pieces}
    group = -1
    for i, place in enumerate(places):
        group += place == 0
        piece, level = BARS[meter][place % meter]
        add_at(out, level * strokes[piece], times_s[i], sample_rate_hz)
        half = times_s[i] + between * (times_s[i + 1] - times_s[i])
        add_at(out, BETWEEN[1] * strokes[BETWEEN[0]], half, sample_rate_hz)
        if place % 2 == 0 if meter == 4 else place % 3 == 0:
            root = BASS_ROOTS[group % len(BASS_ROOTS)]
            pitch = root + FIFTH * (place % meter == 2)
            add_at(out, 0.7 * upright_bass(rng, sample_rate_hz, pitch, 0.6, timbre), times_s[i],
                   sample_rate_hz)  # fmt: skip
    out /= max(float(np.max(out)), -float(np.min(out)), 1e-9)
    return out
