"""From the trained network to the arrays that the package ships.

Every normalisation is folded into its neighbour, so that the runtime has only
matrix products and one non-linearity to do.

May import: files, training.network, training.shelf.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from torch import Tensor, nn

from phrasefit.files import write_atomic
from phrasefit.training.network import BeatNetwork, DilatedBlock
from phrasefit.training.shelf import npz_bytes

Arrays = dict[str, np.ndarray]


def export_weights(network: BeatNetwork) -> Arrays:
    """Fold and name the weights of `network` as `phrasefit.meter.learned` reads them.

    Returns
    -------
    dict of str to np.ndarray
        Float32; matrices are [shape=(n_in, n_out)].
    """
    arrays: Arrays = {}
    scale, offset = _affine(network.front.normalise)
    arrays["front.scale"], arrays["front.offset"] = scale, offset
    layers = zip(network.front.convolutions, network.front.norms, strict=True)
    for index, (convolution, norm) in enumerate(layers):
        # Patches are laid out frames, bands, channels.
        matrix = _numpy(convolution.weight).transpose(2, 3, 1, 0)
        _store_folded(arrays, f"front.{index}", matrix, norm)
    _store_linear(arrays, "front.project", network.front.project)
    for name in ("blocks", "out_blocks"):
        for index, block in enumerate(getattr(network, name)):
            _store_block(arrays, f"{name}.{index}", block)
    _store_linear(arrays, "down", network.down)
    for index, layer in enumerate(network.layers):
        name = f"layers.{index}"
        gain = _numpy(layer.norm_in.weight)[:, None]
        arrays[f"{name}.qkv.weight"] = gain * _numpy(layer.to_qkv.weight).T
        _store_linear(arrays, f"{name}.out", layer.to_out)
        _store_linear(arrays, f"{name}.widen", layer.widen, gain=layer.norm_mid.weight)
        _store_linear(arrays, f"{name}.narrow", layer.narrow)
    _store_linear(arrays, "up", network.up, gain=network.norm_up.weight)
    arrays["out.scale"], arrays["out.offset"] = _affine(network.out_norm)
    arrays["head.weight"] = _numpy(network.head.weight)[:, :, 0].T
    arrays["head.bias"] = _numpy(network.head.bias)
    return {key: np.ascontiguousarray(value, dtype=np.float32) for key, value in arrays.items()}


def save_weights(arrays: Arrays, path: Path | str, *, force: bool = False) -> Path:
    """Write matrices as float16 and vectors as float32, compressed, in one ``.npz``."""
    packed = {k: v.astype(np.float16) if v.ndim > 1 else v for k, v in arrays.items()}
    return write_atomic(path, npz_bytes(packed, compressed=True), force=force)


def _numpy(tensor: Tensor) -> np.ndarray:
    return tensor.detach().float().cpu().numpy()


def _affine(norm: nn.BatchNorm1d | nn.BatchNorm2d) -> tuple[np.ndarray, np.ndarray]:
    """Scale and offset that a batch normalisation comes to once trained."""
    scale = 1 / np.sqrt(_numpy(norm.running_var) + norm.eps)
    offset = -_numpy(norm.running_mean) * scale
    if norm.affine:
        gain = _numpy(norm.weight)
        scale, offset = scale * gain, offset * gain + _numpy(norm.bias)
    return scale, offset


def _store_folded(arrays: Arrays, name: str, matrix: np.ndarray, norm: nn.Module) -> None:
    """Store a convolution without bias together with the normalisation after it."""
    scale, offset = _affine(norm)
    arrays[f"{name}.weight"] = matrix.reshape(-1, matrix.shape[-1]) * scale
    arrays[f"{name}.bias"] = offset


def _store_block(arrays: Arrays, name: str, block: DilatedBlock) -> None:
    matrix = _numpy(block.convolution.weight).transpose(2, 1, 0)
    _store_folded(arrays, f"{name}.near", matrix, block.norm)
    arrays[f"{name}.mix.weight"] = _numpy(block.mix.weight)[:, :, 0].T
    arrays[f"{name}.mix.bias"] = _numpy(block.mix.bias)


def _store_linear(
    arrays: Arrays, name: str, linear: nn.Linear, *, gain: Tensor | None = None
) -> None:
    matrix = _numpy(linear.weight).T
    if gain is not None:
        matrix = _numpy(gain)[:, None] * matrix
    arrays[f"{name}.weight"] = matrix
    arrays[f"{name}.bias"] = _numpy(linear.bias)
