"""What the script of the rehearsal page reads, as JSON; the desk's sheet reads the same."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from typing import Any

import numpy as np

from phrasefit.clock import clock_time
from phrasefit.corrections.document import correction_document
from phrasefit.model import (
    BarMap,
    Correction,
    CountGrid,
    Event,
    FitPlan,
    Plan,
    SongInfo,
    Step,
    Tag,
    Wall,
)
from phrasefit.reports.cues import (
    RunningCount,
    counted_alone,
    group_size,
    part_of,
    running_counts,
    song_counts,
)
from phrasefit.reports.doubts import doubt_lines
from phrasefit.reports.event_words import (
    CAPITALS,
    ending_sentence,
    label,
    place,
    remark,
    sheet_words,
)
from phrasefit.reports.fonts import isolated
from phrasefit.reports.leaf import CAUTION
from phrasefit.reports.pace_words import pace_words
from phrasefit.reports.practice import CLICKS, PEAK, SECOND_TONE_S
from phrasefit.reports.start_words import intro_words, start_words
from phrasefit.reports.words import cautions, music_name, off_phrase_lines, part_name, verdict
from phrasefit.routine.turns import format_turn
from phrasefit.routine.vocabulary import cue_words

MOST_SHIFT_BEATS = 16
MOST_LATER_MS = 500
EMBEDDED = (
    "This file carries a recording: keep it to yourself, and pass it on only if your license says"
    " so."
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Level:
    """The song as the program would count it half or twice as fast.

    `change` is that of `Correction.level`, relative to the map shown.
    """

    change: float
    bar_map: BarMap
    beats_per_count: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Origin:
    """The song that corrections made in the page belong to.

    `correction` is what the map shown rests on; `half` and `double` are None where
    the song cannot be counted so.  `beat_times_s` [shape=(n,), seconds] and `loudness_db`
    [shape=(n,)] of the song as it was heard let the page know another one.
    """

    info: SongInfo
    correction: Correction
    beat_times_s: np.ndarray
    loudness_db: np.ndarray
    half: Level | None = None
    double: Level | None = None


def page_document(
    fit: FitPlan, plan: Plan, *, origin: Origin | None, embedded: bool = False
) -> dict[str, Any]:
    """Lay out everything the script reads."""
    saved = _saved(fit, origin) if origin else None
    return {
        "routine": fit.routine.name,
        "title": fit.bar_map.title,
        "facts": song_facts(fit),
        "start": start_words(fit, plan),
        "verdict": verdict(fit, plan),
        "remarks": _remarks(fit, plan),
        "licenses": f"{CAUTION} {EMBEDDED}" if embedded else CAUTION,
        "duration_s": fit.bar_map.duration_s,
        "counts_per_minute": fit.grid.counts_per_minute,
        "group": group_size(fit),
        "start_s": plan.start_s,
        "facing": plan.walls[0].facing,
        "capitals": CAPITALS,
        **_score_and_steps(fit, plan),
        "sections": _sections(fit.bar_map, fit.grid),
        "phrases": _phrases(fit.grid),
        "map": _beats(fit.bar_map, fit.grid.beats_per_count, end_s=float(fit.grid.times_s[-1])),
        "half": _level(origin.half) if origin and origin.half else None,
        "double": _level(origin.double) if origin and origin.double else None,
        "most": {"shift_beats": MOST_SHIFT_BEATS, "later_ms": MOST_LATER_MS},
        "heard": _heard(origin) if origin else None,
        "save": saved,
        "key": _key(saved or [fit.bar_map.title, fingerprint(fit.bar_map)]),
        "clicks": CLICKS,
        "second_tone_s": SECOND_TONE_S,
        "peak": PEAK,
    }


def song_document(bar_map: BarMap, grid: CountGrid) -> dict[str, Any]:
    """Lay out a song that nothing is danced to: its counts, sections and phrases."""
    steps = _Steps()
    return {
        "title": bar_map.title,
        "facts": _song_words(bar_map, grid),
        "duration_s": bar_map.duration_s,
        "counts_per_minute": grid.counts_per_minute,
        "group": counted_alone(grid).group_counts,
        "capitals": CAPITALS,
        "score": {
            "times": grid.times_s.tolist(),
            "ones": grid.bar_start.tolist(),
            "rows": [_row(row, steps, name="") for row in song_counts(grid)],
            "events": [],
        },
        "steps": steps.made,
        "sections": _sections(bar_map, grid),
        "phrases": _phrases(grid),
        "map": _beats(bar_map, grid.beats_per_count, end_s=float(grid.times_s[-1])),
        "clicks": CLICKS,
        "second_tone_s": SECOND_TONE_S,
        "peak": PEAK,
    }


def fingerprint(bar_map: BarMap) -> str:
    """Give 16 signs that change if a beat (to the millisecond) or a one of the map does."""
    beats_ms = np.round(bar_map.beat_times_s * 1000).astype("<i8")
    digest = hashlib.sha256(beats_ms.tobytes() + bar_map.positions.astype("<i8").tobytes())
    return digest.hexdigest()[:16]


def facts(fit: FitPlan, plan: Plan) -> str:
    """Say in one line the song, how fast, how long, and when the dance starts."""
    return f"{song_facts(fit)}; {start_words(fit, plan)}"


def song_facts(fit: FitPlan) -> str:
    """Say in one line the song, how fast and how long it is."""
    by = f"by {isolated(fit.routine.by)}; " if fit.routine.by else ""
    return f"{by}{_song_words(fit.bar_map, fit.grid)}"


def _song_words(bar_map: BarMap, grid: CountGrid) -> str:
    song = " – ".join(isolated(name) for name in (bar_map.title, bar_map.artist) if name)
    length = clock_time(bar_map.duration_s, decimals=0)
    return f"{song}, {pace_words(grid)}, {length}"


def _remarks(fit: FitPlan, plan: Plan) -> list[str]:
    return [
        *doubt_lines(fit),
        *fit.bar_map.notes,
        *cautions(fit),
        *off_phrase_lines(fit, plan),
        ending_sentence(plan.ending),
        *fit.routine.assumed,
        *fit.routine.notes,
    ]


def _score_and_steps(fit: FitPlan, plan: Plan) -> dict[str, Any]:
    steps = _Steps()
    score = {
        "times": fit.grid.times_s.tolist(),
        "ones": fit.grid.bar_start.tolist(),
        "rows": [
            _row(row, steps, name=_shown_name(fit, row.kind, row.part))
            for row in running_counts(fit, plan)
        ],
        "events": [_event(fit, event) for event in plan.events],
        "intro": intro_words(plan),
    }
    return {"score": score, "steps": steps.made}


def _event(fit: FitPlan, event: Event) -> dict[str, Any]:
    """Give the script what an event is, where, and its words; it adds the facing itself."""
    words = {
        "kind": event.kind,
        "label": label(event),
        "place": place(event),
        "remark": remark(event),
        "row": sheet_words(event),
        "wall": event.wall,
        "at": event.count,
        "facing": event.facing,
    }
    if isinstance(event, Wall):
        name = _shown_name(fit, "wall", event.part)
        return words | {
            "name": name,
            "counts": event.counts,
            "whole": part_of(fit, event.part).counts,
        }
    return words | ({"name": event.name, "counts": event.counts} if isinstance(event, Tag) else {})


def _row(row: RunningCount, steps: _Steps, *, name: str) -> dict[str, Any]:
    return {
        "kind": row.kind,
        "wall": row.wall,
        "count": row.count,
        "spoken": row.spoken,
        "facing": row.facing,
        "name": name,
        "event": row.event.kind if row.event else "",
        "step": steps.index(row.step),
    }


def _shown_name(fit: FitPlan, kind: str, name: str) -> str:
    """Name a tag as it is called, and a part only where a routine has several."""
    if kind != "wall":
        return name
    return part_name(name) if len(fit.routine.parts) > 1 else ""


class _Steps:
    """Collects the step lines, each once."""

    def __init__(self) -> None:
        self.made: list[dict[str, str]] = []
        self._known: dict[Step, int] = {}

    def index(self, step: Step | None) -> int | None:
        """Give the place of `step` in the list, adding it if it is new."""
        if step is None:
            return None
        if step not in self._known:
            self._known[step] = len(self.made)
            self.made.append(
                {
                    "counts": step.counts,
                    "name": step.name,
                    "cue": cue_words(step.name),
                    "turn": format_turn(step.turn_deg) if step.turn_deg else "",
                }
            )
        return self._known[step]


def _phrases(grid: CountGrid) -> list[dict[str, float]]:
    return [
        {"start_s": float(grid.times_s[i]), "strength": float(grid.strength[i])}
        for i in np.flatnonzero(grid.strength).tolist()
    ]


def _sections(bar_map: BarMap, grid: CountGrid) -> list[dict[str, Any]]:
    index = grid.section
    begins = np.diff(index, prepend=-1) != 0
    starts = np.flatnonzero(begins & (index >= 0)).tolist()
    sections = [bar_map.sections[index[i]] for i in starts]
    return [
        {"start_s": float(grid.times_s[i]), "name": music_name(section)}
        for i, section in zip(starts, sections, strict=True)
    ]


def _beats(bar_map: BarMap, beats_per_count: float, *, end_s: float) -> dict[str, Any]:
    return {
        "beats_s": bar_map.beat_times_s.tolist(),
        "positions": bar_map.positions.tolist(),
        "meter": bar_map.meter,
        "end_s": end_s,
        "beats_per_count": beats_per_count,
    }


def _level(level: Level) -> dict[str, Any]:
    shown = _beats(level.bar_map, level.beats_per_count, end_s=level.bar_map.end_s)
    return {**shown, "change": level.change}


def _heard(origin: Origin) -> dict[str, Any]:
    """Give the loudness of each beat; the last one has no end."""
    return {
        "beats_s": origin.beat_times_s.round(3).tolist(),
        "loudness_db": origin.loudness_db[:-1].astype(float).round(1).tolist(),
    }


def _saved(fit: FitPlan, origin: Origin) -> dict[str, Any]:
    """Say which song, which map and which correction a saved change belongs to."""
    info = origin.info
    return {
        "song": {
            "content_hash": info.content_hash,
            "title": fit.bar_map.title,
            "duration_s": info.duration_s,
        },
        "shown": fingerprint(fit.bar_map),
        "based_on": correction_document(origin.correction),
    }


def _key(belongs_to: Any) -> str:
    """Name what the browser keeps for one song and map, so that no other page takes it up."""
    return hashlib.sha256(json.dumps(belongs_to).encode()).hexdigest()[:16]
