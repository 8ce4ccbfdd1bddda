"""Styles of a country dance floor; see `style` for the letters.

The rhythms are common practice of the styles, written here from memory.
"""

from __future__ import annotations

from phrasefit.demo.style import (
    STRAIGHT_CELLS,
    STRAIGHT_FILLS,
    TRIPLET_CELLS,
    TRIPLET_FILLS,
    WALTZ_CELLS,
    WALTZ_FILLS,
    Comp,
    Style,
)

COUNTRY_ROCK = Style(
    name="country-rock",
    tempo_bpm=(100.0, 138.0),
    swing=(0.5, 0.54),
    grooves={
        "light": (
            {"kick": "x... .... x... ....", "snare": ".... x... .... x...",
             "closed_hat": "x.o. x.o. x.o. x.o."},
            {"kick": "x... .... x.x. ....", "rim": ".... x... .... x...",
             "closed_hat": "x.o. x.o. x.o. x.o."},
        ),
        "full": (
            {"kick": "x... ..x. x... ....|x... ..x. x.x. ....", "snare": ".... X... .... X...",
             "closed_hat": "X.x. X.x. X.x. X.x."},
            {"kick": "x... ...x x... ....", "snare": ".... X... .... X..o",
             "closed_hat": "X.o. X.o. X.o. X.o."},
        ),
        "high": (
            {"kick": "x... ..x. x.x. ....", "snare": ".... X... .... X...",
             "ride": "X.x. X.x. X.x. X.x.", "tambourine": "..o. x.o. ..o. x.o."},
            {"kick": "x.x. .... x.x. ..x.", "snare": ".... X... .... X...",
             "open_hat": "x... x... x... x..."},
        ),
    },
    fills=STRAIGHT_FILLS,
    basses=("picked_bass",),
    bass_lines={
        "light": ("R--- ---- 5--- ----", "R--- --R- 5--- ---A", "R--- ---- R--- --5-"),
        "full": ("R-R- R-R- 5-5- 5-A-", "R-.R R-R- 5-.5 5-A-", "R-R- R-R- R-R- R-5-"),
    },
    comps=(
        Comp(instruments=("steel_guitar",), kind="strum", pan=-0.75, when_sparse=True,
             patterns=("x-.. x-u- .-u- x-u-", "x--- x-u- x-u- x-u-", "b-.. x-u- B-.. x-u-")),
        Comp(instruments=("electric_guitar",), kind="block", pan=0.7, from_energy=0.55, center=57,
             patterns=("x--- ---- --x- ----", ".... x-.. .... x-..", "x-x- --x- --x- --x-")),
        Comp(instruments=("organ", "string_pad"), kind="hold", pan=0.2, from_energy=0.7),
        Comp(instruments=("piano",), kind="block", pan=-0.2, from_energy=0.85, center=64,
             patterns=("x-x- x-x- x-x- x-x-", "x--x --x- x--x --x-")),
    ),
    progressions={
        "intro": ("I I IV V", "I IV I V"),
        "verse": ("I I IV I I I V V", "I IV I V I IV V I", "I V vi IV I V IV I"),
        "chorus": ("IV V I vi IV V I I", "I IV vi V I IV V I", "vi IV I V vi IV V V"),
        "bridge": ("vi vi IV IV ii ii V V", "bVII bVII IV IV bVII bVII V V"),
        "prechorus": ("ii IV V V",),
    },
    cells=STRAIGHT_CELLS,
)  # fmt: skip

