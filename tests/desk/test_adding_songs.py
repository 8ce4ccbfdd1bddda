"""Songs come in, are heard, and nothing of a stranger's tricks stays."""

from __future__ import annotations

import asyncio
import itertools
import os
import re
import signal
import socket
import subprocess
import time
from pathlib import Path
from types import SimpleNamespace
from urllib.parse import quote, unquote

import numpy as np
import pytest
import soundfile
from starlette.requests import Request

from browsing import hold_back, wait_until
from desk_server import RunningDesk
from heard import fill
from phrasefit.desk import dropped, endpoints
from phrasefit.desk.dropped import copy_name
from phrasefit.desk.folder_choice import typed_folder
from phrasefit.desk.places import copies_folder
from phrasefit.errors import ParameterError
from phrasefit.store.database import FILE_NAME

SAMPLES = Path(__file__).parents[2] / "sample_audio"
SONG = SAMPLES / "tangerine-ferry.ogg"


def drop(desk: RunningDesk, name: str, content: bytes = b"no sound", **more):
    """Drop a file onto the desk, as its page does."""
    return desk.ask("POST", f"/api/songs/drop?name={quote(name)}", body=content, **more)


def wait_for(desk: RunningDesk, what, seconds: float = 120.0):
    """Wait until the state of the queue is as `what` wants it; give it."""
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        state = desk.get("/api/songs/hearing")
        if what(state):
            return state
        time.sleep(0.1)
    raise AssertionError(state)


def is_done(state) -> bool:
    """Tell whether nothing is being heard."""
    return not state["working"]


def left_in(desk: RunningDesk) -> list[str]:
    """List what lies in the folder of copies."""
    return sorted(path.name for path in (desk.folder / "songs").rglob("*") if path.is_file())


def children_of(pid: int) -> dict[int, str]:
    """List the processes that a process has started."""
    out = subprocess.run(
        ["ps", "-ww", "-o", "pid=,args=", "--ppid", str(pid)], capture_output=True, text=True
    ).stdout
    rows = [line.split(maxsplit=1) for line in out.splitlines()]
    return {int(pid): args for pid, args in rows if "resource_tracker" not in args}


# ------------------------------------------------------------------------------------- names


@pytest.mark.parametrize(
    ("name", "kept"),
    [
        ("../../x.ogg", "x.ogg"),
        ("..\\..\\x.OGG", "x.ogg"),
        ("/etc/passwd.mp3", "passwd.mp3"),
        ("\0\n.wav", "__.wav"),
        ("CON.mp3", "CON_.mp3"),
        (".hidden.mp3", "hidden.mp3"),
        ("x/ .mp3", "song.mp3"),
        ("🎵 ü.flac", "🎵 ü.flac"),
        ("<img src=x onerror=alert(1)>.mp3", "_img src=x onerror=alert(1)_.mp3"),
    ],
)
def test_names_of_copies_are_made_here(name: str, kept: str) -> None:
    """No name that a page sends leads out of the folder made for the copy."""
    assert copy_name(name) == kept


def test_a_long_name_is_cut() -> None:
    """A name of 5,000 letters fits every file system (255 bytes)."""
    assert len(os.fsencode(copy_name("ü" * 5000 + ".mp3"))) < 255


@pytest.mark.parametrize("name", ["", "x", ".mp3", "x.exe", "x.mp3.sh", "x.mp3/", "../.."])
def test_what_is_no_song_is_not_taken(desk, name: str) -> None:
    """Only endings of song files are taken."""
    assert drop(desk, name).status == 422
    assert left_in(desk) == []


# ---------------------------------------------------------------------------- what strangers try


def test_what_cannot_be_heard_is_deleted_and_says_why(desk) -> None:
    """Junk under bad names is refused by the worker; no copy stays, the desk lives."""
    for name in ("../../x.ogg", "\0.mp3", "x" * 5000 + ".wav", "<b>bold</b>.flac"):
        assert drop(desk, name).status == 200

    state = wait_for(desk, is_done)

    assert state["n_failed"] == 4
    assert all("cannot be read" in one["reason"] or one["reason"] for one in state["failed"])
    assert left_in(desk) == []
    desk.post("/api/songs/take-away", {"names": [one["name"] for one in state["failed"]]})
    assert desk.get("/api/songs/hearing")["n_failed"] == 0


def test_ten_gigabytes_are_refused_unread(desk) -> None:
    """By its announced length, before a byte of it is taken."""
    answer = drop(desk, "big.wav", b"", headers={"content-length": "10000000000"})

    assert answer.status == 413
    assert b"500 MB" in answer.body
    assert left_in(desk) == []


