"""The learned observation model: the trained network, run with NumPy alone.

The network is trained by `phrasefit.training` and travels in the package as a
float16 ``.npz``; nothing is downloaded.  Its shape is written down once, here and in
`front_end`: the training imports these constants, so both sides cannot drift apart.  Songs
are run in overlapping windows, so that memory does not grow with the song.
"""

from __future__ import annotations

from functools import lru_cache
from importlib import resources

import numpy as np

from phrasefit.errors import ParameterError
from phrasefit.meter.front_end import FrontEnd, silu
from phrasefit.meter.handmade import HandmadeModel, load_weights
from phrasefit.meter.hearings import SHORT_S, hear_bends
from phrasefit.meter.observe import Activations, log_odds
from phrasefit.model import Features

HEAD_NAMES = ("beat", "downbeat", "phrase")
DILATIONS = (1, 2, 4, 8, 16, 32, 64)  # frames; seven blocks hear 5 s to each side
OUT_DILATIONS = (1, 2, 4)
KERNEL = 5  # taps of every dilated convolution
OUT_REACH = sum(OUT_DILATIONS) * (KERNEL // 2)  # frames to each side
POOL = 4  # frames in one step of the transformer: 80 ms
N_HEADS = 4
WINDOW_FRAMES = 1792  # 36 s, the length of a training song: several phrases
SEGMENT_FRAMES = 1024  # of a convolution: what is made of so many stays in the processor's cache
CONTEXT_FRAMES = 192  # frames at each inner edge of a window that are thrown away
NORM_FLOOR = 1e-5  # keeps the normalisation of silence finite
WEIGHTS_FILE = "beats.npz"
DECODER_PREFIX = "decoder."  # of the arrays that `phrasefit.training.calibrate` adds


class LearnedModel:
    """Observation model that runs the shipped network.

    Parameters
    ----------
    weights : dict of str to np.ndarray, optional
        Arrays as `phrasefit.training.export` names them; by default those in the
        package, read at the first song.

    Notes
    -----
    `beat`, `downbeat` and `phrase` are trained with cross-entropy on soft targets,
    so that they may be read as probabilities on music like the training songs.
    """

    name = "learned"

    def __init__(self, weights: dict[str, np.ndarray] | None = None) -> None:
        self._weights = weights

    def observe(self, features: Features) -> Activations:
        """Give beat and downbeat probabilities for every frame of `features`.

        Log odds of the network and of the hand-made model are added with the weights
        that `phrasefit.training.calibrate` found, if the arrays have them.  Short music
        is heard several times (`hearings`).

        Raises
        ------
        ParameterError
            If the log-mel spectrum does not have the bands the network was trained on.
        """
        log_mel = features.log_mel
        is_short = 1 < len(log_mel) <= SHORT_S / features.hop_s
        heard = hear_bends(self.probabilities, log_mel) if is_short else self.probabilities(log_mel)
        beat, downbeat = heard.T[:2]
        own = Activations(hop_s=features.hop_s, beat=beat, downbeat=downbeat)
        return self.fused(own, features)

    def fused(self, own: Activations, features: Features) -> Activations:
        """Weigh what the network hears against what the hand-made model does."""
        if "fusion.beat" not in self.weights:
            return own
        plain, found = HandmadeModel().observe(features), {}
        for name in ("beat", "downbeat"):
            own_weight, other_weight, constant = self.weights[f"fusion.{name}"]
            odds = own_weight * log_odds(getattr(own, name))
            odds += other_weight * log_odds(getattr(plain, name))
            found[name] = 1 / (1 + np.exp(-odds - constant))
        return Activations(hop_s=features.hop_s, **found)

    def decoder_weights(self) -> dict[str, np.ndarray]:
        """Weights of the song-wide judgements that fit this model.

        They travel with the network as arrays named ``decoder.*``; what is missing there
        (as while training) is taken from the hand-made model.
        """
        own = {
            key.removeprefix(DECODER_PREFIX): value.astype(np.float64)
            for key, value in self.weights.items()
            if key.startswith(DECODER_PREFIX)
        }
        return load_weights() | own

    def probabilities(self, log_mel: np.ndarray) -> np.ndarray:
        """Run the network over a whole song.

        Parameters
        ----------
        log_mel : np.ndarray [shape=(n_frames, N_MELS)]
            As `phrasefit.audio.features.log_mel` makes it.

        Returns
        -------
        np.ndarray [shape=(n_frames, 3), float32, 0-1]
            Columns as in `HEAD_NAMES`.
        """
        n_bands = len(self.weights["front.scale"])
        if log_mel.ndim != 2 or log_mel.shape[1] != n_bands:
            raise ParameterError(
                f"log_mel has shape {log_mel.shape}; the network needs {n_bands} bands a frame"
            )
        out = np.zeros((len(log_mel), len(HEAD_NAMES)), dtype=np.float32)
        with np.errstate(over="ignore"):  # exp(-x) of a very negative x: the limit is right
            windows = _windows(len(log_mel))
            rows = self.prepare(_padded(log_mel, windows[-1][0] + WINDOW_FRAMES))
            for start, keep in windows:
                kept = slice(keep.start - start, keep.stop - start)
                logits = self.window_logits(rows[start : start + WINDOW_FRAMES], kept)
                out[keep] = 1 / (1 + np.exp(-logits))
        return out

    @property
    def weights(self) -> dict[str, np.ndarray]:
        """The arrays in use."""
        return self._weights if self._weights is not None else shipped_weights()

    def prepare(self, log_mel: np.ndarray) -> np.ndarray:
        """What windows are cut from [shape=(n_frames, n_channels)], made once for all of them."""
        return _before_windows(self.weights, log_mel)

    def window_logits(self, rows: np.ndarray, kept: slice) -> np.ndarray:
        """Logits of the frames `kept` of one window of what `prepare` gave [shape=(n, 3)]."""
        return _within_a_window(self.weights, rows, kept)


@lru_cache(maxsize=1)
def shipped_weights() -> dict[str, np.ndarray]:
    """Read the network that comes with the package, as float32."""
    source = resources.files("phrasefit.meter") / "weights" / WEIGHTS_FILE
    with source.open("rb") as stream, np.load(stream, allow_pickle=False) as archive:
        return {key: archive[key].astype(np.float32) for key in archive.files}


def rotary_angles(length: int, n_channels: int) -> tuple[np.ndarray, np.ndarray]:
    """Cosines and sines that mark positions [shape=(length, n_channels // 2)]."""
    rates = 10_000.0 ** (-np.arange(0, n_channels, 2) / n_channels)
    angles = np.arange(length)[:, None] * rates
    return np.cos(angles).astype(np.float32), np.sin(angles).astype(np.float32)


def _windows(n_frames: int) -> list[tuple[int, slice]]:
    """Starts of the windows, and the frames of the song each one answers for."""
    step = WINDOW_FRAMES - 2 * CONTEXT_FRAMES
    starts = list(range(0, max(n_frames - WINDOW_FRAMES, 0) + step, step))
    windows = []
    for index, start in enumerate(starts):
        first = start + CONTEXT_FRAMES if index else 0
        last = n_frames if index == len(starts) - 1 else start + WINDOW_FRAMES - CONTEXT_FRAMES
        if first < min(last, n_frames):
            windows.append((start, slice(first, min(last, n_frames))))
    return windows


def _padded(log_mel: np.ndarray, n_frames: int) -> np.ndarray:
    """Fill the last window with silence."""
    return np.pad(log_mel, ((0, max(0, n_frames - len(log_mel))), (0, 0)))


# --------------------------------------------------------------- the network


def run_network(weights: dict[str, np.ndarray], log_mel: np.ndarray) -> np.ndarray:
    """Compute the logits of one window [shape=(n_frames, 3)].

    `log_mel` has a multiple of `POOL` frames.
    """
    return _within_a_window(weights, _before_windows(weights, log_mel), slice(0, len(log_mel)))


def _before_windows(weights: dict[str, np.ndarray], log_mel: np.ndarray) -> np.ndarray:
    """Run the layers that hear some seconds only: the whole song at once, each frame once."""
    x = FrontEnd(weights)(log_mel)
    for index, dilation in enumerate(DILATIONS):
        _add_dilated(weights, f"blocks.{index}", x, dilation)
    return x


def _within_a_window(weights: dict[str, np.ndarray], x: np.ndarray, kept: slice) -> np.ndarray:
    """Turn channels into logits of the frames `kept` [shape=(n, 3)]."""
    first = max(kept.start - OUT_REACH, 0) // POOL * POOL
    x = _transformed(weights, x, slice(first, -(-(kept.stop + OUT_REACH) // POOL) * POOL))
    for index, dilation in enumerate(OUT_DILATIONS):
        _add_dilated(weights, f"out_blocks.{index}", x, dilation)
    x = x[kept.start - first : kept.stop - first]
    hidden = silu(x * weights["out.scale"] + weights["out.offset"])
    return _linear(weights, "head", hidden)


def _add_dilated(weights: dict[str, np.ndarray], name: str, x: np.ndarray, dilation: int) -> None:
    """Add to `x` what one block of dilated convolution makes of it, some frames at a time."""
    taps = weights[f"{name}.near.weight"].reshape(KERNEL, x.shape[1], -1)
    reach = KERNEL // 2 * dilation
    nothing = np.zeros((reach, x.shape[1]), dtype=np.float32)
    before = nothing  # the frames before a segment as they were
    for start in range(0, len(x), SEGMENT_FRAMES):
        now = x[start : start + SEGMENT_FRAMES]
        after = x[start + len(now) :][:reach]
        around = np.concatenate((before, now, after, nothing[len(after) :]))
        before = around[len(now) :][:reach]
        near = np.empty((len(now), taps.shape[2]), dtype=np.float32)
        near[:] = weights[f"{name}.near.bias"]
        for tap, weight in enumerate(taps):
            _add_product(near, around[tap * dilation :][: len(now)], weight)
        now += weights[f"{name}.mix.bias"]
        _add_product(now, silu(near), weights[f"{name}.mix.weight"])


def _add_product(total: np.ndarray, x: np.ndarray, weight: np.ndarray) -> None:
    """Add ``x @ weight`` to `total` where it is; all are float32 with their rows in order.

    NumPy would need an array for the product, or one of all that is multiplied.
    """
    from scipy.linalg.blas import sgemm

    sgemm(1.0, weight.T, x.T, 1.0, total.T, overwrite_c=True)


def _transformed(weights: dict[str, np.ndarray], x: np.ndarray, asked: slice) -> np.ndarray:
    """Add what the transformer at the coarse rate makes of all of `x` to the frames `asked`."""
    coarse = _linear(weights, "down", x.reshape(len(x) // POOL, -1))
    x = x[asked]
    angles = rotary_angles(len(coarse), coarse.shape[1] // N_HEADS)
    n_layers = sum(name.endswith("out.weight") for name in weights if name.startswith("layers."))
    for index in range(n_layers):
        name, steps = f"layers.{index}", slice(0, len(coarse))
        if index == n_layers - 1:  # no layer looks at the other steps any more
            steps = slice(asked.start // POOL, asked.start // POOL + len(x) // POOL)
        coarse = coarse[steps] + _attention(weights, name, coarse, steps, angles)
        hidden = silu(_linear(weights, f"{name}.widen", _normalised(coarse)))
        coarse += _linear(weights, f"{name}.narrow", hidden)
    return x + _linear(weights, "up", _normalised(coarse)).reshape(x.shape)


def _attention(
    weights: dict[str, np.ndarray],
    name: str,
    x: np.ndarray,
    steps: slice,
    angles: tuple[np.ndarray, np.ndarray],
) -> np.ndarray:
    """Let each of `steps` look at all steps, in `N_HEADS` ways."""
    qkv = _normalised(x) @ weights[f"{name}.qkv.weight"]
    query, key, value = qkv.reshape(len(x), 3, N_HEADS, -1).transpose(1, 2, 0, 3)
    query = _rotated(query[:, steps], *(part[steps] for part in angles))
    query /= np.float32(np.sqrt(query.shape[-1]))
    scores = query @ _rotated(key, *angles).transpose(0, 2, 1)
    scores -= scores.max(axis=-1, keepdims=True)
    np.exp(scores, out=scores)
    attended = scores @ value
    attended /= scores.sum(axis=-1, keepdims=True)
    attended = attended.transpose(1, 0, 2).reshape(query.shape[1], -1)
    return _linear(weights, f"{name}.out", attended)


def _rotated(x: np.ndarray, cos: np.ndarray, sin: np.ndarray) -> np.ndarray:
    left, right = np.split(x, 2, axis=-1)
    return np.concatenate((left * cos - right * sin, left * sin + right * cos), axis=-1)


def _normalised(x: np.ndarray) -> np.ndarray:
    """Scale every step to unit power (the gains are folded into what follows)."""
    power = np.mean(x * x, axis=-1, keepdims=True)
    return x / np.sqrt(power + np.float32(NORM_FLOOR))


def _linear(weights: dict[str, np.ndarray], name: str, x: np.ndarray) -> np.ndarray:
    out = x @ weights[f"{name}.weight"]
    out += weights[f"{name}.bias"]
    return out
