"""Pop songs with melody, chords and phrases by people, for bands of ours to play.

Notes and human timing: POP909, https://github.com/music-x-lab/POP909-Dataset (Z. Wang et al.,
"POP909: a pop-song dataset for music arrangement generation", ISMIR 2020; MIT).  Chords and
phrases: https://github.com/Dsqvival/hierarchical-structure-analysis (S. Dai, H. Zhang and
R. Dannenberg, "Automatic analysis and influence of hierarchical structure on melody, rhythm
and harmony in popular music", 2020; MIT).  All songs are in 4/4.

`HELD_OUT` and the songs that `tests/accuracy/popular.py` makes for measuring (the first 150,
and every 29th) are never trained on.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from phrasefit.training.collection import NOTE_TYPE, StoredPiece
from phrasefit.training.harmony import QUALITIES

HELD_OUT = frozenset(
    (48, 50, 60, 61, 64, 65, 72, 89, 97, 121, 148, 155, 186, 247, 255, 297, 316, 382, 430, 509,
     597, 634)
)  # fmt: skip
FIRST_NUMBER = 151  # those before teach and measure form
MEASURED_STEP, MEASURED_FIRST = 29, 16  # every 29th song measures
METER = 4
LEAST_MATCH = 0.85  # share of the melody that lies where the labels say
NEAR_BEATS = 0.2
PARTS = {"MELODY": ("voice", 54), "BRIDGE": ("lead", 48), "PIANO": ("chords", 0)}

Note = tuple[float, float, int, int]  # start [s], end [s], pitch, velocity


def read_popular(songs: Path, labels: Path) -> Iterator[StoredPiece]:
    """Read the songs whose melody and labels agree; those that measure or judge are left out."""
    for folder in sorted(path for path in songs.iterdir() if path.is_dir()):
        number = int(folder.name)
        measures = number % MEASURED_STEP == MEASURED_FIRST
        if number < FIRST_NUMBER or number in HELD_OUT or measures:
            continue
        piece = _read(folder, labels / folder.name)
        if piece is not None:
            yield piece


def _read(folder: Path, labels: Path) -> StoredPiece | None:
    """One song in beats, from its first labelled bar; None where labels and notes differ."""
    tracks = read_notes(folder / f"{folder.name}.mid")
    beats = np.loadtxt(folder / "beat_midi.txt")[:, 0]
    first = first_label_beat(
        tracks.get("MELODY", []), (labels / "melody.txt").read_text("utf-8"), beats
    )
    if first is None:
        return None
    phrases = phrases_of((labels / "human_label1.txt").read_text("utf-8"))
    n_bars = min(sum(n for _, n in phrases), (len(beats) - first) // METER)
    places = np.arange(len(beats)) - first
    rows = [
        (*np.interp((start, end), beats, places), pitch, velocity, number)
        for number, name in enumerate(PARTS)
        for start, end, pitch, velocity in tracks.get(name, [])
    ]
    inside = [(a, b - a, p, v, n) for a, b, p, v, n in rows if -NEAR_BEATS < a < METER * n_bars - 1]
    starts = np.cumsum([0, *(n for _, n in phrases)])[:-1]
    kept = [i for i, start in enumerate(starts) if start < n_bars]
    step_s = float(np.median(np.diff(beats)))
    return StoredPiece(
        name=f"popular/{folder.name}",
        notes=np.array([(max(a, 0.0), b, p, v, n) for a, b, p, v, n in inside], dtype=NOTE_TYPE),
        parts=tuple(PARTS.values()),
        beats_per_bar=(METER,) * n_bars,
        meter=METER,
        tempo_bpm=(54 / step_s, 66 / step_s),
        section_bars=tuple(int(starts[i]) for i in kept),
        letters="".join(phrases[i][0] for i in kept),
        phrase_bars=tuple(int(starts[i]) for i in kept),
        chords=_chords((labels / "finalized_chord.txt").read_text("utf-8"), METER * n_bars),
        tags=("popular",),
    )


def phrases_of(text: str) -> list[tuple[str, int]]:
    """Read ``i4A8B8`` as letters and bars."""
    return [(letter, int(bars)) for letter, bars in re.findall(r"([A-Za-z])(\d+)", text)]


def _chords(text: str, n_beats: int) -> tuple[tuple[float, int, str], ...]:
    """Chords such as ``Bb:min [1, 5, 10] 10 2`` as (start beat, root, quality)."""
    found: list[tuple[float, int, str]] = []
    beat = 0
    for line in text.splitlines():
        match = re.match(r"(\S+) \[(.*)\] (-?\d+) (\d+)", line)
        if match is None:
            continue
        tones = {int(tone) for tone in match[2].split(",") if tone.strip()}
        root, quality = _root_of(match[1]), ""
        if root is not None and beat < n_beats:
            intervals = {(tone - root) % 12 for tone in tones}
            quality = min(QUALITIES, key=lambda q: len(intervals ^ {t % 12 for t in QUALITIES[q]}))
            found.append((float(beat), root, quality))
        beat += int(match[4])
    return tuple(found)


def _root_of(name: str) -> int | None:
    """Pitch class of a chord's root; None where there is no chord."""
    letter = "C D EF G A B".find(name[0])
    if letter < 0 or name[0] == "N":
        return None
    return (letter + (name[1:2] == "#") - (name[1:2] == "b")) % 12