def test_a_length_that_is_no_number_is_refused(desk) -> None:
    """Nor does nonsense get round the limit."""
    for length in ("-1", "1e99", "9" * 400):
        assert drop(desk, "x.wav", b"", headers={"content-length": length}).status in (400, 413)


def sent_to(folder: Path, pieces) -> int:
    """Send pieces of a song without saying how long it is; give the status of the answer."""
    taken = []
    desk = SimpleNamespace(
        store_path=folder / "phrasefit.sqlite3", hearing=SimpleNamespace(hear=taken.append)
    )
    incoming = iter(pieces)

    async def receive() -> dict:
        body = next(incoming, None)
        if body is None:
            return {"type": "http.request", "body": b"", "more_body": False}
        await asyncio.sleep(0 if isinstance(body, bytes) else body)
        return {"type": "http.request", "body": body if isinstance(body, bytes) else b".",
                "more_body": True}  # fmt: skip

    scope = {
        "type": "http", "method": "POST", "path": "/", "query_string": b"name=big.wav",
        "headers": [], "app": SimpleNamespace(state=SimpleNamespace(desk=desk)),
    }  # fmt: skip
    status = asyncio.run(dropped.drop(Request(scope, receive))).status_code
    assert bool(taken) == (status == 200)
    return status


def test_an_endless_upload_is_cut_off(tmp_path, monkeypatch) -> None:
    """In chunks, too, no more than the limit is taken, and nothing of it stays."""
    monkeypatch.setattr(dropped, "MOST_BYTES", 1_000_000)

    assert sent_to(tmp_path, [bytes(100_000)] * 10) == 200
    assert sent_to(tmp_path, itertools.repeat(bytes(100_000))) == 413
    assert len(list((tmp_path / "songs").rglob("*.wav"))) == 1
    assert len(list((tmp_path / "songs").iterdir())) == 1


def test_a_slow_client_is_given_up(tmp_path, monkeypatch) -> None:
    """Neither silence nor a trickle holds the desk; nothing half written stays."""
    monkeypatch.setattr(endpoints, "SLOWEST_PIECE_S", 0.2)
    monkeypatch.setattr(dropped, "PATIENCE_S", 0.5)

    assert sent_to(tmp_path, [b"begin", 5.0]) == 408
    assert sent_to(tmp_path, itertools.repeat(0.05)) == 408
    assert list((tmp_path / "songs").iterdir()) == []


def test_a_full_disk_is_said(tmp_path, monkeypatch) -> None:
    """No copy is begun that would leave the computer no room."""
    monkeypatch.setattr(dropped, "LEAST_FREE_BYTES", 1 << 62)

    assert sent_to(tmp_path, [b"song"]) == 422
    assert list((tmp_path / "songs").iterdir()) == []


def test_a_client_that_goes_away_leaves_nothing(desk) -> None:
    """Half a song that is cut off is removed."""
    line = socket.create_connection(("127.0.0.1", desk.port), timeout=10)
    line.sendall(
        f"POST /api/songs/drop?name=half.wav HTTP/1.1\r\nHost: 127.0.0.1:{desk.port}\r\n"
        f"Origin: {desk.origin}\r\nCookie: {desk.cookie}\r\n"
        "Content-Length: 1000\r\n\r\nhalf".encode()
    )
    place = desk.folder / "songs"
    deadline = time.monotonic() + 20
    while not list(place.glob("*/*.part")) and time.monotonic() < deadline:
        time.sleep(0.02)
    assert list(place.glob("*/*.part"))
    line.close()

    while any(place.iterdir()) and time.monotonic() < deadline:
        time.sleep(0.05)

    assert list(place.iterdir()) == []


# -------------------------------------------------------------------------------- chosen folders


@pytest.fixture
def music(tmp_path: Path) -> Path:
    """Make a folder with a name as people have them."""
    folder = tmp_path / "Meine Müsik & more"
    folder.mkdir()
    return folder


def test_paths_are_read_as_people_paste_them(music, monkeypatch) -> None:
    """Quotes, spaces, file addresses, ~, backslashes and both ways to write accents."""
    import unicodedata

    monkeypatch.setenv("HOME", str(music.parent))
    path = str(music)
    for text in (
        path, f"  {path}\n", f'"{path}"', f"'{path}'", f"“{path}”", f"{path}/",
        music.as_uri(), f"file://{path}", f"~/{music.name}", path.replace(" ", "\\ "),
        unicodedata.normalize("NFD", path),
    ):  # fmt: skip
        assert typed_folder(text) == music, text


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("", "no folder is named"),
        ("/", "whole disk"),
        ("relative/folder", "there is no such folder"),
        ("/no/such/folder", "there is no such folder"),
        ("\0", "is no folder"),
        ("x" * 5000, "is no folder"),
        ("~nobody-of-this-name/x", "there is no such folder"),
    ],
)
def test_what_is_no_folder_says_what_to_do(text: str, hint: str) -> None:
    """Every refusal is a sentence."""
    with pytest.raises(ParameterError, match=hint):
        typed_folder(text)


