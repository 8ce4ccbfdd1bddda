"""From `Audio` to `Features`: everything computed once.

All but the chroma comes from the one STFT.  Its window of 46 ms cannot tell neighbouring
semitones below 700 Hz, where the harmony lies; chroma has a window of 186 ms on a quarter
of the rate.  On made songs this finds 2-5 % more of the ones, for 5 % of the cost.  Pitch
classes are laid where the song's own lie (`tuning`): 4 % of speed are two thirds of a
semitone, which would smear every note over two of them.

Frames are counted from where the music begins (`first_sample`): silence before it, or
none, then changes nothing of what is heard.  Before the first and after the last sample
there is silence.  All is float32 and done in chunks of frames, so that memory does not
grow with the song beyond the features themselves.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import lru_cache

import numpy as np

from phrasefit.audio import HOP_LENGTH, HOP_S, N_FFT, N_MELS, SAMPLE_RATE_HZ
from phrasefit.model import Audio, Features

MEL_LOW_HZ, MEL_HIGH_HZ = 30.0, 10_000.0
LOG_GAIN = 1000.0  # lifts what is 60 dB under full scale to where log1p bends
CHUNK_FRAMES = 256  # with their spectra in the processor's cache
# Edges of the onset bands: sub-bass and kick, bass, low mids, snare body, voice,
# attack, cymbals.
ONSET_BAND_EDGES_HZ = (30.0, 110.0, 220.0, 440.0, 880.0, 1760.0, 4000.0, 10_000.0)
N_ONSET_BANDS = len(ONSET_BAND_EDGES_HZ) - 1
CHROMA_LOW_HZ, CHROMA_HIGH_HZ = 80.0, 2000.0
CHROMA_DECIMATION = 4  # to 5.5 kHz
CHROMA_STEP = 2  # frames: harmony does not change in 20 ms
CHROMA_WIDTH_SEMITONES = 0.4  # of the bell that gives a bin to its pitch class
TUNING_STEP = 16  # frames of chroma from one that tuning is heard from to the next
TUNING_LOW_HZ = 150.0  # below, a semitone is too narrow to place a note in it
SILENCE_DB = -100.0
# Music begins where 10 ms up to there are louder than this: 35 dB under the loudness that all
# songs are brought to, so that hiss before it is not taken for music.
BEGINS_DB = -52.5
BEGINS_SAMPLES = 220
# Of silence before the music: less is what an encoder may put before a piece cut from a song.
SILENT_LEAD_S = 0.03
LEAD_SAMPLES = SAMPLE_RATE_HZ // 4  # looked at before it: a first beat is seen to rise


def music_begins(samples: np.ndarray) -> int | None:
    """Find the first sample of the music; None if nothing is loud enough.

    Parameters
    ----------
    samples : np.ndarray [shape=(n,), float32]
        Mono at `SAMPLE_RATE_HZ`, of even loudness.
    """
    least = BEGINS_SAMPLES * 10 ** (BEGINS_DB / 10)
    step = CHUNK_FRAMES * HOP_LENGTH
    for start in range(0, len(samples), step):
        piece = padded_slice(samples, start - BEGINS_SAMPLES, min(start + step, len(samples)))
        total = np.cumsum(np.square(piece, dtype=np.float64))
        loud = total[BEGINS_SAMPLES:] - total[:-BEGINS_SAMPLES] > least
        if loud.any():
            return start + int(loud.argmax())
    return None


def opens_s(audio: Audio) -> float | None:
    """Tell when the music begins [s]; None if the file begins in the middle of it."""
    begins = music_begins(audio.samples)
    begins_s = 0.0 if begins is None else begins / audio.sample_rate_hz
    return begins_s if begins_s > SILENT_LEAD_S else None


def first_sample(samples: np.ndarray) -> int:
    """Find the sample that frames are counted from: a quarter of a second before the music.

    Negative where the music begins at once; 0 if there is none.
    """
    begins = music_begins(samples)
    return 0 if begins is None else begins - LEAD_SAMPLES


def extract_features(audio: Audio, first: int = 0) -> Features:
    """Compute log-mel spectrum, onset strength by band, chroma and loudness.

    Parameters
    ----------
    audio : Audio
        Mono samples at `SAMPLE_RATE_HZ`.
    first : int
        The sample that the first frame is centred on, as from `first_sample`.

    Returns
    -------
    Features
        `log_mel` [shape=(n_frames, N_MELS)], see `log_mel`; `onset_envelope`
        [shape=(n_frames, N_ONSET_BANDS), >= 0] mean rise of `log_mel` within each
        band over one frame; `chroma` [shape=(n_frames, 12), C first, each
        row sums to 1 or 0]; `loudness_db` [shape=(n_frames,), dB, full-scale sine = -3].
    """
    n_frames = _n_frames(audio.samples, first)
    mel = np.empty((n_frames, N_MELS), dtype=np.float32)  # pieces in a list would be there twice
    power = np.empty(n_frames, dtype=np.float32)
    start = 0
    for spectrum in _magnitudes(audio.samples, first):
        here = slice(start, start + len(spectrum))
        mel[here] = log_level(spectrum @ _mel_weights(), LOG_GAIN)
        power[here] = np.einsum("ij,ij->i", spectrum, spectrum)
        start = here.stop
    mel.setflags(write=False)  # so that `Features` need not copy it
    power /= 2 * 1.5  # a Hann window spreads a sine's power over 1.5 bins
    loudness_db = 10 * np.log10(np.maximum(power, 10 ** (SILENCE_DB / 10)))
    return Features(
        hop_s=HOP_S,
        log_mel=mel,
        onset_envelope=onset_envelope(mel),
        chroma=_chroma(audio.samples, len(mel), first),
        loudness_db=loudness_db,
        start_s=first / SAMPLE_RATE_HZ,
    )


def log_mel(samples: np.ndarray) -> np.ndarray:
    """Compute the log-mel spectrum that trackers, learned ones too, look at.

    Parameters
    ----------
    samples : np.ndarray [shape=(n,), float32]
        Mono at `SAMPLE_RATE_HZ`, full scale = 1.

    Returns
    -------
    np.ndarray [shape=(1 + n // HOP_LENGTH, N_MELS), float32, >= 0]
        ``log1p(1000 * magnitude)``, where the magnitude in a band is about 1 for
        a full-scale sine; 96 triangles, equally wide on the mel scale of
        M. Slaney's Auditory Toolbox (1998, formula from memory), 30-10,000 Hz.
    """
    weights = _mel_weights()
    return np.concatenate([log_level(s @ weights, LOG_GAIN) for s in _magnitudes(samples)])


def log_level(magnitude: np.ndarray, gain: float) -> np.ndarray:
    """Compute ``log1p(gain * magnitude)``, right to the last digit of a float32 near 1.

    NumPy takes many logarithms at a time, but those of `log1p` one by one: six times the cost.
    """
    level = gain * magnitude
    level += 1
    return np.log(level, out=level)


def onset_envelope(mel: np.ndarray) -> np.ndarray:
    """Measure how much each frequency band rises from frame to frame.

    Parameters
    ----------
    mel : np.ndarray [shape=(n_frames, N_MELS)]
        Log-mel spectrum.

    Returns
    -------
    np.ndarray [shape=(n_frames, N_ONSET_BANDS), float32, >= 0]

    Notes
    -----
    The frame before is widened by one mel band to each side before subtracting, so
    that vibrato is not taken for a new note (the idea of S. Boeck and G. Widmer,
    "Maximum filter vibrato suppression for onset detection", 2013).
    """
    envelope = np.zeros((len(mel), N_ONSET_BANDS), dtype=np.float32)
    for start in range(1, len(mel), CHUNK_FRAMES):
        here = mel[start : start + CHUNK_FRAMES]
        before = mel[start - 1 : start - 1 + len(here)]
        widened = before.copy()
        np.maximum(widened[:, 1:], before[:, :-1], out=widened[:, 1:])
        np.maximum(widened[:, :-1], before[:, 1:], out=widened[:, :-1])
        envelope[start : start + len(here)] = band_means(np.maximum(here - widened, 0.0))
    return envelope


def band_means(mel: np.ndarray) -> np.ndarray:
    """Average mel bands within each onset band [shape=(n_frames, N_ONSET_BANDS)]."""
    return mel @ _band_weights()


def _magnitudes(samples: np.ndarray, first: int = 0) -> Iterator[np.ndarray]:
    """Yield |STFT| in chunks [shape=(<= CHUNK_FRAMES, N_FFT // 2 + 1)], sine = 1."""
    return _spectra(samples, first + np.arange(_n_frames(samples, first)) * HOP_LENGTH)


def _n_frames(samples: np.ndarray, first: int) -> int:
    """Count the frames from the one that is centred on sample `first`."""
    return 1 + (len(samples) - first) // HOP_LENGTH


def _chroma(samples: np.ndarray, n_frames: int, first: int) -> np.ndarray:
    """Share of each pitch class in each frame [shape=(n_frames, 12)]; silence has none."""
    import soxr

    slow = soxr.resample(samples, CHROMA_DECIMATION, 1, quality="MQ")
    at = first + np.arange(0, n_frames, CHROMA_STEP) * HOP_LENGTH
    centers = np.rint(at / CHROMA_DECIMATION).astype(np.int64)
    weights = _chroma_weights(tuning(_spectra(slow, centers[::TUNING_STEP])))
    chroma = np.concatenate([spectrum @ weights for spectrum in _spectra(slow, centers)])
    chroma /= np.maximum(chroma.sum(axis=1, keepdims=True), 1e-8)
    return np.repeat(chroma, CHROMA_STEP, axis=0)[:n_frames]


def tuning(spectra: Iterable[np.ndarray]) -> float:
    """Find how far a song's notes lie above those of 440 Hz [semitones, -0.5 to 0.5].

    `spectra` are magnitudes at the rate of chroma [shape=(n, N_FFT // 2 + 1)].  It is the
    mean direction of all spectral peaks, a semitone being a full turn, weighted by height.
    """
    bin_hz = SAMPLE_RATE_HZ / CHROMA_DECIMATION / N_FFT
    direction = 0j
    for spectrum in spectra:
        level = np.log(spectrum + 1e-6)
        inner = level[:, 1:-1]
        row, at = np.nonzero((inner > level[:, :-2]) & (inner >= level[:, 2:]))
        left, top, right = level[row, at], level[row, at + 1], level[row, at + 2]
        hz = (at + 1 + 0.5 * (left - right) / np.minimum(left - 2 * top + right, -1e-9)) * bin_hz
        known = (hz > TUNING_LOW_HZ) & (hz < CHROMA_HIGH_HZ)
        turns = 12 * np.log2(hz[known] / 440.0)
        direction += np.sum(np.exp(top[known] + 2j * np.pi * turns))
    return float(np.angle(direction)) / (2 * np.pi)


def _spectra(samples: np.ndarray, centers: np.ndarray) -> Iterator[np.ndarray]:
    """Yield magnitude spectra around samples `centers`, in chunks; a full-scale sine = 1."""
    from scipy import fft

    window = np.hanning(N_FFT + 1)[:-1]
    window = (window * 2 / window.sum()).astype(np.float32)
    for start in range(0, len(centers), CHUNK_FRAMES):
        at = np.minimum(centers[start : start + CHUNK_FRAMES], len(samples))
        piece = padded_slice(samples, at[0] - N_FFT // 2, at[-1] + N_FFT // 2)
        frames = np.lib.stride_tricks.sliding_window_view(piece, N_FFT)
        yield np.abs(fft.rfft(frames[at - at[0]] * window, axis=1, overwrite_x=True))


def padded_slice(samples: np.ndarray, first: int, stop: int) -> np.ndarray:
    """Cut out ``samples[first:stop]`` as float32, with silence where there are none."""
    inside = samples[max(first, 0) : max(stop, 0)].astype(np.float32, copy=False)
    if len(inside) == stop - first:
        return inside
    before = min(max(-first, 0), stop - first)
    return np.pad(inside, (before, stop - first - before - len(inside)))


# ------------------------------------------------------------ weight matrices


def _hz_to_mel(hz: np.ndarray | float) -> np.ndarray:
    """Slaney's scale: linear to 1 kHz (200/3 Hz a mel), then 27 mels for each factor 6.4."""
    hz = np.asarray(hz, dtype=np.float64)
    above = 15 + 27 * np.log(np.maximum(hz, 1000.0) / 1000.0) / np.log(6.4)
    return np.where(hz < 1000.0, hz * 3 / 200, above)


def _mel_to_hz(mel: np.ndarray) -> np.ndarray:
    above = 1000.0 * np.exp((np.maximum(mel, 15.0) - 15) * np.log(6.4) / 27)
    return np.where(mel < 15.0, mel * 200 / 3, above)


@lru_cache(maxsize=1)
def _mel_edges_hz() -> np.ndarray:
    low, high = _hz_to_mel(MEL_LOW_HZ), _hz_to_mel(MEL_HIGH_HZ)
    return _mel_to_hz(np.linspace(low, high, N_MELS + 2))


def mel_centers_hz() -> np.ndarray:
    """Centre frequency of each mel band [shape=(N_MELS,), Hz]."""
    return _mel_edges_hz()[1:-1]


@lru_cache(maxsize=1)
def _mel_weights() -> np.ndarray:
    """Triangles of height 1 [shape=(n_bins, N_MELS)]."""
    edges = _mel_edges_hz()
    bins_hz = np.fft.rfftfreq(N_FFT, 1 / SAMPLE_RATE_HZ)[:, None]
    rising = (bins_hz - edges[:-2]) / (edges[1:-1] - edges[:-2])
    falling = (edges[2:] - bins_hz) / (edges[2:] - edges[1:-1])
    return np.maximum(0.0, np.minimum(rising, falling)).astype(np.float32)


@lru_cache(maxsize=1)
def _band_weights() -> np.ndarray:
    """Which mel bands an onset band averages [shape=(N_MELS, N_ONSET_BANDS)]."""
    band_of = np.searchsorted(ONSET_BAND_EDGES_HZ, mel_centers_hz(), side="right") - 1
    member = band_of[:, None] == np.arange(N_ONSET_BANDS)
    return (member / member.sum(axis=0)).astype(np.float32)


def _chroma_weights(tuned: float) -> np.ndarray:
    """Share of each bin of the slower spectrum in the 12 pitch classes [shape=(n_bins, 12)]."""
    bins_hz = np.fft.rfftfreq(N_FFT, CHROMA_DECIMATION / SAMPLE_RATE_HZ)
    used = (bins_hz >= CHROMA_LOW_HZ) & (bins_hz <= CHROMA_HIGH_HZ)
    pitch = 69 - tuned + 12 * np.log2(np.where(used, bins_hz, 440.0) / 440.0)
    distance = (pitch[:, None] - np.arange(12) + 6) % 12 - 6
    weights = np.exp(-0.5 * (distance / CHROMA_WIDTH_SEMITONES) ** 2) * used[:, None]
    return weights.astype(np.float32)
