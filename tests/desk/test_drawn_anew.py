"""Views are drawn anew while people work in them: no click, focus or letter is lost by it."""

from __future__ import annotations

import json
import re

import pytest
from desk_evenings import change, fill_store, new_evening

from browsing import hold_back, wait_until
from desk_server import end
from heard import fill

GATE = "supplied:first-gate"
SONGS_OF_PLACES = (
    "[...document.querySelectorAll('.places .what > span')].map((one) => one.textContent)"
)
FOCUSED = "document.activeElement.getAttribute('aria-label') ?? document.activeElement.textContent"


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory, desk_on):
    """A desk that knows a dozen songs, one of them with a doubt."""
    folder = fill_store(tmp_path_factory.mktemp("anew"), with_sample=False)
    song = fill(folder, "half-a-bar-of-dust")[0]
    running = desk_on(folder)
    running.names = {"song": song}
    return running


def write_entry(desk, **fields) -> dict:
    """Write something into the record, as another window does."""
    return desk.post("/api/lessons", {"date": "2026-09-30", "routine": "First Gate"} | fields)


def press(page, target) -> None:
    """Press something without letting go, and mark it."""
    target.hover()
    target.evaluate("(one) => { one.id = 'pressed'; }")
    page.mouse.down()


def list_of_songs(desk, page_of) -> tuple:
    """Open the list; gives page, rows, and the first song that no other test needs."""
    page = page_of(desk, "/songs")
    rows = page.locator(".rows [role=row] a")
    rows.nth(3).wait_for()
    page.wait_for_load_state("networkidle")
    shown = (row.get_attribute("href").rpartition("/")[2] for row in rows.all())
    return page, rows, next(name for name in shown if name != desk.names["song"])


def three_dances(desk) -> dict:
    """Make an evening of three dances."""
    state = new_evening(desk)
    for row in desk.get("/api/songs")["rows"][:3]:
        state = change(desk, state, "add", song=row[0], routine=GATE)
    return state


def changed_elsewhere(desk, page, kind: str, work) -> None:
    """Let another window do something, and wait until this one has drawn what came of it."""
    page.evaluate(
        """(kind) => {
          window.told = false;
          const again = new EventSource("/news");
          again.addEventListener(kind, () => { again.close(); window.told = true; });
          return new Promise((done) => again.addEventListener("open", done));
        }""",
        kind,
    )
    work()
    wait_until(page, "window.told")
    page.wait_for_load_state("networkidle")
    page.wait_for_timeout(500)  # drawn, at the latest


# --------------------------------------------------------------------------------------- songs


def test_a_song_that_is_pressed_stays_where_it_is(desk, page_of) -> None:
    """Songs that come or go above it wait until it is let go."""
    page, rows, gone = list_of_songs(desk, page_of)
    title = rows.nth(3).inner_text()
    press(page, rows.nth(3))
    before = page.locator("#pressed").bounding_box()

    changed_elsewhere(
        desk, page, "songs", lambda: desk.post("/api/songs/forget", {"songs": [gone]})
    )

    assert page.locator("#pressed").bounding_box() == before
    page.mouse.up()
    page.get_by_role("heading", name=title.removesuffix(" (no file)"), exact=True).wait_for()


def test_the_list_of_songs_keeps_the_focus(desk, page_of) -> None:
    """Who walks through it with the keyboard stays where they are."""
    page, rows, gone = list_of_songs(desk, page_of)
    rows.nth(3).focus()
    title = page.evaluate(FOCUSED)

    changed_elsewhere(
        desk, page, "songs", lambda: desk.post("/api/songs/forget", {"songs": [gone]})
    )

    assert page.evaluate(FOCUSED) == title


def test_a_meter_that_comes_can_be_filtered(new_desk, page_of, tmp_path) -> None:
    """The filters follow the songs, also where there were none at first."""
    desk = new_desk(tmp_path / "data")
    page = page_of(desk, "/songs")
    page.get_by_role("button", name="Try it with the sample songs").wait_for()
    fill(tmp_path / "data", "paper-boat-waltz")
    desk.post("/api/songs/folders", {"path": str(tmp_path / "data" / "music")})

    page.get_by_role("link", name="Paper Boat Waltz").wait_for()
    wait_until(page, "document.querySelector('[name=meter]').options.length > 1")


