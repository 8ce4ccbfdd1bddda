"""The view "Routines": the list, the form, pasted sheets."""

from __future__ import annotations

import pytest

from phrasefit.desk import routines
from phrasefit.desk.endpoints import NotThere
from phrasefit.errors import RoutineError
from phrasefit.routine.check import check_routine
from phrasefit.store import Store
from phrasefit.store.database import FILE_NAME

OWN = 'name = "Pewter Ladle"\ncounts = 32\nwalls = 2\n'
BENT = "counts = 32\nwalls = 9\n"


def test_a_key_leads_to_its_routine() -> None:
    """Own and supplied routines are found by key; those with mistakes are not offered."""
    with Store() as store:
        store.put_routine("Pewter Ladle", OWN)
        store.put_routine("Bent Nail", BENT)

        keys = routines.routine_keys(store)

        assert keys[0] == "Pewter Ladle" and "Bent Nail" not in keys
        assert "supplied:borrowed-teaspoons" in keys
        assert routines.routine_called(store, "Pewter Ladle").walls == 2
        assert routines.routine_called(store, "supplied:mill-pond-waltz").meter == 3
        with pytest.raises(RoutineError, match="walls"):
            routines.routine_called(store, "Bent Nail")
        for gone in ("No Such Dance", "supplied:../first-gate", "supplied:nothing"):
            with pytest.raises(NotThere):
                routines.routine_called(store, gone)


def test_the_list_says_what_people_choose_by(desk) -> None:
    """Name, size, tempo and level, and how many mistakes are left."""
    with Store(desk.folder / FILE_NAME) as store:
        store.put_routine("Bent Nail", BENT)

    rows = {row["key"]: row for row in desk.get("/api/routines")["routines"]}

    assert rows["Bent Nail"]["errors"] == 1 and not rows["Bent Nail"]["supplied"]
    waltz = rows["supplied:mill-pond-waltz"]
    assert (waltz["name"], waltz["size"]) == ("Mill Pond Waltz", "48 counts, 4 walls")
    assert (waltz["tempo_bpm"], waltz["level"]) == ([84, 108], "beginner")


TEMPLATE = 'name = "Tin Whistle"\ncounts = 8\nwalls = 1\nsteps = """\n1-8 | hold\n"""\n'


def test_saving_keeps_the_text_and_asks_for_the_revision_seen(desk) -> None:
    """A new routine gets a key from its name; the later of two windows is told."""
    first = desk.post("/api/routines/save", {"key": "", "revision": 0, "text": TEMPLATE})
    second = desk.post("/api/routines/save", {"key": "", "revision": 0, "text": TEMPLATE})
    assert (first["key"], second["key"]) == ("Tin Whistle", "Tin Whistle 2")

    opened = desk.get("/api/routines/open?routine=Tin%20Whistle")
    form = opened["form"]
    form[0]["lines"][0]["cells"][1] = "hold still"
    sent = {"key": "Tin Whistle", "revision": opened["revision"], "text": opened["text"]}
    saved = desk.post("/api/routines/save", sent | {"form": form})
    assert saved["revision"] != opened["revision"]
    file = desk.ask("GET", "/api/routines/file?routine=Tin%20Whistle")
    assert file.body.decode() == TEMPLATE.replace("hold", "hold still")
    assert "Tin%20Whistle.toml" in file.headers["content-disposition"]
    typed = desk.ask("GET", "/api/routines/file?routine=Tin%20Whistle&as=sheet").body.decode()
    assert "Title: Tin Whistle\n" in typed and "1-8 | hold still" in typed

    late = desk.ask("POST", "/api/routines/save", sent | {"text": "counts = 16\nwalls = 1\n"})
    assert late.status == 409
    assert "hold still" in late.json["state"]["text"]
    assert late.json["state"]["revision"] == saved["revision"]
    # The same content twice is no quarrel.
    assert desk.post("/api/routines/save", sent | {"form": form})["revision"] == saved["revision"]


