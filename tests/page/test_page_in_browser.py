"""The rehearsal page in a real browser: what is shown when, and what a person can do."""

from __future__ import annotations

import itertools
import wave
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from phrasefit.clock import clock_time
from phrasefit.fit import fit_routine
from phrasefit.reports.cues import running_counts
from phrasefit.reports.page import Recording
from phrasefit.reports.page import page as page_of
from phrasefit.reports.practice import CLICKS
from phrasefit.routine.spec import routine_from_numbers
from phrasefit.routine.turns import clock
from songs import song, upbeat
from watching import (
    assert_counts_are_the_plans,
    start_before_event,
    until,
    watched,
)


def test_counts_follow_the_users_own_recording(
    rehearse: Callable, fits: SimpleNamespace, recording: Path
) -> None:
    """At each frame the count is the plan's at the sound's own time; slower keeps the pitch."""
    page = rehearse("tagged")
    page.set_input_files("#file", recording)
    until(page, "song.readyState >= 3")
    start_before_event(page, "tag", counts=2)
    page.check("#clicks")
    page.evaluate(
        "() => { globalThis.heard = []; const inner = click; globalThis.click = (time, kind) => {"
        " heard.push(song.currentTime + time - sound.context.currentTime); inner(time, kind); }; }"
    )
    page.click("#play")
    until(page, "song.currentTime > 0 && !song.paused")
    seen = watched(page, 2.5)
    clicks = np.array(page.evaluate("heard"))
    page.fill("#speed", "75")
    slow = watched(page, 1.5)

    assert_counts_are_the_plans(seen, fits.tagged)
    assert_counts_are_the_plans(slow, fits.tagged)
    assert {"TAG"} < {moment["wall"].strip() for moment in seen}
    assert page.evaluate("[song.preservesPitch, song.playbackRate]") == [True, 0.75]
    times_s, frames_s = np.array([(moment["time"], moment["now"] / 1000) for moment in slow[9:]]).T
    speeds = (times_s[9:] - times_s[:-9]) / (frames_s[9:] - frames_s[:-9])
    assert np.median(speeds) == pytest.approx(0.75, abs=0.05)  # where the computer does not stall
    off_s = np.min(np.abs(clicks[:, None] - fits.tagged.grid.times_s), axis=1)
    # Placed by the song's own clock; where the computer stalls between two clocks, one looks late.
    assert len(clicks) >= 4 and np.mean(off_s < 0.02) >= 0.75
    assert "lantern row.wav" in page.inner_text("#sound")


def test_clicks_sound_on_their_counts(rehearse: Callable, fits: SimpleNamespace) -> None:
    """Without a song clicks are placed on the audio clock, each kind with its sound."""
    page = rehearse("tagged")
    start_before_event(page, "tag", counts=3)
    page.evaluate(
        "() => { globalThis.heard = []; const inner = click; globalThis.click = (time, kind) => {"
        " heard.push([runningAt(time), kind]); inner(time, kind); }; }"
    )
    page.keyboard.press("ArrowUp")  # 105 %
    page.keyboard.press(" ")
    until(page, "sound.playing && position() > sound.anchor.position")
    seen = watched(page, 2.5)
    clicks = page.evaluate("heard")

    assert_counts_are_the_plans(seen, fits.tagged, rate=1.05)
    assert page.inner_text("#percent") == "105 %, 126 a minute"
    times = fits.tagged.grid.times_s
    rows = running_counts(fits.tagged)
    assert len(clicks) >= 5
    for time_s, kind in clicks:
        i = int(np.argmin(np.abs(times - time_s)))
        assert time_s == pytest.approx(times[i], abs=0.001)
        event = rows[i].event
        assert kind == (event.kind if event else "eight" if rows[i].spoken == 1 else "count")
    assert {kind for _, kind in clicks} >= {"tag", "count"}
    assert page.evaluate("data.clicks") == {k: [list(v[0]), *v[1:]] for k, v in CLICKS.items()}


def test_names_with_markup_do_nothing(opened: Callable) -> None:
    """Names that are scripts are shown as they are written, and run nothing."""
    evil, end = "<script>alert(1)</script>", "</script><img src=x onerror=alert(2)>"
    bar_map = replace(song((16, 32)), title=end, artist="<!--<script>")
    routine = fit_routine(bar_map, _routine_named(evil)).routine
    page = opened(page_of(fit_routine(bar_map, routine)))

    assert page.inner_text("#routine") == evil
    assert end in page.inner_text("#song")
    assert page.title() == f"{evil} – {end}"
    assert page.evaluate("document.scripts.length") == 2  # the data and the page's own
    assert page.evaluate("document.images.length") == 0


def test_lines_and_intro_are_named_as_on_paper(opened: Callable) -> None:
    """An upbeat is not counted into the intro, and a line's time is rounded, not cut."""
    fit = fit_routine(
        upbeat(song((33, 64, 64), bpm=126.0)), routine_from_numbers(counts=32, walls=4)
    )
    page = opened(page_of(fit))

    times = page.locator(".sheet .when").all_inner_texts()
    assert times == [clock_time(t, decimals=0) for t in fit.grid.times_s[:-1:32]]
    assert page.locator(".sheet .piece.intro span").first.inner_text() == "intro 32"