def test_two_folders_in_one_line_get_a_hint(music, tmp_path) -> None:
    """Two words that look like one path."""
    with pytest.raises(ParameterError, match="look like 2 folders"):
        typed_folder(f'"{music}" "{tmp_path}"')
    (music / "song.mp3").touch()
    with pytest.raises(ParameterError, match="is a file; name its folder"):
        typed_folder(str(music / "song.mp3"))


def test_the_list_of_folders_knows_only_what_it_has_shown(desk) -> None:
    """A page cannot name a folder, only one that was listed; nothing above the beginnings."""
    first = desk.get("/api/songs/computer")
    assert {"name", "token"} == set(first["folders"][0])
    home = desk.get(f"/api/songs/computer?in={first['folders'][0]['token']}")
    assert home["above"] == ""
    for guess in ("/etc", "..", str(Path.home()), "x" * 3000):
        assert desk.ask("GET", f"/api/songs/computer?in={quote(guess)}").status == 404
        assert desk.ask("POST", "/api/songs/folders", {"token": guess[:900]}).status == 404


# --------------------------------------------------------------------------------------- hearing


def test_dropped_songs_are_heard_in_the_browser(new_desk, page_of) -> None:
    """From an empty folder: add two songs, see them come, filter, ask what suits, open."""
    desk = new_desk()
    page = page_of(desk, "/songs")
    page.get_by_role("button", name="Try it with the sample songs").wait_for()

    page.get_by_label("Add songs").set_input_files([SONG, SAMPLES / "paper-boat-waltz.ogg"])

    for title in ("Tangerine Ferry", "Paper Boat Waltz"):
        page.get_by_role("link", name=title).wait_for(timeout=120_000)
    page.get_by_text("2 songs", exact=True).wait_for()
    page.get_by_label("Search").fill("bóat")
    page.get_by_text("1 of 2 songs").wait_for()
    assert page.get_by_role("table", name="Songs").get_attribute("aria-rowcount") == "2"
    page.reload()  # what is wished for stays in the address
    page.get_by_text("1 of 2 songs").wait_for()
    page.get_by_role("button", name="Which routine suits Paper Boat Waltz?").click()
    page.get_by_role("dialog").get_by_role("link", name="Mill Pond Waltz").wait_for()
    page.keyboard.press("Escape")
    page.get_by_role("link", name="Paper Boat Waltz").click()
    page.wait_for_url("**/sheet/*")
    assert sorted(left_in(desk)) == ["paper-boat-waltz.ogg", "tangerine-ferry.ogg"]


def drop_on(page, files: dict[str, bytes]) -> None:
    """Drop files onto the page."""
    page.evaluate(
        """(files) => {
          const held = new DataTransfer();
          for (const [name, bytes] of Object.entries(files)) {
            held.items.add(new File([new Uint8Array(bytes)], name));
          }
          document.querySelector("main").dispatchEvent(
            new DragEvent("drop", { dataTransfer: held, bubbles: true, cancelable: true }));
        }""",
        {name: list(content) for name, content in files.items()},
    )


def test_names_are_inert_and_bad_files_say_why(desk, page_of) -> None:
    """A name full of HTML is shown as it is; the file behind it says what is wrong."""
    page = page_of(desk, "/songs")
    page.get_by_role("button", name="Choose a folder").wait_for()
    name = "<img src=x onerror='document.title=1'>&amp;.mp3"

    drop_on(page, {name: b"junk", "cover.jpg": b"junk"})

    page.get_by_text("1 song could not be used").click()
    page.locator(".failed strong", has_text="onerror=").wait_for()
    assert page.locator("main img").count() == 0
    page.get_by_role("button", name="Take away").first.click()
    page.get_by_text("1 song could not be used").wait_for(state="hidden")


def test_a_drop_before_the_list_is_there_is_taken(new_desk, page_of) -> None:
    """Who is quicker than the desk loses nothing."""
    page = page_of(new_desk(), "/songs")
    page.get_by_role("button", name="Choose a folder").wait_for()
    let_through = hold_back(page, "**/api/songs/places")
    page.reload(wait_until="commit")
    page.get_by_role("button", name="Choose a folder").wait_for()
    drop_on(page, {"bad.mp3": b"junk"})
    let_through()

    page.get_by_text("1 song could not be used").wait_for()


