"""The songs of a store as a shelf to rank from, and the plans for those wanted."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from phrasefit import pipeline
from phrasefit.batch import Heard, Workers, level_of, summary_of
from phrasefit.errors import CacheError, PhrasefitError
from phrasefit.fit.costs import Costs
from phrasefit.model import FitPlan, Routine
from phrasefit.ranking.rank import SongTable, fit_or_reason
from phrasefit.ranking.summary import SUMMARY_VERSION
from phrasefit.store import Store, Summary

SUMMARIES_AT_ONCE = 200
PLANS_AT_ONCE = 32  # songs a process plans before it reports


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Collection:
    """Songs of a store, ready for ranking; `unkept` are those the store could not take."""

    store: Store
    version: str
    shelf: SongTable
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
        summaries = store.summaries(f"{version}.{SUMMARY_VERSION}")
        missing = store.hashes_heard(version) - {s.content_hash for s in summaries}
        if wanted is not None:
            summaries = [s for s in summaries if s.content_hash in wanted]
            missing &= wanted
        summaries += _sum_up(store, sorted(missing - unkept.keys()), version)
        summaries += [heard.summary for heard in unkept.values() if heard.summary]
        return cls(store=store, version=version, shelf=_shelf(summaries), unkept=unkept)

    def analysis(self, key: str) -> pipeline.Analysis:
        """Recall what was heard of a song, with a person's corrections."""
        if key in self.unkept:
            return pipeline.recalled(self.unkept[key].document, None)
        return _recall(self.store, key, self.version)

    def planner(
        self, routine: Routine, max_changes: int, costs: Costs, *, crew: Workers | None = None
    ) -> Callable[[Sequence[int]], list[FitPlan | PhrasefitError]]:
        """Give what `rank_table` plans songs with; many songs are shared among processes."""

        def plan(indices: Sequence[int]) -> list[FitPlan | PhrasefitError]:
            keys = [self.shelf.keys[i] for i in indices]
            if crew and crew.n_workers > 1 and len(keys) > 4 * PLANS_AT_ONCE and not self.unkept:
                return self._plan_in_parallel(keys, routine, max_changes, costs, crew)
            return [self._plan(key, routine, max_changes, costs) for key in keys]

        return plan

    def _plan(
        self, key: str, routine: Routine, max_changes: int, costs: Costs
    ) -> FitPlan | PhrasefitError:
        try:
            return _fit(self.analysis(key), routine, max_changes, costs)
        except PhrasefitError as exc:
            return exc

    def _plan_in_parallel(
        self, keys: list[str], routine: Routine, max_changes: int, costs: Costs, crew: Workers
    ) -> list[FitPlan | PhrasefitError]:
        from joblib import Parallel, delayed, parallel_config

        groups = [keys[i : i + PLANS_AT_ONCE] for i in range(0, len(keys), PLANS_AT_ONCE)]
        with parallel_config(backend="loky", n_jobs=crew.n_workers):
            done = Parallel()(
                delayed(_plan_group)(
                    group, self.store.path, self.version, routine, max_changes, costs
                )
                for group in groups
            )
        return list(itertools.chain.from_iterable(done))


def _plan_group(
    keys: list[str],
    store_path: Path,
    version: str,
    routine: Routine,
    max_changes: int,
    costs: Costs,
) -> list[FitPlan | PhrasefitError]:
    with Store(store_path) as store:
        return [_fit(_recall(store, key, version), routine, max_changes, costs) for key in keys]


def _fit(
    analysis: pipeline.Analysis, routine: Routine, max_changes: int, costs: Costs
) -> FitPlan | PhrasefitError:
    level = level_of(analysis)
    return fit_or_reason(analysis.bar_map, routine, max_changes, costs, beats_per_count=level)


def _recall(store: Store, key: str, version: str) -> pipeline.Analysis:
    text = store.get_analysis(key, version)
    if text is None:
        raise CacheError(f"the analysis of song {key[:12]} is gone; listen to the song again")
    return pipeline.with_kept_correction(pipeline.recalled(text, None), store)


def _sum_up(store: Store, keys: list[str], version: str) -> list[Summary]:
    """Make summaries of songs heard by other commands, or corrected since; keep them."""
    made = []
    for begin in range(0, len(keys), SUMMARIES_AT_ONCE):
        group = []
        for key in keys[begin : begin + SUMMARIES_AT_ONCE]:
            try:
                group.append(summary_of(_recall(store, key, version), version))
            except PhrasefitError as exc:
                store.notes.append(f"song {key[:12]} is left out: {exc}")
        try:
            store.put_summaries(group)
        except CacheError as exc:
            store.notes.append(str(exc))
        made += group
    return made


def _shelf(summaries: Sequence[Summary]) -> SongTable:
    return SongTable(
        keys=tuple(s.content_hash for s in summaries),
        titles=tuple(s.title for s in summaries),
        artists=tuple(s.artist for s in summaries),
        duration_s=np.array([s.duration_s for s in summaries], dtype=float),
        tempo_bpm=np.array([s.tempo_bpm for s in summaries], dtype=float),
        meter=np.array([s.meter for s in summaries], dtype=int),
        confidence=np.array([s.confidence for s in summaries], dtype=float),
        as_tracked=np.array([s.as_tracked for s in summaries], dtype=bool),
        summaries=tuple(s.grid for s in summaries),
    )
