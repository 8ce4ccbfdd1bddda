"""How the page looks: the sheet, sizes, paper, small screens, less motion."""

from __future__ import annotations

import io
from collections.abc import Callable
from types import SimpleNamespace

import pypdf
import pytest

from fit_songs import make_part, make_routine
from phrasefit.fit import fit_routine
from phrasefit.model import TagOption
from phrasefit.reports.page import page as page_of
from phrasefit.routine.turns import clock
from songs import song
from watching import start_before_event, until


def test_it_prints_the_walls(rehearse: Callable) -> None:
    """On paper stand the name, the walls, the restart; nothing that only works on a screen."""
    page = rehearse("restarted")
    reader = pypdf.PdfReader(io.BytesIO(page.pdf(format="A4")))
    text = "\n".join(sheet.extract_text() for sheet in reader.pages)

    assert len(reader.pages) <= 2
    for words in (
        "Borrowed Teaspoons",
        "RESTART after 16, on count 16",
        "END, turn 1/4 R",
        "12:00",
    ):
        assert words in text
    assert "Repeat" not in text and "Corrections" not in text
    page.keyboard.press("d")
    page.keyboard.press("b")
    page.emulate_media(media="print")
    colors = page.evaluate(
        "['body', '#sheet', 'td'].map((name) => { const style = getComputedStyle(document"
        ".querySelector(name)); return [style.color, style.backgroundColor]; })"
    )
    assert {color for color, _ in colors} == {"rgb(0, 0, 0)"}
    assert {behind for _, behind in colors} <= {"rgb(255, 255, 255)", "rgba(0, 0, 0, 0)"}
    assert page.is_visible("#sheet")


@pytest.mark.parametrize("width", [390, 1024])
def test_a_finger_hits_an_eight_of_the_sheet(rehearse: Callable, width: int) -> None:
    """Counts are narrower than a finger: a tap goes to the eight it hits, 44 px wide and high.

    44 CSS px: WCAG 2.2, success criterion 2.5.5.
    """
    page = rehearse("tagged", width=width, height=900, has_touch=True, is_mobile=True)
    sizes = page.evaluate(
        "[...document.querySelectorAll('#sheet i[data-at]')].map((box) => {"
        " const eight = groupAround(state.score, Number(box.dataset.at));"
        " const last = document.querySelector(`#sheet i[data-at='${eight.after - 1}']`);"
        " const first = document.querySelector(`#sheet i[data-at='${eight.first}']`);"
        " return [eight.after - eight.first, box.offsetHeight, last.getBoundingClientRect().right"
        " - first.getBoundingClientRect().left]; })"
    )
    assert all(height >= 44 for _, height, _ in sizes)
    assert all(wide >= 44 for counts, _, wide in sizes if counts == 8 and wide > 0)

    page.locator("#sheet i[data-at='37']").tap()

    first = page.evaluate("groupAround(state.score, 37).first")
    assert first < 37
    page.locator(f"#sheet i.now[data-at='{first}']").wait_for()


@pytest.mark.parametrize(("width", "height"), [(1024, 768), (768, 1024)])
def test_fingers_and_eyes(rehearse: Callable, width: int, height: int) -> None:
    """On a tablet all targets are at least 44 px, and the count is seen across the room.

    44 CSS px: WCAG 2.2, success criterion 2.5.5.  60 pt (80 px) of type at 3 m: sign
    makers' rule of thumb, an inch of letter for 25 feet at the limit.
    """
    page = rehearse("restarted", width=width, height=height)
    page.click("#correct summary")
    small = page.evaluate(
        "[...document.querySelectorAll('button, select, .button, summary, .check')]"
        ".filter((e) => !e.closest('dialog')).map((e) => [e.id || e.textContent,"
        " e.getBoundingClientRect()])"
        ".filter(([, box]) => box.height < 44 || box.width < 44).map(([id]) => id)"
    )
    wide = page.evaluate("document.documentElement.scrollWidth - innerWidth")
    sizes = page.evaluate(
        "['count', 'wall'].map((id) => parseFloat(getComputedStyle(document.getElementById(id))"
        ".fontSize))"
    )

    assert small == []
    assert wide <= 0
    assert sizes[0] >= 240 and sizes[1] >= 60
    page.evaluate("scrollTo(0, 0)")
    for control in ("play", "speed", "count-in"):
        page.focus(f"#{control}")
        page.click("#play")
        page.click("#play")
    assert page.evaluate("scrollY") == 0  # what stays in sight needs no scrolling to
    page.keyboard.press("b")
    bottom = page.evaluate("document.getElementById('transport').getBoundingClientRect().bottom")
    assert bottom + page.evaluate("scrollY") <= height + 1