QUEUE = {"working": True, "all": 9, "now": ["a"], "left": "a minute", "unheard": 0, "n_failed": 0,
         "failed": [], "done": 1}  # fmt: skip


def songs_being_heard(desk, page_of, state: dict):
    """Open the songs where, by news and when asked, the queue is in `state`, which may change."""
    page = page_of(desk, "/record")
    page.route("**/api/songs/hearing", lambda route: route.fulfill(json=state))
    told = "retry: 100\nevent: hearing\ndata: %s\n\n"
    page.route(
        "**/news",
        lambda route: route.fulfill(
            content_type="text/event-stream", body=told % json.dumps(state)
        ),
    )
    page.goto(f"{desk.origin}/songs")
    return page


def test_the_queue_keeps_the_focus(desk, page_of) -> None:
    """Each song that is heard draws the panel anew; who is about to stop it can."""
    state = dict(QUEUE)
    page = songs_being_heard(desk, page_of, state)
    page.get_by_role("button", name="Stop", exact=True).focus()
    state["done"] = 5
    page.get_by_text("song 6 of 9").wait_for()

    assert page.evaluate(FOCUSED) == "Stop"


def test_the_best_routine_is_told_once_all_is_heard(desk, page_of) -> None:
    """Also of songs that came after the list was opened."""
    state = dict(QUEUE)
    page = songs_being_heard(desk, page_of, state)
    page.route("**/api/songs/best", lambda route: route.fulfill(json={"best": {}}))
    page.reload()
    page.locator(".rows [role=row] a").first.wait_for()
    page.wait_for_timeout(300)
    page.unroute("**/api/songs/best")
    state["working"] = False
    page.locator(".rows .fit:not(:empty)").first.wait_for()


def test_the_last_routine_chosen_is_the_one_shown(desk, page_of) -> None:
    """However late the answer to an earlier choice comes."""
    page = page_of(desk, "/songs")
    choice = page.get_by_label("Fits the routine")
    choice.wait_for()
    page.wait_for_load_state("networkidle")
    let_through = hold_back(page, "**/api/songs/fits?*")
    choice.select_option(index=1)
    choice.select_option(index=0)
    wait_until(page, "!location.search.includes('fits')")
    let_through()
    page.wait_for_load_state("networkidle")
    page.wait_for_timeout(300)

    head = page.locator(".head .fit button")
    assert head.inner_text() == "Best routine"


def test_a_double_click_opens_one_folder(desk, page_of) -> None:
    """Who clicks twice, as in the windows of the system, is not led into the one below."""
    page = page_of(desk, "/songs")
    page.get_by_role("button", name="Choose a folder").click()
    here = page.locator("dialog .here")
    page.locator("dialog .folders button").first.wait_for()
    page.route(
        "**/api/songs/computer?in=*",
        lambda route: route.fulfill(json={
            "title": route.request.url.partition("in=")[2] or "top", "above": "",
            "folders": [{"name": f"folder {i}", "token": f"below{i}"} for i in range(5)],
        }),
    )  # fmt: skip
    page.locator("dialog .folders button").first.dblclick(delay=80)
    page.wait_for_timeout(300)
    first = here.inner_text()
    page.locator("dialog .folders button").nth(2).dblclick(delay=80)
    page.wait_for_timeout(300)

    assert here.inner_text() == "below2" != first
    page.locator("dialog .folders button").nth(1).press("Enter")
    page.wait_for_timeout(200)
    assert page.evaluate("document.activeElement.closest('.folders') !== null")


# ------------------------------------------------------------------------------------- evening


def test_the_list_of_evenings_waits_for_the_hand(desk, page_of) -> None:
    """It is drawn anew when it is let go, and the focus stays."""
    state = new_evening(desk, title="Pressed")
    page = page_of(desk, "/evening")
    copy = page.get_by_role("button", name="Copy Pressed", exact=True)
    copy.focus()
    changed_elsewhere(desk, page, "evening", lambda: new_evening(desk, title="Other"))
    assert page.evaluate(FOCUSED) == "Copy Pressed"

    press(page, page.get_by_role("link", name="Pressed", exact=True))
    changed_elsewhere(desk, page, "evening", lambda: new_evening(desk, title="Third"))
    page.mouse.up()
    page.wait_for_url(f"**/evening/{state['id']}")