def test_a_supplied_routine_is_not_changed(desk) -> None:
    """It can be opened and copied, not saved over or removed."""
    key = "supplied:first-gate"
    opened = desk.get(f"/api/routines/open?routine={key}")
    sent = {"key": key, "revision": opened["revision"], "text": opened["text"] + "# mine\n"}

    refused = desk.ask("POST", "/api/routines/save", sent)

    assert refused.status == 422 and "copy it" in refused.json["error"]
    assert desk.ask("POST", "/api/routines/remove", sent).status == 404
    assert desk.get(f"/api/routines/open?routine={key}")["text"] == opened["text"]


def test_a_removed_routine_can_be_taken_back(desk) -> None:
    """Removing needs the revision seen and gives the text back."""
    kept = desk.post("/api/routines/save", {"revision": 0, "text": 'name = "Ash Can"\n' + OWN[20:]})
    stale = desk.ask("POST", "/api/routines/remove", {"key": kept["key"], "revision": 1})
    assert stale.status == 409

    removed = desk.post("/api/routines/remove", kept)

    assert 'name = "Ash Can"' in removed["text"]
    assert desk.ask("GET", "/api/routines/open?routine=Ash%20Can").status == 404
    back = {"key": "Ash Can", "revision": 0, "text": removed["text"]}
    assert desk.post("/api/routines/save", back)["revision"] == kept["revision"]


def test_findings_stand_beside_their_field_and_row(desk) -> None:
    """The same sentences as `phrasefit check`, each with its block and row or field."""
    text = (
        'counts = 8\nwalls = 4\nsteps = """\n-- one\n1-4 | walk | R L L R |\n5-8 | hold\n"""\n'
        '[[tags]]\nname = "look"\ncounts = 4\nsteps = """\n1-4 | sway | R L R R |\n"""\n'
    )
    state = desk.post("/api/routines/new", {"text": text})
    places = [
        (f["severity"], f.get("block"), f.get("row"), f.get("field")) for f in state["findings"]
    ]

    assert ("error", 0, None, "walls") in places
    assert ("error", 0, 1, None) in places
    assert ("error", 1, 0, None) in places
    _, findings = check_routine(text)
    assert [f["message"] for f in state["findings"]] == [f.message for f in findings]
    rows = {(row["block"], row["row"]): row for row in state["rows"]}
    assert rows[0, 1]["feet"] == list("RLLR") and rows[0, 1]["clock"] == "12:00"
    broken = desk.post("/api/routines/new", {"text": 'name = "open'})
    assert broken["form"] is None and broken["findings"][0]["line"] == 1


def test_what_the_page_must_not_send(desk) -> None:
    """Wrong shapes end in a sentence, nothing is kept."""
    for sent in (
        {},
        {"text": 5},
        {"text": "x" * 1_500_000},
        {"text": TEMPLATE, "form": [{"kind": "nonsense"}]},
        {"text": TEMPLATE, "form": [{"kind": "routine", "lines": [{"kind": "bad"}]}]},
        {"text": TEMPLATE, "form": [{"kind": "tag", "place": ["tags", 7], "fields": {}}] * 500},
    ):
        answer = desk.ask("POST", "/api/routines/save", {"revision": 0} | sent)
        assert answer.status == 422, sent
        assert "Traceback" not in answer.json["error"]
    strange = {"kind": "tag", "place": ["tags", 7], "fields": {"counts": "4"}, "lines": []}
    answer = desk.ask("POST", "/api/routines/check", {"text": TEMPLATE, "form": [strange]})
    assert answer.status in (200, 422)


# ------------------------------------------------------------------------- in the browser

SHEET = """\
Brass Button
16 counts, 1 wall
1-4 Vine right, touch
5-8 Vine left, touch
9-12 Rocking chair right
Wiggle about
"""


def kept(desk, name: str) -> dict:
    """Find a routine in the list."""
    rows = desk.get("/api/routines")["routines"]
    return next(row for row in rows if row["name"] == name)


