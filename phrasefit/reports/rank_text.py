"""Rankings for the terminal: songs for a routine, routines for a song, one line each.

Songs whose tempo is out of the routine's reach stand under a line of their own, whatever
they score.
"""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Sequence

from phrasefit.clock import clock_time
from phrasefit.fit.tempo import MOST_CHANGE_PERCENT, is_in_reach
from phrasefit.model import FitPlan, Plan
from phrasefit.ranking.rank import Ranking
from phrasefit.ranking.summary import least_confidence
from phrasefit.reports.terminal import columns, cut
from phrasefit.reports.words import is_off_tempo, plural_s, verdict, verdict_cell

LEAST_NAME = 8  # columns
HEADS = ("", "score", "verdict", "tempo", "count 1", "changes", "sure")
FIRST_TO_GO = 2  # of these, from the last on, where a terminal is narrow
LEAST_VERDICT = 13  # columns, more where a doubt is longer
LONG_INDENT = 8

NameOf = Callable[[FitPlan], str]


def render_ranking(ranking: Ranking, *, width: int | None = None, long: bool = False) -> str:
    """Write a ranking, one line a song; `long` adds the whole verdict.

    Parameters
    ----------
    width : int, optional
        Columns; names are cut to fit, and in a narrow terminal the last of `HEADS` are left
        out.  Those of the terminal if left out.
    """
    n_shown = len(ranking.songs)
    looked = f"{ranking.n_songs} song{plural_s(ranking.n_songs)}"
    if n_shown:
        lines = [f"{ranking.routine.name}: the best {n_shown} of {looked}"]
        fits = [song.fit for song in ranking.songs]
        lines += _rows(fits, "song", song_name, width, long)
        lines += [f"{song_name(fit)}: {note}" for fit in fits for note in fit.bar_map.notes]
    else:
        asked = " and is what you asked for" if ranking.n_filtered else ""
        lines = [f"{ranking.routine.name}: none of {looked} fits it{asked}"]
    return "\n".join([*lines, *_left_out(ranking)]) + "\n"


def render_suits(fits: Sequence[FitPlan], *, width: int | None = None, long: bool = False) -> str:
    """Write the routines for one song, the best first; see `render_ranking`."""
    if not fits:
        return "no routine fits this song\n"
    title = fits[0].bar_map.title or "this song"
    lines = [f"{title}: {len(fits)} routine{plural_s(len(fits))}, the best first"]
    lines += _rows(fits, "routine", lambda fit: fit.routine.name, width, long)
    return "\n".join(lines) + "\n"


def song_name(fit: FitPlan) -> str:
    """Name a song by title and artist."""
    return " - ".join(filter(None, (fit.bar_map.title, fit.bar_map.artist))) or "song"


def _rows(
    fits: Sequence[FitPlan], what: str, name_of: NameOf, width: int | None, long: bool
) -> list[str]:
    """Write those in reach, then the others under a line that says so; places run on."""
    width = width or columns()
    ordered = sorted(fits, key=lambda fit: not is_in_reach(fit.tempo))
    n_reached = sum(is_in_reach(fit.tempo) for fit in fits)
    cells = [_cells(place, fit) for place, fit in enumerate(ordered, start=1)]
    verdict_width = max(LEAST_VERDICT, *(len(row[2]) for row in cells))
    n_columns = _n_columns(verdict_width, width)
    lines = [_line(HEADS[:n_columns], verdict_width) + what]
    for place, (fit, row) in enumerate(zip(ordered, cells, strict=True)):
        if place == n_reached:
            lines.append(f"out of reach, the tempo is off by more than {MOST_CHANGE_PERCENT:g} %:")
        line = _line(row[:n_columns], verdict_width)
        lines.append(line + cut(name_of(fit), max(LEAST_NAME, width - len(line))))
        if long:
            words = textwrap.wrap(verdict(fit), max(40, width - LONG_INDENT))
            lines += [" " * LONG_INDENT + text for text in words]
    return lines


def _n_columns(verdict_width: int, width: int) -> int:
    """Say how many columns have room beside a name."""
    fewest = len(HEADS) - FIRST_TO_GO
    fitting = (
        n
        for n in range(len(HEADS), fewest, -1)
        if len(_line(HEADS[:n], verdict_width)) + LEAST_NAME <= width
    )
    return next(fitting, fewest)


def _cells(place: int, fit: FitPlan) -> tuple[str, ...]:
    return (
        f"{place}.",
        f"{fit.plan.score:.0f}",
        verdict_cell(fit),
        tempo_cell(fit),
        clock_time(fit.plan.start_s),
        changes_cell(fit.plan),
        f"{least_confidence(fit.bar_map):.0%}",
    )


def _line(cells: tuple[str, ...], verdict_width: int) -> str:
    """Set cells under their heads; of `HEADS`, the last ones may be left out."""
    place, *others = cells
    shapes = (">5", f"<{verdict_width}", "<10", ">7", "<7", ">4")
    set_cells = (f"{cell:{shape}}" for cell, shape in zip(others, shapes, strict=False))
    return f"{place:>4} {'  '.join(set_cells)}  "


def tempo_cell(fit: FitPlan) -> str:
    """Write counts a minute, and the change that brings a song in range that is in reach."""
    tempo = fit.tempo
    needs = f" {tempo.change_percent:+.1f}%"
    shown = is_off_tempo(tempo) and is_in_reach(tempo)
    return f"{tempo.counts_per_minute:.0f}{needs if shown else ''}"


def changes_cell(plan: Plan) -> str:
    """Count the restarts and tags to be remembered."""
    return str(plan.n_changes) if plan.n_changes else "none"


def _left_out(ranking: Ranking) -> list[str]:
    """Say what is not in the table, and that nothing better was overlooked."""
    lines = []
    rest = ranking.n_songs - ranking.n_filtered - sum(ranking.unfit.values()) - len(ranking.songs)
    if rest > 0:
        lines.append(f"not shown: {rest} that come after these (see --show)")
    if ranking.n_filtered:
        lines.append(f"put aside by what you asked for: {ranking.n_filtered}")
    for reason, n in ranking.unfit.items():
        lines.append(f"left out: {n} song{plural_s(n)}, {reason}")
    return lines
