"""Times are written alike by the program and by the pages that it makes."""

from __future__ import annotations

from phrasefit.clock import clock_time


def test_halves_are_rounded_as_in_a_browser() -> None:
    """Math.round takes them up; so a sheet and a page name the same tenth."""
    assert [clock_time(t) for t in (12.25, 12.75, 59.95)] == ["0:12.3", "0:12.8", "1:00.0"]
    assert [clock_time(t, decimals=0) for t in (44.5, 45.5)] == ["0:45", "0:46"]
