"""Whole songs from a rhythm style: form, chords, drums, bass, accompaniment, tunes.

The form is drawn first (sections with letters, phrases, odd bars), then every player
reads the style's patterns bar by bar.  All in beats of the written score.

May import: training.{harmony, melody, score, styles}, NumPy.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from phrasefit.training.harmony import (
    Chord,
    ChordTrack,
    choose_progression,
    lay_chords,
    voice,
)
from phrasefit.training.melody import TEMPERS, compose_melody
from phrasefit.training.score import NoteList, Part, Piece, SectionPlan
from phrasefit.training.styles import DRUM_KEYS, PROGRAMS, Style

LOUDNESS = {"X": 1.0, "x": 0.76, "o": 0.5, "g": 0.32, "?": 0.6, "s": 0.8, "P": 0.85, "b": 0.85}
MINOR_HARMONIES = {"minor", "metal", "modal"}
FILL_VOICES = "STMLKEC"


@dataclass(slots=True)
class Form:
    """The bars of a song and what happens in them, while it is being composed."""

    beats_per_bar: list[int]
    sections: list[SectionPlan]
    phrase_bars: list[int]
    layers: list[frozenset[str]]
    energy: list[float]
    fill_bars: set[int] = field(default_factory=set)
    stop_bars: set[int] = field(default_factory=set)
    silent: list[tuple[int, int]] = field(default_factory=list)

    @property
    def bar_starts(self) -> np.ndarray:
        """First beat of each bar, and the end."""
        return np.concatenate([[0], np.cumsum(self.beats_per_bar)])


def _section_kinds(rng: np.random.Generator) -> list[str]:
    """Draw the order of sections by letter."""
    plans = [
        "i A B A B C B o", "i A A B A B o", "A B A B", "i A B A B", "A A B A", "i A A A A o",
        "i B A B A C B", "A P B A P B", "i A C A C o", "i A B i A B C B", "A B C A",
    ]  # fmt: skip
    return str(rng.choice(plans)).split()


def _layers_for(
    rng: np.random.Generator, letter: str, drums_from: str, has_voice: bool, sparse: float
) -> tuple[frozenset[str], float]:
    """Decide who plays in a section, and how strongly."""
    energy = {"i": 0.4, "A": 0.5, "P": 0.65, "B": 0.9, "C": 0.5, "o": 0.45}[letter]
    energy = float(np.clip(energy + rng.normal(0, 0.12), 0.15, 1.0))
    players = {"chords"}
    if letter >= drums_from or letter in "io" and rng.random() < 0.6 and drums_from == "A":
        players.add("drums")
    for player, chance in (("bass", 0.9), ("pad", 0.35 * energy + 0.1), ("arpeggio", 0.4)):
        if rng.random() < chance:
            players.add(player)
    if letter in "ABPC" and has_voice:
        players.add("tune")
    elif rng.random() < 0.5:
        players.add("hook")
    if rng.random() < sparse:
        players -= {str(rng.choice(["bass", "drums", "chords", "pad"]))}
    if rng.random() < 0.3 * energy + 0.05:
        players.add("percussion")
    return frozenset(players or {"chords"}), energy


def _draw_form(rng: np.random.Generator, style: Style, bars_wanted: int) -> Form:
    """Draw sections, phrases, odd bars, fills, stops and silences."""
    meter = style.meter
    drums_from = str(rng.choice(["A", "A", "A", "A", "A", "B", "C"]))
    has_voice = rng.random() < 0.85
    sparse = float(rng.choice([0.05, 0.25]))
    unit = (
        int(rng.choice([4, 4, 4, 8, 8, 6, 3])) if rng.random() < 0.35 else int(rng.choice([4, 8]))
    )
    odd = rng.random() < 0.16
    form = Form([], [], [], [], [])
    known: dict[str, tuple[frozenset[str], float, int]] = {}
    for letter in _section_kinds(rng):
        if letter not in known:
            n_bars = unit * int(rng.choice([1, 1, 2] if letter in "iPo" else [1, 2, 2, 2]))
            known[letter] = (*_layers_for(rng, letter, drums_from, has_voice, sparse), n_bars)
        layers, energy, n_bars = known[letter]
        first = len(form.beats_per_bar)
        lengths = [meter] * n_bars
        if odd and rng.random() < 0.4:
            lengths = _odd_bars(rng, lengths, meter)
        form.sections.append(SectionPlan(first_bar=first, n_bars=len(lengths), letter=letter))
        form.phrase_bars += list(range(first, first + len(lengths), unit))
        form.beats_per_bar += lengths
        form.layers += [layers] * len(lengths)
        form.energy += [energy] * len(lengths)
        if len(form.beats_per_bar) >= bars_wanted:
            break
    _place_events(rng, form)
    return form


def _odd_bars(rng: np.random.Generator, lengths: list[int], meter: int) -> list[int]:
    """Add or drop bars or beats at the end of a section, as real songs do."""
    kind = rng.choice(["short", "added", "dropped", "long"])
    if kind == "short" and meter > 2:
        spot = int(rng.choice([len(lengths) - 1, len(lengths) // 2]))
        return [*lengths[:spot], max(2, meter // 2), *lengths[spot:]]
    if kind == "dropped" and len(lengths) > 3:
        return lengths[:-1]
    if kind == "long" and meter == 4:
        return [*lengths[:-1], 6]
    return [*lengths, *[meter] * int(rng.choice([1, 2]))]


def _place_events(rng: np.random.Generator, form: Form) -> None:
    """Choose bars with fills and stops, and stretches of silence."""
    n_bars = len(form.beats_per_bar)
    fill_chance = float(rng.choice([0.0, 0.3, 0.6, 0.9]))
    starts = {section.first_bar for section in form.sections}
    for bar in range(1, n_bars):
        if bar in form.phrase_bars and rng.random() < fill_chance * (1 if bar in starts else 0.5):
            form.fill_bars.add(bar - 1)
        if bar in starts and rng.random() < 0.1:
            form.stop_bars.add(bar - 1)
    if rng.random() < 0.12 and n_bars > 8:
        bar = int(rng.integers(4, n_bars - 2))
        form.layers[bar] = form.layers[bar] - {"drums", "percussion"}
        if rng.random() < 0.5:
            form.layers[bar + 1] = form.layers[bar + 1] - {"drums", "percussion"}


def compose(rng: np.random.Generator, style: Style, *, min_seconds: float = 75.0) -> Piece:
    """Compose a song in `style`, at least `min_seconds` long if its form allows."""
    low, high = style.tempo_bpm
    tempo = float(np.exp(rng.uniform(np.log(low), np.log(high))))
    bars_wanted = int(np.ceil(min_seconds * tempo / 60.0 / style.meter))
    form = _draw_form(rng, style, bars_wanted)
    key = int(rng.integers(12))
    charts = _chart(rng, style, form, key)
    parts = _play_all(rng, style, form, charts, key)
    return Piece(
        beats_per_bar=tuple(form.beats_per_bar),
        meter=style.meter,
        tempo_bpm=tempo,
        parts=tuple(part for part in parts if part.n_notes),
        sections=tuple(form.sections),
        phrase_bars=tuple(sorted(set(form.phrase_bars))),
        style=style.name,
        swing=float(rng.uniform(*style.swing)),
        swing_unit=style.swing_unit,
        looseness=float(rng.uniform(*style.looseness)),
        silent_beats=tuple(form.silent),
        ends=bool(rng.random() < 0.7),
    )


def _chart(rng: np.random.Generator, style: Style, form: Form, key: int) -> ChordTrack:
    """Lay one progression a section letter over the bars."""
    chord_bars = float(rng.choice(style.chord_bars))
    known: dict[str, tuple[list[tuple[int, str]], float]] = {}
    chords: list[Chord] = []
    starts = form.bar_starts
    for section in form.sections:
        if section.letter not in known:
            rate = chord_bars if rng.random() < 0.7 else float(rng.choice(style.chord_bars))
            known[section.letter] = (choose_progression(rng, style.harmony), rate)
        loop, rate = known[section.letter]
        last = section.first_bar + section.n_bars
        chords += lay_chords(loop, starts[section.first_bar : last + 1], rate, key)
    return ChordTrack(chords)


def _pick(rng: np.random.Generator, style: Style, role: str) -> int:
    """Draw a General MIDI program for a role."""
    words = style.instruments.get(role) or ("piano",)
    return int(rng.choice(PROGRAMS[str(rng.choice(words))]))


def _play_all(
    rng: np.random.Generator, style: Style, form: Form, chart: ChordTrack, key: int
) -> list[Part]:
    """Let every player read the form."""
    minor = style.harmony in MINOR_HARMONIES
    parts = [*_play_drums(rng, style, form)]
    if style.bass:
        parts.append(_play_bass(rng, style, form, chart))
    parts.append(_play_chords(rng, style, form, chart, _pick(rng, style, "comp"), "chords"))
    if rng.random() < 0.3:
        other = _play_chords(rng, style, form, chart, _pick(rng, style, "comp"), "chords")
        parts.append(other)
    if style.arpeggios and (rng.random() < 0.5 or "c x" not in style.chords[0]):
        parts.append(_play_arpeggio(rng, style, form, chart, _pick(rng, style, "comp")))
    parts.append(_play_pad(rng, form, chart, _pick(rng, style, "pad")))
    sung = rng.random() < 0.62
    parts.append(_play_tune(rng, style, form, chart, key, minor, "voice" if sung else "lead"))
    parts.append(_play_tune(rng, style, form, chart, key, minor, "lead", layer="hook"))
    if sung and rng.random() < 0.3:
        parts.append(_harmonise(rng, parts[-2]))
    return parts


def _cells(pattern: str, bar_in_section: int, n_steps: int, bar_steps: int) -> str:
    """Cut the cell of a bar out of a pattern of one or more bars, fitting odd bars."""
    n_cells = max(1, len(pattern) // n_steps)
    cell = pattern[(bar_in_section % n_cells) * n_steps :][:n_steps]
    while len(cell) < bar_steps:
        cell += cell
    return cell[:bar_steps]


def _section_of(form: Form) -> list[tuple[int, str]]:
    """Say for each bar its number within the section and the section's letter."""
    return [(bar, section.letter) for section in form.sections for bar in range(section.n_bars)]