def _routine_named(name: str):
    from phrasefit.routine.spec import routine_from_numbers

    return replace(routine_from_numbers(counts=16, walls=2), name=name)


def test_an_event_is_warned_of_one_group_before(rehearse: Callable) -> None:
    """Eight counts before a restart its word, shape and step change stand in a frame."""
    page = rehearse("restarted")
    at = page.evaluate("state.score.events.find((e) => e.kind === 'restart').at")

    def notice(counts_before: int) -> tuple[str, str]:
        page.evaluate(
            "(i) => { seek(state.score.times[i]); return new Promise((done) =>"
            " requestAnimationFrame(() => requestAnimationFrame(done))); }",
            at - counts_before,
        )
        return page.get_attribute("#notice", "class"), page.inner_text("#notice")

    assert notice(9)[0] == ""
    kind, words = notice(8)
    assert kind == "warn"
    assert "RESTART wall 6 after count 16, facing 9:00" in words and "in 8" in words
    assert "touch the right foot" in words
    assert page.evaluate("document.querySelector('#notice use').getAttribute('href')") == (
        "#mark-restart"
    )
    assert notice(0)[0] == "now"
    assert page.inner_text("#step-now").startswith("1&2")
    assert "3&4" in page.inner_text("#step-next")


def test_a_tag_before_a_restart_comes_first(rehearse: Callable, fits: SimpleNamespace) -> None:
    """Table, picture and notice have wall 3, the tag in it, the restart, wall 4: each alone."""
    page = rehearse("tag_and_restart")
    (tag,), (restart,) = fits.tag_and_restart.plan.tags, fits.tag_and_restart.plan.restarts
    assert (tag.wall, restart.wall, tag.cut_short) == (3, 3, True)

    rows = [" ".join(row.split()) for row in page.locator("#rows tr").all_inner_texts()]
    at = next(i for i, row in enumerate(rows) if "TAG" in row)
    facings = [clock(facing) for facing in (tag.facing, restart.facing)]
    assert [" ".join(row.split()[1:]) for row in rows[at : at + 2]] == [
        f"{facings[0]} music B 4 TAG 4 after 16, turning to {clock(tag.end_facing)}",
        f"{facings[1]} RESTART after 16",
    ]
    assert rows[at + 1].split()[0] == rows[at + 2].split()[0] == clock_time(restart.time_s)

    notes = page.evaluate(
        "[...document.querySelectorAll('#sheet .note')].map((note) => { const words ="
        " document.createRange(); words.selectNodeContents(note); return [note.textContent,"
        " note.className, words.getBoundingClientRect().toJSON()]; })"
    )
    named = [(words, kind.split()[1], box) for words, kind, box in notes if "after 16" in words]
    assert [entry[:2] for entry in named] == [
        (f"TAG 4 after 16, turning to {clock(tag.end_facing)}", "tag"),
        ("RESTART after 16", "restart"),
    ]
    (_, _, above), (_, _, below) = named
    assert above["bottom"] <= below["top"] + 1 or above["right"] <= below["left"]

    for event, words in (
        (tag, f"TAG 4 in wall 3 after count 16, facing {facings[0]}"),
        (restart, f"RESTART wall 3 after count 16, facing {facings[1]}"),
    ):
        page.evaluate("(at) => seek(state.score.times[at])", event.count)
        page.wait_for_function("(at) => state.index === at", arg=event.count)
        assert page.inner_text("#notice-words") == words


def test_keys_repeat_and_announcements(rehearse: Callable) -> None:
    """Keys move by eights and walls; a repeat holds the sound; only events are announced."""
    page = rehearse("tagged")
    page.select_option("#count-in", "off")
    at = "state.score.times[lastAt(state.score.times, position() + 1e-6)]"
    page.keyboard.press("Home")
    start = page.evaluate(at)
    page.keyboard.press("ArrowRight")
    assert page.evaluate(at) == pytest.approx(start + 8 * 0.5)
    page.keyboard.press("PageDown")
    assert page.evaluate(at) == pytest.approx(start + 32 * 0.5)
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("r")
    assert page.get_attribute("#repeat-group", "aria-pressed") == "true"
    again = page.evaluate("state.again")
    page.evaluate("jump(state.again.end - 0.3)")
    page.evaluate(
        "() => { globalThis.told = []; new MutationObserver(() => told.push(document"
        ".getElementById('announce').textContent)).observe(document.getElementById('announce'),"
        " { childList: true }); }"
    )
    page.keyboard.press(" ")
    seen = watched(page, 1.6)
    page.keyboard.press("r")
    page.evaluate(
        "jump(state.again ? 0 : state.score.times[lastAt(state.score.times, 17.3)] - 0.1)"
    )
    watched(page, 1.2)

    assert (again["start"], again["end"]) == pytest.approx((start + 24 * 0.5, start + 32 * 0.5))
    assert all(again["start"] <= moment["clock"] < again["end"] for moment in seen)
    assert seen[-1]["clock"] < seen[0]["clock"]
    assert len(page.evaluate("told")) <= 1
    page.keyboard.press("d")
    page.keyboard.press("b")
    assert page.evaluate("document.body.className").split() == ["dark", "large"]
    page.click("#keys summary")
    page.uncheck("#keys-on")
    page.keyboard.press("d")
    assert "dark" in page.evaluate("document.body.className")


