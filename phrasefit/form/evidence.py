"""What form is found from: timbre, harmony, loudness and attacks, one row a beat.

Small enough to be kept beside a bar map (about 40 kB of JSON a song), so that form
can be found again on corrected bars without the audio.  Values are rounded to half
precision at once: form found from kept evidence equals form found the first time.
"""

from __future__ import annotations

import base64
from dataclasses import dataclass
from typing import Any

import numpy as np

from phrasefit.errors import CacheError, ParameterError
from phrasefit.model import Features

N_TIMBRE = 20  # cosine coefficients of the log-mel spectrum: coarse shape, no single notes
N_MEL = 96  # bands of that spectrum
N_FLUX = 4  # low attack in the first and second half of a beat, then high attack likewise
N_LOW_BANDS, N_HIGH_BANDS = 2, 2  # onset bands up to 220 Hz, and above 1.76 kHz
EARLY_S = 0.03  # a beat's attack may begin a frame before the beat
_COLUMNS = {"timbre": N_TIMBRE, "harmony": 12, "loudness_db": 1, "flux": N_FLUX}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BeatEvidence:
    """Features averaged from each beat to the next.

    `timbre` [shape=(n, N_TIMBRE)]; `harmony` [shape=(n, 12), C first]; `loudness_db`
    [shape=(n,), dB]; `flux` [shape=(n, N_FLUX), >= 0].  Row `i` covers beat `i`; all
    are float32 holding values of half precision.
    """

    timbre: np.ndarray
    harmony: np.ndarray
    loudness_db: np.ndarray
    flux: np.ndarray

    def __post_init__(self) -> None:
        n = len(self.loudness_db)
        for name, n_columns in _COLUMNS.items():
            array = np.array(getattr(self, name), dtype=np.float16).astype(np.float32)
            expected = (n,) if name == "loudness_db" else (n, n_columns)
            if array.shape != expected:
                raise ParameterError(
                    f"{name} has shape {array.shape} and must have {expected}: one row a beat"
                )
            array.setflags(write=False)
            object.__setattr__(self, name, array)

    @property
    def n_beats(self) -> int:
        """Beats covered."""
        return self.loudness_db.size

    def require_beats(self, n_beats: int) -> None:
        """Refuse a map with another number of beats.

        Raises
        ------
        ParameterError
            Names both numbers.
        """
        if self.n_beats != n_beats:
            raise ParameterError(
                f"evidence has {self.n_beats} beats and the map {n_beats};"
                " use the evidence found with this map"
            )

    def to_dict(self) -> dict[str, Any]:
        """Write as JSON values: base64 of little-endian half-precision numbers."""
        packed = {name: _pack(getattr(self, name)) for name in _COLUMNS}
        return {"n_beats": self.n_beats, **packed}

    @classmethod
    def from_dict(cls, data: dict[str, Any]) -> BeatEvidence:
        """Read what `to_dict` wrote.

        Raises
        ------
        CacheError
            If a part is missing or has a wrong size.
        """
        try:
            n = int(data["n_beats"])
            arrays = {name: _unpack(data[name], n, width) for name, width in _COLUMNS.items()}
            arrays["loudness_db"] = arrays["loudness_db"][:, 0]
            return cls(**arrays)
        except (KeyError, TypeError, ValueError) as exc:
            raise CacheError(
                "the kept evidence of the song is damaged; listen again with --no-cache"
            ) from exc


def _pack(array: np.ndarray) -> str:
    return base64.b64encode(array.astype("<f2").tobytes()).decode("ascii")


def _unpack(text: str, n_rows: int, n_columns: int) -> np.ndarray:
    numbers = np.frombuffer(base64.b64decode(text, validate=True), dtype="<f2")
    return numbers.reshape(n_rows, n_columns)


