"""Sheets are real text on real paper, and nothing runs over its edge."""

from __future__ import annotations

import dataclasses
import io
import re
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pypdf
import pytest
from matplotlib.image import imread

from phrasefit.clock import clock_time
from phrasefit.errors import ParameterError
from phrasefit.fit import PlanRequest, fit_routine
from phrasefit.model import FitPlan
from phrasefit.reports.dj_card import card_rows, dj_card
from phrasefit.reports.leaf import FLOOR_PT, LEFT_PT, RIGHT_PT, STAND_PT
from phrasefit.reports.paper import (
    PAPERS_PT,
    PNG_DPI,
    Document,
    text_width_pt,
    wrapped,
)
from phrasefit.reports.sheet import SIZES, sheet, sheet_leaves
from phrasefit.reports.sheet_rows import plan_rows
from phrasefit.reports.step_sheet import step_sheet
from phrasefit.routine.spec import load_routine, routine_from_numbers
from songs import song, upbeat

ROUTINES = Path(__file__).parents[2] / "phrasefit" / "routines"


def read(document: Document) -> pypdf.PdfReader:
    """Read the document's PDF as another program would."""
    return pypdf.PdfReader(io.BytesIO(document.pdf()))


def words_of(document: Document) -> str:
    """Extract all text, white space folded."""
    return " ".join(" ".join(page.extract_text().split()) for page in read(document).pages)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("paper", PAPERS_PT)
def test_pages_have_the_paper_asked_for(tagged: FitPlan, size: str, paper: str) -> None:
    """A4 is 210 x 297 mm (ISO 216), Letter 8.5 x 11 in (ANSI); the floor sheet lies sideways."""
    width, height = {"a4": (210 / 25.4 * 72, 297 / 25.4 * 72), "letter": (612, 792)}[paper]
    if size == "floor":
        width, height = height, width

    for page in read(sheet(tagged, size=size, paper=paper)).pages:
        assert float(page.mediabox.width) == pytest.approx(width, abs=0.5)
        assert float(page.mediabox.height) == pytest.approx(height, abs=0.5)


def test_unknown_paper_is_refused(tagged: FitPlan) -> None:
    """The message lists the papers there are."""
    with pytest.raises(ParameterError, match="a4, letter"):
        sheet(tagged, paper="a5")


@pytest.mark.parametrize("size", SIZES)
def test_text_can_be_selected_and_fonts_are_embedded(tagged: FitPlan, size: str) -> None:
    """pypdf finds the words of the event, and each font carries its own outlines."""
    document = sheet(tagged, size=size)

    assert ("TAG, 4 counts" if size == "floor" else "TAG 4") in words_of(document)
    assert "3:00" in words_of(document)
    for page in read(document).pages:
        for font in page["/Resources"]["/Font"].values():
            descendants = font.get_object().get("/DescendantFonts")
            owner = descendants[0].get_object() if descendants else font.get_object()
            assert "/FontFile2" in owner["/FontDescriptor"].get_object()


def test_every_wall_is_on_the_sheet(tagged: FitPlan) -> None:
    """One row for each event, in the order of the song."""
    rows = [row for group in plan_rows(tagged, tagged.plan) for row in group]

    assert len(rows) == len(tagged.plan.walls) + len(tagged.plan.tags) + 1
    assert [row.time_s for row in rows] == sorted(row.time_s for row in rows)


def test_restart_row_names_its_count(restarted: FitPlan) -> None:
    """The restart stands under the wall that is cut, with the facing at that moment."""
    (group,) = [g for g in plan_rows(restarted, restarted.plan) if g[-1].mark == "restart"]
    wall, restart = group

    assert (wall.wall, wall.counts) == ("6", "16")
    assert (restart.event, restart.after) == ("RESTART", "after 16")
    assert restart.facing == restarted.plan.walls[6].facing


def test_type_is_large_enough_for_its_distance() -> None:
    """Stand type reads at 1.5 m, floor type at 3 m, by one inch of capitals for 25 feet.

    Source of the rule: sign makers' letter-height charts; a capital is about 0.7 of
    the type size (value from memory).
    """
    inch_per_ft = 1 / 25  # the charts' limit; an inch for 10 ft is comfortable
    for size_pt, distance_m in ((STAND_PT, 1.5), (FLOOR_PT, 3.0)):
        capital_in = 0.7 * size_pt / 72
        assert capital_in >= distance_m / 0.3048 * inch_per_ft


def test_three_floor_rows_at_60_points_on_a_page(tagged: FitPlan) -> None:
    """Start, a tag and the end are on one page, none of them smaller than floor type."""
    (leaf,) = sheet_leaves(tagged, size="floor")

    events = [t for t in leaf.texts if t.words.startswith(("START", "TAG", "END", "after"))]
    assert len(events) == 5
    assert min(text.size for text in events) >= FLOOR_PT
    assert "after wall 5:" in [text.words for text in leaf.texts]