def read_notes(path: Path) -> dict[str, list[Note]]:
    """Notes (start, end, pitch, velocity) [s] of each named track of a MIDI file."""
    import mido

    song = mido.MidiFile(path)
    tempo_at = [(0, 500_000)]
    for track in song.tracks:
        tick = 0
        for message in track:
            tick += message.time
            if message.type == "set_tempo":
                tempo_at.append((tick, message.tempo))
    ticks, tempi = (np.array(column) for column in zip(*sorted(tempo_at), strict=True))
    seconds = np.append(0.0, np.cumsum(np.diff(ticks) * tempi[:-1] / 1e6 / song.ticks_per_beat))

    def at(tick: int) -> float:
        spot = int(np.searchsorted(ticks, tick, side="right")) - 1
        return float(seconds[spot] + (tick - ticks[spot]) * tempi[spot] / 1e6 / song.ticks_per_beat)

    tracks: dict[str, list[Note]] = {}
    for track in song.tracks:
        tick, open_notes, notes = 0, {}, []
        for message in track:
            tick += message.time
            if message.type == "note_on" and message.velocity:
                open_notes[message.note] = (at(tick), message.velocity)
            elif message.type in ("note_on", "note_off") and message.note in open_notes:
                start, velocity = open_notes.pop(message.note)
                notes.append((start, at(tick), message.note, velocity))
        tracks[track.name] = notes
    return tracks


def first_label_beat(melody: list[Note], label: str, beats: np.ndarray) -> int | None:
    """Find the beat on which the labels begin: where most melody notes agree."""
    events, sixteenth = [], 0
    for line in filter(str.strip, label.splitlines()):
        pitch, length = map(int, line.split())
        if pitch:
            events.append((sixteenth / 4, pitch))
        sixteenth += length
    if not events or not melody:
        return None
    written = np.array(events)
    starts = np.array([start for start, _, _, _ in melody])
    played = np.interp(starts, beats, np.arange(len(beats)))
    apart = 1000.0 * np.array([pitch for _, _, pitch, _ in melody])  # no two pitches are near
    keys = np.sort(played + apart)
    shares = {}
    for offset in range(-8, 40):
        wanted = written[:, 0] + offset + 1000.0 * written[:, 1]
        after = np.clip(np.searchsorted(keys, wanted), 1, len(keys) - 1)
        near = np.minimum(np.abs(keys[after] - wanted), np.abs(keys[after - 1] - wanted))
        shares[offset] = float(np.mean(near < NEAR_BEATS))
    best = max(shares, key=lambda offset: shares[offset])
    return best if shares[best] >= LEAST_MATCH and best >= 0 else None
