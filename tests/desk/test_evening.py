"""An evening at the desk: filled, locked, swapped, put in order, printed, kept, run."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from desk_evenings import EASY, change, dances, fill_store, new_evening, search, waited

from heard import fill
from in_process import Program
from phrasefit.cli.playlist import FewChanges
from phrasefit.evening.evening import MAX_CHANGES
from phrasefit.store import Store

ROUTINES = Path(__file__).parents[2] / "phrasefit" / "routines"
FILES = {  # of the desk, and how the command line is asked for the same
    "floor.pdf": ("--floor", "e.pdf"),
    "list.xspf?beside=1": ("--xspf", "e.xspf"),
    "list.m3u8?beside=1": ("--m3u8", "e.m3u8"),
    "list.csv": ("--csv", "e.csv"),
}


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory, desk_on):
    """A desk that knows a dozen songs and the routines that come with the program."""
    return desk_on(fill_store(tmp_path_factory.mktemp("evening")))


@pytest.fixture(scope="module")
def filled(desk) -> dict:
    """An evening that the solver has filled."""
    return search(desk, new_evening(desk, title="Mill & Pond", starts_at="19:30"))


@pytest.fixture
def program(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Program:
    """The program in this process."""
    return Program(monkeypatch, capsys)


def test_its_files_are_those_of_the_command_line(
    desk, filled, program: Program, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Floor list, playlists and table are the same bytes; nothing of them is the desk's."""
    monkeypatch.setenv("PHRASEFIT_DATA", str(desk.folder))
    music = desk.folder.parent / "my music"
    wanted = [word for option, name in FILES.values() for word in (option, music / name)]

    program(
        "playlist", "--known", *sorted(ROUTINES.glob("*.toml")), "--minutes", 8,
        "--beginner-every", 0, "--min-length", "1:00", "--title", "Mill & Pond",
        "--starts-at", "19:30", *wanted,
    )  # fmt: skip

    for file, (_, name) in FILES.items():
        answer = desk.ask("GET", f"/api/evenings/{filled['id']}/files/{file}")
        assert answer.status == 200, answer.body
        assert answer.body == (music / name).read_bytes(), file
    assert len(filled["rows"]) >= 3


def test_plans_of_an_evening_have_few_changes() -> None:
    """The command line's option and the desk mean the same."""
    assert FewChanges().max_changes == MAX_CHANGES


def test_a_playlist_to_lie_anywhere_names_songs_in_full(desk, filled) -> None:
    """What a browser puts into any folder must find the songs from there."""
    text = desk.ask("GET", f"/api/evenings/{filled['id']}/files/list.m3u8").body.decode()

    paths = [line for line in text.splitlines() if not line.startswith("#")]
    assert paths
    assert all(Path(path).is_file() for path in paths)


def test_the_folder_of_the_songs_is_named(page_of, new_desk, tmp_path) -> None:
    """Where songs lie in two folders, the playlist has to lie above both: it says where."""
    folder = fill_store(tmp_path / "own", with_sample=False)
    fill(folder, "paper-boat-waltz", music=tmp_path / "own" / "waltzes")
    desk = new_desk(folder)
    rows = {row[1]: row[0] for row in desk.get("/api/songs")["rows"]}
    one = change(desk, new_evening(desk), "add", song=rows["Six"], routine="supplied:first-gate")

    page = page_of(desk, f"/evening/{one['id']}")
    page.get_by_text(f"The folder of the songs is {tmp_path / 'own' / 'my music'}").wait_for()
    waltz = {"song": rows["Paper Boat Waltz"], "routine": "supplied:mill-pond-waltz"}
    two = change(desk, one, "add", **waltz)

    page.get_by_text(f"has to lie above them all, in {tmp_path / 'own'}").wait_for()
    address = f"/api/evenings/{two['id']}/files/list.m3u8?beside=1"
    text = desk.ask("GET", address).body.decode()
    paths = [line for line in text.splitlines() if not line.startswith("#")]
    assert [(tmp_path / "own" / path).is_file() for path in paths] == [True, True]


def test_cards_for_the_dj(desk, filled) -> None:
    """One card a dance, as a PDF under the name of the evening."""
    answer = desk.ask("GET", f"/api/evenings/{filled['id']}/files/cards.pdf?paper=letter")

    assert answer.body.startswith(b"%PDF-")
    assert "Mill%20%26%20Pond%20cards.pdf" in answer.headers["content-disposition"]


