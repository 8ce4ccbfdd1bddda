"""Which beat is the one: the form and the opening decide with the bars where these are in doubt.

*Form.* Drums and chords often look alike half a bar later; sections, repetitions and fills do
not: they begin on ones.  Two readings are compared exactly, the bars as they are and all of
them half a bar later: what all segmentations of the song into sections are worth together
under each (`segmentation.total_score`) is added to the log odds that the bars themselves
give.  Fours only: in threes there is no half bar, in twos it is a bar.

*Opening.* Where the bass plays on the first beat of a song, that beat most often is a one; a
pickup is played without it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from phrasefit.form.boundary_cues import bar_evidence
from phrasefit.form.evidence import BeatEvidence, spectrum_of
from phrasefit.form.sections import segment_scores
from phrasefit.form.segmentation import total_score
from phrasefit.model import Alternative, BarMap, Correction
from phrasefit.steps import usual_steps

BEATS, HALF = 4, 2
# Of the log score of sections.  Learned on made songs, it is too sure of songs by others: with
# this share the ones of 62 of them (tracker modules, openttd-openmsx) are most likely.
SECTIONS_SHARE = 0.15
UNSHOWN = 0.01  # probability of a place that was too rare to be listed

# On which beat of the bar songs begin, by beats a bar: whole songs whose first beat is beat 1,
# 2 ... in the annotations of the Beatles, RWC, TapCorrect, JAAH and Filosax collections, as they
# stand in github.com/CPJKU/beat_this_annotations (MIT): 550 songs, 74 waltzes.
OPENS_ON = {4: (470, 26, 20, 34), 3: (64, 2, 8)}
N_BASS_BANDS = 8  # of the spectrum: up to 320 Hz
BASS_WITHIN = float(np.log(10 ** (10 / 20)))  # 10 dB softer than it usually is, it still plays
AT_ONCE_BEATS = 1.5  # no beat fits between where the music begins and this


def weigh_ones(bar_map: BarMap, evidence: BeatEvidence, opens_s: float | None) -> BarMap:
    """Let form and opening tell which beat of the bar is the one.

    Parameters
    ----------
    bar_map : BarMap
        As tracked; without sections.
    evidence : BeatEvidence
        One row for each beat.
    opens_s : float or None [seconds]
        Where the music begins; None if the file begins in the middle of it.

    Returns
    -------
    BarMap
        Its ones where they are most probable; the probabilities of the other places are
        those of the alternatives that it lists.
    """
    if bar_map.meter not in OPENS_ON or np.count_nonzero(bar_map.positions == 1) < 2:
        return bar_map
    places, moved = _as_heard(bar_map), 0
    if bar_map.meter == BEATS:
        places[[0, HALF]] = _by_form(places[[0, HALF]], bar_map.positions, evidence)
        moved = HALF if places[HALF] > places[0] else 0
    if _opens_with_bass(bar_map, evidence, opens_s):
        places = _by_opening(places, bar_map)
        moved = int(places.argmax())
    return _placed(bar_map, places, moved)


def ones_later(positions: np.ndarray, shift: int, meter: int) -> np.ndarray:
    """Move every one by `shift` beats; where bars were cut they stay cut or grow."""
    is_one = (positions - 1) % meter == shift
    first = int(is_one.argmax())
    beat = np.arange(len(positions))
    counted = beat - np.maximum.accumulate(np.where(is_one, beat, 0))
    before = (positions[:first] - shift - 1) % meter + 1
    return np.append(before, counted[first:] + 1)


def _as_heard(bar_map: BarMap) -> np.ndarray:
    """Give the probability that the ones are 0, 1 ... beats later, if the beats are right.

    Its shape is (meter,).
    """
    places = np.zeros(bar_map.meter)
    places[0] = bar_map.confidence.downbeat
    for other in bar_map.alternatives:
        if other.kind == "one":
            places[other.correction.shift_one_beats] = other.probability
    return np.maximum(places / max(places.sum(), UNSHOWN), UNSHOWN)


def _by_form(halves: np.ndarray, positions: np.ndarray, evidence: BeatEvidence) -> np.ndarray:
    """Share the probability of both halves by what sections are worth under each."""
    here, later = (
        _sections_score(each, evidence) for each in (positions, ones_later(positions, HALF, BEATS))
    )
    odds = np.log(halves[0] / halves[1]) + SECTIONS_SHARE * (here - later)
    share = float(1 / (1 + np.exp(-odds)))
    return min(halves.sum(), 1.0) * np.array([share, 1 - share])


def _sections_score(positions: np.ndarray, evidence: BeatEvidence) -> float:
    bars = bar_evidence(evidence, positions, BEATS)
    return total_score(segment_scores(bars)) if bars else 0.0


def _opens_with_bass(bar_map: BarMap, evidence: BeatEvidence, opens_s: float | None) -> bool:
    """Say whether the music begins with the first beat, and the bass plays on it."""
    if opens_s is None:
        return False
    beats_s = bar_map.beat_times_s
    bass = spectrum_of(evidence)[:, :N_BASS_BANDS].mean(axis=1)
    at_once = beats_s[0] - opens_s < AT_ONCE_BEATS * usual_steps(np.diff(beats_s))[0]
    return bool(at_once and bass[0] > np.median(bass) - BASS_WITHIN)


def _by_opening(places: np.ndarray, bar_map: BarMap) -> np.ndarray:
    """Weigh each place by how often songs begin on the beat that the first one then is."""
    meter = bar_map.meter
    first = (bar_map.positions[0] - 1 - np.arange(meter)) % meter
    weighed = places * np.array(OPENS_ON[meter], float)[first]
    return weighed * min(places.sum(), 1.0) / weighed.sum()


def _placed(bar_map: BarMap, places: np.ndarray, moved: int) -> BarMap:
    """Put the ones `moved` beats later, and list the other places from there."""
    sure, meter = bar_map.confidence, bar_map.meter
    others = [
        Alternative(
            kind="one",
            correction=Correction(shift_one_beats=(shift - moved) % meter),
            probability=round(sure.beats * float(places[shift]), 3),
            tempo_bpm=bar_map.tempo_bpm,
            meter=meter,
        )
        for shift in range(meter)
        if shift != moved and places[shift] > UNSHOWN
    ]
    others += [a for a in bar_map.alternatives if a.kind != "one"]
    positions = bar_map.positions
    return replace(
        bar_map,
        positions=ones_later(positions, moved, meter) if moved else positions,
        confidence=replace(sure, downbeat=round(sure.beats * float(places[moved]), 3)),
        alternatives=tuple(sorted(others, key=lambda a: -a.probability)),
    )