def test_new_from_a_template_typed_mended_and_found(desk, page_of) -> None:
    """The journey of a new routine: a mistake shows beside its line, and is mended there."""
    page = page_of(desk, "/routines")
    page.get_by_role("link", name="New routine").click()
    page.get_by_label("Name", exact=True).fill("Paper Ladders")
    page.get_by_role("button", name="32 counts, 4 walls").click()
    rows = page.locator(".row.step")
    rows.first.locator("svg.feet").wait_for()

    rows.nth(0).get_by_label("step", exact=True).fill("weave right")
    rows.nth(0).get_by_label("feet").fill("R L R L")
    rows.nth(1).get_by_label("step", exact=True).fill("heel switch, heel switch")
    found = rows.nth(1).locator(".found.error")
    found.wait_for()
    # The vine after it begins with the foot that now has the weight, and says so itself.
    assert "left foot, which has the weight already" in found.inner_text()
    assert rows.nth(1).get_by_label("feet").get_attribute("aria-invalid") == "true"
    rows.nth(1).get_by_label("feet").fill("R L R L")
    page.get_by_text("To mend:").first.wait_for(state="detached")
    assert rows.nth(1).get_by_role("img").get_attribute("aria-label").startswith("right foot, left")

    page.get_by_role("button", name="Save", exact=True).click()
    page.wait_for_url("**/routines/edit?routine=Paper%20Ladders")
    page.get_by_role("link", name="Routines", exact=True).click()
    page.get_by_role("link", name="Paper Ladders", exact=True).wait_for()
    assert kept(desk, "Paper Ladders")["errors"] == 0


def test_a_pasted_sheet_is_mended_where_it_is_marked(desk, page_of) -> None:
    """The marked line is mended in place, the rest is taken over; kept, and on the list."""
    page = page_of(desk, "/routines/paste")
    page.get_by_label("The step sheet").fill(SHEET)
    marked = page.get_by_label("Line 6, not understood")
    marked.wait_for()
    assert "no counts" in page.locator(".marked .found").inner_text()

    marked.fill("13-16 Step touch right, step touch left")
    page.get_by_text("Every line was understood.").first.wait_for()
    page.get_by_role("button", name="Go on in the form").click()
    last = page.locator(".row.step").nth(3)
    last.locator(".found.error").wait_for()  # its feet were not told, and are not guessed
    last.get_by_label("feet").fill("R . L .")
    page.locator(".found.error").first.wait_for(state="detached")
    page.get_by_role("button", name="Save", exact=True).click()
    page.wait_for_url("**/routines/edit?routine=Brass%20Button")

    assert (kept(desk, "Brass Button")["errors"], kept(desk, "Brass Button")["counts"]) == (0, 16)


def test_undo_reload_and_a_second_window(desk, page_of) -> None:
    """Undo goes back field by field, a reload loses nothing, the later window is asked."""
    desk.post("/api/routines/save", {"revision": 0, "text": TEMPLATE.replace("Tin W", "Thin W")})
    page = page_of(desk, "/routines/edit?routine=Thin%20Whistle")
    name, walls = page.get_by_label("Name", exact=True), page.get_by_label("Walls")
    name.fill("Thick Whistle")
    walls.fill("2")
    page.get_by_role("button", name="Undo").click()
    assert (name.input_value(), walls.input_value()) == ("Thick Whistle", "1")

    page.reload()
    page.get_by_text("not saved yet is here again").wait_for()
    assert name.input_value() == "Thick Whistle"

    opened = desk.get("/api/routines/open?routine=Thin%20Whistle")
    other = {"key": "Thin Whistle", "revision": opened["revision"]}
    desk.post("/api/routines/save", other | {"text": opened["text"] + "# from elsewhere\n"})
    page.get_by_text("changed in another window").wait_for()
    page.get_by_role("button", name="Take the newer one").click()
    page.wait_for_function("document.querySelector('#as-text').value.includes('elsewhere')")
    assert name.input_value() == "Thin Whistle"


def test_a_copy_is_changed_and_outlives_a_reload(desk, page_of) -> None:
    """A supplied routine is copied; what was typed into the copy is there after a reload."""
    page = page_of(desk, "/routines")
    page.get_by_role("link", name="Copy and change First Gate").click()
    page.get_by_label("Level").fill("beginner")
    page.reload()
    page.get_by_text("not saved yet is here again").wait_for()
    assert page.get_by_label("Level").input_value() == "beginner"
    page.get_by_role("button", name="Save", exact=True).click()
    page.wait_for_url("**/routines/edit?routine=First%20Gate%20(mine)")

    text = desk.get("/api/routines/open?routine=First%20Gate%20(mine)")["text"]
    supplied = desk.get("/api/routines/open?routine=supplied:first-gate")["text"]
    changed = set(text.splitlines()) ^ set(supplied.splitlines())
    assert changed == {
        'name = "First Gate"', 'name = "First Gate (mine)"',
        'level = "absolute beginner"', 'level = "beginner"',
    }  # fmt: skip


