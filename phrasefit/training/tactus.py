"""At which level would a listener tap? Music by others is brought to it.

Where the back-beat falls on the written off-beats the pulse is twice as fast as
written; where it falls only on the written three, half as fast. Common practice, no
source: a listener taps so that the snare falls on two and four.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from phrasefit.training.collection import StoredPiece

SNARES = (37, 38, 39, 40)
FASTEST_TAP_BPM, SLOWEST_TAP_BPM = 190.0, 58.0
CLEAR_SHARE = 0.55  # of snare strokes, to call a place the back-beat
MIN_STROKES = 16


def snare_places(piece: StoredPiece) -> np.ndarray | None:
    """Shares of snare strokes by sixteenth of a 4/4 bar, or None where there are too few."""
    drums = [i for i, (role, _) in enumerate(piece.parts) if role == "drums"]
    strokes = piece.notes[np.isin(piece.notes["part"], drums)]
    strokes = strokes[np.isin(strokes["pitch"], SNARES)]
    if piece.meter != 4 or strokes.size < MIN_STROKES:
        return None
    places = np.round(np.mod(strokes["onset"], 4) * 4).astype(int) % 16
    return np.bincount(places, minlength=16) / strokes.size


def tapped(piece: StoredPiece, *, tempo_is_written: bool) -> StoredPiece:
    """Return `piece` with the beats a listener taps.

    `tempo_is_written` says that the tempo range comes with the music and changes with
    the level; else it already is the range of the taps.
    """
    shares = snare_places(piece)
    if shares is None or set(piece.beats_per_bar) != {4}:
        return piece
    middle = float(np.mean(piece.tempo_bpm))
    on_offbeats = shares[[2, 6, 10, 14]].sum() > CLEAR_SHARE and shares[[4, 12]].sum() < 0.1
    on_three = shares[8] > CLEAR_SHARE and shares[[4, 12]].sum() < 0.1
    if on_offbeats and (not tempo_is_written or 2 * middle <= FASTEST_TAP_BPM):
        return _scaled(piece, 2, tempo_is_written)
    bounds_even = all(bar % 2 == 0 for bar in (*piece.section_bars, len(piece.beats_per_bar)))
    if on_three and tempo_is_written and bounds_even and middle / 2 >= SLOWEST_TAP_BPM:
        return _scaled(piece, 0.5, tempo_is_written)
    return piece


def _scaled(piece: StoredPiece, factor: float, tempo_is_written: bool) -> StoredPiece:
    """Make `factor` beats of each beat; bars stay four beats long."""
    notes = piece.notes.copy()
    notes["onset"] *= factor
    notes["length"] *= factor
    n_bars = int(len(piece.beats_per_bar) * factor)
    tempo = tuple(t * factor for t in piece.tempo_bpm) if tempo_is_written else piece.tempo_bpm
    return replace(
        piece,
        notes=notes,
        beats_per_bar=(4,) * n_bars,
        tempo_bpm=tempo,
        section_bars=tuple(int(bar * factor) for bar in piece.section_bars),
        phrase_bars=tuple(sorted({int(bar * factor) for bar in piece.phrase_bars})),
        chords=tuple((start * factor, root, quality) for start, root, quality in piece.chords),
    )
