"""Results as JSON: the dataclasses of `model` to plain values and back.

Two layers live here.  `encode` / `decode` turn any dataclass of `model` into
plain JSON values and back, unchanged; the cache uses them.  `map_document`,
`read_map` and `fit_document` are the documents users and other programs read;
their keys are fixed by the JSON Schemas in ``phrasefit/schemas``.
Times are seconds; ``start_count`` says how many counts pass before.
"""

from __future__ import annotations

import dataclasses
import json
import math
import types
import typing
from collections.abc import Callable, Sequence
from fractions import Fraction
from typing import Any

from phrasefit import model
from phrasefit.corrections.document import correction_document, read_correction
from phrasefit.errors import MapError
from phrasefit.fields import Fields, is_number
from phrasefit.meters import LEVELS, LONGEST_BAR

BROKEN = (0.65, 1.6)  # of the usual step: outside, the beat breaks off and begins anew
MAP_FORMAT = "phrasefit-map"
FIT_FORMAT = "phrasefit-fit"
FORMAT_VERSION = 1

# What a bar map by hand may hold; far beyond any song, so that a slip is noticed.
MOST_BEATS = 30_000  # an hour at 500 a minute
LONGEST_GAP_S = 1800.0  # without a beat, amid a song
SHORTEST_BEAT_S, LONGEST_BEAT_S = 0.1, 6.0
LAST_S = 24 * 3600.0
MOST_GROUPS = 16
MOST_PHRASES, MOST_SECTIONS, MOST_ALTERNATIVES, MOST_NOTES = 5000, 2000, 100, 200
TEMPO_SLIP = 8.0  # a tempo further from that of the beats is not theirs, whatever is counted
MOST_LETTERS = 12  # of a section's name, as far as pictures have room


