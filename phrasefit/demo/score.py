"""What the generator plays: notes, tracks, the chart of bars, and the time map.

A `Chart` is the song on paper (sections of bars with chords); a `TimeMap` says
when each beat falls; both together give the exact `SongTruth`.  Beats are numbered
from 0 and may be fractions; seconds start at the first sample.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from phrasefit.demo.truth import SongTruth, TrueSection
from phrasefit.errors import ParameterError

CHORD_TONES: dict[str, tuple[int, ...]] = {
    "": (0, 4, 7),
    "m": (0, 3, 7),
    "7": (0, 4, 7, 10),
    "m7": (0, 3, 7, 10),
    "maj7": (0, 4, 7, 11),
    "6": (0, 4, 7, 9),
    "sus4": (0, 5, 7),
}


@dataclass(frozen=True, slots=True)
class Note:
    """One sound: when [s], how long [s], MIDI `pitch` (drums ignore it), `velocity` 0-1."""

    start_s: float
    duration_s: float
    pitch: float
    velocity: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Track:
    """The notes of one instrument; `pan` -1 (left) to 1, `level_db` against its usual level."""

    instrument: str
    notes: tuple[Note, ...]
    pan: float = 0.0
    level_db: float = 0.0


@dataclass(frozen=True, slots=True)
class Chord:
    """A chord by pitch class of its root (0 = C) and a key of `CHORD_TONES`."""

    root: int
    quality: str = ""

    @property
    def tones(self) -> tuple[int, ...]:
        """Pitch classes from the root upwards."""
        return tuple((self.root + step) % 12 for step in CHORD_TONES[self.quality])


@dataclass(frozen=True, slots=True)
class Bar:
    """`n_beats` beats over which `chords` are spread evenly."""

    n_beats: int
    chords: tuple[Chord, ...]

    def chord_at(self, beat: float) -> Chord:
        """Return the chord sounding `beat` beats into the bar."""
        index = int(beat * len(self.chords) / self.n_beats)
        return self.chords[min(max(index, 0), len(self.chords) - 1)]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartSection:
    """Bars that belong together.

    `phrase_bars` are the lengths of its phrases in bars (sum = number of bars);
    `layers` names the parts that play; `energy` is 0-1.
    """

    label: str
    letter: str
    bars: tuple[Bar, ...]
    phrase_bars: tuple[int, ...]
    layers: frozenset[str] = frozenset()
    energy: float = 0.7

    def __post_init__(self) -> None:
        if sum(self.phrase_bars) != len(self.bars):
            raise ParameterError(
                f"phrase_bars={self.phrase_bars} must add up to the {len(self.bars)} bars"
                f" of section {self.label!r}"
            )

    @property
    def n_beats(self) -> int:
        """Beats of all its bars."""
        return sum(bar.n_beats for bar in self.bars)


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """The song on paper: prevailing `meter` (beats a bar) and its sections in order."""

    meter: int
    sections: tuple[ChartSection, ...]

    @property
    def bars(self) -> tuple[Bar, ...]:
        """All bars in order."""
        return tuple(bar for section in self.sections for bar in section.bars)

    @property
    def n_beats(self) -> int:
        """Beats of the whole song."""
        return sum(section.n_beats for section in self.sections)

    def positions(self) -> np.ndarray:
        """Return each beat's place in its bar [shape=(n_beats,)], 1 = downbeat."""
        return np.concatenate([np.arange(1, bar.n_beats + 1) for bar in self.bars])

    def section_starts(self) -> list[int]:
        """Return the first beat of each section."""
        lengths = [section.n_beats for section in self.sections]
        return [0, *np.cumsum(lengths)[:-1].tolist()]

    def phrase_starts(self) -> list[int]:
        """Return the first beat of each phrase, section starts included."""
        starts: list[int] = []
        for section, first in zip(self.sections, self.section_starts(), strict=True):
            beats = np.cumsum([0] + [bar.n_beats for bar in section.bars])
            bars = np.cumsum([0, *section.phrase_bars])[:-1]
            starts += [first + int(beats[bar]) for bar in bars]
        return starts


