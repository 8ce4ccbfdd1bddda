"""The song in counts: level, odd bars, strength of phrase starts."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fit_songs import make_part, make_routine, make_song
from phrasefit.errors import NoFitError, ParameterError
from phrasefit.fit import Costs
from phrasefit.fit.grid import choose_level, count_grid, dance_phrase_counts
from phrasefit.model import BarMap, Outlook, Phrase, form_starts


def starts_of(grid) -> list[int]:
    """List the counts on which phrases start."""
    return np.flatnonzero(grid.strength).tolist()


def test_one_count_a_beat_at_usual_tempo() -> None:
    """A song of 120 has a count on every beat, and the end of the last one."""
    song = make_song(("A", 8))

    grid = count_grid(song)

    assert grid.beats_per_count == 1.0
    assert grid.counts_per_minute == 120.0
    assert np.allclose(grid.times_s, [*song.beat_times_s, song.end_s])
    assert np.flatnonzero(grid.bar_start).tolist() == list(range(0, 32, 4))


@pytest.mark.parametrize(
    ("bpm", "meter", "level"),
    [
        (120, 4, 1.0),
        (70, 4, 1.0),
        (150, 4, 1.0),
        (158, 4, 1.0),
        (160, 4, 2.0),
        (170, 4, 2.0),  # danced at 85
        (66, 4, 0.5),
        (55, 4, 0.5),
        (104, 2, 1.0),
        (170, 3, 1.0),  # a bar of three cannot be halved
        (90, 3, 1.0),
        (180, 6, 1.0),  # without a routine a six is two waltz bars
    ],
)
def test_level_without_a_routine(bpm: float, meter: int, level: float) -> None:
    """The danceable range decides; as tracked wins inside it."""
    assert choose_level(make_song(("A", 8), bpm=bpm, meter=meter)) == level


@pytest.mark.parametrize(
    ("bpm", "tempo", "level"),
    [
        (170, (160, 180), 1.0),
        (85, (160, 180), 0.5),
        (170, (80, 90), 2.0),
        (120, (60, 130), 1.0),
        (
            104,
            (200, 208),
            0.5,
        ),  # quickstep is often tagged at half (50 to 52 bars a minute in the tables)
    ],
)
def test_level_by_the_range_of_the_routine(bpm: float, tempo, level: float) -> None:
    """The routine's own tempo range decides before the danceable one."""
    routine = make_routine(tempo_bpm=tempo)

    assert choose_level(make_song(("A", 8), bpm=bpm), routine) == level


def test_six_eight_is_danced_to_the_dotted_beat_by_routines_in_fours() -> None:
    """A bar of six eighths has two counts."""
    song = make_song(("A", 4), meter=6, bpm=186)

    grid = count_grid(song, routine=make_routine())

    assert grid.beats_per_count == 3.0
    assert grid.counts_per_minute == pytest.approx(62)
    assert grid.meter == 2
    assert len(grid.bar_start) == 8


def test_halved_counts_start_afresh_on_each_downbeat() -> None:
    """After a bar of 5 or 2 beats the counts are on beats 1 and 3 again; one beat is held."""
    song = make_song(("A", [4, 5, 2, 4, 3, 4]), bpm=170)

    grid = count_grid(song)

    on_positions = song.positions[np.searchsorted(song.beat_times_s, grid.times_s[:-1])]
    assert on_positions.tolist() == [1, 3, 1, 3, 1, 1, 3, 1, 1, 3]
    beats = np.diff(grid.times_s) / (60 / 170)
    assert np.allclose(beats, [2, 2, 2, 3, 2, 2, 2, 3, 2, 2])


def test_halved_pickup() -> None:
    """Of a pickup of three beats the third beat of the bar begins a count, the second none."""
    song = make_song(("A", 2), bpm=170, pickup=3)

    grid = count_grid(song)

    assert grid.times_s[0] == song.beat_times_s[1]
    assert grid.bar_start.tolist() == [False, True, False, True, False]


def test_doubled_counts_lie_half_way() -> None:
    """At level 0.5 a count begins on each beat and half-way to the next, the last included."""
    song = make_song(("A", [4, 2]), bpm=60, beats_per_count=0.5)

    grid = count_grid(song)

    assert np.allclose(np.diff(grid.times_s), 0.5)
    assert len(grid.bar_start) == 12
    assert np.flatnonzero(grid.bar_start).tolist() == [0, 8]


