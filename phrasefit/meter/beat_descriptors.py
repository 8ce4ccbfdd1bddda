"""What is heard at each beat and between beats: tempo-free descriptors.

A drum pattern looks the same at 80 and at 160 beats a minute once it is looked at
in beats.  Beat times are given in frames (fractions allowed).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from phrasefit.meter.handmade import (
    cosine_distance,
    harmony_change,
    relative_onsets,
    running_sum,
    span_means,
)
from phrasefit.meter.observe import Activations, beat_gain, downbeat_log_odds
from phrasefit.model import Features

# Places within a beat: on it, and where halves, thirds and quarters of it fall.
PLACES = np.array([0, 1 / 4, 1 / 3, 1 / 2, 2 / 3, 3 / 4])
ON, QUARTER, HALF, LAST_QUARTER = 0, 1, 3, 5
N_BASS_BANDS = 8  # mel bands up to about 300 Hz
HARMONY_SPAN_FRAMES = 20
CONTEXT_BEATS = 4  # a bar to each side
GAIN_RANGE = (-4.0, 8.0)
SUM_STEP = 4  # frames from one kept sum to the next


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FrameEvidence:
    """The song's frames, prepared once for looking things up at beats.

    `gain` [shape=(n_frames,)] is the log odds of a beat and `downbeat` those of a downbeat
    if there is a beat; `gain_near` and `onsets` [shape=(n_frames, n_bands)] hold the
    largest value within one frame to each side; `change` is the change of harmony;
    `mel_sum` and `chroma_sum` add up frames.
    """

    hop_s: float
    gain: np.ndarray
    gain_near: np.ndarray
    downbeat: np.ndarray
    onsets: np.ndarray
    change: np.ndarray
    mel_sum: FrameSums
    chroma_sum: FrameSums

    def part(self, begin: int, end: int) -> FrameEvidence:
        """Give the frames from `begin` to before `end` as if they were a song."""
        part = slice(begin, end)
        return FrameEvidence(
            hop_s=self.hop_s,
            gain=self.gain[part],
            gain_near=self.gain_near[part],
            downbeat=self.downbeat[part],
            onsets=self.onsets[part],
            change=self.change[part],
            mel_sum=self.mel_sum.part(part),
            chroma_sum=self.chroma_sum.part(part),
        )


class FrameSums:
    """Sums of the first 0, 1, 2 ... rows, each in double precision.

    One in `SUM_STEP` is kept: all would take twice the memory of the rows themselves.

    Parameters
    ----------
    rows : np.ndarray [shape=(n_rows, n_columns)]
    """

    def __init__(self, rows: np.ndarray) -> None:
        self._rows = rows
        whole = rows[: len(rows) // SUM_STEP * SUM_STEP].reshape(-1, SUM_STEP, rows.shape[1])
        self._kept = running_sum(whole.sum(axis=1, dtype=np.float64))

    def __len__(self) -> int:
        return len(self._rows)

    def part(self, rows: slice) -> FrameSums:
        """Sums of some of the rows alone."""
        return FrameSums(self._rows[rows])

    def before(self, ends: np.ndarray) -> np.ndarray:
        """Sum of the rows before each of `ends` [shape=(len(ends), n_columns)]."""
        kept, beyond = np.divmod(ends, SUM_STEP)
        total = self._kept.take(kept, axis=0)
        for extra in range(SUM_STEP - 1):
            some = np.flatnonzero(beyond > extra)
            total[some] += self._rows.take(kept[some] * SUM_STEP + extra, axis=0)
        return total


def prepare_evidence(features: Features, activations: Activations) -> FrameEvidence:
    """Widen peaks by a frame, so that rounding a beat to a frame does no harm."""
    gain = beat_gain(activations)
    return FrameEvidence(
        hop_s=features.hop_s,
        downbeat=downbeat_log_odds(activations),
        mel_sum=FrameSums(features.log_mel),
        chroma_sum=FrameSums(features.chroma),
        gain=gain,
        gain_near=_widen(gain[:, None])[:, 0],
        onsets=_widen(relative_onsets(features)),
        change=harmony_change(features.chroma, HARMONY_SPAN_FRAMES),
    )


def onsets_in_beats(heard: FrameEvidence, beats: np.ndarray) -> np.ndarray:
    """Onsets at `PLACES` after each beat but the last [shape=(n_beats - 1, 6, n_bands)]."""
    at = beats[:-1, None] + PLACES * np.diff(beats)[:, None]
    return heard.onsets[nearest_frames(at, len(heard.onsets))]


def nearest_frames(at: np.ndarray, n_frames: int) -> np.ndarray:
    """Round to frames that exist."""
    return np.clip(np.rint(at).astype(np.int64), 0, n_frames - 1)


def describe_beats(
    heard: FrameEvidence, beats: np.ndarray, usual: tuple[np.ndarray, np.ndarray] | None = None
) -> np.ndarray:
    """Describe each beat by what a musician would listen for to find the one.

    Parameters
    ----------
    heard : FrameEvidence
    beats : np.ndarray [shape=(n_beats,), frames], at least 2
    usual : tuple of np.ndarray, optional
        Mean and spread of each column in the song, as from `usual_columns`; by default those
        of `beats`.

    Returns
    -------
    np.ndarray [shape=(n_beats, n_descriptors)]
        Columns: onsets by band on the beat, halfway, and at its quarters; change
        of chord over 1, 2 and 4 beats; change of bass over 1 and 2; change of sound over
        1, 4 and 8; beat gain; loudness.  Each is centred and scaled over the song.
    """
    columns = _heard_columns(heard, beats)
    mean, spread = usual or _mean_and_spread(columns)
    return (columns - mean) / spread


def usual_columns(heard: FrameEvidence, beats: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Mean and spread over `beats` of what `describe_beats` scales [shape=(n_descriptors,)]."""
    return _mean_and_spread(_heard_columns(heard, beats))


