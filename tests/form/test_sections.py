"""Sections of made-up songs: boundaries, letters, strengths."""

from __future__ import annotations

import dataclasses
from itertools import cycle

import mir_eval
import numpy as np
import pytest

from form_songs import BEAT_S, MadeSong, made_song
from phrasefit.form import add_form
from phrasefit.form.boundary_cues import CUES, PLACES, bar_evidence
from phrasefit.form.boundary_model import DILATIONS, line_odds, line_weights
from phrasefit.form.evidence import BeatEvidence
from phrasefit.form.section_lengths import log_share
from phrasefit.form.sections import find_sections, length_scores, segment_scores
from phrasefit.model import Section

FOURS = [4] * 8
SONG = [
    ("I", [4] * 4), ("A", FOURS), ("B", FOURS), ("A", FOURS), ("B", FOURS),
    ("C", FOURS), ("B", FOURS), ("B", FOURS),
]  # fmt: skip
# An added bar after the first chorus, a half bar at the end of the second verse, and
# a verse cut to seven bars.
ODD_SONG = [
    ("I", [4] * 4), ("A", FOURS), ("B", [4] * 9), ("A", [4] * 8 + [2]), ("B", FOURS),
    ("C", FOURS), ("A", [4] * 7), ("B", FOURS),
]  # fmt: skip


def sections_of(song: MadeSong) -> tuple[Section, ...]:
    bars = bar_evidence(song.evidence, song.bar_map.positions, song.bar_map.meter)
    return find_sections(bars, segment_scores(bars))


def found_starts(song: MadeSong) -> list[int]:
    return [section.start_beat for section in sections_of(song)]


def scores(song: MadeSong) -> tuple[float, float, float]:
    """Boundary F at 0.5 s and 3 s and pairwise letter F, as mir_eval defines them.

    C. Raffel et al., "mir_eval: a transparent implementation of common MIR metrics",
    ISMIR 2014.
    """
    sections = sections_of(song)
    n = song.bar_map.beat_times_s.size
    truth = BEAT_S * np.array([*song.section_starts, n], dtype=float)
    guess = BEAT_S * np.array([*(s.start_beat for s in sections), n], dtype=float)
    truth_spans = np.stack([truth[:-1], truth[1:]], axis=1)
    guess_spans = np.stack([guess[:-1], guess[1:]], axis=1)
    guess_spans[0, 0] = truth_spans[0, 0]
    boundary_f = [
        mir_eval.segment.detection(truth_spans, guess_spans, window=window, trim=True)[2]
        for window in (0.5, 3.0)
    ]
    letters = [section.letter for section in sections]
    pairwise_f = mir_eval.segment.pairwise(truth_spans, song.letters, guess_spans, letters)[2]
    return *boundary_f, pairwise_f


@pytest.mark.parametrize("plan", [SONG, ODD_SONG], ids=["even", "odd"])
def test_known_sections_are_found(plan: list, rng: np.random.Generator) -> None:
    """Over ten songs with noise, most boundaries are exact and letters agree."""
    results = np.array([scores(made_song(plan, rng, noise=1.0)) for _ in range(10)])
    exact_f, near_f, pairwise_f = results.mean(axis=0)

    assert exact_f > 0.85
    assert near_f > 0.9
    assert pairwise_f > 0.8


def test_clear_music_gives_the_sections_exactly(rng: np.random.Generator) -> None:
    """With little noise nothing is missed, the added and half bars included."""
    song = made_song(ODD_SONG, rng, noise=0.3)

    assert found_starts(song) == song.section_starts


def test_same_music_has_the_same_letter(rng: np.random.Generator) -> None:
    """Verses are one letter, choruses another, in order of appearance."""
    song = made_song(SONG, rng, noise=0.3)
    sections = sections_of(song)

    assert "".join(s.letter for s in sections) == "ABCBCDCC"


def test_waltz_sections_are_found(rng: np.random.Generator) -> None:
    """Bars of three are bars like any other."""
    plan = [("A", [3] * 8), ("B", [3] * 8), ("A", [3] * 8), ("C", [3] * 8), ("B", [3] * 8)]
    song = made_song(plan, rng, meter=3, noise=0.4, pickup=1)

    assert found_starts(song) == song.section_starts


def test_bars_of_two_have_sections_of_sixteen(rng: np.random.Generator) -> None:
    """Counted in twos, sections have twice as many bars; at most one is halved."""
    plan = [(letter, [2] * 16) for letter in "ABACB"]
    song = made_song(plan, rng, meter=2, noise=0.4)
    found = found_starts(song)

    assert set(song.section_starts) <= set(found)
    assert len(found) <= len(plan) + 1


def test_a_song_has_one_form_in_twos_and_in_fours() -> None:
    """Noisy songs counted in twos are divided as they are when counted in fours."""
    same = 0
    for seed, letters in zip(range(24), cycle(("ABABCB", "AABAAB", "ABACABA")), strict=False):
        plan = [(letter, [4] * 8) for letter in letters]
        song = made_song(plan, np.random.default_rng(seed), noise=2.0)
        fours = song.bar_map
        twos = dataclasses.replace(fours, positions=(fours.positions - 1) % 2 + 1, meter=2)
        starts = [
            [section.start_beat for section in add_form(bar_map, song.evidence).sections]
            for bar_map in (fours, twos)
        ]
        same += starts[0] == starts[1]

    assert same >= 20


