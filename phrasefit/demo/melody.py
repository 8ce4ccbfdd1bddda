"""Tunes with phrases: motif, repeat, contrast, cadence, and the answers between them.

A section's tune is built from two-bar motifs.  Each phrase states one motif, varies
it, and ends in a long note with a breath; phrases follow the order a a b a, so the ear
(and a self-similarity matrix) can hear where they begin.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from phrasefit.demo.harmony import nearest
from phrasefit.demo.patterns import Event, read_steps
from phrasefit.demo.score import Bar, Chord

# Comfortable range of each melody instrument (MIDI pitches).
RANGES: dict[str, tuple[int, int]] = {
    "singer": (55, 74),
    "fiddle": (62, 86),
    "pedal_steel": (57, 79),
    "electric_guitar": (55, 79),
    "nylon_guitar": (52, 76),
    "banjo": (55, 79),
    "brass": (60, 78),
    "synth_lead": (62, 84),
    "organ": (60, 81),
}
MOTIF_BARS = 2
PICKUP_SHARE = 0.4  # tunes whose phrases begin before the bar line


@dataclass(frozen=True, slots=True, kw_only=True)
class Tune:
    """What a tune may use: `scale` pitch classes, `cells` of rhythm, range `low` to `high`."""

    scale: tuple[int, ...]
    cells: tuple[tuple[str, float], ...]
    low: int
    high: int

    @property
    def half_beat(self) -> float:
        """Where the second half of a beat falls: on the last triplet in a shuffle."""
        return 2.0 / 3.0 if len(self.cells[0][0]) == 3 else 0.5

    def scale_over(self, chord: Chord) -> tuple[int, ...]:
        """The scale bent to `chord`: its foreign tones replace their neighbors."""
        foreign = [tone for tone in chord.tones if tone not in self.scale]
        kept = [p for p in self.scale if not any((p - f) % 12 in (1, 11) for f in foreign)]
        return tuple({*kept, *chord.tones})


@dataclass(frozen=True, slots=True)
class _Motif:
    """(start beat, beats) of each note within two bars, and its step in the scale."""

    notes: tuple[tuple[float, float], ...]
    steps: tuple[int, ...]


def _make_motif(rng: np.random.Generator, tune: Tune, meter: int) -> _Motif:
    """Draw a rhythm from the cells (never empty, never overfull) and a contour."""
    weights = np.array([weight for _, weight in tune.cells])
    n_beats = meter * MOTIF_BARS
    for _ in range(20):
        drawn = rng.choice(len(weights), n_beats, p=weights / weights.sum())
        rhythm = "".join(tune.cells[i][0] for i in drawn)
        notes = tuple((start, beats) for _, start, beats in read_steps(rhythm, n_beats))
        if n_beats / 3 <= len(notes) <= 1.6 * n_beats:
            break
    steps = rng.choice([-2, -1, -1, 0, 1, 1, 2, 3], len(notes))
    return _Motif(notes, tuple(int(step) for step in steps))


def write_tune(
    rng: np.random.Generator,
    tune: Tune,
    bars: Sequence[Bar],
    phrase_bars: Sequence[int],
    meter: int,
    velocity: float = 0.75,
) -> list[Event]:
    """Write a tune over `bars`, its beats counted from the first bar.

    `phrase_bars` are phrase lengths in bars; the pitch keeps to chord tones on beats.
    """
    motifs = [_make_motif(rng, tune, meter) for _ in range(2)]
    has_pickup = meter > 2 and rng.random() < PICKUP_SHARE
    order = (0, 0, 1, 0)
    events: list[Event] = []
    bar_beats = np.cumsum([0] + [bar.n_beats for bar in bars])
    first = 0
    pitch = float(rng.uniform(0.35, 0.6) * (tune.high - tune.low) + tune.low)
    for number, n_bars in enumerate(phrase_bars):
        motif = motifs[order[number % len(order)]]
        phrase = _write_phrase(
            rng, tune, motif, bars[first : first + n_bars], pitch, meter, velocity,
            closes=number == len(phrase_bars) - 1,
        )  # fmt: skip
        if has_pickup:
            lead_in = _pickup(tune, bars[max(first - 1, 0)].chords[-1], phrase[0].pitch, velocity)
            phrase = [*lead_in, *phrase]
        events += [replace(event, beat=event.beat + float(bar_beats[first])) for event in phrase]
        first += n_bars
    return events


def _write_phrase(
    rng: np.random.Generator,
    tune: Tune,
    motif: _Motif,
    bars: Sequence[Bar],
    start_pitch: float,
    meter: int,
    velocity: float,
    *,
    closes: bool,
) -> list[Event]:
    """One phrase: the motif over all bars but the last, then the long note."""
    events: list[Event] = []
    pitch = start_pitch + float(rng.integers(-2, 3))
    beat = 0.0
    for index, bar in enumerate(bars[:-1]):
        offset = meter * (index % MOTIF_BARS)
        for (start, beats), step in zip(motif.notes, motif.steps, strict=True):
            here = start - offset
            if not 0 <= here < min(bar.n_beats, meter):
                continue
            # The second statement of the motif turns its last steps round.
            turned = -step if index >= MOTIF_BARS and here >= meter / 2 else step
            pitch = _walk(tune, bar.chord_at(here), pitch, turned)
            on_beat = abs(here - round(here)) < 0.01
            sung = nearest(bar.chord_at(here).tones, pitch) if on_beat else round(pitch)
            loud = velocity * (1.0 if on_beat else 0.88)
            events.append(Event(beat + here, min(beats, 2.5) * 0.95, sung, loud))
            pitch = float(sung)
        beat += bar.n_beats
    last = bars[-1]
    tones = last.chords[0].tones
    goal = nearest(tones[:1] if closes else tones, pitch)
    held = max(1.0, last.n_beats - (1.0 if last.n_beats > 2 else 0.25))
    events.append(Event(beat, held, _into(goal, tune), velocity))
    return events


def _pickup(tune: Tune, chord: Chord, goal: float, velocity: float) -> list[Event]:
    """Two notes in the breath before a phrase, stepping up to its first note."""
    starts = (-1.0, tune.half_beat - 1.0)
    lengths = (tune.half_beat, 1.0 - tune.half_beat)
    return [
        Event(start, 0.95 * beats, _walk(tune, chord, goal, steps), 0.85 * velocity)
        for start, beats, steps in zip(starts, lengths, (-2, -1), strict=True)
    ]


def _walk(tune: Tune, chord: Chord, pitch: float, steps: int) -> float:
    """Move `steps` degrees of the scale over `chord`, turning back at the ends of the range."""
    scale = tune.scale_over(chord)
    pitch = float(nearest(scale, pitch))
    direction = 1 if steps > 0 else -1
    for _ in range(abs(steps)):
        if not tune.low <= pitch + 2 * direction <= tune.high:
            direction = -direction
        pitch = float(nearest(scale, pitch + 1.6 * direction))
    return pitch


def _into(pitch: int, tune: Tune) -> int:
    """Move a pitch by octaves into the range."""
    while pitch > tune.high:
        pitch -= 12
    while pitch < tune.low:
        pitch += 12
    return pitch


def write_answers(
    rng: np.random.Generator,
    tune: Tune,
    bars: Sequence[Bar],
    phrase_bars: Sequence[int],
    *,
    share: float = 0.6,
) -> list[Event]:
    """Fill the breaths: a short run in the last bar of a `share` of the phrases."""
    events: list[Event] = []
    bar_beats = np.cumsum([0] + [bar.n_beats for bar in bars])
    for last in np.cumsum(phrase_bars) - 1:
        bar = bars[last]
        if rng.random() > share or bar.n_beats < 3:
            continue
        pitch = float(rng.uniform(tune.low + 4, tune.high - 4))
        n_notes = int(rng.integers(3, 6))
        for i in range(n_notes):
            here = bar.n_beats - 0.5 * (n_notes - i)
            if here % 1.0:
                here += tune.half_beat - 0.5
            pitch = _walk(tune, bar.chord_at(here), pitch, int(rng.choice([-2, -1, 1, 2])))
            sung = nearest(bar.chord_at(here).tones, pitch) if i % 2 == 0 else round(pitch)
            events.append(Event(float(bar_beats[last]) + here, 0.48, sung, 0.6))
    return events
