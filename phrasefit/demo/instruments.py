"""The door to all instruments: a track of notes in, its sound out.

Struck sounds (`drums`, `strings`) are made once for each pitch and loudness layer of a
song and then laid down note by note, which keeps a whole mix many times faster than
real time; held sounds (`voices`) are played note by note.
Every random choice comes from the generator that is passed in: the same seed gives the
same samples.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from phrasefit.demo.drums import CHOKED, PIECES
from phrasefit.demo.score import Note
from phrasefit.demo.strings import PLUCKED, amplifier
from phrasefit.demo.voices import SUSTAINED
from phrasefit.errors import ParameterError
from phrasefit.sounds import N_TIMBRE
from phrasefit.sounds.dsp import add_at

INSTRUMENTS: tuple[str, ...] = (*PIECES, *PLUCKED, *SUSTAINED)

LAYER_VELOCITIES = (0.35, 0.62, 0.9)  # loudness layers of struck sounds
N_TAKES = 2  # different strokes of one layer, so that no two hits in a row are equal


def render_notes(
    rng: np.random.Generator,
    instrument: str,
    notes: Sequence[Note],
    n_samples: int,
    *,
    sample_rate_hz: int = 44100,
) -> np.ndarray:
    """Play `notes` on one `instrument`.

    Parameters
    ----------
    rng : numpy.random.Generator
        Decides which particular drum, string or singer it is, and every stroke.
    instrument : str
        One of `INSTRUMENTS`.
    notes : sequence of Note
        In any order; held voices glide from each note to the next, so sort theirs.
    n_samples : int
        Length of the result; notes outside are cut.
    sample_rate_hz : int
        Rate of the result.

    Returns
    -------
    array [shape=(n_samples,), float32]
        Not leveled: `mix` brings instruments into balance.

    Raises
    ------
    ParameterError
        If the instrument is unknown.
    """
    out = np.zeros(n_samples, dtype=np.float32)
    timbre = rng.random(N_TIMBRE)
    if instrument in SUSTAINED:
        SUSTAINED[instrument](rng, sample_rate_hz, notes, out, timbre)
    elif instrument in PLUCKED:
        voice = PLUCKED[instrument]

        def pluck(pitch: float, velocity: float) -> np.ndarray:
            return voice(rng, sample_rate_hz, pitch, velocity, timbre)

        _lay_down(rng, notes, out, sample_rate_hz, pluck, release_s=0.06)
        if instrument == "electric_guitar":
            out = amplifier(out, sample_rate_hz, timbre).astype(np.float32)
    elif instrument in PIECES:
        piece = PIECES[instrument]

        def stroke(_pitch: float, velocity: float) -> np.ndarray:
            return piece(rng, sample_rate_hz, velocity, timbre)

        release_s = 0.03 if instrument in CHOKED else None
        _lay_down(rng, notes, out, sample_rate_hz, stroke, release_s, is_drum=True)
    else:
        raise ParameterError(
            f"instrument={instrument!r} is unknown; choose one of {', '.join(INSTRUMENTS)}"
        )
    return out


def _lay_down(
    rng: np.random.Generator,
    notes: Sequence[Note],
    out: np.ndarray,
    sample_rate_hz: int,
    make: Callable[[float, float], np.ndarray],
    release_s: float | None,
    *,
    is_drum: bool = False,
) -> None:
    """Add each note from a shelf of sounds made on demand; `release_s` None = let it ring."""
    shelf: dict[tuple[int, float, int], np.ndarray] = {}
    takes = rng.integers(0, N_TAKES, len(notes)).tolist()
    for note, take in zip(notes, takes, strict=True):
        layer = int(np.argmin([abs(note.velocity - v) for v in LAYER_VELOCITIES]))
        pitch = 0.0 if is_drum else note.pitch
        key = (layer, pitch, take if is_drum else 0)
        if key not in shelf:
            shelf[key] = make(pitch, LAYER_VELOCITIES[layer]).astype(np.float32)
        sound = shelf[key]
        if release_s is not None:
            sound = _released(sound, note.duration_s, release_s, sample_rate_hz)
        gain = np.float32(note.velocity**1.3)
        add_at(out, gain * sound, note.start_s, sample_rate_hz)


def _released(
    sound: np.ndarray, held_s: float, release_s: float, sample_rate_hz: int
) -> np.ndarray:
    """Cut `sound` where the note is let go, with a short fade."""
    n_release = round(release_s * sample_rate_hz)
    n_held = min(len(sound) - n_release, round(held_s * sample_rate_hz))
    if n_held <= 0:
        n_held = 1
    cut = sound[: n_held + n_release].copy()
    tail = len(cut) - n_held
    cut[n_held:] *= (0.5 + 0.5 * np.cos(np.linspace(0.0, np.pi, tail))).astype(np.float32)
    return cut
