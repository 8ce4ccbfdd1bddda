"""Folk songs of music21's corpus, given drums, bass and chords by us.

Twenty songs of Erk's collection of German folk songs (19th century, public domain; the
Essen encodings are read where music21 is installed, for measuring only: the training
uses none of them), chosen by a seeded draw among those whose measures add up to whole
eights of bars.  A song goes round until `LENGTH_S`; drums, where there are any, come
in with the first, second or third round.  Beats are quarter notes; in 6/8 they are
dotted quarters, two a bar.  Chords are the one of I, IV, V (minor: i, iv, v) that holds
most of the bar's melody.
"""

from __future__ import annotations

import tempfile
import warnings
from dataclasses import dataclass
from pathlib import Path

import mido
import numpy as np
from render import DRUM_CHANNEL, LEAD_S, Truth, measure_latency, render_midi, save_song

COLLECTIONS = ("essenFolksong/erk10.abc",)
WANTED = {"4/4": 7, "2/4": 4, "3/4": 5, "6/8": 4}
SAME_AS = {"2/2": "4/4"}
LENGTH_S = 80.0
SEED = 20261125
TICKS = 480
# By meter: quarter notes a bar, a beat, beats a bar, slowest and fastest tempo (beats a minute).
METERS = {
    "4/4": (4.0, 1.0, 4, 96, 200),
    "2/4": (2.0, 1.0, 2, 84, 126),
    "3/4": (3.0, 1.0, 3, 84, 180),
    "6/8": (3.0, 1.5, 2, 84, 124),
}
KICK, SNARE, STICK, HAT, RIDE = 36, 38, 37, 42, 51
# Drum patterns by meter: (quarter notes from the bar line, drum); several to draw from.
DRUMS = {
    "4/4": (
        [(0, KICK), (2, KICK), (1, SNARE), (3, SNARE), *[(i / 2, HAT) for i in range(8)]],
        [(0, KICK), (2.5, KICK), (1, SNARE), (3, SNARE), *[(i, RIDE) for i in range(4)]],
        [(0, KICK), (2, KICK), *[(i + 0.5, STICK) for i in range(4)]],
    ),
    "2/4": (
        [(0, KICK), (1, SNARE), *[(i / 2, HAT) for i in range(4)]],
        [(0, KICK), (0.5, STICK), (1, KICK), (1.5, STICK)],
    ),
    "3/4": (
        [(0, KICK), (1, HAT), (2, HAT)],
        [(0, KICK), (1, SNARE), (2, SNARE), *[(i / 2, HAT) for i in range(6)]],
    ),
    "6/8": (
        [(0, KICK), (1.5, SNARE), *[(i / 2, HAT) for i in range(6)]],
        [(0, KICK), (1, STICK), (1.5, KICK), (2.5, STICK)],
    ),
}
LEADS = (22, 23, 40, 73, 24, 0, 105, 65)  # accordion, harmonica, fiddle, flute, guitar, …
BACKING = (24, 25, 0, 21, 26)
BASSES = (32, 33, 34)


@dataclass(frozen=True)
class Tune:
    """A melody that goes round: notes (onset, length, pitch) in quarter notes from a bar line.

    Onsets of the pickup are negative.  `tonic` is a pitch class.
    """

    name: str
    meter: str
    n_bars: int
    notes: tuple[tuple[float, float, int], ...]
    tonic: int
    minor: bool


