"""Is the tempo right for the dancers?

The ranges are data with their source, not constants of the program: published tables
differ by body and edition, so a user can replace them (`phrasefit.fit.settings`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from phrasefit.errors import ParameterError, shown
from phrasefit.meters import DANCE_METERS, TEMPO_RANGE
from phrasefit.model import Routine, TempoVerdict, one_line

MOST_SOURCE = 200  # letters that say where a range comes from


@dataclass(frozen=True, slots=True, kw_only=True)
class TempoRow:
    """A range of counts a minute for routines of one meter and level.

    `level` is part of what a routine calls its level; empty = any level.
    """

    meter: int
    low: float
    high: float
    source: str
    level: str = ""


MOST_CHANGE_PERCENT = 8.0  # faster or slower than that is heard; from memory, no source

# Counts a minute that are danced as they are; slower songs are counted twice as fast, faster ones
# half.  The edges lie in gaps between the tempi songs are made at (of 912 released ones in the
# Harmonix Set 7 lie from 65.5 to 69.5 and 29 from there to 74.5, 14 from 149.5 to 154.5 and 3
# from 155.5 to 159.5), so that a song at 70, 150 or 160 heard a hair otherwise is counted alike.
DANCEABLE_CPM = (67.0, 158.0)

_MEMORY = "common practice for this level, no published table"

TEMPO_ROWS: tuple[TempoRow, ...] = (
    TempoRow(meter=4, level="absolute beginner", low=90, high=115, source=_MEMORY),
    TempoRow(meter=4, level="beginner", low=100, high=125, source=_MEMORY),
    TempoRow(meter=4, level="improver", low=105, high=135, source=_MEMORY),
    TempoRow(meter=4, level="intermediate", low=70, high=140, source=_MEMORY),
    TempoRow(
        meter=4, low=DANCEABLE_CPM[0], high=DANCEABLE_CPM[1],
        source="nine in ten of 912 released pop songs are at 74 to 150 (Harmonix Set, 2019);"
        " country swing is competed in to 158 (UCWDC tempos)",
    ),
    TempoRow(
        meter=3, low=84, high=110,
        source="waltz: 28-30 bars a minute in the international table, social floors to 110",
    ),
    TempoRow(
        meter=3, low=162, high=180,
        source="Viennese waltz: 54-60 bars a minute in the American and international tables",
    ),
)  # fmt: skip


def with_own_rows(tables: Sequence[object]) -> tuple[TempoRow, ...]:
    """Put a user's own ranges before those above, in place of their meter and level.

    Parameters
    ----------
    tables : sequence of dict
        Each has ``meter`` (4 or 3), ``low``, ``high``, ``source`` and perhaps ``level``.

    Raises
    ------
    ParameterError
        If a row is not usable.
    """
    own = tuple(_read_row(row, f"tempo row {i}") for i, row in enumerate(tables, start=1))
    taken = {(row.meter, row.level) for row in own}
    return own + tuple(row for row in TEMPO_ROWS if (row.meter, row.level) not in taken)


def _read_row(row: object, where: str) -> TempoRow:
    needed = {"meter", "low", "high", "source"}
    if not isinstance(row, dict) or not needed <= set(row) <= needed | {"level"}:
        raise ParameterError(f"{where} needs meter, low, high, source and perhaps level")
    if type(row["meter"]) is not int or row["meter"] not in DANCE_METERS:
        known = " or ".join(map(str, DANCE_METERS))
        raise ParameterError(f"{where}: meter={shown(row['meter'])} must be {known}")
    slowest, fastest = TEMPO_RANGE
    for key in ("low", "high"):
        if type(row[key]) not in (int, float) or not slowest <= row[key] <= fastest:
            raise ParameterError(
                f"{where}: {key}={shown(row[key])} must be {slowest:g} to {fastest:g}"
                " counts a minute"
            )
    if row["low"] > row["high"]:
        raise ParameterError(f"{where}: low={row['low']:g} must be below high={row['high']:g}")
    for key in ("source", "level"):
        text = row.get(key, "")
        if not isinstance(text, str) or len(text) > MOST_SOURCE:
            raise ParameterError(
                f"{where}: {key}={shown(text)} must be a text of at most {MOST_SOURCE} letters"
            )
    return TempoRow(
        **row | {"source": one_line(row["source"]), "level": row.get("level", "").lower()}
    )


def tempo_verdict(
    counts_per_minute: float, routine: Routine, *, rows: tuple[TempoRow, ...] = TEMPO_ROWS
) -> TempoVerdict:
    """Compare the song's counts a minute with what the routine or its level wants.

    Parameters
    ----------
    counts_per_minute : float
    routine : Routine
        Its own `tempo_bpm` decides; without one its level does.
    rows : tuple of TempoRow
        Where several rows suit, the one that asks for the smallest change is taken.

    Returns
    -------
    TempoVerdict
        `verdict` is ``in range``, ``too slow`` or ``too fast``; `change_percent` is the
        pitch-kept change that reaches the range, rounded outwards to 0.1.
    """
    low, high, source = _range(counts_per_minute, routine, rows)
    verdict, change = "in range", 0.0
    if counts_per_minute < low:
        verdict, change = "too slow", math.ceil(_percent(low, counts_per_minute) * 10) / 10
    elif counts_per_minute > high:
        verdict, change = "too fast", math.floor(_percent(high, counts_per_minute) * 10) / 10
    return TempoVerdict(
        counts_per_minute=counts_per_minute,
        low=low,
        high=high,
        verdict=verdict,
        change_percent=change,
        source=source,
    )


def is_in_reach(tempo: TempoVerdict, most_percent: float = MOST_CHANGE_PERCENT) -> bool:
    """Tell whether the song can be brought in range by a change of tempo that is not heard."""
    return abs(tempo.change_percent) <= most_percent


def _percent(wanted: float, found: float) -> float:
    # Twelve digits are enough; more would turn 120/100 into a hair over 20 %.
    return round((wanted / found - 1) * 100, 12)


def _range(
    counts_per_minute: float, routine: Routine, rows: tuple[TempoRow, ...]
) -> tuple[float, float, str]:
    if routine.tempo_bpm:
        return *routine.tempo_bpm, "the routine's own tempo range"
    level = routine.level.lower()
    suited = [row for row in rows if row.meter == routine.meter and row.level in level]
    if not suited:
        return counts_per_minute, counts_per_minute, "no range is known for this meter and level"
    closest_level = max(len(row.level) for row in suited)
    row = min(
        (row for row in suited if len(row.level) == closest_level),
        key=lambda row: distance_to_range(counts_per_minute, row.low, row.high),
    )
    return row.low, row.high, row.source


def distance_to_range(counts_per_minute: float, low: float, high: float) -> float:
    """Give how far a tempo is from a range, as a logarithm of the ratio; 0 inside."""
    return max(0.0, math.log(low / counts_per_minute), math.log(counts_per_minute / high))
