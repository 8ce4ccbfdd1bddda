"""What the desk hands out is what the command line writes, byte for byte."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path
from urllib.parse import unquote

import pytest

import phrasefit
from desk_server import end, start_desk
from heard import fill
from in_process import Program
from phrasefit.hand_out import origin_of, planned
from phrasefit.reports.pack import items
from phrasefit.routine.spec import load_routine
from phrasefit.store import Store
from phrasefit.store.database import FILE_NAME

ROUTINE = "borrowed-teaspoons"
SONG = "glitter-ledger"
FILE = Path(phrasefit.__file__).parent / "routines" / f"{ROUTINE}.toml"
QUERY = f"routine=supplied:{ROUTINE}"


@pytest.fixture(scope="module")
def known(tmp_path_factory) -> tuple[Path, str]:
    """Give a data folder that knows a song, and the song's hash."""
    folder = tmp_path_factory.mktemp("data")
    return folder, fill(folder, SONG)[0]


@pytest.fixture(scope="module")
def desk(known):
    """One desk on that folder."""
    running = start_desk(known[0])
    yield running
    end(running)


@pytest.fixture
def program(monkeypatch, capsys, known, tmp_path) -> Program:
    """The command line on the same folder; it writes into one of its own."""
    monkeypatch.setenv("PHRASEFIT_DATA", str(known[0]))
    monkeypatch.chdir(tmp_path)
    return Program(monkeypatch, capsys)


CASES = [
    ("sheet.pdf?kind=stand", ("sheet", "--kind", "stand")),
    ("sheet.pdf?kind=dj&paper=letter&per=2",
     ("sheet", "--kind", "dj", "--paper", "letter", "--per-page", "2")),
    ("captions.srt?offset=2.5", ("captions", "--offset", "2.5", "--out", "x.srt")),
    ("export.mid", ("export", "--to", "midi")),
    ("rehearsal.html", ("page",)),
    ("practice.wav?percent=110", ("practice", "--percent", "110")),
    ("export.csv?changes=0", ("export", "--to", "csv", "--changes", "0")),
]  # fmt: skip


@pytest.mark.parametrize(("wanted", "words"), CASES, ids=[case[0] for case in CASES])
def test_files_are_those_of_the_command_line(
    desk, known, program, tmp_path, wanted: str, words: tuple[str, ...]
) -> None:
    """The same bytes; the same name too, where the command chooses it."""
    command, *options = words
    path, _, more = wanted.partition("?")

    answer = desk.ask("GET", f"/hand-out/{known[1]}/{path}?{QUERY}&{more}")
    program(command, known[0] / "music" / f"{SONG}.ogg", FILE, *options)

    assert answer.status == 200, answer.body
    (written,) = tmp_path.iterdir()
    assert answer.body == written.read_bytes()
    if "--out" not in options and "--percent" not in options:
        assert unquote(answer.headers["content-disposition"]).endswith(f"''{written.name}")


def test_the_pack_is_that_of_the_command_line(desk, known) -> None:
    """The ZIP holds one folder, with the files that `phrasefit pack` writes."""
    with Store(known[0] / FILE_NAME) as store:
        analysis = phrasefit.analyse(known[0] / "music" / f"{SONG}.ogg", store=store)
    made = planned(analysis.bar_map, phrasefit.PlanRequest(routine=load_routine(FILE)), analysis)
    wanted = {item.name: item for item in items(made.fit, made.plan, origin=origin_of(made))}

    answer = desk.post(f"/hand-out/{known[1]}/pack?{QUERY}")
    archive = zipfile.ZipFile(io.BytesIO(desk.ask("GET", answer["address"]).body))

    folder = f"{SONG}-{ROUTINE}-pack"
    assert answer["name"] == f"{folder}.zip"
    assert set(archive.namelist()) == {f"{folder}/{name}" for name in [*wanted, "index.html"]}
    for name in ("rehearsal.html", "sheet.pdf", "captions.vtt", "walls.csv", "song.mid"):
        content = wanted[name].content()
        content = content.pdf() if name == "sheet.pdf" else content
        content = content.encode() if isinstance(content, str) else content
        assert archive.read(f"{folder}/{name}") == content, name


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("{}/nothing.exe?" + QUERY, 404),
        ("0000/sheet.pdf?" + QUERY, 404),
        ("{}/sheet.pdf?routine=gone", 404),
        ("{}/sheet.pdf?kind=poster&" + QUERY, 422),
        ("{}/sheet.pdf", 422),
        ("{}/sheet.pdf?counts=1e99", 422),
        ("{}/sheet.pdf?start=nan&" + QUERY, 422),
        ("{}/practice.mp3?percent=1e9&" + QUERY, 422),
        ("{}/captions.vtt?offset=inf&" + QUERY, 422),
        ("packs/..%2f..%2fetc%2fpasswd", 404),
    ],
)
def test_nonsense_is_answered_in_a_sentence(desk, known, path: str, status: int) -> None:
    """What cannot be made is told, and nothing else happens."""
    answer = desk.ask("GET", "/hand-out/" + path.format(known[1]))

    assert answer.status == status
    assert status == 404 or ";" in answer.json["error"] or "must" in answer.json["error"]


# ------------------------------------------------------------------------- in the browser


def test_a_file_that_cannot_be_made_says_why_where_one_looks(new_desk, page_of, tmp_path) -> None:
    """The routine is gone, then the desk is closed: the page says so, wherever it stands."""
    song = fill(tmp_path / "data", SONG)[0]
    desk = new_desk()
    text = FILE.read_text(encoding="utf-8")
    kept = desk.post("/api/routines/save", {"key": "", "revision": 0, "text": text})
    page = page_of(desk, f"/sheet/{song}?routine={kept['key']}", height=500)
    page.get_by_text("Hand out: paper").click()
    trouble = page.get_by_role("alert")

    with page.expect_download() as waiting:
        page.get_by_role("link", name="for the class").click()
    assert waiting.value.suggested_filename == f"{SONG}-{kept['key']}-page.pdf"

    desk.post("/api/routines/remove", kept)
    sound = page.get_by_role("link", name="at 90 %")
    sound.click()
    trouble.filter(has_text="routine").wait_for()
    assert 0 <= trouble.bounding_box()["y"] < 500
    assert 0 <= sound.bounding_box()["y"] < 500

    end(desk)
    sound.click()
    trouble.filter(has_text="The desk has been closed").wait_for()
    page.wait_for_timeout(100)
    assert page.url.startswith(desk.origin)


def test_the_pack_made_with_the_keyboard_keeps_the_focus(desk, known, page_of) -> None:
    """The button is where the next press goes; one pack is made of two presses."""
    page = page_of(desk, f"/sheet/{known[1]}?{QUERY}")
    page.get_by_text("Hand out: paper").press("Enter")
    before = len(desk.get("/api/lessons")["lessons"])

    with page.expect_download() as waiting:
        page.get_by_role("button", name="Make the pack").press("Enter")
        page.keyboard.press("Enter")

    assert waiting.value.suggested_filename.endswith("-pack.zip")
    assert page.evaluate("document.activeElement.textContent") == "Make the pack"
    assert len(desk.get("/api/lessons")["lessons"]) == before + 1
