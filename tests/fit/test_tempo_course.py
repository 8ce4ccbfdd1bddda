"""Where one tempo ends and another begins, and what is only how people play."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from fit_songs import make_song
from phrasefit.fit.grid import count_grid
from phrasefit.fit.tempo_course import STRETCH, course_of_counts, course_of_map
from phrasefit.model import BarMap
from phrasefit.reports.pace_words import course_words, pace_words, steadiness_words


def song_of(steps_s: np.ndarray, *, loose_s: float = 0.0, seed: int = 0) -> BarMap:
    """Give a song whose beats have these steps, each beat played so loosely."""
    song = make_song(("A", len(steps_s) // 4))
    late_s = np.random.default_rng(seed).normal(0.0, loose_s, len(steps_s) + 1)
    times_s = 1.0 + np.append(0.0, np.cumsum(steps_s)) + late_s
    return dataclasses.replace(
        song,
        beat_times_s=times_s[:-1],
        end_s=float(times_s[-1]),
        duration_s=float(times_s[-1]),
        tempo_bpm=60.0 / float(np.median(np.diff(times_s))),
    )


def steps_of(*stretches: tuple[int, float]) -> np.ndarray:
    """Give the steps [s] of (beats, beats a minute) after each other."""
    return np.concatenate([np.full(n, 60.0 / bpm) for n, bpm in stretches])


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("tempos", [(106.0, 118.0), (128.0, 96.0), (90.0, 95.0)])
def test_a_change_is_found_on_its_beat(tempos: tuple[float, float], seed: int) -> None:
    """Played as loosely as a band with a click plays, 4 ms around it (from memory, no source)."""
    song = song_of(steps_of((64, tempos[0]), (96, tempos[1])), loose_s=0.004, seed=seed)

    [change] = course_of_map(song, 1.0).changes

    assert abs(change.time_s - song.beat_times_s[64]) < 1.5 * 60 / tempos[0]
    assert (change.before, change.after) == pytest.approx(tempos, rel=0.01)


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize(
    "steps_s",
    [
        steps_of((160, 120.0)),
        60.0 / np.linspace(100.0, 112.0, 160),  # gets faster all the time
        60.0 / (110.0 + 3.0 * np.sin(np.arange(160) / 20)),  # pushes and drags for bars
        np.insert(steps_of((159, 120.0)), 80, 7.3),  # the music stops, and goes on as before
        np.tile([0.52, 0.48], 80),  # every other beat is late
    ],
    ids=["one", "drifts", "sways", "stops", "limps"],
)
def test_what_is_no_change(steps_s: np.ndarray, seed: int) -> None:
    """Loose players, 10 ms around the beat, have one tempo."""
    assert not course_of_map(song_of(steps_s, loose_s=0.010, seed=seed), 1.0).changes


def test_too_short_to_tell() -> None:
    """Of a song of less than two stretches nothing is said of changes; it has a tempo."""
    course = course_of_map(song_of(steps_of((STRETCH, 90.0), (STRETCH - 1, 120.0))[:-3]), 1.0)
    assert not course.changes
    alone = dataclasses.replace(make_song(("A", 1)), beat_times_s=[1.0], positions=[1], sections=())
    assert course_of_map(alone, 1.0).usual == 120.0


def test_counts_and_beats_agree() -> None:
    """Danced to every other beat a song changes at the same place, at half the tempo."""
    song = dataclasses.replace(song_of(steps_of((96, 170.0), (96, 150.0))), beats_per_count=2.0)

    halved = course_of_counts(count_grid(song)), course_of_map(song, 2.0)

    for course in halved:
        [change] = course.changes
        assert change.time_s == pytest.approx(song.beat_times_s[96], abs=0.8)
        assert (change.before, change.after) == pytest.approx((85.0, 75.0))


@pytest.mark.parametrize(
    ("stretches", "pace", "course", "steadiness"),
    [
        ([(128, 118.0)], "118 counts a minute", "", "118.0 counts a minute, steady"),
        (
            [(64, 106.0), (128, 118.0)],
            "106 counts a minute (118 from 0:37.2)",
            "the tempo changes at 0:37.2 from 106 to 118 counts a minute",
            "106 counts a minute (118 from 0:37.2)",
        ),
        (
            [(64, 106.0), (64, 118.0), (64, 106.0)],
            "106 counts a minute (118 from 0:37.2, 106 from 1:09.8)",
            "the tempo changes at 0:37.2 from 106 to 118, and at 1:09.8 from 118 to 106"
            " counts a minute",
            "106 counts a minute (118 from 0:37.2, 106 from 1:09.8)",
        ),
        (
            [(32, 100.0 + 2 * k) for k in range(6)],
            "100 to 110 counts a minute",
            "the music does not keep one tempo, it goes from 100 to 110 counts a minute",
            "105.0 counts a minute, between 100 and 110",
        ),
        ([(64, 100.0), (64, 103.0)], "101 counts a minute", "", None),
    ],
    ids=["one", "two", "there and back", "ever faster", "hardly two"],
)
def test_words(stretches, pace, course, steadiness) -> None:
    """What a heading, a caution and the map say."""
    song = song_of(steps_of(*stretches))
    grid = count_grid(song)

    assert (pace_words(grid), course_words(grid)) == (pace, course)
    if steadiness:
        assert steadiness_words(song, 1.0) == steadiness
