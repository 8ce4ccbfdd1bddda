"""Tunes for training songs: phrases with pickups, rests, syncopation and repetition.

A tune is built as singers and players build it: a rhythm of two or four bars is
invented, repeated with changes, answered, and given pitches that lean on the chord
at strong places.
"""

from __future__ import annotations

import numpy as np

from phrasefit.demo.harmony import MAJOR_SCALE, MINOR_SCALE
from phrasefit.training.harmony import ChordTrack
from phrasefit.training.score import NoteList

# Chance of a note on a step, by how strong the step is in the bar: on the beat, on the
# half beat, between; one row a temper.
TEMPERS = {
    "even": (0.75, 0.35, 0.05),
    "long": (0.45, 0.12, 0.02),
    "syncopated": (0.45, 0.55, 0.22),
    "running": (0.92, 0.85, 0.45),
    "spoken": (0.8, 0.8, 0.65),
    "sparse": (0.25, 0.2, 0.05),
    "offbeat": (0.2, 0.75, 0.15),
}


def _motif(rng: np.random.Generator, n_beats: int, steps: int, temper: str) -> np.ndarray:
    """Draw where notes start in a motif [beats, sorted]."""
    grid = np.arange(n_beats * steps)
    within = grid % steps
    half = steps // 2 if steps % 2 == 0 else -1
    chance = np.where(within == 0, 0, np.where(within == half, 1, 2))
    likely = np.array(TEMPERS[temper])[chance]
    if steps == 3:
        likely = np.where(within == 2, max(likely[0] * 0.6, TEMPERS[temper][1]), likely)
    starts = grid[rng.random(grid.size) < likely] / steps
    return starts if starts.size else np.array([0.0])


def _vary(rng: np.random.Generator, motif: np.ndarray, steps: int, n_beats: int) -> np.ndarray:
    """Change a motif a little: drop a note, add one, or shift one by a step."""
    changed = motif.copy()
    if changed.size > 2 and rng.random() < 0.4:
        changed = np.delete(changed, rng.integers(changed.size))
    if rng.random() < 0.4:
        changed = np.append(changed, rng.integers(n_beats * steps) / steps)
    if rng.random() < 0.3:
        spot = rng.integers(changed.size)
        changed[spot] = max(0.0, changed[spot] + rng.choice([-1, 1]) / steps)
    return np.unique(np.clip(changed, 0, n_beats - 1 / steps))


def compose_melody(
    rng: np.random.Generator,
    notes: NoteList,
    chords: ChordTrack,
    span: tuple[float, float],
    *,
    meter: int,
    steps: int,
    key: int,
    minor: bool,
    center: float,
    temper: str,
    phrase_bars: int = 4,
) -> None:
    """Add a tune over `span` [beats] to `notes`.

    `steps` is the finest rhythm in steps a beat; `center` the middle pitch [MIDI];
    `temper` a key of `TEMPERS`; `phrase_bars` how long until the singer breathes.
    """
    first, last = span
    motif_beats = meter * int(rng.choice([1, 2, 2]))
    motif = _motif(rng, motif_beats, steps, temper)
    answer = _motif(rng, motif_beats, steps, temper)
    breath = float(rng.uniform(0.4, min(2.5, meter * 0.8)))
    shift = float(rng.choice([0, 0, 0, 0, -1, -0.5, 0.5, 1])) if temper != "long" else 0.0
    phrase_beats = meter * phrase_bars
    scale = MINOR_SCALE if minor else MAJOR_SCALE
    ladder = np.array([p for p in range(24, 108) if (p - key) % 12 in scale])
    pitch = center
    plan = rng.choice(["aaba", "abab", "aaab", "abac"])
    place = first
    turn = 0
    while place < last - 0.5:
        which = plan[turn % len(plan)]
        base = motif if which == "a" else answer
        onsets = place + shift + (_vary(rng, base, steps, motif_beats) if turn > 1 else base)
        phrase_end = first + phrase_beats * (np.floor((place - first) / phrase_beats) + 1)
        onsets = onsets[(onsets < phrase_end - breath) & (onsets >= max(0.0, first - 1.5))]
        onsets = onsets[onsets < last - 0.25]
        place, turn = place + motif_beats, turn + 1
        if not onsets.size:
            continue
        ends = np.append(onsets[1:], min(phrase_end - breath * 0.5, place + shift))
        for onset, end in zip(onsets, ends, strict=True):
            pitch = _next_pitch(rng, pitch, center, ladder, chords, onset)
            fullness = 0.95 if temper in ("long", "even") else rng.uniform(0.5, 1.0)
            length = min(max(0.12, (end - onset) * fullness), 4.0)
            strong = abs(onset - round(onset)) < 1e-6
            velocity = (0.78 if strong else 0.7) + rng.normal(0, 0.07)
            notes.add(onset, length, pitch, velocity)


def _next_pitch(
    rng: np.random.Generator,
    pitch: float,
    center: float,
    ladder: np.ndarray,
    chords: ChordTrack,
    onset: float,
) -> float:
    """Step along the scale; on beats move to a chord tone; drift back to the center."""
    step = int(rng.choice([-3, -2, -1, -1, 0, 0, 1, 1, 2, 3]))
    if pitch > center + 8:
        step = -abs(step)
    elif pitch < center - 8:
        step = abs(step)
    spot = int(np.clip(np.searchsorted(ladder, pitch) + step, 0, len(ladder) - 1))
    target = float(ladder[spot])
    if abs(onset - round(onset)) < 1e-6 and rng.random() < 0.75:
        chord = chords.at(onset)
        classes = {(chord.root + tone) % 12 for tone in chord.tones}
        for offset in (0, -1, 1, -2, 2, -3, 3):
            if int(target + offset) % 12 in classes:
                return target + offset
    return target