SHUFFLE = Style(
    name="shuffle",
    tempo_bpm=(104.0, 142.0),
    grooves={
        "light": (
            {"kick": "x.. ... x.. ...", "rim": "... x.. ... x..", "closed_hat": "x.o x.o x.o x.o"},
            {"kick": "x.. x.. x.. x..", "brush": "x.o X.o x.o X.o"},
        ),
        "full": (
            {"kick": "x.. ... x.x ...", "snare": "... X.. ... X..",
             "closed_hat": "X.x X.x X.x X.x"},
            {"kick": "x.. x.. x.. x..", "snare": "..o X.o ..o X.o",
             "closed_hat": "X.o X.o X.o X.o"},
        ),
        "high": (
            {"kick": "x.. ..x x.. ...", "snare": "... X.. ... X..", "ride": "X.x X.x X.x X.x"},
        ),
    },
    fills=TRIPLET_FILLS,
    basses=("upright_bass", "picked_bass"),
    bass_lines={
        "light": ("R-- ... 5-- ...", "R-- --- 5-- --A"),
        "full": ("R-- 3-- 5-- 6--|8-- 6-- 5-- A--", "R-- R-5 6-- 5-A", "R-R 3-3 5-5 6-A"),
    },
    comps=(
        Comp(instruments=("electric_guitar",), kind="block", pan=0.65, center=57,
             patterns=("x-x x-x x-x x-x", "... x.. ... x..", "..x ... ..x ...")),
        Comp(instruments=("piano",), kind="block", pan=-0.6, from_energy=0.4, center=63,
             patterns=("..x ..x ..x ..x", "x.. ..x ... ..x", "... x-- ..x ---"), when_sparse=True),
        Comp(instruments=("organ",), kind="hold", pan=0.15, from_energy=0.75),
        Comp(instruments=("steel_guitar",), kind="strum", pan=-0.75, from_energy=0.6,
             patterns=("x-u x-u x-u x-u",)),
    ),
    progressions={
        "intro": ("I IV I V7", "V7 IV7 I V7"),
        "verse": ("I7 I7 I7 I7 IV7 IV7 I7 V7", "I I IV I V V I V7", "I vi ii V7 I vi ii/V7 I"),
        "chorus": ("IV7 IV7 I7 I7 II7 II7 V7 V7", "IV IV I I V7 V7 I I"),
        "bridge": ("III7 III7 VI7 VI7 II7 II7 V7 V7", "vi vi iii iii IV IV V V7"),
        "prechorus": ("ii ii V7 V7",),
    },
    cells=TRIPLET_CELLS,
    solos=("electric_guitar", "fiddle", "brass", "pedal_steel"),
)  # fmt: skip

WALTZ = Style(
    name="waltz",
    meter=3,
    tempo_bpm=(84.0, 112.0),
    grooves={
        "light": (
            {"kick": "x... .... ....", "brush": ".... x... x..."},
            {"kick": "x... .... ....", "closed_hat": ".... x... x..."},
        ),
        "full": (
            {"kick": "x... .... ....", "snare": ".... x... x...", "closed_hat": "x.o. x.o. x.o."},
            {"kick": "x... .... ..x.|x... .... ....", "rim": ".... x... x...",
             "ride": "X... x.o. x..."},
        ),
        "high": (
            {"kick": "x... .... ..x.", "snare": ".... X... X...", "ride": "X.o. x.o. x.o."},
        ),
    },
    fills=WALTZ_FILLS,
    basses=("upright_bass", "picked_bass"),
    bass_lines={
        "light": ("R--- ---- ....|5--- ---- ....", "R--- ---- ----"),
        "full": ("R--- ---- ..A-", "R--- ---- 5---", "R--- 3--- 5---|8--- 5--- A---"),
    },
    comps=(
        Comp(instruments=("nylon_guitar", "steel_guitar"), kind="pick", pan=-0.65,
             patterns=("0-2- 3-4- 3-2-", "0--- 2-3- 4-3-"), when_sparse=True),
        Comp(instruments=("piano", "steel_guitar"), kind="block", pan=0.55, from_energy=0.45,
             patterns=(".... x-.. x-..", "x--- x-.. x-.."), center=62),
        Comp(instruments=("string_pad",), kind="hold", from_energy=0.6, center=67),
    ),
    progressions={
        "intro": ("I I IV V7", "I vi ii V7"),
        "verse": ("I I IV IV V7 V7 I I", "I vi IV V7 I vi ii/V7 I", "I iii IV I ii ii V7 V7"),
        "chorus": ("IV IV I I V7 V7 I I", "IV V I vi ii V7 I V7"),
        "bridge": ("vi vi iii iii IV IV V V7", "ii ii vi vi II7 II7 V7 V7"),
        "prechorus": ("ii ii V V7",),
    },
    cells=WALTZ_CELLS,
    solos=("fiddle", "pedal_steel"),
    room_s=(1.0, 2.0),
)  # fmt: skip

