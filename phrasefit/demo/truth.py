"""What the generator knows about a song it made: the truth that trackers are judged by."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueSection:
    """A section as composed: its start, its letter (same letter = same music)."""

    start_s: float
    start_beat: int
    n_beats: int
    letter: str
    label: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SongTruth:
    """Exact beats, bars, sections and phrase starts of a made song.

    `beats_s` [shape=(n,), seconds]: where the onset of each beat sounds (or would).
    `positions` [shape=(n,)]: 1 = downbeat.  `phrase_starts` [beat indices] are
    starts of composed phrases (usually 4 or 8 bars), section starts included.
    `audible` [shape=(n,), bool]: False where no pulse can be heard (rubato intro,
    silence): trackers are not judged there.
    """

    beats_s: np.ndarray
    positions: np.ndarray
    meter: int
    sections: tuple[TrueSection, ...]
    phrase_starts: tuple[int, ...]
    audible: np.ndarray
    end_s: float
    style: str = ""
    seed: int = 0
