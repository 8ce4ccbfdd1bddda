"""Where sections begin, and which are the same music.

Every segmentation of the song into sections that begin on bar lines gets a
probability: what speaks for a boundary at each line (`lines`), how usual the lengths
are, how well each section as a whole is heard again elsewhere.  The best one is
found exactly; the strength of a boundary comes from its probability over all of them.
"""

from __future__ import annotations

import string
from collections.abc import Iterable
from itertools import pairwise

import numpy as np

from phrasefit.form.boundary_cues import BarEvidence, bars_together
from phrasefit.form.boundary_model import line_weights, odds_of
from phrasefit.form.section_lengths import log_share
from phrasefit.form.segmentation import (
    best_segments,
    diagonal_sums,
    join_alike,
    segment_probabilities,
    start_probabilities,
)
from phrasefit.model import Section

# Learned in part from made songs, scores are too sure of songs by others: by this much they
# are tempered for strengths, which are then right as often as they say on songs marked by
# people that nothing was learned from.
TEMPER = 0.7
# Two people mark not quite the same boundaries: with this exponent on the probability
# of none, strengths are the share of boundaries that either of two annotators marked.
LISTENERS = 1.5
BARS_HEARD_AGAIN = (3, 24)  # shorter repeats say little, longer ones are compared piecewise

# Bars of two are counted in pairs, and seldom is one left over: of 7,573 sections between two
# boundaries in the songs in fours of the Harmonix Set, 154 last half a bar more or less.
HALF_A_BAR = float(np.log(154 / 7419))

FEWEST_BARS = 8  # shorter music is not divided
UNDIVIDED_CONFIDENCE = 0.3  # one section only: the song gave nothing to go by

# Letters: sections whose first bars are this much more alike than two bars of the song
# on average (deviations) share one; a part of the likeness is that of the whole sound.
SAME_MUSIC = 1.1
WHOLE_SOUND_SHARE = 0.3


def find_sections(bars: BarEvidence, scores: np.ndarray) -> tuple[Section, ...]:
    """Cut a song into sections that begin on downbeats.

    Parameters
    ----------
    bars : BarEvidence
        Bars of any length are taken as they are.
    scores : np.ndarray [shape=(n_bars + 1, n_bars + 1)]
        Of its sections, as `segment_scores` gives them.

    Returns
    -------
    tuple of Section
        Sections from the first downbeat to the last beat without gaps.  `strength` is
        the probability that a phrase is heard to begin on that bar line, calibrated on
        songs marked by two people.
    """
    n_bars = len(bars.cues)
    starts = best_segments(scores) if n_bars >= FEWEST_BARS else np.array([0])
    edges = np.append(starts, n_bars)
    unmarked = 1 - start_probabilities(segment_probabilities(TEMPER * scores))[edges[:-1]]
    strengths = 1 - unmarked**LISTENERS
    return sections_between(bars.starts[edges], letters_for(bars.likeness, edges), strengths)


def sections_between(
    beats: np.ndarray, letters: list[str], strengths: Iterable[float]
) -> tuple[Section, ...]:
    """Make the sections between `beats` [shape=(n + 1,), beat indices]."""
    return tuple(
        Section(
            start_beat=int(start),
            n_beats=int(end - start),
            letter=letter,
            strength=round(float(strength), 3),
        )
        for (start, end), letter, strength in zip(pairwise(beats), letters, strengths, strict=True)
    )


def phrase_confidence(sections: tuple[Section, ...]) -> float:
    """Give the probability that a boundary between `sections` is right (0-1)."""
    inner = [section.strength for section in sections[1:]]
    return float(np.mean(inner)) if inner else UNDIVIDED_CONFIDENCE


# -------------------------------------------------------------------------- scores


def segment_scores(bars: BarEvidence) -> np.ndarray:
    """Log score of a section from each bar line to each later one [shape=(n+1, n+1)]."""
    n = len(bars.cues)
    weights = line_weights()
    scores = weights["length"] * length_scores(bars.starts, bars.meter)
    scores += weights["repeat"] * heard_again(bars.likeness, bars_together(bars.meter))
    scores[1:n] += odds_of(bars)[0][1:, None]
    return scores


def length_scores(starts: np.ndarray, meter: int) -> np.ndarray:
    """Score each length, and the first and the last by their own shares."""
    together = bars_together(meter)
    bars = (starts[None] - starts[:, None]) / (meter * together)
    scores = log_share(bars)
    scores[0] = log_share(bars[0], "first")
    scores[:, -1] = log_share(bars[:, -1], "last")
    scores[0, -1] = log_share(bars[0, -1])
    line = np.arange(len(starts))
    unpaired = (line - line[:, None]) % together != 0
    unpaired[:, -1] = False  # the last one ends where the music does
    return scores + HALF_A_BAR * unpaired


def heard_again(likeness: np.ndarray, hop: int) -> np.ndarray:
    """Score each stretch of bars by its best repetition elsewhere [shape=(n+1, n+1)].

    The mean likeness along the best diagonal, in deviations over pairs of bars, times
    the square root of the length: how much evidence so many bars are.
    """
    n = len(likeness)
    score = np.zeros((n + 1, n + 1))
    others = likeness[np.triu_indices(n, 2)]
    if not others.size or others.std() == 0:
        return score
    sums = diagonal_sums((likeness - others.mean()) / others.std())
    shortest, longest = (hop * n_bars for n_bars in BARS_HEARD_AGAIN)
    for length in range(shortest, min(longest, n // 2) + 1):
        along = (sums[length:, length:] - sums[:-length, :-length]) / np.sqrt(length * hop)
        start = np.arange(len(along))
        apart = np.abs(start[:, None] - start) >= length
        best = np.where(apart, along, -np.inf).max(axis=1)
        score[start, start + length] = np.where(np.isfinite(best), best, 0.0)
    return score


# ------------------------------------------------------------------------- letters


def letters_for(likeness: np.ndarray, edges: np.ndarray) -> list[str]:
    """Give sections the same letter where they begin with the same music.

    Parameters
    ----------
    likeness : np.ndarray [shape=(n_bars, n_bars)]
    edges : np.ndarray [shape=(n_sections + 1,), bars]

    Returns
    -------
    list of str
        A, B, C ... in order of first appearance; after Z comes AA.
    """
    n = len(edges) - 1
    others = likeness[np.triu_indices(len(likeness), 2)]
    spread = others.std() if others.size else 0.0
    standard = (likeness - (others.mean() if others.size else 0.0)) / max(spread, 1e-9)
    alike = np.zeros((n, n))
    for one in range(n):
        for other in range(one + 1, n):
            block = standard[edges[one] : edges[one + 1], edges[other] : edges[other + 1]]
            aligned = np.diagonal(block).mean()
            mean = (1 - WHOLE_SOUND_SHARE) * aligned + WHOLE_SOUND_SHARE * block.mean()
            alike[one, other] = alike[other, one] = mean
    groups = join_alike(alike, np.diff(edges), SAME_MUSIC)
    names = [*string.ascii_uppercase, *(2 * letter for letter in string.ascii_uppercase)]
    return [names[group % len(names)] for group in groups]
