"""The desk for everybody: axe-core, sizes, targets, keyboard, reduced motion, zoom.

axe-core (Deque) checks what can be checked by program of WCAG 2.2; sizes of targets follow its
success criterion 2.5.5 (44 by 44 CSS pixels, with its exceptions: links within a text; a mouse
gets lines as on paper, with narrower counts, which the arrow keys walk as well).
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import axe_playwright_python
import pytest
from desk_evenings import change, fill_store, new_evening

from browsing import wait_until
from desk_server import end, start_desk
from heard import fill
from kept_songs import keep, square_song
from phrasefit.store import Store
from phrasefit.store.database import FILE_NAME

AXE = (Path(axe_playwright_python.__file__).parent / "axe.min.js").read_text(encoding="utf-8")
ROUTINE = "routine=supplied:borrowed-teaspoons"
WIDTHS = (390, 640, 820, 1280, 2560)  # 640: a window of 1280 at 200 % zoom
VIEWS = {
    "songs": "/songs",
    "songs that fit": "/songs?fits=supplied:first-gate",
    "routines": "/routines",
    "new routine": "/routines/new",
    "paste": "/routines/paste",
    "routine": "/routines/edit?copy=supplied:borrowed-teaspoons",
    "no sheet": "/sheet",
    "song alone": "/sheet/{song}",
    "sheet": "/sheet/{song}?" + ROUTINE,
    "rehearsal": "/rehearse/{song}?" + ROUTINE,
    "evenings": "/evening",
    "evening": "/evening/{evening}",
    "run": "/evening/{evening}/run",
    "record": "/record",
}


TITLE = "<img src=x onerror=alert(1)>"  # as the tags of a song file may have it
ARTIST = "</p><script>alert(2)</script>"


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    """One desk with something to show in every view."""
    folder = fill_store(tmp_path_factory.mktemp("everybody"), with_sample=False)
    song = fill(folder, "half-a-bar-of-dust")[0]  # with a doubt: a question is asked
    with Store(folder / FILE_NAME) as store:
        tagged = replace(square_song("tagged", *[8] * 6), title=TITLE, artist=ARTIST)
        hostile = keep(store, folder / "music", tagged)
    running = start_desk(folder)
    evening = new_evening(running, title="At the mill", starts_at="19:30")
    for key in (hostile, *(row[0] for row in running.get("/api/songs")["rows"][:3])):
        evening = change(running, evening, "add", song=key, routine="supplied:first-gate")
    running.post(f"/api/evenings/{evening['id']}/run", {"place": 1})
    running.names = {"song": song, "hostile": hostile, "evening": evening["id"]}
    yield running
    end(running)


@pytest.fixture(scope="module")
def page(desk, browser):
    """One window for all views; it may not complain."""
    context = browser.new_context(viewport={"width": 1280, "height": 800})
    page = context.new_page()
    page.set_default_timeout(30_000)
    complaints: list[str] = []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.goto(desk.address)
    yield page
    context.close()
    assert complaints == []


def show(desk, page, name: str) -> None:
    """Open a view, and all that is folded away in it."""
    page.goto(desk.origin + VIEWS[name].format(**desk.names))
    page.locator("h1:visible, #routine").first.wait_for()
    if name != "rehearsal":  # which reads its song
        page.wait_for_load_state("networkidle")
    if name == "paste":
        page.get_by_label("The step sheet").fill(
            "Thimble\n8 counts, 1 wall\n1-4 Vine right, touch\nX"
        )
        page.locator(".marked").wait_for()
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    page.evaluate("new Promise((done) => requestAnimationFrame(() => setTimeout(done, 50)))")


def found_by_axe(page, rules: str = "") -> list[str]:
    """List what axe-core finds, each with the first place."""
    page.evaluate(AXE)
    found = page.evaluate(f"axe.run({{ resultTypes: ['violations'] {rules} }})")
    return [f"{one['id']}: {one['nodes'][0]['html'][:200]}" for one in found["violations"]]


TOO_SMALL = """() => {
  const controls = "button, select, summary, input, textarea, a, [role=menuitem]";
  return [...document.querySelectorAll(controls)].flatMap((one) => {
    const target = ["checkbox", "radio", "file"].includes(one.type)
      ? one.closest("label, .button") ?? one : one;
    const box = target.getBoundingClientRect();
    const isSeen = one.checkVisibility({ visibilityProperty: true }) && box.width > 1;
    const isInText = one.localName === "a" && getComputedStyle(one).display === "inline";
    if (!isSeen || isInText || box.height >= 43.5) return [];
    return [`${Math.round(box.height)} px: ${one.outerHTML.slice(0, 120)}`];
  });
}"""


@pytest.mark.parametrize("name", VIEWS)
def test_a_view_is_for_everybody(desk, page, name: str) -> None:
    """No finding of axe-core, light and dark; no scrolling sideways; targets of 44 px."""
    page.set_viewport_size({"width": WIDTHS[0], "height": 800})
    show(desk, page, name)
    assert found_by_axe(page) == []
    page.evaluate("document.documentElement.classList.toggle('dark')")
    assert found_by_axe(page, ", runOnly: ['color-contrast']") == []
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 800})
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert page.evaluate(TOO_SMALL) == []


@pytest.mark.parametrize("name", [name for name in VIEWS if name != "rehearsal"])
def test_letters_twice_as_large(desk, page, name: str) -> None:
    """Who enlarges only the text, not the page, has no need to scroll sideways either."""
    page.set_viewport_size({"width": 1280, "height": 800})
    show(desk, page, name)
    page.evaluate(
        """() => {
          document.documentElement.style.fontSize = "200%";
          document.body.style.fontSize = "1rem"; // which is given in pixels
          window.dispatchEvent(new Event("resize"));
        }"""
    )

    assert page.evaluate("document.documentElement.scrollWidth") <= 1280


NOT_REACHED = """() => [...document.querySelectorAll(
  "a[href], button, select, summary, input, textarea, [tabindex='0']")]
  .filter((one) => one.checkVisibility({ visibilityProperty: true }) && !one.disabled
    && one.tabIndex >= 0 && !one.closest("[tabindex='-1']:not(main)") && !window.reached.has(one))
  .map((one) => one.outerHTML.slice(0, 120))"""
NO_MARK = """() => {
  const one = document.activeElement;
  window.reached.add(one);
  const marked = one.closest(".button:focus-within") ?? one;
  const { outlineStyle, outlineWidth } = getComputedStyle(marked);
  const isSeen = outlineStyle !== "none" && parseFloat(outlineWidth) >= 2;
  const { left, top, width, height } = marked.getBoundingClientRect();
  const above = document.elementFromPoint(left + width / 2, top + height / 2);
  const isFree = marked.contains(above) || above?.contains(marked);
  return (isSeen && isFree) || one === document.body ? "" : one.outerHTML.slice(0, 120);
}"""


@pytest.mark.parametrize("name", ["songs", "sheet"])
def test_the_keyboard_reaches_everything(desk, page, name: str) -> None:
    """The tabulator comes to every control; where it is can be seen, and nothing covers it."""
    page.set_viewport_size({"width": 1280, "height": 800})
    show(desk, page, name)
    page.evaluate("window.reached = new Set()")

    for _ in range(200):
        page.keyboard.press("Tab")
        assert page.evaluate(NO_MARK) == ""
        if page.evaluate("document.activeElement === document.body"):
            break

    assert page.evaluate(NOT_REACHED) == []
    assert page.evaluate("window.reached.size") > 20


@pytest.mark.parametrize(("wish", "how"), [("reduce", "instant"), ("no-preference", "smooth")])
def test_nothing_glides_for_who_wishes_so(desk, page, wish: str, how: str) -> None:
    """The line that plays is brought into sight at once where motion is not wished for."""
    page.set_viewport_size({"width": 390, "height": 600})
    page.emulate_media(reduced_motion=wish)
    show(desk, page, "song alone")
    page.evaluate(
        "() => { Element.prototype.scrollIntoView = (how) =>"
        " { window.scrolled = how?.behavior ?? window.scrolled; }; }"
    )
    page.locator(".sheet i[data-at='4']").focus()
    for _ in range(5):
        page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    page.get_by_role("menuitem", name="play from here").press("Enter")
    page.get_by_role("button", name="Pause", exact=True).wait_for()
    page.evaluate("scroll(0, 0)")  # away from the line that plays

    wait_until(page, "window.scrolled")

    assert page.evaluate("window.scrolled") == how
    assert page.evaluate("document.getAnimations().length") == 0
    page.get_by_role("button", name="Pause", exact=True).click()
    page.emulate_media(reduced_motion=None)


INERT = (
    "/songs", "/sheet/{hostile}?counts=32&walls=4", "/rehearse/{hostile}?counts=32&walls=4",
    "/evening/{evening}", "/evening/{evening}/run", "/record",
)  # fmt: skip


@pytest.mark.parametrize("place", INERT)
def test_tags_of_a_song_are_inert(desk, page, place: str) -> None:
    """HTML and script in title and artist are shown letter by letter, and make no element."""
    page.on("dialog", lambda dialog: pytest.fail(dialog.message))
    page.goto(desk.origin + place.format(**desk.names))

    page.get_by_text(TITLE).first.wait_for()

    assert ARTIST in page.locator("body").inner_text()
    made = "img[src=x], script:not([src]):not([type='application/json'])"
    own = 1 if place.startswith("/rehearse") else 0  # which has its script within
    assert page.locator(made).count() == own


@pytest.mark.parametrize(("width", "group"), [(360, 8), (390, 8), (1024, 16)])
def test_a_finger_hits_a_count(desk, browser, width: int, group: int) -> None:
    """Under fingers every count is 44 px wide and high: as many make a line as have room."""
    context = browser.new_context(
        viewport={"width": width, "height": 800}, has_touch=True, is_mobile=True
    )
    page = context.new_page()
    page.set_default_timeout(30_000)
    page.goto(f"{desk.address}?view=/sheet/{desk.names['song']}")
    box = page.locator(".sheet i[data-at='18']")
    box.wait_for()

    sizes = page.evaluate(
        "[...document.querySelectorAll('.sheet i')].map((one) => one.getBoundingClientRect())"
        ".map(({ width, height }) => [width, height])"
    )
    assert min(size for pair in sizes for size in pair) >= 44
    assert page.locator(".sheet li").first.locator("i").count() == group
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    box.tap()
    menu = page.get_by_role("menu")
    menu.wait_for()
    page.keyboard.press("Escape")
    assert page.evaluate("document.activeElement.dataset.at") == "18"
    context.close()


def test_menu_and_dialogs_are_for_everybody(desk, page) -> None:
    """What opens over a view: the menu of a count, the folders, the routines for a song."""
    page.set_viewport_size({"width": 390, "height": 800})
    show(desk, page, "sheet")
    page.locator(".sheet i[data-at='18']").click()
    page.get_by_role("menu").wait_for()
    assert found_by_axe(page) == []
    page.keyboard.press("Escape")

    show(desk, page, "songs")
    for button in ("Choose a folder", "Which routine suits Half a Bar of Dust?"):
        page.get_by_role("button", name=button).click()
        page.get_by_role("dialog").wait_for()
        page.wait_for_load_state("networkidle")
        assert found_by_axe(page) == []
        assert page.evaluate(TOO_SMALL) == []
        page.keyboard.press("Escape")


def test_both_ends_of_a_range_are_named_in_full(desk, page) -> None:
    """Who hears the form instead of seeing it learns to what the second number goes."""
    show(desk, page, "songs")

    for name in ("Counts a minute from", "Counts a minute to"):
        page.get_by_role("spinbutton", name=name, exact=True).wait_for()
