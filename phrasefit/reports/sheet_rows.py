"""The rows of a sheet's table: what each says, and the marks that stand before it.

A wall's number is alone in a box; a block is a tag, a flag a restart, a bar the end.  An
arrow, seen from above, says with the clock which way everyone faces.
"""

from __future__ import annotations

from dataclasses import dataclass

from phrasefit.clock import clock_time
from phrasefit.model import Ending, FitPlan, Plan, Restart, Tag, Wall
from phrasefit.reports.event_words import counts_words, row_words
from phrasefit.reports.leaf import BOX_PT, LEFT_PT, Canvas
from phrasefit.reports.paper import text_width_pt
from phrasefit.reports.picture import arrow, event_shape
from phrasefit.reports.rows import Mark, SetWords, set_words
from phrasefit.reports.start_words import is_on_vocals
from phrasefit.reports.words import music_name, off_phrase, part_name

# Columns, as multiples of the type: wall, facing.
WALL_EM, FACES_EM = 2.3, 4.7
AFTER_ARROW_EM = 1.25  # where the clock stands in its column
BOX_GAP_PT = 1.8  # between a box and the rules above and below


@dataclass(frozen=True, slots=True, kw_only=True)
class EventRow:
    """One row of the table; `mark` is ``tag``, ``restart``, ``end`` or empty for a wall.

    `event` is what it is, `after` which count of a wall that is cut, `more` all else
    that must be known.
    """

    time_s: float
    facing: int
    wall: str = ""
    part: str = ""
    music: str = ""
    counts: str = ""
    event: str = ""
    after: str = ""
    more: str = ""
    mark: str = ""


def plan_rows(fit: FitPlan, plan: Plan) -> list[list[EventRow]]:
    """List the rows of a plan, grouped so that what belongs to one wall stays together."""
    groups: list[list[EventRow]] = []
    for event in plan.events:
        if isinstance(event, Wall):
            groups.append([_wall_row(fit, event, plan)])
        else:
            groups[-1].append(_event_row(event))
    return groups


def _wall_row(fit: FitPlan, wall: Wall, plan: Plan) -> EventRow:
    section = int(fit.grid.section[wall.start_count])
    return EventRow(
        time_s=wall.start_s,
        wall=str(wall.number),
        part=part_name(wall.part) if len(fit.routine.parts) > 1 else "",
        facing=wall.facing,
        music=music_name(fit.bar_map.sections[section]) if section >= 0 else "",
        counts=str(wall.counts),
        more=_wall_words(fit, wall, plan),
    )


def _event_row(event: Tag | Restart | Ending) -> EventRow:
    what, after, more = row_words(event)
    return EventRow(
        time_s=event.time_s,
        facing=event.facing,
        counts=str(event.counts) if isinstance(event, Tag) else "",
        event=what,
        after=after,
        more=more,
        mark=event.kind.value,
    )


def _wall_words(fit: FitPlan, wall: Wall, plan: Plan) -> str:
    """Say what is special about a wall."""
    if wall.number == plan.ending.wall and wall.counts < _whole(fit, wall):
        return f"music ends after {wall.counts}"
    return off_phrase(fit, wall)


def _whole(fit: FitPlan, wall: Wall) -> int:
    return next(part.counts for part in fit.routine.parts if part.name == wall.part)


def start_line(fit: FitPlan, plan: Plan, *, decimals: int = 1) -> str:
    """Say when the dance starts."""
    when, after = start_words(fit, plan, decimals=decimals)
    return f"START at {when}" + (f", {after}" if after else "")


def start_words(fit: FitPlan, plan: Plan, *, decimals: int = 1) -> tuple[str, str]:
    """Say when the dance starts: the time, and after what ("": at once)."""
    after = [f"after {counts_words(plan.intro_counts)}"] if plan.intro_counts > 0 else []
    after += ["on the vocals"] if is_on_vocals(fit, plan) else []
    return clock_time(plan.start_s, decimals=decimals), ", ".join(after)


def number_in_box(wall: str, size: float, larger: float) -> tuple[float, SetWords]:
    """Set a wall's number so much larger than `size`, or as it fits in the box of its column.

    Returns
    -------
    float, SetWords
        How far it moves right, into the middle of the box [points]; the number.
    """
    box = WALL_EM * size
    words = set_words(wall, 0.9 * box, larger * size, least=0.5 * size, bold=True)
    return (box - text_width_pt(wall, words.size, bold=True)) / 2, words


def facing_mark(row: EventRow, x: float, size: float, lead: float) -> Mark:
    """Draw the arrow of a facing at the left of its column."""
    return lambda canvas, top: arrow(canvas, x + size * 0.5, top + lead / 2, size, row.facing)


def left_mark(row: EventRow, size: float, lead: float, width: float) -> Mark:
    """Draw the box of a wall's number, or the shape of an event in its place."""

    def mark(canvas: Canvas, top: float) -> None:
        if row.mark:
            side = size * 0.72
            event_shape(
                canvas, row.mark, LEFT_PT + (width - side) / 2, top + lead / 2 + side / 2, side
            )
        else:
            canvas.box(LEFT_PT, top + BOX_GAP_PT, width, lead - 2 * BOX_GAP_PT, line=BOX_PT)

    return mark
