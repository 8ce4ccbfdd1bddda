"""A person's corrections: the ones, the level and the meter, never the listening."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from phrasefit.corrections.beats import apply_correction
from phrasefit.corrections.ones import ones_of, positions_from_ones
from phrasefit.errors import MapError, ParameterError
from phrasefit.model import Alternative, BarMap, Correction, OddBar, Phrase, Section


def bar_map_of(
    bars: list[int],
    *,
    meter: int = 4,
    pickup: int = 0,
    tempo_bpm: float = 120.0,
    start_s: float = 1.0,
    sections: tuple[Section, ...] = (),
) -> BarMap:
    """Lay out bars of the given lengths at a steady tempo."""
    n = pickup + sum(bars)
    ones = np.zeros(n, dtype=bool)
    ones[pickup + np.cumsum([0, *bars[:-1]])] = True
    beats = start_s + np.arange(n + 1) * 60 / tempo_bpm
    return BarMap(
        beat_times_s=beats[:-1],
        positions=positions_from_ones(ones, meter),
        meter=meter,
        tempo_bpm=tempo_bpm,
        end_s=beats[-1],
        duration_s=beats[-1] + 1,
        sections=sections,
        phrases=tuple(
            Phrase(start_beat=s.start_beat, n_beats=s.n_beats, group=32, strength=s.strength)
            for s in sections
        ),
    )


def corrected(bar_map: BarMap, **change: object) -> BarMap:
    """Apply one correction."""
    return apply_correction(bar_map, Correction(**change))


def section(start_beat: int, n_beats: int, strength: float = 0.9) -> Section:
    return Section(start_beat=start_beat, n_beats=n_beats, letter="A", strength=strength)


def same_bars(one: BarMap, other: BarMap) -> bool:
    return np.allclose(one.beat_times_s, other.beat_times_s, atol=1e-9) and np.array_equal(
        one.positions, other.positions
    )


meters = st.sampled_from([2, 3, 4, 6])


@st.composite
def maps(draw: st.DrawFn, odd_bars: bool = True) -> BarMap:
    """Songs with a pickup and, between regular bars, now and then a bar a beat off."""
    meter = draw(meters)
    odd = [meter + 1, *([meter - 1] if meter > 2 else [])] if odd_bars else [meter]
    middle = draw(st.lists(st.sampled_from([meter, meter, meter, *odd]), max_size=12))
    return bar_map_of(
        [meter, meter, *middle, meter, meter],
        meter=meter,
        pickup=draw(st.integers(0, meter - 1)),
        tempo_bpm=draw(st.floats(55, 215)),
        start_s=draw(st.floats(0, 20)),
    )


@given(maps(), st.integers(-3, 3))
def test_shift_there_and_back_is_identity(song: BarMap, shift: int) -> None:
    """Moving every one later and back again gives the first map."""
    there = corrected(song, shift_one_beats=shift)

    assert same_bars(song, corrected(there, shift_one_beats=-shift))


@given(maps(), st.integers(1, 3))
def test_shift_moves_every_one(song: BarMap, shift: int) -> None:
    """Every one of the song, irregular bars included, moves by as many beats."""
    shifted = corrected(song, shift_one_beats=shift)
    ones = ones_of(song) + shift

    assert set(ones[ones < song.positions.size]) <= set(ones_of(shifted))


@given(maps(odd_bars=False), st.integers(-8, 8))
def test_shift_by_whole_bars_changes_nothing(song: BarMap, n_bars: int) -> None:
    """In a song of regular bars a shift by whole bars is no shift."""
    assert same_bars(song, corrected(song, shift_one_beats=n_bars * song.meter))


@given(maps())
def test_half_of_double_is_identity(song: BarMap) -> None:
    """Counting twice as many and then every other beat gives the first map.

    A pickup or an odd bar that becomes whole bars when doubled cannot be told from
    them afterwards (without sections); such songs are left out.
    """
    assume(2 * np.argmax(song.positions == 1) < song.meter)
    assume(song.meter > 2 or set(np.diff(ones_of(song))) == {2})
    doubled = corrected(song, level=2.0)

    assert doubled.beat_times_s.size == 2 * song.beat_times_s.size
    assert same_bars(song, corrected(doubled, level=0.5))


@given(maps(), st.integers(-5, 5), meters, st.floats(0, 1), st.floats(-0.1, 0.1))
def test_only_level_changes_the_number_of_beats(
    song: BarMap, shift: int, meter: int, share: float, nudge_s: float
) -> None:
    """Meter, one, shift and nudge keep every beat."""
    index = int(share * (song.beat_times_s.size - 1))
    changed = corrected(
        song,
        meter=meter,
        ones_at_s=(float(song.beat_times_s[index]),),
        shift_one_beats=shift,
        nudge_s=nudge_s,
    )

    assert changed.beat_times_s.size == song.beat_times_s.size
    assert changed.meter == meter


@given(maps(), st.floats(0, 1))
def test_one_at_makes_a_one_there(song: BarMap, share: float) -> None:
    """The beat a person names is a one afterwards, and no bar length is lost inside."""
    index = int(share * (song.beat_times_s.size - 1))
    changed = corrected(song, ones_at_s=(float(song.beat_times_s[index]) + 0.01,))

    assert changed.positions[index] == 1
    assert changed.confidence.downbeat == 1.0


def test_nothing_touched_gives_the_same_map() -> None:
    """A correction of sections only leaves beats, sections and phrases alone."""
    song = bar_map_of([4] * 8, sections=(section(0, 32),))

    assert corrected(song, sections_at_s=(3.0,)) is song


def test_touched_map_drops_stale_form() -> None:
    """Sections and phrases of the old bars do not survive a move of the one."""
    song = bar_map_of([4] * 8, sections=(section(0, 32),))
    changed = corrected(song, shift_one_beats=1)

    assert changed.sections == () and changed.phrases == ()


def test_half_counts_two_old_bars_as_one() -> None:
    """170 bpm in fours counted at 85: every other beat, one new bar for two old."""
    song = bar_map_of([4] * 8, tempo_bpm=170)
    half = corrected(song, level=0.5)

    assert half.tempo_bpm == 85
    assert half.meter == 4
    assert np.array_equal(half.beat_times_s, song.beat_times_s[::2])
    assert list(half.positions) == [1, 2, 3, 4] * 4


def test_half_of_a_regular_song_is_regular() -> None:
    """A section after nine old bars makes no bar of two: regular bars stay regular."""
    song = bar_map_of([4] * 25, sections=(section(0, 36), section(36, 32), section(68, 32)))

    assert list(corrected(song, level=0.5).positions[:16]) == [3, 4, *[1, 2, 3, 4] * 3, 1, 2]


@given(maps(odd_bars=False), st.lists(st.integers(0, 15), max_size=6, unique=True))
def test_half_never_invents_an_odd_bar(song: BarMap, bars: list[int]) -> None:
    """Wherever sections begin, a song without odd bars has none at half the level."""
    starts = sorted(ones_of(song)[bar] for bar in bars if bar < len(ones_of(song)))
    song = replace(song, sections=tuple(section(int(start), 1) for start in starts))

    for level in (0.25, 0.5, 2.0, 4.0):
        assert set(np.diff(ones_of(corrected(song, level=level)))) <= {song.meter}


def test_half_is_not_led_astray_by_one_weak_section() -> None:
    """One doubtful boundary at an odd bar between clear ones does not break the bars."""
    weak = section(20, 44, strength=0.3)
    song = bar_map_of([4] * 32, sections=(section(0, 20), weak, section(64, 64)))

    assert list(corrected(song, level=0.5).positions) == [1, 2, 3, 4] * 16


def test_half_starts_at_the_phrase_after_an_odd_lead_in() -> None:
    """One bar before the first section becomes counts 3 and 4 of the bar before it."""
    song = bar_map_of([4] * 17, sections=(section(4, 32), section(36, 32)))

    assert list(corrected(song, level=0.5).positions[:6]) == [3, 4, 1, 2, 3, 4]


def test_quarter_is_half_of_half() -> None:
    """Halving in one go keeps what halving twice keeps: sections stay on ones."""
    song = bar_map_of([4] * 40, sections=(section(0, 64), section(64, 48), section(112, 48)))
    quarter = corrected(song, level=0.25)
    ones_s = set(quarter.beat_times_s[quarter.positions == 1])

    assert quarter.beat_times_s.size == 40
    assert quarter.tempo_bpm == 30
    assert {float(song.beat_times_s[b]) for b in (0, 64, 112)} <= ones_s


def test_fourfold_is_double_of_double() -> None:
    """Four times as many beats are the midpoints of the midpoints."""
    song = bar_map_of([4] * 3)

    assert same_bars(corrected(song, level=4.0), corrected(corrected(song, level=2.0), level=2.0))


def test_half_keeps_ones_around_a_bar_of_three() -> None:
    """A bar of three in fours: the ones stay where they are heard, one count is longer."""
    song = bar_map_of([4, 4, 4, 3, 4, 4], tempo_bpm=240, start_s=0.0)
    half = corrected(song, level=0.5)

    assert list(half.positions) == [1, 2, 3, 4, 1, 2, 3, 1, 2, 3, 4]
    assert list(np.flatnonzero(np.diff(half.beat_times_s) > 0.6)) == [6]


def test_double_puts_midpoints() -> None:
    """Twice as many beats: the new ones lie half-way, also after the last."""
    song = bar_map_of([3, 3], meter=3, tempo_bpm=60, start_s=0.0)
    double = corrected(song, level=2.0)

    assert np.allclose(double.beat_times_s, np.arange(12) / 2)
    assert list(double.positions) == [1, 2, 3] * 4


def test_meter_three_counts_from_the_first_one() -> None:
    """A waltz heard in fours is barred in threes from its first one."""
    song = bar_map_of([4] * 6, pickup=2)

    assert list(corrected(song, meter=3).positions[:6]) == [2, 3, 1, 2, 3, 1]


def test_meter_three_counts_from_the_given_one() -> None:
    """With a one given the threes begin there, and lead up to it."""
    song = bar_map_of([4] * 6)
    changed = corrected(song, meter=3, ones_at_s=(song.beat_times_s[5],))

    assert list(changed.positions[:9]) == [2, 3, 1, 2, 3, 1, 2, 3, 1]


@pytest.mark.parametrize(
    ("old", "new", "bars", "expected"),
    [
        (4, 2, [4, 6, 4], [1, 2] * 7),
        (4, 2, [4, 3, 4], [1, 2, 1, 2, 1, 2, 3, 1, 2, 1, 2]),
        (2, 4, [2] * 6, [1, 2, 3, 4] * 3),
        (2, 4, [2, 2, 3, 2, 2], [1, 2, 3, 4, 1, 2, 3, 1, 2, 3, 4]),
        (3, 6, [3] * 4, [1, 2, 3, 4, 5, 6] * 2),
        (6, 3, [6, 6], [1, 2, 3] * 4),
        (4, 4, [4, 3, 4], [1, 2, 3, 4, 1, 2, 3, 1, 2, 3, 4]),
    ],
)
def test_related_meters_keep_irregular_bars(
    old: int, new: int, bars: list[int], expected: list[int]
) -> None:
    """Bars are split or joined, not laid out afresh, where the meters divide."""
    assert list(corrected(bar_map_of(bars, meter=old), meter=new).positions) == expected


def test_irregular_bar_survives_one_at() -> None:
    """Moving the ones to one given moves the half bar with them."""
    song = bar_map_of([4, 4, 2, 4, 4, 4])
    changed = corrected(song, ones_at_s=(song.beat_times_s[1],))

    assert list(np.diff(ones_of(changed))) == [4, 4, 2, 4, 4]


def test_several_ones_rule_from_there_on() -> None:
    """Each one that is given rules to the next, the first also what is before it."""
    song = bar_map_of([4] * 6)
    changed = corrected(song, ones_at_s=(song.beat_times_s[5], song.beat_times_s[15]))

    assert list(changed.positions) == [
        4, *[1, 2, 3, 4] * 2, 1, 2, 3, 4, 1, 2, *[1, 2, 3, 4] * 2, 1,
    ]  # fmt: skip


def test_an_odd_bar_has_its_beats_and_the_ones_follow() -> None:
    """A bar of two in fours: what comes after begins two beats earlier."""
    song = bar_map_of([4] * 5)
    odd = OddBar(at_s=song.beat_times_s[8], beats=2)

    assert list(np.diff(ones_of(corrected(song, odd_bars=(odd,))))) == [4, 4, 2, 4, 4]


def test_a_denied_odd_bar_is_regular_and_the_ones_follow() -> None:
    """The bar of two was none; also where the time is in the bar beside it."""
    song = bar_map_of([4, 4, 2, 4, 4, 4])

    for beat in (8, 9, 5, 11):
        denied = corrected(song, no_odd_bar_at_s=(song.beat_times_s[beat],))
        assert list(np.diff(ones_of(denied))) == [4, 4, 4, 4, 4]


def test_an_odd_bar_moves_ones_up_to_the_next_one_given() -> None:
    """A one given later stays, and takes up the difference."""
    song = bar_map_of([4] * 8)
    odd = OddBar(at_s=song.beat_times_s[8], beats=3)
    changed = corrected(song, ones_at_s=(1.0, song.beat_times_s[20]), odd_bars=(odd,))

    assert list(np.diff(ones_of(changed))) == [4, 4, 3, 4, 5, 4, 4]


def test_half_keeps_an_odd_bar_where_it_is() -> None:
    """Bars of four with one of six: halved, one bar of three is left, in the same place."""
    song = bar_map_of([4, 4, 4, 4, 6, 4, 4, 4, 4])
    half = corrected(song, level=0.5)

    assert list(np.diff(ones_of(half))) == [4, 4, 3, 4]
    assert half.beat_times_s[ones_of(half)[2]] == song.beat_times_s[16]


def test_half_of_a_song_whose_odd_bar_is_denied_is_regular() -> None:
    """Denied before every other beat is taken: no count is longer than another."""
    song = bar_map_of([4, 4, 3, 4, 4, 4, 4])
    half = corrected(song, level=0.5, no_odd_bar_at_s=(song.beat_times_s[8],))

    assert set(np.diff(ones_of(half))) == {4}
    assert np.ptp(np.diff(half.beat_times_s)) < 1e-9


def test_nudge_moves_all_beats_and_the_end() -> None:
    """All beats move alike; the number and the bars stay."""
    song = bar_map_of([4] * 4)
    changed = corrected(song, nudge_s=-0.03)

    assert np.allclose(changed.beat_times_s, song.beat_times_s - 0.03)
    assert changed.end_s == pytest.approx(song.end_s - 0.03)


def test_nudge_never_leaves_the_file() -> None:
    """A beat on the first sample stays there when all others come earlier."""
    changed = corrected(bar_map_of([4] * 4, start_s=0.0), nudge_s=-0.03)

    assert changed.beat_times_s[0] == 0.0


def test_decided_alternatives_go() -> None:
    """Once the one is set by hand no other one is offered; other doubts stay."""
    options = tuple(
        Alternative(kind=kind, correction=Correction(), probability=0.2, tempo_bpm=60, meter=4)
        for kind in ("one", "half")
    )
    song = bar_map_of([4] * 4)
    song = BarMap(**{f: getattr(song, f) for f in song.__slots__} | {"alternatives": options})
    changed = corrected(song, shift_one_beats=2)

    assert [a.kind for a in changed.alternatives] == ["half"]


@pytest.mark.parametrize(
    ("change", "error", "words"),
    [
        ({"ones_at_s": (99.0,)}, MapError, "outside the song"),
        ({"ones_at_s": (-1.0,)}, MapError, "outside the song"),
        ({"ones_at_s": (float("nan"),)}, MapError, "outside the song"),
        ({"ones_at_s": (0.2,)}, MapError, "nearest one found is at 0:01.00"),
        ({"level": 3.0}, ParameterError, "must be 0.25, 0.5"),
        ({"meter": 0}, ParameterError, "2 to 12"),
        ({"nudge_s": 0.9}, ParameterError, "more than half a beat"),
        ({"nudge_s": float("nan")}, ParameterError, "more than half a beat"),
    ],
)
def test_impossible_corrections_say_what_to_do(
    change: dict[str, float], error: type[Exception], words: str
) -> None:
    """Each refusal names the value and the remedy."""
    with pytest.raises(error, match=words):
        corrected(bar_map_of([4] * 4), **change)


def test_map_without_beats_is_refused() -> None:
    """There is nothing to correct where no beat was found."""
    empty = BarMap(beat_times_s=[], positions=[], meter=4, tempo_bpm=0, end_s=0, duration_s=3)

    with pytest.raises(MapError, match="no beat to correct"):
        corrected(empty, shift_one_beats=1)
