"""What speaks for a boundary at each bar line: change, repetition, accents.

All is measured between whole bars, so memory is bars × bars.  Each cue is compared
with the rest of the same song (mean 0, deviation 1 over its inner bar lines).  Bars of two
are heard in pairs, as bars of four: those that begin on every other bar line are one song,
those between them another (`by_turns`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from phrasefit.form.evidence import N_MEL, BeatEvidence, spectrum_of
from phrasefit.form.segmentation import diagonal_sums

BRIGHT_SHARE = 0.25  # cymbals live in the upper quarter of the mel bands (above 4.5 kHz)
FLUX_GAIN = 20.0
CUE_RANGE = (-3.0, 6.0)  # deviations beyond which a cue says no more
NEAR_BARS = 2  # a repetition this close is the same stretch of music
EDGE_BARS = 4.0  # how far from its ends a song is felt to begin and to end
NOVELTY_BARS = (1, 2, 4, 8)  # compared before and after a bar line
REPEAT_BARS = (2, 4, 8)
LAG_BARS = (1, 2, 4, 8)
CUES = (
    *(f"{what}_change_{n}" for what in ("timbre", "rhythm", "harmony", "music")
      for n in NOVELTY_BARS),
    *(f"{what}_repeat_{edge}_{n}" for what in ("music", "harmony", "rhythm")
      for n in REPEAT_BARS for edge in ("begins", "ends")),
    "loudness_step", "louder", "low_step", "more_low", "high_step", "more_high",
    "fill", "cymbal", "quiet_before", "accent",
    *(f"like_{n}_before" for n in LAG_BARS),
)  # fmt: skip
Span = tuple[np.ndarray, np.ndarray]  # first bars, and those after the last
PLACES = ("odd_bar", "odd_bar_before", "near_start", "near_end", "in_threes")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BarEvidence:
    """The song by bars, counted from its first downbeat.

    `starts` [shape=(n + 1,), beats]: where bars begin, and the end of the song.
    `meter`: prevailing beats a bar.
    `likeness` [shape=(n, n), -1 to 1]: how alike two bars are in timbre and harmony,
    beat by beat.  `cues` [shape=(n, len(CUES) + len(PLACES))]: see `CUES`, in deviations
    from the song's mean, and `PLACES`, each 0 to 1.
    """

    starts: np.ndarray
    meter: int
    likeness: np.ndarray
    cues: np.ndarray


def bar_starts(positions: np.ndarray) -> np.ndarray:
    """List where bars begin, and the number of beats at the end [shape=(n_bars + 1,)]."""
    ones = np.flatnonzero(np.asarray(positions) == 1)
    return np.append(ones, len(positions)) if ones.size else ones


def bar_evidence(evidence: BeatEvidence, positions: np.ndarray, meter: int) -> BarEvidence | None:
    """Compare all bars of a song and measure the cues at its bar lines.

    Parameters
    ----------
    evidence : BeatEvidence
        One row for each beat.
    positions : np.ndarray [shape=(n_beats,)]
        1 = downbeat.
    meter : int
        Prevailing beats a bar: a shorter bar is compared as if its last beat were
        held, of a longer one the first `meter` beats are compared.  A bar of two is
        compared together with the one after it.

    Returns
    -------
    BarEvidence or None
        None if there is no downbeat.
    """
    starts = bar_starts(positions)
    if not starts.size:
        return None
    hop = bars_together(meter)
    ends = np.append(starts[hop:], np.full(hop - 1, starts[-1]))[:, None]
    beats_of_bar = np.minimum(starts[:-1, None] + np.arange(meter * hop), ends - 1)
    timbre = _standardized(evidence.timbre)[beats_of_bar, 1:]
    harmony = np.sqrt(np.maximum(evidence.harmony, 0.0))
    harmony = (_unit_rows(harmony) - _unit_rows(harmony).mean(axis=0))[beats_of_bar]
    rhythm = _standardized(np.log1p(FLUX_GAIN * evidence.flux))[beats_of_bar]
    rhythm = rhythm.reshape(len(beats_of_bar), -1)
    by_harmony = _cosines(harmony)
    likeness = (_cosines(timbre) + by_harmony) / 2
    novelty_of = (_kernel(timbre.mean(axis=1)), _kernel(rhythm), by_harmony, likeness)
    cues = [
        *(cue for matrix in novelty_of for cue in _changes(matrix, hop)),
        *(
            cue
            for matrix in (likeness, by_harmony, _cosines(rhythm))
            for cue in _repetitions(matrix, hop)
        ),
        *_steps(evidence, beats_of_bar, hop),
        _fills(rhythm, hop),
        _cymbals(evidence, beats_of_bar, hop),
        *_accents(evidence.loudness_db, starts[:-1], beats_of_bar),
        *(_like_before(likeness, n_bars * hop) for n_bars in LAG_BARS),
    ]
    return BarEvidence(
        starts=starts,
        meter=meter,
        likeness=likeness,
        cues=np.concatenate(
            [
                by_turns(_by_song, np.stack(cues, axis=1), hop),
                _places(starts[:-1], ends[:, 0], meter),
            ],
            axis=1,
        ),
    )


def bars_together(meter: int) -> int:
    """Tell how many bars make one of the size that sections are measured in."""
    return 2 if meter == 2 else 1


def by_turns(judge: Callable[[np.ndarray], np.ndarray], rows: np.ndarray, hop: int) -> np.ndarray:
    """Judge every `hop`-th row, from each of the first ones, as a song of its own."""
    judged = [judge(rows[turn::hop]) for turn in range(min(hop, len(rows)))]
    together = np.empty((len(rows), *judged[0].shape[1:]))
    for turn, part in enumerate(judged):
        together[turn::hop] = part
    return together


# ------------------------------------------------------------------- comparing bars


def _standardized(rows: np.ndarray) -> np.ndarray:
    return (rows - rows.mean(axis=0)) / (rows.std(axis=0) + 1e-6)


def _by_song(cues: np.ndarray) -> np.ndarray:
    """Standardize over the inner bar lines; the song's own start is no boundary to learn from."""
    inner = cues[1:] if len(cues) > 1 else cues
    return np.clip((cues - inner.mean(axis=0)) / (inner.std(axis=0) + 1e-6), *CUE_RANGE)