@pytest.mark.parametrize("key", ["Remove", "Later"])
def test_two_presses_before_the_answer(desk, page_of, key: str) -> None:
    """Each is about the dance that it was pressed for, however the first has moved it."""
    state = three_dances(desk)
    page = page_of(desk, f"/evening/{state['id']}")
    buttons = page.get_by_role("button", name=f"{key}: ")
    buttons.nth(1).wait_for()
    names = page.evaluate(SONGS_OF_PLACES)
    let_through = hold_back(page, f"**/api/evenings/{state['id']}")
    buttons.nth(0).click()
    buttons.nth(1 if key == "Remove" else 0).click()
    let_through()
    wanted = names[2:] if key == "Remove" else [*names[1:], names[0]]
    wait_until(page, f"({SONGS_OF_PLACES}).join() === {','.join(wanted)!r}")


def test_songs_chosen_quickly_are_all_chosen(desk, page_of) -> None:
    """The second is added to the first, also before that is answered."""
    state = new_evening(desk)
    page = page_of(desk, f"/evening/{state['id']}")
    page.locator("summary", has_text=re.compile("^Songs$")).click()
    page.get_by_label("Search a song").last.fill("e")
    choose = page.get_by_role("button", name="Choose ")
    choose.nth(1).wait_for()
    let_through = hold_back(page, f"**/api/evenings/{state['id']}")
    choose.nth(0).click()
    choose.nth(1).click()
    let_through()
    page.get_by_text("2 chosen").wait_for()


def test_routines_ticked_quickly_are_all_ticked(desk, page_of) -> None:
    """What was answered to the first tick does not take the second one back."""
    state = new_evening(desk)
    change(desk, state, "settings", routines=[])
    page = page_of(desk, f"/evening/{state['id']}")
    box = page.locator(".routines li > label:first-child input")
    box.first.wait_for(state="attached")
    held = []
    page.route(f"**/api/evenings/{state['id']}", lambda route: held.append(route))
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    box.nth(0).check()
    box.nth(1).check()
    wait_until(page, "true")
    page.wait_for_timeout(200)
    held.pop(0).fallback()
    page.wait_for_timeout(500)
    assert [box.nth(i).is_checked() for i in (0, 1)] == [True, True]
    box.nth(2).check()
    page.unroute(f"**/api/evenings/{state['id']}")
    for route in held:
        route.fallback()
    page.wait_for_timeout(500)
    page.wait_for_load_state("networkidle")
    assert len(desk.get(f"/api/evenings/{state['id']}")["routines"]) == 3


def test_who_clicks_twice_fills_the_evening(desk, page_of) -> None:
    """The second click does not stop it, though the button to stop lies there by then."""
    state = new_evening(desk)
    page = page_of(desk, f"/evening/{state['id']}")
    stops: list[str] = []
    page.on("request", lambda one: stops.append(one.url) if one.url.endswith("/stop") else None)
    page.get_by_role("button", name="Fill the evening").dblclick(delay=150)
    page.locator(".places li").first.wait_for()

    assert stops == []
    assert page.locator("#trouble").is_hidden()


def test_the_space_bar_presses_too(desk, page_of) -> None:
    """What comes while it is held down waits until it is let go."""
    state = three_dances(desk)
    page = page_of(desk, f"/evening/{state['id']}")
    undo = page.get_by_role("button", name="Undo")
    undo.focus()
    page.keyboard.down("Space")
    changed_elsewhere(
        desk, page, "evening", lambda: change(desk, state, "settings", where="Elsewhere")
    )
    page.keyboard.up("Space")
    page.get_by_text("2 dances, ").wait_for()


# -------------------------------------------------------------------------------------- record


def test_what_is_being_corrected_in_the_record_stays(desk, page_of) -> None:
    """An entry that is written elsewhere takes neither the form nor a letter nor the place."""
    write_entry(desk, routine="Typed in")
    page = page_of(desk, "/record?search=typed+in")
    page.get_by_role("button", name="Correct Typed in").press("Enter")
    form = page.locator(".record-list .fields")
    assert page.evaluate("document.activeElement.closest('.record-list') !== null")
    note = form.get_by_label("Note")
    note.fill("half a sentence")
    note.evaluate("(one) => one.setSelectionRange(4, 4)")

    changed_elsewhere(desk, page, "record", lambda: write_entry(desk, routine="Typed in too"))
    page.keyboard.type("-")

    page.get_by_text("Typed in too").wait_for()
    assert note.input_value() == "half- a sentence"
    page.get_by_role("button", name="Keep").click()
    page.locator(".record-list").get_by_text("half- a sentence").wait_for()
    form.wait_for(state="detached")