@dataclass(frozen=True, slots=True, eq=False)
class TimeMap:
    """When each whole beat falls: `times_s` [shape=(n_beats + 1,), increasing]."""

    times_s: np.ndarray

    def seconds(self, beat: float | np.ndarray) -> np.ndarray:
        """Convert beats (fractions allowed, also before 0 and after the end) to seconds."""
        beat = np.asarray(beat, dtype=float)
        last = len(self.times_s) - 1
        inside = np.interp(beat, np.arange(last + 1), self.times_s)
        before = np.minimum(beat, 0.0) * (self.times_s[1] - self.times_s[0])
        after = np.maximum(beat - last, 0.0) * (self.times_s[-1] - self.times_s[-2])
        return inside + before + after


def make_time_map(
    rng: np.random.Generator,
    n_beats: int,
    tempo_bpm: float | np.ndarray,
    *,
    start_s: float = 0.25,
    drift_percent: float = 0.0,
    wander_percent: float = 0.0,
    jitter_ms: float = 0.0,
    ritardando_beats: int = 0,
    ritardando_to: float = 0.7,
) -> TimeMap:
    """Lay `n_beats` beats out in time as players would.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of wander and jitter; untouched where both are 0.
    n_beats : int
        Beats of the song; the map gets one more entry, the end.
    tempo_bpm : float or array [shape=(n_beats,)]
        Tempo, or the tempo of each beat.
    start_s : float
        Time of the first beat [s].
    drift_percent : float
        Change of tempo from first to last beat, spread evenly (negative = slower).
    wander_percent : float
        Standard deviation of a slow tempo wander (correlated over about 8 beats).
    jitter_ms : float
        Standard deviation of independent shifts of single beats.
    ritardando_beats : int
        How many last beats slow down, to the fraction `ritardando_to` of the tempo.

    Returns
    -------
    TimeMap
        Its times are strictly increasing.

    Raises
    ------
    ParameterError
        If `n_beats` or a tempo is not positive.
    """
    tempo = np.broadcast_to(np.asarray(tempo_bpm, dtype=float), (n_beats,)).copy()
    if n_beats < 1 or np.any(tempo <= 0):
        raise ParameterError(f"n_beats={n_beats} and tempo_bpm must be positive")
    tempo *= 1.0 + drift_percent / 100.0 * np.linspace(0.0, 1.0, n_beats)
    if wander_percent:
        tempo *= 1.0 + wander_percent / 100.0 * _slow_noise(rng, n_beats)
    if ritardando_beats:
        n_slow = min(ritardando_beats, n_beats)
        tempo[-n_slow:] *= np.linspace(1.0, ritardando_to, n_slow + 1)[1:]
    times = start_s + np.concatenate([[0.0], np.cumsum(60.0 / tempo)])
    if jitter_ms:
        limit = 0.2 * float(np.min(60.0 / tempo))
        times += np.clip(rng.normal(0.0, jitter_ms / 1000.0, len(times)), -limit, limit)
    return TimeMap(times)


def _slow_noise(rng: np.random.Generator, n: int, memory_beats: float = 8.0) -> np.ndarray:
    """First-order autoregressive noise of unit variance: players lean, they don't jump."""
    keep = np.exp(-1.0 / memory_beats)
    steps = rng.normal(0.0, np.sqrt(1.0 - keep**2), n)
    noise = np.empty(n)
    value = rng.normal()
    for i, step in enumerate(steps):
        value = keep * value + step
        noise[i] = value
    return noise


def make_truth(
    chart: Chart,
    time_map: TimeMap,
    *,
    audible: np.ndarray | None = None,
    style: str = "",
    seed: int = 0,
) -> SongTruth:
    """Read the exact truth of a song off its chart and time map.

    `audible` [shape=(n_beats,), bool] marks beats where a pulse sounds (default all).
    """
    beats = time_map.seconds(np.arange(chart.n_beats))
    sections = tuple(
        TrueSection(
            start_s=float(beats[first]),
            start_beat=first,
            n_beats=section.n_beats,
            letter=section.letter,
            label=section.label,
        )
        for section, first in zip(chart.sections, chart.section_starts(), strict=True)
    )
    return SongTruth(
        beats_s=beats,
        positions=chart.positions(),
        meter=chart.meter,
        sections=sections,
        phrase_starts=tuple(chart.phrase_starts()),
        audible=np.ones(len(beats), dtype=bool) if audible is None else np.asarray(audible, bool),
        end_s=float(time_map.times_s[-1]),
        style=style,
        seed=seed,
    )
