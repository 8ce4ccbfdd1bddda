"""The form of a training song: sections, phrases, odd bars, who plays where, events."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from phrasefit.training.score import SectionPlan

# Orders of sections: i intro, A verse, P before the chorus, B chorus, C other, o outro.
PLANS = (
    "i A B A B C B o", "i A A B A B o", "A B A B", "i A B A B", "A A B A", "i A A A A o",
    "i B A B A C B", "A P B A P B", "i A C A C o", "A B i A B C B", "A B C A",
)  # fmt: skip
ENERGY = {"i": 0.4, "A": 0.5, "P": 0.65, "B": 0.9, "C": 0.5, "o": 0.45}


@dataclass(slots=True)
class Form:
    """The bars of a song and what happens in them, while it is being composed.

    One entry a bar in `beats_per_bar`, `layers` (who plays) and `energy` (0-1);
    `fill_bars` end with a fill, `stop_bars` stop after their first beat, `half_bars`
    have drums at half speed; `silent` are (first, last + 1) beats without audible pulse.
    """

    beats_per_bar: list[int] = field(default_factory=list)
    sections: list[SectionPlan] = field(default_factory=list)
    phrase_bars: list[int] = field(default_factory=list)
    layers: list[frozenset[str]] = field(default_factory=list)
    energy: list[float] = field(default_factory=list)
    fill_bars: set[int] = field(default_factory=set)
    stop_bars: set[int] = field(default_factory=set)
    half_bars: set[int] = field(default_factory=set)
    silent: list[tuple[int, int]] = field(default_factory=list)

    @property
    def bar_starts(self) -> np.ndarray:
        """First beat of each bar, and the end [shape=(n_bars + 1,)]."""
        return np.concatenate([[0], np.cumsum(self.beats_per_bar)]).astype(float)

    def places(self) -> list[tuple[int, str]]:
        """Say for each bar its number within its section and the section's letter."""
        return [(bar, section.letter) for section in self.sections for bar in range(section.n_bars)]

    def add_section(
        self, letter: str, lengths: list[int], layers: frozenset[str], energy: float, unit: int
    ) -> None:
        """Append a section of bars of `lengths` beats with a phrase every `unit` bars."""
        first = len(self.beats_per_bar)
        self.sections.append(SectionPlan(first_bar=first, n_bars=len(lengths), letter=letter))
        self.phrase_bars += list(range(first, first + len(lengths), unit))
        self.beats_per_bar += lengths
        self.layers += [layers] * len(lengths)
        self.energy += [energy] * len(lengths)


def draw_form(rng: np.random.Generator, meter: int, bars_wanted: int) -> Form:
    """Draw sections, phrases, odd bars and events for about `bars_wanted` bars."""
    cast = Cast(rng)
    unit = int(rng.choice([4, 4, 4, 4, 8, 8, 8, 6, 3, 2]))
    odd = rng.random() < 0.16
    form = Form()
    n_bars_of: dict[str, int] = {}
    for letter in str(rng.choice(PLANS)).split():
        sizes = [1, 1, 2] if letter in "iPo" else [1, 2, 2, 2]
        n_bars = n_bars_of.setdefault(letter, unit * int(rng.choice(sizes)))
        lengths = [meter] * n_bars
        if odd and rng.random() < 0.4:
            lengths = _odd_bars(rng, lengths, meter)
        form.add_section(letter, lengths, *cast.choose(letter), unit)
        if len(form.beats_per_bar) >= bars_wanted:
            break
    place_events(rng, form)
    return form


class Cast:
    """Decides once a song who plays in the sections of each letter."""

    def __init__(self, rng: np.random.Generator) -> None:
        self._rng = rng
        self._drums_from = str(rng.choice(["A", "A", "A", "A", "A", "A", "B", "C"]))
        self._has_tune = rng.random() < 0.85
        self._sparse = float(rng.choice([0.05, 0.25]))
        self._known: dict[str, tuple[frozenset[str], float]] = {}

    def choose(self, letter: str) -> tuple[frozenset[str], float]:
        """Return the players of a section and its energy."""
        if letter not in self._known:
            self._known[letter] = self._draw(letter)
        return self._known[letter]

    def _draw(self, letter: str) -> tuple[frozenset[str], float]:
        rng = self._rng
        energy = float(np.clip(ENERGY.get(letter, 0.6) + rng.normal(0, 0.12), 0.15, 1.0))
        players = {"chords"}
        at_edge = letter in "io"
        if (at_edge and self._drums_from == "A" and rng.random() < 0.6) or (
            not at_edge and ("A" if letter == "P" else letter) >= self._drums_from
        ):
            players.add("drums")
        for player, chance in (("bass", 0.9), ("pad", 0.35 * energy + 0.1), ("arpeggio", 0.4),
                               ("percussion", 0.3 * energy + 0.05)):  # fmt: skip
            if rng.random() < chance:
                players.add(player)
        if not at_edge and self._has_tune:
            players.add("tune")
        elif rng.random() < 0.5:
            players.add("hook")
        if rng.random() < self._sparse:
            players -= {str(rng.choice(["bass", "drums", "chords", "pad"]))}
        return frozenset(players or {"chords"}), energy


def _odd_bars(rng: np.random.Generator, lengths: list[int], meter: int) -> list[int]:
    """Add or drop bars or beats at the end of a section, as real songs do."""
    kind = rng.choice(["short", "short", "added", "dropped", "long"])
    if kind == "short" and meter > 2:
        spot = int(rng.choice([len(lengths) - 1, len(lengths) // 2]))
        return [*lengths[:spot], max(2, meter // 2), *lengths[spot:]]
    if kind == "dropped" and len(lengths) > 3:
        return lengths[:-1]
    if kind == "long" and meter == 4:
        return [*lengths[:-1], 6]
    return [*lengths, *[meter] * int(rng.choice([1, 2]))]


def place_events(rng: np.random.Generator, form: Form) -> None:
    """Choose bars with fills, stops, breaks and half-speed drums."""
    n_bars = len(form.beats_per_bar)
    fill_chance = float(rng.choice([0.0, 0.3, 0.6, 0.9]))
    starts = {section.first_bar for section in form.sections}
    for bar in range(1, n_bars):
        if bar in form.phrase_bars and rng.random() < fill_chance * (1 if bar in starts else 0.5):
            form.fill_bars.add(bar - 1)
        if bar in starts and rng.random() < 0.12:
            form.stop_bars.add(bar - 1)
    for bar in range(4, n_bars - 1):
        if rng.random() < 0.01:
            for broken in range(bar, min(bar + int(rng.choice([1, 1, 2, 4])), n_bars)):
                form.layers[broken] = form.layers[broken] - {"drums", "percussion"}
    if rng.random() < 0.06:
        letter = str(rng.choice(["A", "C", "B"]))
        form.half_bars = {
            bar for s in form.sections if s.letter == letter
            for bar in range(s.first_bar, s.first_bar + s.n_bars)
        }  # fmt: skip