def write_down_what_is_said(page) -> None:
    """Keep in `said` what a screen reader is given from here on: the next soon takes its place."""
    page.evaluate(
        """() => {
          const say = document.getElementById("say");
          window.said = [];
          new MutationObserver(() => said.push(say.textContent)).observe(say, { childList: true });
        }"""
    )


def drag_over(page, *paths: Path) -> None:
    """Drop files and folders of this computer onto the page, as from a window beside it."""
    session = page.context.new_cdp_session(page)
    data = {"items": [], "files": [str(path) for path in paths], "dragOperationsMask": 1}
    for kind in ("dragEnter", "dragOver", "drop"):
        session.send("Input.dispatchDragEvent", {"type": kind, "x": 300, "y": 300, "data": data})


def test_a_folder_is_dropped(desk, page_of, tmp_path) -> None:
    """All songs in it and in folders in it are taken, but no cover and nothing hidden."""
    folder = tmp_path / "party mix"
    names = [f"{i}.mp3" for i in range(120)]  # more than a browser lists at once
    for name in (*names, "slow/waltz.OGG", "slow/cover.jpg", ".trash/gone.mp3", "._0.mp3"):
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(b"song")
    loose = tmp_path / "loose.wav"
    loose.write_bytes(b"song")
    page = page_of(desk, "/songs")
    page.get_by_role("button", name="Choose a folder").wait_for()
    copied: list[str] = []

    def take(route) -> None:
        copied.append(unquote(route.request.url.partition("name=")[2]))
        route.fulfill(json={})

    page.route("**/api/songs/drop?*", take)
    write_down_what_is_said(page)
    drag_over(page, folder, loose)
    wait_until(page, "said.includes('122 songs copied')")

    assert sorted(copied) == sorted([*names, "waltz.OGG", "loose.wav"])


def test_what_is_said_of_a_drop_is_not_talked_over(desk, page_of) -> None:
    """Who listens to the screen hears of the copies, also where the view itself is late."""
    page = page_of(desk, "/songs")
    page.get_by_role("button", name="Choose a folder").wait_for()
    let_through = hold_back(page, "**/api/routines")
    page.route("**/api/songs/drop?*", lambda route: route.fulfill(json={}))
    page.reload()
    page.get_by_role("button", name="Choose a folder").wait_for()
    write_down_what_is_said(page)
    drop_on(page, {"song.mp3": b"song"})
    wait_until(page, "said.includes('1 song copied')")
    let_through()
    page.wait_for_timeout(500)

    assert "Songs" not in page.evaluate("said")


def test_where_songs_are_is_told_in_words(new_desk, page_of) -> None:
    """A copy, and no folder: nothing of the page's own making stands between."""
    desk = new_desk()
    copied = copies_folder(desk.folder / FILE_NAME) / "one" / "song.wav"
    copied.parent.mkdir(parents=True)
    copied.write_bytes(b"song")
    page = page_of(desk, "/songs")

    page.get_by_text("Where the songs are").click()

    told = page.locator("details", has_text="Where the songs are").inner_text().split("\n")
    assert [line for line in told if line.strip()] == [
        "Where the songs are",
        "1 copy of a dropped song, 0.0 MB Clear the copies",
    ]


def test_songs_dropped_elsewhere_lead_nowhere(desk, page_of) -> None:
    """On another view the browser would open the file, and the desk would be gone."""
    page = page_of(desk, "/record")
    page.locator("#say", has_text="Record").wait_for()  # all of the view is there

    drag_over(page, SONG)

    page.get_by_role("alert").filter(has_text="Drop songs on the view Songs").wait_for()
    assert page.url.endswith("/record")


@pytest.mark.parametrize(
    ("address", "late", "seen"),
    [
        ("/record", "**/api/lessons*", "Write down by hand"),
        ("/evening", "**/api/evenings", "New evening"),
        ("/songs?fits=supplied:first-gate", "**/api/songs/fits?*", "Choose a folder"),
    ],
)
def test_what_goes_wrong_while_a_view_loads_stays_told(desk, page_of, address, late, seen) -> None:
    """A view that comes late takes away no message that came before its songs or lessons."""
    page = page_of(desk, "/routines")
    let_through = hold_back(page, late)
    page.goto(desk.origin + address)
    page.get_by_text(seen).wait_for()
    page.route(
        "**/api/songs/drop?*", lambda route: route.fulfill(status=422, json={"error": "no song"})
    )
    drop_on(page, {"song.mp3": b"song"})
    alert = page.get_by_role("alert").filter(has_text=re.compile("Drop songs|no song"))
    alert.wait_for()

    with page.expect_response(late):
        let_through()
    page.wait_for_load_state("networkidle")
    page.wait_for_timeout(300)  # drawn, at the latest

    assert alert.is_visible()


