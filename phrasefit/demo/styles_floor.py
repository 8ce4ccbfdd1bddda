"""Styles of a club or social floor; see `style` for the letters.

The rhythms are common practice of the styles, written here from memory.
"""

from __future__ import annotations

from phrasefit.demo.style import (
    STRAIGHT_FILLS,
    SYNCOPATED_CELLS,
    TRIPLET_CELLS,
    TRIPLET_FILLS,
    Comp,
    Style,
)

DISCO = Style(
    name="disco",
    tempo_bpm=(110.0, 130.0),
    grooves={
        "light": (
            {"kick": "x... x... x... x...", "closed_hat": "..x. ..x. ..x. ..x."},
            {"kick": "x... x... x... x...", "rim": ".... x... .... x...",
             "shaker": "xoxo xoxo xoxo xoxo"},
        ),
        "full": (
            {"kick": "x... x... x... x...", "snare": ".... X... .... X...",
             "open_hat": "..x. ..x. ..x. ..x.", "closed_hat": "x... x... x... x..."},
            {"kick": "x... x... x... x...", "clap": ".... X... .... X...",
             "closed_hat": "xoXo xoXo xoXo xoXo"},
        ),
        "high": (
            {"kick": "X... X... X... X...", "snare": ".... X... .... X.oo",
             "clap": ".... x... .... x...", "open_hat": "..X. ..X. ..X. ..X.",
             "closed_hat": "xo.o xo.o xo.o xo.o", "tambourine": ".... x... .... x..."},
        ),
    },
    fills=STRAIGHT_FILLS,
    basses=("picked_bass", "synth_bass"),
    bass_lines={
        "light": ("R-.. R-.. R-.. R-..", "R--. .... ..R- R-.."),
        "full": ("R-8- R-8- R-8- R-8-", "..R- R-8- ..R- R-8A", "R..R ..8. R..R .58."),
    },
    comps=(
        Comp(instruments=("muted_guitar",), kind="strum", pan=0.75, from_energy=0.4,
             patterns=("x.xu .ux. x.xu .ux.", ".xx. x.x. .xx. x.xu")),
        Comp(instruments=("tine_piano", "piano"), kind="block", pan=-0.55, when_sparse=True,
             patterns=("x--- --x- ---- ..x-", "..x- ..x- ..x- ..x-", "x--x --x- ---x --x-")),
        Comp(instruments=("string_pad",), kind="hold", pan=0.0, from_energy=0.6, center=72,
             level_db=2.0),
        Comp(instruments=("brass",), kind="block", pan=0.4, from_energy=0.82, center=67,
             patterns=("x... .... .... ..x-|.... .... ..x. x---", "..x- ..x- .... ....")),
    ),
    progressions={
        "intro": ("vi ii V I", "i i bVII bVII"),
        "verse": ("vi7 vi7 ii7 ii7 V V I iii", "i i bVII bVII bVI bVI V V7"),
        "chorus": ("ii7 V Imaj7 vi7 ii7 V vi vi", "i bVII bVI V7 i bVII bVI/V7 i"),
        "bridge": ("IV IV iii iii ii ii V V7", "iv iv i i iv iv V7 V7"),
        "prechorus": ("IV V vi V", "bVI bVI V V7"),
    },
    cells=SYNCOPATED_CELLS,
    solos=("synth_lead", "brass", "electric_guitar"),
    leads=("singer", "synth_lead"),
)  # fmt: skip


