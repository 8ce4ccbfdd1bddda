"""What a style is: rhythms, progressions and line-ups, all as data.

Drum grooves and lines are patterns (see `patterns`).  The letters of the other parts:
bass ``R 3 5 6 7 8`` = degree of the chord, ``A`` = a step to the next chord's root;
comping ``X x`` = chord (guitar: down stroke), ``u`` = up stroke, ``b`` ``B`` = root or
fifth alone, digits = one note of the chord, counted from the lowest.
The rhythms are common practice of the styles, written here from memory.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

Groove = Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Comp:
    """One accompanying part.

    `kind` is ``strum`` (guitar strings one after another), ``block`` (all at once),
    ``pick`` (single notes) or ``hold`` (each chord held; `patterns` unused).  It plays
    in sections of at least `from_energy`; `when_sparse` also where the drums rest.
    """

    instruments: tuple[str, ...]
    kind: str
    patterns: tuple[str, ...] = ()
    from_energy: float = 0.0
    center: int = 60
    pan: float = 0.0
    level_db: float = 0.0
    when_sparse: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Style:
    """A way of playing; see the module for the letters.

    `meter` beats a bar; `tempo_bpm` the usual range; `swing` the range of the first
    half of a beat; `grooves` by ``light``, ``full``, ``high``; `fills` are one bar long
    and replace the end of a bar; `bass_lines` by ``light``, ``full``;
    `progressions` by section label, each a choice; `cells` are (rhythm of one beat
    of a melody, weight).
    """

    name: str
    tempo_bpm: tuple[float, float]
    grooves: Mapping[str, tuple[Groove, ...]]
    fills: tuple[Groove, ...]
    basses: tuple[str, ...]
    bass_lines: Mapping[str, tuple[str, ...]]
    comps: tuple[Comp, ...]
    progressions: Mapping[str, tuple[str, ...]]
    cells: tuple[tuple[str, float], ...]
    meter: int = 4
    swing: tuple[float, float] = (0.5, 0.5)
    solos: tuple[str, ...] = ("electric_guitar", "fiddle", "pedal_steel")
    leads: tuple[str, ...] = ("singer",)
    room_s: tuple[float, float] = (0.7, 1.6)


# Rhythms of one beat of a melody: ``x`` a note, ``-`` hold what sounds, ``.`` silence.
STRAIGHT_CELLS = (
    ("x---", 3.0), ("x-x-", 3.0), ("----", 1.6), ("..x-", 1.0), ("x-..", 0.8), ("--x-", 1.2),
)  # fmt: skip
SYNCOPATED_CELLS = (
    ("x-x-", 3.0), ("--x-", 2.0), ("x---", 2.0), ("x--x", 0.9), ("-x-x", 0.4), ("----", 1.2),
    ("..x-", 1.0),
)  # fmt: skip
TRIPLET_CELLS = (
    ("x--", 3.0), ("x-x", 3.0), ("---", 1.5), ("--x", 1.2), ("..x", 0.8), ("xxx", 0.3),
)  # fmt: skip
WALTZ_CELLS = (("x---", 4.0), ("----", 2.6), ("x-x-", 1.5), ("..x-", 0.5))

STRAIGHT_FILLS: tuple[Groove, ...] = (
    {"snare": ".... .... x.x. xxXX", "kick": "x... .... .... ...."},
    {"snare": ".... .... xx.. ....", "high_tom": ".... .... ..xx ....",
     "low_tom": ".... .... .... xxXx"},
    {"snare": ".... X... ..x. ....", "mid_tom": ".... .... ...x x...",
     "low_tom": ".... .... .... .xXX"},
    {"snare": ".... X... .... X.oX", "kick": "x... .... x.x. .x.."},
    {"snare": "oooo xxxx xxxx XX XX", "kick": "x... x... x... x..."},
)  # fmt: skip
TRIPLET_FILLS: tuple[Groove, ...] = (
    {"snare": "... X.. x.x xxX", "kick": "x.. ... ... ..."},
    {"snare": "... X.. xxx ...", "low_tom": "... ... ... xxX", "kick": "x.. ... ... ..."},
    {"snare": "... ... xx. ...", "high_tom": "... ... ..x x..", "low_tom": "... ... ... .xX"},
)  # fmt: skip
WALTZ_FILLS: tuple[Groove, ...] = (
    {"snare": ".... x.x. xxX.", "kick": "x... .... ...."},
    {"snare": ".... xx.. ....", "mid_tom": ".... ..xx ....", "low_tom": ".... .... xxX."},
)  # fmt: skip
