"""The songs of a store as a table to rank from, and the plans for those wanted.

What an evening is chosen from (`Collection.pairings`) is gathered here, too.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from phrasefit import pipeline
from phrasefit.batch import Heard, Workers
from phrasefit.errors import CacheError, PhrasefitError
from phrasefit.evening.evening import EveningRequest, Pairing
from phrasefit.fit import fit_routine
from phrasefit.fit.request import PlanRequest
from phrasefit.model import FitPlan, SongSummary
from phrasefit.ranking.rank import (
    Planner,
    Ranking,
    SongFilter,
    SongTable,
    fit_or_reason,
    rank_table,
)
from phrasefit.ranking.summary import summary_of, summary_version
from phrasefit.store import Store

SUMMARIES_AT_ONCE = 200
PAIRINGS = 320  # pairs of song and routine an evening is chosen from; more take minutes
LEAST_PER_ROUTINE = 12
PLANS_AT_ONCE = 32  # songs a process plans before it reports


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Collection:
    """Songs of a store, ready for ranking; `unkept` are those the store could not take."""

    store: Store
    version: str
    table: SongTable
    unkept: dict[str, Heard] = field(default_factory=dict)

    @classmethod
    def of(
        cls,
        store: Store,
        *,
        keys: Iterable[str] | None = None,
        unkept: dict[str, Heard] | None = None,
        hand_made: bool = False,
    ) -> Collection:
        """Collect the songs of these content hashes, or all that the store knows."""
        version = pipeline.analysis_version(hand_made=hand_made)
        unkept = unkept or {}
        wanted = None if keys is None else set(keys)
        summaries = store.summaries(summary_version(version))
        missing = store.hashes_heard(version) - {s.content_hash for s in summaries}
        if wanted is not None:
            summaries = [s for s in summaries if s.content_hash in wanted]
            missing &= wanted
        summaries += _sum_up(store, sorted(missing - unkept.keys()), version)
        summaries += [heard.summary for heard in unkept.values() if heard.summary]
        return cls(store=store, version=version, table=SongTable(tuple(summaries)), unkept=unkept)

    def analysis(self, key: str) -> pipeline.Analysis:
        """Recall what was heard of a song, with a person's corrections."""
        if key in self.unkept:
            return pipeline.recalled(self.unkept[key].document, None)
        return _recall(self.store, key, self.version)

    def planner(self, request: PlanRequest, *, workers: Workers | None = None) -> Planner:
        """Give what `rank_table` plans songs with; many songs are shared among processes."""

        def plan(indices: Sequence[int]) -> list[FitPlan | PhrasefitError]:
            keys = [self.table.keys[i] for i in indices]
            are_many = len(keys) > 4 * PLANS_AT_ONCE and not self.unkept
            if workers and workers.n_workers > 1 and are_many:
                return self._plan_in_parallel(keys, request, workers)
            return [self._plan(key, request) for key in keys]

        return plan

    def ranked(
        self,
        request: PlanRequest,
        workers: Workers,
        *,
        songs: SongFilter | None = None,
        top: int | None = None,
    ) -> Ranking:
        """Rank the songs for one routine; see `phrasefit.ranking.rank.rank_table`."""
        planner = self.planner(request, workers=workers)
        return rank_table(
            self.table, request, planner, top=top, songs=songs, n_threads=workers.n_workers
        )

    def pairings(
        self, requests: Sequence[PlanRequest], wanted: EveningRequest, workers: Workers
    ) -> list[Pairing]:
        """Plan the best songs for each routine, and those that were asked for by name.

        Parameters
        ----------
        requests : sequence of PlanRequest
            One for each routine of the evening.
        wanted : EveningRequest
            Its `fixed` and `must` name songs to plan whatever their score.
        workers : Workers
        """
        top = max(LEAST_PER_ROUTINE, PAIRINGS // max(1, len(requests)))
        named = [word for _, word in wanted.fixed] + [*wanted.must]
        pairings: dict[tuple[str, str], Pairing] = {}
        for request in requests:
            for words in ((), *((word,) for word in named)):
                songs = SongFilter(words=words)
                for song in self.ranked(request, workers, songs=songs, top=top).songs:
                    key = song.key, request.routine.name
                    pairings[key] = Pairing(key=song.key, fit=song.fit)
        return list(pairings.values())

    def pairing(self, key: str, request: PlanRequest) -> Pairing:
        """Plan one song for one routine.

        Raises
        ------
        PhrasefitError
            If the song is not known, or there is no plan.
        """
        return Pairing(key=key, fit=fit_routine(self.analysis(key).bar_map, request))

    def known_files(self) -> dict[str, str]:
        """Find for each song the file in which it was last heard."""
        wanted = set(self.table.keys)
        return {key: path for path, (_, _, key) in self.store.files().items() if key in wanted}

    def _plan(self, key: str, request: PlanRequest) -> FitPlan | PhrasefitError:
        try:
            return fit_or_reason(self.analysis(key).bar_map, request)
        except PhrasefitError as exc:
            return exc

    def _plan_in_parallel(
        self, keys: list[str], request: PlanRequest, workers: Workers
    ) -> list[FitPlan | PhrasefitError]:
        from joblib import Parallel, delayed, parallel_config

        groups = [keys[i : i + PLANS_AT_ONCE] for i in range(0, len(keys), PLANS_AT_ONCE)]
        with parallel_config(backend="loky", n_jobs=workers.n_workers):
            done = Parallel()(
                delayed(_plan_group)(group, self.store.path, self.version, request)
                for group in groups
            )
        return list(itertools.chain.from_iterable(done))


def _plan_group(
    keys: list[str], store_path: Path, version: str, request: PlanRequest
) -> list[FitPlan | PhrasefitError]:
    with Store(store_path) as store:
        return [fit_or_reason(_recall(store, key, version).bar_map, request) for key in keys]


def _recall(store: Store, key: str, version: str) -> pipeline.Analysis:
    text = store.get_analysis(key, version)
    if text is None:
        raise CacheError(f"the analysis of song {key[:12]} is gone; listen to the song again")
    return pipeline.with_kept_correction(pipeline.recalled(text, None), store)


def _sum_up(store: Store, keys: list[str], version: str) -> list[SongSummary]:
    """Make summaries of songs heard by other commands, or corrected since; keep them."""
    made = []
    for begin in range(0, len(keys), SUMMARIES_AT_ONCE):
        group = []
        for key in keys[begin : begin + SUMMARIES_AT_ONCE]:
            try:
                bar_map = _recall(store, key, version).bar_map
                group.append(summary_of(bar_map, key=key, version=version))
            except PhrasefitError as exc:
                store.notes.append(f"song {key[:12]} is left out: {exc}")
        try:
            store.put_summaries(group)
        except CacheError as exc:
            store.notes.append(str(exc))
        made += group
    return made