def read_tune(score, collection: str) -> Tune | None:
    """Take a tune if its meter is wanted and its measures make whole eights of bars."""
    from music21 import key, meter

    signatures = {s.ratioString for s in score.recurse().getElementsByClass(meter.TimeSignature)}
    if len(signatures) != 1 or len(score.parts) != 1:
        return None
    name = signatures.pop()
    name = SAME_AS.get(name, name)
    measures = list(score.parts[0].getElementsByClass("Measure"))
    if name not in METERS or len(measures) < 16:
        return None
    bar = METERS[name][0]
    lengths = np.array([float(m.duration.quarterLength) for m in measures])
    starts = np.concatenate([[0.0], np.cumsum(lengths)])
    pickup = lengths[0] % bar
    n_bars = starts[-1] / bar
    full = starts[:-1][lengths == bar]
    on_grid = np.abs((full - pickup + 0.01) % bar - 0.01) < 0.02
    if n_bars % 8 or not 16 <= n_bars <= 48 or lengths.max() > bar or not on_grid.all():
        return None
    notes = [
        (start + float(n.offset) - pickup, float(n.duration.quarterLength), n.pitch.midi)
        for start, measure in zip(starts, measures, strict=False)
        for n in measure.recurse().getElementsByClass("Note")
        if n.duration.quarterLength > 0
    ]
    keys = list(score.recurse().getElementsByClass(key.KeySignature))
    tonic = (keys[0].asKey() if keys else key.Key("C")).tonic.pitchClass
    minor = bool(keys) and getattr(keys[0], "mode", "major") == "minor"
    title = "".join(c if c.isalnum() else "_" for c in (score.metadata.title or "tune").lower())
    label = f"{collection.split('/')[0]}-{title.strip('_')[:40]}"
    return Tune(label, name, int(n_bars), tuple(notes), tonic, minor)


def draw_tunes() -> list[Tune]:
    """The seeded draw of `WANTED` from `COLLECTIONS`."""
    from music21 import corpus

    found: dict[str, dict[str, Tune]] = {name: {} for name in WANTED}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for collection in COLLECTIONS:
            for score in corpus.parse(collection).scores:
                tune = read_tune(score, collection)
                if tune is not None:
                    found[tune.meter].setdefault(tune.name, tune)
    rng = np.random.default_rng(SEED)
    chosen = []
    for name, n_wanted in WANTED.items():
        names = sorted(found[name])
        chosen += [found[name][names[i]] for i in rng.permutation(len(names))[:n_wanted]]
    return chosen


def chord_of_bar(tune: Tune, bar: int) -> list[int]:
    """Pitch classes of the primary triad that holds most of the melody in a bar."""
    start, length = bar * METERS[tune.meter][0], METERS[tune.meter][0]
    weight = np.zeros(12)
    for onset, duration, pitch in tune.notes:
        if start - 1e-6 <= onset < start + length - 1e-6:
            weight[pitch % 12] += duration * (1.5 if onset - start < 1e-6 else 1.0)
    third = 3 if tune.minor else 4
    triads = [[(tune.tonic + root + step) % 12 for step in (0, third, 7)] for root in (0, 7, 5)]
    return max(triads, key=lambda triad: weight[triad].sum())


class Writer:
    """Collects notes in quarter notes and writes a MIDI file with slight human spread."""

    def __init__(self, rng: np.random.Generator, bpm_quarter: float, spread_s: float) -> None:
        self._rng, self._spread = rng, spread_s * bpm_quarter / 60
        self._bpm = bpm_quarter
        self._events: list[tuple[int, int, mido.Message]] = []

    def program(self, channel: int, number: int) -> None:
        """Choose the instrument of a channel."""
        message = mido.Message("program_change", channel=channel, program=number)
        self._events.append((0, 0, message))

    def note(self, onset: float, length: float, channel: int, pitch: int, velocity: int) -> None:
        """Add a note; its onset moves by up to `spread_s` (normal, clipped at twice)."""
        shift = float(np.clip(self._rng.normal(0, 1), -2, 2)) * self._spread
        start = max(0, round((onset + shift) * TICKS))
        loud = int(np.clip(velocity + self._rng.normal(0, 6), 20, 127))
        on = mido.Message("note_on", channel=channel, note=int(pitch), velocity=loud)
        off = mido.Message("note_off", channel=channel, note=int(pitch))
        self._events += [(start, 2, on), (start + max(30, round(length * TICKS)) - 2, 1, off)]

    def save(self, path: Path) -> None:
        """Write a one-track file."""
        track = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=round(60e6 / self._bpm))])
        last = 0
        for tick, _, message in sorted(self._events, key=lambda event: event[:2]):
            track.append(message.copy(time=tick - last))
            last = tick
        mido.MidiFile(ticks_per_beat=TICKS, tracks=[track]).save(path)