def test_a_step_is_read_from_afar(rehearse: Callable) -> None:
    """Now and next are a sixteenth of the screen high or more; what plays stays in reach.

    60 pt (80 px) of type at 3 m: sign makers' rule of thumb, an inch of letter for 25 feet
    at the limit; a screen of 1080 lines comes to it in large type.
    """
    for width, height in ((1920, 1080), (1024, 768), (768, 1024), (390, 844)):
        page = rehearse("restarted", width=width, height=height)
        start_before_event(page, "restart", counts=4)
        page.keyboard.press("b")
        sizes = page.evaluate(
            "['step-now', 'step-next'].map((id) => parseFloat(getComputedStyle(document"
            ".getElementById(id)).fontSize))"
        )
        assert min(sizes) >= height / 16
        if height == 1080:
            assert min(sizes) >= 80
        for control in ("#play", "#speed", "#repeat-group", "#count-in"):
            box = page.locator(control).bounding_box()
            assert box and box["y"] >= 0 and box["y"] + box["height"] <= height, control
        page.close()


@pytest.mark.parametrize(("width", "height"), [(390, 844), (320, 640), (640, 400), (1024, 768)])
def test_a_long_name_moves_nothing_off_the_screen(
    opened: Callable, width: int, height: int
) -> None:
    """A tag with a long name leaves Play in sight and nothing sideways, at 200 % zoom too.

    640 by 400 is 1280 by 800 at 200 %; 320 is WCAG 2.2, success criterion 1.4.10.
    """
    name = "the one with the lanterns and the very long bridge" * 2
    tags = (TagOption(counts=4, turn_deg=90, name=name),)
    fit = fit_routine(song((32, 84, *[64] * 6)), make_routine(make_part(cuts={16: 0}), tags=tags))
    page = opened(page_of(fit), width=width, height=height)
    for keys in ("", "b"):
        page.keyboard.press(keys) if keys else None
        start_before_event(page, "tag", counts=-1)
        until(page, "document.getElementById('wall').textContent === 'TAG'")
        box = page.locator("#play").bounding_box()
        assert name in page.inner_text("#place")
        assert box["y"] >= 0 and box["y"] + box["height"] <= height
        assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
    page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0


def test_the_sheet_holds_the_whole_song(rehearse: Callable, fits: SimpleNamespace) -> None:
    """Lines of 32 counts (24 in threes), one box a count, ones taller, each wall named once."""
    for name, fit in vars(fits).items():
        page = rehearse(name)
        boxes = page.evaluate(
            "[...document.querySelectorAll('#sheet li')].map((line) =>"
            " [...line.querySelectorAll('i')].map((box) => [Number(box.dataset.at),"
            " box.classList.contains('one'), box.offsetHeight]))"
        )
        size = 24 if fit.routine.meter == 3 else 32
        every = [box for line in boxes for box in line]
        assert [len(line) for line in boxes[:-1]] == [size] * (len(boxes) - 1)
        assert [at for at, _, _ in every] == [*range(len(fit.grid.times_s) - 1)]
        assert [one for _, one, _ in every] == fit.grid.bar_start.tolist()
        assert min(h for _, one, h in every if one) > max(h for _, one, h in every if not one)
        walls = page.locator("#sheet .piece.wall b").all_inner_texts()
        assert walls == [f"WALL {wall.number}" for wall in fit.plan.walls]
        ways = page.locator("#sheet .piece.wall .clock").all_text_contents()
        assert ways == [clock(wall.facing) for wall in fit.plan.walls]
        shapes = page.evaluate(
            "[...document.querySelectorAll('#sheet .note use')].map((u) => u.getAttribute('href'))"
        )
        assert shapes == [
            f"#mark-{event.kind.value}" for event in fit.plan.events if event.kind.value != "wall"
        ]
        page.close()  # each draws on, sixty times a second


def test_less_motion_is_respected(rehearse: Callable) -> None:
    """Where the system asks for less motion the sheet turns at once, and nothing slides."""
    page = rehearse("restarted", reduced_motion="reduce")
    page.evaluate(
        "() => { globalThis.how = []; $('lines').scrollTo = (to) => how.push(to.behavior); }"
    )
    page.evaluate("walk(state.score.rows.length - 1)")

    assert page.evaluate("how") == ["instant"]
    assert page.evaluate(
        "getComputedStyle(document.getElementById('arrow')).transitionDuration"
    ) in ("0s", "1e-05s")
