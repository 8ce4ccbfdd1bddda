"""Tunes that go round: old ones and our own, as one time through with its chords.

Our own are built as folk songs are: phrases of four bars that return, long notes on the
ones, steps between the tones of the chord, a rest or a pickup before the next phrase, home
at the end (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from phrasefit.demo.harmony import MAJOR_SCALE, MINOR_SCALE
from phrasefit.training.band import held
from phrasefit.training.borrowed import (
    draw_stored,
    guess_key,
    harmonise,
    has_pickup,
    is_triplet,
)
from phrasefit.training.collection import StoredPiece
from phrasefit.training.form import Form
from phrasefit.training.harmony import (
    Chord,
    ChordTrack,
    choose_progression,
    lay_chords,
)
from phrasefit.training.score import NoteList, Part
from phrasefit.training.styles import Style

PHRASE_BARS = 4
COMPOUND = ("6/8", "12/8", "9/8", "6/4")
MAX_DRAWS = 30  # old tunes looked at until one fits

# Rhythms of a bar by (meter, steps a beat), and of the last bar of a phrase.
CELLS: dict[tuple[int, int], tuple[str, ...]] = {
    (4, 2): ("x---x---", "x-x-x---", "x---x-x-", "x-----x-", "x--xx-x-", "x-x-x-x-", "x-xxx-x-",
             "xxx-x-x-", "x--xx---", "xxxxx-x-", "x---xxx-", "x-xxx---", "x-----xx", "xxxxxxxx"),
    (2, 4): ("x-x-x-x-", "x---x-x-", "x-x-x---", "x--xx-x-", "xxx-x-x-", "x-xxx-xx", "x---x---",
             "xxxxx-x-", "x--xx---"),
    (3, 2): ("x---x-", "x-x-x-", "x-----", "x--xx-", "x-xxx-", "xxx-x-", "x---xx", "x-x-xx"),
    (2, 3): ("x-xx-x", "xxxx-x", "xxxxxx", "x-xx--", "x--x-x", "x-xxxx", "x--x--"),
    (4, 3): ("x-xx-xx-xx--", "x-xx-xx--x--", "x--x-xx-xx-x", "x--x--x-xx--", "x-----x--x-x",
             "xxxxxxx-xx--", "x--x--x--x--"),
}  # fmt: skip
CADENCES: dict[tuple[int, int], tuple[str, ...]] = {
    (4, 2): ("x-------", "x-------", "x---x---", "x-----..", "x-x-x---", "x---...."),
    (2, 4): ("x---x---", "x-------", "x---x...", "x-x-x---"),
    (3, 2): ("x-----", "x-----", "x---..", "x-x---"),
    (2, 3): ("x-----", "x--x--", "x-xx--", "x--x.."),
    (4, 3): ("x-----------", "x-----x-----", "x-xx-xx-----"),
}  # fmt: skip
# Notes before the one of a phrase [beats], straight and compound; none comes by itself.
PICKUPS = ((-1.0,), (-1.0,), (-0.5,), (-1.0, -0.5), (-1.5, -1.0, -0.5), (-2.0, -1.0))
COMPOUND_PICKUPS = ((-1 / 3,), (-1 / 3,), (-2 / 3, -1 / 3), (-1.0,))
# Chords of four bars: phrases that stay open, phrases that come home.
OPEN = ("0: 0: 5: 7:", "0: 5: 0: 7:", "0: 0: 7: 7:", "0: 9:m 5: 7:", "0: 0: 0: 7:",
        "5: 0: 2:7 7:7", "0: 7: 0: 7:")  # fmt: skip
CLOSED = ("0: 5: 7: 0:", "5: 0: 7: 0:", "0: 0: 7:7 0:", "7: 7: 0: 0:", "5: 5: 7:7 0:",
          "0: 7: 7: 0:", "2:m 7: 0: 0:", "0: 0: 0: 0:")  # fmt: skip
MINOR_OPEN = ("0:m 0:m 5:m 7:", "0:m 10: 0:m 7:", "0:m 10: 8: 7:", "3: 10: 0:m 7:",
              "0:m 0:m 10: 10:")  # fmt: skip
MINOR_CLOSED = ("0:m 5:m 7: 0:m", "3: 10: 7: 0:m", "0:m 10: 0:m 0:m", "5:m 0:m 7:7 0:m")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Round:
    """One time through a tune, beat 0 being its first one; pickups lie before it.

    `part` holds the notes, `chords` cover `n_bars` bars of `meter` beats each.
    """

    part: Part
    chords: tuple[Chord, ...]
    n_bars: int
    meter: int
    key: int
    minor: bool
    source: str

    @property
    def pickup_beats(self) -> float:
        """How long before the first one the tune starts [beats]."""
        return max(0.0, -float(self.part.onsets[0]))


# ------------------------------------------------------------ old tunes


def old_round(rng: np.random.Generator, style: Style) -> Round | None:
    """Draw an old tune in the style's meter whose bars are all whole, or None."""
    for _ in range(MAX_DRAWS):
        found = draw_stored(rng, "tunes")
        if found is None:
            return None
        thirds = found.tags[1] in COMPOUND or is_triplet(found)
        notes = _regular(found) if found.meter == style.meter else None
        if notes is None or thirds != (style.steps == 3):
            continue
        part, n_bars = notes
        part = replace(part, pitches=part.pitches + int(rng.integers(-5, 6)))
        key, minor = guess_key(part)
        slow = 2 if n_bars % 2 == 0 and rng.random() < 0.3 else 1
        bars = Form(beats_per_bar=[found.meter * slow] * (n_bars // slow))
        primary = bool(rng.random() < 0.7)
        track = harmonise(rng, part, bars, key, minor, primary=primary, held=0.15, halved=0.1)
        return Round(
            part=part, chords=tuple(track.chords), n_bars=n_bars, meter=found.meter, key=key,
            minor=minor, source=f"tunes/{found.tags[0]}",
        )  # fmt: skip
    return None


def _regular(piece: StoredPiece) -> tuple[Part, int] | None:
    """Notes counted from the first one and the number of whole bars; None if bars are odd.

    A stored pickup fills the end of a bar of its own; it belongs before the first one, and
    the last bar, which lacks it, is made whole.
    """
    part, bars = piece.score_parts()[0], list(piece.beats_per_bar)
    if has_pickup(piece):
        part = replace(part, onsets=part.onsets - bars[0])
        bars = bars[1:]
    if len(bars) < 8 or len(bars) % PHRASE_BARS or any(b != piece.meter for b in bars[:-1]):
        return None
    return (part, len(bars)) if bars[-1] <= piece.meter else None


# ------------------------------------------------------------ our own


def own_round(rng: np.random.Generator, style: Style) -> Round:
    """Compose a tune of two or four phrases and its chords."""
    meter, steps = style.meter, _tune_steps(style)
    key, minor = int(rng.integers(12)), bool(rng.random() < 0.3)
    plan = str(rng.choice(["ab", "aaba", "aabb", "abab", "abac", "aabc", "abcb"]))
    n_bars = PHRASE_BARS * len(plan)
    chords = _chords(rng, style, plan, key, minor)
    writer = _Writer(rng, ChordTrack(chords), key, minor, meter, steps)
    notes = NoteList()
    known: dict[str, int] = {}
    for number, letter in enumerate(plan):
        seed = known.setdefault(letter, int(rng.integers(2**31)))
        first = number * PHRASE_BARS * meter
        for row in writer.phrase(seed, first, last=number == len(plan) - 1):
            notes.add(*row)
    part = _with_pickups(rng, notes.part("lead"), writer, n_bars)
    return Round(
        part=part, chords=tuple(chords), n_bars=n_bars, meter=meter, key=key, minor=minor,
        source="own",
    )  # fmt: skip


def _tune_steps(style: Style) -> int:
    return 3 if style.steps == 3 else 4 if style.meter == 2 else 2


def _chords(
    rng: np.random.Generator, style: Style, plan: str, key: int, minor: bool
) -> list[Chord]:
    """Chords of a bar or two: phrases open and close, now and then a loop of the style."""
    starts = np.arange(PHRASE_BARS * len(plan) + 1.0) * style.meter
    if rng.random() < 0.2 and not minor:
        loop = choose_progression(rng, style.harmony)
        return lay_chords(loop, starts, 1.0, key, stretch_to=2 * PHRASE_BARS)
    opening, closing = (MINOR_OPEN, MINOR_CLOSED) if minor else (OPEN, CLOSED)
    known: dict[str, str] = {}
    words: list[str] = []
    for number, letter in enumerate(plan):
        if letter not in known:
            known[letter] = str(rng.choice(opening if rng.random() < 0.5 else closing))
        last = number == len(plan) - 1
        words += (str(rng.choice(closing)) if last else known[letter]).split()
    loop = [(int(word.split(":")[0]), word.split(":")[1]) for word in words]
    return lay_chords(loop, starts, 1.0, key)


class _Writer:
    """Writes phrases over chords: few rhythms a tune, pitches by step."""

    def __init__(
        self, rng: np.random.Generator, chords: ChordTrack, key: int, minor: bool, meter: int,
        steps: int,
    ) -> None:  # fmt: skip
        self.chords, self.key, self.meter, self.steps = chords, key, meter, steps
        scale = MINOR_SCALE if minor else MAJOR_SCALE
        self.ladder = np.array([p for p in range(36, 100) if (p - key) % 12 in scale])
        self.center = float(rng.uniform(62, 78))
        pool = CELLS[meter, steps]
        self.cells = [pool[i] for i in rng.integers(len(pool), size=4)]
        self.cadence = str(rng.choice(CADENCES[meter, steps]))
        self.faithful = float(rng.choice([0.7, 0.9, 1.0]))  # chord tones on the ones

    def phrase(self, seed: int, first: int, *, last: bool) -> list[tuple[float, ...]]:
        """Notes of one phrase; the same seed gives the same rhythm and contour."""
        rng = np.random.default_rng(seed)
        pitch = self.center + float(rng.integers(-4, 5))
        rows = []
        for bar in range(PHRASE_BARS):
            ends = bar == PHRASE_BARS - 1
            cell = self.cadence if ends else self.cells[rng.integers(len(self.cells))]
            for step, mark in enumerate(cell):
                if mark != "x":
                    continue
                beat = first + bar * self.meter + step / self.steps
                length = held(cell, step) / self.steps
                pitch = self._next(rng, pitch, beat, step)
                if ends and last and "x" not in cell[step + 1 :]:
                    pitch = self._home(pitch)
                rows.append((beat, length * float(rng.uniform(0.75, 1.0)), pitch, 0.72))
        return rows

    def _next(self, rng: np.random.Generator, pitch: float, beat: float, step: int) -> float:
        """Move by step, seldom by leap; strong places take a tone of the chord."""
        move = int(rng.choice([-2, -1, -1, 0, 1, 1, 2, rng.choice([-4, 3, 4])]))
        drift = (self.center - pitch) / 12
        move += int(rng.random() < abs(drift)) * int(np.sign(drift))
        spot = int(np.clip(np.searchsorted(self.ladder, pitch) + move, 0, self.ladder.size - 1))
        target = float(self.ladder[spot])
        on_one, on_beat = step == 0, step % self.steps == 0
        if rng.random() < (self.faithful if on_one else 0.5 if on_beat else 0.15):
            chord = self.chords.at(beat)
            tones = {(chord.root + tone) % 12 for tone in chord.tones[:3]}
            near = (target + offset for offset in (0, 1, -1, 2, -2, 3, -3, 4))
            return next(pitch for pitch in near if pitch % 12 in tones)
        return target

    def _home(self, pitch: float) -> float:
        return pitch + float((self.key - pitch + 6) % 12 - 6)


def _with_pickups(rng: np.random.Generator, part: Part, writer: _Writer, n_bars: int) -> Part:
    """Let phrases begin before their one, and the notes that stand there make way."""
    if rng.random() < 0.25:
        return part
    choices = COMPOUND_PICKUPS if writer.steps == 3 else PICKUPS
    pickup = [at for at in choices[rng.integers(len(choices))] if -at <= writer.meter - 1]
    every = int(rng.choice([1, 1, 2])) * PHRASE_BARS * writer.meter
    if not pickup:
        return part
    onsets, lengths = part.onsets, part.lengths
    rows = []
    for first in range(0, n_bars * writer.meter, every):
        goal = part.pitches[np.searchsorted(part.onsets, first - 1e-6)]
        for number, at in enumerate(pickup):
            below = len(pickup) - number
            spot = int(np.searchsorted(writer.ladder, goal))
            pitch = writer.ladder[max(0, spot - below)] if rng.random() < 0.6 else (
                writer._home(goal) - 5)  # fmt: skip
            length = (pickup[number + 1] if number + 1 < len(pickup) else 0.0) - at
            rows.append((first + at, 0.9 * length, float(pitch), 0.66))
    # The last bar of the round leaves room too: the pickup of the next time falls into it.
    borders = np.arange(every, n_bars * writer.meter + 1, every)
    border = borders[np.clip(np.searchsorted(borders, onsets + 1e-6), 0, borders.size - 1)]
    keep = onsets < border + pickup[0] - 1e-6
    lengths = np.minimum(lengths, np.maximum(border + pickup[0] - onsets, 0.1))
    notes = NoteList()
    kept = (part.onsets, lengths, part.pitches, part.velocities)
    for row in [*zip(*(values[keep] for values in kept), strict=True), *rows]:
        notes.add(*map(float, row))
    return notes.part("lead")
