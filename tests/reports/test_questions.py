"""Doubts as questions for the ear: what is played, and which correction an answer is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fit_songs import make_song
from phrasefit.fit.grid import count_grid
from phrasefit.model import Alternative, Confidence, Correction, Doubt, DoubtKind
from phrasefit.reports.doubts import doubts_alone
from phrasefit.reports.questions import questions_of

SQUARE = (("A", 8), ("B", 16), ("C", 16))


def asked(bar_map, *settled: str):
    """Ask about a song alone."""
    grid = count_grid(bar_map)
    return questions_of(bar_map, grid, doubts_alone(bar_map, grid), settled=settled)


def test_a_sure_song_asks_nothing() -> None:
    """A song without doubts shows no card."""
    assert asked(make_song(*SQUARE)) == ()


def test_the_one_is_heard_on_the_same_two_bars() -> None:
    """Each answer clicks on its own ones, on the same stretch; it is the correction it plays."""
    shift = Correction(shift_one_beats=2)
    rival = Alternative(kind="one", correction=shift, probability=0.4, tempo_bpm=120.0, meter=4)
    song = make_song(*SQUARE, confidence=Confidence(downbeat=0.5), alternatives=(rival,))

    (question,) = asked(song)

    here, there = question.answers
    assert question.words == "Which one is the one?"
    assert question.neither == "neither"
    assert (here.hearing.start_s, here.hearing.end_s) == (
        there.hearing.start_s,
        there.hearing.end_s,
    )
    beats = np.searchsorted(song.beat_times_s, [*here.hearing.clicks_s, *there.hearing.clicks_s])
    assert song.positions[beats].tolist() == [1, 1, 3, 3]
    assert here.change == Correction(ones_at_s=(here.hearing.start_s,))
    assert there.change == shift


def test_another_level_is_an_answer_where_it_may_be_what_is_wrong_with_the_beat() -> None:
    """Its counts are heard on the same stretch, half as many, and it is the correction."""
    half = Alternative(
        kind="half", correction=Correction(level=0.5), probability=0.3, tempo_bpm=60.0, meter=4
    )
    song = make_song(*SQUARE, confidence=Confidence(beats=0.6), alternatives=(half,))

    (question,) = asked(song)

    here, there = question.answers
    assert (question.words, question.neither) == ("Which count is yours?", "neither")
    assert there.words == "half as fast, 60 beats a minute (30%)"
    assert there.change == half.correction
    assert here.hearing.clicks_s[::2] == pytest.approx(there.hearing.clicks_s)


def test_a_beat_that_may_be_wrong_at_every_level_is_tapped_along_to() -> None:
    """A rare level explains hardly any of the doubt: no answer is offered but yes."""
    half = Alternative(
        kind="half", correction=Correction(level=0.5), probability=0.05, tempo_bpm=60.0, meter=4
    )
    (question,) = asked(make_song(*SQUARE, confidence=Confidence(beats=0.6), alternatives=(half,)))

    assert question.words == "Does the click stay with the beat?"
    assert [answer.words for answer in question.answers] == ["yes, it stays"]


def test_a_section_is_heard_four_counts_before_and_after() -> None:
    """The weakest starts are asked about, each with a click on the place."""
    song = make_song(*SQUARE, strengths=(1.0, 0.3, 0.9), confidence=Confidence(phrase=0.6))
    at_s = float(song.beat_times_s[32])

    first = asked(song)[0]

    yes, no = first.answers
    assert yes.hearing.clicks_s == pytest.approx([at_s])
    assert yes.hearing.start_s == pytest.approx(at_s - 4 * 0.5)
    assert yes.hearing.end_s == pytest.approx(at_s + 4 * 0.5)
    assert yes.change == Correction(sections_at_s=(at_s,))
    assert no.change == Correction(no_section_at_s=(at_s,))
    assert first.key not in {question.key for question in asked(song, first.key)}


def test_every_kind_of_doubt_is_asked_or_has_nothing_to_hear() -> None:
    """A kind of doubt that is added must be asked about, too."""
    song = make_song(*SQUARE)
    grid = count_grid(song)
    silent = {DoubtKind.NO_SECTIONS, DoubtKind.PHRASES}  # of a song whose sections are all sure
    for kind in DoubtKind:
        doubt = Doubt(kind=kind, probability=0.5, meter=4, at_s=float(song.beat_times_s[32]))
        assert bool(questions_of(song, grid, [doubt])) == (kind not in silent), kind
    weak = replace(song, sections=tuple(replace(s, strength=0.4) for s in song.sections))
    assert len(questions_of(weak, grid, [Doubt(kind=DoubtKind.PHRASES, probability=0.5)])) == 2
