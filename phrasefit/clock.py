"""Times as people write them and read them: places in a song, and the time of day."""

from __future__ import annotations

import math
import re


def clock_time(seconds: float, *, decimals: int = 1) -> str:
    """Write `seconds` as m:ss with `decimals`, an hour as h:mm:ss; never rounds to :60.

    What is no number of seconds (an error may name it) is written as it is.

    Examples
    --------
    >>> clock_time(59.96), clock_time(83.456, decimals=2), clock_time(3599.99)
    ('1:00.0', '1:23.46', '1:00:00.0')
    """
    if not math.isfinite(seconds):
        return str(seconds)
    sign = "-" if seconds < 0 else ""
    units = math.floor(abs(seconds) * 10**decimals + 0.5)  # halves up, as browsers round
    whole, part = divmod(units, 10**decimals)
    minutes, secs = divmod(whole, 60)
    hours, minutes = divmod(minutes, 60)
    tail = f".{part:0{decimals}d}" if decimals else ""
    head = f"{hours}:{minutes:02d}" if hours else f"{minutes}"
    return f"{sign}{head}:{secs:02d}{tail}"


def time_of_day(seconds: float) -> str:
    """Write seconds after midnight as hh:mm of a day of 24 hours, rounded to the minute.

    Examples
    --------
    >>> time_of_day(70200), time_of_day(86400 + 59.9)
    ('19:30', '00:01')
    """
    hours, minutes = divmod(round(seconds / 60), 60)
    return f"{hours % 24:02d}:{minutes:02d}"


def seconds_of_day(text: str) -> float | None:
    """Read a time of day such as ``19:30`` as seconds after midnight; None if it is none.

    Examples
    --------
    >>> seconds_of_day("19:30"), seconds_of_day("24:00")
    (70200.0, None)
    """
    match = re.fullmatch(r"(\d{1,2})[:.](\d\d)", text.strip())
    hours, minutes = (int(part) for part in match.groups()) if match else (24, 60)
    return None if hours > 23 or minutes > 59 else 3600.0 * hours + 60.0 * minutes
