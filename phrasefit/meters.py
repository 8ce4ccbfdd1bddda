"""The one table of meters: how songs go in bars, and how dances are counted to them.

A *song meter* is the number of beats in a bar of music.  A *dance meter* is how a routine
is counted, written and called; `Routine.meter` and routine files name it by its
`bar_counts`.  A *level* is how many beats make one count.

Another dance meter is one row in `DANCE_METERS` (and its tests), another song meter one in
`SONG_METERS`.  What is said of eights, phrases and waltzes is common practice, no source,
but for the tags (see `DanceMeter`).
"""

from __future__ import annotations

from dataclasses import dataclass

# Counts a minute that anybody dances to; common practice, no source.
TEMPO_RANGE = (20.0, 400.0)
LONGEST_BAR = 64  # beats; far beyond any song, so that a slip is noticed

# What one count is, by the beats it holds.
LEVELS: dict[float, str] = {
    0.5: "two counts on every beat",
    1.0: "one count a beat",
    2.0: "every other beat",
    3.0: "one count for three beats",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class DanceMeter:
    """How routines of one meter are counted, written and called.

    `bar_counts` names the meter; `group_counts` (two bars) is what sheets are written in
    and dancers call out; `phrase_counts` is what they call a phrase; `count_in` is spoken
    before a dance.  `usual_tags` are lengths of tags in use (those of fours: club pages on
    "Phrasing music" and "Line dancing terms", midlandmavericks.com), `odd_bar_tags` those that
    are danced besides where a bar of the song is odd (common practice, no source).

    A song goes with it if its bars, as counted, are multiples of `song_bar_counts`.
    `levels` are the beats a count that the tempo may choose among, the first choice first;
    bars that are multiples of `dotted_bar_beats` (0 = none) are danced to dotted beats,
    three beats a count.

    In words: `name` is what its music is called, `kind` finishes "is counted ...",
    `groups` "is written ...", `one_group` is one group, `dance` the name on sheets where it
    is not the usual one, and `rhythms` are what a routine file may call it.
    """

    bar_counts: int
    group_counts: int
    phrase_counts: int
    count_in: int
    usual_tags: tuple[int, ...]
    odd_bar_tags: tuple[int, ...]
    song_bar_counts: int
    levels: tuple[float, ...]
    dotted_bar_beats: int
    name: str
    kind: str
    groups: str
    one_group: str
    dance: str
    rhythms: tuple[str, ...]

    def levels_for(self, song_meter: int) -> tuple[float, ...]:
        """List the levels that the tempo may choose among for bars of so many beats."""
        if self.dotted_bar_beats and song_meter % self.dotted_bar_beats == 0:
            return (3.0,)
        return tuple(level for level in self.levels if divides(level, song_meter))

    def fits(self, song_meter: int, beats_per_count: float = 1.0) -> bool:
        """Tell whether bars of so many beats, counted at a level, can be danced in it.

        Bars of one count say nothing about the dance, so that they fit every one.
        """
        bar_counts = song_meter / max(1.0, beats_per_count)
        return bar_counts == 1 or bar_counts % self.song_bar_counts == 0


FOURS = DanceMeter(
    bar_counts=4, group_counts=8, phrase_counts=32, count_in=8, usual_tags=(2, 4, 8, 16),
    odd_bar_tags=(1, 3, 5),
    song_bar_counts=2, levels=(1.0, 2.0, 0.5), dotted_bar_beats=6,
    name="fours", kind="in fours", groups="in eights", one_group="an eight", dance="",
    rhythms=("4/4", "2/4", "6/8", "12/8"),
)  # fmt: skip
THREES = DanceMeter(
    bar_counts=3, group_counts=6, phrase_counts=24, count_in=6, usual_tags=(3, 6, 12),
    odd_bar_tags=(1, 2),
    song_bar_counts=3, levels=(1.0,), dotted_bar_beats=0,
    name="threes", kind="in threes (a waltz)", groups="waltz, in sixes", one_group="a six",
    dance="waltz",
    rhythms=("3/4", "waltz"),
)  # fmt: skip
DANCE_METERS: dict[int, DanceMeter] = {row.bar_counts: row for row in (FOURS, THREES)}


@dataclass(frozen=True, slots=True, kw_only=True)
class SongMeter:
    """Bars of music of `beats` beats: what they are called, and how they are counted.

    Counted beat by beat they go in phrases of the dance meter `counted`; sixes are
    danced to dotted beats as well (`DanceMeter.dotted_bar_beats`).
    """

    beats: int
    name: str
    counted: DanceMeter

    @property
    def phrase_beats(self) -> tuple[int, int, int]:
        """Beats of a phrase, of half and of a quarter of it."""
        whole = self.counted.phrase_counts
        return whole, whole // 2, whole // 4


SONG_METERS: dict[int, SongMeter] = {
    row.beats: row
    for row in (
        SongMeter(beats=2, name="twos", counted=FOURS),
        SongMeter(beats=3, name="threes (waltz)", counted=THREES),
        SongMeter(beats=4, name="fours", counted=FOURS),
        SongMeter(beats=6, name="sixes", counted=THREES),
    )
}


def phrase_beats_of(song_meter: int) -> tuple[int, int, int]:
    """Give the beats of a phrase, of half and of a quarter of it: eight, four and two bars."""
    known = SONG_METERS.get(song_meter)
    return known.phrase_beats if known else (8 * song_meter, 4 * song_meter, 2 * song_meter)


def counted_beat_by_beat(song_meter: int) -> DanceMeter:
    """Give the dance meter of bars of so many beats where every beat is counted."""
    return THREES if song_meter % THREES.song_bar_counts == 0 else FOURS


def divides(beats_per_count: float, song_meter: int) -> bool:
    """Tell whether bars of so many beats hold whole counts at this level."""
    return beats_per_count <= 1 or song_meter % beats_per_count == 0
