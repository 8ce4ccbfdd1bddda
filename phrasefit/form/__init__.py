"""Sections and phrases: where the music starts anew, and how bars group.

`evidence` is what form is found from, `ones` lets form and opening decide which beat is the one,
`sections` finds boundaries and letters, `phrases` groups bars inside sections.  Nothing
here needs the audio: kept evidence is enough.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from phrasefit.form.boundary_cues import bar_evidence
from phrasefit.form.evidence import BeatEvidence
from phrasefit.form.ones import weigh_ones
from phrasefit.form.outlook import outlook_of
from phrasefit.form.phrases import UNHEARD_STRENGTH, group_phrases
from phrasefit.form.sections import find_sections, phrase_confidence, segment_scores
from phrasefit.model import BarMap, form_starts

__all__ = ["add_form", "weigh_ones"]


def add_form(bar_map: BarMap, evidence: BeatEvidence | None) -> BarMap:
    """Find sections and phrases of a song whose bars are known.

    Parameters
    ----------
    bar_map : BarMap
        Beats and positions; without `evidence` its own sections are kept.
    evidence : BeatEvidence or None
        One row for each beat.

    Returns
    -------
    BarMap
        With `sections` and `phrases`, the likeliest ones; the `outlook` over all; and
        ``confidence.phrase``: the probability that a section boundary is right, which needs
        the downbeats to be right.

    Raises
    ------
    ParameterError
        If `evidence` belongs to other beats.
    """
    if evidence is not None:
        evidence.require_beats(bar_map.beat_times_s.size)
    bars = bar_evidence(evidence, bar_map.positions, bar_map.meter) if evidence else None
    scores = segment_scores(bars) if bars else np.empty((0, 0))
    sections = bar_map.sections if evidence is None else find_sections(bars, scores) if bars else ()
    phrases = group_phrases(bar_map.positions, bar_map.meter, sections, bars=bars)
    outlook = outlook_of(bars, scores, form_starts(sections, phrases)) if bars else None
    sure = phrase_confidence(sections) if sections else UNHEARD_STRENGTH
    return replace(
        bar_map,
        sections=sections,
        phrases=phrases,
        outlook=outlook,
        confidence=replace(bar_map.confidence, phrase=round(sure * bar_map.confidence.downbeat, 3)),
    )
