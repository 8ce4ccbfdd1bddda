"""Charts, time maps and patterns: the arithmetic of beats, bars and seconds."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from phrasefit.demo.patterns import Event, Feel, bar_of, fit_bar, play, read_steps, swung
from phrasefit.demo.score import (
    Bar,
    Chart,
    ChartSection,
    Chord,
    TimeMap,
    make_time_map,
    make_truth,
)
from phrasefit.errors import ParameterError


def chart_of(*lengths: tuple[int, ...], meter: int = 4) -> Chart:
    """Make one section for each tuple of bar lengths, each a single phrase."""
    sections = tuple(
        ChartSection(
            label="verse",
            letter=chr(65 + i),
            bars=tuple(Bar(n, (Chord(0),)) for n in bars),
            phrase_bars=(len(bars),),
        )
        for i, bars in enumerate(lengths)
    )
    return Chart(meter=meter, sections=sections)


def test_positions_count_every_bar_from_one() -> None:
    """A 2/4 bar among fours keeps its own positions."""
    chart = chart_of((4, 2), (4,))

    positions = chart.positions().tolist()

    assert positions == [1, 2, 3, 4, 1, 2, 1, 2, 3, 4]


def test_sections_and_phrases_start_on_their_beats() -> None:
    """Starts are sums of bar lengths, odd bars included."""
    chart = chart_of((4, 2), (4, 4), (3,))

    assert chart.section_starts() == [0, 6, 14]
    assert chart.phrase_starts() == [0, 6, 14]
    assert chart.n_beats == 17


def test_phrases_must_fill_their_section() -> None:
    """Phrase lengths that do not add up are refused with both numbers."""
    with pytest.raises(ParameterError, match="must add up to the 2 bars"):
        ChartSection(label="verse", letter="A", bars=(Bar(4, (Chord(0),)),) * 2, phrase_bars=(3,))


def test_steady_tempo_gives_equal_beats(rng: np.random.Generator) -> None:
    """Sixty beats a minute are one second apart (definition of beats per minute)."""
    times = make_time_map(rng, 8, 60.0, start_s=0.5).times_s

    np.testing.assert_allclose(times, 0.5 + np.arange(9), atol=1e-12)


def test_drift_and_ritardando_change_the_gaps(rng: np.random.Generator) -> None:
    """A drift of +10 % ends 10 % faster; a ritardando to 0.5 ends twice as slow."""
    drifting = np.diff(make_time_map(rng, 50, 120.0, drift_percent=10.0).times_s)
    slowing = np.diff(make_time_map(rng, 50, 120.0, ritardando_beats=8, ritardando_to=0.5).times_s)

    assert drifting[0] == pytest.approx(0.5) and drifting[-1] == pytest.approx(0.5 / 1.1)
    assert slowing[41] == pytest.approx(0.5) and slowing[-1] == pytest.approx(1.0)


@given(
    seed=st.integers(0, 2**31),
    tempo=st.floats(40.0, 250.0),
    wander=st.floats(0.0, 5.0),
    jitter=st.floats(0.0, 60.0),
)
def test_times_always_increase(seed: int, tempo: float, wander: float, jitter: float) -> None:
    """No amount of human error makes time run backwards."""
    time_map = make_time_map(
        np.random.default_rng(seed), 64, tempo, wander_percent=wander, jitter_ms=jitter
    )

    assert np.all(np.diff(time_map.times_s) > 0)


def test_time_map_goes_on_beyond_its_ends() -> None:
    """Pickups before beat 0 and rings after the last beat keep the local tempo."""
    time_map = TimeMap(np.array([1.0, 2.0, 4.0]))

    seconds = time_map.seconds(np.array([-0.5, 0.5, 1.5, 3.0]))

    np.testing.assert_allclose(seconds, [0.5, 1.5, 3.0, 6.0])


def test_truth_repeats_the_chart(rng: np.random.Generator) -> None:
    """Beats, positions and section starts of the truth come from chart and time map."""
    chart = chart_of((4, 4), (3, 4))
    time_map = make_time_map(rng, chart.n_beats, 100.0)

    truth = make_truth(chart, time_map, style="x", seed=9)

    assert truth.positions.tolist() == chart.positions().tolist()
    assert [s.start_beat for s in truth.sections] == [0, 8]
    assert truth.sections[1].start_s == pytest.approx(float(time_map.times_s[8]))
    assert truth.end_s == pytest.approx(float(time_map.times_s[-1]))


def test_a_slow_tempo_is_refused(rng: np.random.Generator) -> None:
    """Tempo 0 is no tempo."""
    with pytest.raises(ParameterError, match="must be positive"):
        make_time_map(rng, 4, 0.0)


@pytest.mark.parametrize(
    ("n_beats", "expected"), [(2, "ab"), (4, "abcd"), (6, "abcdcd"), (5, "abcdc")]
)
def test_patterns_bend_to_odd_bars(n_beats: int, expected: str) -> None:
    """Short bars lose their end, long bars repeat their last half."""
    assert fit_bar("abcd", 4, n_beats) == expected


def test_steps_carry_start_and_length() -> None:
    """A dash holds the note before it."""
    steps = list(read_steps("x--.x-.x", 4))

    assert steps == [("x", 0.0, 1.5), ("x", 2.0, 1.0), ("x", 3.5, 0.5)]


def test_bars_of_a_pattern_repeat() -> None:
    """Two bars of a pattern alternate."""
    assert [bar_of("a b|c d", i) for i in range(3)] == ["ab", "cd", "ab"]


def test_swing_of_two_thirds_is_the_triplet() -> None:
    """Ratio 2:1 puts the off-beat on the last triplet (Friberg and Sundstrom 1997)."""
    assert swung(3.5, 2 / 3) == pytest.approx(3 + 2 / 3)
    assert swung(3.0, 2 / 3) == 3.0
    assert swung(2.75, 0.5) == 2.75


def test_players_scatter_within_bounds(rng: np.random.Generator) -> None:
    """Starts stay within 2.5 times the scatter; a chord starts together."""
    time_map = make_time_map(rng, 64, 120.0)
    events = [Event(float(b), 1.0, p, 0.7) for b in range(64) for p in (60, 64)]

    notes = play(rng, events, time_map, Feel(scatter_ms=4.0))

    starts = np.array([note.start_s for note in notes])
    errors = starts - np.repeat(time_map.seconds(np.arange(64)), 2)
    assert np.abs(errors).max() <= 0.0101
    assert errors.std() > 0.002
    np.testing.assert_array_equal(starts[::2], starts[1::2])
