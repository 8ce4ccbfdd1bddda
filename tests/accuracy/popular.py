"""Pop songs whose phrases two people marked, with bass and drums of our own.

    python tests/accuracy/popular.py POP909 LABELS OUT [--songs N | --numbers N ...]

POP909: the folder of numbered songs of https://github.com/music-x-lab/POP909-Dataset (Z. Wang
et al., "POP909: a pop-song dataset for music arrangement generation", ISMIR 2020; MIT).
LABELS: the folder POP909 of https://github.com/Dsqvival/hierarchical-structure-analysis (S. Dai,
H. Zhang and R. Dannenberg, "Automatic analysis and influence of hierarchical structure on
melody, rhythm and harmony in popular music", 2020; MIT): phrases such as ``i4A8B8``, chords
and the melody by quarter notes.  OUT gets NUMBER.wav and NUMBER.json (beats, positions,
sections, sections by the other person): `tests/form/measure.py` measures form on them,
and `phrasefit.training.sections --labelled` learns from them.

A song is left out where fewer than 85 % of its melody notes lie where the labels say.
Every fourth song stays as it is (piano and melody); every fourth has one drum pattern
throughout; in the others patterns change with the letters, with fills and crashes.
Two soundfonts play four songs by turns.
"""

from __future__ import annotations

import argparse
import re
from pathlib import Path

import mido
import numpy as np
from render import DRUM_CHANNEL, LEAD_S, Truth, measure_latency, render_midi, save_song

from phrasefit.training.source_popular import first_label_beat, phrases_of, read_notes

FONTS = ("timgm6mb", "fluidr3")
TICKS_A_SECOND = 960  # 480 a quarter note at 120
KICK, SNARE, HAT, CRASH, TOMS = 36, 38, 42, 49, (45, 47, 48, 50)
LEADS, BACKINGS = (65, 73, 54, 80, 40, 0, 66), (25, 48, 11, 26, 89)
PIANOS, BASSES = (0, 4, 24, 1), (33, 34, 38, 32)
LONGEST_JOINED_BARS = 8  # phrases of one letter in a row are one section up to this

Note = tuple[float, float, int, int, int]  # start [s], end [s], channel, pitch, velocity


def section_starts(phrases: list[tuple[str, int]]) -> list[tuple[int, str]]:
    """Join phrases of one letter in a row; give the first bar and letter of each section."""
    starts, bar, length = [], 0, 0
    for letter, n_bars in phrases:
        if starts and starts[-1][1] == letter and length + n_bars <= LONGEST_JOINED_BARS:
            length += n_bars
        else:
            starts.append((bar, letter))
            length = n_bars
        bar += n_bars
    return starts


class Band:
    """Adds bass and drums to a song, drawn from its number."""

    def __init__(self, number: int, beats: np.ndarray, first: int) -> None:
        self.rng = np.random.default_rng(number)
        self.beats, self.first = beats, first
        self.notes: list[Note] = []

    def at(self, beat: float) -> float:
        """Seconds at a beat."""
        return float(np.interp(beat, np.arange(len(self.beats)), self.beats))

    def add(self, beat: float, length: float, channel: int, pitch: int, velocity: int) -> None:
        """Play a note if it lies within the song."""
        if 0 <= beat < len(self.beats) - 1:
            end = self.at(beat + length)
            self.notes.append((self.at(beat), end, channel, int(pitch), int(velocity)))

    def bass(self, chords: str) -> None:
        """The chord's root: held, on every beat, or in octaves."""
        kind, beat = int(self.rng.integers(3)), self.first
        for line in chords.splitlines():
            found = re.match(r"(\S+) \[.*\] (-?\d+) (\d+)", line)
            if not found:
                continue
            root, n_beats = int(found[2]), int(found[3])
            for k in range(n_beats if root >= 0 and found[1][0] != "N" else 0):
                pitch = 28 + (root - 4) % 12
                if kind > 0 or k == 0:
                    self.add(beat + k, n_beats - 0.05 if kind == 0 else 0.9, 3, pitch, 90)
                if kind == 2:
                    self.add(beat + k + 0.5, 0.45, 3, pitch + 12 * (k % 2), 80)
            beat += n_beats

    def drums(self, phrases: list[tuple[str, int]], *, changing: bool) -> None:
        """One pattern, or patterns that change with the letters, fills and crashes."""
        letters = [letter for letter, n_bars in phrases for _ in range(n_bars)]
        edges = set(np.cumsum([0, *(n_bars for _, n_bars in phrases)]).tolist())
        base = self._pattern()
        patterns = {}
        for letter in sorted(set(letters)):
            fresh = changing and self.rng.random() < 0.5
            patterns[letter] = self._pattern() if fresh else dict(base)
            if changing and letter.lower() in "iox" and self.rng.random() < 0.5:
                patterns[letter] = None
        for bar, letter in enumerate(letters):
            if patterns[letter]:
                fills = changing and bar + 1 in edges and self.rng.random() < 0.45
                self._bar(self.first + 4 * bar, patterns[letter], fills=fills)
                if changing and bar in edges and self.rng.random() < 0.45:
                    self.add(self.first + 4 * bar, 0.2, DRUM_CHANNEL, CRASH, 100)

    def _pattern(self) -> dict:
        kicks = {0.0, *self.rng.choice([0, 1, 1.5, 2, 2.5, 3, 3.5], 2).tolist()}
        return {"kicks": kicks, "hat": int(self.rng.choice([HAT, 46, 51])),
                "eighths": bool(self.rng.random() < 0.6)}  # fmt: skip

    def _bar(self, start: int, pattern: dict, *, fills: bool) -> None:
        for eighth in range(8):
            beat = eighth / 2
            if fills and eighth >= 4:
                for step in (0.0, 0.25):
                    self.add(start + beat + step, 0.1, DRUM_CHANNEL, self.rng.choice(TOMS), 92)
                continue
            if pattern["eighths"] or eighth % 2 == 0:
                self.add(start + beat, 0.1, DRUM_CHANNEL, pattern["hat"], 80 - 20 * (eighth % 2))
            if beat in pattern["kicks"]:
                self.add(start + beat, 0.1, DRUM_CHANNEL, KICK, 100)
            if eighth in (2, 6):
                self.add(start + beat, 0.1, DRUM_CHANNEL, SNARE, 95)


