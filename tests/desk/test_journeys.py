"""Five journeys of an instructor at the desk: from an empty data folder to what they came for.

Everything goes through the screen, as a person would do it; what the desk answers is only
looked at.  The first step is the same in four of them and takes the longest, so it is taken
once: a song is dropped onto the desk of an empty folder, which hears it.  Each of these goes on
from there with a copy of that folder, in its place; the evening begins with six songs, to which
six more are added.
"""

from __future__ import annotations

import base64
import io
import json
import re
import shutil
from pathlib import Path

import pytest
import soundfile
from pypdf import PdfReader

from browsing import PATIENCE_S, hold_back, wait_until
from desk_server import RunningDesk, end, start_desk
from heard import SAMPLES, fill
from in_process import Program

SONG, TITLE = SAMPLES / "marmalade-polka.ogg", "Marmalade Polka"
HEARD_WITHIN_MS = 300_000  # on a busy computer songs are heard with what is left over
# Songs that routines of ours suit; two of them at the lower end of what is danced.
DANCED = ("glitter-ledger", "one-bar-for-breath", "thirty-two-fence-posts", "tangerine-ferry",
          "marmalade-polka", "paper-boat-waltz")  # fmt: skip
SLOW = ("marmalade-polka", "paper-boat-waltz")
PAPER = """\
Copper Thimble
32 counts, 4 walls, beginner

1-4 Vine right, touch
5-8 Vine left, touch
9-12 Rocking chair right
13-16 Jazz box quarter turn right
17-20 Vine right, touch
21-24 Vine left, touch
25-28 Rocking chair right
29-32 Wiggle about
"""


def drop_song(page) -> None:
    """Drop the song onto the page, as from a folder on the screen, and wait until it is heard."""
    page.get_by_role("button", name="Try it with the sample songs").wait_for()
    page.evaluate(
        """([name, text]) => {
          const bytes = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
          const held = new DataTransfer();
          held.items.add(new File([bytes], name));
          document.querySelector("main").dispatchEvent(
            new DragEvent("drop", { dataTransfer: held, bubbles: true, cancelable: true }));
        }""",
        [SONG.name, base64.b64encode(SONG.read_bytes()).decode()],
    )
    page.get_by_role("link", name=TITLE).wait_for(timeout=HEARD_WITHIN_MS)


def open_song(page) -> None:
    """Open the song from the list."""
    page.get_by_role("link", name=TITLE).click()
    page.locator(".sheet i").first.wait_for()


@pytest.fixture(scope="module")
def heard_once(tmp_path_factory, browser) -> Path:
    """Give a data folder, empty until a song was dropped and heard; a copy lies beside it."""
    folder = tmp_path_factory.mktemp("journeys") / "data"
    desk = start_desk(folder)
    page = browser.new_page()
    page.set_default_timeout(1000 * PATIENCE_S)
    page.goto(desk.address)
    drop_song(page)
    page.close()
    end(desk)
    shutil.copytree(folder, folder.with_name("copy"))
    return folder


@pytest.fixture
def begun(heard_once: Path, new_desk) -> RunningDesk:
    """Start a desk for one journey, where the song was heard and nothing else was done."""
    shutil.rmtree(heard_once)
    shutil.copytree(heard_once.with_name("copy"), heard_once)
    return new_desk(heard_once)


def dance(page, words: str) -> None:
    """Choose on the sheet what is danced, and wait for the verdict."""
    page.get_by_label("Danced:").select_option(label=words)
    page.get_by_role("region", name="How it fits").wait_for()


def saved(page, press) -> str:
    """Save a PDF by pressing something; give its text."""
    with page.expect_download() as waiting:
        press.click()
    content = Path(waiting.value.path()).read_bytes()
    return "\n".join(leaf.extract_text() for leaf in PdfReader(io.BytesIO(content)).pages)


def test_a_song_is_vetted(begun, page_of) -> None:
    """Dropped, heard, opened; a routine, the verdict, the plans; played with the mark walking."""
    page = page_of(begun)
    open_song(page)

    dance(page, "Borrowed Teaspoons")

    verdict = page.get_by_role("region", name="How it fits").locator("> p").all_inner_texts()
    assert re.search(r"\(\d+ of 100\)", verdict[0])
    plans = page.get_by_role("region", name="Plans")
    assert re.search(r"no change\s+\d+ of 100", plans.inner_text())
    page.get_by_role("button", name="Play", exact=True).click()
    at = "Number(document.querySelector('.sheet i.now')?.dataset.at ?? -1)"
    wait_until(page, f"{at} >= 0")
    first = page.evaluate(at)
    wait_until(page, f"{at} >= {first} + 3")


