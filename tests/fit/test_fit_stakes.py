"""What hangs on a doubt: other readings are planned, and the plan is scored on them."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fit_songs import make_routine, make_song, with_outlook
from phrasefit.cli._corrections import option_words
from phrasefit.corrections.beats import apply_correction
from phrasefit.fit import count_grid, fit_routine
from phrasefit.fit.planner import HEARD_POINTS
from phrasefit.fit.readings import at_level, with_ones_moved, with_section, without_section
from phrasefit.fit.regret import points_as_shown, points_on
from phrasefit.fit.stakes import weighed
from phrasefit.model import (
    Alternative,
    BarMap,
    Confidence,
    Correction,
    Doubt,
    FitPlan,
    Outlook,
    form_starts,
)
from phrasefit.reports.doubts import doubt_lines, main_doubt
from phrasefit.reports.fit_text import render
from phrasefit.reports.questions import questions_of
from phrasefit.reports.words import reasons, verdict, verdict_cell

SQUARE = (("I", 8), ("A", 16), ("B", 16), ("A", 16), ("B", 16))
# Nine bars before the second A: a tag of four counts after it is what the plan hangs on.
LONG = (("I", 8), ("A", 16), ("B", 17), ("A", 16), ("B", 16), ("C", 16))


def doubtful(*sections: tuple[str, int], sure: Confidence, **more: object) -> FitPlan:
    return fit_routine(make_song(*sections, confidence=sure, **more), make_routine())


def rival(kind: str, correction: Correction, probability: float) -> Alternative:
    return Alternative(
        kind=kind, correction=correction, probability=probability, tempo_bpm=120, meter=4
    )


def by_kind(fit: FitPlan) -> dict[str, Doubt]:
    return {doubt.kind.value: doubt for doubt in weighed(fit)}


# ------------------------------------------------------------------------ regret


@st.composite
def songs(draw: st.DrawFn) -> BarMap:
    """Songs of random sections, with weak ones and odd bars."""
    lengths = draw(st.lists(st.sampled_from([4, 8, 8, 9, 12, 16]), min_size=3, max_size=7))
    strengths = tuple(draw(st.sampled_from([0.2, 0.6, 1.0])) for _ in lengths)
    names = [draw(st.sampled_from("ABC")) for _ in lengths]
    return make_song(*zip(names, lengths, strict=True), strengths=strengths, pickup=draw(
        st.integers(0, 3)))  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(songs(), st.sampled_from([16, 32, 48, 64]))
def test_on_its_own_reading_a_plan_is_worth_its_score(song: BarMap, counts: int) -> None:
    """There is no regret where the reading was right."""
    routine = replace(make_routine(), parts=(replace(make_routine().parts[0], counts=counts),))
    if counts + 40 > song.positions.size:
        return
    fit = fit_routine(song, routine, max_changes=2)

    for plan in fit.plans:
        worth = points_on(plan, fit.grid, fit.grid, fit.request)
        assert worth == pytest.approx(plan.phrase_met - plan.charges, abs=1e-6)


@settings(max_examples=40, deadline=None)
@given(songs(), st.integers(-3, 3))
def test_no_plan_beats_the_best_one_of_another_reading(song: BarMap, beats: int) -> None:
    """What was made for another one can only lose, but for what is not heard."""
    here = fit_routine(song, make_routine(), max_changes=2)
    there = fit_routine(with_ones_moved(song, beats), make_routine(), max_changes=2)
    known = {option.start_count for option in there.start_options}
    if here.plan.start_count not in known:
        return  # nobody would begin there, so it was not among the plans

    worth = points_on(here.plan, here.grid, there.grid, here.request)

    assert worth <= max(p.phrase_met - p.charges for p in there.plans) + 0.5 + 1e-6


def test_a_plan_for_the_wrong_one_meets_nothing() -> None:
    """Two counts late every phrase falls between the bars of the dance."""
    song = make_song(*SQUARE)
    fit = fit_routine(song, make_routine())
    other = count_grid(with_ones_moved(song, 2), routine=fit.routine)

    assert fit.plan.score == pytest.approx(100, abs=0.1)
    assert points_on(fit.plan, fit.grid, other, fit.request) < -50


@settings(max_examples=60, deadline=None)
@given(songs(), st.lists(st.floats(0, 1), min_size=3, max_size=3))
def test_the_plan_is_the_best_one_over_all_readings_of_the_one(
    song: BarMap, others: list[float]
) -> None:
    """While no other one is likelier than that of the map, no plan for it promises more."""
    likely = np.array([1.0, *others]) / (1 + sum(others))
    readings = [with_ones_moved(song, beats) for beats in range(4)]
    fits = [fit_routine(reading, make_routine(), max_changes=2) for reading in readings]

    worth = [[points_on(f.plan, f.grid, g.grid, f.request) for g in fits] for f in fits]

    expected = np.clip(worth, 0, 100) @ likely
    assert expected[0] >= expected.max() - HEARD_POINTS


# ---------------------------------------------------------------------- readings


@settings(max_examples=60, deadline=None)
@given(songs(), st.integers(-3, 3))
def test_ones_move_as_a_correction_moves_them(song: BarMap, beats: int) -> None:
    """The planner's quick reading has the bars that the correction gives."""
    moved = with_ones_moved(song, beats)
    corrected = apply_correction(song, Correction(shift_one_beats=beats))

    assert np.array_equal(moved.positions == 1, corrected.positions == 1)
    assert sum(s.n_beats for s in moved.sections) <= song.positions.size


