"""The plan as CSV: one row a wall, tag, restart and the end."""

from __future__ import annotations

from phrasefit.clock import clock_time
from phrasefit.model import Ending, Event, FitPlan, Plan, Tag, Wall
from phrasefit.reports.event_words import column_words, counts_words, remark
from phrasefit.reports.spreadsheet import csv_text
from phrasefit.reports.words import off_phrase
from phrasefit.routine.turns import clock

COLUMNS = ("time", "seconds", "wall", "facing", "part", "counts", "event", "remark")


def walls_csv(fit: FitPlan, plan: Plan | None = None) -> str:
    """Write a plan as CSV text."""
    return csv_text(COLUMNS, (_row(fit, event) for event in (plan or fit.plan).events))


def _row(fit: FitPlan, event: Event) -> list[object]:
    return [
        clock_time(event.time_s),
        f"{event.time_s:.3f}",
        event.wall,
        clock(event.facing),
        event.part if isinstance(event, Wall) else "",
        event.counts if isinstance(event, Wall | Tag) else "",
        column_words(event),
        _remark(fit, event),
    ]


def _remark(fit: FitPlan, event: Event) -> str:
    if isinstance(event, Wall):
        return off_phrase(fit, event)
    if isinstance(event, Ending):
        over = f"; {counts_words(event.counts_over)} of music left" if event.counts_over else ""
        return f"{event.after_count} counts of wall {event.wall} danced{over}"
    return event.name if isinstance(event, Tag) else remark(event)
