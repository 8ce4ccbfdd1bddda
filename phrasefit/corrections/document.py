"""Corrections as JSON: how they are kept, and the file that a rehearsal page saves.

Both are described by ``schemas/correction.schema.json``; a key that is left out is untouched.
Version 1 knew one time that is a one, and times of the map before all beats were moved.
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from phrasefit.errors import MapError
from phrasefit.fields import Fields, load_json
from phrasefit.model import MOST_NAME_LETTERS, Correction, OddBar, SectionName

FORMAT = "phrasefit-correction"
VERSION = 2
READABLE = (1, 2)
LEVELS = (0.25, 0.5, 1, 2, 4)  # halved or doubled once or twice; 1: as found, whatever its tempo
METERS = (2, 3, 4, 6)
MOST_SHIFT_BEATS = 64
MOST_NUDGE_S = 1.0
ODD_BAR_BEATS = (2, 16)
MOST_MARKS = 1000

_PARTS = ("song", "shown", "based_on", "change")
_KEYS = tuple(field.name for field in dataclasses.fields(Correction))
_KEYS_1 = (
    "level", "meter", "one_at_s", "shift_one_beats", "nudge_s", "sections_at_s", "no_section_at_s",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Saved:
    """A correction file: the song, the map looked at, and the change relative to it."""

    content_hash: str
    title: str
    duration_s: float
    shown: str
    based_on: Correction
    change: Correction


def correction_document(correction: Correction) -> dict[str, Any]:
    """Lay out a correction as the JSON object that is kept, shown and saved: what is touched."""
    document = dataclasses.asdict(correction)
    return {
        field.name: list(value) if isinstance(value, tuple) else value
        for field in dataclasses.fields(Correction)
        if (value := document[field.name]) != field.default
    }


def read_correction(fields: Fields) -> Correction:
    """Read what `correction_document` wrote, in this version or the first.

    Raises
    ------
    MapError
        If a key is unknown or a value out of range; names the key.
    """
    is_first = "one_at_s" in fields.values
    fields.only(_KEYS_1 if is_first else _KEYS)
    nudge_s = fields.number("nudge_s", 0.0, low=-MOST_NUDGE_S, high=MOST_NUDGE_S)
    # The first version moved all beats last; now times are of the map that results.
    later_s = nudge_s if is_first else 0.0
    ones_at_s = _times(fields, "ones_at_s", 0.0)
    if fields.values.get("one_at_s") is not None:
        ones_at_s = (max(fields.number("one_at_s", low=0.0) + later_s, 0.0),)
    level = fields.choice("level", LEVELS)
    return Correction(
        nudge_s=nudge_s,
        level=None if level is None else float(level),
        meter=fields.choice("meter", METERS),
        ones_at_s=ones_at_s,
        shift_one_beats=fields.whole(
            "shift_one_beats", 0, low=-MOST_SHIFT_BEATS, high=MOST_SHIFT_BEATS
        ),
        odd_bars=tuple(map(_read_odd_bar, fields.tables("odd_bars", most=MOST_MARKS))),
        no_odd_bar_at_s=_times(fields, "no_odd_bar_at_s", 0.0),
        sections_at_s=_times(fields, "sections_at_s", later_s),
        no_section_at_s=_times(fields, "no_section_at_s", later_s),
        section_names=tuple(map(_read_name, fields.tables("section_names", most=MOST_MARKS))),
        singing_at_s=fields.number("singing_at_s", low=0.0)
        if fields.values.get("singing_at_s") is not None
        else None,
        no_singing=fields.flag("no_singing"),
    )


def _times(fields: Fields, key: str, later_s: float) -> tuple[float, ...]:
    times_s = fields.numbers(key, low=0.0, high=math.inf, most=MOST_MARKS)
    return tuple(max(time_s + later_s, 0.0) for time_s in times_s)


def _read_odd_bar(fields: Fields) -> OddBar:
    fields.only(("at_s", "beats"))
    low, high = ODD_BAR_BEATS
    return OddBar(
        at_s=fields.number("at_s", low=0.0), beats=fields.whole("beats", low=low, high=high)
    )


def _read_name(fields: Fields) -> SectionName:
    fields.only(("at_s", "name"))
    return SectionName(
        at_s=fields.number("at_s", low=0.0), name=fields.text("name", most=MOST_NAME_LETTERS)
    )


def read_saved(path: Path) -> Saved:
    """Read a correction file and check every value in it.

    Raises
    ------
    MapError
        If it is no such file, or a value is missing or out of range; names the key.
    """
    return saved_in(load_json(path, what="a correction file"), str(path))


def saved_in(document: Any, name: str) -> Saved:
    """Check the content of a correction file called `name`.

    Raises
    ------
    MapError
        If it is none, or a value is missing or out of range; names the key.
    """
    if not isinstance(document, dict) or document.get("format") != FORMAT:
        raise MapError(f"{name}: is no correction file; save one in the rehearsal page")
    fields = Fields(name, document)
    if fields.values.get("version") not in READABLE:
        raise MapError(
            f"{name}: is of version {document.get('version')}, this program reads 1 to {VERSION};"
            " make page and correction again"
        )
    fields.only(("format", "version", *_PARTS))
    for key in _PARTS:
        fields.required(key)
    song = fields.table("song")
    song.required("title")
    song.only(("content_hash", "title", "duration_s"))
    duration_s = song.number("duration_s")
    if duration_s <= 0:
        raise song.refuse("duration_s", "must be more than 0 s")
    return Saved(
        content_hash=song.hexadecimal("content_hash", 64),
        title=song.text("title"),
        duration_s=duration_s,
        shown=fields.hexadecimal("shown", 16),
        based_on=read_correction(fields.table("based_on")),
        change=read_correction(fields.table("change")),
    )
