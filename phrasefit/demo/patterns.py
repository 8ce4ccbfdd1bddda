"""Rhythms as text, and how players turn beats into seconds.

A pattern is one bar (or several, separated by ``|``) of equally long steps, each one
character; spaces are free.  Drums: ``X`` accent, ``x`` normal, ``o`` soft, ``.`` nothing.
Other parts use the letters that their own module explains; ``-`` holds the note before.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from phrasefit.demo.score import Note, TimeMap

LOUDNESS = {"X": 0.95, "x": 0.72, "o": 0.42}


@dataclass(frozen=True, slots=True)
class Event:
    """A note on paper: start and length in beats, MIDI pitch, velocity 0-1."""

    beat: float
    beats: float
    pitch: float
    velocity: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Feel:
    """How a part is played: scatter and lean in ms, scatter of loudness, swing of eighths.

    `swing` is the share of the beat that its first half takes (0.5 straight, 0.667
    triplets); a positive `lean_ms` lies behind the beat.
    """

    scatter_ms: float = 4.0
    lean_ms: float = 0.0
    loudness_scatter: float = 0.07
    swing: float = 0.5


def bar_of(pattern: str, number: int) -> str:
    """Return bar `number` of a pattern, its bars repeating."""
    bars = pattern.replace(" ", "").split("|")
    return bars[number % len(bars)]


def fit_bar(steps: str, pattern_beats: int, n_beats: int) -> str:
    """Shorten or lengthen one bar of `steps` to `n_beats` by repeating its last half.

    >>> fit_bar("abcd", 4, 2), fit_bar("abcd", 4, 6)
    ('ab', 'abcdcd')
    """
    per_beat = len(steps) // pattern_beats
    half = steps[per_beat * (pattern_beats // 2) :]
    while len(steps) < per_beat * n_beats:
        steps += half
    return steps[: per_beat * n_beats]


def read_steps(steps: str, n_beats: int) -> Iterator[tuple[str, float, float]]:
    """Yield (character, start beat, length in beats) of every step that is struck."""
    step_beats = n_beats / len(steps)
    for index, mark in enumerate(steps):
        if mark in ".-":
            continue
        held = len(steps[index + 1 :]) - len(steps[index + 1 :].lstrip("-"))
        yield mark, index * step_beats, (1 + held) * step_beats


def swung(beat: float, swing: float) -> float:
    """Move `beat` within its beat so that the first half takes the share `swing`."""
    whole = np.floor(beat)
    part = beat - whole
    if part < 0.5:
        return float(whole + 2.0 * part * swing)
    return float(whole + swing + 2.0 * (part - 0.5) * (1.0 - swing))


def play(
    rng: np.random.Generator, events: Iterable[Event], time_map: TimeMap, feel: Feel
) -> tuple[Note, ...]:
    """Perform `events`: beats to seconds, with swing and a player's small errors.

    Events at the same beat (a chord) share the scatter in time, so that chords stay
    chords.  The result is sorted by start.
    """
    events = sorted(events, key=lambda event: (event.beat, event.pitch))
    if not events:
        return ()
    starts = np.array([swung(event.beat, feel.swing) for event in events])
    ends = np.array([swung(event.beat + event.beats, feel.swing) for event in events])
    _, moment = np.unique(starts, return_inverse=True)
    scatter = rng.normal(0.0, feel.scatter_ms, moment.max() + 1)
    scatter = np.clip(scatter, -2.5 * feel.scatter_ms, 2.5 * feel.scatter_ms)[moment]
    start_s = time_map.seconds(starts) + (scatter + feel.lean_ms) / 1000.0
    length_s = np.maximum(time_map.seconds(ends) - time_map.seconds(starts), 0.02)
    loud = 1.0 + rng.normal(0.0, feel.loudness_scatter, len(events))
    velocity = np.clip([event.velocity for event in events] * loud, 0.08, 1.0)
    notes = [
        Note(s, d, event.pitch, v)
        for event, s, d, v in zip(
            events, start_s.tolist(), length_s.tolist(), velocity.tolist(), strict=True
        )
    ]
    return tuple(sorted(notes, key=lambda note: note.start_s))
