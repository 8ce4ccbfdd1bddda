"""A plan is consistent in itself, and every medium says the same of it."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import mido
import pytest

from danced import assert_events_agree
from phrasefit.fit import fit_routine
from phrasefit.model import FitPlan, Plan
from phrasefit.reports.captions import captions
from phrasefit.reports.fit_text import render
from phrasefit.reports.fonts import isolated
from phrasefit.reports.midi import midi_file
from phrasefit.reports.page.document import page_document
from phrasefit.reports.practice import PracticeRequest, practice
from phrasefit.reports.sheet_rows import plan_rows
from phrasefit.reports.walls_csv import walls_csv
from phrasefit.routine.spec import load_routine, routine_from_numbers
from songs import song

ROUTINES = Path(__file__).parents[2] / "phrasefit" / "routines"
SONG = song((32, 64, 64, 36, 64, 48, 64, 30, 64))
WALTZ = song((24, 96, 102, 84, 96), meter=3, bpm=96.0)


def fits() -> dict[str, FitPlan]:
    """Lay the example routines and some of numbers alone over songs that break phrase."""
    routines = [load_routine(path) for path in sorted(ROUTINES.glob("*.toml"))]
    routines += [routine_from_numbers(counts=n, walls=w) for n, w in ((16, 1), (64, 2))]
    return {r.name: fit_routine(WALTZ if r.meter == 3 else SONG, r) for r in routines}


CASES = [
    pytest.param(fit, plan, id=f"{name}, {plan.n_changes} changes")
    for name, fit in fits().items()
    for plan in fit.plans
]


@pytest.mark.parametrize(("fit", "plan"), CASES)
def test_a_plan_can_be_danced(fit: FitPlan, plan: Plan) -> None:
    """Walls follow one another without gap, times come from counts, turns add up."""
    assert_events_agree(fit, plan)
    changed = {event.wall for event in (*plan.restarts, *plan.tags)}
    assert len(changed) == plan.n_changes  # a tag before a restart is one
    assert (plan.ending.facing + plan.ending.turn_to_front_deg) % 360 == 0


@pytest.mark.parametrize(("fit", "plan"), CASES)
def test_every_medium_says_the_same(fit: FitPlan, plan: Plan) -> None:
    """Sheet, CSV, MIDI markers, captions and clicks have the walls and events of the plan."""
    starts = [wall.start_s for wall in plan.walls]
    rows = [row for group in plan_rows(fit, plan) for row in group]
    table = list(csv.DictReader(io.StringIO(walls_csv(fit, plan).removeprefix("\ufeff"))))
    markers = markers_of(midi_file(fit.bar_map, fit, plan))
    clicks = practice(fit, plan, PracticeRequest(intro=True, saying="nothing")).clicks
    shown = captions(fit, plan)

    assert [row.time_s for row in rows if row.wall] == starts
    assert [float(r["seconds"]) for r in table if r["part"]] == pytest.approx(starts, abs=1e-3)
    assert [t for t, text in markers if text.startswith("WALL")] == pytest.approx(starts, abs=1e-3)
    begin_again = {w.number - 1: w.start_s for w in plan.walls}
    times_of = {
        "TAG": [tag.time_s for tag in plan.tags],
        "RESTART": [begin_again[restart.wall] for restart in plan.restarts],
    }
    for mark, event_times in times_of.items():
        assert sum(row.mark == mark.lower() for row in rows) == len(event_times)
        assert sum(mark in r["event"] for r in table) == len(event_times)
        found = [t for t, text in markers if text.startswith(mark)]
        assert found == pytest.approx(event_times, abs=1e-3)
        assert sum(click.kind == mark.lower() for click in clicks) >= len(event_times)
        for event_s in event_times:  # announced, then shown unless too short to be read
            near = [item for item in shown if item.start_s - 5 <= event_s <= item.end_s + 5]
            assert any(mark in " ".join(item.lines) for item in near)
    assert all(a.end_s <= b.start_s for a, b in pairwise(shown))


def markers_of(content: bytes) -> list[tuple[float, str]]:
    """Read the markers of a Standard MIDI File, with times in seconds."""
    seconds, found = 0.0, []
    for message in mido.MidiFile(file=io.BytesIO(content)):
        seconds += message.time
        if message.type == "marker":
            found.append((seconds, message.text))
    return found


def test_what_is_wrong_with_a_recording_stands_beside_its_plan() -> None:
    """A song that is cut off is not planned as a whole one without a word."""
    note = "the file is cut off: only its first 3:10 can be heard"
    fit = fit_routine(replace(SONG, notes=(note,)), routine_from_numbers(counts=32, walls=4))

    assert note in render(fit)
    assert note in page_document(fit, fit.plan, origin=None)["remarks"]


@pytest.mark.parametrize("name", ["Lantern Row", "\u05e8\u05d5\u05d7"])
def test_names_in_a_sentence_are_written_alike(name: str) -> None:
    """One from right to left turns no words around it; another carries no signs of that."""
    fit = fit_routine(replace(SONG, title=name), routine_from_numbers(counts=32, walls=4))

    page = page_document(fit, fit.plan, origin=None)["facts"]

    assert page.startswith(isolated(name))
