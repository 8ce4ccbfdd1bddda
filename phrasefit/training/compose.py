"""Whole songs from a rhythm style: form, chords, players, pushes, beginnings and ends.

All in beats of the written score.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from phrasefit.training.band import Band
from phrasefit.training.form import Form, draw_form
from phrasefit.training.harmony import Chord, ChordTrack, choose_progression, lay_chords, voice
from phrasefit.training.score import NoteList, Part, Piece
from phrasefit.training.styles import Style

MINOR_HARMONIES = frozenset({"minor", "metal", "modal"})


def compose(rng: np.random.Generator, style: Style, *, min_seconds: float = 75.0) -> Piece:
    """Compose a song in `style`, at least `min_seconds` long if its form allows."""
    tempo = draw_tempo(rng, style.tempo_bpm)
    form = draw_form(rng, style.meter, int(np.ceil(min_seconds * tempo / 60.0 / style.meter)))
    key = int(rng.integers(12))
    chart = _chart(rng, style, form, key)
    band = Band(rng, style, form, chart, key, style.harmony in MINOR_HARMONIES)
    return finish(band, [*band.drums(), *accompaniment(band), *tunes(band)], tempo)


def draw_tempo(rng: np.random.Generator, tempo_bpm: tuple[float, float]) -> float:
    """Draw a tempo, evenly in ratio."""
    low, high = np.log(tempo_bpm)
    return float(np.exp(rng.uniform(low, high)))


def accompaniment(band: Band) -> list[Part]:
    """Bass, chords, arpeggio and pad."""
    rng = band.rng
    parts = [band.bass(), band.chords()]
    if rng.random() < 0.3:
        parts.append(band.chords())
    if band.style.arpeggios and rng.random() < 0.6:
        parts.append(band.arpeggio())
    return [*parts, band.pad()]


def tunes(band: Band) -> list[Part]:
    """The main tune, sung or played, an instrument's hook, backing singers."""
    rng = band.rng
    sung = rng.random() < 0.65
    main = band.tune("voice" if sung else "lead")
    parts = [main, band.tune("lead", layer="hook")]
    if sung and rng.random() < 0.3:
        shift = float(rng.choice([3, 4, -3, -8, 12]))
        parts.append(replace(main, pitches=main.pitches + shift, velocities=main.velocities * 0.7))
    return parts


def finish(band: Band, parts: list[Part], tempo_bpm: float, *, source: str = "composer") -> Piece:
    """Apply what concerns everyone: pushes, count-in, free beginning, last chord."""
    rng, style, form = band.rng, band.style, band.form
    ends = bool(rng.random() < 0.75)
    if rng.random() < 0.18 and style.steps % 2 == 0:
        parts = push(rng, parts, band.chart)
    if ends:
        parts = last_chord(band, parts)
    if rng.random() < 0.04 and form.sections[0].letter == "i":
        form.silent.append((0, int(form.bar_starts[form.sections[0].n_bars])))
        parts = [_without(part, form.silent[0]) for part in parts]
    inside = False
    if rng.random() < 0.12:
        parts, inside = _lead_in(band, parts)
    return Piece(
        beats_per_bar=tuple(form.beats_per_bar),
        meter=style.meter,
        tempo_bpm=tempo_bpm,
        parts=tuple(part for part in parts if part.n_notes),
        sections=tuple(form.sections),
        phrase_bars=tuple(sorted(set(form.phrase_bars))),
        style=style.name,
        source=source,
        swing=float(rng.uniform(*style.swing)),
        swing_unit=style.swing_unit,
        looseness=float(rng.uniform(*style.looseness)),
        silent_beats=tuple(form.silent),
        ends=ends,
        starts_inside=inside,
    )


def _chart(rng: np.random.Generator, style: Style, form: Form, key: int) -> ChordTrack:
    """Lay one progression a section letter over the bars."""
    usual = float(rng.choice(style.chord_bars))
    known: dict[str, tuple[list[tuple[int, str]], float]] = {}
    chords: list[Chord] = []
    for section in form.sections:
        if section.letter not in known:
            rate = usual if rng.random() < 0.7 else float(rng.choice(style.chord_bars))
            known[section.letter] = (choose_progression(rng, style.harmony), rate)
        loop, rate = known[section.letter]
        last = section.first_bar + section.n_bars
        chords += lay_chords(loop, form.bar_starts[section.first_bar : last + 1], rate, key)
    return ChordTrack(chords)


def push(rng: np.random.Generator, parts: list[Part], chart: ChordTrack) -> list[Part]:
    """Let chords come half a beat early and hold over the beat, as much pop does.

    Bass, chords and the kick move; snare, hats and tunes stay.
    """
    changes = np.array([chord.start for chord in chart.chords[1:]])
    share = float(rng.choice([0.4, 0.8, 1.0]))
    early = changes[rng.random(changes.size) < share]
    amount = float(rng.choice([0.5, 0.5, 0.25]))
    if not early.size:
        return parts
    return [_pushed(part, early, amount) for part in parts]


