"""The plan as CSV: one row a wall, tag, restart and the end."""

from __future__ import annotations

from phrasefit.model import Ending, Event, FitPlan, Plan, Tag, Wall
from phrasefit.reports.event_words import column_words, remark
from phrasefit.reports.spreadsheet import csv_text
from phrasefit.reports.times import clock_time
from phrasefit.routine.turns import clock

COLUMNS = ("time", "seconds", "wall", "facing", "part", "counts", "event", "remark")


def walls_csv(fit: FitPlan, plan: Plan | None = None) -> str:
    """Write a plan as CSV text."""
    return csv_text(COLUMNS, map(_row, (plan or fit.plan).events))


def _row(event: Event) -> list[object]:
    return [
        clock_time(event.time_s),
        f"{event.time_s:.3f}",
        event.wall,
        clock(event.facing),
        event.part if isinstance(event, Wall) else "",
        event.counts if isinstance(event, Wall | Tag) else "",
        column_words(event),
        _remark(event),
    ]


def _remark(event: Event) -> str:
    if isinstance(event, Wall):
        side = "after" if event.phrase_offset > 0 else "before"
        off = abs(event.phrase_offset)
        return f"{off} counts {side} the phrase" if off else ""
    if isinstance(event, Ending):
        over = f"; {event.counts_over} counts of music left" if event.counts_over else ""
        return f"{event.after_count} counts of wall {event.wall} danced{over}"
    return event.name if isinstance(event, Tag) else remark(event)
