"""Chords: progressions written in numerals, and where the fingers put them.

A progression is a list of words, one a bar: ``I IV V7 vi ii bVII``; ``IV/V`` shares a bar; lower
case is minor.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from phrasefit.demo.score import Bar, Chord
from phrasefit.errors import ParameterError

_DEGREES = {"i": 0, "ii": 2, "iii": 4, "iv": 5, "v": 7, "vi": 9, "vii": 11}
MAJOR_SCALE = (0, 2, 4, 5, 7, 9, 11)
MINOR_SCALE = (0, 2, 3, 5, 7, 8, 10)

# Open strings of a guitar, low to high.
_GUITAR = (40, 45, 50, 55, 59, 64)


def read_numeral(text: str, key: int) -> Chord:
    """Read one chord such as ``bVII`` or ``ii7`` in the `key` (pitch class).

    Raises
    ------
    ParameterError
        If `text` is no numeral.
    """
    match = re.fullmatch(r"(b|#)?([IV]+|[iv]+)(maj7|7|6|sus4)?", text)
    if not match or match[2].lower() not in _DEGREES:
        raise ParameterError(f"chord={text!r} is not a numeral; write for example I, vi, bVII, V7")
    sign, numeral, ending = match.groups()
    root = (_DEGREES[numeral.lower()] + {"b": -1, "#": 1, None: 0}[sign] + key) % 12
    minor = numeral.islower()
    return Chord(root, ("m" if minor else "") + (ending or ""))


def make_bars(words: list[str], key: int, beats_of_bars: list[int]) -> tuple[Bar, ...]:
    """Spread a progression over bars of the given lengths in beats, repeating it as needed."""
    return tuple(
        Bar(n_beats, tuple(read_numeral(word, key) for word in words[i % len(words)].split("/")))
        for i, n_beats in enumerate(beats_of_bars)
    )


def nearest(pitch_classes: tuple[int, ...], pitch: float) -> int:
    """Return the MIDI pitch of one of `pitch_classes` closest to `pitch` (tie: lower)."""
    around = range(round(pitch) - 6, round(pitch) + 7)
    candidates = [candidate for candidate in around if candidate % 12 in pitch_classes]
    return min(candidates, key=lambda candidate: (abs(candidate - pitch), candidate))


def guitar_voicing(chord: Chord) -> list[int]:
    """Strings of a strummed chord, low to high: the root in the bass, a tone on every string."""
    tones = chord.tones
    frets = [next(f for f in range(12) if (s + f) % 12 in tones) for s in _GUITAR]
    pitches = [string + fret for string, fret in zip(_GUITAR, frets, strict=True)]
    rooted = [i for i in range(3) if pitches[i] % 12 == chord.root]
    return pitches[rooted[0] if rooted else 1 :]


def close_voicing(chord: Chord, center: float, n_voices: int = 3) -> list[int]:
    """Notes of `chord` around `center`, close together, low to high, smooth from chord to chord."""
    tones = chord.tones if n_voices > 3 else chord.tones[:3]
    return [round(pitch) for pitch in stacked(tones, center - 6, n_voices)]


def stacked(pitch_classes: Sequence[int], low: float, n_voices: int) -> list[float]:
    """Stack `pitch_classes` upwards from `low`, again an octave higher until there are enough."""
    pitches = sorted(low + ((pitch_class - low) % 12) for pitch_class in pitch_classes)
    while len(pitches) < n_voices:
        pitches.append(pitches[len(pitches) - len(pitch_classes)] + 12)
    return pitches


def bass_pitch(pitch_class: int, lowest: int = 28) -> int:
    """Return `pitch_class` in the octave above `lowest` (28 = low E of a bass)."""
    return lowest + (pitch_class - lowest) % 12
