"""The table of meters is the only place that knows them: a new row works everywhere."""

from __future__ import annotations

import pytest

import phrasefit
from phrasefit import meters
from phrasefit.fit.grid import count_grid
from phrasefit.meters import DANCE_METERS, FOURS, LEVELS, SONG_METERS, THREES, DanceMeter
from phrasefit.model import BarMap
from phrasefit.reports.check_text import render as check_render
from phrasefit.reports.cues import running_counts
from phrasefit.reports.fit_text import render
from phrasefit.routine.spec import parse_routine, routine_from_numbers

FIVES = DanceMeter(
    bar_counts=5, group_counts=10, phrase_counts=40, count_in=10, usual_tags=(5, 10),
    odd_bar_tags=(1, 2),
    song_bar_counts=5, levels=(1.0,), dotted_bar_beats=0,
    name="fives", kind="in fives", groups="in tens", one_group="a ten", dance="five-step",
    rhythms=("5/4",),
)  # fmt: skip


def song_in(meter: int, n_bars: int = 56, **fields: object) -> BarMap:
    """A steady song with bars of so many beats."""
    n = meter * n_bars
    return BarMap(
        beat_times_s=[i / 2 for i in range(n)], positions=[i % meter + 1 for i in range(n)],
        meter=meter, tempo_bpm=120.0, end_s=n / 2, duration_s=n / 2, **fields,
    )  # fmt: skip


@pytest.mark.parametrize("row", DANCE_METERS.values(), ids=lambda row: row.name)
def test_rows_agree_with_themselves(row: DanceMeter) -> None:
    """A group is two bars, a phrase four groups, a count-in one; tags are shorter than a phrase."""
    assert DANCE_METERS[row.bar_counts] is row
    assert row.group_counts == row.count_in == 2 * row.bar_counts
    assert row.phrase_counts == 4 * row.group_counts
    assert max(row.usual_tags) < row.phrase_counts
    assert set(row.levels) <= set(LEVELS)


@pytest.mark.parametrize(
    ("song_meter", "row", "levels"),
    [
        # as tracked first; halves only where the bar has them; sixes to the dotted beat
        (4, FOURS, (1.0, 2.0, 0.5)),
        (2, FOURS, (1.0, 2.0, 0.5)),
        (6, FOURS, (3.0,)),
        (12, FOURS, (3.0,)),
        (1, FOURS, (1.0, 0.5)),
        (3, THREES, (1.0,)),
        (6, THREES, (1.0,)),
    ],
)
def test_levels_by_tempo(song_meter: int, row: DanceMeter, levels: tuple[float, ...]) -> None:
    """Which levels the tempo may choose among, by the bars of the song."""
    assert row.levels_for(song_meter) == levels


@pytest.mark.parametrize(
    ("song_meter", "level", "fours", "threes"),
    [
        (4, 1.0, True, False), (4, 2.0, True, False), (2, 2.0, True, True),
        (3, 1.0, False, True), (3, 0.5, False, True), (5, 1.0, False, False),
        (6, 3.0, True, False), (6, 2.0, False, True), (6, 1.0, True, True),
        (1, 1.0, True, True),
    ],
)  # fmt: skip
def test_which_bars_can_be_danced(song_meter: int, level: float, fours: bool, threes: bool) -> None:
    """Two dotted beats a bar make no waltz; three pairs of eighths do."""
    assert (FOURS.fits(song_meter, level), THREES.fits(song_meter, level)) == (fours, threes)


def test_phrases_of_songs_are_those_of_the_dance() -> None:
    """Twos and fours go in 32, 16 and 8 beats, threes and sixes in 24, 12 and 6."""
    assert {row.beats: row.phrase_beats for row in SONG_METERS.values()} == {
        2: (32, 16, 8), 4: (32, 16, 8), 3: (24, 12, 6), 6: (24, 12, 6),
    }  # fmt: skip


def test_another_meter_is_one_row(monkeypatch: pytest.MonkeyPatch) -> None:
    """With a row for fives a routine in fives is read, checked, planned and counted."""
    monkeypatch.setitem(meters.DANCE_METERS, 5, FIVES)
    routine = routine_from_numbers(counts=40, walls=4, meter=5)

    fit = phrasefit.fit(song_in(5), routine)

    assert [wall.counts for wall in fit.plan.walls[:3]] == [40, 40, 40]
    assert fit.plan.intro_counts == 40
    assert all(wall.phrase_offset == 0 for wall in fit.plan.walls)
    assert {row.spoken for row in running_counts(fit)} == set(range(1, 11))
    assert "40 counts, 4 walls   to   song" in render(fit)
    assert "in tens" in check_render("x.toml", routine, ())
    text = 'name = "Quick Five"\nrhythm = "5/4"\ncounts = 40\nturn = "1/4 L"\n'
    assert parse_routine(text).meter == 5
    with pytest.raises(phrasefit.PhrasefitError, match="counted in fives"):
        phrasefit.fit(song_in(4), routine)


def test_a_waltz_is_not_danced_on_dotted_beats() -> None:
    """A six that a person counts in two dotted beats is no waltz any more."""
    waltz = routine_from_numbers(counts=48, walls=2, meter=3)

    assert phrasefit.fit(song_in(6), waltz).grid.beats_per_count == 1.0
    dotted = song_in(6, beats_per_count=3.0)
    assert count_grid(dotted, routine=waltz).meter == 2
    with pytest.raises(phrasefit.PhrasefitError, match="in threes"):
        phrasefit.fit(dotted, waltz)
    (reason,) = phrasefit.rank([dotted], waltz).unfit
    assert reason == "not counted in threes"
