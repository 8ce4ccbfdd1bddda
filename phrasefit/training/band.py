"""The players: each reads its patterns of a style over the form and the chords."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from phrasefit.training.form import Form
from phrasefit.training.harmony import ChordTrack, voice
from phrasefit.training.invent import follow_kick, invent_chords, invent_drums, invent_riff
from phrasefit.training.melody import TEMPERS, compose_melody
from phrasefit.training.score import NoteList, Part
from phrasefit.training.styles import DRUM_KEYS, PROGRAMS, Style

LOUDNESS = {
    "X": 1.0, "x": 0.76, "o": 0.5, "g": 0.32, "?": 0.6, "s": 0.8, "P": 0.85, "b": 0.85, "f": 0.85,
}  # fmt: skip
LOWEST_BASS = 26  # D below the bass's lowest string: some tune down
HAND_VOICES = "YZWGVcdmbnaitjz"


@dataclass(slots=True)
class Band:
    """Everything the players look at; `key` is a pitch class.

    A `plain` band plays the patterns of the style as written, without crashes.
    """

    rng: np.random.Generator
    style: Style
    form: Form
    chart: ChordTrack
    key: int
    minor: bool
    plain: bool = False
    lines: dict[str, dict[str, str]] = field(init=False)

    def __post_init__(self) -> None:
        """Choose the drum lines of every letter: bass players listen to them."""
        self.lines = self.by_letter(self.style.drums, 0.55) if self.style.drums else {}
        if not self.plain and self.rng.random() < 0.45:
            self.lines = {
                letter: invent_drums(self.rng, variant, self.style)
                for letter, variant in self.lines.items()
            }

    # ------------------------------------------------------------ reading patterns

    @property
    def bar_steps(self) -> int:
        """Steps of a regular bar."""
        return self.style.meter * self.style.steps

    def pick(self, role: str) -> int:
        """Draw a General MIDI program for a role."""
        words = self.style.instruments.get(role) or ("piano",)
        return int(self.rng.choice(PROGRAMS[str(self.rng.choice(words))]))

    def by_letter(self, options: Sequence, same: float) -> dict:
        """Give each section letter a variant; with chance `same` the one of the song."""
        rng = self.rng
        main = options[rng.integers(len(options))]
        letters = sorted({section.letter for section in self.form.sections})
        return {
            letter: main if rng.random() < same else options[rng.integers(len(options))]
            for letter in letters
        }

    def cell(self, pattern: str, within: int, n_steps: int) -> str:
        """Cut one bar out of a pattern of one or more bars, fitted to odd bars."""
        n_cells = max(1, len(pattern) // self.bar_steps)
        cell = pattern[(within % n_cells) * self.bar_steps :][: self.bar_steps]
        while len(cell) < n_steps:
            cell += cell
        return cell[:n_steps]

    def bars(self, layer: str, patterns: dict[str, str]):
        """Yield (bar, first beat, cell) of every bar whose layers ask for a player."""
        starts = self.form.bar_starts
        for bar, (within, letter) in enumerate(self.form.places()):
            if layer not in self.form.layers[bar]:
                continue
            n_steps = self.form.beats_per_bar[bar] * self.style.steps
            cell = self.cell(patterns[letter], within, n_steps)
            if bar in self.form.stop_bars:
                cell = cell[0] + "." * (n_steps - 1)
            yield bar, float(starts[bar]), cell

    # ------------------------------------------------------------ drums

    def drums(self) -> list[Part]:
        """Drum kit with crashes and fills, and hand percussion."""
        rng, form = self.rng, self.form
        drums, hands = NoteList(), NoteList()
        extra = self.style.drums[rng.integers(len(self.style.drums))]
        lines = {v: p for v, p in extra.items() if v in HAND_VOICES}
        lines = lines or {str(rng.choice(["Z", "Y"])): "x" * self.style.steps}
        crash = 0.0 if self.plain else float(rng.choice([0.0, 0.5, 0.9]))
        drop = {v for v in "HDYZP" if rng.random() < 0.12}
        nudge = 0.0 if self.plain else float(rng.uniform(0.0, 0.1))
        starts = form.bar_starts
        for bar, (within, letter) in enumerate(form.places()):
            beat, n_steps = starts[bar], form.beats_per_bar[bar] * self.style.steps
            if "drums" in form.layers[bar]:
                cut = self._cut(drums, bar, beat, n_steps)
                kept = {v: p for v, p in self.lines[letter].items() if v not in drop}
                self._lines(drums, kept, bar, within, cut, nudge)
                if within == 0 and bar and rng.random() < crash:
                    drums.add(beat, 1.0, 49 if rng.random() < 0.7 else 57, 0.9)
            if "percussion" in form.layers[bar]:
                self._lines(hands, lines, bar, within, n_steps, 0.02)
        return [drums.part("drums"), hands.part("percussion")]

    def _cut(self, notes: NoteList, bar: int, beat: float, n_steps: int) -> int:
        """Write the fill or stop of a bar; return the step where the pattern ends."""
        rng, steps = self.rng, self.style.steps
        if bar in self.form.stop_bars:
            return int(rng.choice([1, steps * (self.style.meter - 1)]))
        if bar not in self.form.fill_bars:
            return n_steps
        cut = max(0, n_steps - steps * int(rng.choice([1, 1, 2, self.style.meter])))
        voices = [DRUM_KEYS[v] for v in rng.choice(list("SSTMLE"), size=4)]
        density = float(rng.uniform(0.4, 1.0))
        for step in range(cut, n_steps):
            if rng.random() < density or step % steps == 0:
                spot = (step - cut) * len(voices) // max(1, n_steps - cut)
                growth = 0.6 + 0.4 * (step - cut) / max(1, n_steps - cut)
                loud = growth * rng.uniform(0.8, 1.0)
                notes.add(beat + step / steps, 0.25, voices[spot], loud)
            if step % steps == 0 and rng.random() < 0.5:
                notes.add(beat + step / steps, 0.25, 36, 0.8)
        return cut

    def _lines(
        self, notes: NoteList, lines: dict[str, str], bar: int, within: int, cut: int, nudge: float
    ) -> None:
        """Write one bar of drum lines up to step `cut`; `nudge` adds and drops soft hits."""
        rng, steps = self.rng, self.style.steps
        beat = self.form.bar_starts[bar]
        n_steps = self.form.beats_per_bar[bar] * steps
        slow = 2 if bar in self.form.half_bars else 1
        for letter, pattern in lines.items():
            fine = pattern * max(1, self.bar_steps // len(pattern))
            cell = self.cell(fine, within // slow, n_steps)
            if slow == 2:
                half = n_steps // 2
                cell = cell[half:] if within % 2 else cell[:half]
            for step, mark in enumerate(cell):
                place = step * slow
                if place >= cut or (mark == "?" and rng.random() < 0.5):
                    continue
                if mark in "og" and rng.random() < nudge:
                    continue
                if mark == "." and not (letter in "KS" and step and rng.random() < nudge * 0.3):
                    continue
                loud = LOUDNESS.get(mark, 0.4) * (1 + rng.normal(0, 0.06))
                notes.add(beat + place / steps, 0.25, DRUM_KEYS[letter], loud)

    # ------------------------------------------------------------ bass

    def bass(self) -> Part:
        """Bass from its letters."""
        notes = NoteList()
        low = int(self.rng.choice([28, 28, 31, 33, 36]))
        # The fifth lies above the root or below it: the lower of two notes is not the one.
        fifth = int(self.rng.choice([7, -5]))
        last = low + 5.0
        patterns = self.by_letter(self.style.bass, 0.6)
        if not self.plain and self.rng.random() < 0.3:
            patterns = {
                letter: follow_kick(self.rng, lines["K"], self.style)
                for letter, lines in self.lines.items()
                if "K" in lines
            } | {k: v for k, v in patterns.items() if "K" not in self.lines[k]}
        for _, beat, cell in self.bars("bass", patterns):
            for step, mark in enumerate(cell):
                if mark in ".-":
                    continue
                length = held(cell, step) / self.style.steps
                at = beat + step / self.style.steps
                last = self._bass_pitch(mark, at, length, low, last, fifth)
                loud = 0.8 + 0.1 * (step == 0) + self.rng.normal(0, 0.05)
                notes.add(at, length * 0.92, last, loud)
        return notes.part("bass", program=self.pick("bass"))

    def _bass_pitch(
        self, mark: str, beat: float, length: float, low: int, last: float, fifth: int
    ) -> float:
        """Turn a bass letter into a pitch."""
        rng, chart = self.rng, self.chart
        chord = chart.at(beat)
        if mark == "P" and chord.end <= beat + length + 1e-6:
            chord = chart.after(beat)
        root = low + (chord.root - low) % 12
        if mark == "A":
            target = low + (chart.at(beat + length + 0.01).root - low) % 12
            return float(target + rng.choice([-1, 1, -2]))
        if mark == "W":
            scale = (0, 2, 4, 5, 7, 9, 10)
            near = [
                p for p in range(low, low + 20)
                if (p - chord.root) % 12 in scale and 0 < abs(p - last) <= 5
            ]  # fmt: skip
            return float(rng.choice(near)) if near else float(root)
        third = chord.tones[1] if len(chord.tones) > 1 else 7
        seventh = chord.tones[3] if len(chord.tones) > 3 else 9
        pitch = root + {"F": fifth, "T": third, "S": seventh, "O": 12}.get(mark, 0)
        if pitch < LOWEST_BASS:
            return float(pitch + 12)
        return float(pitch - 12 if pitch > low + 16 else pitch)

    # ------------------------------------------------------------ chords

    def chords(self) -> Part:
        """Accompaniment from chord patterns; guitars strum, others strike."""
        rng = self.rng
        notes = NoteList()
        program = self.pick("comp")
        strummed = 24 <= program <= 31
        low, n_tones = int(rng.integers(48, 60)), int(rng.integers(3, 6))
        # A strum takes 10 to 60 ms and lies around the beat, not after it.
        strum = float(rng.uniform(0.02, 0.1) if strummed else rng.uniform(0, 0.02)) / n_tones
        options = [*self.style.chords]
        if not self.plain and rng.random() < 0.35:
            options = [invent_chords(rng, self.style) for _ in range(3)]
        for _, beat, cell in self.bars("chords", self.by_letter(options, 0.55)):
            for step, mark in enumerate(cell):
                if mark in ".-":
                    continue
                length = held(cell, step) / self.style.steps
                at = beat + step / self.style.steps
                early = min(at, 0.4 * strum * n_tones)
                loud = LOUDNESS.get(mark, 0.76) * (1.05 if step % self.style.steps == 0 else 0.92)
                chord = self.chart.at(at)
                if mark == "P" and chord.end <= at + length + 1e-6:
                    chord = self.chart.after(at)
                if mark in "bf":
                    root = 36 + chord.root + (12 if chord.root < 4 else 0)
                    notes.add(at, length, root - 5 * (mark == "f"), loud)
                    continue
                pitches = voice(chord, low, n_tones)
                if strummed and step % 2:
                    pitches = pitches[::-1][: max(2, n_tones - 1)]
                for i, pitch in enumerate(pitches):
                    ring = length * (0.45 if mark == "s" else 1.0) - i * strum
                    start = at - early + i * strum
                    notes.add(start, max(0.08, ring), pitch, loud + rng.normal(0, 0.03))
        return notes.part("chords", program=program)

    def arpeggio(self) -> Part:
        """Broken chords."""
        notes = NoteList()
        low = int(self.rng.integers(48, 64))
        ring = float(self.rng.uniform(1.0, 3.0))
        steps = self.style.steps
        options = [*self.style.arpeggios]
        if not self.plain and self.rng.random() < 0.4:
            options = [invent_riff(self.rng, self.style) for _ in range(2)]
        for _, beat, cell in self.bars("arpeggio", self.by_letter(options, 0.7)):
            for step, mark in enumerate(cell):
                if mark in "123456":
                    at = beat + step / steps
                    pitch = voice(self.chart.at(at), low, 6)[int(mark) - 1]
                    loud = 0.85 if step % steps == 0 else 0.7
                    notes.add(at, held(cell, step) / steps * ring, pitch, loud)
        return notes.part("arpeggio", program=self.pick("comp"))

    def pad(self) -> Part:
        """Every chord held, where the form asks for it; some players come early."""
        notes = NoteList()
        low = int(self.rng.integers(50, 64))
        early = float(self.rng.choice([0.0, 0.0, 0.06, 0.5]))
        starts = self.form.bar_starts
        for chord in self.chart.chords:
            bar = int(np.clip(np.searchsorted(starts, chord.start + 1e-6) - 1, 0,
                              len(self.form.layers) - 1))  # fmt: skip
            if "pad" in self.form.layers[bar]:
                start = max(0.0, chord.start - early)
                for pitch in voice(chord, low, 3):
                    notes.add(start, chord.end - start - early, pitch, 0.6)
        return notes.part("pad", program=self.pick("pad"), tied=True)

    # ------------------------------------------------------------ tunes

    def tune(self, role: str, *, layer: str = "tune") -> Part:
        """A tune in every section whose layers ask for one; equal letters, equal tune."""
        rng, form = self.rng, self.form
        notes = NoteList()
        steps = 3 if self.style.steps == 3 else min(4, max(2, self.style.steps))
        center = float(rng.uniform(55, 74) if role == "voice" else rng.uniform(62, 80))
        verse, chorus = (str(rng.choice(list(TEMPERS))) for _ in range(2))
        unit = int(rng.choice([2, 4]))
        starts = form.bar_starts
        seeds: dict[str, int] = {}
        for section in form.sections:
            if layer not in form.layers[section.first_bar]:
                continue
            seed = seeds.setdefault(section.letter, int(rng.integers(2**31)))
            last = section.first_bar + section.n_bars
            lifted = section.letter == "B"
            compose_melody(
                np.random.default_rng(seed),
                notes,
                self.chart,
                (float(starts[section.first_bar]), float(starts[last])),
                meter=self.style.meter,
                steps=steps,
                key=self.key,
                minor=self.minor,
                center=center + 4.0 * lifted,
                temper=chorus if lifted else verse,
                phrase_bars=unit,
            )
        return notes.part(role, program=self.pick("lead"), tied=bool(rng.random() < 0.4))


def held(cell: str, step: int) -> int:
    """Count the steps a note lasts: itself and the dashes after it."""
    end = step + 1
    while end < len(cell) and cell[end] == "-":
        end += 1
    return end - step
