"""The first layers of the learned model: from mel bands to channels, a block of frames at a time.

They are most of the network's work.  A block and all that is made of it stay in the
processor's cache, and convolutions over three frames are computed for two frames at once,
with four products in place of six (`_in_pairs`).
"""

from __future__ import annotations

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

# Channels out, kernel (frames, bands), stride over bands, padding of bands.
STEM = (
    (32, (5, 3), 3, (0, 0)),
    (48, (3, 4), 2, (1, 1)),
    (64, (3, 4), 2, (1, 1)),
)
FRONT_REACH = sum(taps // 2 for _, (taps, _), _, _ in STEM)  # frames to each side
BLOCK_FRAMES = 256 - 2 * FRONT_REACH  # with what they hear to each side a round number


class FrontEnd:
    """The layers, with their weights laid out once for all songs.

    Parameters
    ----------
    weights : dict of str to np.ndarray
        Arrays named ``front.*``, as `phrasefit.training.export` writes them.
    """

    def __init__(self, weights: dict[str, np.ndarray]) -> None:
        self._scale, self._offset = weights["front.scale"], weights["front.offset"]
        self._kernels = [weights[f"front.{layer}.weight"] for layer in range(len(STEM))]
        self._kernels[1:] = [_kernels_of_pairs(kernel) for kernel in self._kernels[1:]]
        self._biases = [weights[f"front.{layer}.bias"] for layer in range(len(STEM))]
        self._project = weights["front.project.weight"], weights["front.project.bias"]

    def __call__(self, log_mel: np.ndarray) -> np.ndarray:
        """Give the channels of each frame [shape=(n_frames, n_channels), float32]."""
        channels = np.empty((len(log_mel), len(self._project[1])), dtype=np.float32)
        before = block = np.empty(0, dtype=np.float32)
        for start in range(0, len(log_mel), BLOCK_FRAMES):
            first = max(start - FRONT_REACH, 0)
            heard = log_mel[first : start + BLOCK_FRAMES + FRONT_REACH]
            if not np.array_equal(heard, before):  # as in the silence that fills a last window
                before, block = heard, self._block(heard)
            channels[start : start + BLOCK_FRAMES] = block[start - first :][:BLOCK_FRAMES]
        return channels

    def _block(self, log_mel: np.ndarray) -> np.ndarray:
        """Run all layers over a few frames, before and after which there is nothing."""
        x = _by_columns(log_mel * self._scale + self._offset, self._kernels[0], self._biases[0])
        for layer in range(1, len(STEM)):
            x = _in_pairs(x, layer, self._kernels[layer], self._biases[layer])
        weight, bias = self._project
        return silu(x).reshape(len(x), -1) @ weight + bias


def silu(x: np.ndarray, out: np.ndarray | None = None) -> np.ndarray:
    """x times its logistic function, in `out` if there is one."""
    turned = np.negative(x)
    np.exp(turned, out=turned)
    turned += 1
    return np.divide(x, turned, out=turned if out is None else out)


def _by_columns(x: np.ndarray, kernel: np.ndarray, bias: np.ndarray) -> np.ndarray:
    """Convolve one channel [shape=(n_frames, n_bands)], all that a product needs in a row."""
    _, (taps, height), stride, padding = STEM[0]
    padded = np.pad(x, ((taps // 2, taps // 2), padding))
    patches = sliding_window_view(padded, (taps, height), axis=(0, 1))[:, ::stride]
    n_frames, n_bands = patches.shape[:2]
    products = patches.reshape(n_frames * n_bands, -1) @ kernel
    products += bias
    return products.reshape(n_frames, n_bands, -1)


def _in_pairs(x: np.ndarray, layer: int, kernels: np.ndarray, bias: np.ndarray) -> np.ndarray:
    """Convolve `silu` of channels [shape=(n_frames, n_bands, n_channels)], two frames at once.

    Notes
    -----
    Of frames a, b, c, d come ``a k0 + b k1 + c k2`` and ``b k0 + c k1 + d k2`` as sums of
    four products: ``(a - c) k0``, ``(b + c) (k0 + k1 + k2) / 2``, ``(c - b) (k0 - k1 + k2) / 2``
    and ``(b - d) k2`` (S. Winograd, "Arithmetic complexity of computations", 1980).  What a
    band out hears of a frame lies in a row, so that it is multiplied where it is.
    """
    n_out, (_, height), stride, (low, high) = STEM[layer]
    n_frames, n_bands, n_in = x.shape
    n_pairs = (n_frames + 1) // 2
    padded = np.zeros((2 * n_pairs + 2, low + n_bands + high, n_in), dtype=np.float32)
    silu(x, out=padded[1 : n_frames + 1, low : low + n_bands])
    evens, odds = padded.reshape(n_pairs + 1, 2, -1).swapaxes(0, 1)
    a, b, c, d = evens[:-1], odds[:-1], evens[1:], odds[1:]
    mixed = np.empty((4, *a.shape), dtype=np.float32)
    np.subtract(a, c, out=mixed[0])
    np.add(b, c, out=mixed[1])
    np.subtract(c, b, out=mixed[2])
    np.subtract(b, d, out=mixed[3])
    heard = sliding_window_view(mixed, height * n_in, axis=2)[:, :, :: stride * n_in]
    products = np.empty((*heard.shape[:3], n_out), dtype=np.float32)
    np.matmul(heard.swapaxes(1, 2), kernels[:, None], out=products.swapaxes(1, 2))
    first, middle, turned, last = products
    middle += bias
    pairs = np.empty((n_pairs, 2, *middle.shape[1:]), dtype=np.float32)
    np.add(first, middle + turned, out=pairs[:, 0])
    np.subtract(middle - turned, last, out=pairs[:, 1])
    return pairs.reshape(2 * n_pairs, *middle.shape[1:])[:n_frames]


def _kernels_of_pairs(kernel: np.ndarray) -> np.ndarray:
    """Lay out a kernel of three taps as `_in_pairs` takes it [shape=(4, n_in, n_out)]."""
    k0, k1, k2 = kernel.reshape(3, -1, kernel.shape[-1])
    return np.stack([k0, (k0 + k1 + k2) / 2, (k0 - k1 + k2) / 2, k2])
