"""The small part of a bar map that ranking needs, as bytes, and many of them at once.

A routine meets a song on one of few *layouts*: counted in fours or threes, at half,
single or double speed, with phrases of 32 or 64 (24 or 48) counts.  A summary holds,
for every layout that `fit.grid` could choose for the song, the number of counts, the
first one, where the singing begins, and where phrases may begin: about 2 kB a
song, so that a hundred thousand songs can be laid out without reading their maps.

Bytes of a summary: records of three uint16, little-endian.  First two records for each of
`LAYOUTS` (counts, first one, records that follow; whether a person said where the
singing begins, on which count, and nothing; no counts = not danceable so), then for
each layout where phrases may begin: the count, what is expected of phrases inside sections,
which `Costs.inner_phrase` weighs, and of sections (both in `UNIT`).  The two highest bits of
the last say whether one begins there in the form of the song that is shown (2 where that is
so whatever `inner_phrase` is, else 1).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from phrasefit.errors import NoFitError, ParameterError
from phrasefit.fit.costs import Costs
from phrasefit.fit.doubts import doubts_of_song
from phrasefit.fit.grid import beat_tempo, count_grid, dance_phrase_counts, level_of
from phrasefit.fit.tempo import DANCEABLE_CPM
from phrasefit.meters import DANCE_METERS, LEVELS, DanceMeter
from phrasefit.model import BarMap, CountGrid, Part, Routine, SongSummary

SUMMARY_VERSION = 4  # raise it when the bytes or what fit.grid puts into them change
MOST_COUNTS = 0xFFFF  # longer songs have no summary that could be ranked


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """One way to count a song: dancers' meter (4, 3), beats a count, phrases doubled."""

    meter: int
    beats_per_count: float
    double: bool


LAYOUTS: tuple[Layout, ...] = tuple(
    Layout(meter=meter, beats_per_count=level, double=double)
    for meter in DANCE_METERS
    for level in LEVELS
    for double in (False, True)
)
_HEAD = np.dtype(
    [
        ("n_counts", "<u2"), ("first_one", "<u2"), ("n_starts", "<u2"),
        ("is_sung", "<u2"), ("singing", "<u2"), ("nothing", "<u2"),
    ]
)  # fmt: skip
_START = np.dtype([("count", "<u2"), ("inner", "<u2"), ("section", "<u2")])
UNIT = 1 / 16_000  # of strengths; maps have them to a thousandth, so that nothing is lost
SHOWN_BIT = 14
DAMAGED = "a song summary is damaged; listen to the songs again"
HEAD_RECORDS = len(LAYOUTS) * _HEAD.itemsize // _START.itemsize


def summary_of(bar_map: BarMap, *, key: str, version: str = "") -> SongSummary:
    """Sum up a song for ranking.

    Parameters
    ----------
    bar_map : BarMap
    key : str
        What names the song: its content hash, or a path.
    version : str
        Of the analysis; that of summaries is added.
    """
    # A map without beats fits no routine; its tempo only has to be a number.
    tempo_bpm = beat_tempo(bar_map) if bar_map.beat_times_s.size else 1.0
    return SongSummary(
        content_hash=key,
        version=summary_version(version),
        title=bar_map.title,
        artist=bar_map.artist,
        duration_s=bar_map.duration_s,
        tempo_bpm=tempo_bpm,
        meter=bar_map.meter,
        confidence=least_confidence(bar_map),
        beats_per_count=bar_map.beats_per_count,
        counts_per_minute=tempo_bpm / level_of(bar_map) if bar_map.beat_times_s.size else 0.0,
        doubts=",".join(doubts_of_song(bar_map)),
        cut_off=bar_map.is_cut_off,
        grid=layouts_of(bar_map),
    )


def summary_version(version: str) -> str:
    """Name what summaries made from this version of analyses are kept under."""
    return f"{version}.{SUMMARY_VERSION}"


def least_confidence(bar_map: BarMap) -> float:
    """Give the probability of the least sure reading of a song (0-1)."""
    sure = bar_map.confidence
    return min(sure.pulse, sure.beats, sure.downbeat, sure.meter, sure.phrase)


def layouts_of(bar_map: BarMap) -> bytes:
    """Lay out a bar map in every way a routine may want it.

    Returns
    -------
    bytes
        As the top of this module says; a map without beats or ones gives a summary
        in which no layout is danceable.
    """
    heads = np.zeros(len(LAYOUTS), dtype=_HEAD)
    bodies = []
    for head, layout in zip(heads, LAYOUTS, strict=True):
        starts = _starts(bar_map, layout)
        if starts is not None:
            grid, body = starts
            head["n_counts"], head["first_one"] = len(grid.strength), np.argmax(grid.bar_start)
            head["n_starts"] = len(body)
            head["is_sung"], head["singing"] = grid.singing is not None, grid.singing or 0
            bodies.append(body)
    return heads.tobytes() + b"".join(body.tobytes() for body in bodies)