def beat_evidence(features: Features, beat_times_s: np.ndarray) -> BeatEvidence:
    """Average the features over each beat.

    Parameters
    ----------
    features : Features
        All arrays are used.
    beat_times_s : np.ndarray [shape=(n,), seconds, strictly increasing]
        The last beat is taken to be as long as the median one.

    Returns
    -------
    BeatEvidence
        `n` rows; a beat outside the features gets the nearest frame.
    """
    from scipy.fft import dct

    beats = np.asarray(beat_times_s, dtype=np.float64)
    if not beats.size:
        return BeatEvidence(
            timbre=np.zeros((0, N_TIMBRE)),
            harmony=np.zeros((0, 12)),
            loudness_db=np.zeros(0),
            flux=np.zeros((0, N_FLUX)),
        )
    ends = np.append(beats[1:], beats[-1] + (np.median(np.diff(beats)) if beats.size > 1 else 0.5))
    halves = np.append(np.stack([beats, (beats + ends) / 2], axis=1).ravel(), ends[-1])
    edges = np.rint((halves - EARLY_S - features.start_s) / features.hop_s).astype(int)
    whole = edges[::2]
    mel = _means(features.log_mel, whole)
    low = features.onset_envelope[:, :N_LOW_BANDS].mean(axis=1)
    high = features.onset_envelope[:, -N_HIGH_BANDS:].mean(axis=1)
    attacks = [_peaks(band, edges).reshape(-1, 2) for band in (low, high)]
    return BeatEvidence(
        timbre=dct(mel, norm="ortho", axis=1)[:, :N_TIMBRE],
        harmony=_means(features.chroma, whole),
        loudness_db=_means(features.loudness_db[:, None], whole)[:, 0],
        flux=np.concatenate(attacks, axis=1),
    )


def spectrum_of(evidence: BeatEvidence) -> np.ndarray:
    """Turn the timbre of each beat back into a coarse log-mel spectrum [shape=(n, N_MEL)]."""
    from scipy.fft import idct

    return idct(evidence.timbre, n=N_MEL, norm="ortho", axis=1)


def _spans(n_frames: int, edges: np.ndarray) -> np.ndarray:
    """Clip frame edges; two a span, so that `reduceat` sees no frame after the last."""
    first = np.clip(edges[:-1], 0, n_frames - 1)
    last = np.clip(edges[1:], first + 1, n_frames)
    return np.stack([first, last], axis=1).ravel()


def _means(rows: np.ndarray, edges: np.ndarray) -> np.ndarray:
    spans = _spans(len(rows), edges)
    padded = np.concatenate([rows, rows[-1:]])
    sums = np.add.reduceat(padded, spans, axis=0)[::2]
    return sums / np.diff(spans)[::2, None]


def _peaks(values: np.ndarray, edges: np.ndarray) -> np.ndarray:
    padded = np.append(values, 0.0)
    return np.maximum.reduceat(padded, _spans(values.size, edges))[::2]


def resample_evidence(
    evidence: BeatEvidence, old_beats_s: np.ndarray, new_beats_s: np.ndarray
) -> BeatEvidence:
    """Carry evidence over to other beats of the same song (half, double).

    Parameters
    ----------
    evidence : BeatEvidence
        One row for each of `old_beats_s`.
    old_beats_s, new_beats_s : np.ndarray [seconds, strictly increasing]
        Beats before and after the correction.

    Returns
    -------
    BeatEvidence
        Each new beat gets the average of the old half beats it covers, and of their
        attacks the strongest; a midpoint gets the half beat it begins with.

    Raises
    ------
    ParameterError
        If `evidence` does not have one row for each old beat.
    """
    old, new = np.asarray(old_beats_s, float), np.asarray(new_beats_s, float)
    evidence.require_beats(old.size)
    if not old.size or not new.size:
        return _rows(evidence, np.zeros(0, dtype=int))
    ends = np.append(old[1:], 2 * old[-1] - old[-2] if old.size > 1 else old[-1] + 0.5)
    halves = np.append(np.stack([old, (old + ends) / 2], axis=1).ravel(), ends[-1])
    new_ends = np.append(new[1:], max(ends[-1], new[-1] + 1e-6))
    new_halves = np.append(np.stack([new, (new + new_ends) / 2], axis=1).ravel(), new_ends[-1])
    tolerance_s = 1e-6  # what lies half-way belongs to the earlier half beat
    edges = np.searchsorted((halves[:-1] + halves[1:]) / 2, new_halves - tolerance_s)
    by_half = {
        name: np.repeat(getattr(evidence, name), 2, axis=0) for name in ("timbre", "harmony")
    }
    loudness = np.repeat(evidence.loudness_db, 2)[:, None]
    attacks = [evidence.flux[:, :2].ravel(), evidence.flux[:, 2:].ravel()]
    return BeatEvidence(
        **{name: _means(rows, edges[::2]) for name, rows in by_half.items()},
        loudness_db=_means(loudness, edges[::2])[:, 0],
        flux=np.concatenate([_peaks(a, edges).reshape(-1, 2) for a in attacks], axis=1),
    )


def _rows(evidence: BeatEvidence, rows: np.ndarray) -> BeatEvidence:
    return BeatEvidence(**{name: getattr(evidence, name)[rows] for name in _COLUMNS})
