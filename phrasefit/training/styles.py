"""The table of rhythm styles: what drums, bass and accompaniment play in a bar.

One block of text a style, written by us from common practice (no source).  A line is
``kind  pattern``; one character is one step, ``steps`` of them a beat, a pattern may
last one or two bars.

* ``d`` a drum variant: pairs ``VOICE=pattern``; ``X`` accent, ``x`` normal, ``o`` soft,
  ``g`` ghost, ``?`` now and then, ``.`` nothing.
* ``b`` bass: ``R`` root, ``F`` fifth, ``T`` third, ``S`` seventh or sixth, ``O`` octave,
  ``A`` approach to the next root, ``P`` root of the *next* chord (anticipation),
  ``W`` walking (any chord or scale tone), ``-`` hold, ``.`` rest.
* ``c`` chords: ``x`` hit, ``s`` short hit, ``b`` bass note of the chord, ``P`` the *next*
  chord early, ``-`` hold, ``.`` rest.
* ``a`` arpeggio: digits are chord tones from below, ``-`` hold, ``.`` rest.

A beat is what a listener taps: compound meters (6/8, 12/8) count dotted beats of three
steps unless the dotted beat is slower than 50 bpm.

May import: errors.
"""

from __future__ import annotations

from dataclasses import dataclass

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


