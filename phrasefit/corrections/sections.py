"""Section boundaries that a person heard, or did not hear."""

from __future__ import annotations

import string
from dataclasses import replace
from itertools import pairwise

import numpy as np

from phrasefit.clock import clock_time
from phrasefit.corrections.ones import ones_of, require_within
from phrasefit.errors import MapError
from phrasefit.form.boundary_cues import BarEvidence, bar_evidence, bar_starts
from phrasefit.form.evidence import BeatEvidence
from phrasefit.form.outlook import outlook_of
from phrasefit.form.phrases import group_phrases
from phrasefit.form.sections import (
    letters_for,
    phrase_confidence,
    sections_between,
    segment_scores,
)
from phrasefit.form.segmentation import IMPOSSIBLE
from phrasefit.model import BarMap, Correction, Section, form_starts

EXPECTED = 0.25  # so likely a section has to be that its denial changes something
NEAR_BARS = 2  # a boundary found nearer than this to one heard is the same one, misplaced


def apply_section_marks(
    bar_map: BarMap, correction: Correction, evidence: BeatEvidence | None = None
) -> BarMap:
    """Put section boundaries where a person heard them, and remove denied ones.

    Parameters
    ----------
    bar_map : BarMap
        With the form found.
    correction : Correction
        Uses `sections_at_s` and `no_section_at_s`.  Each time means the nearest
        downbeat; a denied one removes the nearest boundary, found or marked, if it is
        less than `NEAR_BARS` bars away.  The first section always stays.
    evidence : BeatEvidence, optional
        One row for each beat; with it letters are found anew, without it a divided
        section keeps its letter in both parts.

    Returns
    -------
    BarMap
        Marked boundaries have the strength 1; phrases are grouped anew.

    Raises
    ------
    MapError
        If a time lies outside the song, or the map has no downbeat.
    """
    if not correction.sections_at_s and not correction.no_section_at_s:
        return bar_map
    starts = bar_starts(bar_map.positions)
    if not starts.size:
        raise MapError("the map has no downbeat for a section to begin on; give a one first")
    strengths, notes = _marked(bar_map, starts[:-1], correction)
    edges = np.array([*sorted(strengths), len(starts) - 1])
    bars = bar_evidence(evidence, bar_map.positions, bar_map.meter) if evidence else None
    letters = _letters(bar_map, starts[edges], edges, bars)
    in_order = [strengths[bar] for bar in sorted(strengths)]
    sections = sections_between(starts[edges], letters, in_order)
    phrases = group_phrases(bar_map.positions, bar_map.meter, sections, bars=bars)
    outlook = None
    if bars is not None:
        scores = _scores_as_said(segment_scores(bars), bar_map, correction, set(strengths))
        outlook = outlook_of(bars, scores, form_starts(sections, phrases))
    return replace(
        bar_map,
        sections=sections,
        phrases=phrases,
        outlook=outlook,
        confidence=replace(
            bar_map.confidence,
            phrase=round(phrase_confidence(sections) * bar_map.confidence.downbeat, 3),
        ),
        notes=(*bar_map.notes, *notes),
    )


def _marked(
    bar_map: BarMap, lines: np.ndarray, correction: Correction
) -> tuple[dict[int, float], list[str]]:
    """Give the strength of a boundary by bar index, and notes on what was not found."""
    found = {int(np.argmin(np.abs(lines - s.start_beat))): s.strength for s in bar_map.sections}
    first = min(found, default=0)
    found.setdefault(first, 1.0)
    marked = {bar_at(bar_map, time_s) for time_s in correction.sections_at_s}
    notes = []
    for time_s in correction.no_section_at_s:
        bar = bar_at(bar_map, time_s)
        near = [b for b in {*found, *marked} if b != first and abs(b - bar) < NEAR_BARS]
        if near:
            denied = min(near, key=lambda b: abs(b - bar))
            found.pop(denied, None)
            marked.discard(denied)
        elif not _is_expected(bar_map, lines[max(bar - NEAR_BARS + 1, 0) : bar + NEAR_BARS]):
            notes.append(f"no section begins near {clock_time(time_s)}, so none was removed there")
    kept = {
        bar: strength
        for bar, strength in found.items()
        if bar == first or all(abs(bar - mark) >= NEAR_BARS for mark in marked)
    }
    return {**kept, **dict.fromkeys(marked, 1.0)}, notes


def _is_expected(bar_map: BarMap, lines: np.ndarray) -> bool:
    """Tell whether a section that is not shown may begin on one of the bar lines."""
    outlook = bar_map.all_forms
    if outlook is None:
        return False
    return bool(np.any(outlook.sections[np.isin(outlook.beats, lines)] >= EXPECTED))


def _scores_as_said(
    scores: np.ndarray, bar_map: BarMap, correction: Correction, boundaries: set[int]
) -> np.ndarray:
    """Rule out what a person denied: no section passes a mark, none begins near one or a denial.

    `boundaries` are the bars on which sections begin by now.
    """
    scores = scores.copy()
    marked = [bar_at(bar_map, time_s) for time_s in correction.sections_at_s]
    denied = [bar_at(bar_map, time_s) for time_s in correction.no_section_at_s]
    for bar in boundaries.intersection(marked):
        scores[:bar, bar + 1 :] = IMPOSSIBLE
    near = {bar + k for bar in (*marked, *denied) for k in range(1 - NEAR_BARS, NEAR_BARS)}
    for bar in near.intersection(range(1, len(scores) - 1)) - boundaries:
        scores[bar], scores[:, bar] = IMPOSSIBLE, IMPOSSIBLE
    return scores


def bar_at(bar_map: BarMap, time_s: float) -> int:
    """Index of the bar whose downbeat is nearest to `time_s`.

    Raises
    ------
    MapError
        If `time_s` lies outside the song, or the map has no downbeat.
    """
    require_within(bar_map, time_s, "a section")
    ones_s = bar_map.beat_times_s[ones_of(bar_map)]
    if not ones_s.size:
        raise MapError("the map has no downbeat for a section to begin on; give a one first")
    return int(np.argmin(np.abs(ones_s - time_s)))


def _letters(
    bar_map: BarMap, beats: np.ndarray, edges: np.ndarray, bars: BarEvidence | None
) -> list[str]:
    if bars is not None:
        return letters_for(bars.likeness, edges)
    return [
        _letter_of(bar_map.sections, int(start), int(end), string.ascii_uppercase[index % 26])
        for index, (start, end) in enumerate(pairwise(beats))
    ]


def _letter_of(old: tuple[Section, ...], start: int, end: int, otherwise: str) -> str:
    """Take the letter of the old section that fills most of the new one."""
    overlap: dict[str, int] = {}
    for section in old:
        common = min(end, section.start_beat + section.n_beats) - max(start, section.start_beat)
        overlap[section.letter] = overlap.get(section.letter, 0) + max(common, 0)
    if not any(overlap.values()):
        return otherwise
    return max(overlap, key=lambda letter: overlap[letter])
