"""Corrections after corrections: the sum leads where both lead, and all it says is true."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from phrasefit.corrections import UNTOUCHED
from phrasefit.corrections.beats import apply_correction
from phrasefit.corrections.combine import merged, settled
from phrasefit.corrections.names import apply_names
from phrasefit.corrections.ones import ones_of, positions_from_ones
from phrasefit.errors import MapError, ParameterError
from phrasefit.model import BarMap, Correction, OddBar, Section, SectionName

BEAT_S = 0.5


def song_of(bars: list[int], *, meter: int = 4, pickup: int = 0) -> BarMap:
    """Lay out bars of the given lengths, a beat every half second from 1.0 s on."""
    n = pickup + sum(bars)
    ones = np.zeros(n, dtype=bool)
    ones[pickup + np.cumsum([0, *bars[:-1]])] = True
    beats = 1.0 + np.arange(n + 1) * BEAT_S
    return BarMap(
        beat_times_s=beats[:-1],
        positions=positions_from_ones(ones, meter),
        meter=meter,
        tempo_bpm=60 / BEAT_S,
        end_s=beats[-1],
        duration_s=beats[-1] + 1,
    )


def after(found: BarMap, *changes: Correction) -> tuple[Correction, BarMap]:
    """Correct a song again and again, each time looking at what it has become."""
    total, shown = UNTOUCHED, found
    for change in changes:
        total = merged(total, change, found)
        shown = apply_correction(found, total)
    return total, shown


def at(beat: int) -> float:
    return 1.0 + beat * BEAT_S


def lengths(bar_map: BarMap) -> list[int]:
    return np.diff(ones_of(bar_map)).tolist()


def assert_true(total: Correction, found: BarMap, result: BarMap) -> None:
    """Check every sentence of a correction against the map it leads to."""
    beats, ones = result.beat_times_s, ones_of(result)

    def near(time_s: float) -> int:
        return int(np.argmin(np.abs(beats - time_s)))

    def beat_at(time_s: float) -> int:
        beat = near(time_s)
        assert beats[beat] == pytest.approx(time_s, abs=1e-6)
        return beat

    if total.level:
        assert result.tempo_bpm == pytest.approx(found.tempo_bpm * total.level)
    if total.meter:
        assert result.meter == total.meter
    for time_s in total.ones_at_s:
        assert result.positions[beat_at(time_s)] == 1
    assert not (total.shift_one_beats and total.ones_at_s)
    if total.shift_one_beats and not total.odd_bars and not total.no_odd_bar_at_s:
        before = apply_correction(found, replace(total, shift_one_beats=0))
        moved = ones_of(before) + total.shift_one_beats
        assert set(moved[(moved >= 0) & (moved < beats.size)]) <= set(ones)
    starts = list(ones)
    for bar in total.odd_bars:
        index = starts.index(beat_at(bar.at_s))
        if index + 1 < len(starts):
            assert starts[index + 1] - starts[index] == bar.beats
    for time_s in total.no_odd_bar_at_s:
        index = int(np.searchsorted(ones, near(time_s), side="right")) - 1
        if 0 <= index < len(starts) - 1:
            assert starts[index + 1] - starts[index] == result.meter
    assert not total.no_singing  # it is taken back, so nothing is said of it
    assert apply_names(result, total).singing_at_s == total.singing_at_s


@st.composite
def songs(draw: st.DrawFn) -> BarMap:
    """Songs of regular bars, now and then with one that is a beat or two short or long."""
    meter = draw(st.sampled_from([2, 3, 4, 6]))
    bars = [meter] * draw(st.integers(12, 24))
    if draw(st.booleans()):
        odd = draw(st.sampled_from([n for n in (2, 3, 5, 6) if n != meter]))
        bars[draw(st.integers(4, len(bars) - 5))] = odd
    return song_of(bars, meter=meter, pickup=draw(st.integers(0, meter - 1)))


@st.composite
def changes_to(draw: st.DrawFn, shown: BarMap) -> Correction:
    """One thing that a person may say while looking at a map."""
    n, ones = shown.beat_times_s.size, ones_of(shown)

    def time_in(beats: np.ndarray) -> float:
        return float(shown.beat_times_s[draw(st.sampled_from(beats.tolist()))])

    odd = ones[:-1][np.diff(ones) != shown.meter]
    kinds = ["one", "shift", "nudge", "level", "meter", "odd", *(["regular"] if odd.size else [])]
    kinds += ["name", "no name", "singing", "no singing"]
    match draw(st.sampled_from(kinds)):
        case "one":
            return Correction(ones_at_s=(time_in(np.arange(n // 4, 3 * n // 4)),))
        case "shift":
            return Correction(shift_one_beats=draw(st.integers(-3, 3).filter(bool)))
        case "nudge":
            return Correction(nudge_s=draw(st.sampled_from([-0.02, 0.03])))
        case "level":
            return Correction(level=draw(st.sampled_from([0.5, 1.0, 2.0])))
        case "meter":
            return Correction(meter=draw(st.sampled_from([2, 3, 4, 6])))
        case "odd":
            beats = draw(st.sampled_from([b for b in (2, 3, 5) if b != shown.meter]))
            middle = ones[len(ones) // 4 : 3 * len(ones) // 4]
            return Correction(odd_bars=(OddBar(at_s=time_in(middle), beats=beats),))
        case "name" | "no name" as kind:
            name = "" if kind == "no name" else draw(st.sampled_from(["verse", "chorus"]))
            return Correction(section_names=(SectionName(at_s=time_in(np.arange(n)), name=name),))
        case "singing":
            return Correction(singing_at_s=time_in(np.arange(n)))
        case "no singing":
            return Correction(no_singing=True)
        case _:
            return Correction(no_odd_bar_at_s=(time_in(odd),))


def said(
    old: Correction, change: Correction, shown: BarMap
) -> tuple[list[tuple[float, str]], float | None]:
    """Names and singing of one after the other, by their meaning: all move with the beats."""

    def bar(time_s: float) -> int:
        return int(np.argmin(np.abs(shown.beat_times_s[ones_of(shown)] - time_s)))

    anew = {bar(name.at_s) for name in change.section_names}
    names = [
        (round(max(name.at_s + change.nudge_s, 0), 9), name.name)
        for name in old.section_names
        if bar(name.at_s) not in anew
    ]
    names += [(round(name.at_s, 9), name.name) for name in change.section_names]
    singing_s = change.singing_at_s
    if singing_s is None and old.singing_at_s is not None and not change.no_singing:
        singing_s = max(old.singing_at_s + change.nudge_s, 0)
    return names, None if singing_s is None else round(singing_s, 9)


def said_in(total: Correction) -> tuple[list[tuple[float, str]], float | None]:
    """Read names and singing from a sum."""
    names = [(round(name.at_s, 9), name.name) for name in total.section_names]
    return names, None if total.singing_at_s is None else round(total.singing_at_s, 9)


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_all_that_is_said_is_true(data: st.DataObject) -> None:
    """After up to four changes every sentence of the sum holds for the map it leads to."""
    found = shown = data.draw(songs())
    total = UNTOUCHED
    for _ in range(data.draw(st.integers(1, 4))):
        change = data.draw(changes_to(shown))
        wanted = said(total, change, shown)
        try:
            total = merged(total, change, found)
        except ParameterError:  # beyond four times as many beats, or a quarter
            assume(False)
        shown = apply_correction(found, total)
        assert_true(total, found, shown)
        assert said_in(total) == wanted


def is_beside_odd_bar(bar_map: BarMap, time_s: float) -> bool:
    """Tell whether ones that move may leave a time on either side of an odd bar."""
    beat = int(np.argmin(np.abs(bar_map.beat_times_s - time_s)))
    odd = ones_of(bar_map)[:-1][np.diff(ones_of(bar_map)) != bar_map.meter]
    return bool(np.any(np.abs(odd - beat) <= 3 * bar_map.meter))


def commute(a: Correction, b: Correction, found: BarMap) -> bool:
    """Tell whether the bars of the sum can be those of one after the other, beat for beat."""
    ones_at_s = (*a.ones_at_s, *b.ones_at_s)
    if any(is_beside_odd_bar(m, t) for m in (found, apply_correction(found, a)) for t in ones_at_s):
        return False
    new_beats = b.level or b.meter
    if set(lengths(found)) != {found.meter}:
        if 0.5 in (a.level, b.level):
            return False  # beside an odd bar every other beat depends on where the ones are
        moved = a.shift_one_beats or b.shift_one_beats or ones_at_s
        if moved and (new_beats or a.level or a.meter):
            return False  # ones do not say which bar is the odd one
    return not (a.ones_at_s and b.ones_at_s) and not (
        new_beats and (a.odd_bars or a.no_odd_bar_at_s or a.level or a.meter)
    )


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_the_sum_leads_where_one_after_the_other_leads(data: st.DataObject) -> None:
    """Away from odd bars the bars are the same, and all beats are.

    Odd bars may come to lie a bar beside: a one says nothing of them.  Ones given before
    are kept where beats or bars change, and rule up to the first one that is given later.
    """
    found = data.draw(songs())
    first = data.draw(changes_to(found))
    shown = apply_correction(found, first)
    second = data.draw(changes_to(shown))
    assume(commute(first, second, found))
    total = merged(merged(UNTOUCHED, first, found), second, found)

    result = apply_correction(found, total)
    kept = second.ones_at_s or first.ones_at_s
    if second.nudge_s or second.shift_one_beats:
        kept = ()
    reference = apply_correction(shown, replace(second, ones_at_s=kept))

    assert result.meter == reference.meter
    assert np.allclose(result.beat_times_s, reference.beat_times_s, atol=1e-9)
    far = np.ones(result.positions.size, dtype=bool)
    for bar_map in (result, reference):
        ones = ones_of(bar_map)
        for start, length in zip(ones[:-1], np.diff(ones), strict=True):
            if length != bar_map.meter:
                far[max(start - 2 * bar_map.meter, 0) : start + 3 * bar_map.meter] = False
    assert np.array_equal(result.positions[far], reference.positions[far])
    assert said_in(total) == said(first, second, shown)


def test_a_shift_moves_the_one_that_was_given() -> None:
    """What was a one is none after the shift: the sum names the beat that is."""
    found = song_of([4] * 12)
    total, result = after(found, Correction(ones_at_s=(at(9),)), Correction(shift_one_beats=1))

    assert total == Correction(ones_at_s=(at(10),))
    assert result.positions[10] == 1


def test_a_one_makes_an_earlier_shift_void() -> None:
    """Where a one is given, how far the ones had moved before says nothing any more."""
    found = song_of([4] * 12)
    total, _ = after(found, Correction(shift_one_beats=1), Correction(ones_at_s=(at(10),)))

    assert total == Correction(ones_at_s=(at(10),))


def test_an_odd_bar_stays_on_a_beat_where_every_other_one_is_counted() -> None:
    """Its own beat is not counted any more: it is said of the beat where the bar begins now."""
    found = song_of([2] * 6 + [3] + [2] * 5, meter=2)
    odd = Correction(odd_bars=(OddBar(at_s=at(6), beats=3),))
    total, result = after(found, odd, Correction(level=0.5))

    assert_true(total, found, result)


def test_of_two_ones_less_than_a_count_apart_one_is_left() -> None:
    """Where every fourth beat is counted both cannot be beats: the other is void."""
    found = song_of([2] * 12, meter=2)
    half = Correction(level=0.5)
    ones = [Correction(ones_at_s=(at(6),)), Correction(ones_at_s=(at(9),))]
    total, result = after(found, *ones, half, half)

    assert len(total.ones_at_s) == 1
    assert_true(total, found, result)


def test_shift_and_shift_back_is_nothing() -> None:
    """Nothing is kept of what was taken back."""
    found = song_of([4] * 12)
    back = [Correction(shift_one_beats=n) for n in (3, -3)]

    assert after(found, *back)[0] == UNTOUCHED


def test_a_later_one_is_one_more_and_a_near_one_replaces() -> None:
    """Ones given one after the other are as if given together, unless they lie near."""
    found = song_of([4] * 12)
    ones = [Correction(ones_at_s=(at(beat),)) for beat in (9, 30, 31)]
    total, result = after(found, *ones)

    assert total.ones_at_s == (at(9), at(31))
    assert result.positions[[9, 27, 31, 35]].tolist() == [1, 3, 1, 1]
    assert after(found, Correction(ones_at_s=(at(9), at(31))))[1].positions.tolist() == (
        result.positions.tolist()
    )


def test_other_beats_keep_the_ones_where_they_are() -> None:
    """A shift is pinned by time when every other beat is counted, or bars are threes."""
    found = song_of([4] * 12)
    total, half = after(found, Correction(shift_one_beats=1), Correction(level=0.5))
    assert total == Correction(level=0.5, ones_at_s=(at(1),))
    assert half.beat_times_s[half.positions == 1][1] == at(9)

    total, waltz = after(found, Correction(ones_at_s=(at(5),)), Correction(meter=3))
    assert total == Correction(meter=3, ones_at_s=(at(5),))
    assert waltz.positions[[5, 8, 11]].tolist() == [1, 1, 1]


def test_half_and_double_undo_one_another() -> None:
    """Twice as many of half as many are as many as found."""
    found = song_of([4] * 12)

    total, result = after(found, Correction(level=0.5), Correction(level=2.0))

    assert total == Correction(level=1.0)
    assert np.array_equal(result.beat_times_s, found.beat_times_s)
    with pytest.raises(ParameterError, match="beyond a quarter"):
        after(found, *[Correction(level=2.0)] * 3)


def test_a_nudge_moves_the_times_that_were_given() -> None:
    """Times are those of the map that results."""
    found = song_of([4] * 12)
    total, _ = after(
        found,
        Correction(ones_at_s=(at(9),), sections_at_s=(at(16),)),
        Correction(nudge_s=0.02),
    )

    assert total.ones_at_s == pytest.approx((at(9) + 0.02,))
    assert total.sections_at_s == pytest.approx((at(16) + 0.02,))


def test_an_odd_bar_and_its_denial() -> None:
    """The later word about a bar holds, and the earlier one is not kept."""
    found = song_of([4] * 12)
    odd = Correction(odd_bars=(OddBar(at_s=at(16), beats=2),))
    denied = Correction(no_odd_bar_at_s=(at(16),))

    assert lengths(after(found, odd)[1])[3:6] == [4, 2, 4]
    total, result = after(found, odd, denied)
    assert total == UNTOUCHED  # as found: the denial would deny nothing
    assert set(lengths(result)) == {4}
    assert after(found, odd, denied, odd)[0] == odd


def test_an_odd_bar_before_a_shift_moves_with_it() -> None:
    """It is named where it is then."""
    found = song_of([4] * 12)
    odd = Correction(odd_bars=(OddBar(at_s=at(16), beats=3),))
    total, result = after(found, odd, Correction(shift_one_beats=1))

    assert total == Correction(shift_one_beats=1, odd_bars=(OddBar(at_s=at(17), beats=3),))
    assert result.positions[[17, 20]].tolist() == [1, 1]


def test_a_one_after_an_odd_bar_leaves_it_odd() -> None:
    """The ones move all alike; the bar of two stays one of two."""
    found = song_of([4] * 12)
    odd = Correction(odd_bars=(OddBar(at_s=at(16), beats=2),))
    total, result = after(found, odd, Correction(ones_at_s=(at(31),)))

    assert lengths(result).count(2) == 1
    assert result.positions[31] == 1
    assert_true(total, found, result)


def test_a_regular_song_has_no_odd_bar_to_deny() -> None:
    """It is said, with the odd bars that there are."""
    with pytest.raises(MapError, match="every bar of the song is regular"):
        after(song_of([4] * 12), Correction(no_odd_bar_at_s=(at(8),)))
    with pytest.raises(MapError, match=r"begin at 17.00 s"):
        after(song_of([4] * 8 + [2] + [4] * 8), Correction(no_odd_bar_at_s=(at(8),)))


def test_sections_later_words_hold() -> None:
    """A denied section takes an earlier mark near it away, and the other way round."""
    found = replace(
        song_of([4] * 24), sections=(Section(start_beat=0, n_beats=96, letter="A", strength=1.0),)
    )
    marked = Correction(sections_at_s=(at(32), at(64)))
    denied = Correction(no_section_at_s=(at(36),))

    assert merged(marked, denied, found) == Correction(
        sections_at_s=(at(64),), no_section_at_s=(at(36),)
    )
    assert merged(denied, marked, found) == marked


def test_a_shift_kept_beside_a_one_is_settled() -> None:
    """Corrections of the first version may hold both: the one is named where it has moved to."""
    found = song_of([4] * 12)
    both = Correction(ones_at_s=(at(9),), shift_one_beats=2)

    assert settled(both, found) == Correction(ones_at_s=(at(11),))
    assert np.array_equal(
        apply_correction(found, both).positions,
        apply_correction(found, settled(both, found)).positions,
    )
