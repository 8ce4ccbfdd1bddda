"""Nothing is cut: of any plan, with any names, every fact stands on every sheet in full."""

from __future__ import annotations

import functools
import io
import os
import random
import re
from collections.abc import Sequence
from dataclasses import replace

import pypdf
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from laid_out import SCRIPTS, event_facts, missing_in_order, names, plans, routines, squeezed

from phrasefit.clock import clock_time
from phrasefit.model import Doubt, DoubtKind, FitPlan, Wall, one_line
from phrasefit.reports import paper
from phrasefit.reports.dj_card import PER_PAGE, card_leaves, card_rows, change_lines
from phrasefit.reports.large_sheets import FLOOR_LEAST_PT, STAND_LEAST_PT
from phrasefit.reports.leaf import (
    BOTTOM_PT,
    FOOT_PT,
    LEFT_PT,
    RIGHT_PT,
    SMALL_PT,
    TOP_PT,
    Leaf,
    draw,
)
from phrasefit.reports.paper import PAPERS_PT, printable, text_width_pt
from phrasefit.reports.rows import set_words
from phrasefit.reports.sheet import SIZES, sheet, sheet_leaves
from phrasefit.reports.step_sheet import COLUMNS, RESTART_COLUMNS, step_leaves

ELLIPSES = ("\u2026", "...")
HEADS = {"wall", "time", "faces", "counts", "part", "music"}
MOST = {"page": 120, "stand": 120, "floor": 60}
QUICK = {
    "deadline": None,
    "phases": (Phase.explicit, Phase.generate),  # a plan is large: shrinking takes minutes
    "suppress_health_check": list(HealthCheck),
}
# A run over thousands is asked for by name.
many = settings(max_examples=int(os.environ.get("PHRASEFIT_PLANS", "30")), **QUICK)
some = settings(max_examples=8, **QUICK)


def body_of(leaves: list[Leaf], title: str, title_pt: float) -> str:
    """Join the texts of all leaves in order, without heads, titles of further pages and feet."""
    found = []
    for number, leaf in enumerate(leaves):
        again = set_words(f"{title}, continued", leaf.inner_pt, title_pt, bold=True)
        texts = leaf.texts[len(again.lines) if number else 0 :]
        found += [
            text.words
            for text in texts
            if text.size > FOOT_PT and not (text.size == SMALL_PT and _is_frame(text.words))
        ]
    return squeezed("".join(printable(words) for words in found))


def _is_frame(words: str) -> bool:
    """Tell heads of columns and page numbers."""
    return words in HEADS or re.fullmatch(r"\d+/\d+", words) is not None


def assert_inside(leaves: list[Leaf]) -> None:
    """Every line of words lies between the margins."""
    for leaf in leaves:
        for text in leaf.texts:
            width = text_width_pt(printable(text.words), text.size, text.bold)
            left = text.x - {"left": 0, "center": width / 2, "right": width}[text.align]
            assert left >= LEFT_PT - 0.1, text
            assert left + width <= leaf.right + 0.02 * width, text
            assert TOP_PT <= text.y <= leaf.height_pt - BOTTOM_PT + 0.1, text


def title_of(fit: FitPlan, kind: str) -> tuple[str, float]:
    """Give the title of further pages, and its type."""
    if kind == "floor":
        return f"{fit.routine.name} \u2013 {fit.bar_map.title}", 15.0
    return fit.routine.name, {"page": 9.5, "stand": 12.0}[kind]


@pytest.mark.parametrize("kind", SIZES)
@many
@given(data=st.data())
def test_every_fact_of_any_plan_is_on_its_sheet(kind: str, data: st.DataObject) -> None:
    """In full and in order, between the margins, never smaller than the least type."""
    fit = data.draw(plans(names(MOST[kind])))
    format_ = data.draw(st.sampled_from(sorted(PAPERS_PT)))

    leaves = sheet_leaves(fit, size=kind, paper=format_)

    text = body_of(leaves, *title_of(fit, kind))
    assert missing_in_order(text, event_facts(fit, fit.plan, kind)) == []
    for name in (fit.routine.name, fit.bar_map.title):
        assert squeezed(printable(name)) in text
    assert squeezed(clock_time(fit.plan.start_s, decimals=int(kind == "page"))) in text
    if kind == "page":
        assert squeezed(printable(fit.bar_map.artist)) in text
    assert_inside(leaves)
    assert not any(mark in t.words for leaf in leaves for t in leaf.texts for mark in ELLIPSES)