def test_what_is_expected_moves_with_the_ones() -> None:
    """Under another one every line is expected as many beats later; before beat 0 is beat 0."""
    song = with_outlook(make_song(("A", 8), ("B", 8)), np.random.default_rng(1))
    later, earlier = with_ones_moved(song, 2), with_ones_moved(song, -2)

    assert later.all_forms.beats.tolist() == (song.outlook.beats + 2).tolist()
    assert earlier.all_forms.beats.tolist()[:2] == [0, 2]


def test_a_plan_is_worth_more_where_the_form_shown_is_sure() -> None:
    """Doubt costs points that come back once a person says where sections begin."""
    song = make_song(*[("AB"[i % 2], 8) for i in range(9)])
    unsure = fit_routine(with_outlook(song, np.random.default_rng(3)), make_routine(), intro=32)
    sure = fit_routine(song, make_routine(), intro=32)

    assert unsure.plan.score < 90
    assert points_as_shown(unsure, unsure.plan) == pytest.approx(sure.plan.score) == 100
    assert reasons(unsure, unsure.plan)[-1].endswith("; 100 if phrases begin as shown")
    assert reasons(sure, sure.plan)[-1] == "100 of 100: phrases met 100.0"


def test_without_a_section_phrases_run_on() -> None:
    """Nine bars, then eight: phrases of 32 go on from the section before; a stump is none."""
    song = make_song(("A", 16), ("B", 9), ("C", 16), ("D", 16))
    grid = count_grid(song, routine=make_routine())
    other = without_section(grid, 2, 32)

    assert np.flatnonzero(grid.strength).tolist() == [0, 32, 64, 100, 132, 164, 196]
    assert np.flatnonzero(other.strength).tolist() == [0, 32, 64, 96, 128, 164, 196]
    assert other.strength[96] == other.strength[128] == 0.5


def test_with_a_section_phrases_begin_anew() -> None:
    """From there on phrases of 32 are counted, up to the next section."""
    song = make_song(("A", 8), ("B", 20), ("C", 8))
    grid = count_grid(song, routine=make_routine())
    other = with_section(grid, 48, 32)

    assert np.flatnonzero(grid.strength).tolist() == [0, 32, 64, 96, 112]
    assert np.flatnonzero(other.strength).tolist() == [0, 32, 48, 80, 112]
    assert other.strength[48] == 1.0
    assert other.strength[80] == 0.5


def test_a_section_beside_one_shown_takes_its_place() -> None:
    """A bar earlier than shown is the same section, misplaced."""
    grid = count_grid(make_song(("A", 8), ("B", 9), ("C", 8)), routine=make_routine())

    assert np.flatnonzero(grid.strength).tolist() == [0, 32, 68]
    assert np.flatnonzero(with_section(grid, 64, 32).strength).tolist() == [0, 32, 64]


