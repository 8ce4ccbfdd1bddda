"""Groups of bars that dancers hear as phrases, inside each section.

A section is cut into phrases of eight bars, these into fours, these into twos.
Where the bars do not come out even, the extra ones go where music puts them: at the
end of a section (in the first one, the intro, at its beginning), an odd bar at the
end of its group, and the ear's evidence may say otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from phrasefit.form.boundary_cues import BarEvidence
from phrasefit.form.boundary_model import odds_of
from phrasefit.form.section_lengths import USUAL_BARS, log_share
from phrasefit.form.segmentation import best_segments
from phrasefit.meters import phrase_beats_of
from phrasefit.model import Phrase, Section

# Log score of an odd group that is not where extra bars are expected, and of a group
# that begins with an irregular bar.  The first is measured: of 204 pairs of like
# sections in the Harmonix Set of which just one is a multiple of 8 bars, in 144 the
# second is the odd one.  The second is common practice, no source.
MISPLACED = -1.5
STARTS_ODD = -0.5
OVERLONG = -2
HEARD_WEIGHT = 0.5  # of the log probability that a phrase is heard to begin, beside these
UNHEARD = -3.0  # lowest log probability: what is not heard may still be meant

# How sure an inner phrase start is at each level, given that its section is right.
LEVEL_STRENGTH = (0.8, 0.5, 0.25)
ODD_LENGTH_FACTOR = 0.7  # where this or the next group is not of the length expected
UNHEARD_STRENGTH = 0.3  # of phrases counted from the first one, where no section is known


@dataclass(frozen=True, slots=True)
class _Block:
    """A stretch of whole bars to be grouped: a section, or what lies before the first."""

    edges: np.ndarray  # beats, with the end
    strength: float
    extra_first: bool
    odds: np.ndarray  # boundary cues at each bar, 0 on average


def group_phrases(
    positions: np.ndarray,
    meter: int,
    sections: tuple[Section, ...],
    *,
    bars: BarEvidence | None = None,
) -> tuple[Phrase, ...]:
    """Find phrase starts of three levels.

    Parameters
    ----------
    positions : np.ndarray [shape=(n_beats,)]
        1 = downbeat; bars may be of any length.
    meter : int
        Prevailing beats a bar.
    sections : tuple of Section
        Their starts are phrase starts of the highest level.  Empty: phrases are
        counted from the first downbeat, with little strength.
    bars : BarEvidence, optional
        Helps to decide where extra bars sit.

    Returns
    -------
    tuple of Phrase
        In order of time; a beat where several levels begin has one entry, of the
        highest.
    """
    positions = np.asarray(positions)
    levels = phrase_beats_of(meter)
    odds = np.zeros(len(positions))
    if bars is not None:
        odds[bars.starts[:-1]] = heard_odds(bars)
    found: list[tuple[int, int, float]] = []
    for block in _blocks(positions, sections, odds, levels[0] // meter):
        found += _block_phrases(block, levels, meter)
    return _with_lengths(found, levels, len(positions))


def phrases_between(
    bars: BarEvidence, odds: np.ndarray, start: int, end: int
) -> tuple[Phrase, ...]:
    """Find the longest phrases of a section from bar line `start` to `end`, if it is one.

    Parameters
    ----------
    odds : np.ndarray
        As `heard_odds` gives them.
    """
    levels = phrase_beats_of(bars.meter)[:1]
    block = _block(
        bars.starts[start : end + 1],
        odds[start:end],
        1.0,
        levels[0] // bars.meter,
        is_intro=start == 0 and end < len(odds),
    )
    return _with_lengths(_block_phrases(block, levels, bars.meter), levels, int(bars.starts[end]))


def heard_odds(bars: BarEvidence) -> np.ndarray:
    """Give the log probability that a phrase is heard to begin at each bar [shape=(n,)]."""
    return np.maximum(-np.logaddexp(0.0, -odds_of(bars)[1]), UNHEARD)


def _blocks(
    positions: np.ndarray, sections: tuple[Section, ...], odds: np.ndarray, longest_bars: int
) -> list[_Block]:
    n = len(positions)
    ones = np.flatnonzero(positions == 1)
    starts = sorted((s.start_beat, s.strength) for s in sections if s.start_beat < n)
    if ones.size and (not starts or ones[0] < starts[0][0]):
        starts.insert(0, (int(ones[0]), UNHEARD_STRENGTH))
    blocks = []
    for index, (start, strength) in enumerate(starts):
        end = starts[index + 1][0] if index + 1 < len(starts) else n
        inner = ones[(ones > start) & (ones < end)]
        if end > start:
            blocks.append(
                _block(
                    np.concatenate([[start], inner, [end]]),
                    odds[np.append(start, inner)],
                    strength,
                    longest_bars,
                    is_intro=index == 0 and len(starts) > 1,
                )
            )
    return blocks


def _block(
    edges: np.ndarray, odds: np.ndarray, strength: float, longest_bars: int, *, is_intro: bool
) -> _Block:
    here = odds - odds.mean()
    extra_first = _extra_first(here, longest_bars, is_intro=is_intro)
    return _Block(edges=edges, strength=strength, extra_first=extra_first, odds=here)


def _extra_first(odds: np.ndarray, longest_bars: int, *, is_intro: bool) -> bool:
    """Tell whether the bars beyond a multiple of the longest phrase come first.

    What is usual, and whether the music starts anew more on the lines counted from the
    end of the section than on those counted from its beginning.
    """
    extra = len(odds) % longest_bars
    half = longest_bars // 2
    step = longest_bars if extra % half == 0 else half
    from_end = odds[extra % step or step :: step].sum()
    from_start = odds[step::step].sum()
    usual = -MISPLACED if is_intro else MISPLACED
    return extra > 0 and usual + HEARD_WEIGHT * (from_end - from_start) > 0


def _block_phrases(
    block: _Block, levels: tuple[int, ...], meter: int
) -> list[tuple[int, int, float]]:
    """Give (beat, level, strength) of every phrase start in a block."""
    cuts = np.array([0, len(block.edges) - 1])
    found = {0: (0, block.strength)}
    for level, target in enumerate(levels):
        finer = [0]
        for start, end in pairwise(cuts):
            starts = start + _cut(block, int(start), int(end), target, meter)
            bounds = np.append(starts, end)
            lengths = np.diff(block.edges[bounds])
            for index, bar in enumerate(starts):
                even = np.all(lengths[max(0, index - 1) : index + 1] == target)
                strength = LEVEL_STRENGTH[level] * (1.0 if even else ODD_LENGTH_FACTOR)
                found.setdefault(int(bar), (level, strength * block.strength))
            finer += [int(bar) for bar in bounds[1:]]
        cuts = np.array(finer)
    return [(int(block.edges[bar]), *found[bar]) for bar in sorted(found)]


def _cut(block: _Block, start: int, end: int, target: int, meter: int) -> np.ndarray:
    """Cut bars `start` to `end` into groups of about `target` beats; 0 is the first cut."""
    if block.edges[end] - block.edges[start] <= target:
        return np.zeros(1, dtype=int)  # no division of so little scores higher
    return best_segments(_group_scores(block, start, end, target, meter))


def _group_scores(block: _Block, start: int, end: int, target: int, meter: int) -> np.ndarray:
    """Score every group of bars from `start` to `end` [shape=(n + 1, n + 1), log].

    Groups of a level are as often odd as sections are odd multiples of their usual
    length: the table of lengths serves both.
    """
    edges = block.edges[start : end + 1]
    lengths = edges[None] - edges[:, None]
    scores = log_share(USUAL_BARS * lengths / target) - log_share(np.array(USUAL_BARS))
    irregular = np.append(np.diff(edges) != meter, False)
    expected = np.zeros(lengths.shape, dtype=bool)
    expected[:, 1:] = irregular[:-1]
    if block.extra_first and start == 0:
        expected[0] = True
    else:
        expected[:, -1] = True
    scores[(lengths != target) & ~expected] += MISPLACED
    scores[lengths >= 1.5 * target] += OVERLONG
    begins_odd = irregular & (edges > edges[0])
    heard = np.append(HEARD_WEIGHT * block.odds[start:end], 0.0)
    heard[0] = 0.0
    return scores + (STARTS_ODD * begins_odd + heard)[:, None]


def _with_lengths(
    found: list[tuple[int, int, float]], levels: tuple[int, ...], n_beats: int
) -> tuple[Phrase, ...]:
    """Measure each phrase to the next start of its own or a higher level."""
    next_start = [n_beats] * len(levels)
    phrases = []
    for beat, level, strength in reversed(found):
        phrases.append(
            Phrase(
                start_beat=beat,
                n_beats=next_start[level] - beat,
                group=levels[level],
                strength=round(float(strength), 3),
            )
        )
        next_start[level:] = [beat] * (len(levels) - level)
    return tuple(reversed(phrases))
