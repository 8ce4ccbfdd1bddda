"""What the page counts after a correction, and what it keeps of one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from types import SimpleNamespace

import pytest

from phrasefit.corrections.beats import apply_correction
from phrasefit.fit.grid import count_grid
from phrasefit.model import Correction
from phrasefit.reports.page.document import page_document
from watching import until


def test_the_page_counts_as_the_program_does(rehearse: Callable, fits: SimpleNamespace) -> None:
    """Counted in the page without a change, and moved by a beat, counts are the program's."""
    page = rehearse("tagged")
    for fit in vars(fits).values():
        document = page_document(fit, fit.plan, origin=None)
        change = "{ ...UNTOUCHED, shift_one_beats: 1, nudge_s: 0.02 }"
        same, moved = page.evaluate(
            "(d) => { Object.assign(data, d);"
            f" return [recounted(UNTOUCHED), recounted({change})]; }}",
            document,
        )

        assert same["times"] == pytest.approx(document["score"]["times"], abs=1e-9)
        assert same["ones"] == document["score"]["ones"]
        corrected = apply_correction(fit.bar_map, Correction(shift_one_beats=1, nudge_s=0.02))
        counted = replace(corrected, beats_per_count=fit.grid.beats_per_count)
        grid = count_grid(counted, routine=fit.routine)
        assert moved["times"] == pytest.approx(grid.times_s.tolist(), abs=1e-9)
        assert moved["ones"] == grid.bar_start.tolist()
        begin = moved["start"]
        assert grid.bar_start[begin] and moved["rows"][begin]["spoken"] == 1
        assert {row["wall"] for row in moved["rows"]} == {0} and moved["events"] == []


def test_taps_find_the_one(rehearse: Callable) -> None:
    """Taps a little off every third beat of a bar say: the one is two beats later."""
    page = rehearse("tagged")
    call = "(taps) => readTaps(taps, data.map.beats_s, data.map.positions, data.map.meter)"
    errors = (0.03, -0.04, 0.02, -0.02, 0.05)
    found = page.evaluate(call, [1.0 + 0.5 * (2 + 4 * k) + e for k, e in enumerate(errors)])
    eights = page.evaluate(call, [1.0 + 4.0 * k for k in range(4)])
    every = page.evaluate(call, [1.0 + 0.5 * k for k in range(6)])

    assert (found["apart"], found["place"], found["shift"]) == (4, 3, 2)
    assert found["bpm"] == pytest.approx(120, rel=0.03)
    assert (eights["apart"], eights["shift"]) == (8, 0)
    assert every["apart"] == 1


def test_corrections_recount_at_once_and_can_be_undone(rehearse: Callable) -> None:
    """Counts follow at once; no start and no wall is guessed; undo brings the plan back."""
    page = rehearse("tagged")
    page.click("#correct summary")
    one = "state.score.times[state.score.ones.indexOf(true)]"
    row = "document.querySelector('#rows tr td').textContent"
    assert page.evaluate(row) == "0:17.0"
    assert page.evaluate(one) == pytest.approx(1.0)
    page.click("#one-later")
    page.click("#one-later")
    page.click("#beats-later")
    assert page.evaluate(one) == pytest.approx(2.01)
    assert "the one 2 beats later, all beats 10 ms later" in page.inner_text("#state")
    until(page, "document.getElementById('wall').textContent === 'COUNTS'")
    assert "program lays the walls anew" in page.inner_text("#place")
    assert page.is_visible("#unplanned") and page.is_disabled("#repeat-wall")
    shown = page.inner_text("body")
    assert "0:17" not in page.inner_text("header") and "WALL 1" not in shown
    assert not page.is_visible("#rows") and not page.is_visible("#room")
    page.evaluate("seek(25.1)")
    page.click("#section-here")
    assert "new section" in page.inner_text("#sheet")
    page.click("#undo-all")
    assert page.evaluate("isUntouched(state.change)")
    assert page.evaluate(row) == "0:17.0"
    assert page.is_visible("#rows") and "WALL 1" in page.inner_text("#sheet")
    assert page.is_disabled("#save")  # made from a map: there is no song to keep it for


def test_unsaved_corrections_outlive_a_reload(rehearse: Callable, fits: SimpleNamespace) -> None:
    """A reload asks first and brings corrections back, undo included; another map has its own."""
    page = rehearse("tagged")
    asked = []
    page.on("dialog", lambda dialog: asked.append(dialog.type))
    page.reload()
    assert asked == []
    page.click("#correct summary")
    page.click("#one-later")
    page.click("#beats-later")
    page.click("#beats-later")
    page.reload()

    assert asked == ["beforeunload"]
    assert page.evaluate("[state.change.shift_one_beats, state.change.nudge_s]") == [1, 0.02]
    assert "taken up" in page.inner_text("#announce")
    assert "all beats 20 ms later" in page.text_content("#state")
    page.click("#correct summary")
    page.click("#undo")
    assert page.evaluate("state.change.nudge_s") == 0.01
    keys = [page_document(fit, fit.plan, origin=None)["key"] for fit in vars(fits).values()]
    assert len(set(keys)) == len(keys)
    page.click("#undo-all")
    page.reload()
    assert asked == ["beforeunload"]
    assert page.evaluate("[isUntouched(state.change), localStorage.length]") == [True, 0]
