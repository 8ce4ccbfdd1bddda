"""Where the dance begins: a start on the vocals is as good as a usual intro."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fit_songs import make_routine, make_song
from phrasefit.errors import NoFitError
from phrasefit.fit import fit_routine
from phrasefit.fit.starts import start_charge
from phrasefit.model import BarMap, FitPlan
from phrasefit.reports.fit_text import render
from phrasefit.reports.start_words import why_not

# 24 counts of intro: no number that dancers wait for without being told.
SONG = make_song(("I", 6), ("A", 16), ("B", 16), ("A", 16), ("B", 16))
VOCALS_S = 1.0 + 24 * 0.5


def sung_at(time_s: float, song: BarMap = SONG) -> BarMap:
    """Say that the singing begins there."""
    return replace(song, singing_at_s=time_s)


def charge_at(fit: FitPlan, count: int) -> float:
    return start_charge(fit.grid, count, fit.request)


@pytest.mark.parametrize("late_s", [-1.0, -0.4, 0.0, 0.4, 0.9])
def test_words_before_the_one_lead_up_to_it(late_s: float) -> None:
    """The first line counts from the nearest one; half-way between two from the later."""
    fit = fit_routine(sung_at(VOCALS_S + late_s), make_routine())

    assert fit.grid.singing == 24
    assert fit_routine(sung_at(VOCALS_S - 1.1), make_routine()).grid.singing == 20


def test_the_vocals_need_no_explaining() -> None:
    """Once marked, an intro of 24 costs nothing: common practice ("start on the vocals")."""
    plain, sung = (fit_routine(song, make_routine()) for song in (SONG, sung_at(VOCALS_S)))

    assert plain.grid.singing is None
    assert charge_at(plain, 24) > 0
    assert charge_at(sung, 24) == 0
    assert sung.plan.start_count == 24
    assert sung.plan.score > plain.plan.score
    text = render(sung)
    assert "count 1 on the vocals at 0:13" in text
    assert "where the singing begins is not known" not in text
    assert "where the singing begins is not known" in render(plain)


def test_no_phrase_has_to_begin_there() -> None:
    """Singing is heard, whatever the map says; without a mark the same start is a weak one."""
    song = make_song(("A", 64))
    fit = fit_routine(sung_at(1.0 + 20 * 0.5, song), make_routine())

    assert fit.grid.strength[20] == 0
    assert charge_at(fit, 20) == 0
    assert charge_at(fit, 28) > 10


def test_there_must_be_room_to_count_in() -> None:
    """Singing on the first one leaves none, and the routine's own intro goes first."""
    sung = fit_routine(sung_at(1.0), make_routine())
    square = make_song(("I", 8), ("A", 16), ("B", 16), ("A", 16), ("B", 16))
    asked = fit_routine(sung_at(VOCALS_S, square), make_routine(intro_counts=32))

    assert charge_at(sung, 0) == sung.request.costs.start_sudden
    assert charge_at(asked, 24) == asked.request.costs.start_other
    assert asked.plan.start_count == 32
    (line,) = [row for row in render(asked).splitlines() if "on the vocals" in row]
    assert "the routine asks for 32" in line


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.sampled_from([2, 4, 6, 8, 9, 12, 16]), min_size=4, max_size=9),
    st.none() | st.integers(0, 60),
    st.sampled_from([None, 8, 16, 32]),
)
def test_every_other_start_has_its_reason(
    lengths: list[int], beat: int | None, intro: int | None
) -> None:
    """What is listed says why not, and 16 and 32 and the vocals are listed if not taken."""
    song = make_song(*(("ABC"[i % 3], n) for i, n in enumerate(lengths)))
    if beat is not None:
        song = sung_at(1.0 + beat * 0.5, song)
    try:
        fit = fit_routine(song, make_routine(intro_counts=intro), max_changes=1)
    except NoFitError:
        return
    said = {o.start_count: why_not(fit, o) for o in fit.start_options}
    text = " ".join(render(fit).split())

    assert all(said.values())
    for option in fit.start_options:
        wanted = option.intro_counts in (16, 32) or option.start_count == fit.grid.singing
        if wanted and option.start_count != fit.plan.start_count:
            assert f"intro {option.intro_counts} counts score {option.score:.0f} " in text
            assert said[option.start_count] in text


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 160), st.sampled_from([None, 8, 16, 32]))
def test_a_mark_never_makes_a_start_dearer(beat: int, intro: int | None) -> None:
    """Every other start costs what it did; the plan with the mark is never worse."""
    routine = make_routine(intro_counts=intro)
    plain = fit_routine(SONG, routine)
    sung = fit_routine(sung_at(1.0 + beat * 0.5), routine)

    assert sung.grid.bar_start[sung.grid.singing]
    assert np.array_equal(sung.grid.strength, plain.grid.strength)
    for count in range(0, 100, 4):
        here, before = charge_at(sung, count), charge_at(plain, count)
        assert here <= before
        assert here == before or count == sung.grid.singing
    assert sung.plan.score >= plain.plan.score - 0.5
