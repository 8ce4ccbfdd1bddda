"""Change an evening by hand: an order of one's own, the next best at one place."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import replace

import numpy as np

from phrasefit.errors import NoFitError, Reason
from phrasefit.evening.build import explained, length_of, usable
from phrasefit.evening.evening import Evening, EveningRequest, Pairing
from phrasefit.evening.integer_program import EveningProgram

NOT_ALL_WISHES = "nothing else keeps all wishes there; this is what fits best without them"


def arranged(
    pairings: Sequence[Pairing], request: EveningRequest, *, notes: Sequence[str] = ()
) -> Evening:
    """Make an evening of these dances in this order, whatever the wishes say.

    Parameters
    ----------
    pairings : sequence of Pairing
        What is danced, first to last; may be empty.
    request : EveningRequest
        For pauses, lessons and reasons.
    notes : sequence of str
        What is to be said about it.

    Returns
    -------
    Evening
        With the times and reasons that `build_evening` would give the same dances.
    """
    dances = explained(pairings, request)
    return Evening(
        dances=dances,
        request=request,
        length_s=length_of(dances),
        value=0.0,
        bound=math.inf,
        n_pairings=len(pairings),
        repeatable=True,
        notes=tuple(notes),
    )


def next_best(
    offers: Sequence[Pairing],
    before: Sequence[Pairing],
    after: Sequence[Pairing],
    request: EveningRequest,
    *,
    refused: Collection[str] = (),
) -> tuple[Pairing, str]:
    """Find what fits best between dances that stay.

    Parameters
    ----------
    offers : sequence of Pairing
        To choose from.
    before, after : sequence of Pairing
        The dances on both sides of the place, in their order.
    request : EveningRequest
        The words that it asks for (`must`, `teach`, `fixed`) do not count here.
    refused : collection of str
        Keys of songs that are not wanted there.

    Returns
    -------
    (Pairing, str)
        The dance, and what is to be said about it; nothing if it keeps all wishes.  A routine
        comes again only where all others are danced as often.

    Raises
    ------
    NoFitError
        If there is no other song.
    """
    others = [*before, *after]
    places = [*range(1, len(before) + 1), *range(len(before) + 2, len(others) + 2)]
    wishes = replace(
        request, must=(), teach=(), fixed=(), instead=(),
        kept=tuple((at, o.key, o.fit.routine.name) for at, o in zip(places, others, strict=True)),
    )  # fmt: skip
    gone = {pairing.key for pairing in others} | set(refused)
    free = [o for o in usable([*others, *offers], wishes)[0] if o.key not in gone]
    if not free:
        raise NoFitError(
            "no other song is left that fits there; add songs or routines, or lower --min-score",
            reason=Reason.NO_EVENING,
        )
    pool = [*{(o.key, o.fit.routine.name): o for o in others}.values(), *free]
    program = EveningProgram(pool, wishes, n_places=len(others) + 1)
    if found := program.solve():
        return pool[found.chosen[len(before)]], ""
    worth = program.worth()[len(pool) - len(free) :, len(before)]
    danced = Counter(pairing.fit.routine.name for pairing in others)
    times = np.array([danced[pairing.fit.routine.name] for pairing in free])
    # This wish is kept even then: a routine comes again only after all the others.
    return free[int(np.argmax(np.where(times == times.min(), worth, -np.inf)))], NOT_ALL_WISHES