def test_the_record_waits_for_the_hand(desk, page_of) -> None:
    """It is drawn anew when it is let go: the entry that was pressed is removed, no other."""
    write_entry(desk, routine="Held fast", note="mine")
    page = page_of(desk, "/record?search=held+fast")
    remove = page.get_by_role("button", name="Remove Held fast")
    remove.first.wait_for()
    press(page, remove.first)
    changed_elsewhere(
        desk, page, "record", lambda: write_entry(desk, routine="Held fast", note="theirs")
    )
    page.mouse.up()
    page.get_by_role("button", name="Put it back").wait_for()

    left = desk.get("/api/lessons?search=held+fast")["lessons"]
    assert [entry["note"] for entry in left] == ["theirs"]


def test_the_last_words_searched_for_are_the_ones_found(desk, page_of) -> None:
    """However late the answer to the words before comes."""
    write_entry(desk, routine="Early bird")
    write_entry(desk, routine="Late bird")
    page = page_of(desk, "/record")
    search = page.get_by_label("Search")
    page.get_by_text("Early bird").wait_for()
    let_through = hold_back(page, "**/api/lessons?search=early")
    search.fill("early")
    page.wait_for_timeout(400)
    search.fill("late bird")
    page.get_by_text("1 entry").wait_for()
    let_through()
    page.wait_for_load_state("networkidle")
    page.wait_for_timeout(200)

    assert page.locator(".record-list strong").all_inner_texts() == ["Late bird"]


def test_written_down_once(desk, page_of) -> None:
    """Who clicks twice does not write two entries."""
    page = page_of(desk, "/record")
    page.get_by_text("Write down by hand").click()
    page.locator("details [name=routine]").fill("Clicked twice")
    page.get_by_role("button", name="Write it down").dblclick()
    page.get_by_text("Clicked twice").first.wait_for()
    page.wait_for_load_state("networkidle")

    assert desk.get("/api/lessons?search=clicked+twice")["n_found"] == 1


def test_an_entry_is_removed_once(desk, page_of) -> None:
    """The second of two clicks neither asks for it again nor falls on the entry below."""
    for note in "abc":
        write_entry(desk, routine="Row by row", note=note)
    page = page_of(desk, "/record?search=row+by+row")
    remove = page.get_by_role("button", name="Remove Row by row").first
    remove.wait_for()
    let_through = hold_back(page, "**/remove")
    remove.dblclick()
    let_through()
    page.get_by_role("button", name="Put it back").wait_for()
    page.wait_for_load_state("networkidle")

    assert desk.get("/api/lessons?search=row+by+row")["n_found"] == 2
    assert page.locator("#trouble").is_hidden()


# ------------------------------------------------------------------------------------ routines


def test_the_list_of_routines_waits_for_the_hand(desk, page_of) -> None:
    """It is drawn anew when it is let go, and the focus stays."""
    page = page_of(desk, "/routines")
    copy = page.get_by_role("link", name="Copy and change First Gate")
    copy.focus()

    def save(name: str) -> None:
        text = f'name = "{name}"\ncounts = 32\nwalls = 4\n'
        desk.post("/api/routines/save", {"key": "", "revision": 0, "text": text})

    changed_elsewhere(desk, page, "routines", lambda: save("Aside"))
    assert page.evaluate(FOCUSED) == "Copy and change First Gate"
    press(page, copy)
    changed_elsewhere(desk, page, "routines", lambda: save("Aside too"))
    page.mouse.up()
    page.wait_for_url("**/routines/edit?draft")


SHEET = (
    "Thimble\n16 counts, 1 wall\n1-4 Vine right, touch\n5-8 Wobble about\n9-12 Vine left, touch\nX"
)


