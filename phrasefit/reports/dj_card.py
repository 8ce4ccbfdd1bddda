"""One page for the DJ: which recording, how fast, when to count in, when it ends."""

from __future__ import annotations

from phrasefit.model import FitPlan, Plan
from phrasefit.reports.cues import COUNT_IN
from phrasefit.reports.event_words import change_sentences
from phrasefit.reports.paper import MARGIN_PT, Document, fitting_size, wrapped
from phrasefit.reports.sheet import CAUTION
from phrasefit.reports.times import clock_time
from phrasefit.reports.words import tempo_words
from phrasefit.routine.turns import clock

LABEL_PT, TYPE_PT, LEAD_PT = 11.0, 16.0, 25.0


def dj_card(fit: FitPlan, plan: Plan | None = None, *, paper: str = "a4") -> Document:
    """Lay out the DJ's page of a plan on `paper` ('a4' or 'letter')."""
    plan = plan or fit.plan
    document = Document(paper=paper, title=f"{fit.routine.name} - {fit.bar_map.title}")
    page = document.new_page()
    y = MARGIN_PT + 24
    fits = fitting_size(fit.routine.name, page.inner_pt, 22, smallest=14, bold=True)
    page.text(MARGIN_PT, y, fit.routine.name, fits, bold=True, width=page.inner_pt)
    for label, words in card_rows(fit, plan):
        for i, line in enumerate(wrapped(words, page.inner_pt - 110, TYPE_PT)):
            y += LEAD_PT if i else LEAD_PT + 6
            if i == 0:
                page.text(MARGIN_PT, y, label, LABEL_PT, width=104)
            page.text(MARGIN_PT + 110, y, line, TYPE_PT, bold=label in ("count in", "count 1"))
    lines = wrapped(CAUTION, page.inner_pt, 9)
    for i, line in enumerate(reversed(lines)):
        page.text(MARGIN_PT, page.height_pt - MARGIN_PT - 12 * i, line, 9)
    return document


def card_rows(fit: FitPlan, plan: Plan) -> list[tuple[str, str]]:
    """List what a DJ must know, as (label, words)."""
    song, grid = fit.bar_map, fit.grid
    n_in = COUNT_IN[fit.routine.meter]
    n_in = min(n_in, plan.start_count)
    first = plan.start_count - n_in
    end = plan.ending
    return [
        ("song", song.title or "unknown"),
        ("artist", song.artist or "unknown"),
        ("length", f"{clock_time(song.duration_s, decimals=0)}, check it is this recording"),
        ("tempo", tempo_words(fit)),
        (
            "count in",
            f"from {clock_time(float(grid.times_s[first]))}, {n_in} counts"
            if n_in
            else "none: it starts at once",
        ),
        ("count 1", f"{clock_time(plan.start_s)}, after {plan.intro_counts} counts"),
        ("walls", _wall_words(fit, plan)),
        ("changes", "; ".join(change_sentences(plan)) or "none"),
        ("ends", f"{clock_time(end.time_s)}, facing {clock(end.facing)}"),
    ]


def _wall_words(fit: FitPlan, plan: Plan) -> str:
    """Say how many walls are danced: their length, or the parts of a phrased routine."""
    n_walls = len(plan.walls)
    if fit.routine.sequence:
        return f"{n_walls}: {' '.join(wall.part for wall in plan.walls)}"
    cut = f", {len(plan.restarts)} cut short" if plan.restarts else ""
    return f"{n_walls} of {fit.routine.counts} counts{cut}"
