"""Which songs of a collection go best with a routine.

Every song is scored at once from its summary (`ranking.scores`); that score is never below
the planner's.  Songs are then planned with `fit_routine`, the best first, until no
other can come before the last one wanted: the rows returned are exact, and so is the
claim that no song left out belongs among them.

The order: songs whose tempo can be brought in range first, then by score (to a tenth
of a point), then the smaller change of tempo, the surer analysis, the title.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from phrasefit.errors import NoFitError, ParameterError, PhrasefitError
from phrasefit.fit.costs import Costs
from phrasefit.fit.grid import beat_tempo
from phrasefit.fit.planner import DEFAULT_MAX_CHANGES, fit_routine
from phrasefit.fit.tempo import TEMPO_ROWS, TempoRow, tempo_verdict
from phrasefit.model import BarMap, FitPlan, Routine
from phrasefit.ranking.scores import best_scores, can_batch
from phrasefit.ranking.starts import find_starts
from phrasefit.ranking.summary import Grids, grids_for, summarise

MOST_CHANGE_PERCENT = 8.0  # faster or slower than that is heard; from memory, no source
FIRST_PLANNED = 8  # songs planned at a time while looking for the best
FLOAT_POINTS = 0.01  # what single precision may take off a score


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SongTable:
    """The songs of a collection as ranking sees them; one entry a song.

    `keys` name the songs (content hashes, paths); `tempo_bpm` are beats a minute,
    `meter` beats a bar, `confidence` (0-1) that of the least sure reading; `as_tracked`
    where a person chose the beat, so that one beat is one count.
    """

    keys: tuple[str, ...]
    titles: tuple[str, ...]
    artists: tuple[str, ...]
    duration_s: np.ndarray
    tempo_bpm: np.ndarray
    meter: np.ndarray
    confidence: np.ndarray
    as_tracked: np.ndarray
    summaries: tuple[bytes, ...]

    @classmethod
    def of(cls, bar_maps: Sequence[BarMap], keys: Sequence[str] = ()) -> SongTable:
        """Put bar maps on a shelf; without `keys` they are named by their place."""
        return cls(
            keys=tuple(keys) or tuple(str(i) for i in range(len(bar_maps))),
            titles=tuple(m.title for m in bar_maps),
            artists=tuple(m.artist for m in bar_maps),
            duration_s=np.array([m.duration_s for m in bar_maps], dtype=float),
            tempo_bpm=np.array([table_tempo(m) for m in bar_maps], dtype=float),
            meter=np.array([m.meter for m in bar_maps], dtype=int),
            confidence=np.array([least_confidence(m) for m in bar_maps], dtype=float),
            as_tracked=np.zeros(len(bar_maps), dtype=bool),
            summaries=tuple(summarise(m) for m in bar_maps),
        )

    def only(self, which: np.ndarray) -> SongTable:
        """Take the songs at these indices."""
        index = which.tolist()
        return SongTable(
            keys=tuple(self.keys[i] for i in index),
            titles=tuple(self.titles[i] for i in index),
            artists=tuple(self.artists[i] for i in index),
            duration_s=self.duration_s[which],
            tempo_bpm=self.tempo_bpm[which],
            meter=self.meter[which],
            confidence=self.confidence[which],
            as_tracked=self.as_tracked[which],
            summaries=tuple(self.summaries[i] for i in index),
        )


def table_tempo(bar_map: BarMap) -> float:
    """Give the beats a minute; 1 for a map without beats, which no routine fits anyway."""
    return beat_tempo(bar_map) if bar_map.beat_times_s.size else 1.0


def least_confidence(bar_map: BarMap) -> float:
    """Give the probability of the least sure reading of a song (0-1)."""
    sure = bar_map.confidence
    return min(sure.pulse, sure.beats, sure.downbeat, sure.meter, sure.phrase)


@dataclass(frozen=True, slots=True, kw_only=True)
class SongFilter:
    """Which songs to look at; everything left out does not matter.

    `counts_per_minute` as danced; `meter` beats a bar; `words` must all be in title or
    artist, in any case; `max_change_percent`: a tempo further off comes last.
    """

    counts_per_minute: tuple[float, float] | None = None
    meter: int | None = None
    min_confidence: float = 0.0
    words: tuple[str, ...] = ()
    max_change_percent: float = MOST_CHANGE_PERCENT

    def __post_init__(self) -> None:
        if (
            self.counts_per_minute
            and not 0 < self.counts_per_minute[0] <= self.counts_per_minute[1]
        ):
            low, high = self.counts_per_minute
            raise ParameterError(f"tempo {low:g}-{high:g} is no range; give the lower one first")
        if not 0 <= self.min_confidence <= 1:
            raise ParameterError(f"min_confidence={self.min_confidence:g} must lie in 0 to 1")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RankedSong:
    """A song of the ranking: its key and index on the shelf, and its plan."""

    key: str
    index: int
    fit: FitPlan


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ranking:
    """The best songs for a routine.

    `n_songs` were looked at, `n_filtered` of them put aside by `SongFilter`, `unfit` by the
    reason given; `n_planned` were planned exactly, the others cannot come before the
    last of `songs`.
    """

    routine: Routine
    songs: tuple[RankedSong, ...]
    n_songs: int
    n_filtered: int
    n_planned: int
    unfit: dict[str, int] = field(default_factory=dict)


Planner = Callable[[Sequence[int]], Sequence[FitPlan | PhrasefitError]]


def rank(
    bar_maps: Sequence[BarMap],
    routine: Routine,
    *,
    top: int | None = None,
    wanted: SongFilter | None = None,
    max_changes: int = DEFAULT_MAX_CHANGES,
    costs: Costs | None = None,
) -> Ranking:
    """Rank bar maps for a routine, the best first.

    Parameters
    ----------
    bar_maps : sequence of BarMap
    routine : Routine
    top : int, optional
        How many songs to plan and return; all that fit if left out.
    wanted : SongFilter, optional
        Filters.
    max_changes : int
        Most restarts and tags in a plan.
    costs : Costs, optional

    Returns
    -------
    Ranking

    Examples
    --------
    >>> import numpy as np
    >>> from phrasefit.model import Part
    >>> def song(title, n_beats):
    ...     beats = np.arange(n_beats)
    ...     return BarMap(beat_times_s=beats / 2, positions=beats % 4 + 1, meter=4, title=title,
    ...                   tempo_bpm=120.0, end_s=n_beats / 2, duration_s=n_beats / 2)
    >>> dance = Routine(name="Try", walls=4, parts=(Part(name="A", counts=32, turn_deg=90),))
    >>> ranking = rank([song("short", 24), song("long", 160)], dance)
    >>> [(row.index, round(row.fit.plan.score)) for row in ranking.songs], ranking.unfit
    ([(1, 100)], {'shorter than one wall': 1})
    """
    costs = costs or Costs()

    def plan(indices: Sequence[int]) -> list[FitPlan | PhrasefitError]:
        return [fit_or_reason(bar_maps[i], routine, max_changes, costs) for i in indices]

    return rank_table(
        SongTable.of(bar_maps), routine, plan,
        top=top, wanted=wanted or SongFilter(), max_changes=max_changes, costs=costs,
    )  # fmt: skip


def fit_or_reason(
    bar_map: BarMap,
    routine: Routine,
    max_changes: int,
    costs: Costs,
    *,
    beats_per_count: float | None = None,
) -> FitPlan | PhrasefitError:
    """Fit, or give the reason why it cannot be done."""
    try:
        return fit_routine(
            bar_map,
            routine,
            max_changes=max_changes,
            costs=costs,
            beats_per_count=beats_per_count,
        )
    except PhrasefitError as exc:
        return exc


def rank_table(
    shelf: SongTable,
    routine: Routine,
    plan: Planner,
    *,
    top: int | None,
    wanted: SongFilter,
    max_changes: int = DEFAULT_MAX_CHANGES,
    costs: Costs | None = None,
    tempo_rows: tuple[TempoRow, ...] = TEMPO_ROWS,
    n_threads: int = 2,
) -> Ranking:
    """Rank the songs of a shelf, planning only those that can be among the `top`.

    Parameters
    ----------
    plan : callable
        Given indices on the shelf, gives for each the fit with `max_changes` and
        `costs`, or the error that tells why there is none.
    n_threads : int
        For scoring from summaries.

    See `rank` for the others.
    """
    if top is not None and top < 1:
        raise ParameterError(f"top={top} must be at least 1 song")
    costs = costs or Costs()
    grids = _grids(shelf, routine, costs)
    chosen = np.flatnonzero(_is_wanted(shelf, grids, wanted))
    picked = shelf.only(chosen)
    grids = _grids(picked, routine, costs)
    bound, reasons = _bounds(grids, routine, max_changes, costs, n_threads)
    order = _Order.of(picked, grids, routine, wanted, tempo_rows)
    possible = np.flatnonzero(np.isfinite(bound)).tolist()
    possible.sort(key=lambda i: order.key(i, bound[i]))
    songs, n_planned, unfit = _plan_best(possible, bound, order, chosen, plan, top)
    return Ranking(
        routine=routine,
        songs=tuple(
            RankedSong(key=shelf.keys[chosen[i]], index=int(chosen[i]), fit=fit) for i, fit in songs
        ),
        n_songs=len(shelf.keys),
        n_filtered=len(shelf.keys) - len(chosen),
        n_planned=n_planned,
        unfit=dict(reasons + unfit),
    )


def _grids(shelf: SongTable, routine: Routine, costs: Costs) -> Grids:
    return grids_for(
        routine,
        summaries=shelf.summaries,
        tempo_bpm=shelf.tempo_bpm,
        meter=shelf.meter,
        as_tracked=shelf.as_tracked,
        costs=costs,
    )


def _is_wanted(shelf: SongTable, grids: Grids, wanted: SongFilter) -> np.ndarray:
    """Tell for each song whether it passes the filters."""
    passes = shelf.confidence >= wanted.min_confidence
    if wanted.counts_per_minute:
        low, high = wanted.counts_per_minute
        passes &= (grids.counts_per_minute >= low) & (grids.counts_per_minute <= high)
    if wanted.meter is not None:
        passes &= shelf.meter == wanted.meter
    for word in wanted.words:
        within = [
            word.casefold() in f"{title} {artist}".casefold()
            for title, artist in zip(shelf.titles, shelf.artists, strict=True)
        ]
        passes &= np.array(within, dtype=bool)
    return passes


def _bounds(
    grids: Grids, routine: Routine, max_changes: int, costs: Costs, n_threads: int
) -> tuple[np.ndarray, Counter[str]]:
    """Give each song a score that its plan cannot exceed, NaN with the reason if it has none."""
    if can_batch(routine):
        scores = best_scores(
            grids, routine, max_changes=max_changes, costs=costs, n_threads=n_threads
        )
        bound = np.minimum(np.maximum(scores, 0.0) + FLOAT_POINTS, 100.0)
    else:  # its parts follow the letters of each song: only the planner can tell
        bound = np.full(len(grids.n_counts), np.nan)
        bound[find_starts(grids, routine, costs).song] = 100.0
    reasons = Counter(
        {
            _meter_reason(routine): int(np.sum(grids.n_counts == 0)),
            "shorter than one wall": int(np.sum(np.isnan(bound) & (grids.n_counts > 0))),
        }
    )
    return bound, +reasons


def _meter_reason(routine: Routine) -> str:
    return "not counted in threes" if routine.meter == 3 else "not counted in fours"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Order:
    """What decides the order beside the score, for each song."""

    far_off: np.ndarray
    change: np.ndarray
    confidence: np.ndarray
    titles: tuple[str, ...]

    @classmethod
    def of(
        cls,
        shelf: SongTable,
        grids: Grids,
        routine: Routine,
        wanted: SongFilter,
        tempo_rows: tuple[TempoRow, ...],
    ) -> _Order:
        # A hundredth of a count decides no order, and saves work for large collections.
        tempos, song = np.unique(grids.counts_per_minute.round(2), return_inverse=True)
        verdicts = [tempo_verdict(float(t), routine, rows=tempo_rows) for t in tempos]
        change = np.array([abs(v.change_percent) for v in verdicts])[song] if verdicts else tempos
        return cls(
            far_off=change > wanted.max_change_percent,
            change=change,
            confidence=shelf.confidence,
            titles=tuple(title.casefold() for title in shelf.titles),
        )

    def key(self, i: int, score: float) -> tuple[object, ...]:
        """Give what to sort song `i` by; smaller comes first."""
        return (
            bool(self.far_off[i]),
            -round(float(score), 1),
            float(self.change[i]),
            -float(self.confidence[i]),
            self.titles[i],
            i,
        )


def _plan_best(
    possible: list[int],
    bound: np.ndarray,
    order: _Order,
    chosen: np.ndarray,
    plan: Planner,
    top: int | None,
) -> tuple[list[tuple[int, FitPlan]], int, Counter[str]]:
    """Plan songs in the order of their bounds until the best `top` are settled."""
    found: list[tuple[tuple[object, ...], int, FitPlan]] = []
    unfit: Counter[str] = Counter()
    n_planned, step = 0, len(possible) if top is None else max(top, FIRST_PLANNED)
    while n_planned < len(possible):
        last = None if top is None or len(found) < top else found[top - 1][0]
        ahead = possible[n_planned]
        if last is not None and last <= order.key(ahead, bound[ahead]):
            break
        group = possible[n_planned : n_planned + step]
        for i, fit in zip(group, plan([int(chosen[i]) for i in group]), strict=True):
            if isinstance(fit, PhrasefitError):
                short = isinstance(fit, NoFitError) and "counts are left" in str(fit)
                unfit["shorter than one wall" if short else str(fit)] += 1
            else:
                found.append((order.key(i, fit.plan.score), i, fit))
        found.sort(key=lambda entry: entry[0])
        n_planned += len(group)
        step = FIRST_PLANNED
    return [(i, fit) for _, i, fit in found[:top]], n_planned, unfit
