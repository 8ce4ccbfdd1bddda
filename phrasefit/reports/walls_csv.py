"""The plan as CSV (RFC 4180), one row a wall, tag or ending; opens in any spreadsheet.

The file begins with a byte-order mark, which older spreadsheets need to read UTF-8.
"""

from __future__ import annotations

import csv
import io

from phrasefit.model import FitPlan, Plan, Wall
from phrasefit.reports.times import clock_time
from phrasefit.routine.turns import clock

COLUMNS = ("time", "seconds", "wall", "facing", "part", "counts", "event", "remark")
BYTE_ORDER_MARK = "\ufeff"


def walls_csv(fit: FitPlan, plan: Plan | None = None) -> str:
    """Write a plan as CSV text, byte-order mark included."""
    plan = plan or fit.plan
    tags = {tag.after_wall: tag for tag in plan.tags}
    restarts = {restart.wall: restart for restart in plan.restarts}
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\r\n")
    table.writerow(COLUMNS)
    for wall in plan.walls:
        table.writerow(_wall_row(wall, restarts.get(wall.number)))
        if tag := tags.get(wall.number):
            table.writerow(
                [
                    *_when(tag.time_s),
                    wall.number,
                    clock(tag.facing),
                    "",
                    tag.counts,
                    "TAG",
                    tag.name,
                ]
            )
    end = plan.ending
    over = f"; {end.counts_over} counts of music left" if end.counts_over else ""
    remark = f"{end.counts_left} counts of wall {end.wall} danced{over}"
    table.writerow([*_when(end.time_s), end.wall, clock(end.facing), "", "", "END", remark])
    return BYTE_ORDER_MARK + out.getvalue()


def _when(seconds: float) -> list[str]:
    return [clock_time(seconds), f"{seconds:.3f}"]


def _wall_row(wall: Wall, restart) -> list[object]:
    event = f"RESTART after {restart.after_count}" if restart else ""
    remarks = [restart.step_change] if restart and restart.step_change else []
    if wall.phrase_offset:
        side = "after" if wall.phrase_offset > 0 else "before"
        remarks.append(f"{abs(wall.phrase_offset)} counts {side} the phrase")
    return [
        *_when(wall.start_s),
        wall.number,
        clock(wall.facing),
        wall.part,
        wall.counts,
        event,
        "; ".join(remarks),
    ]
