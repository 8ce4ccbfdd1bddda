"""The sheet on the desk: corrections one by one, doubts as questions, plans by address."""

from __future__ import annotations

import json
import re
import shutil
import signal
import threading
from pathlib import Path

import pytest

import heard
from in_process import Program
from phrasefit.routine.turns import clock
from phrasefit.store import Store

DUST, BREATH = "half-a-bar-of-dust", "one-bar-for-breath"
NUMBERS = "counts=32&walls=4"


@pytest.fixture(scope="module")
def known(tmp_path_factory) -> Path:
    """Give a data folder that knows two songs; a copy lies beside it."""
    folder = tmp_path_factory.mktemp("sheet") / "data"
    heard.fill(folder, DUST, BREATH)
    shutil.copytree(folder, folder.with_name("copy"))
    return folder


@pytest.fixture(scope="module")
def running(known, desk_on):
    """One desk for all tests that do not end it."""
    return desk_on(known)


@pytest.fixture
def desk(running, known):
    """Give each test the desk with both songs as they were heard."""
    for name in (DUST, BREATH):
        address = f"/api/sheet/{key_of(known, name)}"
        sheet = running.get(address)
        if sheet["corrections"]["words"] != "nothing" or not sheet["questions"]:
            change(running, address, sheet, what="step/as-heard")
    return running


@pytest.fixture
def data(known, tmp_path) -> Path:
    """Give a test that ends its desk a data folder of its own."""
    return Path(shutil.copytree(known.with_name("copy"), tmp_path / "own"))


def key_of(data: Path, name: str) -> str:
    """Find what names a song in addresses."""
    with Store(data / "phrasefit.sqlite3") as store:
        return next(v[2] for path, v in store.files().items() if Path(path).stem == name)


@pytest.fixture
def fit_by_command(known, monkeypatch, capsys):
    """Ask the command line for the plan of a song."""
    monkeypatch.setenv("PHRASEFIT_DATA", str(known))
    program = Program(monkeypatch, capsys)

    def fit(song: Path, *arguments: str) -> dict:
        numbers = ("--counts", "32", "--walls", "4", "--json", "-")
        return json.loads(program("fit", song, *numbers, *arguments).out)

    return fit


def change(desk, address: str, sheet: dict, **value: object) -> dict:
    """Correct what a sheet shows; gives the sheet that follows."""
    seen = {name: sheet["corrections"][name] for name in ("revision", "mark")}
    song, _, query = address.partition("?")
    what = value.pop("what", "correct")
    return desk.post(f"{song}/{what}?{query}", seen | value)


def events_of(sheet: dict) -> list[tuple]:
    """List what a plan does and when, as far as both media tell it."""
    times = sheet["sheet"]["score"]["times"]
    return [
        (e["kind"], round(times[e["at"]], 3), clock(e["facing"]))
        for e in sheet["sheet"]["score"]["events"]
    ]


# ------------------------------------------------------------------------ corrections


@pytest.mark.parametrize(
    ("name", "corrections"),
    [
        (DUST, [{"shift_one_beats": 1}, {"level": 2.0}, {"sections_at_s": [20.0]}]),
        (BREATH, [{"ones_at_s": [9.83]}, {"no_section_at_s": [38.4]}, {"singing_at_s": 8.0}]),
    ],
)
def test_the_command_line_says_what_the_desk_says(desk, known, fit_by_command, name, corrections):
    """Each correction is added to the last, and every command honours their sum."""
    song = key_of(known, name)
    address = f"/api/sheet/{song}?{NUMBERS}"
    sheet = desk.get(address)
    for one in corrections:
        before = sheet
        sheet = change(desk, address, sheet, change=one)
        assert sheet["corrections"]["revision"] == before["corrections"]["revision"] + 1

    told = fit_by_command(known / "music" / f"{name}.ogg")

    assert events_of(sheet) == [
        (e["kind"], round(e["time_s"], 3), e["facing"]) for e in told["events"]
    ]
    with Store(known / "phrasefit.sqlite3") as store:
        assert set(store.get_correction(song)) >= {key for one in corrections for key in one} - {
            "shift_one_beats"  # half or double restates where the ones are
        }


