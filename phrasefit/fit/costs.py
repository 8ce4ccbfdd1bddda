"""The one table of what is good and what is dear when a routine is laid over a song.

All values are starting values from common practice (no source); an instructor can
replace any of them by a TOML file (`phrasefit.fit.settings`).  Two units are used:

* *phrase starts*: 1.0 is a phrase start of full strength met by count 1 of a wall.
  A restart charged 1.0 must therefore bring at least one more phrase start right.
* *points* of the 0-100 fit score, for the place where the dance begins.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from phrasefit.errors import ParameterError, shown
from phrasefit.meters import DANCE_METERS


@dataclass(frozen=True, slots=True, kw_only=True)
class Costs:
    """What the planner rewards and charges; every field can be set by the user.

    How well a phrase start is met, by the count of the wall on which it falls
    [phrase starts, -1 to 1]: `meet_start` on count 1 of a wall or tag; `meet_half`
    half-way through the wall where that is a whole number of eights (dancers live
    with it); `meet_group` on another eight; `meet_bar` on another bar line;
    `meet_off` anywhere else.  In threes a group is six counts, not eight.

    `inner_phrase` [0-1] is the weight of a phrase start inside a section beside
    that of the section's own start.

    Charges [phrase starts]: `restart`; more where it does not fall on an eight
    (`restart_off_group`), where no more than one eight was danced (`restart_early`:
    a tag is easier than a stump of a wall), where the weight must be changed
    (`step_change`), or where the next wall faces the same way again although the
    routine turns (`same_facing`).  `tag`; more for each count beyond the first bar
    (`tag_per_count`) and where it turns (`turning_tag`).  A tag right after a restart
    is one event: `joined` is taken off the two charges.  `again` is taken off an
    event of the same kind as the one before it: it is learned already.  `crowded`
    is added where the wall before had an event too.  `end_off_front` only breaks
    ties: the dance does not end facing 12:00.

    `groups_after_event`: so many eights must be left after any event.

    The start [points]: `start_weak` for a start on no phrase start (in proportion
    for a weak one); `start_sudden` with less than one eight before it, no room for a
    count-in; `start_brief` with less than two; `start_late` for each count beyond
    four eights; `start_unusual` where the intro is neither two nor four eights, what dancers
    wait for without being told; `start_other` where the routine asks for another intro.
    """

    meet_start: float = 1.0
    meet_half: float = 0.5
    meet_group: float = 0.25
    meet_bar: float = 0.0
    meet_off: float = -0.5
    inner_phrase: float = 0.5
    restart: float = 1.0
    restart_off_group: float = 0.25
    restart_early: float = 0.25
    step_change: float = 0.5
    same_facing: float = 0.1
    tag: float = 1.0
    tag_per_count: float = 0.05
    turning_tag: float = 0.25
    joined: float = 0.5
    again: float = 0.25
    crowded: float = 0.5
    end_off_front: float = 0.001
    groups_after_event: int = 2
    start_weak: float = 15.0
    start_sudden: float = 30.0
    start_brief: float = 4.0
    start_late: float = 0.25
    start_unusual: float = 2.0
    start_other: float = 5.0

    def __post_init__(self) -> None:
        for field in dataclasses.fields(self):
            value = getattr(self, field.name)
            if not isinstance(value, int | float) or isinstance(value, bool):
                raise ParameterError(f"costs: {field.name}={shown(value)} must be a number")
            low, high = (-1.0, 1.0) if field.name.startswith("meet_") else (0.0, 100.0)
            if not low <= value <= high:
                raise ParameterError(
                    f"costs: {field.name}={shown(value)} must lie between {low:g} and {high:g}"
                )
        if self.groups_after_event != int(self.groups_after_event):
            raise ParameterError(
                f"costs: groups_after_event={self.groups_after_event:g} must be a whole number"
            )

    @classmethod
    def of(cls, table: Mapping[str, Any]) -> Costs:
        """Take the values of common practice, some replaced by those in `table`.

        Raises
        ------
        ParameterError
            If a name or value in it is not legal.
        """
        names = [field.name for field in dataclasses.fields(cls)]
        unknown = sorted(set(table) - set(names))
        if unknown:
            raise ParameterError(f"{unknown[0]} is no cost; the names are {', '.join(names)}")
        return cls(**table)


COMMON_PRACTICE = Costs()


def wall_meeting(counts: int, meter: int, costs: Costs) -> np.ndarray:
    """Tell how well a phrase start is met on each count of a wall.

    Parameters
    ----------
    counts : int
        Counts of one whole wall.
    meter : int
        4 or 3, as the routine is counted.

    Returns
    -------
    np.ndarray [shape=(counts,), phrase starts]
    """
    meeting = _inside(counts, meter, costs)
    half, odd = divmod(counts, 2)
    if not odd and half % DANCE_METERS[meter].group_counts == 0:
        meeting[half] = costs.meet_half
    return meeting


def tag_meeting(counts: int, meter: int, costs: Costs) -> np.ndarray:
    """Tell how well a phrase start is met on each count of a tag; a tag has no half."""
    return _inside(counts, meter, costs)


def _inside(counts: int, meter: int, costs: Costs) -> np.ndarray:
    k = np.arange(counts)
    meeting = np.where(k % meter == 0, costs.meet_bar, costs.meet_off)
    meeting[k % DANCE_METERS[meter].group_counts == 0] = costs.meet_group
    meeting[:1] = costs.meet_start
    return meeting