def test_long_names_never_run_over_the_edge(tagged: FitPlan) -> None:
    """A name of 300 letters is broken into lines on every kind of sheet; no ink in the margins."""
    long = "Wintergreen Boardwalk Promenade " * 10
    fit = dataclasses.replace(
        tagged,
        request=PlanRequest(routine=dataclasses.replace(tagged.routine, name=long, by=long)),
        bar_map=dataclasses.replace(tagged.bar_map, title=long, artist=long),
    )
    for document in (
        *(sheet(fit, size=size) for size in SIZES),
        step_sheet(fit.routine),
        dj_card(fit),
    ):
        for number in range(len(document.pages)):
            ink = imread(io.BytesIO(document.png(number)))[:, :, :3].min(axis=2) < 0.5
            assert not ink[:, : round(LEFT_PT * PNG_DPI / 72) - 4].any()
            assert not ink[:, -round(RIGHT_PT * PNG_DPI / 72) + 12 :].any()
            assert not ink[:20, :].any()
            assert not ink[-20:, :].any()


def test_wrapped_text_fits() -> None:
    """No piece is wider than its room, and wrapping loses no word."""
    text = "a restart in wall 3 after count 16 facing six o'clock " * 3

    lines = wrapped(text, 200, 11)
    assert all(text_width_pt(line, 11) <= 200 for line in lines)
    assert " ".join(lines).split() == text.split()


@pytest.mark.parametrize("path", sorted(ROUTINES.glob("*.toml")), ids=lambda p: p.stem)
def test_step_sheet_has_every_line(path: Path) -> None:
    """All step names and counts of the shipped routines are on their step sheets."""
    routine = load_routine(path)

    text = words_of(step_sheet(routine))

    for part in routine.parts:
        for step in part.steps:
            assert step.counts in text
            assert " ".join(step.name.split()) in text
            assert step.heading in text
        for point in part.restart_points:
            assert f"{point.after_count}" in text
            assert point.step_change in text
    headings = [step.heading for part in routine.parts for step in part.steps if step.heading]
    assert len(headings) == len(re.findall("^ *--", path.read_text("utf-8"), re.M))


def test_a_sequence_is_as_long_as_its_parts() -> None:
    """A A B A A B B of 32 and 16 counts is 176 counts; it is said on sheet and step sheet."""
    routine = load_routine(ROUTINES / "two-lanterns.toml")
    assert routine.sequence == ("A", "A", "B", "A", "A", "B", "B")
    fit = fit_routine(song((32, 64, 64, 64, 64, 64)), routine)

    for document in (sheet(fit), step_sheet(routine)):
        text = words_of(document)
        assert "part A 32 counts, part B 16 counts; danced A A B A A B B: 176 counts" in text
        assert "80 counts" not in text


def test_every_page_of_a_long_step_sheet_has_its_title(tmp_path: Path) -> None:
    """64 sections of steps: each further page names the routine."""
    lines = "\n".join(f"-- eight {i}\n1-4 | vine right, touch\n5-8 | hold" for i in range(24))
    path = tmp_path / "long.toml"
    path.write_text(f'name = "Long Wharf"\nwalls = 1\nsteps = """\n{lines}\n"""\n')

    pages = [page.extract_text() for page in read(step_sheet(load_routine(path))).pages]

    assert len(pages) > 1
    assert all("Long Wharf" in page for page in pages)
    assert all(f"eight {i}" in " ".join(pages) for i in range(24))


@pytest.mark.parametrize("size", ["page", "stand"])
def test_numbers_of_three_digits_stay_in_their_boxes(size: str) -> None:
    """A dance of a few counts to a long song has more than a hundred walls."""
    fit = fit_routine(song((64,) * 30), routine_from_numbers(counts=16, walls=1))

    numbers = []
    for leaf in sheet_leaves(fit, size=size):
        times = [t for t in leaf.texts if re.fullmatch(r"\d+:\d\d(\.\d)?", t.words) and t.size > 8]
        box_ends = min(t.x for t in times) - 0.3 * max(t.size for t in times)
        for text in leaf.texts:
            if text.bold and text.words.isdigit() and text.x < box_ends:
                numbers.append(text.words)
                assert text.x > LEFT_PT
                assert text.x + text_width_pt(text.words, text.size, True) < box_ends
    assert numbers == [str(wall.number) for wall in fit.plan.walls]
    assert len(numbers) > 100


def test_an_upbeat_is_not_counted_into_the_intro() -> None:
    """The box before wall 1 says what the head of the sheet says: counts from the first one."""
    fit = fit_routine(upbeat(song((33, 64, 64))), routine_from_numbers(counts=32, walls=4))

    said = words_of(sheet(fit))

    assert (fit.plan.start_count, fit.plan.intro_counts) == (33, 32)
    assert "after 32 counts" in said
    assert re.findall(r"intro \d+", said) == ["intro 32"]


def test_dj_card_counts_in_before_count_one(tagged: FitPlan) -> None:
    """The count-in begins eight counts before count 1."""
    rows = dict(card_rows(tagged, tagged.plan))

    assert rows["count in"] == "from 0:13.0, 8 counts"
    assert rows["count 1"].startswith("0:17.0")
    assert "facing" not in words_of(dj_card(tagged))
    assert words_of(dj_card(tagged)).count("0:17.0") == 4
    assert words_of(dj_card(tagged, per_page=1)).count("0:17.0") == 1
    with pytest.raises(ParameterError, match="1, 2, 4"):
        dj_card(tagged, per_page=3)