def test_undo_redo_and_as_it_was_heard(new_desk, data):
    """Going back is exact, survives the end of the desk, and can itself be undone."""
    desk, song = new_desk(data), key_of(data, BREATH)
    address = f"/api/sheet/{song}?{NUMBERS}"
    first = desk.get(address)
    second = change(desk, address, first, change={"shift_one_beats": 1})
    third = change(desk, address, second, change={"sections_at_s": [60.0]})
    assert third["sheet"]["score"] != first["sheet"]["score"]

    undone = change(desk, address, third, what="step/undo")
    desk.process.send_signal(signal.SIGKILL)
    desk.process.wait()
    desk = new_desk(data)
    again = desk.get(address)

    assert undone["sheet"] == second["sheet"] == again["sheet"]
    assert again["corrections"]["redo"] == "a section at 1:00.0"
    redone = change(desk, address, again, what="step/redo")
    assert redone["sheet"] == third["sheet"]
    heard_again = change(desk, address, redone, what="step/as-heard")
    assert heard_again["sheet"] == first["sheet"]
    assert heard_again["corrections"]["words"] == "nothing"
    assert change(desk, address, heard_again, what="step/undo")["sheet"] == third["sheet"]


def test_the_later_of_two_windows_is_told(desk, known):
    """Who has not seen the newest state changes nothing and gets it (409)."""
    song = key_of(known, BREATH)
    address = f"/api/sheet/{song}?{NUMBERS}"
    shown = desk.get(address)
    newer = change(desk, address, shown, change={"shift_one_beats": 1})

    seen = {name: shown["corrections"][name] for name in ("revision", "mark")}
    late = desk.ask(
        "POST", f"/api/sheet/{song}/correct?{NUMBERS}", seen | {"change": {"shift_one_beats": 2}}
    )

    assert late.status == 409
    assert "another window" in late.json["error"]
    assert late.json["state"] == newer == desk.get(address)


def test_what_another_program_changes_is_taken_up(desk, known, fit_by_command):
    """A correction of the command line makes a page stale, and can be undone at the desk."""
    song = key_of(known, BREATH)
    address = f"/api/sheet/{song}?{NUMBERS}"
    shown = desk.get(address)
    told = fit_by_command(known / "music" / f"{BREATH}.ogg", "--shift-one", "1")

    seen = {name: shown["corrections"][name] for name in ("revision", "mark")}
    late = desk.ask("POST", f"/api/sheet/{song}/step/undo?{NUMBERS}", seen)

    assert late.status == 409
    now = late.json["state"]
    assert [e[1] for e in events_of(now)] == [round(e["time_s"], 3) for e in told["events"]]
    assert change(desk, address, now, what="step/undo")["sheet"] == shown["sheet"]


def test_nothing_is_lost_when_the_desk_is_killed(new_desk, data):
    """Whatever was answered is there after a kill in the midst of saving."""
    desk, song = new_desk(data), key_of(data, BREATH)
    address = f"/api/sheet/{song}?{NUMBERS}"
    answered = [desk.get(address)]

    def correct_on_and_on() -> None:
        try:
            while True:
                beats = 1 if len(answered) % 2 else -1
                answered.append(
                    change(desk, address, answered[-1], change={"shift_one_beats": beats})
                )
        except (OSError, AssertionError, ValueError):
            return  # the desk is gone

    work = threading.Thread(target=correct_on_and_on)
    work.start()
    while len(answered) < 6:
        work.join(0.01)
    desk.process.send_signal(signal.SIGKILL)
    desk.process.wait()
    work.join()
    sheet = new_desk(data).get(address)

    revision = answered[-1]["corrections"]["revision"]
    assert sheet["corrections"]["revision"] in (revision, revision + 1)
    if sheet["corrections"]["revision"] == revision:
        assert sheet == answered[-1]


def test_nonsense_is_refused_in_words(desk, known):
    """A beat outside the song, an unknown key, no change, no such plan: 422, nothing changed."""
    song = key_of(known, BREATH)
    address = f"/api/sheet/{song}?{NUMBERS}"
    shown = desk.get(address)
    seen = {name: shown["corrections"][name] for name in ("revision", "mark")}
    for wrong in ({"ones_at_s": [9999.0]}, {"volume": 3}, {}, {"level": 7}):
        answer = desk.ask("POST", f"/api/sheet/{song}/correct", seen | {"change": wrong})
        assert answer.status == 422, wrong
        assert answer.json["error"]
    for query in ("tag=0.5", "start=abc", "changes=9", "restart=20&no_restart=20"):
        assert desk.ask("GET", f"{address}&{query}").status == 422, query
    assert desk.ask("GET", f"/api/sheet/{'0' * 64}").status == 404
    assert desk.get(address) == shown


# ------------------------------------------------------------- questions and plans


