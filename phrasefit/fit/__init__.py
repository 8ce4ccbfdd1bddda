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
from phrasefit.fit.request import ChangePlace, PlanRequest
from phrasefit.fit.settings import Settings
from phrasefit.model import FitPlan, Routine

__all__ = ["ChangePlace", "Costs", "PlanRequest", "Settings", "count_grid", "fit_routine"]


class _CallableRoom(ModuleType):
    """A module that can be called; Python allows exchanging a module's class."""

    def __call__(self, song: Any, wanted: PlanRequest | Routine, **options: Any) -> FitPlan:
        """Fit a routine to a song.

        Parameters
        ----------
        song : BarMap or Analysis
            An analysis is taken as its corrections have left it.
        wanted : PlanRequest or Routine
        **options
            Fields of `PlanRequest` that differ: ``start_s``, ``intro``, ``max_changes``,
            ``changes``, ``demanded``, ``forbidden``, ``costs``, ``tempo_rows``.

        Returns
        -------
        FitPlan
            Its `plan` is the one asked for.

        Raises
        ------
        NoFitError
            If the routine cannot be danced to the song.
        ParameterError
            If an option is out of range, or no plan has the number of changes asked for.
        """
        return fit_routine(getattr(song, "bar_map", song), wanted, **options)


sys.modules[__name__].__class__ = _CallableRoom
