"""Which songs of a collection go best with a routine.

Every song is scored at once from its summary (`ranking.scores`); that score is never below
the planner's.  Songs are then planned with `fit_routine`, the best first, until no
other can come before the last one wanted: the rows returned are exact, and so is the
claim that no song left out belongs among them.

The order: songs whose tempo can be brought in range first, then by score (to a tenth
of a point), then the smaller change of tempo, the surer analysis, the title.
"""

from __future__ import annotations

import functools
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from phrasefit.errors import ParameterError, PhrasefitError, Reason, shown
from phrasefit.fit.planner import fit_routine
from phrasefit.fit.request import PlanRequest, as_request
from phrasefit.fit.tempo import MOST_CHANGE_PERCENT, tempo_verdict
from phrasefit.meters import DANCE_METERS, LONGEST_BAR
from phrasefit.model import BarMap, FitPlan, Routine, SongSummary, TempoVerdict
from phrasefit.ranking.scores import best_scores, can_batch
from phrasefit.ranking.starts import find_starts
from phrasefit.ranking.summary import Grids, grids_for, summary_of

FIRST_PLANNED = 8  # songs planned at a time while looking for the best
FLOAT_POINTS = 0.01  # what single precision may take off a score


@dataclass(frozen=True, eq=False)
class SongTable:
    """The songs of a collection as ranking sees them: a summary for each, read by columns."""

    songs: tuple[SongSummary, ...]

    @classmethod
    def of(cls, bar_maps: Sequence[BarMap], keys: Sequence[str] = ()) -> SongTable:
        """Sum up bar maps; without `keys` they are named by their place."""
        names = keys or [str(i) for i in range(len(bar_maps))]
        pairs = zip(bar_maps, names, strict=True)
        return cls(tuple(summary_of(bar_map, key=name) for bar_map, name in pairs))

    @functools.cached_property
    def keys(self) -> tuple[str, ...]:
        """What names each song: its content hash, or a path."""
        return tuple(song.content_hash for song in self.songs)

    def numbers(self, column: str) -> np.ndarray:
        """Give a column of the summaries [shape=(n_songs,)]; NaN where it is None."""
        return np.array([getattr(song, column) for song in self.songs], dtype=float)

    def grids(self, request: PlanRequest) -> Grids:
        """Lay the songs out in counts for the routine."""
        return grids_for(
            request.routine,
            summaries=[song.grid for song in self.songs],
            tempo_bpm=self.numbers("tempo_bpm"),
            meter=self.numbers("meter").astype(int),
            beats_per_count=self.numbers("beats_per_count"),
            costs=request.costs,
        )

    def only(self, which: np.ndarray) -> SongTable:
        """Take the songs at these indices."""
        return SongTable(tuple(self.songs[i] for i in which.tolist()))


@dataclass(frozen=True, slots=True, kw_only=True)
class SongFilter:
    """Which songs to look at; everything left out does not matter.

    `counts_per_minute` as danced, exactly or in the whole numbers that are shown; `meter`
    beats a bar; `words` must all be in title or artist, in any case; `max_change_percent`: a
    tempo further off comes last.
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
        if self.meter is not None and not 1 <= self.meter <= LONGEST_BAR:
            raise ParameterError(
                f"meter={shown(self.meter)} must be 1 to {LONGEST_BAR} beats a bar"
            )
        if not 0 <= self.min_confidence <= 1:
            raise ParameterError(f"min_confidence={self.min_confidence:g} must lie in 0 to 1")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RankedSong:
    """A song of the ranking: its key and index in the table, and its fit."""

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

    request: PlanRequest
    songs: tuple[RankedSong, ...]
    n_songs: int
    n_filtered: int
    n_planned: int
    unfit: dict[str, int] = field(default_factory=dict)

    @property
    def routine(self) -> Routine:
        """The routine that songs were ranked for."""
        return self.request.routine


Planner = Callable[[Sequence[int]], Sequence[FitPlan | PhrasefitError]]


def rank(
    bar_maps: Sequence[BarMap],
    wanted: PlanRequest | Routine,
    *,
    top: int | None = None,
    songs: SongFilter | None = None,
    **options: Any,
) -> Ranking:
    """Rank bar maps for a routine, the best first.

    Parameters
    ----------
    bar_maps : sequence of BarMap
    wanted : PlanRequest or Routine
        What is asked of each song, with no `start_s`.
    top : int, optional
        How many songs to plan and return; all that fit if left out.
    songs : SongFilter, optional
        Which songs to look at; all if left out.
    **options
        Fields of `PlanRequest` that differ.

    Returns
    -------
    Ranking

    Raises
    ------
    ParameterError
        If an option is out of range.

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
    request = as_request(wanted, **options)

    def plan(indices: Sequence[int]) -> list[FitPlan | PhrasefitError]:
        return [fit_or_reason(bar_maps[i], request) for i in indices]

    return rank_table(SongTable.of(bar_maps), request, plan, top=top, songs=songs)


def fit_or_reason(bar_map: BarMap, request: PlanRequest) -> FitPlan | PhrasefitError:
    """Fit, or give the reason why it cannot be done."""
    try:
        return fit_routine(bar_map, request)
    except PhrasefitError as exc:
        return exc