def test_rows_tell_what_the_floor_list_tells(filled) -> None:
    """Clock times from the start, facts, changes; the course in words beside the drawing."""
    rows, course = filled["rows"], filled["course"]

    assert rows[0]["when"] == "19:30"
    assert re.fullmatch(r"\d dances, \d:\d\d, from 19:30 to 19:3\d", filled["about"])
    assert all("count 1 at" in row["facts"] for row in rows)
    assert len(course["dances"]) == len(rows)
    assert re.match(r"From \d+ to \d+ counts a minute", course["words"][0])


def test_a_locked_dance_stays(desk, filled) -> None:
    """Another evening is asked for: only the locked place is as before."""
    copy = desk.post("/api/evenings", {"copy_of": filled["id"]})
    locked = change(desk, copy, "lock", place=2, on=True)
    wishes = {"seed": 5, "never": [dances(locked)[0][0]]}

    again = search(desk, change(desk, locked, "settings", wishes=wishes))

    assert dances(again)[1] == dances(filled)[1]
    assert again["rows"][1]["locked"]
    assert "you keep it here" in again["rows"][1]["why"]
    assert dances(again)[0] != dances(filled)[0]
    assert dances(copy) == dances(filled)


def test_swapping_gives_the_next_best_and_then_the_one_after(desk, filled) -> None:
    """The other places stay; the same song does not come back at once; undo brings it back."""
    copy = desk.post("/api/evenings", {"copy_of": filled["id"]})

    once = search(desk, copy, place=1)
    twice = search(desk, once, place=1)

    assert once["trouble"] == twice["trouble"] == ""
    firsts = [dances(state)[0][0] for state in (copy, once, twice)]
    assert len(set(firsts)) == 3
    assert dances(copy)[1:] == dances(once)[1:] == dances(twice)[1:]
    assert dances(change(desk, twice, "undo")) == dances(once)


def test_what_a_search_says_is_not_said_of_what_comes_after_it(desk, filled) -> None:
    """A dance removed by hand: no word of a search that did not make this; undone, it is back."""
    copy = desk.post("/api/evenings", {"copy_of": filled["id"]})
    long = search(desk, change(desk, copy, "settings", wishes=EASY | {"minutes": 200}))
    assert any("200 minutes need" in note for note in long["notes"])

    fewer = change(desk, long, "drop", place=1)

    assert fewer["notes"] == []
    assert change(desk, fewer, "undo")["notes"] == long["notes"]


def test_a_locked_place_is_not_swapped(desk, filled) -> None:
    """It says what to do first."""
    copy = desk.post("/api/evenings", {"copy_of": filled["id"]})
    locked = change(desk, copy, "lock", place=1, on=True)
    sent = {"revision": locked["revision"], "place": 1}

    answer = desk.ask("POST", f"/api/evenings/{copy['id']}/search", sent)

    assert answer.status == 422
    assert "unlock it first" in answer.json["error"]


def test_order_by_hand(desk, filled) -> None:
    """Move, remove, add: the times follow, and every step can be undone."""
    state = desk.post("/api/evenings", {"copy_of": filled["id"]})
    before = dances(state)

    moved = change(desk, state, "move", place=1, to=3)
    assert dances(moved) == [*before[1:3], before[0], *before[3:]]
    assert moved["rows"][0]["when"] == "19:30"

    fewer = change(desk, moved, "drop", place=1)
    assert dances(fewer) == dances(moved)[1:]

    row = state["rows"][1]
    added = change(desk, fewer, "add", song=row["song"], routine=row["routine"])
    assert dances(added)[-1] == before[1]
    undone = added
    for _ in range(3):
        undone = change(desk, undone, "undo")
    assert dances(undone) == before
    assert not undone["can_undo"]


def test_a_lesson_has_its_row_and_its_time(desk, filled) -> None:
    """A routine that is taught has a row before its dance."""
    state = desk.post("/api/evenings", {"copy_of": filled["id"]})
    name = dances(state)[1][1]

    taught = change(desk, state, "settings", wishes={"teach": [name], "teach_minutes": 10})

    lesson = taught["rows"][1]
    assert (lesson["kind"], lesson["names"]) == ("lesson", [f"TEACH {name}, 10 minutes"])
    assert taught["course"]["dances"][1]["lesson_s"] == 600
    begin = [dance["start_s"] for dance in taught["course"]["dances"]]
    assert begin[1] - begin[0] > 600


def test_a_shorter_evening_says_why(desk) -> None:
    """So long with five routines cannot be; the reason names the form, not the command line."""
    state = search(desk, new_evening(desk, wishes=EASY | {"minutes": 22}))

    assert len(state["rows"]) == 5
    assert re.search(r"22 minutes need \d+ dances and there are only 5", state["notes"][0])
    assert '"Times for one routine" at 2' in state["notes"][0]
    assert "--" not in "".join(state["notes"])