def arrange(tune: Tune, rng: np.random.Generator, path: Path) -> Truth:
    """Write the arrangement as a MIDI file; the truth counts from its first tick."""
    bar, beat, beats_a_bar, slow, fast = METERS[tune.meter]
    bpm = float(rng.uniform(slow, fast))
    pickup = -min(0.0, min(onset for onset, _, _ in tune.notes))
    n_rounds = int(np.ceil(LENGTH_S / (tune.n_bars * beats_a_bar * 60 / bpm)))
    writer = Writer(rng, bpm * beat, spread_s=float(rng.uniform(0, 0.008)))
    for channel, programs in ((0, LEADS), (1, BACKING), (2, BASSES)):
        writer.program(channel, int(rng.choice(programs)))
    drums = DRUMS[tune.meter][rng.integers(len(DRUMS[tune.meter]))]
    drums_from = int(rng.integers(0, 3)) if rng.random() < 0.8 else n_rounds
    for lap in range(n_rounds):
        at = pickup + lap * tune.n_bars * bar
        for onset, length, pitch in tune.notes:
            writer.note(at + onset, length * 0.92, 0, pitch, 96)
        for number in range(tune.n_bars):
            start = at + number * bar
            accompany(writer, chord_of_bar(tune, number), start, tune.meter)
            for offset, drum in drums if lap >= drums_from else ():
                writer.note(start + offset, 0.1, DRUM_CHANNEL, drum, 100 if offset == 0 else 84)
    writer.save(path)
    n_beats = n_rounds * tune.n_bars * beats_a_bar
    beats_s = (pickup / beat + np.arange(n_beats)) * 60 / bpm
    notes = {"source": f"music21 corpus {tune.name.split('-')[0]}", "licence": "public domain"}
    notes["drums_from_round"] = drums_from
    return Truth(beats_s, 1 + np.arange(n_beats) % beats_a_bar, beats_a_bar, notes=notes)


def accompany(writer: Writer, chord: list[int], start: float, meter: str) -> None:
    """Bass on the strong places of the bar, chords on the weak ones."""
    bass, strums = {
        "4/4": ((0, 2), (1, 3)),
        "2/4": ((0,), (0.5, 1, 1.5)),
        "3/4": ((0,), (1, 2)),
        "6/8": ((0, 1.5), (1, 2.5)),
    }[meter]
    for i, offset in enumerate(bass):
        writer.note(start + offset, 0.8, 2, 36 + chord[0] - (5 if i else 0), 92)
    for offset in strums:
        for pitch_class in chord:
            writer.note(start + offset, 0.4, 1, 52 + (pitch_class - 52) % 12, 66)


def render_tunes(out: Path) -> None:
    """Arrange and render all tunes, the two soundfonts in turn."""
    soundfonts = ("fluidr3", "timgm6mb")
    for i, tune in enumerate(draw_tunes()):
        print(f"{tune.name:50s} {tune.meter} {tune.n_bars} bars", flush=True)
        if (out / "music21" / f"{tune.name}.json").exists():
            continue
        soundfont = soundfonts[i % 2]
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "tune.mid"
            made = arrange(tune, np.random.default_rng([SEED, i]), path)
            samples = render_midi(path, soundfont)
        beats_s = made.beats_s + LEAD_S + measure_latency(soundfont)
        truth = Truth(beats_s, made.positions, made.meter, notes=made.notes)
        save_song(out / "music21", tune.name, samples, truth)