def test_a_count_in_leads_to_the_count(rehearse: Callable) -> None:
    """In the middle of a dance eight ticks, numbered, come before the sound begins."""
    page = rehearse("restarted")
    for key in ("ArrowUp", "ArrowUp", "Home", "PageDown"):
        page.keyboard.press(key)
    from_s = page.evaluate("position()")
    page.keyboard.press(" ")
    seen = watched(page, 4.3)

    hooks = [hook for hook, _ in itertools.groupby(seen, key=lambda moment: moment["hook"])]
    begin = hooks.index("in 1")
    assert hooks[begin : begin + 9] == [*(f"in {n}" for n in range(1, 9)), "1"]
    assert seen[-1]["clock"] >= from_s
    first = next(moment for moment in seen if moment["hook"] == "in 1")
    last = next(moment for moment in seen if moment["hook"] == "1" and moment["now"] > first["now"])
    assert (last["now"] - first["now"]) / 1000 == pytest.approx(8 * 60 / 124 / 1.1, abs=0.1)


def test_another_song_cannot_be_overlooked(
    rehearse: Callable, fits: SimpleNamespace, recording: Path, tmp_path: Path
) -> None:
    """A song of another length stops the page with a question; playing it keeps a line about it."""
    other = tmp_path / "another row.wav"
    with wave.open(str(other), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(8000)
        out.writeframes(bytes(2 * 8000 * 20))
    page = rehearse("tagged")
    page.set_input_files("#file", other)
    until(page, "document.getElementById('wrong').open")

    words = page.inner_text("#wrong")
    assert "not the song the plan was made for" in words
    assert "another row.wav lasts 0:20.0" in words
    boxes = [button.bounding_box() for button in page.locator("#wrong button").all()]
    assert len(boxes) == 3 and min(box["height"] for box in boxes) >= 44
    page.keyboard.press(" ")  # the key that plays answers the question in focus, and no more
    assert not page.evaluate("sound.playing")
    page.set_input_files("#file", other)
    until(page, "document.getElementById('wrong').open")
    page.click("#wrong-keep")
    assert page.is_visible("#not-the-song")
    assert "Not the song of the plan" in page.inner_text("#not-the-song")
    page.set_input_files("#file", recording)
    until(page, "song.readyState >= 1 && song.duration > 21")
    assert not page.is_visible("#not-the-song") and not page.evaluate("$('wrong').open")
    page.set_input_files("#file", other)
    until(page, "document.getElementById('wrong').open")
    page.click("#wrong-clicks")
    assert page.evaluate("sound.source") == "clicks" and not page.is_visible("#not-the-song")


def test_a_device_without_sound_is_told_of(rehearse: Callable) -> None:
    """An audio clock that never starts, as in Firefox without a loudspeaker, is not waited for."""
    page = rehearse("tagged")
    page.evaluate("void (AudioContext.prototype.resume = () => new Promise(() => {}))")

    page.click("#play")

    page.locator("#sound", has_text="nothing can sound here").wait_for()
    assert not page.evaluate("sound.playing")


def test_the_screen_stays_on_while_it_plays(rehearse: Callable) -> None:
    """The lock is asked for on play, let go on pause, and asked for anew when back in sight."""
    page = rehearse("tagged")
    page.select_option("#count-in", "off")
    page.evaluate(
        "() => { globalThis.held = []; const lock = () => { const one = new EventTarget();"
        " one.release = () => { held.push('released'); one.dispatchEvent(new Event('release'));"
        " return Promise.resolve(); }; return one; };"
        " Object.defineProperty(navigator, 'wakeLock', { configurable: true, value:"
        " { request: (kind) => { held.push(kind); return Promise.resolve(lock()); } } }); }"
    )
    page.click("#play")
    until(page, "sound.playing && held.length === 1 && wake !== null")
    page.evaluate("wake.dispatchEvent(new Event('release'))")  # as when the page is hidden
    page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    until(page, "wake !== null")
    page.click("#play")
    until(page, "!sound.playing")
    assert page.evaluate("held") == ["screen", "screen", "released"]
    assert page.evaluate("wake") is None


def test_an_embedded_recording_plays(
    opened: Callable, fits: SimpleNamespace, recording: Path
) -> None:
    """A page that carries the song needs no file, and says what that means."""
    carried = Recording(media_type="audio/wav", content=recording.read_bytes())
    page = opened(page_of(fits.tagged, recording=carried))
    until(page, "song.readyState >= 3")

    assert page.evaluate("sound.source") == "song"
    assert page.evaluate("song.duration") == pytest.approx(fits.tagged.bar_map.duration_s, abs=0.01)
    assert "license" in page.inner_text("#licenses")