LATIN = Style(
    name="latin",
    tempo_bpm=(98.0, 126.0),
    grooves={
        "light": (
            {"kick": "x... ..x. x... ..x.", "rim": "x..x ..x. ..x. x...",
             "shaker": "xoxo xoxo xoxo xoxo"},
            {"kick": "x... .... x... ....", "conga": "..o. x.xx ..o. x.xx",
             "shaker": "x.o. x.o. x.o. x.o."},
        ),
        "full": (
            {"kick": "x... ..x. x... ..x.", "rim": "x..x ..x. ..x. x...|..x. x... x..x ..x.",
             "conga": "o.o. x.xx o.o. x.xx", "cowbell": "x... x... x... x..."},
            {"kick": "x... x... x... x...", "snare": "...x ..x. ...x ..x.",
             "closed_hat": "x.o. x.o. x.o. x.o."},
        ),
        "high": (
            {"kick": "x... ..x. x... ..x.", "conga": "o.o. x.xx o.o. x.xx",
             "cowbell": "X.x. X.xx X.x. X.xx", "shaker": "xoxo xoxo xoxo xoxo",
             "snare": "...x ..x. ...x ..x."},
        ),
    },
    fills=(
        {"high_tom": "x..x ..x. .... ....", "low_tom": ".... .... x.x. xxX."},
        {"snare": ".... .... x.x. xxXX"},
        {"conga": "x.x. x.xx x.xx xxxx", "kick": "x... .... .... ...."},
    ),
    basses=("picked_bass", "upright_bass", "synth_bass"),
    bass_lines={
        "light": ("R--- --5- ---- 8---", "R--. ..5- 8--- ..A-"),
        "full": ("R--. ..5- 8--- ..5-", "...R --5- ..8- --A-", "R--5 --8- R--5 --A-"),
    },
    comps=(
        Comp(instruments=("nylon_guitar",), kind="strum", pan=-0.7, when_sparse=True,
             patterns=("x-.u .ux- .-xu .ux-", "b-.x ..x- B-.x ..x-")),
        Comp(instruments=("piano",), kind="pick", pan=0.55, from_energy=0.5, center=66,
             patterns=("2.1. 3.2. .1.3 .2.1", "0.23 .2.3 .23. 2.3.")),
        Comp(instruments=("brass",), kind="block", from_energy=0.8, pan=0.15, center=67,
             patterns=(".... ..x. x-.. ....|x-.. .... ..x- --..",)),
        Comp(instruments=("string_pad",), kind="hold", from_energy=0.7, center=67),
    ),
    progressions={
        "intro": ("i iv V7 i", "I IV V IV"),
        "verse": ("i i iv V7 i i V7 i", "I vi ii V7 I vi ii V7"),
        "chorus": ("iv bVII i bVI iv V7 i i", "I IV V7 IV I IV V7 V7"),
        "bridge": ("bVI bVI bVII bVII i i V7 V7", "ii ii V7 V7 vi vi II7 V7"),
        "prechorus": ("iv iv V7 V7", "ii ii V7 V7"),
    },
    cells=SYNCOPATED_CELLS,
    solos=("brass", "nylon_guitar", "synth_lead"),
)  # fmt: skip

SLOW_TWELVE = Style(
    name="slow-twelve",
    tempo_bpm=(56.0, 80.0),
    grooves={
        "light": (
            {"kick": "x.. ... x.. ...", "rim": "... x.. ... x..", "closed_hat": "xoo xoo xoo xoo"},
        ),
        "full": (
            {"kick": "x.. ..x x.. ...", "snare": "... X.. ... X..",
             "closed_hat": "xoo xoo xoo xoo"},
            {"kick": "x.. ... x.x ...", "snare": "... X.. ... X..", "ride": "xoo xoo xoo xoo"},
        ),
        "high": (
            {"kick": "x.. ..x x.. ..x", "snare": "... X.. ... X..", "ride": "Xxx Xxx Xxx Xxx"},
        ),
    },
    fills=TRIPLET_FILLS,
    basses=("picked_bass", "upright_bass"),
    bass_lines={
        "light": ("R-- --- 5-- ---",),
        "full": ("R-- --R 5-- --A", "R-- 3-- 5-- 6-A"),
    },
    comps=(
        Comp(instruments=("piano", "electric_guitar"), kind="block", pan=-0.45, when_sparse=True,
             patterns=("xxx xxx xxx xxx",), center=62),
        Comp(instruments=("electric_guitar", "nylon_guitar"), kind="pick", pan=0.6,
             from_energy=0.5, patterns=("012 345 432 123", "024 321 024 321")),
        Comp(instruments=("organ", "string_pad"), kind="hold", from_energy=0.6),
        Comp(instruments=("brass",), kind="hold", from_energy=0.9, center=64),
    ),
    progressions={
        "intro": ("I vi IV V7",),
        "verse": ("I vi IV V7 I vi IV V7", "I III7 vi IV I V7 I/IV I/V7"),
        "chorus": ("IV V7 I vi ii V7 I V7", "IV IV I I II7 II7 V7 V7"),
        "bridge": ("IV IV I I II7 II7 V7 V7", "vi III7 vi III7 IV II7 V7 V7"),
        "prechorus": ("ii ii V7 V7",),
    },
    cells=TRIPLET_CELLS,
    solos=("electric_guitar", "brass", "organ"),
    room_s=(1.0, 2.2),
)  # fmt: skip