@given(st.lists(st.integers(1, 9), min_size=1, max_size=30), st.sampled_from([0.5, 1.0, 2.0]))
def test_every_bar_begins_a_count(bars: list[int], level: float) -> None:
    """Whatever the bars, each downbeat is a count, times ascend, nothing is left out."""
    song = make_song(("A", bars), meter=4, beats_per_count=level)

    grid = count_grid(song)

    downbeats = song.beat_times_s[song.positions == 1]
    assert np.array_equal(grid.times_s[:-1][grid.bar_start], downbeats)
    assert np.all(np.diff(grid.times_s) > 0)
    assert grid.times_s[-1] == song.end_s
    assert len(grid.strength) == len(grid.bar_start) == len(grid.section)


@pytest.mark.parametrize(("level", "meter"), [(2.0, 3), (3.0, 4), (2.0, 5)])
def test_refuses_a_level_that_does_not_divide_the_bar(level: float, meter: int) -> None:
    """The error names the levels that can be used."""
    with pytest.raises(ParameterError, match="does not divide bars of"):
        count_grid(make_song(("A", 4), meter=meter, beats_per_count=level))


def test_a_person_s_level_is_kept() -> None:
    """Neither the tempo nor the routine's range chooses where a person did."""
    fast = make_song(("A", 16), bpm=170)
    routine = make_routine(tempo_bpm=(80, 90))

    assert count_grid(fast, routine=routine).beats_per_count == 2.0
    for level in (0.5, 1.0, 2.0):
        chosen = dataclasses.replace(fast, beats_per_count=level)
        assert count_grid(chosen, routine=routine).beats_per_count == level
        assert count_grid(chosen).counts_per_minute == 170 / level


def test_refuses_maps_without_beats_or_ones() -> None:
    """No beats, or no downbeat: nothing to count from."""
    empty = BarMap(beat_times_s=[], positions=[], meter=4, tempo_bpm=0, end_s=0, duration_s=0)
    with pytest.raises(NoFitError, match="holds no beats"):
        count_grid(empty)
    no_one = BarMap(
        beat_times_s=[1, 2], positions=[2, 3], meter=4, tempo_bpm=60, end_s=3, duration_s=3
    )
    with pytest.raises(NoFitError, match="no one"):
        count_grid(no_one)


def test_hand_made_map_without_sections() -> None:
    """A phrase begins on every eighth bar from the first one, bars counted as they are."""
    song = make_song(("A", [4] * 7 + [6] + [4] * 16), pickup=2)
    song = BarMap(
        beat_times_s=song.beat_times_s,
        positions=song.positions,
        meter=4,
        tempo_bpm=0.0,  # not known
        end_s=0.0,
        duration_s=0.0,
    )

    grid = count_grid(song)

    assert starts_of(grid) == [2, 36, 68]
    assert grid.counts_per_minute == pytest.approx(120)
    assert np.all(np.diff(grid.times_s) > 0)


def test_sections_weigh_most() -> None:
    """A section start has its own strength, a phrase inside it half of its own."""
    song = make_song(
        ("A", 16),
        ("B", 8),
        strengths=(0.9, 0.7),
        phrases=(
            Phrase(start_beat=0, n_beats=32, group=32, strength=0.6),
            Phrase(start_beat=16, n_beats=16, group=16, strength=0.5),
            Phrase(start_beat=32, n_beats=32, group=32, strength=0.8),
            Phrase(start_beat=64, n_beats=32, group=32, strength=0.6),
        ),
    )

    grid = count_grid(song)

    assert starts_of(grid) == [0, 32, 64]
    assert grid.strength[[0, 32, 64]].tolist() == pytest.approx([0.9, 0.4, 0.7])
    assert grid.section[[0, 63, 64, 95]].tolist() == [0, 0, 1, 1]


def test_a_leftover_is_no_phrase() -> None:
    """The last 12 counts of a section of 44 are the tail of its phrase; 16 stand alone."""
    tail = make_song(("A", 11), ("B", 8))
    half = make_song(("A", 12), ("B", 8))

    assert starts_of(count_grid(tail)) == [0, 44]
    assert starts_of(count_grid(half)) == [0, 32, 48]


