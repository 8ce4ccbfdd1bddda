"""No sentence about a plan contradicts its table: both are read as text and counted again.

Songs are laid out bar by bar at random, in phrases of all usual lengths and with odd bars;
routines have 16 to 128 counts, are waltzes or phrased.  What a sentence claims is taken from
its words and checked against the count grid and the walls, not against what wrote it.
"""

from __future__ import annotations

import csv
import io
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fit_songs import make_part, make_routine, make_song, with_outlook
from phrasefit.errors import NoFitError
from phrasefit.fit import fit_routine
from phrasefit.model import FitPlan, Plan, Tag, Wall
from phrasefit.reports.fit_text import render
from phrasefit.reports.walls_csv import walls_csv
from phrasefit.reports.words import verdict

NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
WORDS = {word: n for n, word in enumerate(NUMBERS)}
FOURS = (16, 24, 32, 40, 48, 56, 64, 80, 96, 112, 128)
THREES = (12, 18, 24, 36, 48, 72, 96)
IN_STEP = ("on", "half", "within")


@st.composite
def fits(draw: st.DrawFn) -> FitPlan:
    """A routine laid over a song."""
    meter = draw(st.sampled_from((4, 4, 4, 3)))
    usual = draw(st.sampled_from((4, 8, 16)))
    lengths = st.one_of(st.just(usual), st.just(usual), st.sampled_from((2, 4, 5, 8, 9, 12, 16)))
    sections = []
    for _ in range(draw(st.integers(4, 12))):
        bars = [meter] * draw(lengths)
        if draw(st.integers(0, 5)) == 0:
            bars[-1] = draw(st.integers(1, meter))
        sections.append((draw(st.sampled_from("ABC")), bars))
    counts = st.sampled_from(FOURS if meter == 4 else THREES)
    turn = draw(st.sampled_from((0, 90, 180)))
    parts, extra = [make_part("A", draw(counts), turn, {})], {}
    if draw(st.integers(0, 3)) == 0:
        parts.append(make_part("B", draw(counts), 0, {}))
        extra["sequence"] = draw(st.sampled_from((("A", "B"), ("A", "A", "B"))))
    routine = make_routine(*parts, meter=meter, **extra)
    song = make_song(*sections, meter=meter, bpm=100.0 if meter == 3 else 120.0)
    if draw(st.booleans()):
        song = with_outlook(song, np.random.default_rng(draw(st.integers(0, 99))))
    asked = draw(st.sampled_from(({}, {}, {"intro": draw(st.integers(0, 40))})))
    try:
        return fit_routine(song, routine, max_changes=draw(st.integers(0, 3)), **asked)
    except NoFitError:
        return fit_routine(make_song(("A", 64), meter=meter), make_routine(meter=meter))


def number(word: str) -> int:
    """Read a number as it is written in sentences."""
    return WORDS[word] if word in WORDS else int(word)


def phrase_starts(fit: FitPlan) -> list[int]:
    """List the counts on which phrases begin."""
    return [count for count, value in enumerate(fit.grid.strength) if value > 0]


def table(fit: FitPlan, plan: Plan) -> list[str]:
    """Read the phrase column of the table."""
    text = render(fit)
    assert plan is fit.plan
    rows = re.findall(r"^ +\d+ +[\d:.]+ +\d+ +\d+:00 +(\S+)", text, re.M)
    assert len(rows) == len(plan.walls), text
    return rows


def nearest(starts: list[int], count: int) -> int:
    """Give how far `count` is behind the nearest phrase start, the earlier one of two."""
    return min((count - start for start in starts), key=lambda d: (abs(d), d < 0))


def inside(fit: FitPlan, plan: Plan) -> list[tuple[str, int]]:
    """Give for each phrase start from count 1 what it falls in, and how deep."""
    found = []
    for start in phrase_starts(fit):
        for event in plan.events:
            if isinstance(event, Wall | Tag) and 0 <= start - event.count < event.counts:
                found.append((event.kind, start - event.count))
    return found