FUNK = Style(
    name="funk",
    tempo_bpm=(86.0, 116.0),
    swing=(0.5, 0.58),
    grooves={
        "light": (
            {"kick": "x... .... ..x. ....", "snare": ".... x... .... x...",
             "closed_hat": "xoxo xoxo xoxo xoxo"},
        ),
        "full": (
            {"kick": "x..x ...x ..x. ....|x..x .... .xx. ....",
             "snare": ".... X..o .o.. X..o", "closed_hat": "XoxoXoxoXoxoXoxo"},
            {"kick": "x.x. ..x. ..xx ....", "snare": ".... X... .... X.o.",
             "closed_hat": "X.xo X.xo X.xo X.xx", "clap": ".... x... .... x..."},
        ),
        "high": (
            {"kick": "x..x ...x x.x. ...x", "snare": ".... X..o .o.. X..o",
             "open_hat": "..x. ..x. ..x. ..x.", "tambourine": "xoxo xoxo xoxo xoxo"},
        ),
    },
    fills=STRAIGHT_FILLS,
    basses=("picked_bass", "synth_bass"),
    bass_lines={
        "light": ("R--- .... ..R- 8-..", "R-.R .... ..5- ...."),
        "full": ("R-.R ..8. R..5 ..7-", "R..R .8.. .R.5 7.A-", "R-R. ..7- 8... R.A-"),
    },
    comps=(
        Comp(instruments=("muted_guitar",), kind="strum", pan=0.75,
             patterns=(".xxu ..x. .x.u x.x.", "x.x. xu.x .ux. x.x.")),
        Comp(instruments=("tine_piano", "organ"), kind="block", pan=-0.6, when_sparse=True,
             patterns=("x-.. ..x- .... x...", "..x- .... x-.. ..x-")),
        Comp(instruments=("brass",), kind="block", from_energy=0.7, pan=0.2, center=66,
             patterns=("x... .... ...x -...|.... ..x. ..x. x-..",)),
    ),
    progressions={
        "intro": ("i7 i7 IV7 IV7", "I7 I7 IV7 I7"),
        "verse": ("i7 i7 IV7 IV7 i7 i7 IV7 V7", "I7 I7 I7 I7 IV7 IV7 I7 I7"),
        "chorus": ("bVI bVII i i bVI bVII V7 V7", "IV7 IV7 I7 I7 V7 IV7 I7 V7"),
        "bridge": ("iv iv bVII bVII bVI bVI V7 V7", "ii ii V7 V7 ii ii V7 V7"),
        "prechorus": ("iv iv V7 V7", "IV7 IV7 V7 V7"),
    },
    cells=(*SYNCOPATED_CELLS, ("x.xx", 0.5), (".xx-", 0.5)),
    solos=("brass", "electric_guitar", "synth_lead", "organ"),
    leads=("singer", "synth_lead"),
)  # fmt: skip

POP = Style(
    name="pop",
    tempo_bpm=(90.0, 132.0),
    grooves={
        "light": (
            {"kick": "x... .... x... ....", "rim": ".... x... .... x..."},
            {"kick": "x... ..x. ..x. ....", "clap": ".... x... .... x...",
             "closed_hat": "x.x. x.x. x.x. x.x."},
            {"kick": "x..x ..x. x..x ..x."},
        ),
        "full": (
            {"kick": "x... ..x. ..x. ....", "snare": ".... X... .... X...",
             "clap": ".... x... .... x...", "closed_hat": "x.x. x.xx x.x. x.xo"},
            {"kick": "x..x ..x. x..x ..x.", "snare": ".... X... .... X...",
             "shaker": "xoxo xoxo xoxo xoxo"},
            {"kick": "x... .... .... ..x.", "snare": ".... .... X... ....",
             "closed_hat": "x.xo x.xx x.xo xxxx"},
        ),
        "high": (
            {"kick": "x... x... x... x...", "snare": ".... X... .... X...",
             "open_hat": "..x. ..x. ..x. ..x."},
            {"kick": "x.x. ..x. x.x. ..x.", "snare": ".... X... .... X...",
             "crash": "x... .... x... ....", "tambourine": "x.x. x.x. x.x. x.x."},
        ),
    },
    fills=STRAIGHT_FILLS,
    basses=("synth_bass", "picked_bass"),
    bass_lines={
        "light": ("R--- ---- ---- ----", "R-.. ..R- ..R- ...."),
        "full": ("R-R- R-R- R-R- R-R-", "R--R --R- R--R --A-", "R-.. ..R- ..8- R-A-"),
    },
    comps=(
        Comp(instruments=("piano", "tine_piano", "steel_guitar"), kind="block", pan=-0.45,
             patterns=("x--- x--- x--- x---", "x--x --x- x--x --x-"), when_sparse=True),
        Comp(instruments=("muted_guitar", "electric_guitar"), kind="pick", pan=0.7,
             from_energy=0.4, patterns=("0.2. 3.2. 0.2. 3.2.", "0.00 2.00 3.00 2.0.")),
        Comp(instruments=("string_pad",), kind="hold", from_energy=0.6, center=67),
        Comp(instruments=("synth_lead",), kind="pick", from_energy=0.8, pan=0.45, center=76,
             patterns=("0123 4321 0123 4321", "4.3. 2.3. 4.3. 2.1."), level_db=-4.0),
    ),
    progressions={
        "intro": ("I V vi IV", "vi IV I V", "i bVI bIII bVII"),
        "verse": ("I V vi IV I V vi IV", "vi IV I V vi IV I V", "i i bVI bVI bIII bIII bVII bVII"),
        "chorus": ("IV I V vi IV I V V", "IV V vi I IV V I I", "bVI bVII i i bVI bVII V7 V7"),
        "bridge": ("ii ii IV IV vi vi V V", "iii iii vi vi IV IV V V", "iv iv i i bVI bVI V7 V7"),
        "prechorus": ("ii IV V V", "IV IV V V", "iv iv V7 V7"),
    },
    cells=SYNCOPATED_CELLS,
    solos=("synth_lead", "electric_guitar"),
    leads=("singer", "synth_lead"),
)  # fmt: skip
