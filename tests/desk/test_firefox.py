"""The desk in Firefox: from the song to the evening, as a person would do it."""

from __future__ import annotations

import re

import pytest

from desk_server import end, start_desk
from firefox import firefox
from heard import SAMPLES, fill

DUST = "half-a-bar-of-dust"
SPACE = {
    "type": "key",
    "id": "keys",
    "actions": [{"type": "keyDown", "value": " "}, {"type": "keyUp", "value": " "}],
}


@pytest.fixture(scope="module")
def window(tmp_path_factory):
    """One Firefox."""
    with firefox(tmp_path_factory.mktemp("firefox")) as running:
        yield running


@pytest.fixture(scope="module")
def desk(window, tmp_path_factory):
    """One desk that knows a song with a doubt."""
    folder = tmp_path_factory.mktemp("desk") / "data"
    fill(folder, DUST)
    running = start_desk(folder)
    yield running
    end(running)


def test_firefox_leads_from_the_song_to_the_evening(window, desk) -> None:
    """Choose a song, answer its doubt, mend a one, fit, rehearse, run an evening with it.

    Without a loudspeaker Firefox never starts its sound: that is said where it is tried.
    """
    window.go(desk.address)
    window.pick("#pick", SAMPLES / f"{DUST}.ogg")
    window.wait("document.querySelector('.where')?.textContent.includes('1 copy')")
    window.click(".songtable a", "Half a Bar of Dust")

    window.choose(".choice select", "32 counts, 4 walls")
    window.click(".question .hear", "hear B")
    window.find("#trouble", "Nothing can sound here")
    window.click(".question .answer", "A is right")
    window.wait("!document.querySelector('.question')")
    at = window.ask("[...document.querySelectorAll('.sheet i:not(.one)')][9].dataset.at")
    window.click(f".sheet i[data-at='{at}']")
    window.click("[role=menuitem]", "this is a one")
    window.find(f".sheet i.one[data-at='{at}']")
    window.find(".corrected span", "Corrected: a one at")
    assert re.search(r"\(\d+ of 100\)", window.ask("document.querySelector('.verdict').innerText"))

    window.click("summary", "Hand out")
    window.click("a[href^='/rehearse/']")
    window.tell("WebDriver:SwitchToWindow", handle=window.tell("WebDriver:GetWindowHandles")[-1])
    window.wait("document.querySelectorAll('#rows tr').length > 1")
    window.click("#play")
    window.find("#sound", "nothing can sound here")
    window.go(f"{desk.origin}/evening")
    window.click("button", "New evening")
    window.click("summary", "Add a dance by hand")
    window.write("input[type=search]", "dust")
    window.click("button", "Add Half a Bar of Dust")
    window.click("a", "Run it")
    window.click("button", "Begin")
    window.find(".song", "Half a Bar of Dust")
    window.tell("WebDriver:PerformActions", actions=[SPACE])
    window.find("h1", "That was the evening")