def column(fit: FitPlan) -> list[str]:
    """Check the phrase column against the grid: every sign is what the table's foot says."""
    cells = table(fit, fit.plan)
    starts = phrase_starts(fit)
    rows = csv.DictReader(io.StringIO(walls_csv(fit).removeprefix("\ufeff")))
    for row, cell in zip((row for row in rows if not row["event"]), cells, strict=True):
        said = re.fullmatch(r"(\d+) (after|before) the phrase", row["remark"])
        assert bool(said) == (cell not in (*IN_STEP, "-"))
        if said:
            assert int(said[1]) * {"after": 1, "before": -1}[said[2]] == int(cell)
    for cell, wall in zip(cells, fit.plan.walls, strict=True):
        off = nearest(starts, wall.count)
        assert (cell == "on") == (off == 0)
        if cell == "half":
            assert f"{2 * abs(off)}" in phrase_lengths(fit)
        elif cell not in IN_STEP:
            assert int(cell) == off
    return cells


def phrase_lengths(fit: FitPlan) -> set[str]:
    """Phrases as long as dancers count them: 8, 16, 32, 64 counts, in threes 6 to 48."""
    base = 8 if fit.routine.meter == 4 else 6
    return {str(base * n) for n in (2, 4, 8)}


def check_sentence(fit: FitPlan, sentence: str, cells: list[str]) -> None:
    """Check what one sentence claims; fail where it claims what is not known here."""
    body = re.sub(r"^straight through(?: from [\d:.]+)?, ", "", sentence)
    starts, plain = phrase_starts(fit), fit.plans[0]
    if m := re.match(r"the song (.*)$", body):
        check_breaks(fit, m[1])
    elif re.search(r" fix(es)? it$", body):
        assert not set(cells) - set(IN_STEP)
        assert all(into == 0 for kind, into in inside(fit, fit.plan) if kind == "tag")
    elif re.search(r" meets? the phrases better$", body):
        assert not set(cells) - set(IN_STEP)
        assert fit.plan.score > plain.score
    elif body.startswith("advised: "):
        assert set(cells) - set(IN_STEP) or inside_walls(fit, fit.plan)
        if m := re.search(r"(\w+) walls? still starts? off", body):
            assert number(m[1]) == sum(cell not in IN_STEP for cell in cells)
        check_missed(fit, fit.plan, body)
    elif body.startswith("the phrases stay on"):
        group = 8 if "an eight" in body else 6
        assert all(into % group == 0 for _, into in inside(fit, plain))
    elif body.startswith("no restart or tag"):
        assert fit.plan is plain
    elif body.startswith("it hardly fits"):
        assert fit.plan.score < 40
    elif m := re.match(r"it fits (?:in part )?with (\w+) changes? ", body):
        assert number(m[1]) == fit.plan.n_changes
    elif body.startswith(("it fits as it is", "it fits in part as it is")):
        assert fit.plan is plain
    elif m := re.match(r"it keeps to the phrases up to wall (\d+)$", body):
        off = [nearest(starts, wall.count) for wall in plain.walls]
        if fit.plan is plain:
            assert [cell in IN_STEP for cell in cells][: int(m[1]) + 1] == [True] * int(m[1]) + [
                False
            ]
        assert off[int(m[1])] != 0
    elif body == "it is off the phrases from the first wall on":
        assert plain.start_count not in starts
    elif body.startswith("every"):
        check_every(fit, body)
        check_missed(fit, plain, body)
    else:
        assert re.match(r"\d+ counts a minute is too (slow|fast)", body), body


def check_every(fit: FitPlan, body: str) -> None:
    """Check "every wall ..." of the plan danced straight through."""
    plain, starts = fit.plans[0], set(phrase_starts(fit))
    on = [wall.count in starts for wall in plain.walls]
    if body.startswith("every phrase of the song starts a wall"):
        assert all(into == 0 for _, into in inside(fit, plain))
    elif body.startswith("every wall starts on a phrase"):
        assert all(on)
    elif body.startswith("every second wall starts on a phrase"):
        assert on == [i % 2 == 0 for i in range(len(on))]
    else:
        assert body.startswith("every wall keeps to the phrases")
    walls = {part.counts for part in fit.routine.parts}
    if m := re.search(r"a wall is (\w+) phrases? of (\d+) counts", body):
        assert walls == {number(m[1]) * int(m[2])}
    elif m := re.search(r"(\w+) walls make a phrase of (\d+) counts", body):
        assert {number(m[1]) * counts for counts in walls} == {int(m[2])}


