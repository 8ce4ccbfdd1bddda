"""Training songs: truth agrees with the sound, everything follows from the seed."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from scipy.signal import stft

from phrasefit.errors import ParameterError
from phrasefit.training.material import FOLDER_VARIABLE
from phrasefit.training.songs import (
    FAMILIES,
    FAMILY_PURPOSES,
    SAMPLE_RATE_HZ,
    TrainingSong,
    make_song,
)

# A minute of making songs; `.ci/training` takes it, where the group `training` is installed.
pytest.importorskip("torch", reason="only with the group training, as in .ci/training")

DRUM_FAMILIES = ("pop", "rock", "country", "groove", "latin")


@pytest.fixture(autouse=True)
def own_material(monkeypatch: pytest.MonkeyPatch) -> None:
    """Songs of these tests need nothing installed: own composer and synthesis only."""
    monkeypatch.delenv(FOLDER_VARIABLE, raising=False)


@cache
def song_of(family: str, *, held_out: bool) -> TrainingSong:
    """Make a short song of a family, once for all tests: playing takes the time here."""
    seed = 2 * list(FAMILIES).index(family) + held_out
    return make_song(seed, family=family, duration_s=8, held_out=held_out)


def onset_curve(samples: np.ndarray) -> tuple[float, np.ndarray]:
    """Mean rise of log energy over bands every millisecond: (step [s], curve)."""
    hop = 22
    _, _, spectrum = stft(samples, SAMPLE_RATE_HZ, nperseg=256, noverlap=256 - hop)
    level = np.log1p(300 * np.abs(spectrum))
    rise = np.maximum(np.diff(level, axis=1, prepend=level[:, :1]), 0).mean(axis=0)
    return hop / SAMPLE_RATE_HZ, np.convolve(rise, np.hanning(9) / 4, "same")


def offset_ms(samples: np.ndarray, beats_s: np.ndarray) -> float:
    """Where onsets peak around the true beats, on average over the song [ms]."""
    step_s, curve = onset_curve(samples)
    places = np.round(beats_s / step_s).astype(int)
    lags = np.arange(-60, 61)
    around = [curve[np.clip(places + lag, 0, curve.size - 1)].mean() for lag in lags]
    return float(lags[int(np.argmax(around))] * step_s * 1000)


def test_onsets_fall_on_true_beats() -> None:
    """Over drum families the median offset of onsets from the truth is within 5 ms."""
    offsets = []
    for number, family in enumerate(DRUM_FAMILIES * 2):
        song = make_song(number, family=family, duration_s=16)
        beats = song.truth.beats_s
        offsets.append(offset_ms(song.samples, beats[(beats > 0.2) & (beats < 15.5)]))

    assert abs(np.median(offsets)) <= 5.0
    assert np.mean(np.abs(offsets) <= 20.0) >= 0.8


def test_same_seed_same_song() -> None:
    """Two calls give the same samples and the same truth; another seed gives others."""
    one, again, other = (make_song(seed, duration_s=8) for seed in (5, 5, 6))

    np.testing.assert_array_equal(one.samples, again.samples)
    np.testing.assert_array_equal(one.truth.beats_s, again.truth.beats_s)
    assert one.samples.shape != other.samples.shape or np.any(one.samples != other.samples)


@pytest.mark.parametrize("family", FAMILIES)
def test_every_family_makes_valid_songs(family: str) -> None:
    """Samples are finite, loud and not clipped; beats, bars and phrases are consistent."""
    for held_out in (False, True):
        song = song_of(family, held_out=held_out)
        truth = song.truth

        assert song.samples.dtype == np.float32
        assert np.all(np.isfinite(song.samples))
        assert 0.05 < np.abs(song.samples).max() <= 1.0
        assert np.all(np.diff(truth.beats_s) > 0.15)
        assert truth.beats_s.shape == truth.positions.shape == truth.audible.shape
        steps = np.diff(truth.positions)
        assert np.all((steps == 1) | (truth.positions[1:] == 1))
        assert all(truth.positions[beat] == 1 for beat in truth.phrase_starts)
        assert family in FAMILY_PURPOSES


def test_excerpts_start_anywhere_in_a_bar() -> None:
    """The first beat of an excerpt is often not a downbeat, as in real clips."""
    both = (False, True)
    songs = [song_of(family, held_out=held_out) for family in FAMILIES for held_out in both]
    firsts = [int(song.truth.positions[0]) for song in songs]

    assert len(set(firsts)) >= 3
    assert np.mean(np.array(firsts) > 1) > 1 / 3


def test_bad_arguments_are_named() -> None:
    """Unknown families and lengths out of range say what is allowed."""
    with pytest.raises(ParameterError, match="choose one of pop, rock"):
        make_song(1, family="opera")
    with pytest.raises(ParameterError, match="between 5 and"):
        make_song(1, duration_s=1.0)