def encode(value: Any) -> Any:
    """Turn a `model` value into plain JSON values (dict, list, str, numbers, None)."""
    if dataclasses.is_dataclass(value):
        return {f.name: encode(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, Fraction):
        return str(value)
    if isinstance(value, tuple | list):
        return [encode(item) for item in value]
    return value.tolist() if hasattr(value, "tolist") else value


def decode(cls: Any, value: Any) -> Any:
    """Rebuild what `encode` made; every constructor check runs again.

    Raises
    ------
    MapError
        If `value` lacks a field or has one of the wrong kind.
    """
    try:
        return _decode(cls, value)
    except (KeyError, TypeError, ValueError) as exc:
        raise MapError(f"stored {getattr(cls, '__name__', cls)} cannot be read ({exc})") from exc


def _decode(kind: Any, value: Any) -> Any:
    origin = typing.get_origin(kind)
    if origin in (types.UnionType, typing.Union):
        kinds = [k for k in typing.get_args(kind) if k is not type(None)]
        return None if value is None else _decode(_kind_of(kinds, value), value)
    if origin is tuple:
        items = typing.get_args(kind)
        if len(items) == 2 and items[1] is Ellipsis:
            return tuple(_decode(items[0], item) for item in value)
        return tuple(_decode(k, item) for k, item in zip(items, value, strict=True))
    if dataclasses.is_dataclass(kind) and isinstance(kind, type):
        hints = _hints(kind)
        fixed = {f.name for f in dataclasses.fields(kind) if not f.init}
        given = {name: item for name, item in value.items() if name not in fixed}
        return kind(**{name: _decode(hints[name], item) for name, item in given.items()})
    return Fraction(value) if kind is Fraction else value


def _kind_of(kinds: list[Any], value: Any) -> Any:
    """Choose the one type there is, or of several events that whose ``kind`` is meant."""
    if len(kinds) == 1:
        return kinds[0]
    by_name = {f.default: kind for kind in kinds for f in dataclasses.fields(kind) if not f.init}
    return by_name[value["kind"]]


def _hints(cls: Any) -> dict[str, Any]:
    """Resolve the annotations of a dataclass; arrays stay lists for its constructor."""
    import numpy as np

    return typing.get_type_hints(cls, localns={"np": np})


# ------------------------------------------------------------------- bar maps


def map_document(bar_map: model.BarMap, *, beats_per_count: float = 1.0) -> dict[str, Any]:
    """Lay out a bar map as the JSON document that ``phrasefit map --json`` writes.

    Parameters
    ----------
    bar_map : BarMap
    beats_per_count : float
        The level chosen by tempo, where no person chose one: how the lengths in counts
        are to be understood.
    """
    beats_per_count = bar_map.beats_per_count or beats_per_count
    times = [*bar_map.beat_times_s.tolist(), bar_map.end_s]
    return {
        "format": MAP_FORMAT,
        "version": FORMAT_VERSION,
        "title": bar_map.title,
        "artist": bar_map.artist,
        "duration_s": bar_map.duration_s,
        "end_s": bar_map.end_s,
        "tempo_bpm": bar_map.tempo_bpm,
        "tempo_drift_percent": bar_map.tempo_drift_percent,
        "steady": bar_map.steady,
        "beats_per_count": beats_per_count,
        "level_by": "person" if bar_map.beats_per_count else "tempo",
        "meter": bar_map.meter,
        "beats_s": times[:-1],
        "positions": bar_map.positions.tolist(),
        "irregular_bars": irregular_bars(bar_map),
        **({} if bar_map.singing_at_s is None else {"singing_at_s": bar_map.singing_at_s}),
        **_form_document(bar_map, times, beats_per_count),
        **_outlook_document(bar_map, times),
        "confidence": encode(bar_map.confidence),
        "alternatives": [_alternative_document(rival) for rival in bar_map.alternatives],
        "notes": list(bar_map.notes),
    }


def _form_document(
    bar_map: model.BarMap, times: list[float], beats_per_count: float
) -> dict[str, Any]:
    """Give sections and phrases, their lengths in counts."""

    def counts(n_beats: int) -> float | int:
        n = n_beats / beats_per_count
        return int(n) if n == int(n) else n

    return {
        "sections": [
            {
                "start_s": times[s.start_beat],
                "counts": counts(s.n_beats),
                "letter": s.letter,
                "strength": s.strength,
                **({"name": s.name} if s.name else {}),
            }
            for s in bar_map.sections
        ],
        "phrases": [
            {
                "start_s": times[p.start_beat],
                "counts": counts(p.n_beats),
                "group": p.group,
                "strength": p.strength,
            }
            for p in bar_map.phrases
        ],
    }


def _outlook_document(bar_map: model.BarMap, times: list[float]) -> dict[str, Any]:
    """Give what is expected of phrases, over all forms, if it goes with the form of the map."""
    outlook = bar_map.all_forms
    if outlook is None:
        return {}
    return {
        "outlook": {
            "start_s": [times[beat] for beat in outlook.beats],
            "sections": outlook.sections.tolist(),
            "groups": outlook.groups.tolist(),
            "phrases": outlook.phrases.tolist(),
            "likeliest_s": [times[beat] for beat in outlook.likeliest],
        }
    }


def _alternative_document(rival: model.Alternative) -> dict[str, Any]:
    """Give a reading and the correction that selects it, in beats of the map."""
    return {**encode(rival), "correction": correction_document(rival.correction)}


def irregular_bars(bar_map: model.BarMap) -> list[dict[str, Any]]:
    """List whole bars whose length differs from the meter: time, bar number from 1, beats.

    The part of a bar before the first downbeat and the last bar do not count, nor does a bar
    in which the music breaks off: nobody could count it.
    """
    import numpy as np

    from phrasefit.steps import usual_steps

    downbeats = np.flatnonzero(bar_map.positions == 1)
    lengths = np.diff(downbeats)
    steps_s = np.diff(bar_map.beat_times_s)
    usual_s = usual_steps(steps_s)
    breaks = np.flatnonzero((steps_s < BROKEN[0] * usual_s) | (steps_s > BROKEN[1] * usual_s))
    broken = set(np.searchsorted(downbeats, breaks, side="right") - 1)
    return [
        {"bar": int(i) + 1, "start_s": float(bar_map.beat_times_s[downbeats[i]]), "beats": int(n)}
        for i, n in enumerate(lengths)
        if n != bar_map.meter and i not in broken
    ]


# What a map may hold, beside what `map_document` writes that which the sample songs tell of
# how they were made.  Another key is a slip: what it says would be taken for unsaid.
MAP_KEYS = frozenset(
    (
        "format", "version", "title", "artist", "duration_s", "end_s", "tempo_bpm",
        "tempo_drift_percent", "steady", "beats_per_count", "level_by", "meter", "beats_s",
        "positions", "singing_at_s", "irregular_bars", "sections", "phrases", "outlook",
        "confidence", "alternatives", "notes", "style", "shows", "seed", "generator_version",
        "audible", "gridded",  # what older files call steady
    )
)  # fmt: skip
SECTION_KEYS = frozenset(("start_s", "counts", "letter", "strength", "name", "label"))
PHRASE_KEYS = frozenset(("start_s", "counts", "group", "strength"))
OUTLOOK_KEYS = frozenset(("start_s", "sections", "groups", "phrases", "likeliest_s"))
UNNAMED = "?"  # the letter of a section that was given none


def read_map(document: Any, *, name: str = "map") -> model.BarMap:
    """Build a bar map from a JSON document, ours or made by hand.

    Only ``beats_s`` and ``positions`` are needed.  Section and phrase starts are
    taken to the nearest beat, their lengths from the next start.  ``beats_per_count`` is
    taken as a person's choice unless ``level_by`` says that the tempo chose it.

    Raises
    ------
    MapError
        If something needed is missing or has the wrong form; names `name` and the key.
    """
    import numpy as np

    fields = Fields(name, document)
    fields.only(MAP_KEYS)
    if fields.text("format", MAP_FORMAT) != MAP_FORMAT:
        raise MapError(f"{name}: is no bar map; give a file that phrasefit map --json wrote")
    beats, positions = _read_beats(fields)
    gap_s = float(np.median(np.diff(beats)))
    end_s = fields.number("end_s", float(beats[-1]) + gap_s, low=float(beats[-1]), high=LAST_S)
    table = fields.table("confidence")
    sure = {
        field.name: table.number(field.name, 1.0, low=0.0, high=1.0)
        for field in dataclasses.fields(model.Confidence)
    }
    return model.BarMap(
        beat_times_s=beats,
        positions=positions,
        meter=fields.whole("meter", _prevailing_meter(positions), low=1, high=LONGEST_BAR),
        tempo_bpm=fields.number(
            "tempo_bpm", 60 / gap_s, low=60 / gap_s / TEMPO_SLIP, high=60 / gap_s * TEMPO_SLIP
        ),
        end_s=end_s,
        duration_s=fields.number("duration_s", end_s, low=float(beats[-1]) - gap_s, high=LAST_S),
        sections=_read_sections(fields.tables("sections", most=MOST_SECTIONS), beats),
        phrases=_read_phrases(fields.tables("phrases", most=MOST_PHRASES), beats),
        outlook=_read_outlook(fields, beats),
        confidence=model.Confidence(**sure),
        alternatives=tuple(
            map(_read_alternative, fields.tables("alternatives", most=MOST_ALTERNATIVES))
        ),
        tempo_drift_percent=fields.number("tempo_drift_percent", 0.0, low=-100.0, high=1000.0),
        steady=bool(document.get("steady", document.get("gridded", False))),
        beats_per_count=_read_level(fields),
        singing_at_s=_read_singing(fields),
        title=fields.text("title"),
        artist=fields.text("artist"),
        notes=fields.texts("notes", most=MOST_NOTES),
    )


def _read_level(fields: Fields) -> float | None:
    """Read the level that a person chose; None where nobody did."""
    level, chosen_by = fields.values.get("beats_per_count"), fields.text("level_by", "person")
    if chosen_by not in ("person", "tempo"):
        raise fields.refuse("level_by", "must be person or tempo")
    if level is not None and (not is_number(level) or level not in LEVELS):
        raise fields.refuse("beats_per_count", "must be 0.5, 1, 2 or 3")
    return None if level is None or chosen_by == "tempo" else float(level)


def _read_singing(fields: Fields) -> float | None:
    if fields.values.get("singing_at_s") is None:
        return None
    return fields.number("singing_at_s", low=0.0, high=LAST_S)


def _read_beats(fields: Fields) -> tuple[Any, Any]:
    """Read times and positions [shape=(n,)], each one checked."""
    import numpy as np

    for key, fits, rule in (
        ("beats_s", is_number, "finite numbers, seconds"),
        ("positions", _is_position, f"whole numbers that count from 1 to {LONGEST_BAR}"),
    ):
        items = fields.items(key)
        if not 2 <= len(items) <= MOST_BEATS:
            what = "is missing" if key not in fields.values else f"lists {len(items)} beats"
            raise MapError(f"{fields.name}: {key} {what}; list 2 to {MOST_BEATS} of them")
        wrong = next((i for i, item in enumerate(items) if not fits(item)), None)
        if wrong is not None:
            raise MapError(f"{fields.name}: {key}[{wrong}] is wrong; list {rule}")
    beats, positions = (np.array(fields.values[key]) for key in ("beats_s", "positions"))
    if beats.shape != positions.shape:
        raise MapError(f"{fields.name}: a bar map needs one position for each beat")
    if np.any(np.diff(beats) <= 0):
        raise MapError(f"{fields.name}: beats_s must be strictly increasing")
    gaps_s = np.diff(beats)
    gap_s = float(np.median(gaps_s))
    if gaps_s.max() > LONGEST_GAP_S:
        raise MapError(
            f"{fields.name}: beats_s has no beat for {gaps_s.max() / 60:.0f} minutes after"
            f" {beats[gaps_s.argmax()]:g} s; {LONGEST_GAP_S / 60:g} are the most"
        )
    if not SHORTEST_BEAT_S <= gap_s <= LONGEST_BEAT_S or not -1.0 <= beats[0] <= LAST_S:
        raise MapError(
            f"{fields.name}: beats_s has a beat every {gap_s:g} s from {beats[0]:g} s on;"
            " are the times in seconds?"
        )
    return beats, positions


def _is_position(value: Any) -> bool:
    return type(value) is int and 1 <= value <= LONGEST_BAR


def _read_alternative(fields: Fields) -> model.Alternative:
    return model.Alternative(
        kind=fields.text("kind"),
        correction=read_correction(fields.table("correction")),
        probability=fields.number("probability", low=0.0, high=1.0),
        tempo_bpm=fields.number("tempo_bpm", low=1.0, high=1000.0),
        meter=fields.whole("meter", low=1, high=LONGEST_BAR),
    )


def _prevailing_meter(positions: Any) -> int:
    import numpy as np

    lengths = np.diff(np.flatnonzero(positions == 1))
    return int(np.bincount(lengths).argmax()) if lengths.size else int(positions.max())


def _in_order(items: list[Fields], beats: Any) -> list[tuple[Fields, int]]:
    """Sort by ``start_s`` and take each start to its nearest beat."""
    import numpy as np

    starts = [int(np.argmin(np.abs(beats - item.number("start_s")))) for item in items]
    return sorted(zip(items, starts, strict=True), key=lambda pair: pair[1])


def _read_sections(items: list[Fields], beats: Any) -> tuple[model.Section, ...]:
    for item in items:
        item.only(SECTION_KEYS)
    placed = _in_order(items, beats)
    ends = [*(start for _, start in placed), len(beats)][1:]
    return tuple(
        model.Section(
            start_beat=start,
            n_beats=end - start,
            letter=item.text("letter", UNNAMED)[:MOST_LETTERS],
            strength=item.number("strength", 1.0, low=0.0, high=1.0),
            name=model.one_line(item.text("name"))[: model.MOST_NAME_LETTERS],
        )
        for (item, start), end in zip(placed, ends, strict=True)
        if end > start
    )


def _read_phrases(items: list[Fields], beats: Any) -> tuple[model.Phrase, ...]:
    """Group levels default to 32; a phrase lasts to the next of its level or a higher one."""
    for item in items:
        item.only(PHRASE_KEYS)
    placed = [
        (item, start, item.whole("group", 32, low=1, high=1024))
        for item, start in _in_order(items, beats)
    ]
    phrases = []
    for i, (item, start, group) in enumerate(placed):
        following = (begin for _, begin, level in placed[i + 1 :] if level >= group)
        length = next(following, len(beats)) - start
        if length > 0:
            phrases.append(
                model.Phrase(
                    start_beat=start,
                    n_beats=length,
                    group=group,
                    strength=item.number("strength", 1.0, low=0.0, high=1.0),
                )
            )
    return tuple(phrases)


def _read_outlook(fields: Fields, beats: Any) -> model.Outlook | None:
    """Read what is expected of phrases; the map tells whether it goes with its form."""
    import numpy as np

    if fields.values.get("outlook") is None:
        return None
    table = fields.table("outlook")
    table.only(OUTLOOK_KEYS)
    rows = table.items("phrases", most=MOST_GROUPS)
    if any(not isinstance(row, list) or len(row) != len(table.items("start_s")) for row in rows):
        raise table.refuse("phrases", "must be one list for each group, as long as start_s")
    named = [Fields(f"{table.name}: phrases[{i}]", {"row": row}) for i, row in enumerate(rows)]

    def beats_at(key: str) -> Any:
        times = table.numbers(key, low=-1.0, high=LAST_S, most=MOST_BEATS)
        return np.array([np.argmin(np.abs(beats - time_s)) for time_s in times], dtype=int)

    return model.Outlook(
        beats=beats_at("start_s"),
        sections=np.array(table.numbers("sections", low=0.0, high=1.0, most=MOST_BEATS)),
        groups=np.array(table.numbers("groups", low=1.0, high=MOST_BEATS, most=MOST_GROUPS)),
        phrases=np.array([row.numbers("row", low=0.0, high=1.0, most=MOST_BEATS) for row in named]),
        likeliest=beats_at("likeliest_s"),
    )


def dump_json(document: Any) -> str:
    """Write a document as JSON text; a number that is not finite becomes null."""
    return json.dumps(_finite(document), ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def _finite(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _finite(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(item) for item in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value


# ----------------------------------------------------------------------- fits


def fit_document(
    fit: model.FitPlan,
    *,
    verdict: str,
    doubts: Sequence[str],
    reasons: Callable[[model.FitPlan, model.Plan], Sequence[str]],
) -> dict[str, Any]:
    """Lay out a fit as the JSON document that ``phrasefit fit --json`` writes.

    The keys of the plan asked for stand at the top; ``plans`` holds the best plan for
    each number of changes, the advised one (``best``) and this one (``chosen``) among
    them.  The words come from `reports`: `verdict` and `doubts` for the fit, `reasons` for
    each plan.
    """
    plans = [{**_plan_document(plan), "reasons": list(reasons(fit, plan))} for plan in fit.plans]
    return {
        "format": FIT_FORMAT,
        "version": FORMAT_VERSION,
        "title": fit.bar_map.title,
        "artist": fit.bar_map.artist,
        "routine": {
            "name": fit.routine.name,
            "counts": fit.routine.counts,
            "walls": fit.routine.walls,
            "meter": fit.routine.meter,
            "assumed": list(fit.routine.assumed),
        },
        "verdict": verdict,
        **plans[fit.chosen],
        "tempo": encode(fit.tempo),
        "counts": {
            "beats_per_count": fit.grid.beats_per_count,
            "counts_per_minute": fit.grid.counts_per_minute,
            "meter": fit.grid.meter,
            "times_s": fit.grid.times_s.tolist(),
        },
        "start_options": encode(fit.start_options),
        "doubts": list(doubts),
        "best": fit.best,
        "chosen": fit.chosen,
        "breaks": encode(fit.breaks),
        "plans": plans,
    }


def _plan_document(plan: model.Plan) -> dict[str, Any]:
    """Give one plan with clock facings, as people read them.

    ``events`` has everything in the order danced; the lists by kind repeat it.
    """
    document = encode(plan)
    document["events"] = [_with_clock(event) for event in document["events"]]
    for name, keys in EVENT_KEYS.items():
        events = getattr(plan, name)
        document[name] = (
            [_listed(event, keys) for event in events]
            if isinstance(events, tuple)
            else _listed(events, keys)
        )
    return document


# What the lists by kind say of each event; the names are those of its attributes.
EVENT_KEYS = {
    "walls": (
        "number", "part", "start_count", "start_s", "end_s", "counts", "facing", "end_facing",
        "phrase_offset", "phrase_strength",
    ),
    "restarts": ("wall", "after_count", "facing", "time_s", "step_change"),
    "tags": ("after_wall", "counts", "facing", "end_facing", "time_s", "end_s", "name"),
    "ending": ("wall", "counts_left", "facing", "turn_to_front_deg", "time_s", "counts_over"),
}  # fmt: skip


def _listed(event: model.Event, keys: tuple[str, ...]) -> dict[str, Any]:
    return _with_clock({key: getattr(event, key) for key in keys})


def _with_clock(item: dict[str, Any]) -> dict[str, Any]:
    from phrasefit.routine.turns import clock

    facings = (key for key in ("facing", "end_facing") if key in item)
    return item | {key: clock(item[key]) for key in facings}
