"""Evidence of form: one row a beat, kept small, carried over to other beats."""

from __future__ import annotations

import json

import numpy as np
import pytest

from phrasefit.errors import CacheError, ParameterError
from phrasefit.form.evidence import (
    N_FLUX,
    N_TIMBRE,
    BeatEvidence,
    beat_evidence,
    resample_evidence,
)
from phrasefit.model import Features

HOP_S = 0.02


def features_of(n_frames: int, rng: np.random.Generator) -> Features:
    return Features(
        hop_s=HOP_S,
        log_mel=rng.random((n_frames, 40)),
        onset_envelope=rng.random((n_frames, 7)),
        chroma=rng.random((n_frames, 12)),
        loudness_db=rng.random(n_frames) - 20,
    )


def evidence_of(n: int, rng: np.random.Generator) -> BeatEvidence:
    return BeatEvidence(
        timbre=rng.random((n, N_TIMBRE)),
        harmony=rng.random((n, 12)),
        loudness_db=rng.random(n),
        flux=rng.random((n, N_FLUX)),
    )


def assert_same(one: BeatEvidence, other: BeatEvidence, atol: float = 0.0) -> None:
    for name in ("timbre", "harmony", "loudness_db", "flux"):
        assert np.allclose(getattr(one, name), getattr(other, name), rtol=0, atol=atol), name


def test_rows_are_means_over_each_beat(rng: np.random.Generator) -> None:
    """Loudness and harmony of a beat are those of its frames, begun a little early."""
    features = features_of(200, rng)
    evidence = beat_evidence(features, np.array([0.5, 1.0, 1.5, 2.0]))
    frames = slice(round(0.97 / HOP_S), round(1.47 / HOP_S))

    assert evidence.n_beats == 4
    assert evidence.loudness_db[1] == pytest.approx(features.loudness_db[frames].mean(), abs=0.01)
    assert np.allclose(evidence.harmony[1], features.chroma[frames].mean(axis=0), atol=1e-3)


def test_attacks_fall_into_their_half_of_the_beat() -> None:
    """A low hit on the beat and a high one half-way land in columns 0 and 3."""
    onset = np.zeros((100, 7))
    onset[50, :2] = 1.0
    onset[63, -2:] = 1.0
    features = Features(
        hop_s=HOP_S,
        log_mel=np.zeros((100, 40)),
        onset_envelope=onset,
        chroma=np.zeros((100, 12)),
        loudness_db=np.zeros(100),
    )
    evidence = beat_evidence(features, np.array([0.5, 1.0, 1.5]))

    assert np.array_equal(evidence.flux[1], [1, 0, 0, 1])


@pytest.mark.parametrize("beats", [[], [1.0], [-0.01, 0.4], [3.5, 4.5, 9.0]])
def test_edges_do_no_harm(beats: list[float], rng: np.random.Generator) -> None:
    """No beat, one beat, beats before the first and after the last frame."""
    evidence = beat_evidence(features_of(200, rng), np.array(beats))

    assert evidence.n_beats == len(beats)
    assert np.isfinite(evidence.timbre).all()


def test_kept_evidence_is_the_same_bit_for_bit(rng: np.random.Generator) -> None:
    """Through JSON and back nothing changes, so form found again is the same form."""
    evidence = beat_evidence(features_of(2000, rng), np.arange(80) * 0.45 + 1.0)
    text = json.dumps(evidence.to_dict())

    assert_same(evidence, BeatEvidence.from_dict(json.loads(text)))
    assert len(text) < 130 * evidence.n_beats


@pytest.mark.parametrize(
    "damage",
    [
        {"timbre": "AAAA"},
        {"harmony": "no base64!"},
        {"flux": None},
        {"n_beats": "many"},
    ],
)
def test_damaged_evidence_is_refused(damage: dict, rng: np.random.Generator) -> None:
    """A cache entry that cannot be read says what to do."""
    with pytest.raises(CacheError, match="listen again"):
        BeatEvidence.from_dict(evidence_of(8, rng).to_dict() | damage)


def test_wrong_shapes_are_refused(rng: np.random.Generator) -> None:
    """Arrays with different numbers of beats do not make evidence."""
    with pytest.raises(ParameterError, match="one row a beat"):
        BeatEvidence(
            timbre=np.zeros((3, N_TIMBRE)),
            harmony=np.zeros((4, 12)),
            loudness_db=np.zeros(3),
            flux=np.zeros((3, N_FLUX)),
        )


def test_same_beats_keep_the_evidence(rng: np.random.Generator) -> None:
    """Resampling onto the same or slightly nudged beats changes nothing."""
    evidence, beats = evidence_of(30, rng), np.arange(30) * 0.5 + 2

    for nudge_s in (-0.05, 0.0, 0.05):
        assert_same(evidence, resample_evidence(evidence, beats, beats + nudge_s))


def test_half_of_doubled_evidence_is_the_evidence(rng: np.random.Generator) -> None:
    """Doubling the beats and halving them again loses at most rounding."""
    evidence, beats = evidence_of(30, rng), np.cumsum(0.5 + 0.02 * rng.random(30))
    doubled_s = np.append(
        np.stack([beats[:-1], (beats[1:] + beats[:-1]) / 2], 1).ravel(), beats[-1]
    )
    doubled = resample_evidence(evidence, beats, doubled_s)

    assert doubled.n_beats == 59
    assert np.array_equal(doubled.timbre[:-1:2], evidence.timbre[:-1])
    assert_same(evidence, resample_evidence(doubled, doubled_s, beats), atol=1e-3)


def test_half_averages_two_beats(rng: np.random.Generator) -> None:
    """Every other beat: means of timbre, the strongest of the attacks."""
    evidence, beats = evidence_of(8, rng), np.arange(8) * 0.5
    half = resample_evidence(evidence, beats, beats[::2])

    assert np.allclose(half.timbre, (evidence.timbre[::2] + evidence.timbre[1::2]) / 2, atol=1e-3)
    assert np.array_equal(half.flux[:, 0], evidence.flux[::2, :2].max(axis=1))


def test_resampling_needs_the_right_beats(rng: np.random.Generator) -> None:
    """Evidence of another map is refused."""
    with pytest.raises(ParameterError, match="evidence has 8 beats"):
        resample_evidence(evidence_of(8, rng), np.arange(9.0), np.arange(4.0))
