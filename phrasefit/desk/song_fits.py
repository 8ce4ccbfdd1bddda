"""Which songs go with a routine, and which routines with a song, for the view "Songs"."""

from __future__ import annotations

import threading
from typing import Any

from starlette.requests import Request
from starlette.routing import BaseRoute, Route

from phrasefit.collection import Collection
from phrasefit.desk.desk import Desk
from phrasefit.desk.endpoints import reading
from phrasefit.desk.routines import routine_called, routine_keys
from phrasefit.desk.songs import analysis_of, summaries
from phrasefit.errors import PhrasefitError
from phrasefit.fit.request import PlanRequest
from phrasefit.fit.tempo import is_in_reach
from phrasefit.model import Routine, TempoVerdict
from phrasefit.ranking.rank import SongTable, estimates, rank_table
from phrasefit.ranking.scores import can_batch
from phrasefit.ranking.suits import suiting
from phrasefit.reports.table import fit_row
from phrasefit.reports.words import FITS_IN_PART, estimate_cell, verdict_line
from phrasefit.store import Store

MOST_PLANNED = 50  # songs for a routine that only the planner can judge
MOST_KNOWN = 100  # routines whose songs are remembered

Fits = dict[str, tuple[int, bool, str]]  # by song: score, tempo within reach, in words

# What was worked out last, by routine: many views ask for the same.
_known: dict[Routine, tuple[tuple[str, ...], Fits]] = {}
_at_work = threading.Lock()  # one after the other: each fills the processor


def _fits_of(desk: Desk, store: Store, routine: Routine) -> Fits:
    """Judge all songs for a routine; the 50 best where only the planner can tell."""
    songs = summaries(desk, store)
    seen = tuple(f"{song.content_hash}{song.counts_per_minute}{len(song.grid)}" for song in songs)
    with _at_work:
        known = _known.pop(routine, None)
        if known is None or known[0] != seen:
            table, request = SongTable(tuple(songs)), PlanRequest(routine=routine)
            known = (seen, _judge(store, table, request))
        _known[routine] = known
        while len(_known) > MOST_KNOWN:  # the one that was asked for longest ago
            del _known[next(iter(_known))]
        return known[1]


def _judge(store: Store, table: SongTable, request: PlanRequest) -> Fits:
    if can_batch(request.routine):
        found = [(e.key, e.score, e.tempo) for e in estimates(table, request)]
    else:
        collection = Collection.of(store, keys=table.keys)
        ranking = rank_table(
            collection.table, request, collection.planner(request), top=MOST_PLANNED
        )
        found = [(song.key, song.fit.plan.score, song.fit.tempo) for song in ranking.songs]
    return {key: _cells(score, tempo) for key, score, tempo in found}


def _cells(score: float, tempo: TempoVerdict) -> tuple[int, bool, str]:
    return max(0, round(score)), is_in_reach(tempo), estimate_cell(score, tempo)


def _fits(desk: Desk, request: Request) -> dict[str, Any]:
    with desk.store() as store:
        routine = routine_called(store, request.query_params.get("routine", ""))
        found = _fits_of(desk, store, routine)
    return {
        "routine": routine.name,
        "only_best": None if can_batch(routine) else MOST_PLANNED,
        "least": FITS_IN_PART,
        "fits": found,
    }


def _best(desk: Desk, _request: Request) -> dict[str, Any]:
    """Give the routine that goes best with each song, of those judged without planning."""
    best: dict[str, tuple[bool, int, str, str]] = {}
    with desk.store() as store:
        for key in routine_keys(store):
            routine = routine_called(store, key)
            if not can_batch(routine):
                continue
            for song, (score, in_reach, _) in _fits_of(desk, store, routine).items():
                here = (in_reach, score, routine.name, key)
                if song not in best or here[:2] > best[song][:2]:
                    best[song] = here
    return {"best": {song: row[1:] for song, row in best.items() if row[0]}}


def _suits(desk: Desk, request: Request) -> dict[str, Any]:
    """Fit every routine to one song, the best first."""
    with desk.store() as store:
        bar_map = analysis_of(desk, store, request.path_params["content_hash"]).bar_map
        key_of: dict[PlanRequest, str] = {}
        for key in routine_keys(store):
            try:
                routine = routine_called(store, key)
            except PhrasefitError:
                continue  # changed meanwhile
            key_of.setdefault(PlanRequest(routine=routine), key)
    fits, unfit = suiting(bar_map, list(key_of))
    return {
        "title": bar_map.title,
        "routines": [
            fit_row(fit)
            | {"key": key_of[fit.request], "name": fit.routine.name, "line": verdict_line(fit)}
            for fit in fits
        ],
        "unfit": [{"name": name, "reason": reason} for name, reason in unfit],
    }


ROUTES: list[BaseRoute] = [
    Route("/api/songs/fits", reading(_fits)),
    Route("/api/songs/best", reading(_best)),
    Route("/api/songs/{content_hash}/suits", reading(_suits)),
]