TRAIN = Style(
    name="two-step",
    tempo_bpm=(164.0, 190.0),
    grooves={
        "light": (
            {"kick": "x... .... x... ....", "brush": "o.o. X.o. o.o. X.o."},
            {"kick": "x... .... x... ....", "rim": ".... x... .... x...",
             "closed_hat": "x... x... x... x..."},
        ),
        "full": (
            {"kick": "x... .... x... ....", "snare": "o.o. X.o. o.o. X.x.",
             "closed_hat": ".... x... .... x..."},
            {"kick": "x... .... x... x...|x... .... x... ....", "snare": "o.oo X.o. o.oo X.o."},
        ),
        "high": (
            {"kick": "x... .... x... ....", "snare": "o.o. X.o. o.o. X.x.",
             "ride": "x... x.x. x... x.x.", "tambourine": ".... x... .... x..."},
        ),
    },
    fills=STRAIGHT_FILLS[:4],
    basses=("upright_bass", "picked_bass"),
    bass_lines={
        "light": ("R--- .... 5--- ....",),
        "full": ("R--- .... 5--- ....|R--- .... 5--- A---", "R--- ---- 5--- --A-"),
    },
    comps=(
        Comp(instruments=("steel_guitar",), kind="strum", pan=-0.7, when_sparse=True,
             patterns=("b-.. x-u- B-.. x-u-", "b-.. x-.. B-.. x-u-")),
        Comp(instruments=("banjo", "electric_guitar"), kind="pick", pan=0.75, from_energy=0.5,
             patterns=("0-2- 3-1- 2-3- 1-3-", "2-.3 ..1- 2-.3 .-1-"), center=64, level_db=-1.0),
        Comp(instruments=("piano",), kind="block", pan=0.2, from_energy=0.65, center=64,
             patterns=(".... x-.. .... x-..", "..x- ..x- ..x- ..x-")),
    ),
    progressions={
        "intro": ("I I V7 I", "I IV V7 I"),
        "verse": ("I I IV IV I I V7 V7", "I I I I V7 V7 I I", "I I IV I I V7 I I"),
        "chorus": ("IV IV I I V7 V7 I I7", "IV IV I I II7 II7 V7 V7"),
        "bridge": ("vi vi IV IV I I V7 V7", "bVII bVII I I bVII bVII V7 V7"),
        "prechorus": ("ii ii V7 V7",),
    },
    cells=(*STRAIGHT_CELLS[:3], ("----", 2.5)),
    swing=(0.5, 0.56),
    solos=("fiddle", "banjo", "pedal_steel", "electric_guitar"),
)  # fmt: skip

