"""Moves beats from frames to where the onset is heard.

Frames are 20 ms apart; a dancer's "on the beat" is finer.  Around every beat the
waveform is looked at again in steps of 1.5 ms.  If the song was played to a click,
the beats are put on its straight lines; else they follow the players as closely as
single onsets can be trusted.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from phrasefit._dp import fit_segments
from phrasefit.audio import SAMPLE_RATE_HZ
from phrasefit.audio.features import log_level, padded_slice

WINDOW_SAMPLES = 256  # 12 ms: short enough to place a drum hit
STEP_SAMPLES = 32
REACH_S = 0.050  # a beat's onset is sought this far to each side of its frame
RISE_STEPS = 3  # a rise is measured over 2 * 3 steps: 9 ms
TOP_BINS = 100  # up to 8.6 kHz; above there is little but hiss
LOG_GAIN = 100.0
BEATS_AT_ONCE = 8  # their spectra stay in the processor's cache
PRIOR_S = 0.025  # how far from its frame a beat's onset usually is
# An onset is felt a little after the rise is strongest; measured on rendered songs.
ONSET_LAG_S = 0.0015
CLICK_RESIDUAL_S = 0.008
PIECE_COST = 60.0  # one more tempo, in squared residuals of `ROBUST_S`
ROBUST_S = 0.006
MIN_PIECE_BEATS = 16
FOLLOW = 2.0  # smoothness of beats that follow players: the least error on made songs


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Timing:
    """Refined beats [shape=(n,), seconds] and whether they lie on a click."""

    beat_times_s: np.ndarray
    steady: bool


def refine_beats(samples: np.ndarray, beats_s: np.ndarray) -> Timing:
    """Move each beat to its onset, or to the click that the song was played to.

    Parameters
    ----------
    samples : np.ndarray [shape=(n,), float32]
    beats_s : np.ndarray [shape=(n_beats,), seconds, increasing]
        Beats without a gap, right to about 30 ms.

    Returns
    -------
    Timing

    Notes
    -----
    A click is assumed if straight pieces of at least `MIN_PIECE_BEATS` beats
    leave a median residual of the clear onsets under `CLICK_RESIDUAL_S`.  Otherwise beats solve
    a least-squares problem: near their onsets, weighted by clearness, with small second
    differences (E. Whittaker, "On a new method of graduation", 1923).
    """
    onsets_s, clearness = find_onsets(samples, beats_s)
    smooth = _graduate(onsets_s, clearness, FOLLOW)
    if len(beats_s) < MIN_PIECE_BEATS:
        return Timing(beat_times_s=_increasing(smooth, beats_s), steady=False)
    lines = _fit_lines(onsets_s, clearness, smooth)
    clear = clearness >= np.median(clearness)
    residual = np.median(np.abs(onsets_s - lines)[clear])
    steady = bool(residual < CLICK_RESIDUAL_S)
    return Timing(beat_times_s=_increasing(lines if steady else smooth, beats_s), steady=steady)


def find_onsets(samples: np.ndarray, beats_s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Find the strongest rise of energy near each beat.

    Returns
    -------
    (onsets_s [shape=(n_beats,), seconds], clearness [shape=(n_beats,), 0-1])
    """
    rise, lags_s = _rises(samples, beats_s)
    prior = np.exp(-0.5 * (lags_s / PRIOR_S) ** 2)
    weighted = rise * prior
    peak = weighted.argmax(axis=1)
    rows = np.arange(len(beats_s))
    height = rise[rows, peak]  # not weighted: a late hit is no less clear
    offset_s = lags_s[peak] + _peak_shift(weighted, peak) * (STEP_SAMPLES / SAMPLE_RATE_HZ)
    usual = np.median(height) + 1e-9
    return beats_s + offset_s + ONSET_LAG_S, height / (height + usual)


