"""What speaks for a boundary at each bar line: change, repetition, accents.

All is measured between whole bars, so memory is bars × bars.  Each cue is compared
with the rest of the same song (mean 0, deviation 1 over its inner bar lines).

May import: model, form.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from phrasefit.form._segments import diagonal_sums
from phrasefit.form.evidence import BeatEvidence

N_MEL = 96  # resolution at which timbre coefficients are turned back into a spectrum
BRIGHT_SHARE = 0.25  # cymbals live in the upper quarter of the mel bands (above 4.5 kHz)
FLUX_GAIN = 20.0
CUE_RANGE = (-3.0, 6.0)  # deviations beyond which a cue says no more
NEAR_BARS = 2  # a repetition this close is the same stretch of music
CUES = (
    "timbre_2", "timbre_4", "rhythm_2", "rhythm_4", "repeat_4", "repeat_8",
    "harmony_repeat_4", "loudness", "fill", "cymbal",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BarEvidence:
    """The song by bars, counted from its first downbeat.

    `starts` [shape=(n + 1,), beats]: where bars begin, and the end of the song.
    `likeness` [shape=(n, n), -1 to 1]: how alike two bars are in timbre and harmony,
    beat by beat.  `cues` [shape=(n, len(CUES))]: see `CUES`.
    """

    starts: np.ndarray
    likeness: np.ndarray
    cues: np.ndarray


def bar_starts(positions: np.ndarray) -> np.ndarray:
    """List where bars begin, and the number of beats at the end [shape=(n_bars + 1,)]."""
    ones = np.flatnonzero(np.asarray(positions) == 1)
    return np.append(ones, len(positions)) if ones.size else ones


def bar_evidence(evidence: BeatEvidence, positions: np.ndarray, meter: int) -> BarEvidence:
    """Compare all bars of a song and measure the cues at its bar lines.

    Parameters
    ----------
    evidence : BeatEvidence
        One row for each beat.
    positions : np.ndarray [shape=(n_beats,)]
        1 = downbeat; there must be one.
    meter : int
        Prevailing beats a bar: a shorter bar is compared as if its last beat were
        held, of a longer one the first `meter` beats are compared.  A bar of two is
        compared together with the one after it.
    """
    starts = bar_starts(positions)
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
    sound, pattern = _kernel(timbre.mean(axis=1)), _kernel(rhythm)
    cues = (
        _sharp(_change(sound, 2, hop), hop),
        _sharp(_change(sound, 4, hop), hop),
        _sharp(_change(pattern, 2, hop), hop),
        _sharp(_change(pattern, 4, hop), hop),
        _sharp(_repetition_edges(likeness, 4, hop), hop),
        _sharp(_repetition_edges(likeness, 8, hop), hop),
        _sharp(_repetition_edges(by_harmony, 4, hop), hop),
        _steps(evidence.loudness_db[beats_of_bar].mean(axis=1), hop),
        _fills(rhythm, hop),
        _cymbals(evidence, beats_of_bar, hop),
    )
    return BarEvidence(starts=starts, likeness=likeness, cues=_by_song(np.stack(cues, axis=1)))


def bars_together(meter: int) -> int:
    """Tell how many bars make one of the size that sections are measured in."""
    return 2 if meter == 2 else 1


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


def _change(likeness: np.ndarray, n_bars: int, hop: int) -> np.ndarray:
    """Compare `n_bars` before and after each bar line: alike within, unlike across.

    The checkerboard novelty of J. Foote, "Automatic audio segmentation using a
    measure of audio novelty", 2000, with averages, so that edges are not favored.
    """
    n = len(likeness)
    sums = np.zeros((n + 1, n + 1))
    sums[1:, 1:] = likeness.cumsum(axis=0).cumsum(axis=1)

    def mean(rows: slice, columns: slice) -> float:
        r0, r1, c0, c1 = rows.start, rows.stop, columns.start, columns.stop
        total = sums[r1, c1] - sums[r0, c1] - sums[r1, c0] + sums[r0, c0]
        return total / ((r1 - r0) * (c1 - c0))

    novelty = np.zeros(n)
    for line in range(hop, n):
        before = slice(max(0, line - n_bars * hop), line - hop + 1)
        after = slice(line, min(n, line + n_bars * hop))
        within = (mean(before, before) + mean(after, after)) / 2
        novelty[line] = within - mean(before, after)
    return novelty


def _repetition_edges(likeness: np.ndarray, n_bars: int, hop: int) -> np.ndarray:
    """Measure at each bar line whether a repetition begins or ends there.

    For every other bar line: how alike are the `n_bars` after both, less how alike
    are the `n_bars` before both.  The largest value says that a repeated stretch
    begins here, the lowest that one ends; their distance is returned.
    """
    n = len(likeness)
    sums = diagonal_sums(likeness)
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
    return edge.max(axis=1, initial=0.0) - edge.min(axis=1, initial=0.0)


def _sharp(values: np.ndarray, hop: int) -> np.ndarray:
    """Lower what is no higher than its neighbors: a boundary is one bar line, not three."""
    padded = np.pad(values, hop, mode="edge")
    return values - (padded[: -2 * hop] + padded[2 * hop :]) / 4


def _steps(loudness_db: np.ndarray, hop: int) -> np.ndarray:
    """Measure by how much each bar is louder or softer than the one before."""
    before = np.concatenate([loudness_db[:1].repeat(hop), loudness_db])[: len(loudness_db)]
    return np.abs(loudness_db - before)


def _fills(rhythm: np.ndarray, hop: int) -> np.ndarray:
    """Measure how unlike the bar before each line is to the three before it."""
    unlike = np.zeros(len(rhythm))
    for line in range(3 * hop, len(rhythm)):
        usual = rhythm[max(0, line - 4 * hop) : line - hop : hop].mean(axis=0)
        unlike[line] = np.mean((rhythm[line - hop] - usual) ** 2)
    return unlike


def _cymbals(evidence: BeatEvidence, beats_of_bar: np.ndarray, hop: int) -> np.ndarray:
    """Measure how much brighter each one is than two beats later and than the next one."""
    from scipy.fft import idct

    spectrum = idct(evidence.timbre, n=N_MEL, norm="ortho", axis=1)
    bright = spectrum[:, -int(BRIGHT_SHARE * N_MEL) :].mean(axis=1)[beats_of_bar]
    later = bright[:, min(2, bright.shape[1] - 1)]
    following = np.concatenate([bright[:, 0], bright[-1:, 0].repeat(hop)])[hop:]
    return bright[:, 0] - (later + following) / 2