def test_a_doubt_is_asked_once(desk, known):
    """An answer is a correction, or is remembered; a song without doubts asks nothing."""
    song = key_of(known, DUST)
    address = f"/api/sheet/{song}?{NUMBERS}"
    sheet = desk.get(address)
    (question,) = sheet["questions"]
    as_it_is, other = question["answers"]
    assert len(other["hearing"]["clicks_s"]) == 2 * len(as_it_is["hearing"]["clicks_s"])

    assert as_it_is["change"] is None

    faster = change(desk, address, sheet, change=other["change"])
    assert question["key"] not in {q["key"] for q in faster["questions"]}
    n_before, n_after = (len(s["sheet"]["score"]["rows"]) for s in (sheet, faster))
    assert n_after == pytest.approx(2 * n_before, abs=4)

    back = change(desk, address, faster, what="step/undo")
    settled = change(desk, address, back, what="settle", question=question["key"])
    assert settled["questions"] == []
    assert settled["sheet"] == sheet["sheet"]
    assert change(desk, address, settled, what="step/undo")["questions"] == [question]
    assert desk.get(f"/api/sheet/{key_of(known, BREATH)}?{NUMBERS}")["questions"] == []


def test_plans_are_named_by_the_address(desk, known):
    """Start, number of changes, demanded and forbidden places; the song alone without a routine."""
    song = key_of(known, BREATH)
    address = f"/api/sheet/{song}?{NUMBERS}"
    sheet = desk.get(address)
    tag = next(e for e in sheet["sheet"]["score"]["events"] if e["kind"] == "tag")
    at_s = sheet["sheet"]["score"]["times"][tag["at"]]

    without = desk.get(f"{address}&no_tag={at_s}")
    assert ("tag", tag["at"]) not in {
        (e["kind"], e["at"]) for e in without["sheet"]["score"]["events"]
    }
    plain = desk.get(f"{address}&changes=0")
    assert {e["kind"] for e in plain["sheet"]["score"]["events"]} == {"wall", "end"}
    wall = [e for e in plain["sheet"]["score"]["events"] if e["kind"] == "wall"][2]
    restart_s = sheet["sheet"]["score"]["times"][wall["at"] + 16]
    forced = desk.get(f"{address}&restart={restart_s}")
    assert ("restart", wall["at"] + 16) in {
        (e["kind"], e["at"]) for e in forced["sheet"]["score"]["events"]
    }
    other = sheet["plan"]["starts"][1]
    moved = desk.get(f"{address}&start={other['start_s']}")
    assert moved["sheet"]["start_s"] == pytest.approx(other["start_s"])
    assert len(moved["plan"]["starts"]) == len(sheet["plan"]["starts"])
    alone = desk.get(f"/api/sheet/{song}")
    assert alone["plan"] is None
    assert {row["kind"] for row in alone["sheet"]["score"]["rows"]} == {"counts"}


def test_a_correction_that_leaves_no_plan_is_kept_and_told(desk, known, page_of):
    """Bars of three for a dance in fours: the song is shown alone, with the reason, and undone."""
    song = key_of(known, BREATH)
    address = f"/api/sheet/{song}?{NUMBERS}"
    shown = desk.get(address)

    waltz = change(desk, address, shown, change={"meter": 3})

    assert waltz["plan"] is None
    assert "choose another song" in waltz["trouble"]
    page = page_of(desk, f"/sheet/{song}%3F{NUMBERS.replace('&', '%26')}")
    page.get_by_role("alert").filter(has_text="choose another song").wait_for()
    page.get_by_role("button", name=re.compile("^undo")).click()
    page.locator(".note.tag").wait_for()
    assert desk.get(address)["sheet"] == shown["sheet"]


# -------------------------------------------------------------------- in a browser


@pytest.fixture
def sheet_page(desk, known, page_of):
    """Open the sheet of a song."""

    def open_sheet(name: str, query: str = NUMBERS):
        page = page_of(desk, f"/sheet/{key_of(known, name)}%3F{query.replace('&', '%26')}")
        page.locator(".sheet i").first.wait_for()
        return page

    return open_sheet


def test_a_count_is_tapped_and_becomes_a_one(sheet_page):
    """Tap a count, choose in words; the sheet follows, undo brings it back."""
    page = sheet_page(BREATH)
    box = page.locator(".sheet i[data-at='18']")
    assert "one" not in (box.get_attribute("class") or "").split()

    box.click()
    page.get_by_role("menuitem", name="this is a one", exact=True).click()

    page.locator(".sheet i.one[data-at='18']").wait_for()
    page.locator(".corrected", has_text="Corrected: a one at").wait_for()
    page.get_by_role("button", name=re.compile("^undo")).click()
    page.locator(".sheet i:not(.one)[data-at='18']").wait_for()