@pytest.mark.parametrize("count", [1, 4, 95, 96, 99])
def test_a_section_at_an_edge_does_no_harm(count: int) -> None:
    """Also on the last count, and right after the first."""
    grid = count_grid(make_song(("A", 8), ("B", 17)), routine=make_routine())

    assert with_section(grid, count, 32).strength[count] == 1.0


def test_a_section_in_doubt_settles_its_own_place_only() -> None:
    """What is expected of phrases elsewhere stays: else a plan changes for another reason."""
    plain = make_song(("A", 16), ("B", 9), ("C", 16), ("D", 16))
    grid = count_grid(with_outlook(plain, np.random.default_rng(1)), routine=make_routine())
    others = {100: without_section(grid, 2, 32), 48: with_section(grid, 48, 32)}

    for settled, other in others.items():
        elsewhere = (other.strength == grid.strength) & (np.arange(len(grid.strength)) != settled)
        assert (other.expected[elsewhere] == grid.expected[elsewhere]).all()
        assert other.expected[settled] == other.strength[settled] == float(settled == 48)


# ------------------------------------------------------------------------ stakes


def test_the_doubt_that_changes_the_plan_comes_first() -> None:
    """A one that may be two beats later costs all; half the tempo changes less."""
    sure = Confidence(beats=0.65, downbeat=0.3)
    rivals = (
        rival("one", Correction(shift_one_beats=2), 0.35),
        rival("half", Correction(level=0.5), 0.35),
    )
    fit = doubtful(*SQUARE, sure=sure, alternatives=rivals)
    found = by_kind(fit)

    assert list(found) == ["one", "beats"]
    assert found["one"].stake > found["beats"].stake
    then = found["one"].consequence
    shifted = fit_routine(with_ones_moved(fit.bar_map, 2), make_routine())
    assert (then.wall, then.time_s) == (1, pytest.approx(shifted.plan.start_s))
    line = next(row for row in doubt_lines(fit, option_words) if row.startswith("check the one"))
    assert "try --shift-one +2 (35%; then count 1 comes at 0:18.0)" in line


def test_beats_are_weighed_as_far_as_another_level_explains_them() -> None:
    """The plan is tried at half the tempo; by what is left of the doubt all may be lost."""
    half = rival("half", Correction(level=0.5), 0.3)
    fit = doubtful(*SQUARE, sure=Confidence(beats=0.6), alternatives=(half,))
    found = by_kind(fit)["beats"]

    assert found.rivals == (half,)
    lost = 0.3 * found.consequence.lost_points + 0.1 * fit.plan.score
    assert found.stake == pytest.approx(lost)
    assert found.stake < 0.4 * fit.plan.score


def test_the_section_that_a_tag_hangs_on() -> None:
    """Weak, it is named with its time, what to listen for and the one correction."""
    strengths = (1.0, 1.0, 1.0, 0.45, 1.0, 1.0)
    fit = doubtful(*LONG, sure=Confidence(phrase=0.6), strengths=strengths)
    (doubt,) = weighed(fit)
    at_s = 1.0 + (8 + 16 + 17) * 2.0

    assert (doubt.kind, doubt.probability, doubt.at_s) == ("section", 0.45, at_s)
    assert doubt.stake == pytest.approx(0.55 * doubt.consequence.lost_points)
    words = verdict(fit, name_correction=option_words)
    assert words.startswith(
        "Check the section at 1:23.0 (45% sure): hear whether the music starts something new"
        " there; if not, try --no-section-at 83.00: "
    )
    assert "If that is right, it fits" in words


def test_a_section_that_is_likely_and_not_shown_is_asked_about() -> None:
    """What the plan would be with it is told, and how to say so."""
    song = make_song(*LONG, confidence=Confidence(phrase=0.5))
    at = 160  # a bar before the fourth section, which a tag leads up to
    outlook = Outlook(
        beats=[0, 32, 96, at, 164, 228, 292], sections=[1.0, 1.0, 1.0, 0.45, 1.0, 1.0, 1.0],
        groups=[16, 32], phrases=np.zeros((2, 7)), likeliest=form_starts(song.sections, ()),
    )  # fmt: skip
    fit = fit_routine(replace(song, outlook=outlook), make_routine())
    doubt = by_kind(fit)["other section"]

    assert doubt.at_s == pytest.approx(1.0 + at / 2)
    assert doubt.probability == pytest.approx(0.55)
    assert doubt.stake == pytest.approx(0.45 * doubt.consequence.lost_points)
    assert doubt_lines(fit, option_words)[0].startswith(
        "check whether a section begins at 1:21.0 (45% likely): hear whether the music starts"
        " something new there; if it does, try --section-at 81.00: then wall 5 begins at 1:21.0"
    )
    assert questions_of(fit.bar_map, fit.grid, [doubt])[0].answers[0].change == Correction(
        sections_at_s=(doubt.at_s,)
    )