TABLE = """
[rock] meter=4 steps=4 tempo=95-165 harmony=rock chords=1,1,2,0.5 loose=0.2-1.2 weight=3
i bass=ebass comp=dist,clean,piano lead=dist,organ,sax pad=organ,strings
d K=X.......X....... S=....X.......X... H=x.x.x.x.x.x.x.x.
d K=X.....x.X....... S=....X.......X... H=X.x.X.x.X.x.X.x.
d K=X..x....X.x..... S=....X.......X..g H=x.x.x.x.x.x.x.O.
d K=X.......X.x...x. S=....X.......X... D=x.x.x.x.x.x.x.x.
d K=x.....x...x..... S=....X.......X... H=xoxoxoxoxoxoxoxo
d K=X.x...x.X.x..... S=....X.......X... C=X...x...X...x...
d K=X......xX......x S=....X..g.g..X... H=x.x.x.x.x.x.x.x.
d K=X...X...X...X... S=....X.......X... H=..x...x...x...x.
b R-R-R-R-R-R-R-R-
b R-----R-R-----R-
b R---R---R---R---
b R.....R.R.R...A.
b R-.R..R.R-.R..P-
b R---------------
b R-F-R-O-R-F-R-A-
c x---------------
c x-s-s-s-x-s-s-s-
c x-----x-------P-
c x-------x-------
c ..s...s...s...s.
c x.x.x.x.x.x.x.x.
c x--x--x-x--x--P-
a 1-2-3-2-1-2-3-2-

[rock-fast-kicks] meter=4 steps=2 tempo=150-212 harmony=rock chords=1,1,0.5 loose=0.2-1.2 weight=1.6
i bass=ebass comp=dist,dist,clean lead=dist pad=organ
d K=X..XX... S=..X...X. H=xxxxxxxx
d K=X.X.X.X. S=.X.X.X.X H=X.X.X.X.
d K=X...X.x. S=..X...X. O=X.X.X.X.
d K=X...X... S=..X...X. D=xxxxxxxx
d K=X.x..x.. S=..X...X. C=X.X.X.X.
b RRRRRRRR
b R-R-R-R-
b RRRRRRRA
b R-----R-
c xxxxxxxx
c x---x---
c x-------
c x-x-x-x-
a 12321232

[half-time] meter=4 steps=4 tempo=60-96 harmony=pop chords=1,2,0.5 loose=0.0-1.2 weight=1.5
i bass=ebass,synbass comp=dist,piano,pad lead=synth,dist pad=pad,strings
d K=X.......X....... S=....X.......X... H=x.x.x.x.x.x.x.x.
d K=X..x..x...x..... S=....X.......X... H=xxxxxxxxxxxxxxxx
d K=X.........x..x.. S=....X.......X... D=x...x...x...x...
d K=X.x.......x..... S=....X.......X... C=x...x...x...x...
b R---------------
b R-----R-R-------
b R..R..R...R..R..
c x---------------
c x-------x-------
c x--x--x--x--x---
a 1-2-3-4-3-2-3-2-

[pop] meter=4 steps=4 tempo=84-134 harmony=pop chords=1,1,1,2,0.5 loose=0.0-0.8 weight=4
i bass=ebass,synbass comp=piano,clean,steel,epiano,synth lead=synth,winds,strings pad=pad,strings,choir
d K=X.......X....... S=....X.......X... H=x.x.x.x.x.x.x.x.
d K=X.....x...x..... S=....X.......X... H=x.x.x.x.x.x.x.x.
d K=X..x......x..x.. S=....X.......X... H=xoxoxoxoxoxoxoxo
d K=X...X...X...X... Q=....X.......X... H=..x...x...x...x.
d K=X.....x.......x. Q=....X.......X... Z=xoxoxoxoxoxoxoxo
d K=x......x..x..... R=....X.......X... H=x.x.x.x.x.x.x.x.
d K=X.....X.....X... S=....X.......X... Y=..x...x...x...x.
d K=X......x...x.... S=....X.....?.X... H=x?x?x?x?x?x?x?x?
b R-----R-R-----R-
b R-------R-------
b R-R-R-R-R-R-R-R-
b R..R..R.R..R..R.
b R-----P-------P-
b R-.....RR-....A.
b O.R.O.R.O.R.O.R.
b R---------------
b R--R--R---R-R-P-
c x-------x-------
c x---------------
c x--x--x--x--x-x-
c x-----P---------
c ..x...x...x...x.
c x-x-x-x-x-x-x-x-
c x..x..x.x..x..x.
c x--x--P---------
a 1-2-3-2-1-2-3-2-
a 1232123212321232
a 1--2--3-1--2--3-
a 4-3-2-3-4-3-2-3-

[pop-syncopated] meter=4 steps=4 tempo=84-128 harmony=pop chords=1,1,2,0.5 loose=0.0-0.6 weight=2.5
i bass=synbass,ebass comp=synth,clean,piano,mallets lead=synth,mallets pad=pad,choir
d K=x..x..x......... S=....X.......X... H=x.x.x.x.x.x.x.x.
d K=...x..x.x..x..x. Q=....X.......X... H=oxoxoxoxoxoxoxox
d K=X..x..x.X..x..x. R=...x..x....x..x. Z=xxxxxxxxxxxxxxxx
d K=X..X..X.X..X..X. S=............X... H=x.x.x.x.x.x.x.x.
d K=x.....x...x..... Q=....X.......X..X H=xxoxxxoxxxoxxxox
d K=X...x...X...x... S=...X..X....X..X. H=..o...o...o...o.
b R..R..R.......P-
b ..R..R..R..R..P-
b R--R--R-R--R--R-
b R.....R..R......
c x..x..x.........
c ..x..x....x..x..
c x--x--x-P-------
c s..s..s.s..s..s.
a 1.2.3..1.2.3.1.2
a 1.3.2.3.4.3.2.3.

[ballad] meter=4 steps=4 tempo=55-82 harmony=pop chords=1,0.5,1 loose=0.3-1.6 weight=2
i bass=ebass,upright comp=piano,epiano,steel,nylon lead=strings,winds,sax pad=strings,pad,choir
d K=X.......X....... R=....X.......X... H=x.x.x.x.x.x.x.x.
d K=X......xX....... S=....X.......X... H=xoxoxoxoxoxoxoxo
d K=X.......x.x..... S=....X.......X... D=x.x.x.x.x.x.x.x.
d K=X............... R=....x.......x... Z=o...o...o...o...
b R-------R-------
b R-----R-R-------
b R-------F-------
b R---------------
b R--------.....P-
c x---x---x---x---
c x---------------
c b-x-x-x-b-x-x-x-
c x-------x-------
a 1-2-3-2-1-2-3-2-
a 1-2-3-4-5-4-3-2-
a 1232123212321232

[ballad-128] meter=4 steps=3 tempo=56-84 harmony=doowop chords=1,0.5,1 loose=0.3-1.4 weight=1.6
i bass=ebass,upright comp=piano,clean,organ lead=sax,strings,clean pad=choir,strings
d K=X.....X..... S=...X.....X.. H=xxxxxxxxxxxx
d K=X....xX..... S=...X.....X.. D=xxxxxxxxxxxx
d K=X.....X....x R=...X.....X.. H=x.xx.xx.xx.x
d K=X.....x..... S=...X.....X.. H=x..x..x..x..
b R--R--R--R--
b R-----R----A
b R----FR----F
b R--T--F--S--
b R-----------
c xxxxxxxxxxxx
c x-----x-----
c x-----------
c b-xx-xb-xx-x
a 123454123454
a 123432123432

[country] meter=4 steps=2 tempo=88-152 harmony=country chords=1,1,2 loose=0.3-1.2 weight=3
i bass=ebass,upright comp=steel,clean,piano,banjo lead=fiddle,clean,harmonica,steel pad=organ,strings
d K=X...X... S=..X...X. H=xxxxxxxx
d K=X...X..x R=..X...X. H=xxxxxxxx
d K=x...x... S=.o.o.o.o H=x.x.x.x.
d K=X..xX... S=..X...X. H=x.x.x.x.
d K=x...x... R=..x...x.
b R---F---
b R---F-A-
b R-.-F-.-
b R---R---
b R---F-TA
c b-x-b-x-
c ..s...s.
c x---x---
c b.xxb.xx
c x-xxx-xx
c .x.x.x.x
a 13231323
a 14243424

[train-beat] meter=4 steps=4 tempo=88-122 harmony=country chords=1,2 loose=0.4-1.3 weight=1.6
i bass=upright,ebass comp=steel,clean,banjo lead=fiddle,clean,harmonica,steel pad=organ
d K=X...x...X...x... S=ooXoooXoooXoooXo
d K=X.......X....... S=oggXoggXoggXogXo H=..x...x...x...x.
d K=X...x...X...x... S=goXogoXogoXogoXo
b R---F---R---F---
b R-------F-------
b R---F---R---A---
c b-x-b-x-b-x-b-x-
c b-xxb-xxb-xxb-xx
c ..s...s...s...s.
a 1424342414243424

[two-step] meter=4 steps=2 tempo=150-205 harmony=country chords=1,2,1 loose=0.3-1.2 weight=1.4
i bass=upright,ebass comp=steel,piano,clean lead=fiddle,clean,steel pad=organ
d K=X...X... S=..X...X. H=x.x.x.x.
d K=X...X... R=..X...X. H=..x...x.
d K=X...X... S=.oXo.oXo
b R---F---
b R---F-A-
c ..s...s.
c b-x-b-x-
c .-x-.-x-
a 1-3-2-3-

[shuffle] meter=4 steps=3 tempo=88-164 harmony=blues chords=1,1 loose=0.3-1.4 weight=2.6
i bass=ebass,upright comp=piano,clean,dist,organ lead=dist,sax,harmonica,clean pad=organ,brass
d K=X.....X..... S=...X.....X.. H=x.xx.xx.xx.x
d K=X....xX....x S=...X.....X.. D=x.xx.xx.xx.x
d K=X..X..X..X.. S=...X.....X.. H=x.xx.xx.xx.x
d K=X.....X.x... S=..gX.g..gX.g H=x.xx.xx.xx.x
d K=x..x..x..x.. S=o.oX.oo.oX.o
b R-.R-.R-.R-.
b R--T--F--S--
b R-RR-RR-RR-R
b R--F--S--F--
b R--O--S--F--
b W--W--W--W--
b R----RR----A
c x-xx-xx-xx-x
c x-----------
c ..s.....s...
c ...s.....s..
c x--x--x--x--
c ..x..x..x..x
a 1-23-21-23-2

[swing] meter=4 steps=3 tempo=96-212 harmony=jazz chords=1,0.5,1,2 loose=0.4-1.4 weight=2.2
i bass=upright comp=piano,clean,brass,mallets lead=sax,trumpet,winds,piano pad=brass,reeds
d K=o..o..o..o.. D=X..x.xX..x.x P=...x.....x..
d D=X..x.xX..x.x P=...x.....x.. S=..?..?..?..?
d K=o..o..o..o.. H=X..x.xX..x.x
d K=x.....x....? D=x..x.xx..x.x S=...?....g... P=...x.....x..
d D=x..x..x..x.. P=...x.....x.. S=...o.....o..
b W--W--W--W--
b W--W--W--W-A
b R--W--F--W--
b R-----F-----
c ..s......s..
c s....s......
c .....x-----.
c x--..s......
c ...s.....s..
c x-----------
c b--x--b--x--
c x--x--x--x--
a 1-32-31-32-3

[waltz] meter=3 steps=2 tempo=80-150 harmony=country chords=1,1,2 loose=0.3-1.5 weight=3
i bass=upright,ebass comp=piano,steel,accordion,nylon lead=fiddle,winds,accordion,strings pad=strings,choir
d K=X..... S=..x.x. H=x.x.x.
d K=X..... R=..x.x. D=x.xxx.
d K=X....? S=....X. H=xxxxxx
d K=X..... H=..x.x.
d K=X..... S=..x.x. Z=oxoxox
b R-----
b R-----
b R---A-
b R---F-
b R-F-T-
b R-.-.-
c ..x-x-
c b-x-x-
c x-----
c x-x-x-
c ..s.s.
a 123432
a 1-2-3-
a 135313

[waltz-viennese] meter=3 steps=1 tempo=150-208 harmony=classical chords=1,2,1 loose=0.5-1.8 weight=1.6
i bass=upright,tuba comp=strings,horns,piano,accordion lead=strings,winds,fiddle,trumpet pad=strings
d K=X.. S=.xx
d K=X.. H=.xx
d t=..x K=x.. S=.oo
b R--
b R.. F..
b R..
c .ss
c .xx
c bxx
c .s.
a 123

[waltz-68] meter=2 steps=3 tempo=50-76 harmony=pop chords=1,1,2 loose=0.2-1.4 weight=1.8
i bass=ebass,upright comp=steel,piano,nylon,clean lead=strings,sax,dist pad=strings,pad,choir
d K=X..... S=...X.. H=xxxxxx
d K=X....x S=...X.. H=x.xx.x
d K=X.x... S=...X.. D=xxxxxx
d K=X..... R=...x.. Z=xooxoo
b R-----
b R--R--
b R--R-A
b R----F
c xxxxxx
c x-----
c x-xx-x
c b-xx-x
a 123432
a 135353

[jig-68] meter=2 steps=3 tempo=96-132 harmony=folk chords=0.5,1 loose=0.4-1.2 weight=1
i bass=upright comp=steel,banjo,accordion,piano lead=fiddle,winds,accordion,banjo pad=strings
d K=X..X.. S=..x..x
d d=XooXox
d K=X..x.. Y=..x..x
b R--F--
b R-FR-F
c x-xx-x
c b-xb-x
c ..s..s
a 123123

[polka] meter=2 steps=4 tempo=96-140 harmony=country chords=1,2,2 loose=0.3-1.2 weight=1.2
i bass=tuba,upright comp=accordion,horns,steel,piano lead=accordion,winds,trumpet,fiddle pad=brass
d K=X...X... S=..x...x. 
d K=X...X... H=..x...x. S=..o...o.
d K=X...X... S=..xx..x.
b R---F---
b R---R-A-
b R-..F-..
c ..s...s.
c b.s.b.s.
c ..x...x.
a 1-3-2-3-

[march] meter=2 steps=4 tempo=96-128 harmony=classical chords=1,1,2 loose=0.2-1.0 weight=1.1
i bass=tuba comp=horns,brass,winds lead=trumpet,winds,brass pad=brass
d K=X...X... S=..x...x. C=X.......
d K=X...X... S=x.xxx.xx
d K=X...x... S=X.ooX.oo
d K=X....... S=xoxoxxxx C=....x...
b R---F---
b R...F...
c ..s...s.
c x-s-x-s-
a 1-3-2-3-

[disco] meter=4 steps=4 tempo=104-132 harmony=minor chords=1,1,2,0.5 loose=0.0-0.6 weight=2.2
i bass=ebass,slap,synbass comp=clean,epiano,strings,clav lead=strings,brass,synth pad=strings,pad
d K=X...X...X...X... S=....X.......X... O=..x...x...x...x.
d K=X...X...X...X... Q=....X.......X... H=xoxxxoxxxoxxxoxx
d K=X...X...X...X... S=....X.......X... O=..X...X...X...X. H=x..xx..xx..xx..x
d K=X...X...X...X.x. S=....X.......X... Y=xxxxxxxxxxxxxxxx
b R.O.R.O.R.O.R.O.
b R-..R-O-..R-O-A.
b R..RO.R.R..RO.R.
b ..R...R...R...R.
b R---..RR..F-S-O-
c ..s...s...s...s.
c s.ss..s.s.ss..s.
c x---------------
c sss.sss.sss.sss.
a 1323132313231323

[house] meter=4 steps=4 tempo=116-136 harmony=minor chords=1,2,4,0.5 loose=0.0-0.1 weight=2.2
i bass=synbass comp=piano,synth,organ,pad lead=synth,mallets pad=pad,strings
d K=X...X...X...X... O=..X...X...X...X.
d K=X...X...X...X... Q=....X.......X... O=..x...x...x...x.
d K=X...X...X...X... Q=....X.......X... H=xxXxxxXxxxXxxxXx
d K=X...X...X...X... S=....X..o.o..X... O=..x...x...x...x. R=...x..x....x..x.
b ..R...R...R...R.
b R..R..R..R..R.R.
b R.R.R.R.R.R.R.R.
b .RRR.RRR.RRR.RRR
b ...R..R....R..R.
c x..x..x..x..x.x.
c ..x...x...x...x.
c x---------------
c s..s...s..s.s...
a 1.2.3.1.2.3.1.2.
a 1234123412341234

[techno-arp] meter=4 steps=4 tempo=110-150 harmony=minor chords=2,4,1 loose=0.0-0.05 weight=1.4
i bass=synbass comp=synth,pad lead=synth pad=pad,choir
d K=X...X...X...X...
d K=X...X...X...X... H=..x...x...x...x. Q=....x.......x...
d H=..x...x...x...x.
b .R.R.R.R.R.R.R.R
b RRRRRRRRRRRRRRRR
b ..RR..RR..RR..RR
c x---------------
c s..s..s..s..s.s.
a 1234321212343212
a 1.3.5.3.1.3.5.3.
a 1324132413241324
a 1..2..3..4..5.4.

[funk] meter=4 steps=4 tempo=88-126 harmony=funk chords=2,4,1 loose=0.2-1.0 weight=2.2
i bass=slap,ebass comp=clean,clav,epiano,organ lead=brass,sax,synth pad=brass,organ
d K=X.....x...x..x.. S=....X..g.g..X..g H=x.x.x.x.x.x.x.x.
d K=X.x....x..x..... S=....X.g..g.gX... H=xoxoxoxoxoxoxoxo
d K=X..x..x..xx..... S=....X..o.o..X.o. H=xxxxxxxxxxxxxxxx
d K=X.X.......x..x.. S=....X..X.X..X... H=x.x.x.x.x.x.O.x.
d K=x..x...x.x...x.. S=....X.......X..X D=x.x.x.x.x.x.x.x.
b R..R..O...R.S.O.
b R.R...SO..F.R...
b R-.....RR..S.O..
b R..O.R.S..O..RA.
b .RR.R..S.O..R...
c ..s.s...s..s..s.
c ...s..s....s..s.
c s.ss.ss.s.ss.ss.
c ....s.......s...
c x-..............
a 1.3.2..3.1..2.3.

[boom-bap] meter=4 steps=4 tempo=80-104 swing=0.5-0.64 unit=0.5 harmony=minor chords=2,1,4 loose=0.3-1.2 weight=2
i bass=ebass,upright,synbass comp=epiano,piano,strings,clean lead=sax,trumpet,mallets pad=pad,strings
d K=X.....x..xx..... S=....X.......X... H=x.x.x.x.x.x.x.x.
d K=X..x.....x...... S=....X.......X... H=x.xxx.x.x.xxx.x.
d K=X......x..x..x.. S=....X..g....X.g. H=xoxoxoxoxoxoxoxo
d K=x.x.......x.x... S=....X.......X... D=x.x.x.x.x.x.x.x.
b R-----R...R-....
b R..R.....F.....A
b R-......R.S.R...
c x---------------
c x-....x.........
c ..x...x...x...x.
a 1-..3-..2-..3-..

[trap] meter=4 steps=8 tempo=64-90 harmony=minor chords=2,4,1 loose=0.0-0.3 weight=1.8
i bass=synbass comp=mallets,pad,piano,synth lead=synth,winds,mallets pad=pad,choir
d K=X...........X.......x........... S=........X...............X....... H=x.x.x.x.x.x.x.x.x.x.x.x.x.xxx.x.
d K=X.....x.............X...x....... Q=........X...............X....... H=x.x.x.x.xxx.x.x.x.x.x.x.xxxxx.x.
d K=X.........x.....x.....x......... Q=........X...............X....... H=x...x...x...x...x..x..x.x...x...
b R-------------------R-----------
b R-----------R-------------------
b R---------R-----R---------------
c x-------------------------------
c x---x---x---x---x---x---x---x---
a 1---2---3---2---1---2---3---4---

[breakbeat] meter=4 steps=4 tempo=120-178 harmony=minor chords=2,4,1 loose=0.0-0.4 weight=1.5
i bass=synbass,ebass comp=synth,pad,piano lead=synth pad=pad,strings
d K=X.x.......xx.... S=....X..x.x..X..x D=x.x.x.x.x.x.x.x.
d K=X.........x..... S=....X.......X... H=xxxxxxxxxxxxxxxx
d K=X..x......x..x.. S=....X..g.X..X.g. H=x.x.x.x.x.x.x.x.
d K=X.....x...x..... S=....X..x....X... D=x...x...x...x...
b R---------------
b R..R......R..R..
b R-----R-----R---
c x---------------
c s..s..s.........
a 1-3-2-3-4-3-2-3-

[reggae] meter=4 steps=4 tempo=62-92 swing=0.5-0.6 unit=0.5 harmony=minor chords=1,0.5,2 loose=0.3-1.0 weight=2
i bass=ebass comp=clean,organ,piano lead=organ,sax,winds,brass pad=organ,brass
d K=........X....... R=........X....... H=x.x.x.x.x.x.x.x.
d K=....X.......X... R=....X.......X... H=x.x.x.x.x.x.x.x.
d K=........X....... S=........X....... H=xoxoxoxoxoxoxoxo
d K=X...X...X...X... R=........X..x..x. H=x.x.x.x.x.x.x.x.
d K=X.......X....... S=....X.......X... H=x.x.x.x.x.x.x.x.
b R-..R-..F-T-R-..
b ..R-..T-F-..R-..
b ....R.R.T...F...
b R-.R-.F-........
b R.....R.F.T.R...
c ..s...s...s...s.
c ..ss..ss..ss..ss
c ....s.......s...
c .s.s.s.s.s.s.s.s
a ..1...2...3...2.

[ska] meter=4 steps=2 tempo=110-168 harmony=rock chords=1,1,0.5 loose=0.3-1.0 weight=1.1
i bass=ebass,upright comp=clean,organ,piano lead=brass,sax,trumpet pad=brass
d K=X...X... S=..X...X. H=.x.x.x.x
d K=..X...X. R=..X...X. H=xxxxxxxx
d K=X.X.X.X. S=..X...X. O=.x.x.x.x
b R-T-F-S-
b R-R-F-F-
b W-W-W-W-
c .s.s.s.s
c .x.x.x.x
a 1-2-3-2-

[bossa] meter=4 steps=2 tempo=96-156 harmony=jazz chords=1,2,1 loose=0.3-1.0 weight=1.6
i bass=upright,ebass comp=nylon,piano,epiano lead=winds,sax,nylon,mallets pad=strings
d K=x..xx..x R=x..x..x...x..x.. H=xxxxxxxx
d K=x..xx..x R=..x..x..x..x..x. Z=xxxxxxxx
d K=x...x... Z=xoxoxoxo R=x..x...x
b R--RF--F
b R--F---F
b R---F---
c x..x..x...x..x..
c ..x..x..x..x..x.
c x-.x-.x-
c b.x.b.xx
a 1-3-2-3-

[samba] meter=2 steps=4 tempo=84-132 harmony=jazz chords=1,2,2 loose=0.3-1.0 weight=1.3
i bass=ebass,upright comp=nylon,piano,clean lead=winds,brass,nylon pad=strings,brass
d k=x..xX..x Z=xooxxoox L=....X..o
d k=..o.X... Y=XooxXoox R=x.x.xx.x.x.xx.x.
d K=x..xX..x S=x.x.xx.xx.xx.x.x H=xxxxxxxx
d L=....X... i=x.xx.xx. Z=xxxxxxxx a=x.x..x.xx..x.x..
b R--FR--F
b R---F---
b ...FR--F
c x.x..x.x.x.x..x.
c s..s..s.
c x--x--x-
a 1.2.3.2.

[son-clave] meter=4 steps=4 tempo=80-116 harmony=minor chords=1,1,2,0.5 loose=0.3-0.9 weight=1.7
i bass=upright,ebass comp=piano,nylon,piano lead=trumpet,brass,winds pad=brass
d V=X..X..X...X.X... c=..m...m...m...m. d=......XX......XX W=x...x...x...x...
d V=..X.X...X..X..X. d=......XX......XX G=x.xxx.xxx.xxx.xx
d V=X..X...X..X.X... i=x.x.xx.xx.x.xx.x d=......xx......xx
d Z=xxxxxxxxxxxxxxxx n=x..xx..xx..xx..x d=......xx......xx
d W=X...X...X...X... d=......XX......XX V=X..X..X...X.X...
b ......F-----P---
b R-----F-----P---
b ......R-----P---
b R-----F---O-----
c x.xxx.xxx.xxx.xx
c ..xx.xx.x.xx.xx.
c x..x..x...x.x...
c s.s..s.s.s.s..s.
a 1.23.23.1.23.23.
a 3.12.12.13.12.1.

[cha-cha] meter=4 steps=4 tempo=102-132 harmony=minor chords=1,2,1 loose=0.2-0.8 weight=1.3
i bass=upright,ebass comp=piano,organ,clean lead=winds,trumpet,brass pad=brass,strings
d W=X...X...X...X... G=X...xox.X...xox. d=............x.x.
d K=X...X...X...X... W=x...x...x...x... c=..m...m.......xx
d K=x...X...x...X... S=....X.......X.x. G=X...xxX...xxX...
b R-----F-O---....
b R-------..F-O---
b R---....F---A-F-
c ....s.......s.s.
c s...s...s...s.s.
c x.x.x...x.x.x...
a 1...3.2.1...3.2.

[bachata] meter=4 steps=4 tempo=108-142 harmony=minor chords=1,1,2 loose=0.2-0.8 weight=1
i bass=ebass comp=nylon,clean,steel lead=clean,nylon pad=strings
d n=x.x.x.x.x.x.X... G=x.xxx.xxx.xxx.xx
d n=x...x...x...X... Z=xoxoxoxoxoxoxoxo K=x...........X...
d b=x.x.x.x.x.x.X.n. G=x.xxx.xxx.xxx.xx S=............X...
b R---R---R---....
b R-......R---F---
b R-----F-F---....
c ..s...s...s...s.
c x...x...x...x-s.
a 1.3.2.3.1.3.2.3.
a 1234123412343-2-

[tango] meter=4 steps=2 tempo=108-134 harmony=minor chords=1,1,2 loose=0.5-1.5 weight=0.9
i bass=upright comp=piano,accordion,strings lead=fiddle,accordion,strings pad=strings
d S=X.X.X.XX K=X...X...
d S=o.o.o.ox
b R-R-R-R-
b R---R-RA
c s.s.s.ss
c s..s.-s.
c x-------
a 1-3-2-3-

[afro-68] meter=2 steps=3 tempo=84-132 harmony=modal chords=2,4,1 loose=0.3-1.0 weight=1.2
i bass=ebass,upright comp=clean,mallets,piano lead=winds,brass,mallets pad=choir,brass
d a=X.X.XXX.X.X. K=x..x..x..x.. d=..x..x..x..x
d W=X.X.XX.X.X.X c=x.xx.xx.xx.x d=..xx....xx..
d V=X.X..X.X..X. Z=xxxxxxxxxxxx K=x.....x.....
b R--R-F
b R-.F-.
b ..R..F
c x.x.x.
c x-----
c ..s..s
a 132132

[afrobeat] meter=4 steps=4 tempo=92-126 harmony=modal chords=2,4 loose=0.2-0.9 weight=1.2
i bass=ebass comp=clean,organ,epiano lead=sax,brass,trumpet pad=brass,organ
d K=X..x..x.X..x..x. S=....o.x.....o.x. H=x.xxx.xxx.xxx.xx
d K=X.....x.x..x.... R=..x..x....x..x.. Z=xxxxxxxxxxxxxxxx c=x..x..x...x.x...
d K=X...X...X...X... S=...X..X....X..X. H=..x...x...x...x. a=x..x..x...x.x...
b R..R..S.R..F..O.
b R.R..R..S.S..F..
c ..s..s....s..s..
c s..s..s...s.s...
a 1.23..2.1.23..2.

[metal] meter=4 steps=4 tempo=92-178 harmony=metal chords=1,1,0.5,2 loose=0.0-0.8 weight=1.6
i bass=ebass comp=dist lead=dist,synth pad=choir,strings
d K=xxxxxxxxxxxxxxxx S=....X.......X... C=X...X...X...X...
d K=X.xxX.xxX.xxX.xx S=....X.......X... D=X...X...X...X...
d K=X.x.X.x.X.x.X.x. S=..X...X...X...X. H=X.X.X.X.X.X.X.X.
d K=X..X..X..X..X.X. S=........X....... C=X...X...X...X...
d K=X..xX.....xxX... S=....X.......X... O=X...X...X...X...
b RRRRRRRRRRRRRRRR
b R.RRR.RRR.RRR.RR
b R--R--R--R--R-R-
b R---------------
c sssssssssssssssx
c s.sss.sss.sss.ss
c x--x--x--x--x-x-
c x---------------
a 1232123212321232

[motown] meter=4 steps=4 tempo=100-140 harmony=doowop chords=1,1,2,0.5 loose=0.3-1.1 weight=1.6
i bass=ebass comp=piano,clean,organ lead=brass,strings,sax pad=strings,brass
d K=X.x.....X.x..... S=X...X...X...X... H=x.x.x.x.x.x.x.x.
d K=X.....x.X....... S=....X.......X... Y=..x...x...x...x.
d K=X.......X.x..... S=....X.x.....X... Y=x.x.X.x.x.x.X.x.
d K=X..x..x.X..x.... S=....X.......X... H=x.x.x.x.x.x.x.x.
b R-.R.-F-O-.F.-S-
b R---R-.FR---T-F-
b R--R--F-R--F--A-
b R-----F-T-A-P---
c ....s.......s...
c s...s...s...s...
c x---------------
c ..s...s...s...s.
a 1-3-2-3-1-3-2-3-

[boogie] meter=4 steps=3 tempo=120-190 harmony=blues chords=1,1 loose=0.3-1.2 weight=1.2
i bass=upright,piano comp=piano,clean lead=piano,sax,clean pad=brass
d K=X.....X..... S=...X.....X.. D=x.xx.xx.xx.x
d K=x..x..x..x.. S=...X....oX.o H=x.xx.xx.xx.x
d S=o.oX.oo.oX.o
b R--T--F--S--O--S--F--T--
b R-OR-OR-OR-O
b W--W--W--W--
c ...s.....s..
c ..s..s..s..s
c xxxxxxxxxxxx
a 1-23-21-23-2

[rocknroll] meter=4 steps=2 tempo=140-200 harmony=blues chords=1,1 loose=0.3-1.2 weight=1.3
i bass=upright,ebass comp=piano,clean lead=sax,clean,piano pad=organ
d K=X...X... S=..X...X. D=xxxxxxxx
d K=X..xX... S=..X..xX. H=xxxxxxxx
d K=X.x.X.x. S=..XX..X. D=x.x.x.x.
b R-T-F-S-
b R-R-F-F-
b RRTTFFSS
b O-S-F-T-
c xxxxxxxx
c ..s...s.
c xxSSxxxx
c x---x-s-
a 12321232

[five-four] meter=5 steps=2 tempo=96-178 harmony=modal chords=1,1,2 loose=0.3-1.0 weight=0.7
i bass=upright,ebass comp=piano,clean,epiano lead=sax,winds,synth pad=pad,strings
d K=X..x..X... S=..x.....x. D=x.xxx.x.x.
d K=X.....X... S=....X...X. H=xxxxxxxxxx
b R--R--F-A-
b R-----F---
c x--x--x-x-
c x-----x---
a 1232123-2-

[seven-four] meter=7 steps=2 tempo=110-190 harmony=modal chords=1,1 loose=0.2-1.0 weight=0.5
i bass=ebass comp=dist,clean,synth lead=synth,dist pad=pad
d K=X...X...x.x... S=..X...X.....X. H=x.x.x.x.x.x.x.
d K=X.....X...X... S=....X.......X. H=xxxxxxxxxxxxxx
b R---R---R---A-
b R-----R---F---
c x-------x-----
c x-x-x-x-x-xxx-
a 12321232123232

[strum] meter=4 steps=4 tempo=66-140 harmony=pop chords=1,1,0.5,2 loose=0.6-1.8 weight=2.4
i bass=upright,ebass comp=steel,nylon,steel,clean lead=harmonica,winds,fiddle pad=strings
d -
d Z=x.o.x.o.x.o.x.o.
d K=X.......X....... Y=....x.......x...
b R-------R-------
b R-------F-------
c x---x-x-..x-x-x-
c x-x-x-x-x-x-x-x-
c b---x-x-b---x-x-
c x---x-xxx---x-xx
c x---s-xxs-xxs-x-
c x-----x-..x---x-
a 1-2-3-2-1-2-3-2-

[fingerpick] meter=4 steps=2 tempo=66-132 harmony=folk chords=1,1,2,0.5 loose=0.6-1.9 weight=1.7
i bass=upright comp=nylon,steel,harp lead=winds,fiddle,nylon pad=strings
d -
b R-------
b R---F---
c x-------
a 13241324
a 1-243-24
a 14321432
a 12345432
a 1-3-2-3-

[fingerpick-34] meter=3 steps=2 tempo=72-140 harmony=folk chords=1,1,2 loose=0.6-1.9 weight=0.9
i bass=upright comp=nylon,steel,harp,piano lead=winds,fiddle,strings pad=strings
d -
b R-----
c x-----
a 123432
a 1-3-2-
a 132323

[piano-solo] meter=4 steps=2 tempo=58-138 harmony=classical chords=1,0.5,1 loose=0.8-2.0 weight=1.4
i bass=piano comp=piano,piano,epiano lead=piano pad=piano
d -
b R-------
b R---F---
b R-F-O-F-
b R-O-R-O-
c x---x---
c .-x-.-x-
c xxxxxxxx
c x-------
a 13231323
a 12345432

[piano-34] meter=3 steps=2 tempo=66-176 harmony=classical chords=1,1,2 loose=0.8-2.0 weight=0.9
i bass=piano comp=piano,nylon,harp lead=piano,winds,strings pad=strings
d -
b R-----
c ..x-x-
c b-x-x-
a 123432
a 1-3-2-

[strings] meter=4 steps=2 tempo=60-132 harmony=classical chords=1,0.5,1,2 loose=0.6-1.8 weight=1.2
i bass=strings,tuba comp=strings,pizz,horns lead=strings,winds,trumpet,fiddle pad=strings,choir
d -
d K=X.......  C=?.......
b R-------
b R-R-R-R-
b R---F---
b W-W-W-W-
c xxxxxxxx
c x---x---
c x-x-x-x-
c ..s...s.
a 12321232

[choir] meter=4 steps=2 tempo=56-112 harmony=classical chords=0.5,0.25,0.5,1 loose=0.6-1.8 weight=1.2
i bass=choir comp=choir,organ lead=choir,strings pad=choir
d -
d Q=..x...x.
b R-W-R-W-
b R---R---
c x-x-x-x-
c x---x---
c x-x-x-xx
a 1-2-3-2-

[percussion] meter=4 steps=4 tempo=80-140 harmony=modal chords=4 loose=0.2-1.0 weight=1.2
i bass=ebass comp=mallets lead=winds,mallets pad=choir
d K=X.......X....... c=x.xx.xx.x.xx.xx. d=...x..x....x..x. Z=xxxxxxxxxxxxxxxx
d d=X..xX..xX..xX.xx c=..x...x...x...x. W=x...x...x...x...
d L=X.....X...X..... M=....x.......x... T=..x...x.......xx Z=x.x.x.x.x.x.x.x.
d K=X..X..X.X..X..X. S=....X.......X... a=x.x.xx.xx.x.xx.x
d b=xoxxoxxoxoxxoxxo n=....x..x....x..x Q=....X.......X...
b R---------------
c x---------------
a 1...3...2...3...
"""

_RANGES = {"tempo": "tempo_bpm", "swing": "swing", "loose": "looseness"}


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
    blocks = [block for block in text.split("\n[") if block.strip()]
    styles = [_parse_block(block.lstrip("[\n")) for block in blocks]
    return {style.name: style for style in styles}


STYLES = parse_styles(TABLE)

# Two rhythm styles no training song uses: what the network does with them is new to it.
HELD_OUT_STYLES = frozenset({"ska", "bachata"})
