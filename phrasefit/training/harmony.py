"""Chords for training songs: progressions by kind of music, laid over bars.

Progressions are written by us as scale degrees from common practice (no source).
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from phrasefit.demo.harmony import stacked

QUALITIES = {
    "": (0, 4, 7),
    "m": (0, 3, 7),
    "7": (0, 4, 7, 10),
    "m7": (0, 3, 7, 10),
    "M7": (0, 4, 7, 11),
    "6": (0, 4, 7, 9),
    "9": (0, 4, 10, 14),
    "m9": (0, 3, 10, 14),
    "o": (0, 3, 6),
    "h": (0, 3, 6, 10),
    "5": (0, 7, 12),
    "s": (0, 5, 7),
    "2": (0, 2, 7),
}

# A chord is a semitone above the key note, a colon, a quality; a progression is a loop.
PROGRESSIONS: dict[str, tuple[str, ...]] = {
    "pop": (
        "0: 7: 9:m 5:", "9:m 5: 0: 7:", "0: 9:m 5: 7:", "0: 5: 9:m 7:", "0: 5: 0: 7:",
        "5: 7: 9:m 0:", "0: 4:m 5: 7:", "2:m 5: 0: 7:", "0: 7: 2:m 5:", "5: 0: 7: 9:m",
        "0:2 5:2 9:m7 7:s", "0: 0: 5: 5: 9:m 9:m 7: 7:", "0: 7: 9:m 4:m 5: 0: 5: 7:",
        "0: 10: 5: 0:", "9:m 7: 5: 7:", "0: 5:", "0: 2:m7 4:m7 5:M7", "0:M7 9:m7",
    ),
    "rock": (
        "0: 5: 7: 5:", "0: 10: 5: 0:", "0:5 3:5 5:5 0:5", "0: 7: 5: 5:", "0: 0: 5: 7:",
        "9:m 5: 0: 7:", "0:5 8:5 10:5 0:5", "0: 5: 0: 7:", "0: 2: 5: 0:", "0:m 10: 8: 10:",
        "0: 0: 0: 0: 5: 5: 0: 0: 7: 5: 0: 7:", "0: 10:", "0:5 0:5 3:5 5:5",
    ),
    "country": (
        "0: 0: 5: 5: 0: 0: 7: 7:", "0: 5: 0: 7:", "0: 5: 7: 0:", "0: 0: 7: 7: 7: 7: 0: 0:",
        "0: 0: 5: 0: 0: 0: 7: 7: 0: 0: 5: 0: 0: 7: 0: 0:", "0: 9:m 5: 7:", "5: 0: 7: 0:",
        "0: 2:7 7:7 0:", "0: 0:7 5: 5: 0: 7: 0: 7:", "0: 10: 5: 0:",
    ),
    "blues": (
        "0:7 0:7 0:7 0:7 5:7 5:7 0:7 0:7 7:7 5:7 0:7 7:7",
        "0:7 5:7 0:7 0:7 5:7 5:7 0:7 0:7 7:7 5:7 0:7 7:7",
        "0:7 0:7 0:7 0:7 5:7 5:7 0:7 9:7 2:7 7:7 0:7 7:7",
        "0:m7 0:m7 0:m7 0:m7 5:m7 5:m7 0:m7 0:m7 8:7 7:7 0:m7 0:m7",
        "0:7 0:7 5:7 5:7 0:7 7:7 0:7 7:7", "0:7", "0:7 5:7",
    ),
    "jazz": (
        "2:m7 7:7 0:M7 9:7", "0:M7 9:m7 2:m7 7:7", "2:m7 7:7 0:M7 0:M7",
        "0:6 9:7 2:m7 7:7 4:m7 9:7 2:m7 7:7", "2:h 7:7 0:m7 0:m7",
        "0:M7 0:m7 10:m7 3:7 8:M7 8:m7 2:m7 7:7", "9:m7 2:7 7:M7 0:M7 6:h 11:7 4:m7 4:m7",
        "0:m7 5:7 10:M7 3:M7", "5:M7 10:7 0:M7 9:7", "0:6 0:6 2:7 2:7 2:m7 7:7 0:6 7:7",
    ),
    "minor": (
        "0:m 8: 3: 10:", "0:m 10: 8: 7:", "0:m 5:m 0:m 7:", "0:m 8: 10: 0:m", "0:m7 5:m7",
        "0:m 3: 10: 5:", "0:m 0:m 5:m 7:7", "5:m 0:m 7:7 0:m", "0:m9 5:9", "8: 10: 0:m 0:m",
        "0:m 10:", "0:m 7:m 8: 5:m", "0:m", "2:h 7:7 0:m 0:m", "0:m 8:M7",
    ),
    "doowop": (
        "0: 9:m 5: 7:", "0: 9:m 2:m 7:7", "0: 4:m 5: 7:", "0: 5: 0: 7:", "0: 0:7 5: 5:m",
        "0: 7: 5: 7:", "0:M7 2:m7 4:m7 2:m7", "9:m 2:m 7: 0:",
    ),
    "funk": ("0:9", "0:m7", "0:9 5:9", "0:m7 5:7", "0:m9 10:9", "0:7 3:7", "0:m7 3: 5:7"),
    "folk": (
        "0: 5: 0: 7:", "0: 0: 7: 7: 0: 0: 7: 0:", "0: 9:m 5: 7:", "0:m 10: 0:m 10: 3: 10: 0:m 7:",
        "0: 5: 7: 0: 0: 5: 7: 0:", "9:m 7: 5: 4:m", "0:m 10: 8: 10:",
    ),
    "classical": (
        "0: 7: 0: 7:7 0: 5: 7: 0:", "0: 5: 7:7 0:", "0: 2:m 7:7 0:", "0:m 5:m 7:7 0:m",
        "0: 9:m 2:m 7:", "0: 7: 9:m 4:m 5: 0: 5: 7:", "0:m 7: 0:m 10: 3: 10: 0:m 7:",
        "0: 0: 7:7 7:7 7:7 7:7 0: 0:", "0: 11:o 9:m 4: 5: 7:7 0: 0:",
    ),
    "modal": ("0:m7", "0:m7 5:7", "0:s 10:", "0:7", "0:m7 2:m7", "0: 10:", "0:m 8: 10:"),
    "metal": ("0:5 0:5 8:5 10:5", "0:5 1:5 0:5 3:5", "0:5 6:5 5:5 3:5", "0:m 8: 3: 10:", "0:5"),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Chord:
    """A chord from `start` to `end` [beats]: root pitch class and intervals above it."""

    start: float
    end: float
    root: int
    tones: tuple[int, ...]


def choose_progression(rng: np.random.Generator, harmony: str) -> list[tuple[int, str]]:
    """Draw one loop: (semitones above the key note, quality) in order."""
    text = PROGRESSIONS[harmony][rng.integers(len(PROGRESSIONS[harmony]))]
    chords = []
    for word in text.split():
        step, _, quality = word.partition(":")
        chords.append((int(step), quality))
    return chords


def lay_chords(
    loop: list[tuple[int, str]],
    bar_starts: np.ndarray,
    chord_bars: float,
    key: int,
    *,
    stretch_to: int | None = None,
) -> list[Chord]:
    """Repeat a loop over bars, `chord_bars` bars a chord (fractions halve the bar).

    `bar_starts` [shape=(n_bars + 1,), beats] includes the end of the last bar;
    `stretch_to` restarts the loop every so many bars.
    """
    chords: list[Chord] = []
    n_bars = len(bar_starts) - 1
    per_bar = max(1, round(1 / chord_bars)) if chord_bars < 1 else 1
    index = 0
    for bar in range(n_bars):
        if stretch_to and bar % stretch_to == 0:
            index = 0
        first, last = bar_starts[bar], bar_starts[bar + 1]
        cuts = np.linspace(first, last, per_bar + 1)
        if (last - first) % per_bar:
            cuts = np.round(cuts)
        for start, end in itertools.pairwise(cuts):
            step, quality = loop[int(index) % len(loop)]
            chords.append(Chord(float(start), float(end), (key + step) % 12, QUALITIES[quality]))
            index += 1 if chord_bars < 1 else 1 / chord_bars
    return _merge(chords)


def _merge(chords: list[Chord]) -> list[Chord]:
    """Join equal neighbors, so that a held chord is one chord."""
    merged: list[Chord] = []
    for chord in chords:
        if merged and (merged[-1].root, merged[-1].tones) == (chord.root, chord.tones):
            merged[-1] = Chord(merged[-1].start, chord.end, chord.root, chord.tones)
        else:
            merged.append(chord)
    return merged


class ChordTrack:
    """Finds the chord that sounds at a beat."""

    def __init__(self, chords: list[Chord]) -> None:
        self.chords = chords
        self._starts = np.array([chord.start for chord in chords])

    def at(self, beat: float) -> Chord:
        """Return the chord sounding at `beat`."""
        return self.chords[self.index(beat)]

    def index(self, beat: float) -> int:
        """Return its number."""
        return int(np.clip(np.searchsorted(self._starts, beat + 1e-6) - 1, 0, len(self.chords) - 1))

    def after(self, beat: float) -> Chord:
        """Return the chord that follows the one sounding at `beat`."""
        return self.chords[min(self.index(beat) + 1, len(self.chords) - 1)]


def voice(chord: Chord, low: int, n_tones: int = 4) -> list[int]:
    """Spread a chord upwards from MIDI number `low`, nearest inversion first."""
    classes = [(chord.root + tone) % 12 for tone in chord.tones]
    return stacked(classes, low, n_tones)[:n_tones]
