"""Tables of many fits as JSON and CSV: songs for a routine, routines for a song.

Every number in them comes from a whole plan of the song, never from an estimate.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from phrasefit.clock import clock_time
from phrasefit.model import FitPlan, Routine
from phrasefit.ranking.rank import Ranking
from phrasefit.reports.doubts import doubt_lines
from phrasefit.reports.event_words import change_sentences
from phrasefit.reports.spreadsheet import csv_text
from phrasefit.reports.words import verdict

RANK_FORMAT = "phrasefit-rank"
SUITS_FORMAT = "phrasefit-suits"
FORMAT_VERSION = 1
CSV_COLUMNS = (
    "routine", "place", "title", "artist", "score", "verdict", "tempo", "change_percent", "start",
    "intro_counts", "changes", "events", "walls", "length", "doubts", "path",
)  # fmt: skip


def fit_row(fit: FitPlan, *, path: str = "") -> dict[str, Any]:
    """Lay out what a table says about one fit."""
    plan = fit.plan
    return {
        "title": fit.bar_map.title,
        "artist": fit.bar_map.artist,
        "path": path,
        "score": round(plan.score, 2),
        "verdict": verdict(fit, weigh=False),
        "counts_per_minute": round(fit.tempo.counts_per_minute, 2),
        "tempo_verdict": fit.tempo.verdict,
        "change_percent": fit.tempo.change_percent,
        "start_s": round(plan.start_s, 3),
        "intro_counts": plan.intro_counts,
        "n_changes": plan.n_changes,
        "n_restarts": len(plan.restarts),
        "n_tags": len(plan.tags),
        "events": list(change_sentences(plan)),
        "walls": len(plan.walls),
        "duration_s": round(fit.bar_map.duration_s, 3),
        "doubts": list(doubt_lines(fit, weigh=False)),
    }


def rank_document(
    rankings: Sequence[Ranking],
    paths: Mapping[str, str],
    *,
    failures: Iterable[tuple[str, str]] = (),
    n_left: int = 0,
) -> dict[str, Any]:
    """Lay out rankings as the JSON document that ``phrasefit rank --json`` writes.

    Parameters
    ----------
    paths : mapping
        Key of a song to its file.
    failures : iterable of (path, reason)
    n_left : int
        Files not reached because the user stopped.
    """
    return {
        "format": RANK_FORMAT,
        "version": FORMAT_VERSION,
        "rankings": [
            {
                "routine": _routine(ranking.routine),
                "n_songs": ranking.n_songs,
                "n_filtered": ranking.n_filtered,
                "n_planned": ranking.n_planned,
                "unfit": [{"reason": why, "n_songs": n} for why, n in ranking.unfit.items()],
                "songs": [
                    fit_row(song.fit, path=paths.get(song.key, "")) for song in ranking.songs
                ],
            }
            for ranking in rankings
        ],
        "failures": [{"path": path, "reason": reason} for path, reason in failures],
        "n_left": n_left,
    }


def suits_document(
    fits: Sequence[FitPlan], *, path: str, failures: Iterable[tuple[str, str]] = ()
) -> dict[str, Any]:
    """Lay out the routines for one song as the document of ``phrasefit suits --json``."""
    return {
        "format": SUITS_FORMAT,
        "version": FORMAT_VERSION,
        "path": path,
        "routines": [{"routine": _routine(fit.routine), **fit_row(fit, path=path)} for fit in fits],
        "failures": [{"path": name, "reason": reason} for name, reason in failures],
    }


def _routine(routine: Routine) -> dict[str, Any]:
    return {
        "name": routine.name,
        "counts": routine.counts,
        "walls": routine.walls,
        "meter": routine.meter,
        "level": routine.level,
    }


# ------------------------------------------------------------------------ CSV


def rows_csv(rows: Iterable[tuple[str, int, dict[str, Any]]]) -> str:
    """Write (routine, place, `fit_row`) as CSV text."""
    return csv_text(CSV_COLUMNS, (_cells(*row) for row in rows))


def _cells(routine: str, place: int, row: dict[str, Any]) -> list[object]:
    return [
        routine,
        place,
        row["title"],
        row["artist"],
        f"{row['score']:.1f}",
        row["verdict"],
        f"{row['counts_per_minute']:.1f}",
        f"{row['change_percent']:.1f}",
        clock_time(row["start_s"]),
        row["intro_counts"],
        row["n_changes"],
        "; ".join(row["events"]),
        row["walls"],
        clock_time(row["duration_s"], decimals=0),
        "; ".join(row["doubts"]),
        row["path"],
    ]