def _starts(bar_map: BarMap, layout: Layout) -> tuple[CountGrid, np.ndarray] | None:
    """Give the counts and the phrase starts; None where no routine counts it so."""
    if layout.beats_per_count not in _levels(bar_map, DANCE_METERS[layout.meter]):
        return None
    counts = DANCE_METERS[layout.meter].phrase_counts * (2 if layout.double else 1)
    dance = Routine(
        name="", walls=1, meter=layout.meter, parts=(Part(name="A", counts=counts, turn_deg=0),)
    )
    counted = replace(bar_map, beats_per_count=layout.beats_per_count)
    try:
        full, fixed = (
            count_grid(counted, routine=dance, costs=Costs(inner_phrase=x)) for x in (1.0, 0.0)
        )
    except (NoFitError, ParameterError):
        return None
    if len(full.strength) > MOST_COUNTS:
        return None
    where = np.flatnonzero((full.expected > 0) | (full.strength > 0))
    inner = full.expected - fixed.expected
    body = np.zeros(len(where), dtype=_START)
    body["count"] = where
    shown = (full.strength[where] > 0) + 1 * (fixed.strength[where] > 0)
    body["inner"] = np.rint(inner[where] / UNIT)
    body["section"] = np.rint(fixed.expected[where] / UNIT).astype(int) + (shown << SHOWN_BIT)
    return full, body


def _levels(bar_map: BarMap, dance: DanceMeter) -> list[float]:
    """List the levels at which a routine may count the song; none where meters do not agree."""
    chosen = bar_map.beats_per_count
    levels = (chosen,) if chosen else dance.levels_for(bar_map.meter)
    return [level for level in levels if dance.fits(bar_map.meter, level)]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Grids:
    """Many songs laid out in counts for one routine.

    `n_counts`, `first_one` [shape=(n_songs,)], 0 counts where the song cannot be danced
    so; `singing` [shape=(n_songs,)], -1 where it is not known; `counts_per_minute`
    [shape=(n_songs,)]; where phrases of song `i` may begin are entries ``edges[i]`` to
    ``edges[i + 1]`` of `count` (ascending), `expected` and `shown` (see `CountGrid`).
    """

    n_counts: np.ndarray
    first_one: np.ndarray
    singing: np.ndarray
    counts_per_minute: np.ndarray
    edges: np.ndarray
    count: np.ndarray
    expected: np.ndarray
    shown: np.ndarray

    @property
    def song(self) -> np.ndarray:
        """The song of each place where a phrase may begin."""
        return np.repeat(np.arange(len(self.n_counts)), np.diff(self.edges))


def grids_for(
    routine: Routine,
    *,
    summaries: Sequence[bytes],
    tempo_bpm: np.ndarray,
    meter: np.ndarray,
    beats_per_count: np.ndarray,
    costs: Costs,
) -> Grids:
    """Lay out many songs as `count_grid` would, from their summaries.

    Parameters
    ----------
    summaries : sequence of bytes [length n_songs]
    tempo_bpm, meter : np.ndarray [shape=(n_songs,)]
        Beats a minute (`fit.grid.beat_tempo`) and beats a bar.
    beats_per_count : np.ndarray [shape=(n_songs,)]
        The level that a person chose; NaN where nobody did.

    Raises
    ------
    ParameterError
        If a summary has not the length it must have.
    """
    by_tempo = choose_levels(tempo_bpm, meter, routine)
    level = np.where(np.isnan(beats_per_count), by_tempo, beats_per_count)
    base = DANCE_METERS[routine.meter].phrase_counts
    double = dance_phrase_counts(routine.meter, routine) != base
    wanted = np.zeros(len(level), dtype=int)
    for index, layout in enumerate(LAYOUTS):
        if layout.meter == routine.meter and layout.double == double:
            wanted[level == layout.beats_per_count] = index
    lengths, rests = np.divmod(np.array([len(s) for s in summaries], dtype=int), _START.itemsize)
    if np.any(rests) or np.any(lengths < HEAD_RECORDS):
        raise ParameterError(DAMAGED)
    records = np.frombuffer(b"".join(summaries), dtype=np.uint8).view(_START)
    ends = np.cumsum(lengths)
    heads = records[(ends - lengths)[:, None] + np.arange(HEAD_RECORDS)].view(_HEAD)
    n_starts = heads["n_starts"].astype(np.int64)
    if np.any(n_starts.sum(axis=1) + HEAD_RECORDS != lengths):
        raise ParameterError(DAMAGED)
    rows = np.arange(len(level))
    before = np.cumsum(n_starts, axis=1)[rows, wanted] - n_starts[rows, wanted]
    chosen = heads[rows, wanted]
    size = chosen["n_starts"].astype(np.int64)
    edges = np.concatenate([[0], np.cumsum(size)])
    first = np.repeat(ends - lengths + HEAD_RECORDS + before - edges[:-1], size)
    starts = records[first + np.arange(edges[-1])]
    shown, section = np.divmod(starts["section"], 1 << SHOWN_BIT)
    expected = UNIT * (section + costs.inner_phrase * starts["inner"])
    return Grids(
        n_counts=chosen["n_counts"].astype(np.int64),
        first_one=chosen["first_one"].astype(np.int64),
        singing=np.where(chosen["is_sung"], chosen["singing"].astype(np.int64), -1),
        counts_per_minute=tempo_bpm / level,
        edges=edges,
        count=starts["count"].astype(np.int64),
        expected=np.minimum(expected, 1.0),
        shown=shown > (costs.inner_phrase == 0),
    )


def choose_levels(tempo_bpm: np.ndarray, meter: np.ndarray, routine: Routine) -> np.ndarray:
    """Choose beats a count for many songs, as `fit.grid.choose_level` does for one."""
    low, high = routine.tempo_bpm or DANCEABLE_CPM
    chosen = np.ones(len(meter))
    for song_meter in np.unique(meter).tolist():
        mine = meter == song_meter
        levels = np.array(DANCE_METERS[routine.meter].levels_for(song_meter))
        tempo = tempo_bpm[mine, None] / levels
        off = np.maximum(0, np.maximum(np.log(low / tempo), np.log(tempo / high)))
        chosen[mine] = levels[np.argmin(np.round(off, 9), axis=1)]
    return chosen
