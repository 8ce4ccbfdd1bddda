"""Build an evening: which song with which routine, in which order, and why."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

from phrasefit.errors import NoFitError
from phrasefit.evening.evening import Dance, Evening, EveningRequest, Offer, curve_at
from phrasefit.evening.integer_program import Program

__all__ = ["Dance", "Evening", "EveningRequest", "Offer", "build_evening"]


def build_evening(offers: Sequence[Offer], wishes: EveningRequest) -> Evening:
    """Choose and order dances.

    Parameters
    ----------
    offers : sequence of Offer
        Songs may come with several routines, routines with several songs.
    wishes : EveningRequest

    Raises
    ------
    NoFitError
        If there is no evening with all these wishes; names the ones that stand in the way.
    ParameterError
        If a word in the wishes matches no offer, or a fixed place lies outside.
    """
    offers = [
        offer
        for offer in offers
        if offer.fit.plan.score >= wishes.min_score
        and not any(offer.matches(word) for word in wishes.never)
    ]
    if not offers:
        raise NoFitError(
            f"no song goes with any routine at a score of {wishes.min_score:g} or more;"
            " add songs or routines, or lower --min-score"
        )
    program = Program(offers, wishes)
    chosen, value, bound, repeatable = program.solve()
    dances = _explained([offers[i] for i in chosen], wishes)
    last = dances[-1]
    return Evening(
        dances=dances,
        wishes=wishes,
        length_s=last.start_s + last.offer.length_s,
        value=value,
        bound=bound,
        n_offers=len(offers),
        repeatable=repeatable,
        notes=tuple(program.notes),
    )


# ----------------------------------------------------------------- explaining


def _explained(offers: Sequence[Offer], wishes: EveningRequest) -> tuple[Dance, ...]:
    """Give each dance its time and its reasons."""
    dances = []
    clock_s = 0.0
    waiting = list(wishes.teach)
    for place, (before, offer) in enumerate(itertools.pairwise([None, *offers]), start=1):
        lesson = next((word for word in waiting if offer.matches(word)), None)
        if lesson is not None:
            waiting.remove(lesson)
            clock_s += 60 * wishes.teach_minutes
        dances.append(
            Dance(
                place=place,
                start_s=clock_s,
                offer=offer,
                taught=lesson is not None,
                reasons=_reasons(place, offer, before, lesson is not None, wishes, len(offers)),
            )
        )
        clock_s += offer.length_s + wishes.pause_s
    return tuple(dances)


def _reasons(
    place: int,
    offer: Offer,
    before: Offer | None,
    taught: bool,
    wishes: EveningRequest,
    n_places: int,
) -> tuple[str, ...]:
    """Say in a few words why this dance stands here."""
    said = []
    if taught:
        said.append("taught just before")
    if any(at == place and offer.matches(word) for at, word in wishes.fixed):
        said.append("you put it here")
    elif any(offer.matches(word) for word in wishes.must):
        said.append("you asked for it")
    said.append(f"fits {offer.fit.plan.score:.0f} of 100")
    if (wished := curve_at(wishes, place - 1, n_places)) is not None:
        said.append(f"{offer.counts_per_minute:.0f} a minute where {wished:.0f} is wished for")
    elif before is not None:
        said.append(_beside(offer, before))
    if offer.for_beginners:
        said.append("for beginners")
    return tuple(said)


def _beside(offer: Offer, before: Offer) -> str:
    change = offer.counts_per_minute - before.counts_per_minute
    if abs(change) < 3:
        return "the same tempo as before"
    return "faster than before" if change > 0 else "slower than before"