def test_letters_typed_while_a_sheet_is_read_stay(desk, page_of) -> None:
    """A line that is mended keeps what is typed and where; what is read is what stands there."""
    page = page_of(desk, "/routines/paste")
    page.get_by_label("The step sheet").fill(SHEET)
    line = page.locator(".marked input").last
    line.wait_for()
    let_through = hold_back(page, "**/api/routines/pasted")
    line.fill("13-16 touch")
    line.evaluate("(one) => one.setSelectionRange(6, 6)")
    page.wait_for_timeout(600)  # it is being read
    page.keyboard.type("Vine right, ")
    let_through()
    page.wait_for_timeout(300)
    page.keyboard.type("then ")
    page.keyboard.press("Tab")
    page.locator(".read").get_by_text("13-16 Vine right, then touch").wait_for()

    last = page.get_by_label("The step sheet").input_value().splitlines()[-1]
    assert last == "13-16 Vine right, then touch"


def test_the_form_gets_what_was_typed_last(desk, page_of) -> None:
    """Pressed right after typing, it goes on with the sheet as it stands."""
    page = page_of(desk, "/routines/paste")
    sheet = page.get_by_label("The step sheet")
    sheet.fill(SHEET)
    page.get_by_role("button", name="Go on in the form").wait_for()
    sheet.fill(SHEET.replace("Thimble", "Copper Thimble"))
    page.get_by_role("button", name="Go on in the form").click()

    page.wait_for_url("**/routines/edit?draft")
    page.get_by_role("heading", name="Copper Thimble").wait_for()


def test_a_routine_saved_right_after_typing_its_text(desk, page_of) -> None:
    """What was typed into the file is what is saved."""
    page = page_of(desk, "/routines/edit?copy=supplied:first-gate")
    page.get_by_text("The file as text").click()
    text = page.get_by_label("The file as text")
    text.fill('name = "Typed as text"\ncounts = 32\nwalls = 2\n')
    let_through = hold_back(page, "**/api/routines/new")
    page.get_by_role("button", name="Save", exact=True).hover()
    page.mouse.down()
    page.wait_for_timeout(100)
    let_through()
    page.wait_for_timeout(500)
    page.mouse.up()
    page.wait_for_url("**/routines/edit?routine=Typed%20as%20text")


def test_the_rows_of_counts_follow_what_is_typed(desk, page_of) -> None:
    """A routine of 48 counts may have its restart after 40; who types keeps the focus."""
    page = page_of(desk, "/routines/edit?copy=supplied:first-gate")
    counts = page.get_by_label("Counts", exact=True)
    counts.fill("48")
    page.get_by_role("button", name="Restart after count 40", exact=True).wait_for()
    assert counts.evaluate("(one) => one === document.activeElement")
    page.get_by_role("button", name="Restart after count 40", exact=True).click()
    assert page.locator("#p-0-restarts-40").get_attribute("aria-pressed") == "true"


# --------------------------------------------------------------------------------------- sheet


def sheet_of(desk, page_of, query: str = "counts=32&walls=4", **size):
    """Open the sheet of the song that has a doubt."""
    page = page_of(desk, f"/sheet/{desk.names['song']}?{query}".replace("&", "%26"), **size)
    page.locator(".sheet i").first.wait_for()
    page.wait_for_load_state("networkidle")
    return page


@pytest.fixture
def as_heard(desk):
    """Take back what a test has corrected."""
    yield
    address = f"/api/sheet/{desk.names['song']}"
    doc = desk.get(address)["corrections"]
    if doc["words"] != "nothing":
        seen = {"revision": doc["revision"], "mark": doc["mark"]}
        desk.post(f"{address}/step/as-heard", seen)


def corrected_elsewhere(desk, change: dict) -> None:
    """Correct the song in another window."""
    address = f"/api/sheet/{desk.names['song']}"
    doc = desk.get(address)["corrections"]
    seen = {"revision": doc["revision"], "mark": doc["mark"]}
    desk.post(f"{address}/correct", {"change": change, **seen})


def test_choices_of_a_sheet_keep_the_focus(desk, page_of) -> None:
    """With the arrow keys one walks through the routines, and each is shown."""
    page = sheet_of(desk, page_of)
    page.get_by_label("Danced:").focus()
    for _ in range(2):
        before = page.url
        page.keyboard.press("ArrowDown")
        wait_until(page, f"location.href !== {before!r}")
        wait_until(page, "document.activeElement.localName === 'select'")


