"""Which songs go with a routine, and which routines with a song, for the view "Songs".

What was judged once is remembered for as long as neither song nor routine changes.  Few songs
are judged here, many in a process, which keeps the desk small and quick to answer.
"""

from __future__ import annotations

import threading
from collections.abc import Collection as Sized
from pathlib import Path
from typing import Any

import numpy as np
from starlette.requests import Request
from starlette.routing import BaseRoute, Route

from phrasefit.collection import Collection
from phrasefit.desk.desk import Desk
from phrasefit.desk.endpoints import reading
from phrasefit.desk.listener import Listener, WorkerDied, alone
from phrasefit.desk.routines import routine_called, routine_keys
from phrasefit.desk.song_list import all_songs
from phrasefit.desk.songs import analysis_of
from phrasefit.errors import PhrasefitError
from phrasefit.fit.request import PlanRequest
from phrasefit.fit.tempo import is_in_reach, tempo_verdict
from phrasefit.model import Routine, TempoVerdict
from phrasefit.ranking.rank import SongTable, estimates, rank_table
from phrasefit.ranking.scores import can_batch
from phrasefit.ranking.suits import suiting
from phrasefit.reports.table import fit_row
from phrasefit.reports.words import FITS_IN_PART, estimate_cell, verdict_line
from phrasefit.store import Store

JUDGED_HERE = 200  # songs; more are judged in a process
MOST_PLANNED = 300  # songs, the nearest in tempo, for a routine that only the planner can judge
MOST_KNOWN = 100  # routines whose songs are remembered

Cells = tuple[int, bool, str]  # score, tempo within reach, in words
NONE: Cells = (-1, False, "")  # the routine cannot be danced to it

# What was judged, by routine and by song as it is.
_known: dict[Routine, dict[str, Cells]] = {}
_shared: dict[Cells, Cells] = {}  # the same few answers come again and again
_at_work = threading.Lock()  # one after the other: each fills the processor


def _fits_in_words(desk: Desk, store: Store, routines: Sized[Routine]) -> list[dict[str, Cells]]:
    try:
        return _fits_of(desk, store, routines)
    except WorkerDied as exc:
        raise PhrasefitError("the songs could not be compared; try again") from exc


def _fits_of(desk: Desk, store: Store, routines: Sized[Routine]) -> list[dict[str, Cells]]:
    """Judge all songs for each routine."""
    with alone(_at_work):
        names = all_songs(desk, store).key_of
        for routine in routines:
            _known[routine] = _known.pop(routine, {})
        new = {
            key
            for routine in routines
            for name, key in names.items()
            if name not in _known[routine]
        }
        if new:
            judged = _judged(desk, routines, new)
            for routine, cells in zip(routines, judged, strict=True):
                known = _known[routine]
                _known[routine] = {
                    name: _shared.setdefault(found, found)
                    for name, key in names.items()
                    if (found := cells.get(key) or known.get(name, NONE))
                }
        while len(_known) > max(MOST_KNOWN, len(routines)):  # asked for longest ago
            del _known[next(iter(_known))]
        return [{key: _known[routine][name] for name, key in names.items()} for routine in routines]


def _judged(desk: Desk, routines: Sized[Routine], keys: set[str]) -> list[dict[str, Cells]]:
    if len(keys) <= JUDGED_HERE:
        return judge(desk.store_path, list(routines), keys)
    worker = Listener()
    try:
        found: list[dict[str, Cells]] = worker.run(judge, desk.store_path, list(routines), keys)
        return found
    finally:
        worker.end()


def judge(store_path: Path, routines: list[Routine], keys: set[str]) -> list[dict[str, Cells]]:
    """Judge songs for routines: from their summaries, or by planning the nearest in tempo.

    Parameters
    ----------
    store_path : Path
    routines : list of Routine
    keys : set of str
        Content hashes.

    Returns
    -------
    list of dict
        For each routine score, whether the tempo is within reach, and words, by song.
    """
    with Store(store_path) as store:
        collection = Collection.of(store, keys=keys)
        return [_judge(collection, PlanRequest(routine=routine)) for routine in routines]


def _judge(collection: Collection, request: PlanRequest) -> dict[str, Cells]:
    if can_batch(request.routine):
        return {e.key: _cells(e.score, e.tempo) for e in estimates(collection.table, request)}
    near = _nearest(collection.table, request)
    chosen = Collection.of(collection.store, keys=near.keys)
    ranking = rank_table(chosen.table, request, chosen.planner(request))
    return {song.key: _cells(song.fit.plan.score, song.fit.tempo) for song in ranking.songs}


def _nearest(table: SongTable, request: PlanRequest) -> SongTable:
    """Pick the songs whose tempo is nearest to the routine's range."""
    if len(table.songs) <= MOST_PLANNED:
        return table
    tempos = table.grids(request).counts_per_minute
    far = [abs(tempo_verdict(float(tempo), request.routine).change_percent) for tempo in tempos]
    return table.only(np.argsort(far, kind="stable")[:MOST_PLANNED])


def _cells(score: float, tempo: TempoVerdict) -> Cells:
    return max(0, round(score)), is_in_reach(tempo), estimate_cell(score, tempo)


def _fits(desk: Desk, request: Request) -> dict[str, Any]:
    with desk.store() as store:
        routine = routine_called(store, request.query_params.get("routine", ""))
        (found,) = _fits_in_words(desk, store, [routine])
    is_sampled = not can_batch(routine) and len(found) > MOST_PLANNED
    return {
        "routine": routine.name,
        "only_nearest": MOST_PLANNED if is_sampled else None,
        "least": FITS_IN_PART,
        "fits": {song: cells for song, cells in found.items() if cells != NONE},
    }


def _best(desk: Desk, _request: Request) -> dict[str, Any]:
    """Give the routine that goes best with each song, of those judged without planning."""
    best: dict[str, tuple[int, str, str]] = {}
    with desk.store() as store:
        routines = {key: routine_called(store, key) for key in routine_keys(store)}
        quick = {key: routine for key, routine in routines.items() if can_batch(routine)}
        judged = _fits_in_words(desk, store, list(quick.values()))
    for (key, routine), found in zip(quick.items(), judged, strict=True):
        for song, (score, in_reach, _) in found.items():
            if in_reach and score > best.get(song, (-1,))[0]:
                best[song] = (score, routine.name, key)
    return {"best": best}


def _suits(desk: Desk, request: Request) -> dict[str, Any]:
    """Fit every routine to one song, the best first."""
    with desk.store() as store:
        bar_map = analysis_of(desk, store, request.path_params["content_hash"]).bar_map
        key_of: dict[PlanRequest, str] = {}
        for key in routine_keys(store):
            key_of.setdefault(PlanRequest(routine=routine_called(store, key)), key)
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