# Somebody who hears the one on 3 and 7, and taps when the large count shows them.
TAP_ON_THIRDS = """() => {
  const count = document.querySelector(".play-bar .count");
  let last = "";
  new MutationObserver(() => {
    if (count.value === last) return;
    last = count.value;
    if (!["3", "7"].includes(last)) return;
    document.dispatchEvent(new KeyboardEvent("keydown", { key: "t" }));
  }).observe(count, { childList: true, characterData: true, subtree: true });
}"""


def test_a_wrong_one_is_mended_by_tapping(
    begun, page_of, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Tapped where it is heard, the one moves; the command line then says what the sheet says."""
    page = page_of(begun)
    open_song(page)
    dance(page, "32 counts, 4 walls")
    ones = page.locator(".sheet i.one")
    before = int(ones.first.get_attribute("data-at"))
    page.evaluate(TAP_ON_THIRDS)

    page.get_by_role("button", name="Play", exact=True).click()
    page.get_by_text("on beat 3 of the bars").wait_for(timeout=60_000)
    page.get_by_role("button", name="Use the taps").click()
    page.locator(".corrected", has_text="one").filter(has_not_text="nothing").wait_for()

    assert int(ones.first.get_attribute("data-at")) % 4 == (before + 2) % 4
    page.get_by_role("button", name="Pause", exact=True).click()
    shown = page.get_by_role("region", name="How it fits").locator("> p").first.inner_text()
    monkeypatch.setenv("PHRASEFIT_DATA", str(begun.folder))
    told = Program(monkeypatch, capsys)("fit", SONG, "--counts", 32, "--walls", 4, "--json", "-")
    plan = json.loads(told.out)
    assert f"({round(plan['score'])} of 100)" in shown
    assert walls_on(begun, page) == [
        round(event["time_s"], 3) for event in plan["events"] if event["kind"] == "wall"
    ]


def walls_on(desk, page) -> list[float]:
    """List when the walls begin that the sheet shows: each is drawn at its count."""
    drawn = page.locator(".sheet .piece.wall.begins")
    firsts = [int(wall.get_attribute("data-first")) for wall in drawn.all()]
    place = page.url.removeprefix(desk.origin)
    times = desk.get(f"/api{place}")["sheet"]["score"]["times"]
    return [round(times[first], 3) for first in firsts]


def test_a_routine_typed_from_paper_is_printed(begun, page_of) -> None:
    """Pasted, mended where it is marked, saved, danced to a song, and its steps printed."""
    page = page_of(begun, "/routines")
    page.get_by_role("link", name="Paste a step sheet").click()
    page.get_by_label("The step sheet").fill(PAPER)
    page.get_by_text("Every line was understood.").first.wait_for()
    page.get_by_role("button", name="Go on in the form").click()
    rows = page.locator(".row.step")
    for row in (3, 7):  # their feet are not on the paper, and are not guessed
        rows.nth(row).locator(".found.error").wait_for()
        rows.nth(row).get_by_label("feet").fill("R L R L")
    page.locator(".found.error").first.wait_for(state="detached")
    page.get_by_role("button", name="Save", exact=True).click()
    page.wait_for_url("**/routines/edit?routine=Copper%20Thimble")

    page.get_by_role("link", name="Songs", exact=True).click()
    open_song(page)
    dance(page, "Copper Thimble")
    page.get_by_text("Hand out: paper").click()
    text = saved(page, page.get_by_role("link", name="the routine's steps"))

    for words in ("Copper Thimble", "Rocking chair right", "Wiggle about"):
        assert words in text


def six_songs_again(folder: Path) -> list[Path]:
    """Make song files of the sample songs danced, a little slower or faster."""
    paths = []
    for name in DANCED:
        samples, rate_hz = soundfile.read(SAMPLES / f"{name}.ogg", dtype="float32")
        speed = 1.04 if name in SLOW else 0.95
        paths.append(folder / f"{name} again.flac")
        soundfile.write(paths[-1], samples.mean(axis=1), round(rate_hz * speed))
    return paths


def test_an_evening_of_ten_dances(new_desk, page_of, tmp_path: Path) -> None:
    """Songs picked and heard; filled, printed, run with the key to its end, and on record."""
    fill(tmp_path / "data", *DANCED)
    desk = new_desk()
    page = page_of(desk, "/songs")
    page.get_by_text(f"{len(DANCED)} songs", exact=True).wait_for()
    page.get_by_label("Add songs").set_input_files(six_songs_again(tmp_path))
    page.get_by_text(f"{2 * len(DANCED)} songs", exact=True).wait_for(timeout=HEARD_WITHIN_MS)
    page.get_by_role("link", name="Evening", exact=True).click()
    page.get_by_role("button", name="New evening", exact=True).click()
    fields = (("Name", "At the mill"), ("Begins at", "19:30"), ("Length", "22"))
    more = (("One for beginners among", "0"), ("Shortest song", "60"), ("Times for one", "3"),
            ("Gap between two of one routine", "2"))  # fmt: skip
    for label, value in fields:
        write(page, label, value)
    page.get_by_text("More wishes").click()
    for label, value in more:
        write(page, label, value)
    page.get_by_role("button", name="Fill the evening").click()
    page.locator(".places li").first.wait_for(timeout=90_000)
    names = page.locator(".places li strong").all_inner_texts()
    assert len(names) == 10

    text = saved(page, page.get_by_role("button", name="Floor list (PDF)"))
    assert "At the mill" in text and "19:30" in text
    assert all(name.split(" – ")[0] in text for name in names)

    page.get_by_role("link", name="Run it").click()
    page.get_by_role("button", name="Begin", exact=True).wait_for()
    for place, name in enumerate(names, 1):
        page.keyboard.press("Space")
        page.get_by_text(f"{place} of 10", exact=True).wait_for()
        page.get_by_role("heading", name=name).wait_for()
    page.keyboard.press("Space")
    page.get_by_role("heading", name="That was the evening").wait_for()
    page.get_by_role("button", name="Leave").click()
    page.get_by_role("link", name="Record").click()
    page.get_by_text("10 entries").wait_for()


def write(page, label: str, value: str) -> None:
    """Write into a field of a form, and leave it."""
    page.get_by_label(label, exact=False).first.fill(value)
    page.keyboard.press("Tab")


def test_a_list_drawn_anew_under_a_finger_loses_no_click(begun, page_of) -> None:
    """What comes in while a song is pressed waits until it is let go."""
    page = page_of(begun)
    link = page.get_by_role("link", name=TITLE)
    link.wait_for()
    let_through = hold_back(page, "**/api/songs/best")
    page.reload()
    link.wait_for()
    page.get_by_label("Search").wait_for()  # the last thing that the view draws
    link.hover()
    page.mouse.down()
    page.evaluate("document.querySelector('[role=row] a').id = 'pressed'")
    let_through()
    page.wait_for_timeout(500)

    assert page.locator("#pressed").count() == 1
    page.mouse.up()
    page.locator(".sheet i").first.wait_for()


def test_no_row_moves_once_it_is_shown(begun, page_of) -> None:
    """However late the parts of the list come: who aims at a song does not hit another."""
    page = page_of(begun)
    link = page.get_by_role("link", name=TITLE)
    link.wait_for()
    page.add_init_script(
        """window.moved = [];
        new PerformanceObserver((seen) => seen.getEntries().forEach((entry) =>
          entry.sources.forEach(({ node }) => moved.push(node?.className)))
        ).observe({ type: "layout-shift", buffered: true });"""
    )
    for late in ("**/api/songs/hearing", "**/api/routines", "**/api/songs"):
        let_through = hold_back(page, late)
        page.reload()
        page.get_by_role("button", name="Choose a folder").wait_for()
        page.wait_for_timeout(300)  # time for everything else
        let_through()
        page.get_by_label("Search").wait_for()
        link.wait_for()
        page.wait_for_timeout(100)
        assert "songtable" not in page.evaluate("moved")


def test_a_tablet_in_the_room(begun, page_of, browser) -> None:
    """Shared, opened by a tablet that knows no secret of the desk; it plays, and follows."""
    page = page_of(begun)
    open_song(page)
    dance(page, "32 counts, 4 walls")
    page.get_by_text("Hand out: paper").click()
    page.get_by_role("button", name="Share in this room").click()
    address = page.locator(".room b").inner_text()
    tablet = browser.new_context(viewport={"width": 1024, "height": 768}).new_page()
    tablet.set_default_timeout(30_000)
    complaints: list[str] = []
    tablet.on("pageerror", lambda error: complaints.append(str(error)))

    tablet.goto(address)
    tablet.get_by_role("button", name="Play", exact=True).click()
    wait_until(tablet, "!song.paused && song.currentTime > 0.2")
    rows = tablet.locator("#rows tr")
    before = rows.count()
    page.locator(".sheet i[data-at='16']").click()
    page.get_by_role("menuitem", name="twice as fast").click()
    page.locator(".corrected", has_text="twice as many beats").wait_for()

    tablet.get_by_text("the plan has changed").wait_for(state="attached")  # nothing jumps in play
    tablet.get_by_role("button", name="Pause", exact=True).click()
    rows.nth(before).wait_for(state="attached")  # twice the counts: more walls
    assert tablet.context.cookies() == [] and complaints == []
    tablet.context.close()
