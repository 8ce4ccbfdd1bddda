"""Features: scales, alignment in time, and agreement with librosa's filters."""

from __future__ import annotations

import librosa
import numpy as np
import pytest

from phrasefit.audio import HOP_LENGTH, N_FFT, N_MELS, SAMPLE_RATE_HZ
from phrasefit.audio.features import (
    BEGINS_DB,
    CHUNK_FRAMES,
    LEAD_SAMPLES,
    extract_features,
    first_sample,
    log_mel,
    mel_centers_hz,
    music_begins,
    onset_envelope,
    opens_s,
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


@pytest.mark.parametrize("cents", [-50, -32, 0, 20, 68])
def test_pitch_classes_are_those_of_the_songs_own_tuning(cents: int) -> None:
    """A fifth between A440 and E stays a fifth, as clear as in tune, at any speed."""
    speed = 2 ** (cents / 1200)

    chroma = extract_features(audio_of(tone(440 * speed) + tone(659.26 * speed))).chroma[20]

    low, high = np.sort(chroma.argsort()[-2:])
    assert high - low in (5, 7)
    assert chroma[[low, high]].sum() > 0.85


@pytest.mark.parametrize("lead", [0, 1, 3000, 3 * CHUNK_FRAMES * HOP_LENGTH + 7])
def test_a_lead_moves_frames_along(lead: int) -> None:
    """Silence or hiss before the music changes nothing but when it begins."""
    music = tone(440, 2.0) * np.linspace(0.2, 1.0, 2 * SAMPLE_RATE_HZ)
    hiss = np.random.default_rng(0).normal(scale=10 ** (BEGINS_DB / 20) / 3, size=lead)
    plain, late = audio_of(music), audio_of(np.append(hiss, music))

    here, there = first_sample(plain.samples), first_sample(late.samples)

    assert here == pytest.approx(-LEAD_SAMPLES, abs=20)
    assert there - lead == pytest.approx(here, abs=20)
    found = [extract_features(a, first) for a, first in ((plain, here), (late, lead + here))]
    assert found[1].start_s - found[0].start_s == pytest.approx(lead / SAMPLE_RATE_HZ)
    assert len(found[0].log_mel) == len(found[1].log_mel)
    assert np.allclose(found[0].log_mel[20:], found[1].log_mel[20:], atol=0.01)


def test_where_nothing_is_loud_enough_no_music_begins() -> None:
    """Silence, hiss and no samples at all: frames are counted from the first sample."""
    for level in (0.0, 10 ** (BEGINS_DB / 20) / 2):
        assert music_begins(tone(440, 3.0, level)) is None
    assert first_sample(np.zeros(0, np.float32)) == 0


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


@pytest.mark.parametrize(("lead_s", "opens"), [(0.0, False), (0.025, False), (0.06, True)])
def test_a_file_opens_with_its_song_after_silence(
    rng: np.random.Generator, lead_s: float, opens: bool
) -> None:
    """At once, or after what an encoder puts before, a file may begin anywhere in a song."""
    lead = np.zeros(round(lead_s * SAMPLE_RATE_HZ))
    noise = 0.1 * rng.standard_normal(SAMPLE_RATE_HZ)
    found = opens_s(audio_of(np.concatenate([lead, noise])))

    assert (found is not None) == opens
    assert found is None or found == pytest.approx(lead_s, abs=0.002)