@pytest.fixture(scope="module")
def long_songs(tmp_path_factory) -> Path:
    """Noise that takes a while to hear."""
    folder = tmp_path_factory.mktemp("long")
    noise = np.random.default_rng(1).uniform(-0.3, 0.3, 22_050 * 240)
    for i in range(3):
        soundfile.write(folder / f"noise {i}.wav", np.roll(noise, i), 22_050)
    return folder


def test_a_worker_that_dies_costs_its_file_and_stop_stops_at_once(new_desk, long_songs) -> None:
    """Killed workers are told of, others go on; stopped songs wait, also after a restart."""
    desk = new_desk()
    added = desk.post("/api/songs/folders", {"path": str(long_songs)})
    assert (added["songs"], added["new"]) == (3, 3)
    deadline = time.monotonic() + 60
    while not (workers := children_of(desk.process.pid)) and time.monotonic() < deadline:
        time.sleep(0.05)
    os.kill(next(iter(workers)), signal.SIGKILL)

    state = wait_for(desk, lambda state: state["n_failed"] >= 1)
    assert "ended the program" in state["failed"][0]["reason"]
    assert state["failed"][0]["again"]
    begin = time.monotonic()
    desk.post("/api/songs/hearing/stop")
    assert children_of(desk.process.pid) == {}
    assert time.monotonic() - begin < 5

    state = desk.get("/api/songs/hearing")
    assert is_done(state) and state["unheard"] >= 1
    desk.process.send_signal(signal.SIGTERM)
    desk.process.wait(20)
    again = new_desk(desk.folder)
    state = wait_for(again, lambda state: state["unheard"] >= 1)
    assert is_done(state)
    again.post("/api/songs/hearing/give-up")
    assert again.get("/api/songs/hearing")["unheard"] == 0
    assert len(list(long_songs.iterdir())) == 3


def test_what_is_taken_for_noise_can_be_heard_anyway(new_desk, tmp_path) -> None:
    """The refusal names no command, and one button insists."""
    noise = np.random.default_rng(2).uniform(-0.3, 0.3, 22_050 * 12)
    soundfile.write(tmp_path / "sea.wav", noise, 22_050)
    desk = new_desk()
    assert drop(desk, "sea.wav", (tmp_path / "sea.wav").read_bytes()).status == 200
    (failed,) = wait_for(desk, is_done)["failed"]
    assert failed["anyway"] and "phrasefit" not in failed["reason"]
    assert left_in(desk) == ["sea.wav"]
    desk.process.send_signal(signal.SIGTERM)
    desk.process.wait(20)
    desk = new_desk(desk.folder)  # which knows it from last time
    assert wait_for(desk, lambda state: state["failed"])["failed"] == [failed]

    desk.post("/api/songs/again", {"names": [failed["name"]], "anyway": True})
    wait_for(desk, is_done)

    (row,) = desk.get("/api/songs")["rows"]
    assert row[1] == "sea"
    desk.post("/api/songs/forget", {"songs": [row[0]]})
    assert desk.get("/api/songs")["rows"] == []
    assert left_in(desk) == []


def test_nothing_runs_when_nothing_is_to_be_heard(desk) -> None:
    """Workers end with the queue; the list needs none of the heavy libraries."""
    wait_for(desk, is_done)
    desk.get("/api/songs")
    deadline = time.monotonic() + 10
    while children_of(desk.process.pid) and time.monotonic() < deadline:
        time.sleep(0.1)

    assert children_of(desk.process.pid) == {}
    loaded = Path(f"/proc/{desk.process.pid}/maps")
    if loaded.exists():
        assert not any(name in loaded.read_text() for name in ("libav", "soxr", "/scipy/"))


def test_a_forgotten_song_of_a_folder_stays_away(new_desk, tmp_path) -> None:
    """Its file stays, looking again does not bring it back, choosing the folder again does."""
    fill(tmp_path / "data", "half-a-bar-of-dust", music=(music := tmp_path / "music"))
    desk = new_desk(tmp_path / "data")
    (row,) = desk.get("/api/songs")["rows"]

    desk.post("/api/songs/forget", {"songs": [row[0]]})

    assert [path.stem for path in music.iterdir()] == ["half-a-bar-of-dust"]
    assert desk.post("/api/songs/folders/look")["new"] == 0
    assert desk.post("/api/songs/folders", {"path": str(music)})["new"] == 1
