"""A correction in plain words: what is true of the map once it is applied."""

from __future__ import annotations

from phrasefit.clock import clock_time
from phrasefit.model import Correction, SectionName

LEVEL_WORDS = {
    0.25: "a quarter as many beats counted",
    0.5: "half as many beats counted",
    1.0: "as many beats counted as found",
    2.0: "twice as many beats counted",
    4.0: "four times as many beats counted",
}


def correction_words(correction: Correction, *, decimals: int = 2) -> str:
    """Say a correction in plain words; "nothing" for an untouched one.

    Parameters
    ----------
    decimals : int
        Of its times [s]: two where a person may type them again, one where they are only read.

    Examples
    --------
    >>> correction_words(Correction(level=0.5, shift_one_beats=-1))
    'half as many beats counted, every one earlier by 1 beat'
    """

    def at(time_s: float) -> str:
        return clock_time(time_s, decimals=decimals)

    shift, ms = correction.shift_one_beats, correction.nudge_s * 1000
    parts = [
        ms and f"all beats {_later(ms)} by {abs(ms):.0f} ms",
        correction.level and LEVEL_WORDS[correction.level],
        correction.meter and f"{correction.meter} beats a bar",
        *_ones_words([at(time_s) for time_s in correction.ones_at_s]),
        shift and f"every one {_later(shift)} by {_beats(abs(shift))}",
        *(f"an odd bar of {_beats(bar.beats)} at {at(bar.at_s)}" for bar in correction.odd_bars),
        *(f"no odd bar at {at(time_s)}" for time_s in correction.no_odd_bar_at_s),
        *(f"a section at {at(time_s)}" for time_s in correction.sections_at_s),
        *(f"no section at {at(time_s)}" for time_s in correction.no_section_at_s),
        *(_name_words(said, at(said.at_s)) for said in correction.section_names),
        correction.singing_at_s is not None and f"singing from {at(correction.singing_at_s)} on",
        correction.no_singing and "where the singing begins taken back",
    ]
    return ", ".join(part for part in parts if part) or "nothing"


def _name_words(said: SectionName, time: str) -> str:
    if not said.name:
        return f"no name for the section at {time}"
    return f'the section at {time} called "{said.name}"'


def _ones_words(times: list[str]) -> list[str]:
    if len(times) < 2:
        return [f"a one at {time}" for time in times]
    return [f"ones from {time} on" for time in times]


def _later(amount: float) -> str:
    return "later" if amount > 0 else "earlier"


def _beats(n: int) -> str:
    return f"{n} beat{'s' * (n != 1)}"
