"""Features: scales, alignment in time, and agreement with librosa's filters."""

from __future__ import annotations

import librosa
import numpy as np
import pytest

from phrasefit.audio import HOP_LENGTH, N_FFT, N_MELS, SAMPLE_RATE_HZ
from phrasefit.audio.features import (
    CHUNK_FRAMES,
    extract_features,
    log_mel,
    mel_centers_hz,
    onset_envelope,
    padded_slice,
)
from phrasefit.model import Audio, SongInfo


def audio_of(samples: np.ndarray) -> Audio:
    """Wrap samples."""
    return Audio(samples=samples.astype(np.float32), sample_rate_hz=SAMPLE_RATE_HZ, info=SongInfo())


def tone(hz: float, length_s: float = 1.0, level: float = 1.0) -> np.ndarray:
    """A sine."""
    return level * np.sin(
        2 * np.pi * hz * np.arange(int(length_s * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ
    )


def test_full_scale_sine_is_about_one() -> None:
    """A full-scale sine has a magnitude of about 1 in its mel band."""
    magnitude = np.expm1(log_mel(tone(1000))[25]) / 1000

    assert magnitude.max() == pytest.approx(1.0, abs=0.2)
    assert mel_centers_hz()[magnitude.argmax()] == pytest.approx(1000, rel=0.05)


def test_mel_bands_are_those_of_librosa() -> None:
    """Band centres equal librosa's Slaney scale, the field's reference library."""
    expected = librosa.mel_frequencies(N_MELS + 2, fmin=30, fmax=10_000, htk=False)[1:-1]

    assert mel_centers_hz() == pytest.approx(expected)


def test_log_mel_is_that_of_librosa() -> None:
    """The whole spectrum equals librosa's, built from the definition."""
    samples = np.random.default_rng(0).normal(scale=0.1, size=SAMPLE_RATE_HZ).astype(np.float32)
    stft = librosa.stft(samples, n_fft=N_FFT, hop_length=HOP_LENGTH, pad_mode="constant")
    bands = librosa.filters.mel(
        sr=SAMPLE_RATE_HZ, n_fft=N_FFT, n_mels=N_MELS, fmin=30, fmax=10_000, norm=None
    )
    expected = np.log1p(1000 * bands @ np.abs(stft) * 2 / (N_FFT / 2)).T

    found = log_mel(samples)

    assert np.abs(found - expected[: len(found)]).max() < 0.01


def test_frames_are_centred_on_their_time() -> None:
    """A click at frame 30 is strongest, and symmetric, around frame 30."""
    samples = np.zeros(SAMPLE_RATE_HZ)
    samples[30 * HOP_LENGTH] = 1.0

    energy = log_mel(samples).sum(axis=1)

    assert energy.argmax() == 30
    assert energy[29] == pytest.approx(energy[31], rel=1e-3)


def test_shapes_and_ranges() -> None:
    """One row a frame in every feature, nothing negative, chroma sums to 1."""
    features = extract_features(audio_of(tone(440, 2.0, 0.5)))

    n = 1 + 2 * SAMPLE_RATE_HZ // HOP_LENGTH
    assert features.log_mel.shape == (n, N_MELS)
    assert len(features.onset_envelope) == len(features.chroma) == len(features.loudness_db) == n
    assert min(features.log_mel.min(), features.onset_envelope.min()) >= 0
    assert features.chroma[50].sum() == pytest.approx(1.0, abs=1e-3)


def test_chroma_names_the_pitch_class() -> None:
    """A440 is pitch class 9 when C is 0."""
    assert extract_features(audio_of(tone(440))).chroma[20].argmax() == 9


def test_loudness_of_a_full_scale_sine() -> None:
    """A full-scale sine has -3 dB; silence stays finite."""
    loud = extract_features(audio_of(tone(440))).loudness_db[25]
    silent = extract_features(audio_of(np.zeros(SAMPLE_RATE_HZ))).loudness_db

    assert loud == pytest.approx(-3.0, abs=0.3)
    assert silent.max() <= -100.0


def test_shorter_than_a_frame() -> None:
    """Even one sample gives one frame."""
    assert extract_features(audio_of(np.ones(1))).log_mel.shape == (1, N_MELS)


@pytest.mark.parametrize(("first", "stop"), [(-3, 2), (4, 9), (1, 4), (-9, -5), (7, 12), (-2, 8)])
def test_beyond_the_ends_there_is_silence(first: int, stop: int) -> None:
    """A slice is as long as asked for, wherever it lies."""
    samples = np.arange(1, 7, dtype=np.float32)
    expected = [samples[i] if 0 <= i < 6 else 0 for i in range(first, stop)]

    assert padded_slice(samples, first, stop).tolist() == expected


def test_onsets_do_not_depend_on_chunks() -> None:
    """The rise from the last frame of a chunk to the first of the next is there."""
    mel = np.random.default_rng(1).random((CHUNK_FRAMES + 3, N_MELS), dtype=np.float32)

    assert np.allclose(onset_envelope(mel)[-4:], onset_envelope(mel[-5:])[-4:])
