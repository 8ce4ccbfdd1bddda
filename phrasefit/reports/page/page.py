"""The rehearsal page: one HTML file that plays, counts, warns and takes corrections.

`page` lays out what the script in this folder needs as JSON: the running counts of
`phrasefit.reports.cues` as they are, and the beats, blocks and order they were laid
from, so that the script can count again after a correction.  The script is in five
files: ``score.js`` (counting, pure functions), ``sound.js`` (the clock), ``drawing.js``,
``correcting.js``, ``controls.js``.
"""

from __future__ import annotations

import base64
import hashlib
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from phrasefit.corrections.document import correction_document
from phrasefit.model import (
    BarMap,
    Correction,
    Event,
    EventKind,
    FitPlan,
    Part,
    Plan,
    SongInfo,
    Step,
    Tag,
    Wall,
)
from phrasefit.reports.cues import (
    RunningCount,
    group_size,
    running_counts,
    step_on,
    tag_option,
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
from phrasefit.reports.page.selfcontained import data_block, filled, part, policy
from phrasefit.reports.practice import CLICKS, PEAK, SECOND_TONE_S
from phrasefit.reports.sheet import CAUTION
from phrasefit.reports.start_words import start_words
from phrasefit.reports.times import clock_time
from phrasefit.reports.words import cautions, off_phrase_lines, verdict
from phrasefit.routine.dancer_state import turn_after
from phrasefit.routine.turns import format_turn, turn_to_front
from phrasefit.routine.vocabulary import cue_words

SCRIPTS = ("score.js", "sound.js", "drawing.js", "correcting.js", "controls.js")
MOST_SHIFT_BEATS = 16
MOST_NUDGE_MS = 500
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
    the song cannot be counted so.
    """

    info: SongInfo
    correction: Correction
    half: Level | None = None
    double: Level | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Recording:
    """The song file itself, to be carried by the page."""

    media_type: str
    content: bytes


def page(
    fit: FitPlan,
    plan: Plan | None = None,
    *,
    origin: Origin | None = None,
    recording: Recording | None = None,
) -> str:
    """Make the rehearsal page of a plan.

    Parameters
    ----------
    fit : FitPlan
    plan : Plan, optional
        One of ``fit.plans``; the advised one if left out.
    origin : Origin, optional
        Without it corrections can be tried in the page but not saved.
    recording : Recording, optional
        Carried inside the page; without it the user opens a file, or clicks are made.

    Returns
    -------
    str
        HTML that loads nothing from anywhere.
    """
    style, script = part("page.css"), "\n".join(part(name) for name in SCRIPTS)
    carried = ""
    if recording is not None:
        encoded = base64.b64encode(recording.content).decode()
        carried = (
            f'<script type="text/plain" id="recording" data-type="{recording.media_type}">'
            f"{encoded}</script>"
        )
    document = page_document(fit, plan or fit.plan, origin=origin, embedded=bool(recording))
    return filled(
        part("page.html"),
        {
            "policy": policy(style=style, script=script),
            "style": style,
            "script": script,
            "plan": data_block(document),
            "recording": carried,
        },
    )


def page_document(
    fit: FitPlan, plan: Plan, *, origin: Origin | None, embedded: bool = False
) -> dict[str, Any]:
    """Lay out everything the script reads."""
    steps = _Steps()
    blocks = _Blocks(fit, steps)
    order = blocks.order(plan)
    return {
        "routine": fit.routine.name,
        "title": fit.bar_map.title,
        "facts": facts(fit, plan),
        "verdict": verdict(fit, plan),
        "remarks": _remarks(fit, plan),
        "licenses": f"{CAUTION} {EMBEDDED}" if embedded else CAUTION,
        "duration_s": fit.bar_map.duration_s,
        "counts_per_minute": fit.grid.counts_per_minute,
        "group": group_size(fit),
        "start_s": plan.start_s,
        "facing": plan.walls[0].facing,
        "score": _score(fit, plan, steps, order),
        "order": order,
        "next_wall": {"kind": EventKind.WALL, "place": "", "remark": "", "row": ""},
        "ends": _ends(plan),
        "capitals": CAPITALS,
        "cycle": blocks.cycle(plan),
        "blocks": blocks.made,
        "steps": steps.made,
        "sections": _sections(fit),
        "phrases": [
            {"start_s": float(fit.grid.times_s[i]), "strength": float(fit.grid.strength[i])}
            for i in np.flatnonzero(fit.grid.strength).tolist()
        ],
        "map": _beats(fit.bar_map, fit.grid.beats_per_count, end_s=float(fit.grid.times_s[-1])),
        "half": _level(origin.half) if origin and origin.half else None,
        "double": _level(origin.double) if origin and origin.double else None,
        "most": {"shift_beats": MOST_SHIFT_BEATS, "nudge_ms": MOST_NUDGE_MS},
        "save": _saved(fit, origin) if origin else None,
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
    names = (fit.bar_map.title, fit.bar_map.artist)
    song = " – ".join(_isolated(name) for name in names if name)
    by = f"by {_isolated(fit.routine.by)}; " if fit.routine.by else ""
    return (
        f"{by}{song}, {fit.grid.counts_per_minute:.0f} counts a minute,"
        f" {clock_time(fit.bar_map.duration_s, decimals=0)}; {start_words(plan)}"
    )


def _isolated(name: str) -> str:
    """Keep a name written from right to left from turning the words around it.

    FIRST STRONG ISOLATE and POP DIRECTIONAL ISOLATE (Unicode Standard Annex 9).
    """
    return f"\u2068{name}\u2069"


def _remarks(fit: FitPlan, plan: Plan) -> list[str]:
    return [
        *doubt_lines(fit),
        *cautions(fit),
        *off_phrase_lines(fit, plan),
        ending_sentence(plan.ending),
        *fit.routine.assumed,
        *fit.routine.notes,
    ]


def _score(fit: FitPlan, plan: Plan, steps: _Steps, order: list[dict[str, Any]]) -> dict[str, Any]:
    items = [*order, {**_pieces(plan.ending), "wall": plan.ending.wall}]
    return {
        "times": fit.grid.times_s.tolist(),
        "rows": [_row(fit, row, steps) for row in running_counts(fit, plan)],
        "events": [
            {**item, "at": event.count, "facing": event.facing, **_danced(event)}
            for item, event in zip(items, plan.events, strict=True)
        ],
    }


def _pieces(event: Event) -> dict[str, Any]:
    """Give the script the words of an event; it adds the facing itself."""
    return {
        "kind": event.kind,
        "label": label(event),
        "place": place(event),
        "remark": remark(event),
        "row": sheet_words(event),
    }


def _danced(event: Event) -> dict[str, int]:
    return {"counts": event.counts} if isinstance(event, Wall | Tag) else {}


def _ends(plan: Plan) -> dict[int, dict[str, Any]]:
    """Word the end for every facing that a corrected song may leave the dancers with."""
    return {
        facing: _pieces(
            replace(
                plan.ending,
                facing=facing,
                turn_to_front_deg=turn_to_front(facing),
                counts_over=0,
            )
        )
        for facing in range(0, 360, 45)
    }


def _row(fit: FitPlan, row: RunningCount, steps: _Steps) -> dict[str, Any]:
    return {
        "kind": row.kind,
        "wall": row.wall,
        "count": row.count,
        "spoken": row.spoken,
        "facing": row.facing,
        "name": _shown_name(fit, row.kind, row.part),
        "event": row.event.kind if row.event else "",
        "step": steps.index(row.step),
    }


def _shown_name(fit: FitPlan, kind: str, name: str) -> str:
    """Name the part only where a routine has several."""
    return "" if kind == "wall" and len(fit.routine.parts) == 1 else name


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


class _Blocks:
    """Collects parts and tags as the script lays them again: turn and step by count."""

    def __init__(self, fit: FitPlan, steps: _Steps) -> None:
        self.made: list[dict[str, Any]] = []
        self._fit, self._steps = fit, steps
        self._parts = {part.name: self._add_part(part) for part in fit.routine.parts}

    def _add_part(self, part: Part) -> int:
        name = _shown_name(self._fit, "wall", part.name)
        return self._add(name, [0, *turn_after(part)], part.steps)

    def _add(self, name: str, turned: list[int], steps: tuple[Step, ...]) -> int:
        counts = len(turned) - 1
        on = [self._steps.index(step_on(steps, count)) for count in range(counts)]
        self.made.append({"name": name, "counts": counts, "turned": turned, "steps": on})
        return len(self.made) - 1

    def _add_tag(self, tag: Tag) -> int:
        option = tag_option(self._fit, tag)
        turned = [0] * tag.counts + [tag.end_facing - tag.facing]
        return self._add(tag.name, turned, option.steps if option else ())

    def order(self, plan: Plan) -> list[dict[str, Any]]:
        """List the events but the end as the script lays them again, their facings left out.

        The last wall is listed whole, for a song that may turn out longer.
        """
        items = []
        for event in plan.events[:-1]:
            item = {**_pieces(event), "wall": event.wall, "counts": 0}
            if isinstance(event, Wall | Tag):
                is_wall = isinstance(event, Wall)
                block = self._parts[event.part] if is_wall else self._add_tag(event)
                whole = is_wall and event.wall == plan.ending.wall
                item |= {
                    "block": block,
                    "name": self.made[block]["name"],
                    "counts": self.made[block]["counts"] if whole else event.counts,
                }
            items.append(item)
        return items

    def cycle(self, plan: Plan) -> list[int]:
        """List the blocks danced over and over, should a corrected song have room for more."""
        sequence = self._fit.routine.sequence or (plan.walls[-1].part,)
        return [self._parts[name] for name in sequence]


def _sections(fit: FitPlan) -> list[dict[str, Any]]:
    index = fit.grid.section
    begins = np.diff(index, prepend=-1) != 0
    starts = np.flatnonzero(begins & (index >= 0)).tolist()
    return [
        {"start_s": float(fit.grid.times_s[i]), "letter": fit.bar_map.sections[index[i]].letter}
        for i in starts
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