def test_what_is_to_be_known_of_the_hearing_stands_below_the_name(sheet_page, desk, known):
    """The remarks that `map` prints are shown here, too."""
    address = f"/api/sheet/{key_of(known, BREATH)}"
    before = desk.get(address)
    assert before["remarks"] == []

    after = change(desk, address, before, change={"no_section_at_s": [30.0]})

    assert after["remarks"] == ["No section begins near 0:30.0, so none was removed there."]
    page = sheet_page(BREATH)
    page.get_by_text(after["remarks"][0], exact=True).wait_for()


def test_a_section_and_count_one_are_dragged(sheet_page):
    """A section's name or the first wall, dragged to another count, begins there."""
    page = sheet_page(BREATH)
    section = page.locator(".section[data-first]:not(:empty)").nth(2)
    first = int(section.get_attribute("data-first"))
    section.drag_to(
        page.locator(f".sheet i[data-at='{first + 12}']"), source_position={"x": 9, "y": 9}
    )
    page.locator(f".section[data-first='{first + 12}']").wait_for()
    page.locator(f".section[data-first='{first}']").wait_for(state="detached")

    page.locator(".piece.wall.begins").first.drag_to(
        page.locator(".sheet i[data-at='32']"), source_position={"x": 9, "y": 9}
    )

    page.locator(".piece.wall[data-first='32']", has_text="WALL 1").wait_for()
    assert "start=" in page.url


def test_taps_move_the_ones(sheet_page):
    """Tapping on every third beat of the bar while the song plays offers to move the ones."""
    page = sheet_page(BREATH)
    times, ones = page.evaluate(
        "async () => { const sheet = await (await fetch(location.href.replace('/sheet/',"
        " '/api/sheet/'))).json(); return [sheet.sheet.map.beats_s, sheet.sheet.map.positions]; }"
    )
    thirds = [t for t, position in zip(times, ones, strict=True) if position == 3][4:10]
    words, change = page.evaluate(
        "async (times) => { const { Taps } = await import('/static/tapping.js'); const taps ="
        " new Taps(); const sheet = await (await fetch(location.href.replace('/sheet/',"
        " '/api/sheet/'))).json(); let told; for (const time of times) told = taps.add(time + 0.03,"
        " sheet.sheet.map, sheet.can); return [told.words, told.change]; }",
        thirds,
    )

    assert words == "a 1 every 4 beats, on beat 3 of the bars"
    assert change == {"shift_one_beats": 2}


def test_the_keyboard_is_enough(sheet_page):
    """Arrow keys walk over counts and through the menu; Escape gives the focus back."""
    page = sheet_page(BREATH)
    page.locator(".sheet i[tabindex='0']").focus()
    for key in ("ArrowRight", "ArrowRight", "ArrowDown", "Enter"):
        page.keyboard.press(key)
    page.get_by_role("menu").wait_for()
    page.keyboard.press("Escape")
    assert page.evaluate("document.activeElement.dataset.at") == "34"

    page.keyboard.press("Enter")
    for _ in range(40):
        if page.evaluate("document.activeElement.textContent") == "twice as fast":
            break
        page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")

    page.locator(".corrected", has_text="twice as many beats counted").wait_for()
    assert page.evaluate("document.activeElement.dataset.at") is not None


def test_a_question_is_heard_and_answered(sheet_page):
    """The card plays both readings; one tap answers, and the next card (none) comes."""
    page = sheet_page(DUST)
    page.get_by_role("button", name="hear A", exact=True).click()
    page.get_by_role("button", name="Pause", exact=True).wait_for()
    page.get_by_role("button", name="Play", exact=True).wait_for()

    page.get_by_role("button", name=re.compile("^B is right")).click()

    page.locator(".question").wait_for(state="detached")
    page.locator(".corrected", has_text="as many beats counted as found").wait_for()


def test_it_plays_and_the_mark_walks(sheet_page):
    """Play, and the mark goes from count to count with the song, slower when slowed."""
    page = sheet_page(BREATH)
    page.locator(".tempo input").fill("50")
    page.get_by_role("button", name="Play", exact=True).click()
    at = "Number(document.querySelector('.sheet i.now')?.dataset.at ?? -1)"
    page.wait_for_function(f"() => {at} >= 1")
    first = page.evaluate(at)
    page.wait_for_function(f"() => {at} >= {first} + 2")
    assert page.evaluate("document.querySelector('.play-bar .count').value") in "12345678"
    page.keyboard.press("Escape")
    page.get_by_role("button", name="Pause", exact=True).click()


def test_another_window_follows(sheet_page):
    """What one window corrects the other one draws, too, without being asked."""
    one, two = sheet_page(BREATH), sheet_page(BREATH)
    one.locator(".sheet i[data-at='18']").click()
    one.get_by_role("menuitem", name="this is a one", exact=True).click()

    two.locator(".sheet i.one[data-at='18']").wait_for()


