"""Laying a routine over a song.

May import: model, errors, routine, _dp, NumPy.
"""

from phrasefit.fit.costs import Costs
from phrasefit.fit.grid import count_grid
from phrasefit.fit.planner import fit_routine

__all__ = ["Costs", "count_grid", "fit_routine"]
