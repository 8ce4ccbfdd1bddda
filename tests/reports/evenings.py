"""An evening made up by hand."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from phrasefit.evening.evening import Dance, Evening, EveningRequest, Pairing
from phrasefit.fit import PlanRequest, fit_routine
from phrasefit.routine.spec import load_routine
from songs import song

ROUTINES = Path(__file__).parents[2] / "phrasefit" / "routines"
TITLES = (
    "Porch Light", "Tangerine Ferry", "One Bar for Breath", "Glitter Ledger", "Half a Bar of Dust",
    "Fence Posts", "Marmalade Polka", "Paper Boat",
)  # fmt: skip


def evening(n: int = 8) -> Evening:
    """Give `n` dances, the third of them taught before."""
    routine = load_routine(ROUTINES / "borrowed-teaspoons.toml")
    square = fit_routine(song((32, 64, 64, 64, 64)), routine)
    broken = fit_routine(song((32, 64, 64, 36, 64, 64)), routine)
    dances, start_s = [], 0.0
    for place in range(1, n + 1):
        fit = broken if place % 3 == 0 else square
        title = TITLES[(place - 1) % len(TITLES)]
        named = replace(
            fit,
            bar_map=replace(fit.bar_map, title=title),
            request=PlanRequest(routine=replace(routine, name=f"Floor No. {place}")),
        )
        start_s += 900 if place == 3 else 0
        pairing = Pairing(key=str(place), fit=named)
        dances.append(
            Dance(place=place, start_s=start_s, pairing=pairing, taught=place == 3, reasons=())
        )
        start_s += pairing.length_s + 30
    return Evening(
        dances=tuple(dances), request=EveningRequest(minutes=60, teach_minutes=15),
        length_s=start_s, value=1.0, bound=1.0, n_pairings=n, repeatable=True,
    )  # fmt: skip