@pytest.mark.parametrize("kind", SIZES)
@many
@given(data=st.data())
def test_the_end_never_stands_alone(kind: str, data: st.DataObject) -> None:
    """The last wall, or on the floor sheet the last event, is on the page of the end."""
    fit = data.draw(plans(names(20)))
    wall = next(event for event in reversed(fit.plan.events) if isinstance(event, Wall))

    leaves = sheet_leaves(fit, size=kind)

    (leaf,) = [leaf for leaf in leaves if any(t.words[:3] == "END" for t in leaf.texts)]
    words = [text.words for text in leaf.texts]
    if kind != "floor":
        assert str(wall.number) in words
    else:
        title, size = title_of(fit, kind)
        again = set_words(f"{title}, continued", leaf.inner_pt, size, bold=True)
        before = words[len(again.lines) if leaf is not leaves[0] else 0 :]
        assert not before[0].startswith("END")


@pytest.mark.parametrize("kind", SIZES)
@some
@given(data=st.data())
def test_type_is_never_smaller_than_stated(kind: str, data: st.DataObject) -> None:
    """Rows keep the least type of their kind; titles and feet are smaller."""
    fit = data.draw(plans(names(120)))

    leaves = sheet_leaves(fit, size=kind)

    rows = [t for leaf in leaves for t in leaf.texts if t.words[:3] in ("TAG", "RES", "END")]
    picture_pt = 8.0  # its words are small
    least = {"page": picture_pt, "stand": STAND_LEAST_PT, "floor": FLOOR_LEAST_PT}
    assert min(text.size for text in rows) >= least[kind]


@some
@given(data=st.data())
def test_the_class_sheet_has_one_line_for_the_instructor(data: st.DataObject) -> None:
    """Verdict and score take a line at the end of the table; no other remark is printed."""
    fit = data.draw(plans(names(60)))
    doubts = data.draw(st.sampled_from(((), tuple(Doubt(kind=kind) for kind in DoubtKind))))
    fit = replace(fit, doubts=doubts)

    leaves = sheet_leaves(fit, size="page")

    (verdict,) = [t for leaf in leaves for t in leaf.texts if "of 100" in t.words]
    assert verdict in leaves[-1].texts
    assert verdict.words.startswith("Check the" if doubts else "It ")
    below = [t for t in leaves[-1].texts if t.y > verdict.y and t.size > FOOT_PT]
    assert [t.words for t in below] == [f"{len(leaves)}/{len(leaves)}"]
    assert any(t.words[:3] == "END" for t in leaves[-1].texts)


@many
@given(data=st.data())
def test_every_fact_is_on_the_card(data: st.DataObject) -> None:
    """Each card has all rows, however long; facings are not on it."""
    fit = data.draw(plans(names(80), most_walls=12))
    per_page = data.draw(st.sampled_from(sorted(PER_PAGE)))

    leaves = card_leaves([(fit, fit.plan)], per_page=per_page)

    body = [t.words for leaf in leaves for t in leaf.texts if t.size > FOOT_PT]
    text = squeezed("".join(printable(words) for words in body))
    assert squeezed(printable(fit.routine.name)) in text
    assert squeezed(printable(fit.bar_map.title)) in text
    for line in change_lines(fit.plan):
        assert squeezed(line) in text
    assert squeezed(dict(card_rows(fit, fit.plan))["count 1"]) in text
    assert_inside(leaves)


