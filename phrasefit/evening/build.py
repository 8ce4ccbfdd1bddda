"""Build an evening: which song with which routine, in which order, and why."""

from __future__ import annotations

from collections.abc import Sequence

from phrasefit.errors import NoFitError
from phrasefit.evening.evening import Dance, Evening, EveningRequest, Pairing, curve_at
from phrasefit.evening.integer_program import EveningProgram

__all__ = ["Dance", "Evening", "EveningRequest", "Pairing", "build_evening"]


def build_evening(pairings: Sequence[Pairing], request: EveningRequest) -> Evening:
    """Choose and order dances.

    Parameters
    ----------
    pairings : sequence of Pairing
        Songs may come with several routines, routines with several songs.
    request : EveningRequest

    Raises
    ------
    NoFitError
        If there is no evening with all these wishes; names the ones that stand in the way.
    ParameterError
        If a word in the request matches no pairing, or a fixed place lies outside.
    """
    pairings = [
        pairing
        for pairing in pairings
        if pairing.fit.plan.score >= request.min_score
        and not any(pairing.matches(word) for word in request.never)
    ]
    if not pairings:
        raise NoFitError(
            f"no song fits any routine at a score of {request.min_score:g} or more;"
            " add songs or routines, or lower --min-score"
        )
    program = EveningProgram(pairings, request)
    chosen, value, bound, repeatable = program.solve()
    dances = _explained([pairings[i] for i in chosen], request)
    last = dances[-1]
    return Evening(
        dances=dances,
        request=request,
        length_s=last.start_s + last.pairing.length_s,
        value=value,
        bound=bound,
        n_pairings=len(pairings),
        repeatable=repeatable,
        notes=tuple(program.notes),
    )


# ----------------------------------------------------------------- explaining


def _explained(pairings: Sequence[Pairing], request: EveningRequest) -> tuple[Dance, ...]:
    """Give each dance its time and its reasons."""
    dances = []
    clock_s = 0.0
    waiting = list(request.teach)
    for place, (before, pairing) in enumerate(
        zip((None, *pairings), pairings, strict=False), start=1
    ):
        lesson = next((word for word in waiting if pairing.matches(word)), None)
        if lesson is not None:
            waiting.remove(lesson)
            clock_s += 60 * request.teach_minutes
        dances.append(
            Dance(
                place=place,
                start_s=clock_s,
                pairing=pairing,
                taught=lesson is not None,
                reasons=_reasons(
                    place, pairing, before, lesson is not None, request, len(pairings)
                ),
            )
        )
        clock_s += pairing.length_s + request.pause_s
    return tuple(dances)


def _reasons(
    place: int,
    pairing: Pairing,
    before: Pairing | None,
    taught: bool,
    request: EveningRequest,
    n_places: int,
) -> tuple[str, ...]:
    """Say in a few words why this dance stands here."""
    said = []
    if taught:
        said.append("taught just before")
    if any(at == place and pairing.matches(word) for at, word in request.fixed):
        said.append("you put it here")
    elif any(pairing.matches(word) for word in request.must):
        said.append("you asked for it")
    said.append(f"fits {pairing.fit.plan.score:.0f} of 100")
    if (wished := curve_at(request, place - 1, n_places)) is not None:
        said.append(f"{pairing.counts_per_minute:.0f} a minute where {wished:.0f} is wished for")
    elif before is not None:
        said.append(_beside(pairing, before))
    if pairing.for_beginners:
        said.append("for beginners")
    return tuple(said)


def _beside(pairing: Pairing, before: Pairing) -> str:
    change = pairing.counts_per_minute - before.counts_per_minute
    if abs(change) < 3:
        return "the same tempo as before"
    return "faster than before" if change > 0 else "slower than before"
