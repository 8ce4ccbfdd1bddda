"""How fast the music is, in words: one tempo, or where it changes."""

from __future__ import annotations

from phrasefit.clock import clock_time
from phrasefit.fit.tempo_course import TempoCourse, course_of_counts, course_of_map
from phrasefit.model import BarMap, CountGrid

MOST_CHANGES = 3  # more are not read
STEADY_SHARE = 1.02  # fastest to slowest of a band that keeps its tempo; from memory, no source


def pace_words(grid: CountGrid) -> str:
    """Say how fast a song is, as short as a heading needs it."""
    return _pace(course_of_counts(grid))


def steadiness_words(bar_map: BarMap, beats_per_count: float) -> str:
    """Say how fast a song is and how steady."""
    course = course_of_map(bar_map, beats_per_count)
    if _can_be_listed(course):
        return _pace(course)
    usual = f"{course.usual:.1f} counts a minute"
    if bar_map.steady:
        return f"{usual}, steady as a clock"
    if course.fastest <= course.slowest * STEADY_SHARE:
        return f"{usual}, steady"
    return f"{usual}, between {course.slowest:.0f} and {course.fastest:.0f}"


def course_words(grid: CountGrid) -> str:
    """Say where the tempo changes, or that it is not kept ("": one tempo)."""
    course = course_of_counts(grid)
    if _can_be_listed(course):
        steps = ", and ".join(
            f"at {clock_time(change.time_s)} from {change.before:.0f} to {change.after:.0f}"
            for change in course.changes
        )
        return f"the tempo changes {steps} counts a minute"
    if course.is_kept:
        return ""
    return (
        f"the music does not keep one tempo, it goes from {course.slowest:.0f} to"
        f" {course.fastest:.0f} counts a minute"
    )


def _pace(course: TempoCourse) -> str:
    if _can_be_listed(course):
        first = course.changes[0].before
        then = (f"{change.after:.0f} from {clock_time(change.time_s)}" for change in course.changes)
        return f"{first:.0f} counts a minute ({', '.join(then)})"
    if course.is_kept:
        return f"{course.usual:.0f} counts a minute"
    return f"{course.slowest:.0f} to {course.fastest:.0f} counts a minute"


def _can_be_listed(course: TempoCourse) -> bool:
    return course.is_stepwise and len(course.changes) <= MOST_CHANGES
