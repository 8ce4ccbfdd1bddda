"""From the trained network to the arrays that the package ships.

Every normalization is folded into its neighbor, so that the runtime has only
matrix products and one non-linearity to do.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import torch
from torch import Tensor, nn

from phrasefit.files import write_atomic
from phrasefit.training.network import BeatNetwork, DilatedBlock
from phrasefit.training.rendered import npz_bytes

Arrays = dict[str, np.ndarray]


def export_weights(network: BeatNetwork) -> Arrays:
    """Fold and name the weights of `network` as `phrasefit.meter.learned` reads them.

    Returns
    -------
    dict of str to np.ndarray
        Float32; matrices are [shape=(n_in, n_out)].
    """
    arrays: Arrays = {}
    scale, offset = _affine(network.front.normalize)
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


def read_weights(path: Path | str) -> Arrays:
    """Read what `save_weights` wrote, as float32."""
    with np.load(path, allow_pickle=False) as stored:
        return {key: stored[key].astype(np.float32) for key in stored.files}


def import_weights(network: BeatNetwork, arrays: Arrays) -> None:
    """Put exported weights back into `network`, to go on from where a run ended.

    The normalizations are folded into their neighbors, so they become the identity and
    must stay it: see `freeze_norms`.
    """
    front = network.front
    scale, offset = (torch.as_tensor(arrays[f"front.{name}"]) for name in ("scale", "offset"))
    with torch.no_grad():
        front.normalize.running_var.copy_(scale**-2 - front.normalize.eps)
        front.normalize.running_mean.copy_(-offset / scale)
        for index, (convolution, norm) in enumerate(
            zip(front.convolutions, front.norms, strict=True)
        ):
            n_out, n_in, taps, height = convolution.weight.shape
            matrix = arrays[f"front.{index}.weight"].reshape(taps, height, n_in, n_out)
            _restore(convolution.weight, matrix.transpose(3, 2, 0, 1))
            _restore_norm(norm, arrays[f"front.{index}.bias"])
        _restore_linear(front.project, arrays, "front.project")
        for name in ("blocks", "out_blocks"):
            for index, block in enumerate(getattr(network, name)):
                _restore_block(block, arrays, f"{name}.{index}")
        _restore_linear(network.down, arrays, "down")
        for index, layer in enumerate(network.layers):
            name = f"layers.{index}"
            _restore(layer.to_qkv.weight, arrays[f"{name}.qkv.weight"].T)
            _restore_linear(layer.to_out, arrays, f"{name}.out")
            _restore_linear(layer.widen, arrays, f"{name}.widen")
            _restore_linear(layer.narrow, arrays, f"{name}.narrow")
        _restore_linear(network.up, arrays, "up")
        _restore_norm(network.out_norm, arrays["out.offset"])
        _restore(network.out_norm.weight, arrays["out.scale"])
        _restore(network.head.weight, arrays["head.weight"].T[:, :, None])
        _restore(network.head.bias, arrays["head.bias"])


def freeze_norms(network: nn.Module) -> None:
    """Keep batch normalizations from measuring batches; their gains still learn."""
    for module in network.modules():
        if isinstance(module, nn.BatchNorm1d | nn.BatchNorm2d):
            module.eval()


def _restore(parameter: Tensor, values: np.ndarray) -> None:
    parameter.copy_(torch.as_tensor(np.ascontiguousarray(values, dtype=np.float32)))


def _restore_norm(norm: nn.BatchNorm1d | nn.BatchNorm2d, offset: np.ndarray) -> None:
    norm.running_mean.zero_()
    norm.running_var.fill_(1 - norm.eps)
    norm.weight.fill_(1.0)
    _restore(norm.bias, offset)


def _restore_linear(linear: nn.Linear, arrays: Arrays, name: str) -> None:
    _restore(linear.weight, arrays[f"{name}.weight"].T)
    _restore(linear.bias, arrays[f"{name}.bias"])


def _restore_block(block: DilatedBlock, arrays: Arrays, name: str) -> None:
    n_out, n_in, taps = block.convolution.weight.shape
    matrix = arrays[f"{name}.near.weight"].reshape(taps, n_in, n_out)
    _restore(block.convolution.weight, matrix.transpose(2, 1, 0))
    _restore_norm(block.norm, arrays[f"{name}.near.bias"])
    _restore(block.mix.weight, arrays[f"{name}.mix.weight"].T[:, :, None])
    _restore(block.mix.bias, arrays[f"{name}.mix.bias"])


def _numpy(tensor: Tensor) -> np.ndarray:
    return tensor.detach().float().cpu().numpy()


def _affine(norm: nn.BatchNorm1d | nn.BatchNorm2d) -> tuple[np.ndarray, np.ndarray]:
    """Scale and offset that a batch normalization comes to once trained."""
    scale = 1 / np.sqrt(_numpy(norm.running_var) + norm.eps)
    offset = -_numpy(norm.running_mean) * scale
    if norm.affine:
        gain = _numpy(norm.weight)
        scale, offset = scale * gain, offset * gain + _numpy(norm.bias)
    return scale, offset


def _store_folded(arrays: Arrays, name: str, matrix: np.ndarray, norm: nn.Module) -> None:
    """Store a convolution without bias together with the normalization after it."""
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