def _choose_by_letter(rng: np.random.Generator, options: tuple, form: Form, same: float) -> dict:
    """Give each section letter a variant; with chance `same` the one of the song."""
    main = options[rng.integers(len(options))]
    letters = {section.letter for section in form.sections}
    return {
        letter: main if rng.random() < same else options[rng.integers(len(options))]
        for letter in sorted(letters)
    }


def _play_drums(rng: np.random.Generator, style: Style, form: Form) -> list[Part]:
    """Read the drum variants; add crashes, fills and hand percussion."""
    drums, hands = NoteList(), NoteList()
    variants = _choose_by_letter(rng, style.drums, form, 0.55)
    extra = style.drums[rng.integers(len(style.drums))]
    n_steps = style.meter * style.steps
    starts = form.bar_starts
    crash = float(rng.choice([0.0, 0.5, 0.9]))
    drop = {v for v in "HDYZP" if rng.random() < 0.12}
    nudge = float(rng.uniform(0.0, 0.1))
    for bar, (within, letter) in enumerate(_section_of(form)):
        beat, bar_steps = float(starts[bar]), form.beats_per_bar[bar] * style.steps
        if "drums" in form.layers[bar]:
            cut = bar_steps
            if bar in form.fill_bars:
                cut = bar_steps - style.steps * int(rng.choice([1, 1, 2, style.meter]))
                _add_fill(rng, drums, beat, max(cut, 0), bar_steps, style.steps)
            if bar in form.stop_bars:
                cut = int(rng.choice([1, style.steps * (style.meter - 1)]))
            _add_pattern(
                rng, drums, variants[letter], style, beat, within, bar_steps, cut, drop, nudge
            )
            if within == 0 and bar and rng.random() < crash:
                drums.add(beat, 1.0, 49 if rng.random() < 0.7 else 57, 0.9)
        if "percussion" in form.layers[bar]:
            lines = {v: p for v, p in extra.items() if v in "YZWGVcdmbnaitjz"}
            lines = lines or {"Z" if style.steps > 2 else "Y": "x" * style.steps}
            _add_pattern(rng, hands, lines, style, beat, within, bar_steps, bar_steps, set(), 0.02)
    return [drums.part("drums"), hands.part("percussion")]


