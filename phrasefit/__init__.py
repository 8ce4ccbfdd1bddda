"""Does this routine fit this song?  For people who script; the command line has all of it too.

::

    analyse(path)            listen to a song              -> Analysis (its bar_map)
    load_routine(path)       read a routine file           -> Routine
    routine_from_numbers(..) a routine without a file      -> Routine
    PlanRequest(routine=..)  a routine, and how it is wanted
    Settings.load(path)      own costs and tempo ranges
    fit(song, routine)       lay one over the other        -> FitPlan
    rank(bar_maps, routine)  order many songs              -> Ranking
    songs_in(folders)        find song files               -> list of paths
    listen_to(paths, store)  listen to many in parallel    -> BatchReport
    Collection.of(store)     all songs of a store, for `rank_table`
    build_evening(pairings, request)  an evening           -> Evening
    Store(path)              the cache and corrections

Times are seconds, indices and counts begin with 0; see `phrasefit.model` for what the
results hold.  Names are resolved on first use: ``import phrasefit`` costs milliseconds.

Examples
--------
>>> import phrasefit
>>> song = phrasefit.analyse("sample_audio/tangerine-ferry.ogg")
>>> song.bar_map.title, song.bar_map.meter
('Tangerine Ferry', 4)
>>> dance = phrasefit.routine_from_numbers(counts=32, walls=4)
>>> plan = phrasefit.fit(song, dance).plan
>>> [wall.facing for wall in plan.walls[:4]]
[0, 90, 180, 270]
>>> ranking = phrasefit.rank([song.bar_map], dance)
>>> [row.fit.plan.score == plan.score for row in ranking.songs]
[True]

Errors a user can fix are all `PhrasefitError`:

>>> try:
...     phrasefit.analyse("sample_audio/no-such-song.ogg")
... except phrasefit.PhrasefitError as error:
...     print(error)
sample_audio/no-such-song.ogg: there is no such file; check the name and folder
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from phrasefit.batch import listen_to, songs_in
    from phrasefit.collection import Collection
    from phrasefit.errors import PhrasefitError
    from phrasefit.evening.build import build_evening
    from phrasefit.evening.evening import EveningRequest, Pairing
    from phrasefit.fit import fit_routine
    from phrasefit.fit import fit_routine as fit
    from phrasefit.fit.request import PlanRequest
    from phrasefit.fit.settings import Settings
    from phrasefit.model import BarMap, FitPlan, Routine
    from phrasefit.pipeline import analyse
    from phrasefit.ranking.rank import SongFilter, rank, rank_table
    from phrasefit.routine.spec import load_routine, routine_from_numbers
    from phrasefit.store import Store

__version__ = "0.1.0"

_HOMES: dict[str, str] = {
    "BarMap": "phrasefit.model",
    "FitPlan": "phrasefit.model",
    "Collection": "phrasefit.collection",
    "Pairing": "phrasefit.evening.evening",
    "PlanRequest": "phrasefit.fit.request",
    "Settings": "phrasefit.fit.settings",
    "PhrasefitError": "phrasefit.errors",
    "Routine": "phrasefit.model",
    "Store": "phrasefit.store",
    "SongFilter": "phrasefit.ranking.rank",
    "EveningRequest": "phrasefit.evening.evening",
    "analyse": "phrasefit.pipeline",
    "build_evening": "phrasefit.evening.build",
    "fit_routine": "phrasefit.fit",
    "listen_to": "phrasefit.batch",
    "load_routine": "phrasefit.routine.spec",
    "rank": "phrasefit.ranking.rank",
    "rank_table": "phrasefit.ranking.rank",
    "routine_from_numbers": "phrasefit.routine.spec",
    "songs_in": "phrasefit.batch",
}

__all__ = [
    "BarMap",
    "Collection",
    "EveningRequest",
    "FitPlan",
    "Pairing",
    "PhrasefitError",
    "PlanRequest",
    "Routine",
    "Settings",
    "SongFilter",
    "Store",
    "__version__",
    "analyse",
    "build_evening",
    "fit",
    "fit_routine",
    "listen_to",
    "load_routine",
    "rank",
    "rank_table",
    "routine_from_numbers",
    "songs_in",
]


def __getattr__(name: str) -> object:
    if name == "fit":  # the room itself, which can be called
        return importlib.import_module("phrasefit.fit")
    try:
        home = _HOMES[name]
    except KeyError:
        raise AttributeError(f"module 'phrasefit' has no attribute {name!r}") from None
    return getattr(importlib.import_module(home), name)


def __dir__() -> list[str]:
    return list(__all__)
