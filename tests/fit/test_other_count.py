"""The other tempo at which a song is danced: shown where there is one, and true."""

from __future__ import annotations

import dataclasses

import pytest

from fit_songs import make_part, make_routine, make_song
from phrasefit.fit import fit_routine
from phrasefit.fit.grid import count_grid, level_of
from phrasefit.fit.other_count import at_other_level, other_level
from phrasefit.fit.readings import at_level
from phrasefit.reports.fit_text import render
from phrasefit.reports.map_text import render as render_map

SECTIONS = [("A", 8), ("B", 8), ("A", 8), ("B", 8)]


@pytest.mark.parametrize(
    ("bpm", "level"),
    [
        (72, 0.5),
        (80, 0.5),
        (100, None),
        (120, None),
        (144, 2.0),
        (150, 2.0),
        (158, 2.0),
        (160, 1.0),
        (166, 1.0),
        (190, None),
    ],
)
def test_where_both_are_danceable_the_other_is_given(bpm: float, level: float | None) -> None:
    """Slow songs can be counted twice as fast, fast ones half; the others one way only."""
    assert other_level(make_song(*SECTIONS, bpm=bpm)) == level


@pytest.mark.parametrize("bpm", [70, 75, 140, 145, 150, 155, 160, 165, 170])
def test_a_hair_s_difference_in_tempo_changes_no_count(bpm: float) -> None:
    """Heard one percent slower or faster, a song at a tempo many have is counted as before."""
    levels = {level_of(make_song(*SECTIONS, bpm=bpm * by)) for by in (0.99, 0.998, 1, 1.002, 1.01)}

    assert len(levels) == 1


@pytest.mark.parametrize("bpm", [60, 62, 80, 85, 95])
def test_half_and_twice_the_beat_are_danced_at_one_tempo(bpm: float) -> None:
    """Where only one of both is danceable, a beat heard twice as fast changes no count."""
    counts = {
        count_grid(make_song(*SECTIONS, bpm=heard)).counts_per_minute for heard in (bpm, 2 * bpm)
    }

    assert len(counts) == 1


@pytest.mark.parametrize("bpm", range(60, 220, 2))
def test_a_song_counted_by_its_tempo_is_in_range(bpm: float) -> None:
    """No song is counted in a way that the same range then calls too slow or too fast."""
    fit = fit_routine(make_song(*SECTIONS, bpm=bpm), make_routine())

    assert fit.tempo.verdict == "in range"


def test_a_person_s_count_is_not_asked_about() -> None:
    """Who has chosen the count is offered no other."""
    song = at_level(make_song(*SECTIONS, bpm=144), 1.0)

    assert other_level(song) is None
    assert at_other_level(fit_routine(song, make_routine())) is None


def test_the_routine_s_range_decides() -> None:
    """A routine for 60 to 80 is not danced at 144, one for 70 to 150 both ways."""
    song = make_song(*SECTIONS, bpm=144)

    assert other_level(song, make_routine(tempo_bpm=(60, 80))) is None
    assert other_level(song, make_routine(tempo_bpm=(70, 150))) == 2.0


def test_what_is_said_is_the_plan_after_the_correction() -> None:
    """Walls and score named are those of the plan once the count is corrected."""
    song, routine = make_song(*SECTIONS, bpm=144), make_routine()

    shown = render(fit_routine(song, routine), name_correction=lambda c: f"level {c.level:g}")

    corrected = fit_routine(at_level(song, 2.0), routine)
    row = (
        f"or half as fast, 72 counts a minute: {len(corrected.plan.walls)} walls,"
        f" score {corrected.plan.score:.0f} (level 0.5)"
    )
    assert row in " ".join(shown.split())
    assert "or half as fast, 72 counts a minute (level 0.5)" in render_map(
        song, beats_per_count=1.0, name_correction=lambda c: f"level {c.level:g}"
    )


def test_where_the_routine_does_not_fit_nothing_is_offered() -> None:
    """At half the counts the song is shorter than a wall."""
    song = make_song(("A", 8), ("B", 8), bpm=144)
    routine = make_routine(dataclasses.replace(make_part(), counts=48))

    assert other_level(song, routine) == 2.0
    assert at_other_level(fit_routine(song, routine)) is None
