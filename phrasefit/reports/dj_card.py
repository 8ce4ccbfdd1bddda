"""Cards for the DJ: which recording, how fast, when to count in, when it ends.

Several cards share a page, to be cut apart.  A DJ looks at the decks and not at the floor:
times are told, facings are not.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence

from phrasefit.clock import clock_time
from phrasefit.errors import ParameterError
from phrasefit.fit.tempo import is_in_reach
from phrasefit.model import CUT_OFF, FitPlan, Plan, Restart, Tag
from phrasefit.reports.cues import COUNT_IN
from phrasefit.reports.event_words import floor_words, label
from phrasefit.reports.flow import Flow
from phrasefit.reports.leaf import (
    BODY_PT,
    BOTTOM_PT,
    FOOT_PT,
    HEAD_PT,
    LEADING,
    LEFT_PT,
    TITLE_PT,
    TOP_PT,
    Leaf,
    draw,
)
from phrasefit.reports.pace_words import pace_words
from phrasefit.reports.paper import Document
from phrasefit.reports.rows import Row, SetWords, Slab, height_of, paginate, row_of, set_words
from phrasefit.reports.start_words import is_on_vocals
from phrasefit.reports.words import is_off_tempo, tempo_and_course_words

PER_PAGE = {1: (1, 1), 2: (1, 2), 4: (2, 2)}  # columns and rows of cards
USUAL_PER_PAGE = 4
SIZES = (20.0, 17.0, HEAD_PT, 13.0, BODY_PT, 11.0, 10.0)  # of type; the largest that fits
LEAST_PT = 9.0
GAP_PT = 14.0  # on either side of a cut
LABEL_EM = 4.6  # width of the labels
STRONG = ("count in", "count 1")
CAUTION = "Recorded music in public needs a license."

Card = tuple[FitPlan, Plan]


def dj_card(
    fit: FitPlan, plan: Plan | None = None, *, paper: str = "a4", per_page: int = USUAL_PER_PAGE
) -> Document:
    """Lay out a page of the DJ's card of one plan, `per_page` times the same.

    Raises
    ------
    ParameterError
        If `per_page` is none of `PER_PAGE`, or `paper` is not known.
    """
    return dj_cards([(fit, plan or fit.plan)] * per_page, paper=paper, per_page=per_page)


def dj_cards(
    cards: Sequence[Card], *, paper: str = "a4", per_page: int = USUAL_PER_PAGE
) -> Document:
    """Lay out cards of several plans, `per_page` on a page."""
    fit = cards[0][0] if cards else None
    title = f"{fit.routine.name} - {fit.bar_map.title}" if fit else "DJ cards"
    return draw(card_leaves(cards, paper=paper, per_page=per_page), title=title, paper=paper)


def card_leaves(
    cards: Sequence[Card], *, paper: str = "a4", per_page: int = USUAL_PER_PAGE
) -> list[Leaf]:
    """Lay out cards, nothing drawn; a card that is too long goes on in the next place."""
    if per_page not in PER_PAGE:
        known = ", ".join(map(str, PER_PAGE))
        raise ParameterError(f"per-page={per_page}: choose one of {known} cards on a page")
    n_columns, n_rows = PER_PAGE[per_page]
    flow = Flow(paper, "DJ cards", foot=CAUTION)
    width = (flow.inner_pt - 2 * GAP_PT * (n_columns - 1)) / n_columns
    height = (flow.bottom - TOP_PT - 2 * GAP_PT * (n_rows - 1)) / n_rows
    pieces = [piece for card in cards for piece in _pieces(card, width, height)]
    for i, slabs in enumerate(pieces):
        place = i % per_page
        if i and place == 0:
            flow.new_leaf()
        column, row = place % n_columns, place // n_columns
        x = column * (width + 2 * GAP_PT)
        y = TOP_PT + row * (height + 2 * GAP_PT)
        for slab in slabs:
            slab.shifted(x).put(flow.leaf, y)
            y += slab.height
    for leaf in flow.leaves:
        _cuts(leaf, n_columns, n_rows, width, height)
    return flow.finish()


def _cuts(leaf: Leaf, n_columns: int, n_rows: int, width: float, height: float) -> None:
    """Draw where the page is cut."""
    for i in range(1, n_columns):
        x = LEFT_PT + i * (width + 2 * GAP_PT) - GAP_PT
        leaf.line(x, TOP_PT, x, leaf.height_pt - BOTTOM_PT, width=0.5, dashed=True)
    for i in range(1, n_rows):
        y = TOP_PT + i * (height + 2 * GAP_PT) - GAP_PT
        leaf.line(LEFT_PT, y, leaf.right, y, width=0.5, dashed=True)


def _pieces(card: Card, width: float, height: float) -> list[list[Slab]]:
    """Set a card in the largest type in which it has one place; else in several places."""

    def fits(size: float) -> bool:
        return height_of(_slabs(card, size, width)) <= height

    best = bisect_left(SIZES, True, key=fits)
    if best < len(SIZES):
        return [_slabs(card, SIZES[best], width)]
    size = LEAST_PT
    again = row_of([(LEFT_PT, [_title(f"{card[0].routine.name}, continued", size, width)])], lead=0)
    rows = [list(row) for row in _rows(card, size, width)]
    first, *others = paginate(rows, height, height - height_of(again))
    return [first, *([*again, *piece] for piece in others)]


def _slabs(card: Card, size: float, width: float) -> list[Slab]:
    return [slab for row in _rows(card, size, width) for slab in row]


def _title(words: str, size: float, width: float) -> SetWords:
    return set_words(words, width, min(TITLE_PT, size * 1.25), least=size, bold=True)


def _rows(card: Card, size: float, width: float) -> list[Row]:
    fit, plan = card
    names = [
        _title(fit.routine.name, size, width),
        set_words(fit.bar_map.title, width, min(TITLE_PT, size * 1.25), least=size),
    ]
    rows = [row_of([(LEFT_PT, names)], lead=0, pad=size * 0.1)]
    for name, words in card_rows(fit, plan):
        said = [
            set_words(line, width - LABEL_EM * size, size, bold=name in STRONG)
            for line in words.split("\n")
        ]
        heading = set_words(name, LABEL_EM * size, max(FOOT_PT, size * 0.75))
        cells = [(LEFT_PT, [heading]), (LEFT_PT + LABEL_EM * size, said)]
        rows.append(row_of(cells, lead=size * LEADING, pad=size * 0.1))
    return rows


def card_rows(fit: FitPlan, plan: Plan) -> list[tuple[str, str]]:
    """List what a DJ must know, as (label, words); several changes are several lines."""
    song, grid = fit.bar_map, fit.grid
    n_in = min(COUNT_IN[fit.routine.meter], plan.start_count)
    first = plan.start_count - n_in
    return [
        ("artist", song.artist or "unknown"),
        (
            "length",
            clock_time(song.duration_s, decimals=0)
            + f" ({CUT_OFF})" * song.is_cut_off
            + ", check it is this recording",
        ),
        (
            "tempo",
            tempo_and_course_words(fit) if _is_mended_at_the_desk(fit) else pace_words(grid),
        ),
        (
            "count in",
            f"from {clock_time(float(grid.times_s[first]))}, {n_in} counts"
            if n_in
            else "none: it starts at once",
        ),
        (
            "count 1",
            f"{clock_time(plan.start_s)}, after {plan.intro_counts} counts"
            + ", on the vocals" * is_on_vocals(fit, plan),
        ),
        ("walls", _wall_words(fit, plan)),
        ("changes", "\n".join(change_lines(plan)) or "none"),
        ("ends", clock_time(plan.ending.time_s)),
    ]


def _is_mended_at_the_desk(fit: FitPlan) -> bool:
    """Tell whether the DJ can bring the tempo into its range."""
    return is_off_tempo(fit.tempo) and is_in_reach(fit.tempo)


def change_lines(plan: Plan) -> list[str]:
    """Say each tag and restart with its time."""
    changes = [event for event in plan.events if isinstance(event, Tag | Restart)]
    return [
        f"{clock_time(event.time_s)}  {floor_words(event)[0]} {label(event)}" for event in changes
    ]


def _wall_words(fit: FitPlan, plan: Plan) -> str:
    """Say how many walls are danced: their length, or the parts of a phrased routine."""
    n_walls = len(plan.walls)
    if fit.routine.sequence:
        return f"{n_walls}, parts {' '.join(wall.part for wall in plan.walls)}"
    cut = f", {len(plan.restarts)} cut short" if plan.restarts else ""
    return f"{n_walls} of {fit.routine.counts} counts{cut}"
