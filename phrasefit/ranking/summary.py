"""The small part of a bar map that ranking needs, as bytes, and many of them at once.

A routine meets a song on one of few *layouts*: counted in fours or threes, at half,
single or double speed, with phrases of 32 or 64 (24 or 48) counts.  A summary holds,
for every layout that `fit.grid` could choose for the song, the number of counts, the
first one and the phrase starts with their strengths: about 1 kB a song, so that a
hundred thousand songs can be laid out without reading their maps.

Bytes of a summary: records of six bytes, little-endian.  First one record for each of
`LAYOUTS` (three uint16: counts, first one, phrase starts; no counts = not danceable so),
then for each layout its phrase starts (uint16 count, float32 strength, negative where
`Costs.inner_phrase` weighs it).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from phrasefit.errors import NoFitError, ParameterError
from phrasefit.fit.costs import Costs
from phrasefit.fit.grid import DANCEABLE_CPM, PHRASE_COUNTS, count_grid, dance_phrase_counts
from phrasefit.model import BarMap, Part, Routine

SUMMARY_VERSION = 1  # raise it when the bytes or what fit.grid puts into them change
MOST_COUNTS = 0xFFFF  # longer songs have no summary that could be ranked


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """One way to count a song: dancers' meter (4, 3), beats a count, phrases doubled."""

    meter: int
    beats_per_count: float
    double: bool


LAYOUTS: tuple[Layout, ...] = tuple(
    Layout(meter=meter, beats_per_count=level, double=double)
    for meter, levels in ((4, (1.0, 2.0, 0.5, 3.0)), (3, (1.0,)))
    for level in levels
    for double in (False, True)
)
_HEAD = np.dtype([("n_counts", "<u2"), ("first_one", "<u2"), ("n_starts", "<u2")])
_START = np.dtype([("count", "<u2"), ("strength", "<f4")])


def summarise(bar_map: BarMap) -> bytes:
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
            head["n_counts"], head["first_one"], body = starts
            head["n_starts"] = len(body)
            bodies.append(body)
    return heads.tobytes() + b"".join(body.tobytes() for body in bodies)


def _starts(bar_map: BarMap, layout: Layout) -> tuple[int, int, np.ndarray] | None:
    """Give counts, first one and phrase starts; None where no routine counts it so."""
    if layout.beats_per_count not in _levels(bar_map.meter, layout.meter):
        return None
    counts = PHRASE_COUNTS[layout.meter] * (2 if layout.double else 1)
    dance = Routine(
        name="", walls=1, meter=layout.meter, parts=(Part(name="A", counts=counts, turn_deg=0),)
    )
    level = layout.beats_per_count
    try:
        full, fixed = (
            count_grid(bar_map, beats_per_count=level, routine=dance, costs=Costs(inner_phrase=x))
            for x in (1.0, 0.0)
        )
    except (NoFitError, ParameterError):
        return None
    if len(full.strength) > MOST_COUNTS:
        return None
    where = np.flatnonzero(full.strength)
    body = np.zeros(len(where), dtype=_START)
    body["count"] = where
    body["strength"] = np.where(fixed.strength[where] > 0, 1, -1) * full.strength[where]
    return len(full.strength), int(np.argmax(full.bar_start)), body


def _levels(song_meter: int, dance_meter: int) -> tuple[float, ...]:
    """List the levels `choose_level` or a person may choose; none where meters do not agree."""
    if dance_meter == 3:
        return (1.0,) if song_meter % 3 == 0 or song_meter == 1 else ()
    if song_meter % 6 == 0:
        return (3.0, 1.0)
    if song_meter % 2 == 0:
        return (1.0, 2.0, 0.5)
    return (1.0, 0.5) if song_meter == 1 else ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Grids:
    """Many songs laid out in counts for one routine.

    `n_counts`, `first_one` [shape=(n_songs,)], 0 counts where the song cannot be danced
    so; `counts_per_minute` [shape=(n_songs,)]; the phrase starts of song `i` are entries
    ``edges[i]`` to ``edges[i + 1]`` of `count` (ascending) and `strength`.
    """

    n_counts: np.ndarray
    first_one: np.ndarray
    counts_per_minute: np.ndarray
    edges: np.ndarray
    count: np.ndarray
    strength: np.ndarray

    @property
    def song(self) -> np.ndarray:
        """The song of each phrase start."""
        return np.repeat(np.arange(len(self.n_counts)), np.diff(self.edges))


