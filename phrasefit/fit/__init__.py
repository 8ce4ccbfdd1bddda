"""Laying a routine over a song.

The room is itself a function, so that ``phrasefit.fit(song, routine)`` works beside
``from phrasefit.fit import fit_routine``.
"""

from __future__ import annotations

import sys
from types import ModuleType
from typing import Any

from phrasefit.fit.costs import Costs
from phrasefit.fit.grid import count_grid
from phrasefit.fit.planner import fit_routine
from phrasefit.model import FitPlan, Routine

__all__ = ["Costs", "count_grid", "fit_routine"]


class _CallableRoom(ModuleType):
    """A module that can be called; Python allows exchanging a module's class."""

    def __call__(self, song: Any, routine: Routine, **options: Any) -> FitPlan:
        """Fit a routine to a song: a `BarMap`, or an `Analysis` with its corrections.

        The options are those of `fit_routine`.
        """
        correction = getattr(song, "correction", None)
        if correction is not None and correction.level:  # a person chose the beat
            options.setdefault("beats_per_count", 1.0)
        return fit_routine(getattr(song, "bar_map", song), routine, **options)


sys.modules[__name__].__class__ = _CallableRoom
