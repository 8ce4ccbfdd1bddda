"""The accompaniment: drums with fills and crashes, bass lines, comping.

Each function writes one part over one section as events, their beats counted from the
section's first beat.  The drums come back as events by piece.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from phrasefit.demo.harmony import bass_pitch, close_voicing, guitar_voicing
from phrasefit.demo.patterns import LOUDNESS, Event, bar_of, fit_bar, read_steps
from phrasefit.demo.score import Bar, Chord
from phrasefit.demo.style import Comp, Groove

CYMBALS = frozenset({"closed_hat", "open_hat", "ride"})
FINAL_HIT: dict[str, str] = {"kick": "X", "crash": "X", "snare": "x"}


def _starts(bars: Sequence[Bar]) -> list[float]:
    """First beat of each bar."""
    return np.cumsum([0.0] + [bar.n_beats for bar in bars])[:-1].tolist()


def write_drums(
    rng: np.random.Generator,
    bars: Sequence[Bar],
    phrase_bars: Sequence[int],
    meter: int,
    groove: Groove,
    fills: Sequence[Groove],
    *,
    energy: float,
    crash: bool,
) -> dict[str, list[Event]]:
    """Write the kit: the groove, a fill at the end of phrases, a crash at the start.

    The last phrase always ends in a fill; earlier ones in some, the more the higher
    the `energy`.
    """
    pieces: dict[str, list[Event]] = {}
    phrase_ends = set((np.cumsum(phrase_bars) - 1).tolist())
    for index, (bar, start) in enumerate(zip(bars, _starts(bars), strict=True)):
        last = index == len(bars) - 1
        n_fill_beats = 0
        if last or (index in phrase_ends and rng.random() < 0.25 + 0.6 * energy):
            n_fill_beats = int(rng.integers(1, 3)) if not last else int(rng.integers(2, 4))
        n_fill_beats = min(n_fill_beats, bar.n_beats - 1)
        fill = fills[int(rng.integers(len(fills)))]
        hits = _drum_bar(groove, fill, index, bar.n_beats, meter, n_fill_beats)
        for piece, event in hits:
            pieces.setdefault(piece, []).append(
                Event(event.beat + start, event.beats, 0.0, event.velocity)
            )
    if crash:
        _crash(pieces)
    return pieces


def _drum_bar(
    groove: Groove, fill: Groove, index: int, n_beats: int, meter: int, n_fill_beats: int
) -> Iterator[tuple[str, Event]]:
    """Hits of one bar: the groove up to the fill, then the fill (its end is the bar's end)."""
    split = n_beats - n_fill_beats
    for piece, pattern in groove.items():
        steps = fit_bar(bar_of(pattern, index), meter, n_beats)
        for mark, beat, _ in read_steps(steps, n_beats):
            if beat < split - 1e-6:
                yield piece, Event(beat, 0.45, 0.0, LOUDNESS[mark])
    if not n_fill_beats:
        return
    for piece, pattern in fill.items():
        steps = bar_of(pattern, 0)
        for mark, beat, _ in read_steps(steps, meter):
            here = beat + n_beats - meter
            if here >= split - 1e-6:
                yield piece, Event(here, 0.45, 0.0, LOUDNESS[mark])


def _crash(pieces: dict[str, list[Event]]) -> None:
    """Open the section with a crash and a kick instead of the hat."""
    for piece in CYMBALS & pieces.keys():
        pieces[piece] = [event for event in pieces[piece] if event.beat > 0.01]
    pieces.setdefault("crash", []).append(Event(0.0, 2.0, 0.0, 0.85))
    if not any(event.beat < 0.01 for event in pieces.get("kick", [])):
        pieces.setdefault("kick", []).append(Event(0.0, 0.45, 0.0, 0.85))


def write_bass(
    bars: Sequence[Bar], meter: int, line: str, after: Chord, *, energy: float
) -> list[Event]:
    """Write a bass line; `after` is the chord that follows the section."""
    events: list[Event] = []
    followers = [*(bar.chords[0] for bar in bars[1:]), after]
    for index, (bar, start, follower) in enumerate(
        zip(bars, _starts(bars), followers, strict=True)
    ):
        steps = fit_bar(bar_of(line, index), meter, bar.n_beats)
        for mark, beat, beats in read_steps(steps, bar.n_beats):
            pitch = _bass_note(mark, bar.chord_at(beat), follower)
            velocity = (0.62 + 0.25 * energy) * (1.0 if beat < 0.01 else 0.9)
            events.append(Event(start + beat, beats * 0.93, pitch, velocity))
    return events


def _bass_note(mark: str, chord: Chord, follower: Chord) -> int:
    """Pitch of one letter of a bass line."""
    root = bass_pitch(chord.root)
    if mark == "A":
        goal = bass_pitch(follower.root)
        return goal + (-1 if goal > 28 else 2)
    third = 3 if chord.quality.startswith("m") and not chord.quality.startswith("maj") else 4
    steps = {"R": 0, "3": third, "5": 7, "6": 9, "7": 10, "8": 12}
    pitch = root + steps[mark]
    return pitch - 12 if mark == "5" and pitch > 43 else pitch


def write_comp(
    bars: Sequence[Bar], meter: int, comp: Comp, pattern: str, *, energy: float, stroke_beats: float
) -> list[Event]:
    """Write one accompanying part; `stroke_beats` is the time from string to string."""
    if comp.kind == "hold":
        return _held_chords(bars, comp, energy)
    events: list[Event] = []
    for index, (bar, start) in enumerate(zip(bars, _starts(bars), strict=True)):
        steps = fit_bar(bar_of(pattern, index), meter, bar.n_beats)
        for mark, beat, beats in read_steps(steps, bar.n_beats):
            velocity = (0.5 + 0.3 * energy) * (1.0 if abs(beat - round(beat)) < 0.01 else 0.85)
            chord = bar.chord_at(beat)
            events += _stroke(comp, mark, chord, start + beat, beats * 0.96, velocity, stroke_beats)
    return events


def _stroke(
    comp: Comp,
    mark: str,
    chord: Chord,
    beat: float,
    beats: float,
    velocity: float,
    stroke_beats: float,
) -> list[Event]:
    """Notes of one letter of a comping pattern."""
    if comp.kind == "pick" and mark.isdigit():
        voices = _picking_voices(comp, chord)
        octave, voice = divmod(int(mark), len(voices))
        return [Event(beat, max(beats, 0.9), voices[voice] + 12 * octave, velocity)]
    if comp.kind == "block":
        return [
            Event(beat, beats, pitch, velocity)
            for pitch in close_voicing(chord, comp.center, len(chord.tones))
        ]
    strings = guitar_voicing(chord)
    if mark in "bB":
        low = strings[0] if mark == "b" else _fifth_below(strings[0])
        return [Event(beat, max(beats, 0.9), low, velocity)]
    chosen = strings[:0:-1][:4] if mark == "u" else strings
    loud = velocity * (0.75 if mark == "u" else 1.0)
    # The stroke straddles the beat, as a player aims it.
    early = 0.4 * stroke_beats * (len(chosen) - 1)
    return [
        Event(beat - early + i * stroke_beats, beats, pitch, loud) for i, pitch in enumerate(chosen)
    ]


def _fifth_below(pitch: int) -> int:
    """The alternating bass note: a fourth under the root if the guitar has it."""
    return pitch - 5 if pitch - 5 >= 40 else pitch + 7


def _picking_voices(comp: Comp, chord: Chord) -> list[int]:
    """Notes under the fingers: guitars use their strings, others a close chord over its root."""
    if "guitar" in comp.instruments[0] or "banjo" in comp.instruments[0]:
        return guitar_voicing(chord)[:6]
    upper = close_voicing(chord, comp.center, 3)
    return [upper[0] - 12, *upper, upper[0] + 12]


def _held_chords(bars: Sequence[Bar], comp: Comp, energy: float) -> list[Event]:
    """Hold each chord until it changes, two bars at most."""
    changes: list[tuple[float, Chord]] = []
    end = 0.0
    bars_held = 0
    for bar, start in zip(bars, _starts(bars), strict=True):
        span = bar.n_beats / len(bar.chords)
        for i, chord in enumerate(bar.chords):
            if not changes or changes[-1][1] != chord or bars_held >= 2:
                changes.append((start + i * span, chord))
                bars_held = 0
        bars_held += 1
        end = start + bar.n_beats
    ends = [beat for beat, _ in changes[1:]] + [end]
    return [
        Event(beat, stop - beat, pitch, 0.5 + 0.3 * energy)
        for (beat, chord), stop in zip(changes, ends, strict=True)
        for pitch in close_voicing(chord, comp.center, len(chord.tones))
    ]