def _mean_and_spread(columns: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    return columns.mean(axis=0), columns.std(axis=0) + 1e-3


def _heard_columns(heard: FrameEvidence, beats: np.ndarray) -> np.ndarray:
    closed = np.append(beats, 2 * beats[-1] - beats[-2])
    onsets = onsets_in_beats(heard, closed)
    mel = mean_by_beat(heard.mel_sum, closed)
    sound = running_sum(mel)
    chroma = running_sum(mean_by_beat(heard.chroma_sum, closed))
    bass = running_sum(np.expm1(mel[:, :N_BASS_BANDS]))
    changes = [_turned(chroma, 1), _turned(chroma, 2), _turned(chroma, 4)]
    changes += [_turned(bass, 1), _turned(bass, 2)]
    changes += [_moved(sound, 1), _moved(sound, 4), _moved(sound, 8)]
    gain = heard.gain_near[nearest_frames(beats, len(heard.gain))]
    return np.hstack(
        [
            onsets[:, ON],
            onsets[:, HALF],
            np.maximum(onsets[:, QUARTER], onsets[:, LAST_QUARTER]),
            np.stack([*changes, np.clip(gain, *GAIN_RANGE), mel.mean(axis=1)], axis=1),
        ]
    )


def with_neighbors(rows: np.ndarray, reach: int = CONTEXT_BEATS) -> np.ndarray:
    """Lay the rows of `reach` beats to each side beside each row."""
    padded = np.pad(rows, ((reach, reach), (0, 0)))
    return np.hstack([padded[start : start + len(rows)] for start in range(2 * reach + 1)])


def mean_by_beat(frames: FrameSums, closed: np.ndarray) -> np.ndarray:
    """Average frames from each beat to the next."""
    edge = nearest_frames(closed, len(frames))
    start, stop = edge[:-1], np.maximum(edge[1:], edge[:-1] + 1)
    return (frames.before(stop) - frames.before(start)) / (stop - start)[:, None]


def _turned(total: np.ndarray, span: int) -> np.ndarray:
    """Change of direction: cosine distance of the next `span` beats from the last."""
    after, before = span_means(total, span)
    change = cosine_distance(after, before)
    change[0] = 0.0
    return change


def _moved(total: np.ndarray, span: int) -> np.ndarray:
    """Change of place: Euclidean distance of the next `span` beats from the last."""
    after, before = span_means(total, span)
    change = np.linalg.norm(after - before, axis=1)
    change[0] = 0.0
    return change


def _widen(rows: np.ndarray) -> np.ndarray:
    widened = rows.copy()
    np.maximum(widened[1:], rows[:-1], out=widened[1:])
    np.maximum(widened[:-1], rows[1:], out=widened[:-1])
    return widened