def inside_walls(fit: FitPlan, plan: Plan) -> list[int]:
    """Give how deep phrase starts fall in walls and tags, those on count 1 left out."""
    return [into for _, into in inside(fit, plan) if into]


def check_missed(fit: FitPlan, plan: Plan, body: str) -> None:
    """Check "... phrase starts fall inside a wall"."""
    if m := re.search(r"(\w+) phrase starts? (still )?falls? inside a wall", body):
        assert 0 < number(m[1]) <= len(inside_walls(fit, plan))


def check_breaks(fit: FitPlan, words: str) -> None:
    """Check "adds 4 counts before section B at 1:55.0"."""
    starts = phrase_starts(fit)
    for what, n, at in re.findall(
        r"(adds|is)[^\d]*(\d+) counts?\)?(?: short)? before.*? at (\S+?)(?:,| and|$)", words
    ):
        minutes, seconds = at.split(":")
        time_s = 60 * int(minutes) + float(seconds)
        count = int(np.argmin(np.abs(fit.grid.times_s - time_s)))
        assert count in starts
        gap = count - starts[starts.index(count) - 1]
        extra = int(n) if what == "adds" else -int(n)
        assert any((gap - extra) % int(length) == 0 for length in phrase_lengths(fit))
        wall = min(part.counts for part in fit.routine.parts)
        assert gap % wall or len(fit.routine.parts) > 1, "a break that no wall can feel"


@settings(max_examples=300, deadline=None)
@given(fits())
def test_every_sentence_agrees_with_the_table(fit: FitPlan) -> None:
    """Verdict, table and grid say the same."""
    cells = column(fit)
    text = verdict(fit)
    for sentence in re.split(r"(?<=[^%])\. (?=[A-Z])", text.removesuffix(".")):
        for claim in re.split(r": (?=every |no phrase )", sentence):
            check_sentence(fit, claim[:1].lower() + claim[1:], cells)
    if fit.plan.n_changes == 0 and not set(cells) - {"on"}:
        assert "half a phrase" not in text or inside_walls(fit, fit.plan)


def test_a_wall_of_two_phrases() -> None:
    """Phrases of 32 under 64 counts are no break: every wall is on."""
    song = make_song(*[("AB"[i % 2], 8) for i in range(17)])

    text = verdict(fit_routine(song, make_routine(make_part(counts=64))))

    assert text.endswith("every wall starts on a phrase (a wall is two phrases of 32 counts).")


@pytest.mark.parametrize(
    ("counts", "end"),
    [
        (48, "every second wall starts on a phrase (a wall is a phrase and a half of 32 counts)."),
        (16, "every phrase of the song starts a wall (two walls make a phrase of 32 counts)."),
        (32, "every phrase of the song starts a wall."),
    ],
)
def test_walls_beside_phrases_of_32(counts: int, end: str) -> None:
    """It is said how long a wall is in phrases where that is not one."""
    song = make_song(*[("AB"[i % 2], 8) for i in range(13)])

    assert verdict(
        fit_routine(song, make_routine(make_part(counts=counts)), max_changes=0)
    ).endswith(end)


@pytest.mark.parametrize(("counts_of_b", "is_said"), [(16, True), (32, False)])
def test_walls_of_two_lengths_have_no_one_ratio(counts_of_b: int, is_said: bool) -> None:
    """Of a phrased routine it is said how long a wall is in phrases where all are as long."""
    parts = make_part("A", 16), make_part("B", counts_of_b)
    song = make_song(*[("AB"[i % 2], 8) for i in range(13)])

    words = verdict(fit_routine(song, make_routine(*parts, sequence=("A", "A", "B"))))

    assert words.startswith("It fits as it is")
    assert ("two walls make a phrase of 32 counts" in words) == is_said


def test_a_half_phrase_is_no_break_for_a_short_routine() -> None:
    """A stretch of 48 counts keeps walls of 16 in step, and puts walls of 32 out of step."""
    song = make_song(("I", 8), ("A", 12), *[("B", 8)] * 8)
    short, usual = make_routine(make_part(counts=16)), make_routine()

    words = [verdict(fit_routine(song, r, intro=32, max_changes=0)) for r in (short, usual)]

    assert "the song adds" not in words[0].lower()
    assert "The song adds half a phrase (16 counts) before section B at" in words[1]