POLKA = Style(
    name="polka",
    meter=2,
    tempo_bpm=(108.0, 128.0),
    grooves={
        "light": (
            {"kick": "x... x...", "closed_hat": "..x. ..x."},
            {"kick": "x... x...", "brush": "..x. ..x."},
        ),
        "full": (
            {"kick": "x... x...", "snare": "..x. ..X.|..x. ..Xo", "closed_hat": "o.x. o.x."},
            {"kick": "x... x...", "snare": "..X. ..X.", "ride": "x.x. x.x."},
        ),
        "high": (
            {"kick": "X... x...", "snare": "..X. ..X.|..X. .oXo", "open_hat": "..x. ..x."},
        ),
    },
    fills=(
        {"snare": "x.xx xXX.", "kick": "x... ...."},
        {"snare": "xx.. ....", "high_tom": "..xx ....", "low_tom": ".... xxX."},
    ),
    basses=("upright_bass", "picked_bass"),
    bass_lines={"light": ("R-.. 5-..",), "full": ("R-.. 5-..|R-.. A-..", "R-.. 5-..|3-.. 5-..")},
    comps=(
        Comp(instruments=("steel_guitar", "banjo"), kind="strum", pan=-0.7, when_sparse=True,
             patterns=("..x. ..x.", "b.x. B.xu")),
        Comp(instruments=("organ", "brass"), kind="block", pan=0.6, from_energy=0.45, center=64,
             patterns=("..x. ..x.", "..x. ..xx")),
        Comp(instruments=("piano",), kind="block", pan=0.1, from_energy=0.7,
             patterns=("x-x- x-x-",)),
    ),
    progressions={
        "intro": ("I I V7 I",),
        "verse": ("I I V7 V7 V7 V7 I I", "I I IV I V7 V7 I I"),
        "chorus": ("IV IV I I V7 V7 I I", "V7 V7 I I V7 V7 I I"),
        "bridge": ("IV IV IV IV I I V7 V7", "vi vi ii ii V7 V7 I V7"),
        "prechorus": ("V7 V7 V7 V7",),
    },
    cells=(("x-x-", 3.0), ("x---", 3.0), ("----", 1.0), ("xxx-", 0.6), ("x-xx", 0.6)),
    solos=("fiddle", "brass", "banjo"),
)  # fmt: skip

BALLAD = Style(
    name="ballad",
    tempo_bpm=(62.0, 84.0),
    grooves={
        "light": (
            {"kick": "x... .... ..x. ....", "rim": ".... x... .... x...",
             "closed_hat": "x.o. x.o. x.o. x.o."},
            {"kick": "x... .... x... ....", "shaker": "xoxo xoxo xoxo xoxo"},
        ),
        "full": (
            {"kick": "x... ..x. x... ....", "snare": ".... X... .... X...",
             "closed_hat": "x.o. x.o. x.o. x.oo"},
            {"kick": "x..x .... ..x. ....", "snare": ".... X... .... X...",
             "closed_hat": "xoxo xoxo xoxo xoxo"},
        ),
        "high": (
            {"kick": "x... ..x. x.x. ....", "snare": ".... X... .... X...",
             "ride": "X.x. X.x. X.x. X.x."},
        ),
    },
    fills=STRAIGHT_FILLS,
    basses=("picked_bass", "upright_bass"),
    bass_lines={
        "light": ("R--- ---- ---- ----", "R--- ---- --5- ----"),
        "full": ("R--- --R- 5--- --A-", "R--R ---- ..R- 5-A-"),
    },
    comps=(
        Comp(instruments=("piano", "nylon_guitar"), kind="pick", pan=-0.45, when_sparse=True,
             patterns=("0-2- 3-2- 4-2- 3-2-", "0-1- 2-3- 4-3- 2-1-")),
        Comp(instruments=("steel_guitar",), kind="strum", pan=0.65, from_energy=0.5,
             patterns=("x--- --u- x-u- --u-", "x-u- x-xu x-u- x-xu")),
        Comp(instruments=("string_pad",), kind="hold", from_energy=0.35, center=67,
             when_sparse=True),
        Comp(instruments=("organ", "tine_piano"), kind="hold", from_energy=0.75, pan=0.2),
    ),
    progressions={
        "intro": ("I V vi IV", "I iii IV V"),
        "verse": ("I V vi IV I V IV V", "I iii vi IV ii V I V", "I I IV IV vi vi V V"),
        "chorus": ("IV V I vi IV V I I", "I V vi IV I V IV IV"),
        "bridge": ("vi iii IV I ii vi V V", "iv iv I I bVII bVII V V"),
        "prechorus": ("ii iii IV V",),
    },
    cells=(("x-x-", 2.5), ("--x-", 1.5), ("x---", 1.5), ("----", 1.5), ("xx-x", 0.5),
           ("..xx", 0.8), ("x--x", 1.0)),
    solos=("pedal_steel", "fiddle", "electric_guitar"),
    room_s=(1.3, 2.6),
)  # fmt: skip