def _pushed(part: Part, early: np.ndarray, amount: float) -> Part:
    """Move the notes at `early` forward by `amount` beats."""
    if part.role not in ("bass", "chords", "drums"):
        return part
    spot = np.clip(np.searchsorted(early, part.onsets - 0.06), 0, early.size - 1)
    moved = (part.onsets >= early[spot] - 1e-6) & (part.onsets < early[spot] + 0.06)
    if part.role == "drums":
        moved &= part.pitches == 36
    onsets = np.where(moved, part.onsets - amount, part.onsets)
    lengths = np.where(moved, part.lengths + amount, part.lengths)
    order = np.argsort(onsets, kind="stable")
    return replace(
        part, onsets=onsets[order], lengths=lengths[order], pitches=part.pitches[order],
        velocities=part.velocities[order],
    )  # fmt: skip


def last_chord(band: Band, parts: list[Part]) -> list[Part]:
    """One more beat: everyone strikes the home chord and lets it ring."""
    form, rng = band.form, band.rng
    at = float(form.bar_starts[-1])
    last = form.sections[-1]
    form.sections[-1] = replace(last, n_bars=last.n_bars + 1)
    form.beats_per_bar.append(1)
    playing = form.layers[-1]
    form.layers.append(playing)
    form.energy.append(form.energy[-1])
    chord = band.chart.chords[0]
    chords, bass, drums = NoteList(), NoteList(), NoteList()
    for pitch in voice(chord, 52, 4):
        chords.add(at, 4.0, pitch, 0.85)
    bass.add(at, 4.0, 28 + (chord.root - 28) % 12, 0.85)
    for key in (36, 49) if rng.random() < 0.8 else (36,):
        drums.add(at, 1.0, key, 0.9)
    for role, notes in (("chords", chords), ("bass", bass), ("drums", drums)):
        if role in playing or role == "chords":
            parts = _extended(parts, notes.part(role, program=0 if role == "chords" else 33))
    return parts


def _extended(parts: list[Part], more: Part) -> list[Part]:
    """Give notes to the first player of their role, or to a new one."""
    for number, part in enumerate(parts):
        if part.role == more.role:
            onsets = np.concatenate([part.onsets, more.onsets])
            order = np.argsort(onsets, kind="stable")
            joined = replace(
                part,
                onsets=onsets[order],
                lengths=np.concatenate([part.lengths, more.lengths])[order],
                pitches=np.concatenate([part.pitches, more.pitches])[order],
                velocities=np.concatenate([part.velocities, more.velocities])[order],
            )
            return [*parts[:number], joined, *parts[number + 1 :]]
    return [*parts, more]


def _lead_in(band: Band, parts: list[Part]) -> tuple[list[Part], bool]:
    """Begin with counted sticks or a drum fill before the first bar; say if it is a part bar."""
    rng, form, meter = band.rng, band.form, band.style.meter
    n_beats = int(rng.integers(1, meter + 1))
    form.beats_per_bar.insert(0, n_beats)
    form.layers.insert(0, form.layers[0])
    form.energy.insert(0, form.energy[0])
    form.sections[:] = [replace(s, first_bar=s.first_bar + 1) for s in form.sections]
    form.phrase_bars[:] = [bar + 1 for bar in form.phrase_bars]
    form.silent[:] = [(first + n_beats, last + n_beats) for first, last in form.silent]
    moved = [replace(part, onsets=part.onsets + n_beats) for part in parts]
    notes = NoteList()
    if rng.random() < 0.4:
        for beat in range(n_beats):
            notes.add(beat, 0.2, int(rng.choice([37, 75, 42])), 0.8)
    else:
        for step in range(n_beats * band.style.steps):
            if step % band.style.steps == 0 or rng.random() < 0.6:
                key = int(rng.choice([38, 38, 50, 47, 43]))
                notes.add(step / band.style.steps, 0.2, key, rng.uniform(0.6, 1.0))
    if rng.random() < 0.7:
        moved = _extended(moved, notes.part("drums"))
    return moved, n_beats < meter


def _without(part: Part, span: tuple[int, int]) -> Part:
    """Silence drums and bass in a free beginning; the others stay."""
    if part.role not in ("drums", "percussion", "bass"):
        return part
    keep = (part.onsets < span[0] - 0.01) | (part.onsets >= span[1] - 0.01)
    return replace(
        part, onsets=part.onsets[keep], lengths=part.lengths[keep], pitches=part.pitches[keep],
        velocities=part.velocities[keep],
    )  # fmt: skip
