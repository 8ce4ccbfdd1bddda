"""Short music is heard several times, and what is heard lies where the music is."""

from __future__ import annotations

import numpy as np
import pytest

from phrasefit.audio import HOP_S, N_MELS
from phrasefit.meter.hearings import BENDS, SHORT_S, Bend, hear_bends, hear_bent
from phrasefit.meter.learned import LearnedModel
from phrasefit.model import Features

LOUD_BAND, N_FRAMES = 40, 1000


def knocks() -> np.ndarray:
    """A log-mel spectrum with one sound in one band every 50 frames [shape=(n, N_MELS)]."""
    mel = np.zeros((N_FRAMES, N_MELS), dtype=np.float32)
    mel[25::50, LOUD_BAND] = 5.0
    return mel


def loudest(mel: np.ndarray) -> np.ndarray:
    """Hear a knock wherever there is sound in any band [shape=(n, 1)]."""
    return np.clip(mel.max(axis=1, keepdims=True), 0.01, 0.99)


@pytest.mark.parametrize("bend", BENDS)
def test_what_is_heard_lies_where_it_was_played(bend: Bend) -> None:
    """Played faster or slower, knocks come back at their own frames, and nothing between."""
    heard = hear_bent(loudest, knocks(), bend)[:, 0]

    assert heard.shape == (N_FRAMES,)
    peaks = [int(heard[first : first + 50].argmax()) + first for first in range(0, 950, 50)]
    assert np.abs(np.array(peaks) - np.arange(25, 975, 50)).max() <= 1
    assert np.median(heard) == pytest.approx(0.01)


def test_bends_are_of_tempo_of_pitch_and_of_tone() -> None:
    """Faster is shorter, lower is in a lower band, and the tilt lifts one end of the bands."""
    given: list[np.ndarray] = []

    def listen(mel: np.ndarray) -> np.ndarray:
        given.append(mel)
        return loudest(mel)

    hear_bends(listen, knocks() + 1.0)

    for bend, mel in zip(BENDS, given, strict=True):
        assert np.sign(len(given[0]) - len(mel)) == np.sign(bend.tempo - 1)
        moved = int(mel.max(axis=0).argmax()) - LOUD_BAND
        assert moved == pytest.approx(-bend.bands, abs=0.5)
        assert np.sign(mel[0, -1] - mel[0, 0]) == np.sign(bend.tilt)


def test_the_mean_is_of_log_odds() -> None:
    """Three of five hearings that are sure outvote two that are as sure of the contrary."""
    answers = iter((0.9, 0.9, 0.9, 0.1, 0.1))

    heard = hear_bends(lambda mel: np.full((len(mel), 1), next(answers)), knocks())

    assert heard == pytest.approx(1 / (1 + 1 / 9 ** (1 / 5)))


@pytest.mark.parametrize(("seconds", "n_hearings"), [(SHORT_S, len(BENDS)), (SHORT_S + 1, 1)])
def test_only_short_music_is_heard_often(seconds: float, n_hearings: int) -> None:
    """A song is heard once: over its length errors even out, and five hearings cost five."""
    counted = 0

    class Counting(LearnedModel):
        def probabilities(self, log_mel: np.ndarray) -> np.ndarray:
            nonlocal counted
            counted += 1
            return np.full((len(log_mel), 3), 0.5, dtype=np.float32)

        def fused(self, own, features):
            return own

    n_frames = round(seconds / HOP_S)
    Counting().observe(silent_features(n_frames))

    assert counted == n_hearings


def silent_features(n_frames: int) -> Features:
    """Features of so many frames of silence."""
    return Features(
        hop_s=HOP_S,
        log_mel=np.zeros((n_frames, N_MELS), dtype=np.float32),
        onset_envelope=np.zeros((n_frames, 7), dtype=np.float32),
        chroma=np.zeros((n_frames, 12), dtype=np.float32),
        loudness_db=np.zeros(n_frames, dtype=np.float32),
    )
