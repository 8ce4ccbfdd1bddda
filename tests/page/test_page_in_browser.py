"""The rehearsal page in a real browser: what is shown when, and what a person can do."""

from __future__ import annotations

import io
import itertools
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pypdf
import pytest

from phrasefit.corrections.beats import apply_correction
from phrasefit.fit import fit_routine
from phrasefit.fit.grid import count_grid
from phrasefit.model import Correction, FitPlan
from phrasefit.reports.cues import running_counts
from phrasefit.reports.page import Recording
from phrasefit.reports.page import page as page_of
from phrasefit.reports.page.page import page_document
from phrasefit.reports.practice import CLICKS
from phrasefit.reports.times import clock_time
from phrasefit.routine.turns import clock
from songs import song

# Look once a frame, after the page has drawn: the clock of the sound, and what is on screen.
WATCH = """(ms) => new Promise((done) => {
  const seen = [];
  const begin = performance.now();
  const look = (now) => {
    const shown = document.body.dataset;
    seen.push({ now, clock: position(), time: Number(shown.time), hook: shown.count,
      count: document.getElementById("count").textContent,
      wall: document.getElementById("wall").textContent,
      facing: document.getElementById("facing").textContent });
    if (performance.now() - begin < ms) requestAnimationFrame(look); else done(seen);
  };
  requestAnimationFrame(look);
})"""
FRAME_S = 1 / 60


def until(page, condition: str, *, seconds: float = 20.0) -> None:
    """Wait until a condition holds (Playwright's own way needs eval, which the page forbids)."""
    end = time.monotonic() + seconds
    while not page.evaluate(condition):
        assert time.monotonic() < end, f"still not so: {condition}"
        time.sleep(0.02)


def watched(page, seconds: float) -> list[dict]:
    """Watch the page for some seconds."""
    return page.evaluate(WATCH, seconds * 1000)


def assert_counts_are_the_plans(seen: list[dict], fit: FitPlan, *, rate: float = 1.0) -> None:
    """Compare count, wall and facing on screen with the plan, and the clock with the sound."""
    rows = running_counts(fit)
    for before, now in itertools.pairwise(seen):
        row = rows[int(np.searchsorted(fit.grid.times_s, now["time"], side="right")) - 1]
        assert now["count"] == now["hook"] == str(row.spoken)
        assert now["wall"].split() == (["TAG"] if row.kind == "tag" else ["WALL", str(row.wall)])
        assert now["facing"] == f"{row.facing // 30 or 12}:00"
        frame_s = max(FRAME_S, (now["now"] - before["now"]) / 1000)
        assert abs(now["clock"] - now["time"]) <= frame_s * rate + 0.003


def start_before_event(page, kind: str, *, counts: int) -> None:
    """Go to `counts` counts before the first event of a kind, without a count-in."""
    page.select_option("#count-in", "off")
    page.evaluate(
        "([kind, n]) => seek(state.score.times[state.score.events.find((e) => e.kind === kind).at"
        " - n] + 0.1)",
        [kind, counts],
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
    ratio = (slow[-1]["time"] - slow[9]["time"]) * 1000 / (slow[-1]["now"] - slow[9]["now"])
    assert ratio == pytest.approx(0.75, abs=0.05)
    off_s = np.min(np.abs(clicks[:, None] - fits.tagged.grid.times_s), axis=1)
    assert len(clicks) >= 4 and np.max(off_s) < 0.02  # placed by the song's own clock
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


def test_the_page_lays_counts_as_the_program_does(
    rehearse: Callable, fits: SimpleNamespace
) -> None:
    """Laid in the page without a change, and moved by a beat, counts are the program's."""
    page = rehearse("tagged")
    for fit in vars(fits).values():
        document = page_document(fit, fit.plan, origin=None)
        change = "{ ...UNTOUCHED, shift_one_beats: 1, nudge_s: 0.02 }"
        same, moved = page.evaluate(
            "(d) => { Object.assign(data, d);"
            f" return [recounted(UNTOUCHED), recounted({change})]; }}",
            document,
        )

        assert same["times"] == pytest.approx(document["score"]["times"], abs=1e-9)
        assert same["rows"] == document["score"]["rows"]
        assert same["events"] == document["score"]["events"]
        corrected = apply_correction(fit.bar_map, Correction(shift_one_beats=1, nudge_s=0.02))
        counted = replace(corrected, beats_per_count=fit.grid.beats_per_count)
        grid = count_grid(counted, routine=fit.routine)
        assert moved["times"] == pytest.approx(grid.times_s.tolist(), abs=1e-9)
        start = next(i for i, row in enumerate(moved["rows"]) if row["kind"] == "wall")
        assert grid.bar_start[start]
        assert grid.times_s[start] > fit.plan.start_s


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
        f"{facings[0]} B 4 TAG 4 after 16",
        f"{facings[1]} RESTART after 16",
    ]
    assert rows[at + 1].split()[0] == rows[at + 2].split()[0] == clock_time(restart.time_s)

    boxes = page.evaluate(
        "[...document.querySelectorAll('#strip text')].filter((t) => /TAG|RESTART/.test("
        "t.textContent)).map((t) => [t.textContent, t.getBBox().x, t.getBBox().width])"
    )
    (tag_name, left, width), (restart_name, right, _) = boxes
    assert (tag_name, restart_name) == ("TAG 4", "RESTART")
    assert left + width < right

    for event, words in (
        (tag, f"TAG 4 in wall 3 after count 16, facing {facings[0]}"),
        (restart, f"RESTART wall 3 after count 16, facing {facings[1]}"),
    ):
        page.evaluate("(at) => seek(state.score.times[at])", event.count)
        page.wait_for_function("(at) => state.index === at", arg=event.count)
        assert page.inner_text("#notice-words") == words