def test_restarts_and_tags_by_tapping_a_count(desk, page_of) -> None:
    """A tapped count goes into the file, as `phrasefit check` reads it; keys work too."""
    long = TEMPLATE.replace("Tin Whistle", "Tap Root").replace("8", "16")
    desk.post("/api/routines/save", {"revision": 0, "text": long})
    page = page_of(desk, "/routines/edit?routine=Tap%20Root", width=390, height=844)

    page.get_by_role("button", name="Restart after count 8").click()
    page.get_by_role("button", name="Restart after count 4").press("Enter")
    page.get_by_role("button", name="A tag of 4 counts").click()
    assert page.evaluate("document.activeElement.getAttribute('aria-label')") == "A tag of 4 counts"
    page.get_by_role("button", name="Save", exact=True).click()
    page.get_by_role("link", name="Which songs fit?").wait_for()

    text = desk.get("/api/routines/open?routine=Tap%20Root")["text"]
    assert "restarts = [4, 8]" in text and "tags = [4]" in text
    assert page.evaluate("document.documentElement.scrollWidth") == 390


def test_a_part_is_renamed_and_the_order_follows(desk, page_of) -> None:
    """Comments stay in the file; a name that is taken is refused, and undo brings the old one."""
    page = page_of(desk, "/routines/edit%3Fcopy=supplied:two-lanterns")
    name = page.get_by_label("Name of the part").first
    order = page.get_by_label("Order of the parts")
    before = order.input_value()

    name.fill("B")
    name.press("Tab")
    page.get_by_role("alert").filter(has_text="There is a part B already").wait_for()
    assert name.input_value() == "A"
    name.fill("Verse")
    name.press("Tab")
    page.get_by_role("heading", name="Part Verse").wait_for()
    assert order.input_value() == before.replace("A", "Verse")
    page.get_by_role("button", name="Undo").click()
    assert (name.input_value(), order.input_value()) == ("A", before)
    page.get_by_role("button", name="Redo").click()
    page.get_by_role("button", name="Save", exact=True).click()
    page.wait_for_url("**/routines/edit?routine=*")

    kept = desk.ask("GET", "/api/routines/file?routine=Two%20Lanterns%20(mine)").body.decode()
    assert "[parts.Verse]" in kept
    was = desk.get("/api/routines/open?routine=supplied:two-lanterns")["text"]
    comments = [line for line in was.splitlines() if line.startswith("#")]
    assert comments and all(line in kept for line in comments)


def test_a_broken_file_is_opened_and_mended_as_text(desk, page_of, tmp_path) -> None:
    """Files are picked; what is no routine is told, what is broken is mended as text."""
    good, bad = tmp_path / "good.toml", tmp_path / "bad.toml"
    good.write_text(TEMPLATE.replace("Tin Whistle", "Good Spoon"), encoding="utf-8")
    bad.write_text('name = "Bad Spoon\ncounts = 16\nwalls = 1\n', encoding="utf-8")
    song = tmp_path / "song.mp3"
    song.write_bytes(b"no song")
    page = page_of(desk, "/routines")

    page.get_by_label("Open a routine file").set_input_files([good, song, bad])
    page.locator("#trouble", has_text="song.mp3 is no routine file").wait_for()
    page.locator("#f-general .found.error").wait_for()
    text = page.get_by_label("The file as text")
    text.fill(text.input_value().replace("Spoon", 'Spoon"'))
    text.blur()
    page.get_by_label("Walls").wait_for()
    page.get_by_role("button", name="Save", exact=True).click()
    page.get_by_role("link", name="Which songs fit?").wait_for()

    assert kept(desk, "Bad Spoon")["errors"] == kept(desk, "Good Spoon")["errors"] == 0
