"""A fit as text for a terminal."""

from __future__ import annotations

from collections.abc import Iterable

from phrasefit.clock import clock_time
from phrasefit.fit.grid import beat_tempo
from phrasefit.fit.in_step import Measure, Place, measure_of
from phrasefit.fit.starts import usual_intros
from phrasefit.model import FitPlan, Plan, Restart, Tag, Wall
from phrasefit.reports.doubts import NameCorrection, other_doubts
from phrasefit.reports.event_words import (
    counts_words,
    ending_sentence,
    terminal_words,
)
from phrasefit.reports.level_words import level_words, other_count_words
from phrasefit.reports.start_words import option_words, start_words
from phrasefit.reports.terminal import Labeled, Line, columns, in_blocks
from phrasefit.reports.words import (
    cautions,
    changes_words,
    score_words,
    tempo_and_course_words,
    verdict,
)
from phrasefit.routine.turns import clock

WIDTH = 96  # columns where there is no terminal; fits one of 100
SHOWN_STARTS = 3
CELL_WORDS = {
    Place.HALF.value: "half = half-way through a phrase",
    Place.WITHIN.value: "within = whole walls or phrases after one began",
}
WORTH_SHOWING = 1.0  # points; nobody learns a change for less


def render(
    fit: FitPlan, *, name_correction: NameCorrection | None = None, width: int | None = None
) -> str:
    """Write the plan asked for, the other plans and every doubt as lines of text.

    Parameters
    ----------
    fit : FitPlan
    name_correction : callable, optional
        Gives what to type for a correction that settles a doubt.
    width : int, optional
        Columns; those of the terminal if left out, `WIDTH` without one.  Names are not cut.
    """
    plan = fit.plan
    blocks: list[list[Line]] = [
        [_heading(fit)],
        [Labeled("", verdict(fit, name_correction=name_correction))],
        _facts(fit, plan, name_correction),
        _walls(fit, plan),
        [Labeled("ending    ", ending_sentence(plan.ending))],
        _other_plans(fit),
        _other_starts(fit),
        _listed("check also", other_doubts(fit, name_correction)),
        _listed("taken for granted", fit.routine.assumed),
        _listed("care", cautions(fit)),
        _listed("about the song", fit.bar_map.notes),
    ]
    return in_blocks(blocks, width or columns(WIDTH))


def _listed(title: str, lines: tuple[str, ...]) -> list[Line]:
    return [title, *(Labeled("  ", line) for line in lines)] if lines else []


def _heading(fit: FitPlan) -> str:
    song = " - ".join(text for text in (fit.bar_map.title, fit.bar_map.artist) if text) or "song"
    return f"{fit.routine.name}   to   {song} ({clock_time(fit.bar_map.duration_s, decimals=0)})"


def _facts(fit: FitPlan, plan: Plan, name: NameCorrection | None) -> list[Line]:
    count = level_words(fit.grid.beats_per_count, beat_tempo(fit.bar_map))
    return [
        Labeled("start     ", start_words(fit, plan)),
        Labeled("tempo     ", tempo_and_course_words(fit, source=f"range: {fit.tempo.source}")),
        Labeled("count     ", "; ".join(filter(None, (count, other_count_words(fit, name))))),
        Labeled("score     ", score_words(fit, plan)),
    ]


def _walls(fit: FitPlan, plan: Plan) -> list[Line]:
    """Give one line a wall; events stand on their own lines between, in capitals.

    The phrase column says where a wall begins beside a phrase of the song.
    """
    parts = len(fit.routine.parts) > 1
    measure = measure_of(fit.grid, fit.routine)
    cells = {wall.number: _phrase_cell(measure, wall) for wall in plan.walls}
    head = "  wall   starts   counts  facing  phrase"
    lines: list[Line] = [head + ("  part" if parts else "")]
    for event in plan.events:
        if isinstance(event, Tag | Restart):
            lines.append(f"        {clock_time(event.time_s):>8}  {terminal_words(event)}")
        if isinstance(event, Wall):
            row = _wall_row(event, cells[event.number])
            lines.append(row + (f"  {event.part}" if parts else ""))
    return [*lines, *_legend(cells.values())]


def _phrase_cell(measure: Measure, wall: Wall) -> str:
    place = measure.place_of(wall)
    if place is Place.UNKNOWN:
        return "-"
    return f"{wall.phrase_offset:+d}" if place is Place.OFF else place.value


def _legend(cells: Iterable[str]) -> list[Line]:
    """Explain the signs of the phrase column that need it."""
    shown = set(cells)
    words = [text for cell, text in CELL_WORDS.items() if cell in shown]
    if off := next((cell for cell in cells if cell[0] in "+-" and len(cell) > 1), ""):
        side = "after" if off[0] == "+" else "before"
        words.append(f"{off} = {counts_words(int(off[1:]))} {side} a phrase begins")
    return [Labeled("  phrase: ", ", ".join(words))] if words else []


def _wall_row(wall: Wall, cell: str) -> str:
    return (
        f"  {wall.number:>4}  {clock_time(wall.start_s):>8}  {wall.counts:>6}"
        f"  {clock(wall.facing):>6}  {cell:>6}"
    )


def plans_worth_showing(fit: FitPlan) -> list[Plan]:
    """Leave out the plans that nobody would learn."""
    return [p for p in fit.plans if p in (fit.plan, fit.advised) or p.score >= WORTH_SHOWING]


def _other_plans(fit: FitPlan) -> list[Line]:
    shown = plans_worth_showing(fit)
    if len(shown) == 1:
        return []
    lines: list[Line] = ["plans (the best for each number of changes; * = advised)"]
    for plan in shown:
        mark = "*" if plan is fit.advised else " "
        what = changes_words(plan)
        label = (
            f"{mark} {plan.n_changes:>2}  score {plan.score:>3.0f}"
            f"  from {clock_time(plan.start_s)}  "
        )
        lines.append(Labeled(label, what))
    return lines


def _other_starts(fit: FitPlan) -> list[Line]:
    others = [s for s in fit.start_options if s.start_count != fit.plan.start_count]
    if not others:
        return []
    singing = fit.grid.singing
    unknown = " (where the singing begins is not known)" if singing is None else ""
    lines: list[Line] = [Labeled("", f"other places for count 1, and why not{unknown}")]
    usual = usual_intros(fit.routine)  # what people ask for first, beside the vocals
    for index, option in enumerate(others):
        sung = option.start_count == singing
        if index < SHOWN_STARTS or option.intro_counts in usual or sung:
            label = (
                f"  {clock_time(option.start_s):>8}  intro {option.intro_counts:>3} counts"
                f"  score {option.score:>3.0f}  "
            )
            lines.append(Labeled(label, option_words(fit, option)))
    return lines