def _unit_rows(rows: np.ndarray) -> np.ndarray:
    return rows / np.maximum(np.linalg.norm(rows, axis=1, keepdims=True), 1e-6)


def _cosines(rows: np.ndarray) -> np.ndarray:
    unit = _unit_rows(rows.reshape(len(rows), -1).astype(float))
    return unit @ unit.T


def _kernel(rows: np.ndarray) -> np.ndarray:
    """Likeness 0-1 that falls with distance, at the scale of the song's median one."""
    squares = (rows.astype(float) ** 2).sum(axis=1)
    distances = np.maximum(squares[:, None] + squares - 2 * rows.astype(float) @ rows.T, 0.0)
    return np.exp(-distances / max(float(np.median(distances)), 1e-9))


# --------------------------------------------------------------------------- the cues
# `hop` is the number of bar lines from one compared bar to the next one apart from it.


def _change(sums: np.ndarray, n_bars: int, hop: int) -> np.ndarray:
    """Compare `n_bars` before and after each bar line: alike within, unlike across.

    `sums` [shape=(n + 1, n + 1)] are those of all bars before a row and a column.  The
    checkerboard novelty of J. Foote, "Automatic audio segmentation using a measure of
    audio novelty", 2000, with averages, so that edges are not favored.
    """
    n = len(sums) - 1
    lines = np.arange(hop, n)
    before = np.maximum(0, lines - n_bars * hop), lines - hop + 1
    after = lines, np.minimum(n, lines + n_bars * hop)

    def mean(rows: Span, columns: Span) -> np.ndarray:
        (r0, r1), (c0, c1) = rows, columns
        total = sums[r1, c1] - sums[r0, c1] - sums[r1, c0] + sums[r0, c0]
        return total / ((r1 - r0) * (c1 - c0))

    novelty = np.zeros(n)
    novelty[hop:] = (mean(before, before) + mean(after, after)) / 2 - mean(before, after)
    return novelty


def _changes(likeness: np.ndarray, hop: int) -> list[np.ndarray]:
    """Measure change over several spans; the longest is broad by nature."""
    sums = np.zeros((len(likeness) + 1, len(likeness) + 1))
    sums[1:, 1:] = likeness.cumsum(axis=0).cumsum(axis=1)
    changes = [_change(sums, n_bars, hop) for n_bars in NOVELTY_BARS]
    return [*(_sharp(change, hop) for change in changes[:-1]), changes[-1]]


def _repetitions(likeness: np.ndarray, hop: int) -> list[np.ndarray]:
    """Measure where repetitions of several lengths begin and end."""
    sums = diagonal_sums(likeness)
    return [cue for n_bars in REPEAT_BARS for cue in _repetition_edges(sums, n_bars, hop)]