def test_wishes_that_cannot_be_met_are_told(desk) -> None:
    """The search ends with a sentence and changes nothing."""
    state = new_evening(desk, wishes=EASY | {"must": ["Nobody at all"]})

    after = search(desk, state)

    assert "in no title, artist or routine" in after["trouble"]
    assert 'lower "Least fit"' in after["trouble"]
    assert after["revision"] == state["revision"]


def test_a_search_can_be_stopped(desk) -> None:
    """Stopped, it leaves the evening as it was, and another may begin."""
    state = new_evening(desk)
    address = f"/api/evenings/{state['id']}"

    begun = desk.post(f"{address}/search", {"revision": state["revision"]})
    second = desk.ask("POST", f"{address}/search", {"revision": state["revision"]})
    desk.post(f"{address}/stop")
    stopped = waited(desk, state)

    assert begun["searching"] is not None
    assert "being filled already" in second.json["error"]
    assert (stopped["rows"], stopped["trouble"]) == ([], "")
    assert search(desk, stopped)["rows"]


def test_two_windows(desk, filled) -> None:
    """The later one gets the newer state and is told; nothing of the first is lost."""
    mine = desk.post("/api/evenings", {"copy_of": filled["id"]})
    theirs = change(desk, mine, "move", place=1, to=2)

    sent = {"do": "drop", "place": 1, "revision": mine["revision"]}
    answer = desk.ask("POST", f"/api/evenings/{mine['id']}", sent)

    assert answer.status == 409
    assert "changed in another window" in answer.json["error"]
    assert dances(answer.json["state"]) == dances(theirs)


@pytest.mark.parametrize(
    ("settings", "message"),
    [
        ({"wishes": {"minutes": 0}}, "Length = 0 must be a number from 1 to 1440"),
        ({"wishes": {"curve": ["fast"]}}, "Tempo over the evening"),
        ({"wishes": {"fixed": ["waltz"]}}, "write the place and a word: 3 = waltz"),
        ({"wishes": {"must": ["x" * 5000]}}, "at most 1000 letters"),
        ({"wishes": []}, "must be a JSON object"),
        ({"starts_at": "half past"}, "no time of day"),
        ({"date": "tomorrow"}, "no date"),
    ],
)
def test_wishes_out_of_bounds(desk, filled, settings: dict, message: str) -> None:
    """Named as in the form, with what to write."""
    sent = {"do": "settings", "revision": filled["revision"], **settings}
    answer = desk.ask("POST", f"/api/evenings/{filled['id']}", sent)

    assert answer.status == 422
    assert message in answer.json["error"]


def test_what_is_gone_is_told(desk) -> None:
    """A removed evening, and places that are not there."""
    state = new_evening(desk)
    address = f"/api/evenings/{state['id']}"
    nothing = {"do": "drop", "place": 1, "revision": state["revision"]}
    assert desk.ask("POST", f"{address}/search", nothing | {"place": 7}).status == 422
    assert "fill it first" in desk.ask("GET", f"{address}/files/floor.pdf").json["error"]
    assert desk.ask("GET", f"{address}/files/x.exe").status == 404

    desk.post(f"{address}/remove", {"revision": state["revision"]})

    assert desk.ask("GET", address).status == 404
    assert state["id"] not in [row["id"] for row in desk.get("/api/evenings")["evenings"]]


def test_a_song_that_is_no_more(desk, filled) -> None:
    """Its place says so; no list is printed with a dance missing; running it goes on."""
    copy = desk.post("/api/evenings", {"copy_of": filled["id"]})
    last = copy["rows"][-1]
    state = change(desk, copy, "add", song=last["song"], routine=last["routine"])
    n = len(state["rows"])

    def forget(kept: dict) -> dict:
        kept["dances"][0]["song"] = "0" * 64
        return kept

    with Store(desk.folder / "phrasefit.sqlite3") as store:
        store.edit_desk_item("evening", state["id"], forget)

    address = f"/api/evenings/{state['id']}"
    now = desk.get(address)
    assert [row["kind"] for row in now["rows"][:2]] == ["fault", "dance"]
    assert dances(now) == dances(state)
    assert len(now["course"]["dances"]) == len(now["rows"]) - 1
    assert [row["again"] for row in now["rows"][-2:]] == [[n], [n - 1]]
    assert f"{last['name']} comes at places {n - 1} and {n}." in now["course"]["words"]
    refused = desk.ask("GET", f"{address}/files/floor.pdf")
    assert (refused.status, "place 1: " in refused.json["error"]) == (422, True)
    assert "fault" in desk.get(f"{address}/run")["dances"][0]
    desk.post(f"{address}/run", {"place": 1})
    gone = change(desk, now, "drop", place=1)
    assert dances(gone) == dances(state)[1:]


