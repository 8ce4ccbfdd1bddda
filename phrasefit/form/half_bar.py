"""One or three: the form of the whole song decides with the bars where they are in doubt.

Drums and chords often look alike half a bar later; sections, repetitions and fills do not:
they begin on ones.  Two readings are compared exactly, the bars as they are and all of
them half a bar later: what all segmentations of the song into sections are worth together
under each (`segmentation.total_score`) is added to the log odds that the bars themselves
give.  Fours only: in threes there is no half bar, in twos it is a bar.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from phrasefit.form.boundary_cues import bar_evidence
from phrasefit.form.evidence import BeatEvidence
from phrasefit.form.sections import segment_scores
from phrasefit.form.segmentation import total_score
from phrasefit.model import Alternative, BarMap, Correction

BEATS, HALF = 4, 2
# Of the log score of sections.  Learned on made songs, it is too sure of songs by others: with
# this share the ones of 62 of them (tracker modules, openttd-openmsx) are most likely.
SECTIONS_SHARE = 0.15
UNSHOWN = 0.01  # probability of a reading that was too rare to be listed


def weigh_half_bar(bar_map: BarMap, evidence: BeatEvidence) -> BarMap:
    """Let sections tell which half of the bar begins with the one.

    Parameters
    ----------
    bar_map : BarMap
        As tracked; without sections.
    evidence : BeatEvidence
        One row for each beat.

    Returns
    -------
    BarMap
        Its ones half a bar later where that is more probable; the probability of the other
        half is that of the alternative that it lists.
    """
    if bar_map.meter != BEATS or np.count_nonzero(bar_map.positions == 1) < 2:
        return bar_map
    sure = bar_map.confidence
    listed = [a.probability for a in bar_map.alternatives if _is_half(a)]
    here = max(sure.downbeat / max(sure.beats, UNSHOWN), UNSHOWN)
    there = max(*listed, UNSHOWN) if listed else UNSHOWN
    later = half_later(bar_map.positions)
    gain = _sections_score(bar_map.positions, evidence) - _sections_score(later, evidence)
    odds = np.log(here / there) + SECTIONS_SHARE * gain
    share = float(1 / (1 + np.exp(-odds)))
    both = min(here + there, 1.0)
    moved = share < 0.5
    return replace(
        bar_map,
        positions=later if moved else bar_map.positions,
        confidence=replace(sure, downbeat=round(sure.beats * both * max(share, 1 - share), 3)),
        alternatives=_relisted(bar_map, both * min(share, 1 - share), moved=moved),
    )


def half_later(positions: np.ndarray) -> np.ndarray:
    """Move every one by half a bar of four; where bars were cut they stay cut or grow."""
    is_one = (positions - 1) % BEATS == HALF
    first = int(is_one.argmax())
    counted = np.arange(len(positions)) - np.maximum.accumulate(
        np.where(is_one, np.arange(len(positions)), 0)
    )
    before = (positions[:first] + HALF - 1) % BEATS + 1
    return np.append(before, counted[first:] + 1)


def _sections_score(positions: np.ndarray, evidence: BeatEvidence) -> float:
    bars = bar_evidence(evidence, positions, BEATS)
    return total_score(segment_scores(bars)) if bars else 0.0


def _is_half(alternative: Alternative) -> bool:
    return alternative.kind == "one" and alternative.correction.shift_one_beats == HALF


def _relisted(bar_map: BarMap, probability: float, *, moved: bool) -> tuple[Alternative, ...]:
    """Give the other half its probability, and other places their distance from the new ones."""
    other = Alternative(
        kind="one",
        correction=Correction(shift_one_beats=HALF),
        probability=round(probability, 3),
        tempo_bpm=bar_map.tempo_bpm,
        meter=BEATS,
    )
    kept = [a for a in bar_map.alternatives if not _is_half(a)]
    if moved:
        kept = [_seen_from_the_other_half(a) if a.kind == "one" else a for a in kept]
    if other.probability >= UNSHOWN:
        kept.append(other)
    return tuple(sorted(kept, key=lambda a: -a.probability))


def _seen_from_the_other_half(alternative: Alternative) -> Alternative:
    shift = (alternative.correction.shift_one_beats - HALF) % BEATS
    return replace(alternative, correction=Correction(shift_one_beats=shift))