def grids_for(
    routine: Routine,
    *,
    summaries: Sequence[bytes],
    tempo_bpm: np.ndarray,
    meter: np.ndarray,
    as_tracked: np.ndarray,
    costs: Costs,
) -> Grids:
    """Lay out many songs as `count_grid` would, from their summaries.

    Parameters
    ----------
    summaries : sequence of bytes [length n_songs]
    tempo_bpm, meter : np.ndarray [shape=(n_songs,)]
        Beats a minute (`fit.grid.beat_tempo`) and beats a bar.
    as_tracked : np.ndarray [shape=(n_songs,), bool]
        A person chose the beat of the song: it is the count.

    Raises
    ------
    ParameterError
        If a summary has not the length it must have.
    """
    level = np.where(as_tracked, 1.0, choose_levels(tempo_bpm, meter, routine))
    base = PHRASE_COUNTS[routine.meter]
    double = dance_phrase_counts(routine.meter, routine) != base
    wanted = np.zeros(len(level), dtype=int)
    for index, layout in enumerate(LAYOUTS):
        if layout.meter == routine.meter and layout.double == double:
            wanted[level == layout.beats_per_count] = index
    records = np.frombuffer(b"".join(summaries), dtype=np.uint8).view(_HEAD)
    lengths = np.array([len(s) for s in summaries], dtype=np.int64) // _HEAD.itemsize
    ends = np.cumsum(lengths)
    heads = records[(ends - lengths)[:, None] + np.arange(len(LAYOUTS))]
    n_starts = heads["n_starts"].astype(np.int64)
    if np.any(n_starts.sum(axis=1) + len(LAYOUTS) != lengths):
        raise ParameterError("a song summary is damaged; listen to the songs again")
    rows = np.arange(len(level))
    before = np.cumsum(n_starts, axis=1)[rows, wanted] - n_starts[rows, wanted]
    chosen = heads[rows, wanted]
    size = chosen["n_starts"].astype(np.int64)
    edges = np.concatenate([[0], np.cumsum(size)])
    first = np.repeat(ends - lengths + len(LAYOUTS) + before - edges[:-1], size)
    starts = records.view(_START)[first + np.arange(edges[-1])]
    strength = np.where(starts["strength"] < 0, -costs.inner_phrase, 1.0) * starts["strength"]
    return Grids(
        n_counts=chosen["n_counts"].astype(np.int64),
        first_one=chosen["first_one"].astype(np.int64),
        counts_per_minute=tempo_bpm / level,
        edges=edges,
        count=starts["count"].astype(np.int64),
        strength=strength,
    )


def choose_levels(tempo_bpm: np.ndarray, meter: np.ndarray, routine: Routine) -> np.ndarray:
    """Choose beats a count for many songs, as `fit.grid.choose_level` does for one."""
    if routine.meter == 3:
        return np.ones(len(meter))
    low, high = routine.tempo_bpm or DANCEABLE_CPM
    levels = np.array([1.0, 2.0, 0.5])
    tempo = tempo_bpm[:, None] / levels
    distance = np.round(np.maximum(0, np.maximum(np.log(low / tempo), np.log(tempo / high))), 9)
    distance[meter % 2 != 0, 1] = np.inf
    level = levels[np.argmin(distance, axis=1)]
    level[meter % 6 == 0] = 3.0
    return level
