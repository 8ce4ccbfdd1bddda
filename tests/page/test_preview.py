"""After a correction the page shows nothing that the program does not say as well."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from phrasefit.corrections.document import read_correction
from phrasefit.fields import Fields
from phrasefit.fit import fit_routine
from phrasefit.fit.grid import CountGrid
from phrasefit.hand_out import Planned, origin_of
from phrasefit.pipeline import Analysis, analyse, correct
from phrasefit.reports.page import page as page_of
from phrasefit.reports.words import music_name
from phrasefit.routine.spec import routine_from_numbers

SONG = Path(__file__).parents[2] / "sample_audio" / "half-a-bar-of-dust.ogg"
ROUTINE = routine_from_numbers(counts=32, walls=4)
MADE_UP = ("section", "new section")  # names of sections whose letter only the program knows
CORRECTIONS = {
    "one later": "shiftOne(1)",
    "one two earlier, all later": "shiftOne(-2); allLater(20)",
    "half": "setLevel(data.half)",
    "double, one earlier": "setLevel(data.double); shiftOne(-1)",
    "section": "seek(45); markSection(true)",
    "no section": "seek(28); markSection(false)",
    "denied, then marked": "seek(28); markSection(false); markSection(true)",
    "sections of both kinds": "seek(45); markSection(true); seek(6); markSection(false)",
    "section, then one later": "seek(45); markSection(true); shiftOne(1)",
    "one later, then section": "shiftOne(1); seek(45); markSection(true); allLater(-30)",
}


@pytest.fixture(scope="module")
def heard() -> Analysis:
    """Hear the song whose half bar makes every correction matter."""
    return analyse(SONG)


def places_in_bars(grid: CountGrid) -> list[int]:
    """Count every bar from its one; what stands before the first one is left out."""
    first = int(np.argmax(grid.bar_start))
    places = [0] * first
    for one in grid.bar_start[first:]:
        places.append(1 if one else places[-1] + 1)
    return places


def test_what_is_shown_after_a_correction_is_what_the_program_says(
    opened: Callable, heard: Analysis
) -> None:
    """Times, ones, places in the bar, tempo, sections; walls and phrases are not shown at all."""
    fit = fit_routine(heard.bar_map, ROUTINE)
    page = opened(page_of(fit, origin=origin_of(Planned(fit, fit.plan, heard))))
    for name, steps in CORRECTIONS.items():
        page.evaluate(f"undoAll(); {steps}")
        shown = page.evaluate(
            "({ times: state.score.times, ones: state.score.ones, pace: state.score.pace,"
            " spoken: state.score.rows.map((row) => row.spoken), walls: state.score.events.length,"
            " phrases: state.score.phrases.length,"
            " sections: state.score.sections.map((s) => [s.at, s.name]) })"
        )
        change = page.evaluate("correctionFile().change")
        after = correct(heard, read_correction(Fields("saved", change)), store=None)
        grid = fit_routine(after.bar_map, ROUTINE).grid

        assert shown["times"] == pytest.approx(grid.times_s.tolist(), abs=1e-6), name
        assert shown["ones"] == grid.bar_start.tolist(), name
        known = [(s, p) for s, p in zip(shown["spoken"], places_in_bars(grid), strict=True) if p]
        assert all(spoken == place for spoken, place in known), name
        assert shown["pace"] == pytest.approx(grid.counts_per_minute, abs=0.05), name
        begins = np.flatnonzero(np.diff(grid.section, prepend=-1)).tolist()
        letters = {at: music_name(after.bar_map.sections[grid.section[at]]) for at in begins}
        for at, words in shown["sections"]:
            assert at in letters, name
            assert words in (letters[at], *MADE_UP), name
        assert (shown["walls"], shown["phrases"]) == (0, 0), name
        assert not page.is_visible("#planned") and "START" not in page.inner_text("header"), name
