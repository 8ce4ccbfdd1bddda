"""The rehearsal view at the desk, and shared with the room."""

from __future__ import annotations

import http.client
import re
from urllib.parse import urlsplit

import pytest

from browsing import wait_until
from desk_server import end, start_desk
from heard import fill

QUERY = "routine=supplied:borrowed-teaspoons"


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    """One desk that knows a song."""
    folder = tmp_path_factory.mktemp("data")
    key = fill(folder, "glitter-ledger")[0]
    running = start_desk(folder)
    running.song = key
    yield running
    end(running)


@pytest.fixture
def shared(desk):
    """The address that is shown while a plan is shared."""
    state = desk.post(f"/api/room/{desk.song}?{QUERY}")
    yield state
    desk.post("/api/room/stop")


def asked(address: str, path: str = "", *, method: str = "GET", host: str = "", more=None):
    """Ask the room's address as a tablet does."""
    place = urlsplit(address)
    line = http.client.HTTPConnection(place.hostname, place.port, timeout=20)
    headers = {"host": host or place.netloc} | (more or {})
    line.request(method, path or place.path, headers=headers)
    answer = line.getresponse()
    content = answer.read()
    line.close()
    return answer, content


def test_nothing_is_shared_until_it_is_asked_for(desk) -> None:
    """Off at first, and off again after the button."""
    assert desk.get("/api/room") == {"address": ""}
    address = desk.post(f"/api/room/{desk.song}?{QUERY}")["address"]
    assert asked(address)[0].status == 200

    desk.post("/api/room/stop")

    assert desk.get("/api/room") == {"address": ""}
    with pytest.raises(OSError, match="refused"):
        asked(address)


def test_the_room_sees_the_view_and_hears_the_song(desk, shared) -> None:
    """Under the secret address: the page, the sound in ranges, and nothing else."""
    address = shared["address"]
    place = urlsplit(address)
    assert re.fullmatch(r"/[a-z2-9]{14}/", place.path)
    assert shared["code"].startswith("data:image/svg+xml")

    page, text = asked(address)
    sound, content = asked(address, f"{place.path}sound", more={"range": "bytes=0-3"})

    assert b"Borrowed Teaspoons" in text and b"Glitter Ledger" in text
    assert "connect-src 'self'" in page.headers["content-security-policy"]
    assert (sound.status, content) == (206, b"OggS")


@pytest.mark.parametrize("path", ["/", "/songs", "/api/songs", "/guess/", "/static/desk.js", "{}x"])
def test_strangers_in_the_network_see_nothing(desk, shared, path: str) -> None:
    """Every other path, and every other way of asking, has one and the same answer."""
    secret = urlsplit(shared["address"]).path
    answer, content = asked(shared["address"], path.format(secret.rstrip("/")))

    assert (answer.status, content) == (404, b"Nothing is shared here.\n")


def test_the_room_is_read_only_and_knows_its_own_name(desk, shared) -> None:
    """No writing, and no name that merely leads here (DNS rebinding)."""
    for options in ({"method": "POST"}, {"method": "PUT"}, {"host": "evil.example"}):
        assert asked(shared["address"], **options)[0].status == 404


def test_the_desk_itself_stays_shut_to_the_network(desk, shared) -> None:
    """Sharing opens the view, not the desk."""
    own = urlsplit(shared["address"]).hostname
    with pytest.raises(OSError, match=r"refused|timed out"):
        http.client.HTTPConnection(own, desk.port, timeout=3).request("GET", "/")


def test_what_cannot_be_planned_is_not_shared(desk) -> None:
    """The person at the desk is told, not the one with the tablet."""
    answer = desk.ask("POST", f"/api/room/{desk.song}?routine=gone", {})

    assert answer.status == 404
    assert desk.get("/api/room") == {"address": ""}


def test_a_tablet_plays_and_follows(desk, browser, shared) -> None:
    """The tablet plays the song from the desk, and takes another plan when it is shown one."""
    tablet = browser.new_context(viewport={"width": 1024, "height": 768}).new_page()
    complaints: list[str] = []
    tablet.on("pageerror", lambda error: complaints.append(str(error)))
    tablet.goto(shared["address"])
    tablet.get_by_role("button", name="Play", exact=True).click()
    wait_until(tablet, "!song.paused && song.currentTime > 0.2")
    assert tablet.locator("#correct").is_hidden()
    desk.get("/api/room")

    tablet.locator("#play").click()
    walls = tablet.locator("#rows tr").count()
    desk.post(f"/api/room/{desk.song}?counts=64&walls=2")

    tablet.locator("#rows tr").nth(walls - 1).wait_for(state="detached")  # fewer walls
    tablet.locator("#rows tr").first.wait_for(state="attached")
    assert complaints == []
    tablet.context.close()


def test_the_view_at_the_desk_plays_the_song(desk, page_of) -> None:
    """It opens with the song, without a file to choose."""
    page = page_of(desk, f"/rehearse/{desk.song}%3F{QUERY}")
    wait_until(page, "song.duration > 10")

    assert page.locator("#open-song").is_hidden()
    assert page.locator("#routine").inner_text() == "Borrowed Teaspoons"