def test_it_is_there_after_a_restart(new_desk, tmp_path_factory) -> None:
    """Last week's evening opens as it was left, even if the desk was killed."""
    folder = fill_store(tmp_path_factory.mktemp("again"), with_sample=False)
    first = new_desk(folder)
    state = new_evening(first, title="Last week")
    for row in first.get("/api/songs")["rows"][:2]:
        state = change(first, state, "add", song=row[0], routine="supplied:first-gate")
    state = change(first, state, "lock", place=1, on=True)
    first.process.kill()
    first.process.wait(15)

    second = new_desk(folder)

    (row,) = second.get("/api/evenings")["evenings"]
    assert (row["id"], row["title"]) == (state["id"], "Last week")
    assert second.get(f"/api/evenings/{row['id']}")["rows"] == state["rows"]


def test_running_it_writes_the_record(desk, filled) -> None:
    """Each dance that is reached goes on record once; the place survives a reload."""
    state = desk.post("/api/evenings", {"copy_of": filled["id"]})
    state = change(desk, state, "settings", where="Mill hall", title="Run me")
    run = f"/api/evenings/{state['id']}/run"
    assert desk.get(run)["place"] == 0

    for place in (1, 2, 1, 2):
        desk.post(run, {"place": place})

    shown = desk.get(run)
    assert shown["place"] == 2
    assert [label for label, _, _ in shown["dances"][0]["rows"]][:2] == ["count in", "count 1"]
    assert desk.get(f"/api/evenings/{state['id']}")["revision"] == state["revision"]
    found = desk.get("/api/lessons?search=Run+me")
    assert found["n_found"] == 2
    assert {(row["title"], row["routine"]) for row in found["lessons"]} == set(dances(state)[:2])
    assert {(row["where"], row["how"]) for row in found["lessons"]} == {("Mill hall", "evening")}


def test_an_evening_in_the_browser(desk, page_of) -> None:
    """Made, filled, locked, put in order by keyboard, run with the key; the record shows it."""
    page = page_of(desk, "/evening")
    page.get_by_role("button", name="New evening", exact=True).click()
    for label, value in (("Name", "At the mill"), ("Begins at", "19:30"), ("Length", "8")):
        page.get_by_label(label, exact=False).first.fill(value)
        page.keyboard.press("Tab")
    page.get_by_text("More wishes").click()
    for label, value in (("One for beginners among", "0"), ("Shortest song", "60")):
        page.get_by_label(label).fill(value)
    # Pressed as slowly as by a hand: what was typed last is answered in between.
    page.get_by_role("button", name="Fill the evening").click(delay=500)
    page.locator(".places li").first.wait_for(timeout=90_000)

    names = page.locator(".places li strong")
    before = names.all_inner_texts()
    page.get_by_role("button", name=f"Lock: {before[0]}").click()
    page.locator(".places li.locked").wait_for()
    page.get_by_role("button", name=f"Later: {before[0]}").focus()
    page.keyboard.press("Enter")
    page.get_by_role("button", name=f"Later: {before[0]}, place 2").wait_for()
    assert names.all_inner_texts()[:2] == [before[1], before[0]]
    assert page.evaluate("document.activeElement.dataset.focus") == "later-2"
    assert page.locator(".course svg rect.bar").count() == len(before)

    first = page.locator(".places li").nth(0)
    page.locator(".handle").nth(2).drag_to(first, target_position={"x": 5, "y": 5})
    page.get_by_role("button", name=f"Later: {before[2]}, place 1").wait_for()
    page.get_by_role("button", name="Undo").click()
    page.get_by_role("button", name=f"Later: {before[0]}, place 2").wait_for()

    page.get_by_role("link", name="Run it").click()
    page.get_by_role("button", name="Begin", exact=True).wait_for()
    page.keyboard.press("ArrowRight")
    page.get_by_role("heading", name=before[1]).wait_for()
    page.keyboard.press(" ")
    page.get_by_role("heading", name=before[0]).wait_for()
    page.get_by_text(f"2 of {len(before)}", exact=True).wait_for()
    page.wait_for_load_state("networkidle")
    page.reload()
    page.get_by_role("heading", name=before[0]).wait_for()

    page.get_by_role("button", name="Leave").click()
    page.get_by_role("link", name="Record").click()
    page.get_by_role("heading", name="Record").wait_for()
    page.get_by_label("Search").fill("at the mill")
    page.get_by_text("2 entries").wait_for()
    entry = page.locator(".record-list li").first
    assert entry.locator("strong").inner_text() in before[:2]
    assert "fits=supplied" in entry.get_by_role("link", name="With another song").get_attribute(
        "href"
    )