def _rises(samples: np.ndarray, beats_s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Rise of the log spectrum around each beat [shape=(n_beats, n_lags)], and the lags."""
    from scipy import fft

    window = np.hanning(WINDOW_SAMPLES + 1)[:-1]
    window = (window * 2 / window.sum()).astype(np.float32)
    reach = int(REACH_S * SAMPLE_RATE_HZ / STEP_SAMPLES) + RISE_STEPS
    lags = np.arange(-reach, reach + 1) * STEP_SAMPLES
    half = reach * STEP_SAMPLES + WINDOW_SAMPLES // 2
    rise = np.empty((len(beats_s), len(lags) - 2 * RISE_STEPS), dtype=np.float32)
    beats = np.rint(beats_s * SAMPLE_RATE_HZ).astype(np.int64)
    for start in range(0, len(beats), BEATS_AT_ONCE):
        here = slice(start, start + BEATS_AT_ONCE)
        near = np.stack([padded_slice(samples, b - half, b + half) for b in beats[here]])
        frames = np.lib.stride_tricks.sliding_window_view(near, WINDOW_SAMPLES, axis=1)
        spectrum = fft.rfft(frames[:, ::STEP_SAMPLES] * window, axis=2)[..., 1 : TOP_BINS + 1]
        level = log_level(np.abs(spectrum), LOG_GAIN)
        rises = np.maximum(level[:, 2 * RISE_STEPS :] - level[:, : -2 * RISE_STEPS], 0)
        rise[here] = rises.mean(axis=2)
    return rise, lags[RISE_STEPS:-RISE_STEPS] / SAMPLE_RATE_HZ


def _peak_shift(rows: np.ndarray, peak: np.ndarray) -> np.ndarray:
    """Where between steps a parabola through the peak has its top (-0.5 to 0.5)."""
    at = np.clip(peak, 1, rows.shape[1] - 2)
    row = np.arange(len(rows))
    left, top, right = rows[row, at - 1], rows[row, at], rows[row, at + 1]
    bend = left - 2 * top + right
    shift = 0.5 * (left - right) / np.where(bend < -1e-9, bend, -1e-9)
    return np.where(peak == at, np.clip(shift, -0.5, 0.5), 0.0)


def _graduate(onsets_s: np.ndarray, clearness: np.ndarray, smoothness: float) -> np.ndarray:
    """Whittaker smoothing, twice: the second time outliers count less."""
    smooth = _solve_smooth(onsets_s, clearness**2, smoothness)
    distance = np.abs(onsets_s - smooth) / (2 * ROBUST_S)
    return _solve_smooth(onsets_s, clearness**2 / (1 + distance**2), smoothness)


def _solve_smooth(values: np.ndarray, weights: np.ndarray, smoothness: float) -> np.ndarray:
    """Minimise sum w (x - v)^2 + smoothness * sum (second difference of x)^2."""
    from scipy.linalg import solveh_banded

    n = len(values)
    if n < 3:
        return values.copy()
    bands = np.zeros((3, n))  # upper form: row 2 the diagonal, rows 1, 0 those above
    bands[2] = weights + 1e-3
    for column, part in enumerate((1.0, -2.0, 1.0)):
        bands[2, column : n - 2 + column] += smoothness * part * part
    bands[1, 1 : n - 1] += -2.0 * smoothness
    bands[1, 2:n] += -2.0 * smoothness
    bands[0, 2:] += smoothness
    return solveh_banded(bands, (weights + 1e-3) * values)


def _fit_lines(onsets_s: np.ndarray, clearness: np.ndarray, smooth: np.ndarray) -> np.ndarray:
    """Put beats on straight pieces; onsets far from the smooth course count little."""
    weights = clearness**2 / (1 + (np.abs(onsets_s - smooth) / ROBUST_S) ** 2)
    starts = fit_segments(
        onsets_s / ROBUST_S, weights, piece_cost=PIECE_COST, min_length=MIN_PIECE_BEATS
    )
    lines = np.empty_like(onsets_s)
    for start, stop in zip(starts, [*starts[1:], len(onsets_s)], strict=True):
        at = np.arange(start, stop)
        lines[start:stop] = np.polyval(np.polyfit(at, onsets_s[at], 1, w=np.sqrt(weights[at])), at)
    return lines


def _increasing(beat_times_s: np.ndarray, fallback_s: np.ndarray) -> np.ndarray:
    """Keep the coarse beats where refining would put them out of order."""
    return beat_times_s if np.all(np.diff(beat_times_s) > 0) else fallback_s