def rank_table(
    table: SongTable,
    request: PlanRequest,
    plan: Planner,
    *,
    top: int | None = None,
    songs: SongFilter | None = None,
    n_threads: int = 2,
) -> Ranking:
    """Rank the songs of a table, planning only those that can be among the `top`.

    Parameters
    ----------
    table : SongTable
    request : PlanRequest
    plan : callable
        Given indices into the table, gives for each the fit for `request`, or the error
        that tells why there is none.
    top : int, optional
        How many songs to plan and return; all that fit if left out.
    songs : SongFilter, optional
        Which songs to look at; all if left out.
    n_threads : int
        For scoring from summaries.

    Returns
    -------
    Ranking
        As of `rank`.

    Raises
    ------
    ParameterError
        If the request has a `start_s`, or a summary is damaged.
    """
    if top is not None and top < 1:
        raise ParameterError(f"top={top} must be at least 1 song")
    if request.start_s is not None:
        raise ParameterError(
            f"start at {request.start_s:g} s is a time in one song; where many are ranked"
            " give the intro in counts"
        )
    wanted = songs or SongFilter()
    chosen = np.flatnonzero(_is_wanted(table, table.grids(request), wanted))
    picked = table.only(chosen)
    grids = picked.grids(request)
    bound, reasons = _bounds(grids, request, n_threads)
    order = _Order.of(picked, grids, request, wanted)
    possible = np.flatnonzero(np.isfinite(bound)).tolist()
    possible.sort(key=lambda i: order.key(i, float(bound[i])))
    found, n_planned, unfit = _plan_best(possible, bound, order, chosen, plan, top)
    return Ranking(
        request=request,
        songs=tuple(
            RankedSong(key=table.keys[chosen[i]], index=int(chosen[i]), fit=fit) for i, fit in found
        ),
        n_songs=len(table.songs),
        n_filtered=len(table.songs) - len(chosen),
        n_planned=n_planned,
        unfit=dict(reasons + unfit),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """How well a song may go with a routine: a score that its plan does not exceed, and its tempo.

    The score is too high by a hundredth of a point in most songs, see `ranking.scores`.
    """

    key: str
    score: float
    tempo: TempoVerdict


def estimates(table: SongTable, request: PlanRequest, *, n_threads: int = 2) -> list[Estimate]:
    """Score all songs of a table for a routine without planning any.

    Parameters
    ----------
    table : SongTable
    request : PlanRequest
        For a routine that `can_batch`, without `start_s`.
    n_threads : int

    Returns
    -------
    list of Estimate
        Only of songs that the routine can be danced to, in the order of the table.

    Raises
    ------
    ParameterError
        If a summary is damaged.
    """
    if not table.songs:
        return []
    grids = table.grids(request)
    bound, _ = _bounds(grids, request, n_threads)
    tempos, which = np.unique(grids.counts_per_minute.round(2), return_inverse=True)
    verdicts = [
        tempo_verdict(float(tempo), request.routine, rows=request.tempo_rows) for tempo in tempos
    ]
    return [
        Estimate(key=table.keys[i], score=float(bound[i]) - FLOAT_POINTS, tempo=verdicts[which[i]])
        for i in np.flatnonzero(np.isfinite(bound))
    ]


def _is_wanted(table: SongTable, grids: Grids, wanted: SongFilter) -> np.ndarray:
    """Tell for each song whether it passes the filters."""
    passes = table.numbers("confidence") >= wanted.min_confidence
    if wanted.counts_per_minute:
        low, high = wanted.counts_per_minute
        exact = grids.counts_per_minute
        passes &= np.any([(low <= t) & (t <= high) for t in (exact, np.rint(exact))], axis=0)
    if wanted.meter is not None:
        passes &= table.numbers("meter") == wanted.meter
    for word in wanted.words:
        within = [
            word.casefold() in f"{song.title} {song.artist}".casefold() for song in table.songs
        ]
        passes &= np.array(within, dtype=bool)
    return passes


def _bounds(grids: Grids, request: PlanRequest, n_threads: int) -> tuple[np.ndarray, Counter[str]]:
    """Give each song a score that its plan cannot exceed, NaN with the reason if it has none."""
    if can_batch(request.routine):
        scores = best_scores(grids, request, n_threads=n_threads)
        bound = np.minimum(np.maximum(scores, 0.0) + FLOAT_POINTS, 100.0)
    else:  # its parts follow the letters of each song: only the planner can tell
        bound = np.full(len(grids.n_counts), np.nan)
        bound[find_starts(grids, request).song] = 100.0
    reasons = Counter(
        {
            f"not counted in {DANCE_METERS[request.routine.meter].name}": int(
                np.sum(grids.n_counts == 0)
            ),
            "shorter than one wall": int(np.sum(np.isnan(bound) & (grids.n_counts > 0))),
        }
    )
    return bound, +reasons


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
        table: SongTable,
        grids: Grids,
        request: PlanRequest,
        wanted: SongFilter,
    ) -> _Order:
        # A hundredth of a count decides no order, and saves work for large collections.
        tempos, song = np.unique(grids.counts_per_minute.round(2), return_inverse=True)
        verdicts = [
            tempo_verdict(float(tempo), request.routine, rows=request.tempo_rows)
            for tempo in tempos
        ]
        change = np.array([abs(v.change_percent) for v in verdicts])[song] if verdicts else tempos
        return cls(
            far_off=change > wanted.max_change_percent,
            change=change,
            confidence=table.numbers("confidence"),
            titles=tuple(song.title.casefold() for song in table.songs),
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
                short = fit.reason is Reason.SHORTER_THAN_ONE_WALL
                unfit[str(fit.reason) if short else str(fit)] += 1
            else:
                found.append((order.key(i, fit.plan.score), i, fit))
        found.sort(key=lambda entry: entry[0])
        n_planned += len(group)
        step = FIRST_PLANNED
    return [(i, fit) for _, i, fit in found[:top]], n_planned, unfit
