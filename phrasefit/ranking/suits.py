"""Which routines go with a song."""

from __future__ import annotations

from collections.abc import Sequence

from phrasefit.errors import PhrasefitError
from phrasefit.fit.request import PlanRequest
from phrasefit.fit.tempo import is_in_reach
from phrasefit.model import BarMap, FitPlan
from phrasefit.ranking.rank import fit_or_reason


def suiting(
    bar_map: BarMap, requests: Sequence[PlanRequest]
) -> tuple[list[FitPlan], list[tuple[str, str]]]:
    """Fit every routine; order as in a ranking: tempo within reach first, then score.

    Parameters
    ----------
    bar_map : BarMap
    requests : sequence of PlanRequest
        One for each routine.

    Returns
    -------
    list of FitPlan
        The best first.
    list of (str, str)
        Names of the routines that cannot be danced to the song, and why.
    """
    fits, unfit = [], []
    for request in requests:
        fit = fit_or_reason(bar_map, request)
        if isinstance(fit, PhrasefitError):
            unfit.append((request.routine.name, str(fit)))
        else:
            fits.append(fit)

    def order(fit: FitPlan) -> tuple[bool, float, float, str]:
        change = abs(fit.tempo.change_percent)
        return not is_in_reach(fit.tempo), -round(fit.plan.score, 1), change, fit.routine.name

    return sorted(fits, key=order), unfit
