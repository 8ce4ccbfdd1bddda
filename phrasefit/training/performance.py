"""From written beats to seconds: tempo, drift, swing, and how tightly a band plays.

The tempo map is shared by everyone: its beats are the truth.  On top, every player
leans ahead or behind and scatters a little, more on some instruments than others.

Timing of players wanders with roughly 1/f noise: H. Hennig et al., *The nature and
perception of fluctuations in human musical rhythms*, PLoS ONE 6(10), 2011.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from phrasefit.demo.score import TimeMap
from phrasefit.training.score import Part, Piece


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TempoMap:
    """When each beat falls: `times_s` [shape=(n_beats + 1,), seconds], swing included apart."""

    times_s: np.ndarray
    swing: float = 0.5
    swing_unit: float = 1.0

    def seconds(self, beats: np.ndarray) -> np.ndarray:
        """Convert written beats to seconds, off-beats swung."""
        beats = np.asarray(beats, dtype=np.float64)
        unit, swing = self.swing_unit, self.swing
        if swing != 0.5:
            whole = np.floor(beats / unit)
            part = beats / unit - whole
            bent = np.where(part < 0.5, part * 2 * swing, swing + (part - 0.5) * 2 * (1 - swing))
            beats = (whole + bent) * unit
        return TimeMap(self.times_s).seconds(beats)


def pink_noise(rng: np.random.Generator, n: int) -> np.ndarray:
    """Make 1/f noise of unit variance [shape=(n,)]."""
    spectrum = np.fft.rfft(rng.standard_normal(max(n, 4)))
    frequencies = np.fft.rfftfreq(max(n, 4))
    frequencies[0] = frequencies[1]
    noise = np.fft.irfft(spectrum / np.sqrt(frequencies), max(n, 4))[:n]
    return noise / (noise.std() + 1e-9)


def draw_tempo_map(rng: np.random.Generator, piece: Piece, *, start_s: float) -> TempoMap:
    """Lay the beats of a piece out in time.

    `piece.looseness` sets how much tempo wanders: near 0 the song is made to a click.
    """
    n = piece.n_beats
    loose = piece.looseness
    tempo = np.full(n, piece.tempo_bpm)
    if loose > 0.15:
        slow = np.interp(np.arange(n), np.linspace(0, n, 8), rng.standard_normal(8))
        tempo *= 1 + 0.008 * loose * slow
        tempo *= 1 + 0.006 * loose * pink_noise(rng, n)
    if loose > 1.2:
        starts = np.asarray(piece.bar_starts[:-1])
        arc = np.interp(np.arange(n), starts, rng.standard_normal(starts.size))
        tempo *= np.exp(0.03 * (loose - 1.0) * arc)
    for first, last in piece.silent_beats:  # free playing: no one could tap along
        tempo[first:last] *= np.exp(0.25 * rng.standard_normal(last - first))
    if loose > 0.4 and rng.random() < 0.25:
        tempo *= 1 + rng.uniform(-0.03, 0.05) * np.linspace(0, 1, n)
    if piece.ends and rng.random() < 0.35 and loose > 0.2:
        slow_beats = min(n, int(rng.integers(2, 2 * piece.meter + 3)))
        tempo[-slow_beats:] *= np.linspace(1, rng.uniform(0.5, 0.9), slow_beats)
    if piece.roughness:
        tempo *= _rough_tempo(rng, piece)
    periods = 60.0 / tempo
    if loose > 0.15:
        shift = np.diff(pink_noise(rng, n + 1), prepend=0)[:n]
        periods *= 1 + np.clip(0.004 * loose * shift, -0.05, 0.05)
    return TempoMap(
        times_s=start_s + np.concatenate([[0.0], np.cumsum(periods)]),
        swing=piece.swing,
        swing_unit=piece.swing_unit,
    )


def _rough_tempo(rng: np.random.Generator, piece: Piece) -> np.ndarray:
    """Tempo of little practised players, as a share of what is written [shape=(n_beats,)].

    Steps wander by 1 to 3 %, two bars or more push or drag, and the last beats before a phrase
    rush (common practice, no source).
    """
    n, rough = piece.n_beats, piece.roughness
    starts = np.asarray(piece.bar_starts[:-1], dtype=float)
    knots = starts[:: int(rng.integers(2, 5))]
    share = np.interp(np.arange(n), knots, 0.03 * rough * rng.standard_normal(knots.size))
    share += rough * rng.uniform(0.01, 0.03) * rng.standard_normal(n)
    rush = rng.uniform(0, 0.05) * rough
    for bar in piece.phrase_bars[1:]:
        if rng.random() < 0.6:
            end = int(starts[bar])
            share[max(0, end - int(rng.integers(2, 5))) : end] += rush
    return np.exp(np.clip(share, -0.15, 0.15))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Played:
    """A part as played: `starts_s`, `ends_s`, `pitches`, `velocities` [shape=(n,)]."""

    part: Part
    starts_s: np.ndarray
    ends_s: np.ndarray
    pitches: np.ndarray
    velocities: np.ndarray


# How far a role leans from the beat (ms, one standard deviation over songs) and scatters (ms,
# over notes), both times the looseness.
LEAN_MS = {"drums": 0.0, "percussion": 3.0, "bass": 6.0, "lead": 9.0, "voice": 14.0}
ROUGH_LEAN_S = 0.014  # spread of a rough player beside the drummer
SCATTER_MS = {"drums": 3.0, "percussion": 5.0, "bass": 6.0, "lead": 9.0, "voice": 14.0}


def perform(rng: np.random.Generator, part: Part, tempo_map: TempoMap, piece: Piece) -> Played:
    """Play a part on a tempo map, as loosely and roughly as `piece` is."""
    looseness = piece.looseness
    lean_s = rng.normal(0, LEAN_MS.get(part.role, 6.0)) * min(looseness, 1.2) / 1000
    if part.role not in ("drums", "percussion"):
        lean_s += ROUGH_LEAN_S * piece.roughness * float(np.clip(rng.standard_normal(), -2, 2))
    scatter_s = SCATTER_MS.get(part.role, 6.0) * min(looseness, 1.5) / 1000
    starts = tempo_map.seconds(part.onsets)
    ends = tempo_map.seconds(part.onsets + part.lengths)
    shift = lean_s + scatter_s * rng.standard_normal(starts.size)
    # Notes of one chord belong together: they share the scatter of the first.
    if starts.size:
        same = np.concatenate([[False], np.diff(part.onsets) < 1e-9])
        shift = shift[np.maximum.accumulate(np.where(same, 0, np.arange(starts.size)))]
    starts = starts + shift
    loudness = part.velocities * (1 + 0.1 * looseness * rng.standard_normal(starts.size) * 0.5)
    return Played(
        part=part,
        starts_s=starts,
        ends_s=np.maximum(ends + shift, starts + 0.03),
        pitches=part.pitches,
        velocities=np.clip(loudness, 0.05, 1.0),
    )