@pytest.mark.parametrize("size", ["page", "stand"])
def test_long_plans_go_on_under_the_same_heads(size: str) -> None:
    """Each further page says what it belongs to, repeats the heads and begins with a wall."""
    fit = fit_routine(
        song((32, *[64] * 12, 36, *[64] * 8)), routine_from_numbers(counts=32, walls=4)
    )
    pages = [page.extract_text() for page in read(sheet(fit, size=size)).pages]

    walls = [row.wall for group in plan_rows(fit, fit.plan) for row in group if row.wall]
    assert len(pages) > 1
    assert len(walls) > 40
    last_wall = clock_time(fit.plan.walls[-1].start_s, decimals=int(size == "page"))
    for text in pages[1:]:
        assert text.startswith(f"{fit.routine.name}, continued")
    if size == "page":
        for text in pages[: 1 + next(i for i, text in enumerate(pages) if last_wall in text)]:
            assert {"time", "wall", "faces"} <= set(text.split())
    for group in plan_rows(fit, fit.plan):
        if len(group) == 2:
            wall, tag = group
            times = [clock_time(row.time_s, decimals=int(size == "page")) for row in (wall, tag)]
            assert any(all(time in text for time in times) for text in pages)


def test_a_name_shrinks_before_it_is_cut(tagged: FitPlan) -> None:
    """A name a third too long for the line still stands there whole."""
    name = "The Long Road From the Old Mill to the Ferry"
    routine = dataclasses.replace(tagged.routine, name=name)

    assert name in words_of(
        sheet(dataclasses.replace(tagged, request=PlanRequest(routine=routine)))
    )


def test_sheets_drawn_at_once_are_as_those_drawn_alone(tagged: FitPlan) -> None:
    """matplotlib's settings are the whole program's; the desk draws in several threads."""
    alone = sheet(tagged, size="stand").pdf()

    def draw(number: int) -> bytes:
        document = sheet(tagged, size="stand")
        return document.pdf() if number % 2 else (document.png(), alone)[1]

    with ThreadPoolExecutor(4) as pool:
        drawn = list(pool.map(draw, range(8)))

    assert [content == alone for content in drawn] == [True] * 8


# ------------------------------------------------------------------ what a recording lacks

CUT = "the file is cut off, only 3:10.0 of 4:00.0 can be heard; copy or download it again"
GAP = "no beat from 1:02.3 to 1:15.0"
QUIET = "no beat after 2:50.0: what sounds until 3:09.0 is not counted"
OF_NO_USE = "the file does not say how much silence its encoder put before the music; so be it"


def with_notes(fit: FitPlan, *notes: str) -> FitPlan:
    """Give the fit to a song of which this was noted."""
    return dataclasses.replace(fit, bar_map=dataclasses.replace(fit.bar_map, notes=notes))


def test_the_class_sheet_says_once_what_the_recording_lacks(tagged: FitPlan) -> None:
    """Beside the doubts, in few words; what could be done about it is for the desk."""
    noted = words_of(sheet(with_notes(tagged, OF_NO_USE, CUT, GAP, QUIET)))

    said = (
        "; the file is cut off, only 3:10.0 of 4:00.0 can be heard; no beat from 1:02.3 to 1:15.0"
    )
    assert f"{said}; no beat after 2:50.0." in noted
    for words in ("cut off", "1:02.3", "2:50.0"):
        assert noted.count(words) == 1
    assert "encoder" not in noted


def test_of_many_gaps_the_first_stand_on_the_class_sheet(tagged: FitPlan) -> None:
    """A medley has one after each song."""
    gaps = [f"no beat from {minute}:00.0 to {minute}:05.0" for minute in range(5)]

    noted = words_of(sheet(with_notes(tagged, CUT, *gaps)))

    assert "; no beat from 0:00.0 to 0:05.0; four more such places." in noted


def test_what_the_recording_lacks_pushes_no_row_off_the_page() -> None:
    """Of as many walls as have room on one page, and of one more."""
    routine = routine_from_numbers(counts=32, walls=4)
    for n_phrases in range(8, 24):
        fit = fit_routine(song((32, *[64] * n_phrases)), routine)

        leaves, noted = (sheet_leaves(one) for one in (fit, with_notes(fit, CUT, GAP)))

        assert len(noted) == len(leaves)
        assert [len(leaf.texts) for leaf in noted] == [len(leaf.texts) for leaf in leaves]


def test_the_card_says_that_the_recording_is_cut_off(tagged: FitPlan) -> None:
    """The DJ looks at its length to know that it is the right one."""
    cut = with_notes(tagged, CUT)

    length = clock_time(cut.bar_map.duration_s, decimals=0)
    said = f"{length} (the file is cut off), check it is this recording"
    assert dict(card_rows(cut, cut.plan))["length"] == said