def test_long_routines_look_for_long_phrases() -> None:
    """For 64 counts only every second 32 of a section begins a phrase."""
    routine = make_routine(make_part(counts=64))
    song = make_song(("I", 8), ("A", 32), ("B", 16))
    phrases = tuple(
        Phrase(start_beat=b, n_beats=32, group=32, strength=1.0) for b in range(0, 224, 32)
    )
    marked = make_song(("I", 8), ("A", 32), ("B", 16), phrases=phrases)

    assert starts_of(count_grid(song, routine=routine)) == [0, 32, 96, 160]
    assert starts_of(count_grid(marked, routine=routine)) == [0, 32, 96, 160]


def test_halved_songs_have_phrases_twice_as_many_beats_long() -> None:
    """At level 2 a phrase of 32 counts is 64 beats."""
    song = make_song(("I", 16), ("A", 32), bpm=170)

    grid = count_grid(song)

    assert starts_of(grid) == [0, 32, 64]


@pytest.mark.parametrize(
    ("counts", "meter", "phrase"),
    [(32, 4, 32), (64, 4, 64), (48, 4, 32), (16, 4, 32), (128, 4, 64), (24, 3, 24), (48, 3, 48)],
)
def test_dance_phrase(counts: int, meter: int, phrase: int) -> None:
    """32 (waltz 24), or twice that for routines that are a multiple of it."""
    routine = make_routine(make_part(counts=counts), meter=meter)

    assert dance_phrase_counts(meter, routine) == phrase


def test_a_person_s_short_phrases_are_taken_as_said() -> None:
    """Phrases without sections keep their full strength, whatever their length."""
    phrases = (
        Phrase(start_beat=0, n_beats=12, group=32, strength=1.0),
        Phrase(start_beat=12, n_beats=32, group=32, strength=1.0),
    )

    grid = count_grid(make_song(("A", 11), sections=(), phrases=phrases))

    assert starts_of(grid) == [0, 12]
    assert grid.strength[12] == 1.0


def doubted(song: BarMap, **sections: float) -> BarMap:
    """Expect the start of a section on beats, written ``b32=0.6``, and nothing else."""
    outlook = Outlook(
        beats=[int(beat[1:]) for beat in sections],
        sections=list(sections.values()),
        groups=[16, 32, 64],
        phrases=[[0.2] * len(sections), [0.1] * len(sections), [0.0] * len(sections)],
        likeliest=form_starts(song.sections, song.phrases),
    )
    return dataclasses.replace(song, outlook=outlook)


def test_what_is_expected_is_laid_on_counts() -> None:
    """Sections count whole, phrases of the dance's length by their weight; half is as shown."""
    song = doubted(make_song(("A", 8), ("B", 8)), b0=1.0, b28=0.4, b32=0.6)
    usual, double = (
        count_grid(song, routine=make_routine(make_part(counts=n)), costs=Costs(inner_phrase=0.5))
        for n in (32, 64)
    )

    assert starts_of(usual) == [0, 32]
    assert usual.expected[[0, 28, 32]] == pytest.approx([1.0, 0.225, 0.825])
    assert double.expected[[0, 28, 32]] == pytest.approx([1.0, 0.2, 0.8])
    assert usual.expected.sum() == pytest.approx(2.05)


def test_of_shorter_phrases_the_form_shown_is_all_that_is_known() -> None:
    """A slow song, counted twice a beat, is in phrases of 16 beats: none is weighed."""
    song = make_song(("A", 8), ("B", 8), bpm=56.0)
    outlook = dataclasses.replace(doubted(song, b0=1.0, b28=0.4).outlook, groups=[32, 64, 128])
    grid = count_grid(dataclasses.replace(song, outlook=outlook), routine=make_routine())

    assert grid.beats_per_count == 0.5
    assert grid.expected.tolist() == grid.strength.tolist()


def test_a_form_changed_since_is_taken_as_it_is() -> None:
    """Who writes other sections into a map plans by these."""
    song = doubted(make_song(("A", 8), ("B", 8)), b0=1.0, b28=1.0)
    moved = dataclasses.replace(song, sections=song.sections[:1])

    assert count_grid(song).expected[28] > 0
    assert count_grid(moved).expected.tolist() == count_grid(moved).strength.tolist()
