"""``phrasefit correct SONG FILE``: take over what was mended in a rehearsal page.

The file is described by ``schemas/correction.schema.json``.  It is applied only to the
song and the map that were looked at: once, and to nothing else.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from phrasefit.cli._edge import tell
from phrasefit.errors import MapError, ParameterError
from phrasefit.model import Correction

if TYPE_CHECKING:
    from phrasefit.pipeline import Analysis

FORMAT = "phrasefit-correction"
VERSION = 1
SAME_DURATION_S = 0.5  # copies of one recording differ by less, in padding of the encoder
MOST_MARKS = 1000


def register(app: typer.Typer) -> None:
    """Add the command to `app`."""
    app.command("correct", short_help="Corrections made in a page, applied or dropped.")(correct)


def correct(
    song: Annotated[Path, typer.Argument(help="The song that was corrected.")],
    file: Annotated[
        Path | None, typer.Argument(help="The corrections saved from its page (JSON).")
    ] = None,
    forget: Annotated[bool, typer.Option("--forget", help="Drop all corrections of it.")] = False,
) -> None:
    """Apply corrections saved from a rehearsal page, list those kept, or drop them.

    They are used by all later commands; then make the page again.

    Example: phrasefit correct song.mp3 song-correction.json

    Example: phrasefit correct song.mp3 --forget
    """
    from phrasefit.cli._song import heard
    from phrasefit.fit.grid import level_of
    from phrasefit.pipeline import UNTOUCHED
    from phrasefit.reports.map_text import render

    if file is not None and forget:
        raise ParameterError("give a correction file or --forget, not both")
    if forget:
        heard(song, forget=True)
        tell(f"{song}: no corrections are kept any more")
        return
    if file is None:
        kept = heard(song).correction
        tell(f"{song}: {words_of(kept) if kept != UNTOUCHED else 'no corrections are kept'}")
        return
    saved = read_saved(file)
    check_belongs(saved, heard(song), song=song, file=file)
    analysis = heard(song, change=saved.change, level_of_beats=True)
    typer.echo(f"corrected: {words_of(saved.change)}\n")
    typer.echo(render(analysis.bar_map, beats_per_count=level_of(analysis.bar_map)), nl=False)
    typer.echo("\nthe page still counts as before: make it again with phrasefit page")


# ---------------------------------------------------------------------- the file


@dataclass(frozen=True, slots=True, kw_only=True)
class Saved:
    """A correction file: the song, the map looked at, and the change relative to it."""

    content_hash: str
    title: str
    duration_s: float
    shown: str
    based_on: Correction
    change: Correction


def read_saved(path: Path) -> Saved:
    """Read a correction file and check every value in it.

    Raises
    ------
    MapError
        If it is no such file, or a value is missing or out of range; names the key.
    """
    from phrasefit.fields import load_json

    document = load_json(path, what="a correction file")
    if not isinstance(document, dict) or document.get("format") != FORMAT:
        raise MapError(f"{path}: is no correction file; save one in the rehearsal page")
    if document.get("version") != VERSION:
        raise MapError(
            f"{path}: is of version {document.get('version')}, this program reads {VERSION};"
            " make page and correction again"
        )
    _check_keys(document, {"format", "version", *_TOP}, where=str(path))
    values = _checked(document, _TOP, where=str(path))
    song = _checked(values["song"], _SONG, where=f"{path}: song", only=True)
    return Saved(
        **song,
        shown=values["shown"],
        based_on=_correction(values["based_on"], where=f"{path}: based_on"),
        change=_correction(values["change"], where=f"{path}: change"),
    )


def _is_number(value: Any, low: float = -math.inf, high: float = math.inf) -> bool:
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    return is_number and math.isfinite(value) and low <= value <= high


def _is_one_of(value: Any, *known: float | None) -> bool:
    return not isinstance(value, bool) and value in known


def _are_times(value: Any) -> bool:
    is_short_list = isinstance(value, list) and len(value) <= MOST_MARKS
    return is_short_list and all(_is_number(time, 0) for time in value)


def _is_hex(value: Any, n: int) -> bool:
    return isinstance(value, str) and re.fullmatch(rf"[0-9a-f]{{{n}}}", value) is not None


# Key, its test, and what is legal, as in the schema.
_Rules = dict[str, tuple[Any, str]]
_TOP: _Rules = {
    "song": (lambda v: isinstance(v, dict), "an object"),
    "shown": (lambda v: _is_hex(v, 16), "16 hexadecimal signs"),
    "based_on": (lambda v: isinstance(v, dict), "an object"),
    "change": (lambda v: isinstance(v, dict), "an object"),
}
_SONG: _Rules = {
    "content_hash": (lambda v: _is_hex(v, 64), "64 hexadecimal signs"),
    "title": (lambda v: isinstance(v, str), "a text"),
    "duration_s": (lambda v: _is_number(v, 0) and v > 0, "seconds, more than 0"),
}
_CORRECTION: _Rules = {
    "level": (lambda v: _is_one_of(v, None, 0.25, 0.5, 1, 2, 4), "null, 0.25, 0.5, 1, 2 or 4"),
    "meter": (lambda v: _is_one_of(v, None, 2, 3, 4, 6), "null, 2, 3, 4 or 6"),
    "one_at_s": (lambda v: v is None or _is_number(v, 0), "null or seconds from 0"),
    "shift_one_beats": (
        lambda v: _is_number(v, -64, 64) and v == int(v),
        "a whole number from -64 to 64",
    ),
    "nudge_s": (lambda v: _is_number(v, -1, 1), "seconds from -1 to 1"),
    "sections_at_s": (_are_times, f"a list of at most {MOST_MARKS} times from 0"),
    "no_section_at_s": (_are_times, f"a list of at most {MOST_MARKS} times from 0"),
}


def _checked(document: dict[str, Any], rules: _Rules, *, where: str, only: bool = False) -> Any:
    """Give the values of all keys in `rules`; with `only` no other key may be there."""
    if only:
        _check_keys(document, set(rules), where=where)
    for key, (is_legal, words) in rules.items():
        if key not in document:
            raise MapError(f"{where}: {key} is missing; save the corrections again")
        if not is_legal(document[key]):
            raise MapError(f"{where}: {key}={document[key]!r:.60} must be {words}")
    return {key: document[key] for key in rules}


def _check_keys(document: dict[str, Any], known: set[str], *, where: str) -> None:
    unknown = sorted(set(document) - known)
    if unknown:
        raise MapError(f"{where}: {unknown[0]!r:.60} is not known; remove it")


def _correction(document: dict[str, Any], *, where: str) -> Correction:
    values = _checked(document, _CORRECTION, where=where, only=True)
    return Correction(
        level=None if values["level"] is None else float(values["level"]),
        meter=values["meter"],
        one_at_s=values["one_at_s"],
        shift_one_beats=int(values["shift_one_beats"]),
        nudge_s=float(values["nudge_s"]),
        sections_at_s=tuple(values["sections_at_s"]),
        no_section_at_s=tuple(values["no_section_at_s"]),
    )


# ------------------------------------------------------------ does it belong here?


def check_belongs(saved: Saved, analysis: Analysis, *, song: Path, file: Path) -> None:
    """Refuse a correction of another song, another map, or one that was applied already.

    Raises
    ------
    MapError
        Says which of these it is, and what to do.
    """
    from phrasefit.pipeline import UNTOUCHED, corrected, merged
    from phrasefit.reports.page import fingerprint
    from phrasefit.reports.times import clock_time

    if not _is_song(saved, analysis):
        raise MapError(
            f"{file}: was made for {saved.title!r} ({clock_time(saved.duration_s)}), not for {song}"
            f" ({clock_time(analysis.info.duration_s)}); give the song it was made for"
        )
    if saved.change == UNTOUCHED:
        raise MapError(f"{file}: changes nothing; mend something in the page and save again")
    shown = corrected(analysis, saved.based_on).bar_map
    if fingerprint(shown) != saved.shown:
        raise MapError(
            f"{file}: was made from other beats than those now found in {song} (another copy of the"
            " song, or another version of this program); make the page again and correct it there"
        )
    if analysis.correction == saved.based_on:
        return
    if analysis.correction == merged(saved.based_on, saved.change, shown):
        raise MapError(f"{file}: has been applied to {song} already; make the page again")
    raise MapError(
        f"{file}: was made before other corrections of {song} ({words_of(analysis.correction)});"
        " make the page again and correct it there, or drop the others with --forget"
    )


def _is_song(saved: Saved, analysis: Analysis) -> bool:
    """Know the song by its sound, or at least by title and length."""
    if saved.content_hash == analysis.info.content_hash:
        return True
    same_length = abs(saved.duration_s - analysis.info.duration_s) <= SAME_DURATION_S
    return same_length and saved.title == analysis.bar_map.title


def words_of(correction: Correction) -> str:
    """Say a correction in plain words; "nothing" for an untouched one."""
    from phrasefit.reports.times import clock_time

    levels = {
        0.25: "a quarter as many",
        0.5: "half as many",
        1.0: "as many as found",
        2.0: "twice as many",
        4.0: "four times as many",
    }
    beats, ms = correction.shift_one_beats, correction.nudge_s * 1000
    parts = [
        correction.level and f"{levels[correction.level]} beats counted",
        correction.meter and f"{correction.meter} beats a bar",
        correction.one_at_s is not None and f"a one at {clock_time(correction.one_at_s or 0)}",
        beats and f"every one {_later(beats)} by {abs(beats)} beat{'s' * (abs(beats) != 1)}",
        ms and f"all beats {_later(ms)} by {abs(ms):.0f} ms",
        *(f"a section at {clock_time(time)}" for time in correction.sections_at_s),
        *(f"no section at {clock_time(time)}" for time in correction.no_section_at_s),
    ]
    return ", ".join(part for part in parts if part) or "nothing"


def _later(amount: float) -> str:
    return "later" if amount > 0 else "earlier"
