"""Written music for training songs: notes, parts and pieces, before anyone plays them.

Time is in beats of the pulse a listener taps (`Piece.beats_per_bar` of them in a
bar), beat 0.0 being the first beat of the first bar.  Swing, drift and jitter come
later (`performance`); sound later still (`palette`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

# Roles a part can have; mixing levels and instruments are chosen by them.
ROLES = ("drums", "percussion", "bass", "chords", "pad", "arpeggio", "lead", "voice", "choir")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Part:
    """One player's notes.

    `onsets`, `lengths` [shape=(n,), beats]; `pitches` [shape=(n,), MIDI numbers, General MIDI
    drum keys for drums and percussion]; `velocities` [shape=(n,), 0-1].  `program` is a
    General MIDI program from 0, or -1 where the player may choose.  `tied` marks lines
    whose pitch glides into the next note.
    """

    role: str
    onsets: np.ndarray
    lengths: np.ndarray
    pitches: np.ndarray
    velocities: np.ndarray
    program: int = -1
    tied: bool = False

    @property
    def n_notes(self) -> int:
        """How many notes the part has."""
        return int(self.onsets.size)


@dataclass(frozen=True, slots=True, kw_only=True)
class SectionPlan:
    """A section as composed: its first bar, how many bars, its letter."""

    first_bar: int
    n_bars: int
    letter: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Piece:
    """A whole composed song.

    `beats_per_bar` [one entry a bar]; `phrase_bars` are the bars that begin a phrase;
    `swing` is where the off-beat of `swing_unit` beats falls (0.5 = straight, 2/3 =
    triplet); `silent_beats` are (first, last + 1) stretches without audible pulse;
    `looseness` 0 = made by machines, 1 = a live band, 2 = a soloist who takes time;
    `roughness` (0-1) is what little practice adds: steps that wander by up to three percent,
    bars that push or drag, fills that rush, players up to 30 ms apart.  The first bar may be
    the end of a bar only: it then has fewer than `meter` beats and `starts_inside` is True.
    """

    beats_per_bar: tuple[int, ...]
    meter: int
    tempo_bpm: float
    parts: tuple[Part, ...]
    sections: tuple[SectionPlan, ...]
    phrase_bars: tuple[int, ...]
    style: str
    source: str = "composer"
    swing: float = 0.5
    swing_unit: float = 1.0
    looseness: float = 0.5
    roughness: float = 0.0
    silent_beats: tuple[tuple[int, int], ...] = ()
    ends: bool = True
    starts_inside: bool = False

    @property
    def bar_starts(self) -> np.ndarray:
        """First beat of every bar, and the end [shape=(n_bars + 1,), beats]."""
        return np.concatenate([[0], np.cumsum(self.beats_per_bar)])

    @property
    def positions(self) -> np.ndarray:
        """Place of every beat in its bar [shape=(n_beats,)], 1 = downbeat."""
        counted = [np.arange(1, n + 1) for n in self.beats_per_bar]
        if self.starts_inside:
            counted[0] = counted[0] + self.meter - self.beats_per_bar[0]
        return np.concatenate(counted)

    @property
    def n_beats(self) -> int:
        """Beats in the whole piece."""
        return int(sum(self.beats_per_bar))


class NoteList:
    """Grows a part note by note, then freezes it."""

    def __init__(self) -> None:
        self._rows: list[tuple[float, float, float, float]] = []

    def add(self, onset: float, length: float, pitch: float, velocity: float) -> None:
        """Append one note (beats, beats, MIDI number, 0-1)."""
        self._rows.append((onset, length, pitch, velocity))

    def __len__(self) -> int:
        return len(self._rows)

    def part(self, role: str, *, program: int = -1, tied: bool = False) -> Part:
        """Sort the notes by onset and freeze them."""
        rows = np.array(self._rows, dtype=np.float64).reshape(-1, 4)
        rows = rows[np.argsort(rows[:, 0], kind="stable")]
        return Part(
            role=role,
            onsets=rows[:, 0],
            lengths=np.maximum(rows[:, 1], 1e-3),
            pitches=rows[:, 2],
            velocities=np.clip(rows[:, 3], 0.02, 1.0),
            program=program,
            tied=tied,
        )
