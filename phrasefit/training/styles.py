"""The table of rhythm styles: what drums, bass and accompaniment play in a bar.

The table itself is ``styles.txt``: one block a style, written by us from common
practice (no source).  A line is
``kind  pattern``; one character is one step, ``steps`` of them a beat, a pattern may
last one or two bars.

* ``d`` a drum variant: pairs ``VOICE=pattern``; ``X`` accent, ``x`` normal, ``o`` soft,
  ``g`` ghost, ``?`` now and then, ``.`` nothing.
* ``b`` bass: ``R`` root, ``F`` fifth, ``T`` third, ``S`` seventh or sixth, ``O`` octave,
  ``A`` approach to the next root, ``P`` root of the *next* chord (anticipation),
  ``W`` walking (any chord or scale tone), ``-`` hold, ``.`` rest.
* ``c`` chords: ``x`` hit, ``s`` short hit, ``b`` bass note of the chord, ``f`` its
  fifth below, ``P`` the *next*
  chord early, ``-`` hold, ``.`` rest.
* ``a`` arpeggio: digits are chord tones from below, ``-`` hold, ``.`` rest.

A beat is what a listener taps: compound meters (6/8, 12/8) count dotted beats of three
steps unless the dotted beat is slower than 50 bpm.
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib.resources import files

from phrasefit.errors import ParameterError

# Drum voices by letter -> General MIDI key.
DRUM_KEYS = {
    "K": 36, "S": 38, "R": 37, "H": 42, "O": 46, "P": 44, "D": 51, "B": 53, "C": 49,
    "T": 50, "M": 47, "L": 43, "Q": 39, "Y": 54, "Z": 70, "W": 56, "G": 73, "V": 75,
    "c": 63, "d": 64, "m": 62, "b": 60, "n": 61, "i": 65, "j": 66, "a": 67, "t": 81,
    "E": 40, "k": 35, "z": 82, "h": 77, "l": 76,
}  # fmt: skip

# GM programs (from 0) that suit a role, by word used in the style table.
PROGRAMS: dict[str, tuple[int, ...]] = {
    "ebass": (33, 34, 33, 34, 35),
    "slap": (36, 37, 33),
    "upright": (32, 32, 35),
    "synbass": (38, 39, 87, 81),
    "tuba": (58, 32, 43),
    "piano": (0, 1, 2, 0, 3),
    "epiano": (4, 5, 2),
    "clav": (7, 6, 4),
    "organ": (16, 17, 18, 19),
    "nylon": (24, 24, 25),
    "steel": (25, 25, 24, 15),
    "clean": (27, 26, 28),
    "dist": (29, 30, 30),
    "strings": (48, 49, 50, 51, 44),
    "pizz": (45, 46),
    "choir": (52, 53, 54, 91),
    "brass": (61, 62, 63, 56, 57),
    "horns": (60, 61, 58),
    "reeds": (65, 66, 64, 67, 71),
    "winds": (73, 68, 71, 72, 74, 75),
    "mallets": (11, 12, 13, 8, 9, 10, 108, 114),
    "accordion": (21, 23, 22),
    "fiddle": (40, 40, 110, 41),
    "banjo": (105, 25, 106, 107),
    "synth": (80, 81, 84, 87, 82, 83, 86),
    "pad": (88, 89, 90, 91, 92, 93, 94, 95, 50),
    "harp": (46, 24, 104, 6),
    "trumpet": (56, 59, 56, 57),
    "sax": (65, 66, 64),
    "harmonica": (22, 21, 71),
    "steelpan": (114, 12, 11),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Style:
    """One rhythm style as read from the table.

    `meter` beats a bar, `steps` a beat, `tempo_bpm` and `swing` ranges; `swing_unit`
    [beats] is the pair that swings; each pattern tuple holds the variants to choose from.
    """

    name: str
    meter: int
    steps: int
    tempo_bpm: tuple[float, float]
    swing: tuple[float, float]
    swing_unit: float
    harmony: str
    chord_bars: tuple[float, ...]
    looseness: tuple[float, float]
    instruments: dict[str, tuple[str, ...]]
    drums: tuple[dict[str, str], ...]
    bass: tuple[str, ...]
    chords: tuple[str, ...]
    arpeggios: tuple[str, ...]
    weight: float


def _range(text: str) -> tuple[float, float]:
    low, high = text.split("-")
    return float(low), float(high)


def _parse_block(block: str) -> Style:
    """Read one style from its lines."""
    head, *lines = [line for line in block.strip().splitlines() if line.strip()]
    name, _, rest = head.partition("]")
    options = dict(pair.split("=") for pair in rest.split())
    rows: dict[str, list[str]] = {"i": [], "d": [], "b": [], "c": [], "a": []}
    for line in lines:
        kind, _, pattern = line.partition(" ")
        if kind not in rows:
            raise ParameterError(f"style {name}: unknown line {line!r}; use i, d, b, c or a")
        rows[kind].append(pattern.strip())
    pairs = [pair.split("=") for row in rows["i"] for pair in row.split()]
    return Style(
        name=name,
        meter=int(options["meter"]),
        steps=int(options["steps"]),
        tempo_bpm=_range(options["tempo"]),
        swing=_range(options.get("swing", "0.5-0.5")),
        swing_unit=float(options.get("unit", 1.0)),
        harmony=options["harmony"],
        chord_bars=tuple(float(x) for x in options["chords"].split(",")),
        looseness=_range(options["loose"]),
        instruments={role: tuple(words.split(",")) for role, words in pairs},
        drums=tuple(
            dict(pair.split("=") for pair in row.split()) if row != "-" else {} for row in rows["d"]
        ),
        bass=tuple(row.replace(" ", "") for row in rows["b"]),
        chords=tuple(rows["c"]),
        arpeggios=tuple(rows["a"]),
        weight=float(options["weight"]),
    )


def parse_styles(text: str) -> dict[str, Style]:
    """Read a table of styles.

    Raises
    ------
    ParameterError
        If a line has an unknown kind.
    """
    blocks = [block for block in ("\n" + text).split("\n[") if block.strip()]
    styles = [_parse_block(block.lstrip("[\n")) for block in blocks]
    return {style.name: style for style in styles}


STYLES = parse_styles(
    files("phrasefit.training").joinpath("styles.txt").read_text(encoding="utf-8")
)

# Rhythm styles no training song uses: what the network does with them is new to it.
HELD_OUT_STYLES = frozenset({"ska", "bachata", "schottische"})