def test_the_last_choice_is_the_one_shown(desk, page_of) -> None:
    """However late the answer to the one before comes."""
    page = sheet_of(desk, page_of)
    let_through = hold_back(page, "**/api/sheet/*walls=2*")
    page.get_by_label("Danced:").select_option(label="32 counts, 2 walls")
    page.get_by_label("Danced:").select_option(label="64 counts, 4 walls")
    page.wait_for_url("**counts=64*")
    let_through()
    page.wait_for_load_state("networkidle")
    page.wait_for_timeout(300)

    assert "counts=64" in page.url


def test_a_count_that_is_pressed_stays(desk, page_of, as_heard) -> None:
    """A song that is corrected elsewhere is drawn anew when the count is let go."""
    page = sheet_of(desk, page_of)
    press(page, page.locator(".sheet i[data-at='18']"))
    changed_elsewhere(desk, page, "song", lambda: corrected_elsewhere(desk, {"shift_one_beats": 1}))
    page.mouse.up()
    page.get_by_role("menu").wait_for()


def test_undo_keeps_the_focus(desk, page_of, as_heard) -> None:
    """Pressed with the keyboard, it can be pressed again."""
    for beats in (1, 1):
        corrected_elsewhere(desk, {"shift_one_beats": beats})
    page = sheet_of(desk, page_of)
    undo = page.locator(".corrected button").first
    undo.press("Enter")
    page.get_by_role("button", name="redo: ").wait_for()

    assert page.evaluate("document.activeElement.dataset.focus") == "undo"


def test_an_answer_is_given_once(desk, page_of, as_heard) -> None:
    """The second of two clicks on it neither takes it back nor answers the next question."""
    page = sheet_of(desk, page_of)
    sent: list[str] = []
    page.on("request", lambda one: sent.append(one.url) if one.method == "POST" else None)
    let_through = hold_back(page, "**/api/sheet/**")
    page.locator(".question .answer").first.dblclick()
    let_through()
    page.wait_for_load_state("networkidle")
    page.wait_for_timeout(500)

    assert len(sent) == 1


@pytest.mark.parametrize("width", [1280, 820, 360])
def test_the_button_for_taps_stays_under_the_finger(desk, page_of, width: int) -> None:
    """Neither the end of the page nor the count, the wall or what is said of taps moves it."""
    page = sheet_of(desk, page_of, width=width)
    tap = page.get_by_role("button", name="Tap every 1")

    def place() -> list[int]:  # as the page has it: the browser's own box lags while it scrolls
        box = "one => { const { x, y } = one.getBoundingClientRect(); return [x, y]; }"
        return [round(value) for value in tap.evaluate(box)]

    before = place()
    page.evaluate("scrollTo(0, document.documentElement.scrollHeight)")
    places = [place()]
    page.get_by_role("button", name="Play", exact=True).click()
    wait_until(page, "document.querySelector('.play-bar .where').textContent === 'INTRO'")
    for words in ("1 tap;", "2 taps", "3 taps", "you tap every beat"):
        tap.dispatch_event("pointerdown")
        page.locator(".taps", has_text=words).wait_for()
        places.append(place())
    page.locator(".sheet .piece.wall.begins").nth(1).scroll_into_view_if_needed()
    page.evaluate(
        """() => {
          const [first] = document.querySelectorAll(".sheet .piece.wall.begins");
          document.querySelector(`i[data-at="${first.dataset.first}"]`).click();
        }"""
    )
    page.get_by_role("menuitem", name="play from here").click()
    wait_until(page, "document.querySelector('.play-bar .where').textContent.startsWith('WALL 1 ')")
    places.append(place())

    assert places == [before] * 6


def test_sharing_waits_for_the_hand(desk, page_of) -> None:
    """It is looked up every few seconds who looks on; buttons keep the press and the focus."""
    page = page_of(desk, "/songs")
    page.clock.install()  # the few seconds need not be waited for
    page.goto(f"{desk.origin}/sheet/{desk.names['song']}?counts=32&walls=4")
    page.get_by_text("Hand out: paper").click()
    page.get_by_role("button", name="Share in this room").click()
    stop = page.get_by_role("button", name="Stop sharing")
    stop.focus()

    def look_again() -> None:
        with page.expect_response("**/api/room"):
            page.clock.fast_forward(5000)
        page.wait_for_timeout(200)

    look_again()
    assert page.evaluate(FOCUSED) == "Stop sharing"
    press(page, stop)
    look_again()
    page.mouse.up()
    page.get_by_role("button", name="Share in this room").wait_for()


