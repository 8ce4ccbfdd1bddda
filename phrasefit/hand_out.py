"""Everything that can be handed out of one plan, each kind made in one place.

The command line and the desk call the same functions, so both give the same bytes.  What
comes back, the corrections saved in a page, is checked here as well.
"""

from __future__ import annotations

from dataclasses import replace
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from phrasefit.errors import MapError, PhrasefitError

if TYPE_CHECKING:
    from phrasefit.corrections.document import Saved
    from phrasefit.fit.request import PlanRequest
    from phrasefit.model import BarMap, FitPlan, Plan
    from phrasefit.pipeline import Analysis
    from phrasefit.reports.page import Level, Origin
    from phrasefit.reports.paper import Document

LEVELS_IN_TURN = (0.5, 2.0, 1.0, 0.25, 4.0)  # of a correction, tried for half and double
SAME_DURATION_S = 0.5  # copies of one recording differ by less, in padding of the encoder
SAME_PACE = 0.03  # two levels count equally fast if they differ by less


class Planned(NamedTuple):
    """A routine laid over a song, the plan that was asked for, and what was heard.

    `analysis` is None where the map came from a file.
    """

    fit: FitPlan
    plan: Plan
    analysis: Analysis | None


class Sheet(StrEnum):
    """What is printed."""

    PAGE = "page"
    STAND = "stand"
    FLOOR = "floor"
    STEPS = "steps"
    DJ = "dj"


class Export(StrEnum):
    """The open formats that can be written."""

    MIDI = "midi"
    JAMS = "jams"
    CSV = "csv"


CAPTION_ENDINGS = (".vtt", ".srt")
EXPORT_ENDINGS = {Export.MIDI: ".mid", Export.JAMS: ".jams", Export.CSV: ".csv"}


def planned(bar_map: BarMap, request: PlanRequest, analysis: Analysis | None) -> Planned:
    """Lay the routine over the song."""
    from phrasefit.fit import fit_routine

    fit = fit_routine(bar_map, request)
    return Planned(fit, fit.plan, analysis)


def stem_of(song: Path | str, routine: str) -> str:
    """Name what belongs to a song and a routine, so that no two pairs get the same name."""
    from phrasefit.files import safe_stem

    return safe_stem("-".join(name for name in (Path(song).stem, routine) if name))


def numbers_name(counts: int, walls: int, *, waltz: bool) -> str:
    """Name a routine of which no more is known than its numbers."""
    return f"{counts}-counts-{walls}-walls{'-waltz' if waltz else ''}"


def sheet_of(
    kind: Sheet, made: Planned, *, paper: str = "a4", per_page: int | None = None
) -> Document:
    """Lay out a sheet; `per_page` DJ cards on a page, as many as usual if left out."""
    from phrasefit.reports.dj_card import USUAL_PER_PAGE, dj_card
    from phrasefit.reports.sheet import sheet
    from phrasefit.reports.step_sheet import step_sheet

    if kind is Sheet.STEPS:
        return step_sheet(made.fit.routine, paper=paper)
    if kind is Sheet.DJ:
        n_cards = USUAL_PER_PAGE if per_page is None else per_page
        return dj_card(made.fit, made.plan, paper=paper, per_page=n_cards)
    return sheet(made.fit, made.plan, size=kind.value, paper=paper)


def export_of(to: Export, bar_map: BarMap, fit: FitPlan | None, plan: Plan | None) -> bytes | str:
    """Write map and plan in an open format; only a CSV needs the plan."""
    from phrasefit.reports.jams import jams_document
    from phrasefit.reports.midi import midi_file
    from phrasefit.reports.walls_csv import walls_csv
    from phrasefit.serial import dump_json

    if to is Export.MIDI:
        return midi_file(bar_map, fit, plan)
    if to is Export.JAMS:
        return dump_json(jams_document(bar_map, fit, plan))
    assert fit is not None, "a CSV is made of a plan"
    return walls_csv(fit, plan)