def test_sections_that_share_a_count_are_no_trouble() -> None:
    """Counted on every other beat, the first of two that begin a beat apart has no count."""
    song = make_song(*LONG, bpm=170, confidence=Confidence(phrase=0.5))
    third = song.sections[2]
    pair = (
        replace(third, n_beats=1, strength=0.3),
        replace(third, start_beat=third.start_beat + 1, n_beats=third.n_beats - 1, strength=0.3),
    )
    sections = (*song.sections[:2], *pair, *song.sections[3:])
    fit = fit_routine(replace(song, sections=sections), make_routine())

    assert fit.grid.beats_per_count == 2
    assert 2 not in fit.grid.section
    assert weighed(fit)


def test_a_doubt_that_changes_nothing_says_so() -> None:
    """Of two readings with one plan an instructor need not choose."""
    strengths = (1.0, 0.5, 0.5, 0.5, 0.5)
    fit = doubtful(*SQUARE, sure=Confidence(phrase=0.5), strengths=strengths)
    (doubt,) = weighed(fit)

    assert (doubt.kind, doubt.stake) == ("phrases", 0.0)


def test_a_reading_that_the_routine_does_not_go_with() -> None:
    """Bars of three: then it is another dance's song."""
    waltz = rival("meter", Correction(meter=3), 0.4)
    fit = doubtful(*SQUARE, sure=Confidence(meter=0.6), alternatives=(waltz,))
    (doubt,) = weighed(fit)

    assert not doubt.consequence.fits
    assert doubt.stake == pytest.approx(0.4 * fit.plan.score)
    assert "then the routine does not fit" in doubt_lines(fit, option_words)[0]


def test_the_count_may_be_the_beat() -> None:
    """A song of 170 counted at 85: what would change is told, and the option."""
    fit = fit_routine(make_song(*SQUARE, bpm=170), make_routine())
    (doubt,) = weighed(fit)
    beats = fit_routine(at_level(fit.bar_map, 1.0), make_routine())

    assert fit.plan.start_s == beats.plan.start_s
    assert doubt.consequence.wall == 2
    assert doubt.consequence.time_s == pytest.approx(beats.plan.walls[1].start_s)
    (line,) = doubt_lines(fit, lambda correction: option_words(correction, 2.0))
    assert "if not, try --double: then wall 2 begins at" in line


@settings(max_examples=40, deadline=None)
@given(songs(), st.floats(0.3, 1.0), st.floats(0.3, 1.0), st.floats(0.3, 1.0))
def test_no_doubtful_plan_is_called_fit_without_its_doubt(
    song: BarMap, one: float, meter: float, phrase: float
) -> None:
    """Whatever is doubtful opens the verdict; a table's cell says to check it."""
    sure = Confidence(downbeat=one, meter=meter, phrase=phrase)
    rivals = (rival("one", Correction(shift_one_beats=2), 1 - one),)
    song = replace(song, confidence=sure, alternatives=rivals)
    fit = fit_routine(song, make_routine(), max_changes=1)
    stakes = [doubt.stake for doubt in weighed(fit)]

    assert bool(stakes) == (min(one, meter, phrase) < 0.7)
    assert stakes == sorted(stakes, reverse=True)
    assert verdict_cell(fit).startswith("check the ") == bool(stakes)
    assert verdict(fit).startswith("Check the ") == bool(stakes)
    if stakes:
        said = " ".join(render(fit).split())
        assert re.search(r"\. If that is right, it (fits|hardly fits)", said)
        assert all(" ".join(line.split())[1:] in said for line in doubt_lines(fit)[1:])
        assert main_doubt(fit).kind == weighed(fit)[0].kind
