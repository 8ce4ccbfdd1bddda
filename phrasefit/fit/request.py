"""What is asked of the planner: one frozen request that every room passes on as it is."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

from phrasefit.clock import clock_time
from phrasefit.errors import ParameterError
from phrasefit.fit.costs import COMMON_PRACTICE, Costs
from phrasefit.fit.tempo import TEMPO_ROWS, TempoRow
from phrasefit.model import EventKind, Routine

DEFAULT_MAX_CHANGES = 4
MOST_CHANGES = 12  # nobody remembers more; keeps a slip of the pen harmless


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangePlace:
    """A tag or a restart at the count nearest to a time.

    `kind` is ``tag``: it begins there; or ``restart``: there the dance begins again, after
    a tag where one was put in before it.

    Raises
    ------
    ParameterError
        If a value is out of range.
    """

    kind: EventKind
    at_s: float

    def __post_init__(self) -> None:
        if self.kind not in (EventKind.TAG, EventKind.RESTART):
            raise ParameterError(f"a {self.kind} cannot be put at a place; a tag or a restart can")
        if not math.isfinite(self.at_s):
            raise ParameterError(
                f"a {self.kind} at {self.at_s}: must be seconds from the song's beginning"
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanRequest:
    """A routine, and how it shall be danced to a song.

    Parameters
    ----------
    routine : Routine
    start_s : float, optional
        Begin the dance at the count nearest to this time [seconds].
    intro : int, optional
        Begin after so many counts from the first one of the song.  Without `start_s` and
        `intro` the planner chooses where to begin.
    max_changes : int
        Most changes (restarts, tags) in a plan, 0-12.  A restart with a tag right after
        it is one change.
    changes : int, optional
        The plan with just so many changes is wanted, 0 to `max_changes`; the advised one
        if left out.
    demanded : tuple of ChangePlace
        Every plan has these tags and restarts, however dear they are.
    forbidden : tuple of ChangePlace
        No plan has these.
    costs : Costs
        What is good and what is dear; the values of common practice if left out.
    tempo_rows : tuple of TempoRow
        Tempo ranges by meter and level.

    Raises
    ------
    ParameterError
        If a value is out of range, or both `start_s` and `intro` are given.
    """

    routine: Routine
    start_s: float | None = None
    intro: int | None = None
    max_changes: int = DEFAULT_MAX_CHANGES
    changes: int | None = None
    demanded: tuple[ChangePlace, ...] = ()
    forbidden: tuple[ChangePlace, ...] = ()
    costs: Costs = COMMON_PRACTICE
    tempo_rows: tuple[TempoRow, ...] = TEMPO_ROWS

    def __post_init__(self) -> None:
        if self.start_s is not None and self.intro is not None:
            raise ParameterError(
                f"start at {self.start_s:g} s and intro={self.intro} both say where the dance"
                " begins; give only one of them"
            )
        if self.start_s is not None and not math.isfinite(self.start_s):
            raise ParameterError(f"start={self.start_s} must be seconds from the song's beginning")
        if self.intro is not None and self.intro < 0:
            raise ParameterError(f"intro={self.intro} must be 0 counts or more")
        if not 0 <= self.max_changes <= MOST_CHANGES:
            raise ParameterError(
                f"max_changes={self.max_changes} must lie between 0 and {MOST_CHANGES}"
            )
        if self.changes is not None and not 0 <= self.changes <= self.max_changes:
            raise ParameterError(
                f"changes={self.changes} must lie between 0 and max_changes={self.max_changes};"
                " allow more changes, or ask for fewer"
            )
        if both := set(self.demanded) & set(self.forbidden):
            place = min(both, key=lambda place: place.at_s)
            raise ParameterError(
                f"a {place.kind} at {clock_time(place.at_s)} is asked for and ruled out;"
                " take one back"
            )

    @property
    def start_is_given(self) -> bool:
        """Whether a person says where the dance begins."""
        return self.start_s is not None or self.intro is not None


def as_request(wanted: PlanRequest | Routine, **options: Any) -> PlanRequest:
    """Make a request of a routine and the options of `PlanRequest`, or change one by them."""
    if isinstance(wanted, PlanRequest):
        return replace(wanted, **options) if options else wanted
    return PlanRequest(routine=wanted, **options)
