"""The shipped network runs without PyTorch, window by window, and hears what is there."""

import subprocess
import sys

import numpy as np
import pytest

from phrasefit.audio import HOP_S, SAMPLE_RATE_HZ
from phrasefit.audio.features import extract_features, log_mel
from phrasefit.errors import ParameterError
from phrasefit.meter.front_end import BLOCK_FRAMES, STEM, FrontEnd
from phrasefit.meter.learned import (
    CONTEXT_FRAMES,
    SEGMENT_FRAMES,
    WINDOW_FRAMES,
    LearnedModel,
    _add_dilated,
    _windows,
    shipped_weights,
)
from phrasefit.model import Audio, SongInfo


def drum_loop(seconds: float, *, bpm: float = 112.0, first_s: float = 0.4) -> np.ndarray:
    """Kick on one and three, snare on two and four, a bass note on one, hats on eighths."""
    rng = np.random.default_rng(4)
    samples = 0.001 * rng.normal(size=int(seconds * SAMPLE_RATE_HZ))
    t = np.arange(int(0.3 * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ
    kick = 0.7 * np.sin(2 * np.pi * (50 + 80 * np.exp(-40 * t)) * t) * np.exp(-14 * t)
    snare = 0.4 * rng.normal(size=t.size) * np.exp(-25 * t)
    hat = 0.08 * rng.normal(size=t.size) * np.exp(-80 * t)
    bass = 0.4 * np.sin(2 * np.pi * 98 * t) * np.exp(-5 * t)
    for eighth, at_s in enumerate(np.arange(first_s, seconds - 0.31, 30 / bpm)):
        sounds = {0: (hat, kick, bass), 2: (hat, snare), 4: (hat, kick), 6: (hat, snare)}
        start = int(at_s * SAMPLE_RATE_HZ)
        for sound in sounds.get(eighth % 8, (hat,)):
            samples[start : start + t.size] += sound
    return samples.astype(np.float32)


def peaks_s(activation: np.ndarray, floor: float) -> np.ndarray:
    """Times of local maxima above `floor` [seconds]."""
    inner = activation[1:-1]
    top = (inner >= activation[:-2]) & (inner > activation[2:]) & (inner > floor)
    return (np.flatnonzero(top) + 1) * HOP_S


@pytest.mark.parametrize("n_frames", [1, 500, WINDOW_FRAMES, WINDOW_FRAMES + 1, 9000, 30_000])
def test_windows_answer_for_every_frame_once(n_frames):
    """Kept stretches join without gap or overlap and lie inside their windows."""
    windows = _windows(n_frames)
    kept = [frame for _, keep in windows for frame in range(keep.start, keep.stop)]
    assert kept == list(range(n_frames))
    for start, keep in windows:
        assert start <= keep.start
        assert keep.stop <= start + WINDOW_FRAMES
        assert keep.start == 0 or keep.start - start == CONTEXT_FRAMES


def test_hears_the_beats_of_a_plain_groove():
    """Nearly all beats of a drum loop are found, and little else (mir_eval judges)."""
    from mir_eval.beat import f_measure

    probabilities = LearnedModel().probabilities(log_mel(drum_loop(30)))
    truth_s = np.arange(0.4, 29.5, 60 / 112)
    assert f_measure(truth_s, peaks_s(probabilities[:, 0], 0.3)) > 0.9


def test_silence_holds_no_beat():
    """Nothing is found where nothing sounds."""
    silence = np.zeros(20 * SAMPLE_RATE_HZ, dtype=np.float32)
    assert LearnedModel().probabilities(log_mel(silence))[:, :2].max() < 0.2


def test_long_songs_are_heard_as_short_ones():
    """Where windows join, the answer is that of a window of its own but for its edges.

    Attention reaches to both ends of a window, and a window of its own begins and ends in
    silence, so answers are near, not equal.
    """
    model, mel = LearnedModel(), log_mel(drum_loop(80))
    whole = model.probabilities(mel)
    start = WINDOW_FRAMES - 2 * CONTEXT_FRAMES
    alone = model.probabilities(mel[start : start + WINDOW_FRAMES])
    inside = slice(CONTEXT_FRAMES, WINDOW_FRAMES - CONTEXT_FRAMES)
    apart = np.abs(whole[start:][inside] - alone[inside])
    assert apart.max() < 0.1
    assert apart.mean() < 0.001


def convolved_by_definition(weights: dict[str, np.ndarray], log_mel: np.ndarray) -> np.ndarray:
    """The front end in double precision, as its layers are defined, all frames at once."""
    x = (log_mel.astype(np.float64) * weights["front.scale"] + weights["front.offset"])[..., None]
    for index, (_, (taps, height), stride, padding) in enumerate(STEM):
        padded = np.pad(x, ((taps // 2, taps // 2), padding, (0, 0)))
        patches = np.lib.stride_tricks.sliding_window_view(padded, (taps, height), axis=(0, 1))
        kernel = weights[f"front.{index}.weight"].reshape(taps, height, x.shape[2], -1)
        x = np.einsum("nbcth,thco->nbo", patches[:, ::stride], kernel, optimize=True)
        x += weights[f"front.{index}.bias"]
        x /= 1 + np.exp(-x)
    return x.reshape(len(x), -1) @ weights["front.project.weight"] + weights["front.project.bias"]


@pytest.mark.parametrize("n_frames", [1, 2, 3, BLOCK_FRAMES + 1, 2 * BLOCK_FRAMES + 4])
def test_the_front_end_is_its_convolutions_without_seams(n_frames):
    """Two frames at once, and a block at a time, give what the definition gives."""
    log_mel = np.random.default_rng(0).uniform(0, 6, (n_frames, 96)).astype(np.float32)
    weights = shipped_weights()
    expected = convolved_by_definition(weights, log_mel)
    assert np.allclose(FrontEnd(weights)(log_mel), expected, atol=2e-5)


@pytest.mark.parametrize("n_frames", [1, 20, 300, SEGMENT_FRAMES + 20, 2 * SEGMENT_FRAMES + 40])
def test_a_dilated_block_is_its_convolution(n_frames):
    """Added up in place, tap by tap, also where taps reach beyond all frames or a segment."""
    x = np.random.default_rng(0).normal(size=(n_frames, 96)).astype(np.float32)
    weights, name, dilation = shipped_weights(), "blocks.4", 16
    padded = np.pad(x.astype(np.float64), ((2 * dilation, 2 * dilation), (0, 0)))
    columns = np.hstack([padded[tap * dilation :][:n_frames] for tap in range(5)])
    near = columns @ weights[f"{name}.near.weight"] + weights[f"{name}.near.bias"]
    mixed = (near / (1 + np.exp(-near))) @ weights[f"{name}.mix.weight"]
    expected = x + mixed + weights[f"{name}.mix.bias"]

    _add_dilated(weights, name, x, dilation)

    assert np.allclose(x, expected, atol=1e-5)


def test_activations_are_probabilities_for_every_frame():
    """`observe` fuses both models and keeps frames and range."""
    audio = Audio(samples=drum_loop(10), sample_rate_hz=SAMPLE_RATE_HZ, info=SongInfo())
    features = extract_features(audio)
    seen = LearnedModel().observe(features)
    assert seen.beat.shape == seen.downbeat.shape == (len(features.log_mel),)
    assert min(seen.beat.min(), seen.downbeat.min()) >= 0
    assert max(seen.beat.max(), seen.downbeat.max()) <= 1


def test_other_bands_are_refused():
    """A spectrum of another shape is a mistake of the caller, told in one line."""
    with pytest.raises(ParameterError, match="96 bands"):
        LearnedModel().probabilities(np.zeros((10, 80), dtype=np.float32))


def test_weights_fit_the_decoder():
    """The shipped arrays have the shapes that the current decoder asks for."""
    weights = shipped_weights()
    plain = {"level", "one_in_4", "one_in_3", "three", "sure_of_beats", "sure_of_one"}
    from phrasefit.meter.handmade import load_weights

    for name in plain:
        assert weights[f"decoder.{name}"].shape == load_weights()[name].shape


def test_users_need_no_pytorch():
    """Loading and running the network imports no training library."""
    code = (
        "import sys, numpy as np; from phrasefit.meter.learned import LearnedModel;"
        "LearnedModel().probabilities(np.zeros((100, 96), dtype='float32'));"
        "assert not {'torch', 'onnxruntime'} & set(sys.modules)"
    )
    subprocess.run([sys.executable, "-c", code], check=True)