def _add_pattern(
    rng: np.random.Generator,
    notes: NoteList,
    variant: dict[str, str],
    style: Style,
    beat: float,
    within: int,
    bar_steps: int,
    cut: int,
    drop: set[str],
    nudge: float,
) -> None:
    """Write one bar of drum lines, up to step `cut`; `nudge` adds or drops soft hits."""
    n_steps = style.meter * style.steps
    for letter, pattern in variant.items():
        if letter in drop:
            continue
        fine = pattern if len(pattern) >= n_steps else pattern * (n_steps // len(pattern))
        for step, mark in enumerate(_cells(fine, within, n_steps, bar_steps)[:cut]):
            if mark == "." and not (letter in "KS" and step and rng.random() < nudge * 0.3):
                continue
            if mark in "?og" and rng.random() < (0.5 if mark == "?" else nudge):
                continue
            loud = LOUDNESS.get(mark, 0.4) * (1 + rng.normal(0, 0.06))
            notes.add(beat + step / style.steps, 0.25, DRUM_KEYS[letter], loud)


def _add_fill(
    rng: np.random.Generator, notes: NoteList, beat: float, first: int, last: int, steps: int
) -> None:
    """Write a fill: a run over snare and toms that grows."""
    voices = [DRUM_KEYS[v] for v in rng.choice(list("SSTMLE"), size=4)]
    density = float(rng.uniform(0.4, 1.0))
    for step in range(first, last):
        if rng.random() < density or step % steps == 0:
            spot = (step - first) * len(voices) // max(1, last - first)
            growth = 0.6 + 0.4 * (step - first) / max(1, last - first)
            notes.add(beat + step / steps, 0.25, voices[spot], growth * rng.uniform(0.8, 1.0))
        if step % steps == 0 and rng.random() < 0.5:
            notes.add(beat + step / steps, 0.25, 36, 0.8)


def _play_bass(rng: np.random.Generator, style: Style, form: Form, chart: ChordTrack) -> Part:
    """Read the bass patterns against the chords."""
    notes = NoteList()
    patterns = _choose_by_letter(rng, style.bass, form, 0.6)
    program = _pick(rng, style, "bass")
    low = int(rng.choice([28, 28, 31, 33]))
    starts, n_steps = form.bar_starts, style.meter * style.steps
    last_pitch = low + 5
    for bar, (within, letter) in enumerate(_section_of(form)):
        if "bass" not in form.layers[bar]:
            continue
        bar_steps = form.beats_per_bar[bar] * style.steps
        cell = _cells(patterns[letter], within, n_steps, bar_steps)
        if bar in form.stop_bars:
            cell = cell[0] + "." * (len(cell) - 1)
        for step, mark in enumerate(cell):
            if mark in ".-":
                continue
            length = _held(cell, step) / style.steps
            beat = starts[bar] + step / style.steps
            pitch = _bass_pitch(rng, mark, chart, beat, length, low, last_pitch)
            last_pitch = pitch
            notes.add(beat, length * 0.92, pitch, 0.8 + 0.1 * (step == 0) + rng.normal(0, 0.05))
    return notes.part("bass", program=program)


def _held(cell: str, step: int) -> int:
    """Count the steps a note lasts: itself and the dashes after it."""
    end = step + 1
    while end < len(cell) and cell[end] == "-":
        end += 1
    return end - step


def _bass_pitch(
    rng: np.random.Generator,
    mark: str,
    chart: ChordTrack,
    beat: float,
    length: float,
    low: int,
    last_pitch: float,
) -> float:
    """Turn a bass letter into a pitch."""
    chord = chart.after(beat) if mark == "P" and chart.at(beat).end <= beat + length else None
    chord = chord or chart.at(beat)
    root = low + (chord.root - low) % 12
    if mark in "RP":
        return root
    if mark == "A":
        target = low + (chart.at(beat + length + 0.01).root - low) % 12
        return target + int(rng.choice([-1, 1, -2]))
    if mark == "W":
        options = [p for p in range(low, low + 20) if (p - chord.root) % 12 in (0, 2, 4, 5, 7, 9, 10)
                   and 0 < abs(p - last_pitch) <= 5]  # fmt: skip
        return float(rng.choice(options)) if options else root
    third = chord.tones[1] if len(chord.tones) > 1 else 7
    interval = {"F": 7, "T": third, "S": chord.tones[3] if len(chord.tones) > 3 else 9, "O": 12}
    pitch = root + interval.get(mark, 0)
    return pitch - 12 if pitch > low + 16 else pitch


def _play_chords(
    rng: np.random.Generator,
    style: Style,
    form: Form,
    chart: ChordTrack,
    program: int,
    role: str,
) -> Part:
    """Read the chord patterns; guitars strum, others strike."""
    notes = NoteList()
    patterns = _choose_by_letter(rng, style.chords, form, 0.55)
    low = int(rng.integers(48, 60))
    strum = float(rng.uniform(0.01, 0.05)) if 24 <= program <= 31 else float(rng.uniform(0, 0.01))
    starts, n_steps = form.bar_starts, style.meter * style.steps
    n_tones = int(rng.integers(3, 6))
    for bar, (within, letter) in enumerate(_section_of(form)):
        if "chords" not in form.layers[bar]:
            continue
        bar_steps = form.beats_per_bar[bar] * style.steps
        cell = _cells(patterns[letter], within, n_steps, bar_steps)
        if bar in form.stop_bars:
            cell = cell[0] + "." * (len(cell) - 1)
        for step, mark in enumerate(cell):
            if mark in ".-":
                continue
            beat = starts[bar] + step / style.steps
            length = _held(cell, step) / style.steps
            _strike(rng, notes, chart, beat, length, mark, low, n_tones, strum, step, style.steps)
    return notes.part(role, program=program)


def _strike(
    rng: np.random.Generator,
    notes: NoteList,
    chart: ChordTrack,
    beat: float,
    length: float,
    mark: str,
    low: int,
    n_tones: int,
    strum: float,
    step: int,
    steps: int,
) -> None:
    """Sound one chord mark."""
    chord = chart.at(beat)
    if mark == "P" and chord.end <= beat + length + 1e-6:
        chord = chart.after(beat)
    loud = LOUDNESS.get(mark, 0.76) * (1.05 if step % steps == 0 else 0.92) + rng.normal(0, 0.04)
    if mark == "b":
        notes.add(beat, length, 36 + chord.root + (12 if chord.root < 4 else 0), loud)
        return
    if mark == "s":
        length *= 0.45
    pitches = voice(chord, low, n_tones)
    if strum > 0.01 and step % 2:
        pitches = pitches[::-1][: max(2, n_tones - 1)]
    for i, pitch in enumerate(pitches):
        notes.add(beat + i * strum, max(0.08, length - i * strum), pitch, loud)


def _play_arpeggio(
    rng: np.random.Generator, style: Style, form: Form, chart: ChordTrack, program: int
) -> Part:
    """Read the arpeggio patterns."""
    notes = NoteList()
    patterns = _choose_by_letter(rng, style.arpeggios, form, 0.7)
    low = int(rng.integers(48, 64))
    starts, n_steps = form.bar_starts, style.meter * style.steps
    ring = float(rng.uniform(1.0, 3.0))
    for bar, (within, letter) in enumerate(_section_of(form)):
        if "arpeggio" not in form.layers[bar]:
            continue
        bar_steps = form.beats_per_bar[bar] * style.steps
        cell = _cells(patterns[letter], within, n_steps, bar_steps)
        for step, mark in enumerate(cell):
            if mark not in "123456":
                continue
            beat = starts[bar] + step / style.steps
            pitches = voice(chart.at(beat), low, 6)
            accent = 0.85 if step % style.steps == 0 else 0.7
            notes.add(beat, _held(cell, step) / style.steps * ring, pitches[int(mark) - 1], accent)
    return notes.part("arpeggio", program=program)


def _play_pad(rng: np.random.Generator, form: Form, chart: ChordTrack, program: int) -> Part:
    """Hold every chord where the form asks for a pad."""
    notes = NoteList()
    low = int(rng.integers(50, 64))
    starts = form.bar_starts
    early = float(rng.choice([0.0, 0.0, 0.06, 0.5]))
    for chord in chart.chords:
        bar = int(np.searchsorted(starts, chord.start + 1e-6) - 1)
        if "pad" in form.layers[min(bar, len(form.layers) - 1)]:
            for pitch in voice(chord, low, 3):
                start = max(0.0, chord.start - early)
                notes.add(start, chord.end - start - early, pitch, 0.6)
    return notes.part("pad", program=program, tied=True)


def _play_tune(
    rng: np.random.Generator,
    style: Style,
    form: Form,
    chart: ChordTrack,
    key: int,
    minor: bool,
    role: str,
    *,
    layer: str = "tune",
) -> Part:
    """Sing or play a tune in every section whose layers ask for one."""
    notes = NoteList()
    steps = 3 if style.steps == 3 else min(4, max(2, style.steps))
    if style.meter * style.steps <= 3:
        steps = 2
    centre = float(rng.uniform(55, 74) if role == "voice" else rng.uniform(62, 80))
    words = list(TEMPERS)
    temper = {"A": str(rng.choice(words)), "B": str(rng.choice(words))}
    unit = int(rng.choice([2, 4]))
    starts = form.bar_starts
    seeds: dict[str, int] = {}
    for section in form.sections:
        if layer not in form.layers[section.first_bar]:
            continue
        seed = seeds.setdefault(section.letter, int(rng.integers(2**31)))
        span = (float(starts[section.first_bar]), float(starts[section.first_bar + section.n_bars]))
        lift = 4.0 if section.letter == "B" else 0.0
        compose_melody(
            np.random.default_rng(seed), notes, chart, span, meter=style.meter, steps=steps,
            key=key, minor=minor, centre=centre + lift,
            temper=temper["B" if section.letter == "B" else "A"], phrase_bars=unit,
        )  # fmt: skip
    return notes.part(role, program=_pick(rng, style, "lead"), tied=bool(rng.random() < 0.4))


def _harmonise(rng: np.random.Generator, tune: Part) -> Part:
    """Double a tune a third or sixth away, as backing singers do."""
    shift = float(rng.choice([3, 4, -3, -8, 12]))
    return replace(tune, pitches=tune.pitches + shift, velocities=tune.velocities * 0.7)