def test_bars_of_two_come_in_pairs() -> None:
    """An odd number of bars of two costs as much as half a bar in four is rare."""
    line = np.arange(0, 66, 2)
    twos, fours = length_scores(line, 2), length_scores(line[::2], 4)

    assert np.array_equal(twos[::2, ::2], fours)
    assert twos[2, 19] == pytest.approx(log_share(np.array(8.5)) + np.log(154 / 7419))
    assert twos[3, 19] == log_share(np.array(8.0))
    assert twos[1, -1] == log_share(np.array(15.5), "last")


def test_sections_fill_the_song_from_the_first_one(rng: np.random.Generator) -> None:
    """No gap, no overlap; every start is a downbeat; a pickup belongs to none."""
    song = made_song(ODD_SONG, rng, pickup=3, noise=1.5)
    sections = sections_of(song)
    ends = [section.start_beat + section.n_beats for section in sections]

    assert sections[0].start_beat == 3
    assert [section.start_beat for section in sections[1:]] == ends[:-1]
    assert ends[-1] == song.bar_map.beat_times_s.size
    assert all(song.bar_map.positions[section.start_beat] == 1 for section in sections)
    assert all(0 <= section.strength <= 1 for section in sections)


def test_noise_has_weak_boundaries(rng: np.random.Generator) -> None:
    """Where all bars are chance, phrases are doubted; in clear music they are not."""
    clear = made_song(SONG, rng, noise=0.3)
    chance = made_song(SONG, rng, noise=30.0)
    doubt = add_form(chance.bar_map, chance.evidence).confidence.phrase
    trust = add_form(clear.bar_map, clear.evidence).confidence.phrase

    assert trust > 0.9
    assert doubt < trust - 0.25


def test_strengths_hold(rng: np.random.Generator) -> None:
    """Of boundaries given a probability, about that share is right (100 noisy songs)."""
    strengths, right = [], []
    for _ in range(100):
        song = made_song(ODD_SONG, rng, noise=2.5)
        for section in sections_of(song)[1:]:
            strengths.append(section.strength)
            right.append(section.start_beat in song.section_starts)
    strengths, right = np.array(strengths), np.array(right)
    weak, strong = strengths < 0.6, strengths >= 0.8

    assert weak.any() and strong.any()
    assert right[strong].mean() > right[weak].mean() + 0.1
    assert abs(right.mean() - strengths.mean()) < 0.2


@pytest.mark.parametrize("n_bars", [1, 2, 3, 5])
def test_short_clips_are_one_section(n_bars: int, rng: np.random.Generator) -> None:
    """A few bars are too little to divide."""
    song = made_song([("A", [4] * n_bars)], rng)

    assert found_starts(song) == [0]


def test_silence_and_sameness_do_no_harm() -> None:
    """Evidence without any difference gives finite strengths."""
    n = 64
    evidence = BeatEvidence(
        timbre=np.zeros((n, 20)),
        harmony=np.zeros((n, 12)),
        loudness_db=np.full(n, -100.0),
        flux=np.zeros((n, 4)),
    )
    bars = bar_evidence(evidence, np.tile([1, 2, 3, 4], 16), 4)
    sections = find_sections(bars, segment_scores(bars))

    assert all(np.isfinite(section.strength) for section in sections)


def test_no_downbeat_no_sections(rng: np.random.Generator) -> None:
    """Beats without a one cannot be divided."""
    song = made_song([("A", [4] * 4)], rng)

    without_ones = dataclasses.replace(song.bar_map, positions=np.full(16, 2))

    assert bar_evidence(song.evidence, without_ones.positions, 4) is None
    assert add_form(without_ones, song.evidence).sections == ()


def test_every_cue_has_a_column_and_a_weight(rng: np.random.Generator) -> None:
    """Names, columns and the shipped weights go together; cues are free of level."""
    song = made_song(SONG, rng)
    bars = bar_evidence(song.evidence, song.bar_map.positions, 4)
    weights = line_weights()

    assert bars.cues.shape == (60, len(CUES) + len(PLACES))
    assert np.abs(bars.cues[1:, : len(CUES)].mean(axis=0)).max() < 0.1
    assert weights["in.weight"].shape[1] == 3 * bars.cues.shape[1]
    assert {name for name in weights if name.startswith("block.")} == {
        f"block.{index}.{layer}.{kind}"
        for index in range(len(DILATIONS))
        for layer in ("wide", "out")
        for kind in ("weight", "offset")
    }


def test_lines_far_away_are_not_heard(rng: np.random.Generator) -> None:
    """A line is judged by what is up to sixteen bars away: the rest of the song is the same."""
    cues = rng.normal(size=(80, len(CUES) + len(PLACES)))
    other = cues.copy()
    other[60:] = rng.normal(size=other[60:].shape)

    odds, phrase_odds = line_odds(cues)
    again, phrase_again = line_odds(other)

    assert np.allclose(odds[:43], again[:43]) and np.allclose(phrase_odds[:43], phrase_again[:43])
    assert not np.allclose(odds[60:], again[60:])


def test_lengths_are_as_measured() -> None:
    """Eight bars are most usual, then 16, 4, 12; a half bar more is rarer than none."""
    shares = np.exp(log_share(np.arange(1, 33)))

    assert list(np.argsort(-shares)[:4] + 1) == [8, 16, 4, 12]
    assert shares.sum() == pytest.approx(1.0, abs=0.01)
    assert log_share(np.array(9.0)) < log_share(np.array(8.5)) < log_share(np.array(8.0))
    assert np.isneginf(log_share(np.array([0.0, -3.0]))).all()
