"""Build an evening: which song with which routine, in which order, and why."""

from __future__ import annotations

from collections.abc import Sequence

from phrasefit.errors import NoFitError, Reason
from phrasefit.evening.evening import Dance, Evening, EveningRequest, Pairing, curve_at
from phrasefit.evening.integer_program import EveningProgram, Row, Solution
from phrasefit.fit.tempo import is_in_reach

__all__ = ["Dance", "Evening", "EveningRequest", "Pairing", "build_evening"]


def build_evening(pairings: Sequence[Pairing], request: EveningRequest) -> Evening:
    """Choose and order dances.

    Parameters
    ----------
    pairings : sequence of Pairing
        Songs may come with several routines, routines with several songs.
    request : EveningRequest

    Returns
    -------
    Evening
        The dances in their order, what the evening is worth, and what no evening from the
        same pairings can exceed.

    Raises
    ------
    NoFitError
        If there is no evening with all these wishes; names the ones that stand in the way.
    ParameterError
        If a word in the request matches no pairing, or a fixed place lies outside.
    """
    offers, notes = usable(pairings, request)
    program, found = _longest(offers, request)
    found = _with_others(program, found, request)
    dances = explained([offers[i] for i in found.chosen], request)
    return Evening(
        dances=dances,
        request=request,
        length_s=length_of(dances),
        value=found.value,
        bound=found.bound,
        n_pairings=len(offers),
        repeatable=found.repeatable,
        notes=(*notes, *program.notes),
    )


def usable(pairings: Sequence[Pairing], request: EveningRequest) -> tuple[list[Pairing], list[str]]:
    """Leave out what no evening should have; say which songs that were wanted are missing."""
    kept = [o for o in pairings if request.keeps(o)]
    free = [o for o in pairings if not request.keeps(o)]
    wanted = [o for o in free if not any(o.matches(word) for word in request.never)]
    fitting = [o for o in wanted if o.fit.plan.score >= request.min_score]
    reached = [o for o in fitting if is_in_reach(o.fit.tempo)]
    offers = [o for o in reached if o.fit.bar_map.duration_s >= request.min_length_s]
    minutes, seconds = divmod(round(request.min_length_s), 60)
    least = f"{minutes}:{seconds:02d}"
    n_short = len({o.key for o in reached} - {o.key for o in offers})
    offers = [*kept, *offers]
    if not offers and n_short:
        raise NoFitError(
            f"all songs that fit are shorter than {least}; add longer ones, or lower --min-length",
            reason=Reason.NO_EVENING,
        )
    if not offers:
        raise NoFitError(
            f"no song fits any routine at a score of {request.min_score:g} or more with its tempo"
            " in reach; add songs or routines, or lower --min-score",
            reason=Reason.NO_EVENING,
        )
    notes = []
    if n_short:
        songs = "1 song" if n_short == 1 else f"{n_short} songs"
        notes.append(f"{songs} shorter than {least} left out (--min-length)")
    return offers, notes


def _longest(
    pairings: Sequence[Pairing], request: EveningRequest
) -> tuple[EveningProgram, Solution]:
    """Find the evening wished for, or a shorter one where it cannot be filled.

    What a person puts at a place is kept: the evening is never too short for that.
    """
    program = EveningProgram(pairings, request)
    n = program.n_places
    if found := program.solve():
        return program, found
    reason = program.why_not()
    held = [*(place for place, _ in request.fixed), *(place for place, _, _ in request.kept)]
    least, too_many = max(held, default=1), n
    offered: tuple[EveningProgram, Solution] | None = None
    for shorter in dict.fromkeys((n - 1, n - 2, n - 3, 3 * n // 4, n // 2, n // 4)):
        if not least <= shorter < n:
            continue
        if offered := _of_length(shorter, pairings, request):
            break
        too_many = shorter
    if offered is None:
        raise NoFitError(reason, reason=Reason.NO_EVENING)
    while too_many - offered[0].n_places > 1:  # the longest lies between
        middle = (offered[0].n_places + too_many) // 2
        if longer := _of_length(middle, pairings, request):
            offered = longer
        else:
            too_many = middle
    tried, found = offered
    tried.notes += program.notes
    tried.notes.append(f"{tried.n_places} instead of {n} dances: {reason}")
    return tried, found


def _of_length(
    n: int, pairings: Sequence[Pairing], request: EveningRequest
) -> tuple[EveningProgram, Solution] | None:
    """Find the best evening of `n` dances, if there is one."""
    program = EveningProgram(pairings, request, n_places=n)
    found = program.solve()
    return (program, found) if found else None


def _with_others(program: EveningProgram, found: Solution, request: EveningRequest) -> Solution:
    """Put the next best where a dance is not wanted; the others move only if they must."""
    dropped: list[Row] = []
    for place in request.instead:
        program.require_place(place)
        kept = program.other_than(found.chosen, place - 1, keep_others=True)
        dropped += program.other_than(found.chosen, place - 1, keep_others=False)
        other = program.solve([*dropped, *kept])
        if other is None:
            other = program.solve(dropped)
            program.notes.append(f"nothing else can stand at place {place}: others moved as well")
        if other is None:
            raise NoFitError(
                f"there is no other evening without the song at place {place}; add songs",
                reason=Reason.NO_EVENING,
            )
        found = other
    return found


# ----------------------------------------------------------------- explaining


def explained(pairings: Sequence[Pairing], request: EveningRequest) -> tuple[Dance, ...]:
    """Give each dance, in this order, its time and its reasons."""
    dances = []
    clock_s = 0.0
    waiting = list(request.teach)
    for place, (before, pairing) in enumerate(
        zip((None, *pairings), pairings, strict=False), start=1
    ):
        lesson = next((word for word in waiting if pairing.dances(word)), None)
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


def length_of(dances: Sequence[Dance]) -> float:
    """Give the seconds from the beginning to the end of the last dance; 0 without any."""
    return dances[-1].start_s + dances[-1].pairing.length_s if dances else 0.0


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
    was_put = any(at == place and pairing.matches(word) for at, word in request.fixed)
    if was_put:
        said.append("you put it here")
    elif request.keeps(pairing, place):
        said.append("you keep it here")
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
