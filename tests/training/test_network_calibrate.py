"""What stands behind the network is fitted and measured as it says."""

import numpy as np
import pytest

pytest.importorskip("torch")  # exporting needs it

from phrasefit.audio import HOP_S
from phrasefit.meter.learned import LearnedModel
from phrasefit.meter.statespace import USUAL_BPM
from phrasefit.model import Features
from phrasefit.training import calibrate
from phrasefit.training.calibrate import fit_fusion, fit_sureness, temper, tempo_prior
from phrasefit.training.judgments import Verdict
from phrasefit.training.known_songs import (
    KnownSong,
    SongSource,
    cut_song,
    kept_song,
    song_arrays,
)
from phrasefit.training.reliability import bin_reliability, called_and_right, draw_reliability


def song(n_frames: int = 2000) -> KnownSong:
    """Noise with a beat written every half second."""
    rng = np.random.default_rng(0)
    beats_s = np.arange(0.5, n_frames * HOP_S, 0.5)
    return KnownSong(
        features=Features(
            hop_s=HOP_S,
            log_mel=rng.random((n_frames, 96)),
            onset_envelope=rng.random((n_frames, 7)),
            chroma=rng.random((n_frames, 12)),
            loudness_db=rng.random(n_frames),
        ),
        beats_s=beats_s,
        positions=np.arange(len(beats_s)) % 4 + 1,
        meter=4,
    )


def test_cut_moves_beats_with_the_frames():
    """What sounded at a beat of the whole sounds at the same beat of the excerpt."""
    whole = song()
    cut = cut_song(whole, np.random.default_rng(3))
    assert 15 <= len(cut.features.log_mel) * HOP_S <= 40
    frame = round(cut.beats_s[0] / HOP_S)
    row = cut.features.log_mel[frame]
    (at,) = np.flatnonzero((whole.features.log_mel == row).all(axis=1))
    index = np.flatnonzero(np.isclose(whole.beats_s, at * HOP_S))
    assert cut.positions[0] == whole.positions[index[0]]


def test_steps_use_different_songs(tmp_path):
    """No song serves two fits, or a fit and the measuring."""
    steps = SongSource(folder=tmp_path, n_processes=1, n_songs=50).steps
    seeds = [seed for step in steps for seed in step]
    assert len(seeds) == len(set(seeds)) == 10 + 50 + 50 + 25


def test_the_tempo_prior_brings_made_songs_to_the_tempos_of_released_ones():
    """Made songs weighed by the prior have the mean and spread of released songs."""
    log_made = np.random.default_rng(0).normal(np.log(95.0), 0.35, 200_000)
    linear, square = tempo_prior(np.exp(log_made))
    x = log_made - np.log(USUAL_BPM)
    share = np.exp(linear * x + square * x**2)
    mean = np.average(log_made, weights=share)
    spread = np.sqrt(np.average((log_made - mean) ** 2, weights=share))
    assert np.exp(mean) == pytest.approx(calibrate.RELEASED_BPM, rel=0.01)
    assert spread == pytest.approx(calibrate.RELEASED_SPREAD, rel=0.02)


def test_tempering_scales_and_shifts_the_log_odds(monkeypatch):
    """Songs by others make the log odds smaller and move them, the same for every song."""
    monkeypatch.setattr(calibrate, "OTHERS_TEMPER", {"sure_of_beats": (0.5, -1.5)})
    before = {"decoder.sure_of_beats": np.array([0.3, 2.0]), "decoder.level": np.ones(3)}
    after = temper(before)
    assert after["decoder.sure_of_beats"].tolist() == [0.15, -0.5]
    assert after["decoder.level"] is before["decoder.level"]
    assert before["decoder.sure_of_beats"].tolist() == [0.3, 2.0]


def test_kept_songs_are_read_back(tmp_path):
    """A song in the folder is not made again; an empty file stands for an unusable song."""
    np.savez(tmp_path / "7.npz", **song_arrays(song()))
    np.savez(tmp_path / "held-out-7.npz")
    kept = kept_song(tmp_path, 7, held_out=False)
    assert np.array_equal(kept.features.chroma, song().features.chroma)
    assert kept.meter == 4
    assert kept_song(tmp_path, 7, held_out=True) is None


def test_fusion_finds_the_model_that_knows():
    """If only the first model tells beats from other frames, it gets the weight."""
    rng = np.random.default_rng(1)
    labels = rng.random((4000, 2)) < 0.3
    odds = rng.normal(size=(4000, 2, 2))
    odds[:, :, 0] += 4.0 * labels
    fitted = fit_fusion([(odds, labels)])
    for head in ("beat", "downbeat"):
        own, other, _ = fitted[f"fusion.{head}"]
        assert own > 2
        assert abs(other) < 0.2


def verdicts(n: int, seed: int) -> list[Verdict]:
    """Songs whose first margin is the log odds of being right."""
    rng = np.random.default_rng(seed)
    found = []
    for _ in range(n):
        odds = rng.normal(size=3) * 2
        right = rng.random(3) < 1 / (1 + np.exp(-odds))
        found.append(
            Verdict(
                beat_margins=np.array([odds[0], rng.random()]),
                beats_right=bool(right[0]),
                one_margins=np.array([odds[1], rng.random()]),
                one_right=bool(right[1]) if right[0] else None,
                meter_margins=np.array([odds[2], rng.random()]),
                meter_right=bool(right[2]),
            )
        )
    return found


def test_fitted_sureness_holds_on_other_songs(tmp_path):
    """Sureness fitted on some songs is right that often on others; a boast is found out."""
    fitted = fit_sureness(verdicts(3000, 1))
    weights = {name.removeprefix("decoder."): values for name, values in fitted.items()}
    tables = called_and_right(verdicts(3000, 2), weights)
    for name in ("beats", "ones", "meter"):
        assert bin_reliability(tables[name])[1] < 0.04
    boast = tables["beats"].copy()
    boast[:, 0] = 0.99
    assert bin_reliability(boast)[1] == pytest.approx(0.99 - boast[:, 1].mean(), abs=1e-6)
    draw_reliability(tables, tmp_path / "r.png")
    assert (tmp_path / "r.png").read_bytes().startswith(b"\x89PNG")


def test_decoder_weights_travel_with_the_network():
    """Arrays named decoder.* replace those of the hand-made model."""
    model = LearnedModel({"decoder.three": np.arange(3.0)})
    weights = model.decoder_weights()
    assert np.array_equal(weights["three"], np.arange(3.0))
    assert "level" in weights