def _repetition_edges(sums: np.ndarray, n_bars: int, hop: int) -> tuple[np.ndarray, np.ndarray]:
    """Measure at each bar line whether a repetition begins, and whether one ends there.

    For every other bar line: how alike are the `n_bars` after both, less how alike
    are the `n_bars` before both.  The largest value says that a repeated stretch
    begins here, the lowest that one ends.  `sums` are `diagonal_sums` of the likeness.
    """
    n = len(sums) - 1
    first, second = np.meshgrid(np.arange(n), np.arange(n), indexing="ij")
    ahead = np.minimum(n_bars * hop, n - np.maximum(first, second))
    behind = np.minimum(n_bars * hop, np.minimum(first, second) - hop + 1)
    known = (np.abs(first - second) > NEAR_BARS * hop) & (ahead > hop) & (behind > hop)
    first, second, ahead, behind = (array[known] for array in (first, second, ahead, behind))
    after = (sums[first + ahead, second + ahead] - sums[first, second]) / ahead
    end = (first - hop + 1, second - hop + 1)
    before = (sums[end] - sums[end[0] - behind, end[1] - behind]) / behind
    edge = np.zeros((n, n))
    edge[known] = after - before
    begins, ends = edge.max(axis=1, initial=0.0), -edge.min(axis=1, initial=0.0)
    return _sharp(begins, hop), _sharp(ends, hop)


def _sharp(values: np.ndarray, hop: int) -> np.ndarray:
    """Lower what is no higher than its neighbors: a boundary is one bar line, not three."""
    padded = np.pad(values, hop, mode="edge")
    return values - (padded[: -2 * hop] + padded[2 * hop :]) / 4


def _steps(evidence: BeatEvidence, beats_of_bar: np.ndarray, hop: int) -> list[np.ndarray]:
    """Measure change from bar to bar, and its direction: loudness, low and high attacks."""
    flux = np.log1p(
        FLUX_GAIN * np.stack([evidence.flux[:, :2].max(axis=1), evidence.flux[:, 2:].max(axis=1)])
    )
    steps = []
    for rows in (evidence.loudness_db, *flux):
        by_bar = rows[beats_of_bar].mean(axis=1)
        step = np.zeros_like(by_bar)
        step[hop:] = by_bar[hop:] - by_bar[:-hop]
        steps += [np.abs(step), step]
    return steps


def _accents(
    loudness_db: np.ndarray, ones: np.ndarray, beats_of_bar: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Measure the beat before the bar line, and the one after it, against the bar."""
    by_bar = loudness_db[beats_of_bar].mean(axis=1)
    return loudness_db[np.maximum(ones - 1, 0)] - by_bar, loudness_db[ones] - by_bar


def _like_before(likeness: np.ndarray, lag: int) -> np.ndarray:
    """Tell how alike each bar is to the one `lag` bars before it; 0 where there is none."""
    like = np.zeros(len(likeness))
    if lag < len(likeness):
        like[lag:] = np.diagonal(likeness, -lag)
    return like


def _places(starts: np.ndarray, ends: np.ndarray, meter: int) -> np.ndarray:
    """Say of each bar line what is known without listening: see `PLACES`."""
    hop = bars_together(meter)
    odd = (ends - starts != meter * hop).astype(float)
    bar = np.arange(len(odd)) // hop
    return np.stack(
        [
            odd,
            np.append(np.zeros(hop), odd[:-hop]),
            np.exp(-bar / EDGE_BARS),
            np.exp(-(bar[-1] - bar) / EDGE_BARS),
            np.full(len(odd), float(meter == 3)),
        ],
        axis=1,
    )


def _fills(rhythm: np.ndarray, hop: int) -> np.ndarray:
    """Measure how unlike the bar before each line is to the three before it."""
    unlike = np.zeros(len(rhythm))
    for line in range(3 * hop, len(rhythm)):
        usual = rhythm[max(0, line - 4 * hop) : line - hop : hop].mean(axis=0)
        unlike[line] = np.mean((rhythm[line - hop] - usual) ** 2)
    return unlike


def _cymbals(evidence: BeatEvidence, beats_of_bar: np.ndarray, hop: int) -> np.ndarray:
    """Measure how much brighter each one is than two beats later and than the next one."""
    bright = spectrum_of(evidence)[:, -int(BRIGHT_SHARE * N_MEL) :].mean(axis=1)[beats_of_bar]
    later = bright[:, min(2, bright.shape[1] - 1)]
    following = np.concatenate([bright[:, 0], bright[-1:, 0].repeat(hop)])[hop:]
    return bright[:, 0] - (later + following) / 2
