"""The bar map and plan as JAMS, the JSON annotation format of music research.

Follows JAMS 0.3 (Humphrey et al., ISMIR 2014): namespaces ``beat`` (value =
position in the bar), ``segment_open`` (section letters), ``tempo`` and, with a
plan, ``tag_open`` (walls, tags, restarts, the end).
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from phrasefit.model import BarMap, FitPlan, Plan
from phrasefit.reports.event_words import call

JAMS_VERSION = "0.3.4"


def jams_document(
    bar_map: BarMap, fit: FitPlan | None = None, plan: Plan | None = None
) -> dict[str, Any]:
    """Lay out the bar map, and with `fit` the events of a plan, as a JAMS document."""
    times = [*bar_map.beat_times_s.tolist(), bar_map.end_s]
    sure = bar_map.confidence
    annotations = [
        _annotation(
            "beat",
            [
                (time, 0.0, int(position), sure.beats)
                for time, position in zip(times, bar_map.positions, strict=False)
            ],
            bar_map,
        ),
        _annotation("tempo", [(0.0, bar_map.duration_s, bar_map.tempo_bpm, 1.0)], bar_map),
        _annotation(
            "segment_open",
            [
                (
                    times[s.start_beat],
                    times[s.start_beat + s.n_beats] - times[s.start_beat],
                    s.name or s.letter,
                    s.strength,
                )
                for s in bar_map.sections
            ],
            bar_map,
        ),
    ]
    if fit is not None:
        events = [(event.time_s, 0.0, call(event), None) for event in (plan or fit.plan).events]
        annotations.append(_annotation("tag_open", events, bar_map))
    return {
        "file_metadata": {
            "title": bar_map.title,
            "artist": bar_map.artist,
            "release": "",
            "duration": bar_map.duration_s,
            "identifiers": {},
            "jams_version": JAMS_VERSION,
        },
        "annotations": annotations,
        "sandbox": {},
    }


def _annotation(
    namespace: str, rows: Iterable[tuple[float, float, Any, float | None]], bar_map: BarMap
) -> dict[str, Any]:
    keys = ("time", "duration", "value", "confidence")
    return {
        "namespace": namespace,
        "data": [dict(zip(keys, row, strict=True)) for row in rows],
        "time": 0,
        "duration": bar_map.duration_s,
        "annotation_metadata": {
            "curator": {"name": "", "email": ""},
            "annotator": {},
            "version": "1",
            "corpus": "",
            "annotation_tools": "phrasefit",
            "annotation_rules": "",
            "validation": "",
            "data_source": "program",
        },
        "sandbox": {},
    }