def test_the_paper_stays_the_one_chosen(desk, page_of, as_heard) -> None:
    """Who prints on Letter still does once the song was corrected."""
    page = sheet_of(desk, page_of)
    page.get_by_text("Hand out: paper").click()
    page.locator("section[aria-label=Paper] select").select_option("letter")
    changed_elsewhere(desk, page, "song", lambda: corrected_elsewhere(desk, {"shift_one_beats": 1}))

    link = page.get_by_role("link", name="for the class", exact=True)
    assert "paper=letter" in link.get_attribute("href")
    assert "revision=0" not in link.get_attribute("href")


def test_trouble_is_read_before_it_goes(desk, page_of) -> None:
    """What comes by itself takes away no message about what was pressed."""
    page, _, gone = list_of_songs(desk, page_of)
    page.route("**/api/songs/forget", lambda route: route.fulfill(
        status=422, json={"error": "the disk is full"}))  # fmt: skip
    page.get_by_role("button", name="Forget ").first.click()
    page.get_by_role("button", name="Forget it").click()
    page.get_by_role("alert").filter(has_text="The disk is full.").wait_for()

    changed_elsewhere(
        desk, page, "songs", lambda: desk.post("/api/songs/forget", {"songs": [gone]})
    )

    assert page.get_by_role("alert").inner_text() == "The disk is full."


def test_a_window_goes_on_with_the_next_desk(new_desk, page_of, tmp_path) -> None:
    """It says what to do while it is a stranger; let in again, it sees what it has missed."""
    desk = new_desk(fill_store(tmp_path, with_sample=False))
    page = page_of(desk, "/evening")
    page.get_by_text("None yet.").wait_for()
    end(desk)
    again = new_desk(desk.folder, "--port", str(desk.port))
    page.get_by_role("button", name="New evening", exact=True).click()
    page.get_by_role("alert").filter(has_text="open it from its icon").wait_for()
    new_evening(again, title="Missed")

    page.context.new_page().goto(again.address)
    page.get_by_role("link", name="Missed", exact=True).wait_for()
    new_evening(again, title="Heard of")
    page.get_by_role("link", name="Heard of", exact=True).wait_for()


def test_a_view_that_does_not_come_is_told_in_plain_words(new_desk, page_of, tmp_path) -> None:
    """Whoever goes to a view after the desk was closed is told so; started again, it comes."""
    desk = new_desk(tmp_path / "data")
    page = page_of(desk, "/songs")
    page.get_by_role("button", name="Choose a folder").wait_for()
    record = page.get_by_role("link", name="Record", exact=True)
    end(desk)

    record.click()
    page.get_by_role("alert").filter(has_text="The desk has been closed").wait_for()

    again = new_desk(desk.folder, "--port", str(desk.port))
    page.context.new_page().goto(again.address)
    record.click()
    page.get_by_role("heading", name="Record").wait_for()


def test_a_window_that_is_only_looked_at_says_that_the_desk_is_closed(
    new_desk, page_of, tmp_path
) -> None:
    """Nobody presses anything; it is said calmly, once, and taken away when the desk is back."""
    desk = new_desk(tmp_path / "data")
    page = page_of(desk, "/record")
    page.get_by_text("Write down by hand").wait_for()
    end(desk)

    page.locator("#away", has_text="The desk is closed").wait_for()
    assert page.locator("#trouble").is_hidden()
    assert "closed" in page.locator("#say").inner_text()
    page.get_by_label("Search").fill("mill")
    page.get_by_role("alert").filter(has_text="The desk has been closed").wait_for()

    again = new_desk(desk.folder, "--port", str(desk.port))
    page.context.new_page().goto(again.address)
    page.locator("#away").wait_for(state="hidden")
    assert page.locator("#trouble").is_hidden()


def test_many_windows_are_open_at_once(desk, page_of) -> None:
    """A browser has six lines to one address: no window keeps one of them to itself."""
    first = page_of(desk, "/routines")
    windows = [first.context.new_page() for _ in range(7)]
    for window in windows:
        window.goto(f"{desk.origin}/record")
        window.get_by_text("Write down by hand").wait_for()

    write_entry(desk, routine="Seen by All")
    for window in windows:
        window.get_by_text("Seen by All").wait_for()
    first.close()  # the one that heard it
    write_entry(desk, routine="Seen Without It")
    for window in windows:
        window.get_by_text("Seen Without It").wait_for()
