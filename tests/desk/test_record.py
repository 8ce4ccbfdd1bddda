"""The record: written down, found again, corrected, removed, exported."""

from __future__ import annotations

import csv
import io

import pytest

from fit_songs import make_part
from kept_songs import square_song
from phrasefit.desk.record import write_lesson
from phrasefit.fit import fit_routine
from phrasefit.model import Routine
from phrasefit.store import Store

LESSON = {
    "date": "2026-09-30", "routine": "First Gate", "title": "Paper Boat", "artist": "Odile",
    "tempo": 104.5, "where": "Mill hall", "note": "new people",
}  # fmt: skip


def written(desk, **fields) -> dict:
    """Write an entry by hand."""
    return desk.post("/api/lessons", LESSON | fields)


def found(desk, search: str) -> list[dict]:
    """Search the record."""
    return desk.get(f"/api/lessons?search={search}")["lessons"]


def test_written_by_hand_and_found(desk) -> None:
    """All words must be in one of the texts, in any case."""
    entry = written(desk, title="Gruen Boat", note="find me")

    assert [row["id"] for row in found(desk, "GRUEN+find")] == [entry["id"]]
    assert found(desk, "gruen+nowhere") == []
    assert entry["how_words"] == "by hand"


def test_the_newest_comes_first(desk) -> None:
    """By date, whenever it was written."""
    for date in ("2026-01-02", "2026-03-04", "2026-02-03"):
        written(desk, date=date, where="sorted hall")

    dates = [row["date"] for row in found(desk, "sorted+hall")]
    assert dates == ["2026-03-04", "2026-02-03", "2026-01-02"]


def test_corrected_and_removed(desk) -> None:
    """A window that has not seen the newest state is told."""
    entry = written(desk, note="first")
    address = f"/api/lessons/{entry['id']}"
    corrected = desk.post(address, LESSON | {"note": "second", "revision": entry["revision"]})
    stale = desk.ask("POST", address, LESSON | {"note": "third", "revision": entry["revision"]})

    assert stale.status == 409
    assert stale.json["state"]["note"] == corrected["note"] == "second"

    desk.post(f"{address}/remove", {"revision": corrected["revision"]})
    assert desk.ask("POST", address, LESSON | {"revision": 3}).status == 404
    assert entry["id"] not in [row["id"] for row in found(desk, "second")]


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"date": "yesterday"}, "no date"),
        ({"tempo": 9000}, "tempo = 9000 must be a number from 20 to 400"),
        ({"note": "x" * 2000}, "at most 1000 letters"),
        ({"routine": "", "title": " "}, "needs a routine or a song"),
    ],
)
def test_slips_are_explained(desk, fields: dict, message: str) -> None:
    """Nothing of it is kept."""
    answer = desk.ask("POST", "/api/lessons", LESSON | fields)

    assert answer.status == 422
    assert message in answer.json["error"]


def test_the_table_calculates_nothing(desk) -> None:
    """A title that looks like a formula is text in a spreadsheet (OWASP, CSV injection)."""
    written(desk, title="=HYPERLINK(1)", note='csv, "here"', where="table hall")

    answer = desk.ask("GET", "/api/lessons.csv?search=table+hall")

    text = answer.body.decode()
    (row,) = csv.DictReader(io.StringIO(text.removeprefix("\ufeff")))
    assert row["title"] == "'=HYPERLINK(1)"
    assert (row["date"], row["counts a minute"]) == ("2026-09-30", "104.5")
    assert row["note"] == 'csv, "here"'
    assert "attachment" in answer.headers["content-disposition"]


def test_written_when_a_pack_is_made(private_cache) -> None:
    """One entry for one name: the same dance is not written down twice."""
    routine = Routine(name="Try", walls=4, parts=(make_part(),))
    fit = fit_routine(square_song("Six", 8, 8, 8, 8, artist="Band"), routine)
    with Store() as store:
        about = {"fit": fit, "song": "ab", "routine_key": "try", "how": "pack"}
        name = write_lesson(store, **about, where="Hall")
        again = write_lesson(store, **about, where="elsewhere", name=name)
        other = write_lesson(store, **about)
        kept = store.desk_items("lesson")

    assert again == name != other
    assert len(kept) == 2
    lesson = kept[name]
    assert (lesson["routine"], lesson["title"], lesson["where"]) == ("Try", "Six", "Hall")
    assert lesson["tempo"] == pytest.approx(112, abs=0.1)


def test_the_record_in_the_browser(desk, page_of) -> None:
    """Written, corrected, removed and put back; names are shown as they are."""
    page = page_of(desk, "/record")
    page.get_by_text("Write down by hand").click()
    page.get_by_label("Routine").fill("<b>Gate</b>")
    page.get_by_label("Song").fill("Boat & Co")
    page.get_by_role("button", name="Write it down").click()
    page.get_by_role("button", name="Correct <b>Gate</b>").click()
    entry = page.locator(".record-list li").filter(has=page.get_by_label("Note"))
    entry.get_by_label("Note").fill("with hats")
    entry.get_by_role("button", name="Keep").click()
    page.get_by_text("with hats").wait_for()

    page.get_by_role("button", name="Remove <b>Gate</b>").click()
    page.get_by_text("with hats").wait_for(state="detached")
    page.get_by_role("button", name="Put it back").click()
    page.locator(".record-list strong").filter(has_text="<b>Gate</b>").wait_for()
    page.get_by_text("with hats").wait_for()