def captions_of(ending: str, made: Planned, *, offset_s: float = 0.0) -> str:
    """Write captions as WebVTT or SRT, by an ending of `CAPTION_ENDINGS`."""
    from phrasefit.reports import captions

    write = captions.srt if ending.lower() == ".srt" else captions.webvtt
    return write(captions.captions(made.fit, made.plan, offset_s=offset_s))


def origin_of(made: Planned) -> Origin | None:
    """Say what corrections made in the page refer to, and what half and double would be."""
    from phrasefit.reports.page import Origin

    fit, _, analysis = made
    if analysis is None:  # a map file: nothing was heard that could be corrected
        return None
    levels = [level for change in LEVELS_IN_TURN if (level := _level(analysis, fit, change))]
    pace = fit.grid.counts_per_minute

    def at(factor: float) -> Level | None:
        return next((x for x in levels if abs(_pace(x) / (pace * factor) - 1) < SAME_PACE), None)

    return Origin(
        info=analysis.info,
        correction=analysis.correction,
        beat_times_s=analysis.found.beat_times_s,
        loudness_db=analysis.evidence.loudness_db,
        half=at(0.5),
        double=at(2.0),
    )


def _pace(level: Level) -> float:
    from phrasefit.fit.grid import beat_tempo

    return beat_tempo(level.bar_map) / level.beats_per_count


def _level(analysis: Analysis, fit: FitPlan, change: float) -> Level | None:
    """Count the song at another level, exactly as `correct` would; None if it cannot be."""
    from phrasefit.corrections import UNTOUCHED
    from phrasefit.corrections.combine import merged
    from phrasefit.fit.grid import count_grid
    from phrasefit.pipeline import corrected
    from phrasefit.reports.page import Level

    try:
        total = merged(analysis.correction, replace(UNTOUCHED, level=change), analysis.found)
        bar_map = corrected(analysis, total).bar_map
        grid = count_grid(bar_map, routine=fit.routine)
    except PhrasefitError:
        return None
    return Level(change=change, bar_map=bar_map, beats_per_count=grid.beats_per_count)


# ------------------------------------------------ what comes back: a page's corrections


def check_belongs(saved: Saved, analysis: Analysis, *, song: str, file: str, drop: str) -> None:
    """Refuse a correction of another song, another map, or one that was applied already.

    `song` and `file` are what a person calls them, `drop` what drops all corrections.

    Raises
    ------
    MapError
        Says which of these it is, and what to do.
    """
    from phrasefit.clock import clock_time
    from phrasefit.corrections import UNTOUCHED
    from phrasefit.pipeline import added, corrected
    from phrasefit.reports.correction_words import correction_words
    from phrasefit.reports.page import fingerprint

    if not _is_song(saved, analysis):
        raise MapError(
            f"{file}: was made for {saved.title!r} ({clock_time(saved.duration_s)}), not for {song}"
            f" ({clock_time(analysis.info.duration_s)}); give the song it was made for"
        )
    if saved.change == UNTOUCHED:
        raise MapError(f"{file}: changes nothing; correct something in the page and save again")
    shown = corrected(analysis, saved.based_on).bar_map
    if fingerprint(shown) != saved.shown:
        raise MapError(
            f"{file}: was made from other beats than those now found in {song} (another copy of the"
            " song, or another version of this program); make the page again and correct it there"
        )
    if analysis.correction == saved.based_on:
        return
    if analysis.correction == added(analysis, saved.based_on, saved.change).correction:
        raise MapError(f"{file}: has been applied to {song} already; make the page again")
    others = correction_words(analysis.correction)
    raise MapError(
        f"{file}: was made before other corrections of {song} ({others});"
        f" make the page again and correct it there, or drop the others with {drop}"
    )


def _is_song(saved: Saved, analysis: Analysis) -> bool:
    """Know the song by its sound, or at least by title and length."""
    if saved.content_hash == analysis.info.content_hash:
        return True
    same_length = abs(saved.duration_s - analysis.info.duration_s) <= SAME_DURATION_S
    return same_length and saved.title == analysis.bar_map.title