def test_keys_loop_and_announcements(rehearse: Callable) -> None:
    """Keys move by eights and walls; a loop holds the sound; only events are announced."""
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
    page.keyboard.press("l")
    assert page.get_attribute("#loop-group", "aria-pressed") == "true"
    loop = page.evaluate("state.loop")
    page.evaluate("jump(state.loop.end - 0.3)")
    page.evaluate(
        "() => { globalThis.told = []; new MutationObserver(() => told.push(document"
        ".getElementById('announce').textContent)).observe(document.getElementById('announce'),"
        " { childList: true }); }"
    )
    page.keyboard.press(" ")
    seen = watched(page, 1.6)
    page.keyboard.press("l")
    page.evaluate("jump(state.loop ? 0 : state.score.times[lastAt(state.score.times, 17.3)] - 0.1)")
    watched(page, 1.2)

    assert (loop["start"], loop["end"]) == pytest.approx((start + 24 * 0.5, start + 32 * 0.5))
    assert all(loop["start"] <= moment["clock"] < loop["end"] for moment in seen)
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


def test_taps_find_the_one(rehearse: Callable) -> None:
    """Taps a little off every third beat of a bar say: the one is two beats later."""
    page = rehearse("tagged")
    call = "(taps) => readTaps(taps, data.map.beats_s, data.map.positions, data.map.meter)"
    errors = (0.03, -0.04, 0.02, -0.02, 0.05)
    found = page.evaluate(call, [1.0 + 0.5 * (2 + 4 * k) + e for k, e in enumerate(errors)])
    eights = page.evaluate(call, [1.0 + 4.0 * k for k in range(4)])
    every = page.evaluate(call, [1.0 + 0.5 * k for k in range(6)])

    assert (found["apart"], found["place"], found["shift"]) == (4, 3, 2)
    assert found["bpm"] == pytest.approx(120, rel=0.03)
    assert (eights["apart"], eights["shift"]) == (8, 0)
    assert every["apart"] == 1


def test_corrections_recount_at_once_and_can_be_undone(rehearse: Callable) -> None:
    """Moving the one moves wall 1; a section mark shows in the picture; undo undoes."""
    page = rehearse("tagged")
    page.click("#correct summary")
    row = "document.querySelector('#rows tr td').textContent"
    assert page.evaluate(row) == "0:17.0"
    page.click("#one-later")
    page.click("#one-later")
    page.click("#nudge-later")
    assert page.evaluate(row) == "0:18.0"
    assert "the one 2 beats later, all beats 10 ms later" in page.inner_text("#state")
    page.evaluate("seek(25.1)")
    page.click("#section-here")
    assert "new" in page.evaluate("document.getElementById('strip').textContent")
    page.click("#undo-all")
    assert page.evaluate("isUntouched(state.change)")
    assert page.evaluate(row) == "0:17.0"
    assert page.is_disabled("#save")  # made from a map: there is no song to keep it for


def test_it_prints_the_walls(rehearse: Callable) -> None:
    """On paper stand the name, the walls, the restart; nothing that only works on a screen."""
    page = rehearse("restarted")
    reader = pypdf.PdfReader(io.BytesIO(page.pdf(format="A4")))
    text = "\n".join(sheet.extract_text() for sheet in reader.pages)

    assert len(reader.pages) <= 2
    for words in (
        "Borrowed Teaspoons",
        "RESTART after 16, on count 16",
        "END, turn 1/4 R",
        "12:00",
    ):
        assert words in text
    assert "Loop" not in text and "Corrections" not in text


@pytest.mark.parametrize(("width", "height"), [(1024, 768), (768, 1024)])
def test_fingers_and_eyes(rehearse: Callable, width: int, height: int) -> None:
    """On a tablet all targets are at least 44 px, and the count is seen across the room.

    44 CSS px: WCAG 2.2, success criterion 2.5.5.  60 pt (80 px) of type at 3 m: sign
    makers' rule of thumb, an inch of letter for 25 feet at the limit.
    """
    page = rehearse("restarted", width=width, height=height)
    page.click("#correct summary")
    small = page.evaluate(
        "[...document.querySelectorAll('button, select, .button, summary, .check')]"
        ".map((e) => [e.id || e.textContent, e.getBoundingClientRect()])"
        ".filter(([, box]) => box.height < 44 || box.width < 44).map(([id]) => id)"
    )
    wide = page.evaluate("document.documentElement.scrollWidth - innerWidth")
    sizes = page.evaluate(
        "['count', 'wall'].map((id) => parseFloat(getComputedStyle(document.getElementById(id))"
        ".fontSize))"
    )

    assert small == []
    assert wide <= 0
    assert sizes[0] >= 240 and sizes[1] >= 60
    page.keyboard.press("b")
    bottom = page.evaluate("document.getElementById('transport').getBoundingClientRect().bottom")
    assert bottom + page.evaluate("scrollY") <= height + 1


def test_less_motion_is_respected(rehearse: Callable) -> None:
    """Where the system asks for less motion the picture stands still for two groups of counts."""
    page = rehearse("restarted", reduced_motion="reduce")
    places = page.evaluate(
        "[0, 5, 15, 16].map((i) => { const at = state.score.times[i]; moveStrip(at, i);"
        " return document.getElementById('strip').style.transform; })"
    )

    assert places[0] == places[1] == places[2] != places[3]
    assert page.evaluate(
        "getComputedStyle(document.getElementById('arrow')).transitionDuration"
    ) in ("0s", "1e-05s")


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