def write_midi(notes: list[Note], programs: dict[int, int], path: Path) -> None:
    """Write notes in seconds as a one-track file."""
    events = [
        (0, 0, mido.Message("program_change", channel=c, program=p)) for c, p in programs.items()
    ]
    for start, end, channel, pitch, velocity in notes:
        on, off = round(start * TICKS_A_SECOND), round(end * TICKS_A_SECOND)
        message = {"channel": channel, "note": pitch}
        events.append((on, 2, mido.Message("note_on", velocity=velocity, **message)))
        events.append((max(off, on + 20), 1, mido.Message("note_off", **message)))
    track, last = mido.MidiTrack(), 0
    for tick, _, message in sorted(events, key=lambda event: event[:2]):
        track.append(message.copy(time=tick - last))
        last = tick
    mido.MidiFile(ticks_per_beat=480, tracks=[track]).save(path)


def convert(number: str, songs: Path, labels: Path, out: Path, kind: int, font: str) -> bool:
    """Render one song with its truth; False where labels and notes do not match."""
    tracks = read_notes(songs / number / f"{number}.mid")
    beats = np.loadtxt(songs / number / "beat_midi.txt")[:, 0]
    first = first_label_beat(
        tracks["MELODY"], (labels / number / "melody.txt").read_text("utf-8"), beats
    )
    if first is None:
        return False
    phrases, by_another = (
        phrases_of((labels / number / f"human_label{person}.txt").read_text("utf-8"))
        for person in (1, 2)
    )
    band = Band(int(number), beats, first)
    rng = band.rng
    programs = {0: int(rng.choice(LEADS)), 1: int(rng.choice(BACKINGS)),
                2: int(rng.choice(PIANOS)), 3: int(rng.choice(BASSES))}  # fmt: skip
    for channel, name in enumerate(("MELODY", "BRIDGE", "PIANO")):
        band.notes += [(a, b, channel, pitch, v) for a, b, pitch, v in tracks.get(name, [])]
    if kind != 3:
        band.bass((labels / number / "finalized_chord.txt").read_text("utf-8"))
        band.drums(phrases, changing=kind != 1)
    midi_path = out / f"{number}.mid"
    write_midi(band.notes, programs, midi_path)
    samples = render_midi(midi_path, font)
    midi_path.unlink()
    shift = LEAD_S + measure_latency(font)

    def sections(marked: list[tuple[str, int]]) -> tuple[tuple[float, str], ...]:
        lines = [(first + 4 * bar, letter) for bar, letter in section_starts(marked)]
        return tuple((float(beats[b] + shift), a) for b, a in lines if b < len(beats))

    truth = Truth(
        beats_s=beats + shift,
        positions=(np.arange(len(beats)) - first) % 4 + 1,
        meter=4,
        sections=sections(phrases),
        notes={
            "source": "POP909 and its phrase labels",
            "licence": "MIT",
            "sections_by_another": [
                {"start_s": round(start_s, 5), "letter": letter}
                for start_s, letter in sections(by_another)
            ],
        },
    )
    save_song(out, number, samples, truth)
    return True


def main() -> None:
    """Convert the first songs that have labels."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("songs", type=Path, metavar="POP909")
    parser.add_argument("labels", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("--songs", dest="most", type=int, default=150, metavar="N")
    parser.add_argument("--numbers", nargs="+", type=int, help="these songs, not the first ones")
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    numbers = sorted(p.name for p in options.songs.iterdir() if p.is_dir())[: options.most]
    if options.numbers:
        numbers = [f"{number:03d}" for number in options.numbers]
    for index, number in enumerate(numbers):
        font = FONTS[index // 4 % len(FONTS)]
        done = convert(number, options.songs, options.labels, options.out, index % 4, font)
        print(number, "written" if done else "left out: labels and notes do not match")


if __name__ == "__main__":
    main()