@many
@given(data=st.data())
def test_every_step_of_any_routine_is_on_its_sheet(data: st.DataObject) -> None:
    """Headings, steps, changed steps, tags and notes, in order; each page with the title."""
    routine = data.draw(routines(names(60)))

    leaves = step_leaves(routine)

    columns = {LEFT_PT: "", _column(COLUMNS, 1): "", _column(RESTART_COLUMNS, 2): ""}
    for text in (text for leaf in leaves for text in leaf.texts):
        if text.x in columns:
            columns[text.x] += squeezed(printable(text.words))
    left, steps, changes = columns.values()
    parts = [*routine.parts, *routine.tags]
    wanted = [
        [routine.name, routine.by, *(s.heading for p in parts for s in p.steps)],
        [step.name for part in parts for step in part.steps],
        [point.step_change for part in routine.parts for point in part.restart_points],
    ]
    for shown, facts in zip((left, steps, changes), wanted, strict=True):
        assert missing_in_order(shown, [squeezed(printable(f)) for f in facts if f]) == []
    for name in (*(tag.name for tag in routine.tags), *routine.notes):
        assert squeezed(printable(name)).casefold() in left.casefold()
    again = squeezed(printable(f"{routine.name}, continued"))
    for leaf in leaves[1:]:
        assert squeezed("".join(printable(t.words) for t in leaf.texts)).startswith(again)
    assert_inside(leaves)


def _column(columns: Sequence[tuple[str, float]], number: int) -> float:
    """Find the left edge of a column as the sheet does."""
    inner = PAPERS_PT["a4"][0] - LEFT_PT - RIGHT_PT
    x = LEFT_PT
    for _, share in columns[:number]:
        x += share * inner
    return x


def test_a_very_long_title_is_shaped_a_few_times_only(
    tagged: FitPlan, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of a title of 1,000 letters in six scripts, each is shaped for some tries of type."""
    letters = "abc déÅ ΩπλЖяю漢字かな한글हिन्दी الريح רוח"
    title = one_line("".join(random.Random(3).choices(letters, k=1000)))
    fit = replace(tagged, bar_map=replace(tagged.bar_map, title=title))
    shaped, shape = [], paper._shaped_pt.__wrapped__

    def counted(words: str, names: tuple[str, ...], bold: bool) -> float:
        shaped.append(len(words))
        return shape(words, names, bold)

    kept = functools.lru_cache(maxsize=None)(counted)
    monkeypatch.setattr("phrasefit.reports.paper._shaped_pt", kept)
    paper._width_of_large_pt.cache_clear()
    set_words.cache_clear()

    leaves = card_leaves([(fit, fit.plan)] * 4)

    assert squeezed(printable(title)) in squeezed("".join(t.words for t in leaves[0].texts))
    assert sum(shaped) < 5 * len(title)


@pytest.mark.parametrize("kind", SIZES)
@some
@given(data=st.data())
def test_the_pdf_says_it_too(kind: str, data: st.DataObject) -> None:
    """Read back with pypdf, page by page, everything is where the layout put it."""
    fit = data.draw(plans(names(60), most_walls=14))

    read = pypdf.PdfReader(io.BytesIO(sheet(fit, size=kind).pdf()))

    leaves = sheet_leaves(fit, size=kind)
    assert len(read.pages) == len(leaves)
    for page, leaf in zip(read.pages, leaves, strict=True):
        text = squeezed(page.extract_text())
        for placed in leaf.texts:
            assert squeezed(printable(placed.words)) in text


@given(
    words=st.text(SCRIPTS + "אבגדעربيहिन्दी", min_size=1, max_size=500).map(one_line).filter(bool),
    width=st.floats(60, 500),
)
@settings(max_examples=50, **QUICK)
def test_set_words_lose_nothing(words: str, width: float) -> None:
    """Of any script, all letters are in the lines, each line in its room."""
    block = set_words(words, width, 30.0, least=12.0)

    assert squeezed("".join(block.lines)) == squeezed(printable(words))
    assert 12.0 <= block.size <= 30.0
    for line in block.lines:
        assert len(line) == 1 or text_width_pt(line, block.size) <= width + 0.1


def test_a_leaf_draws_what_it_holds() -> None:
    """Texts of a leaf are the texts of the page."""
    leaf = Leaf(width_pt=PAPERS_PT["a4"][0], height_pt=PAPERS_PT["a4"][1])
    leaf.text(60, 60, "one", 12)
    leaf.line(60, 70, 90, 70)

    read = pypdf.PdfReader(io.BytesIO(draw([leaf], title="t", paper="a4").pdf()))

    assert read.pages[0].extract_text().split() == ["one"]
