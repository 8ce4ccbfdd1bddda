"""Form tells one from three: sections that begin half a bar beside the ones move them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from form_songs import MadeSong, made_song
from phrasefit.form import weigh_half_bar
from phrasefit.form.half_bar import half_later
from phrasefit.model import Alternative, BarMap, Confidence, Correction

PLAN = [(letter, [4] * 8) for letter in "ABABCB"]


def doubted(song: MadeSong, positions: np.ndarray) -> BarMap:
    """A map whose bars are hardly surer than those half a bar later."""
    other = Alternative(
        kind="one",
        correction=Correction(shift_one_beats=2),
        probability=0.4,
        tempo_bpm=120,
        meter=4,
    )
    next_ = replace(other, correction=Correction(shift_one_beats=1), probability=0.1)
    return replace(
        song.bar_map,
        positions=positions,
        confidence=Confidence(beats=1.0, downbeat=0.5),
        alternatives=(other, next_),
    )


def test_sections_bring_a_doubtful_one_to_its_half() -> None:
    """Whichever half was heard, the one ends up where the sections begin, in most songs."""
    songs = [made_song(PLAN, np.random.default_rng(seed)) for seed in range(12)]
    kept = moved = 0
    for song in songs:
        right = song.bar_map.positions
        kept += np.array_equal(weigh_half_bar(doubted(song, right), song.evidence).positions, right)
        moved += np.array_equal(
            weigh_half_bar(doubted(song, half_later(right)), song.evidence).positions, right
        )

    assert kept == 12
    assert moved >= 9


def test_alternatives_are_told_from_the_new_ones() -> None:
    """Where the ones move by two beats, what was one beat later is now three."""
    songs = [made_song(PLAN, np.random.default_rng(seed)) for seed in range(12)]
    weighed = [
        (song, weigh_half_bar(doubted(song, half_later(song.bar_map.positions)), song.evidence))
        for song in songs
    ]
    moved = [m for song, m in weighed if np.array_equal(m.positions, song.bar_map.positions)]
    assert moved
    for bar_map in moved:
        options = {a.correction.shift_one_beats for a in bar_map.alternatives}
        assert 3 in options
        assert 1 not in options


def test_the_other_half_keeps_what_is_left_of_the_probability() -> None:
    """The two halves share what they had together; other places keep theirs."""
    song = made_song(PLAN, np.random.default_rng(1))
    weighed = weigh_half_bar(doubted(song, song.bar_map.positions), song.evidence)
    by_shift = {a.correction.shift_one_beats: a.probability for a in weighed.alternatives}

    assert by_shift.get(2, 0.0) + weighed.confidence.downbeat == pytest.approx(0.9, abs=0.02)
    assert by_shift[1] == 0.1


def test_a_waltz_has_no_half_bar() -> None:
    """Maps in other meters come back as they were."""
    song = made_song([("A", [3] * 8), ("B", [3] * 8)], np.random.default_rng(0), meter=3)

    assert weigh_half_bar(song.bar_map, song.evidence) is song.bar_map


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ([1, 2, 3, 4, 1, 2, 3, 4], [3, 4, 1, 2, 3, 4, 1, 2]),
        ([3, 4, 1, 2, 3, 4], [1, 2, 3, 4, 1, 2]),
        ([1, 2, 3, 4, 1, 2, 1, 2, 3, 4], [3, 4, 1, 2, 3, 4, 5, 6, 1, 2]),  # a bar of two
    ],
)
def test_half_a_bar_later(before: list[int], after: list[int]) -> None:
    """Every one moves by two beats; after a bar of two, bars keep their own length."""
    assert half_later(np.array(before)).tolist() == after