def test_a_plan_is_chosen_and_back_goes_back(sheet_page):
    """A tap on a plan changes the address; reload keeps it, back leaves it."""
    page = sheet_page(BREATH)
    page.get_by_role("button", name=re.compile("^no change")).click()
    page.locator(".note.tag").wait_for(state="detached")
    assert "changes=0" in page.url
    page.reload()
    page.locator(".rows li.shown", has_text="no change").wait_for()
    page.go_back()
    page.locator(".note.tag").wait_for()


def test_a_correction_is_read_with_one_decimal_as_all_times_are(desk, known) -> None:
    """Who reads it types it nowhere; the command line keeps two."""
    address = f"/api/sheet/{key_of(known, DUST)}"
    sheet = desk.get(address)

    named = {"section_names": [{"at_s": sheet["sheet"]["sections"][1]["start_s"], "name": "verse"}]}
    corrections = change(desk, address, sheet, change=named)["corrections"]

    for words in (corrections["words"], corrections["undo"]):
        assert re.search(r"at \d+:\d\d\.\d called", words), words


def test_the_sheet_of_what_is_gone_leads_on(desk, known, page_of) -> None:
    """A forgotten song's sheet leads to the songs; a removed routine's shows the song alone."""
    page = page_of(desk, "/sheet/0123456789abcdef%3Fcounts=32")
    page.get_by_role("alert").filter(has_text="not among those heard").wait_for()
    page.get_by_role("link", name="all your songs").click()
    page.get_by_role("heading", name="Songs").wait_for()

    page.goto(f"{desk.origin}/sheet/{key_of(known, DUST)}?routine=gone")
    page.get_by_role("alert").filter(has_text="routine").wait_for()
    page.get_by_role("heading", name="Half a Bar of Dust").wait_for()


def test_a_button_that_can_do_no_more_keeps_the_focus(sheet_page) -> None:
    """Who works with the keyboard stays there, and pressing it again does nothing."""
    page = sheet_page(BREATH)
    page.locator(".sheet i[data-at='18']").click()
    page.get_by_role("menuitem", name="this is a one", exact=True).click()
    page.locator(".sheet i.one[data-at='18']").wait_for()
    heard_again = page.get_by_role("button", name="As it was heard")

    heard_again.press("Enter")
    page.locator(".corrected", has_text="Corrected: nothing").wait_for()

    assert page.evaluate("document.activeElement.textContent") == "As it was heard"
    assert heard_again.is_disabled()
    undo = page.get_by_role("button", name=re.compile("^undo")).get_attribute("aria-label")
    page.keyboard.press("Enter")
    page.get_by_role("button", name=undo).wait_for()
    page.wait_for_load_state("networkidle")
    assert page.get_by_role("button", name=re.compile("^undo")).get_attribute("aria-label") == undo


def test_what_is_corrected_in_a_page_is_taken_over(sheet_page, known, tmp_path) -> None:
    """From the desk as a file, opened from disk, corrected there, and back: once, to its song."""
    page = sheet_page(BREATH)
    page.get_by_text("Hand out: paper").click()
    page.get_by_text("For a video, and for other").click()
    with page.expect_download() as handed_out:
        page.get_by_role("link", name="the rehearsal page as a file").click()
    handed_out.value.save_as(tmp_path / "page.html")
    paper = page.context.new_page()
    paper.goto((tmp_path / "page.html").as_uri())
    paper.locator("summary", has_text="Corrections").click()
    paper.get_by_role("button", name="a beat later").click()
    with paper.expect_download() as saved:
        paper.get_by_role("button", name="Save corrections").click()
    file = tmp_path / saved.value.suggested_filename
    saved.value.save_as(file)
    paper.get_by_text("now take One-Bar").wait_for()
    paper.close()

    picked = page.get_by_label("From a page's file")
    picked.set_input_files(file)
    page.locator(".corrected", has_text="Corrected: every one later by 1 beat").wait_for()

    picked.set_input_files(file)
    page.get_by_role("alert").filter(has_text="has been applied to One Bar for Breath").wait_for()
    (tmp_path / "song.json").write_text("[", encoding="utf-8")
    picked.set_input_files(tmp_path / "song.json")
    page.get_by_role("alert").filter(has_text="song.json: is no correction file").wait_for()
    other = sheet_page(DUST)
    other.get_by_label("From a page's file").set_input_files(file)
    other.get_by_role("alert").filter(has_text="was made for 'One Bar for Breath'").wait_for()
