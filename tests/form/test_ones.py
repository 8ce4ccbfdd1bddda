"""Form and opening tell which beat is the one: sections begin on ones, and so do most songs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.fft import dct

from form_songs import MadeSong, made_song, plain_map
from phrasefit.form import weigh_ones
from phrasefit.form.evidence import N_FLUX, N_MEL, N_TIMBRE, BeatEvidence
from phrasefit.form.ones import OPENS_ON, ones_later
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
        kept += np.array_equal(
            weigh_ones(doubted(song, right), song.evidence, None).positions, right
        )
        moved += np.array_equal(
            weigh_ones(doubted(song, ones_later(right, 2, 4)), song.evidence, None).positions, right
        )

    assert kept == 12
    assert moved >= 9


def test_alternatives_are_told_from_the_new_ones() -> None:
    """Where the ones move by two beats, what was one beat later is now three."""
    songs = [made_song(PLAN, np.random.default_rng(seed)) for seed in range(12)]
    weighed = [
        (
            song,
            weigh_ones(
                doubted(song, ones_later(song.bar_map.positions, 2, 4)), song.evidence, None
            ),
        )
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
    weighed = weigh_ones(doubted(song, song.bar_map.positions), song.evidence, None)
    by_shift = {a.correction.shift_one_beats: a.probability for a in weighed.alternatives}

    assert by_shift.get(2, 0.0) + weighed.confidence.downbeat == pytest.approx(0.9, abs=0.02)
    assert by_shift[1] == 0.1


def test_a_waltz_has_no_half_bar() -> None:
    """In threes sections move no one."""
    song = made_song([("A", [3] * 8), ("B", [3] * 8)], np.random.default_rng(0), meter=3)
    weighed = weigh_ones(song.bar_map, song.evidence, None)

    assert np.array_equal(weighed.positions, song.bar_map.positions)
    assert weighed.confidence == song.bar_map.confidence


# --------------------------------------------------------------------- how a song opens


def opening(*, first: int, meter: int = 4, bass: float = 0.0) -> tuple[BarMap, BeatEvidence]:
    """A song without form whose first beat was heard as `first`, with so much bass on it."""
    positions = (np.arange(64) + first - 1) % meter + 1
    bar_map = plain_map(positions == 1, meter)
    others = [
        Alternative(
            kind="one",
            correction=Correction(shift_one_beats=shift),
            probability=0.5 / (meter - 1),
            tempo_bpm=120,
            meter=meter,
        )
        for shift in range(1, meter)
    ]
    bar_map = replace(
        bar_map, confidence=Confidence(beats=1.0, downbeat=0.5), alternatives=tuple(others)
    )
    spectrum = np.zeros((64, N_MEL))
    spectrum[0, :12] = bass
    return bar_map, BeatEvidence(
        timbre=dct(spectrum, norm="ortho", axis=1)[:, :N_TIMBRE],
        harmony=np.zeros((64, 12)),
        loudness_db=np.full(64, -20.0),
        flux=np.zeros((64, N_FLUX)),
    )


@pytest.mark.parametrize(("meter", "first"), [(4, 2), (4, 3), (4, 4), (3, 2), (3, 3)])
def test_a_song_that_opens_with_its_bass_opens_on_a_one(meter: int, first: int) -> None:
    """In doubt, the first beat is the one: most songs begin so; the places keep their sum."""
    bar_map, evidence = opening(first=first, meter=meter)
    weighed = weigh_ones(bar_map, evidence, float(bar_map.beat_times_s[0]))

    assert weighed.positions[:meter].tolist() == [*range(1, meter + 1)]
    assert weighed.confidence.downbeat > 0.5
    listed = sum(other.probability for other in weighed.alternatives)
    assert listed + weighed.confidence.downbeat == pytest.approx(1, abs=0.03)


def test_one_of_the_places_is_the_one() -> None:
    """Where bars leave most of it open, each place stands for its part of what the beats are."""
    bar_map, evidence = opening(first=1)
    open_ = replace(
        bar_map,
        confidence=Confidence(beats=0.5, downbeat=0.1),
        alternatives=tuple(replace(a, probability=0.1) for a in bar_map.alternatives),
    )
    weighed = weigh_ones(open_, evidence, 1.0)

    listed = sum(other.probability for other in weighed.alternatives)
    assert listed + weighed.confidence.downbeat == pytest.approx(0.5, abs=0.02)
    assert weighed.confidence.downbeat > 0.4


def test_the_place_heard_before_is_still_listed() -> None:
    """Where the ones moved, the correction that is offered moves them back."""
    bar_map, evidence = opening(first=4)
    weighed = weigh_ones(bar_map, evidence, 1.0)
    back = {a.correction.shift_one_beats: a.probability for a in weighed.alternatives}

    assert weighed.positions[:2].tolist() == [1, 2]
    assert np.array_equal(ones_later(weighed.positions, 1, 4), bar_map.positions)
    assert back[1] == max(back.values())


def test_a_pickup_is_played_without_the_bass() -> None:
    """Melody alone on the first beat says nothing of where the one is."""
    bar_map, evidence = opening(first=4, bass=-2.5)
    weighed = weigh_ones(bar_map, evidence, 1.0)

    assert np.array_equal(weighed.positions, bar_map.positions)
    assert weighed.confidence.downbeat == 0.5


@pytest.mark.parametrize("opens_s", [None, 0.2])
def test_the_first_beat_heard_may_not_be_the_first_of_the_music(opens_s: float | None) -> None:
    """A piece cut from a song, and music that begins long before its beats, open nowhere."""
    bar_map, evidence = opening(first=3)

    assert np.array_equal(weigh_ones(bar_map, evidence, opens_s).positions, bar_map.positions)


def test_what_is_surely_heard_is_not_moved() -> None:
    """One song in eighteen opens on its fourth beat: 0.98 for that weighs more."""
    bar_map, evidence = opening(first=4)
    sure = replace(
        bar_map,
        confidence=Confidence(beats=1.0, downbeat=0.98),
        alternatives=tuple(replace(a, probability=0.005) for a in bar_map.alternatives),
    )
    weighed = weigh_ones(sure, evidence, 1.0)

    assert np.array_equal(weighed.positions, bar_map.positions)
    assert 0.7 < weighed.confidence.downbeat < 0.98


def test_songs_open_on_the_one() -> None:
    """Common practice, no source: music begins on one, else with a pickup on the last beat."""
    for counts in OPENS_ON.values():
        assert counts[0] > 0.8 * sum(counts)
        assert counts[-1] == max(counts[1:])


# ------------------------------------------------------------------------- moving the ones


@pytest.mark.parametrize(
    ("shift", "before", "after"),
    [
        (2, [1, 2, 3, 4, 1, 2, 3, 4], [3, 4, 1, 2, 3, 4, 1, 2]),
        (2, [3, 4, 1, 2, 3, 4], [1, 2, 3, 4, 1, 2]),
        (2, [1, 2, 3, 4, 1, 2, 1, 2, 3, 4], [3, 4, 1, 2, 3, 4, 5, 6, 1, 2]),  # a bar of two
        (1, [1, 2, 3, 4, 1, 2, 3, 4], [4, 1, 2, 3, 4, 1, 2, 3]),
        (3, [2, 3, 4, 1, 2, 3, 4], [3, 4, 1, 2, 3, 4, 1]),
    ],
)
def test_ones_later(shift: int, before: list[int], after: list[int]) -> None:
    """Every one moves by as many beats; after a bar of two, bars keep their own length."""
    assert ones_later(np.array(before), shift, 4).tolist() == after
