"""The network in PyTorch: log-mel frames in, three activations a frame out.

A small two-dimensional front end turns 96 mel bands into 96 channels, a stack of
dilated convolutions at 50 frames a second hears onsets and beats, a transformer
at a quarter of that rate hears bars and phrases over the whole window, and a last
stack puts the two together.  `phrasefit.meter.learned` runs the same network
without PyTorch; `phrasefit.training.export` carries the weights over.

Dilated convolutions for beats: M. E. P. Davies and S. Böck, *Temporal
convolutional networks for musical audio beat tracking*, 2019.  Rotary positions:
J. Su et al., *RoFormer*, 2021.
"""

from __future__ import annotations

import torch
from torch import Tensor, nn
from torch.nn import functional

from phrasefit.meter.front_end import STEM
from phrasefit.meter.learned import (
    DILATIONS,
    HEAD_NAMES,
    KERNEL,
    N_HEADS,
    NORM_FLOOR,
    OUT_DILATIONS,
    POOL,
    rotary_angles,
)

CHANNELS = 96  # width of the stacks at 50 frames a second
WIDTH = 128  # width of the transformer at 12.5 frames a second
N_LAYERS = 4  # transformer layers
FEED_FORWARD = 384  # hidden width of a transformer layer
N_BANDS = 96  # mel bands


class FrontEnd(nn.Module):
    """Mel bands to channels: three strided convolutions over frequency, one projection."""

    def __init__(self, dropout: float) -> None:
        super().__init__()
        self.normalize = nn.BatchNorm1d(N_BANDS, affine=False, momentum=0.02)
        convolutions, norms, n_bands, n_in = [], [], N_BANDS, 1
        for n_out, (taps, height), stride, (low, high) in STEM:
            padding = (taps // 2, 0)
            convolutions.append(
                nn.Conv2d(n_in, n_out, (taps, height), (1, stride), padding, bias=False)
            )
            norms.append(nn.BatchNorm2d(n_out))
            n_bands, n_in = (n_bands + low + high - height) // stride + 1, n_out
        self.convolutions = nn.ModuleList(convolutions)
        self.norms = nn.ModuleList(norms)
        self.project = nn.Linear(n_bands * n_in, CHANNELS)
        self.dropout = nn.Dropout(dropout)

    def forward(self, log_mel: Tensor) -> Tensor:
        """(batch, frames, bands) to (batch, channels, frames)."""
        x = self.normalize(log_mel.transpose(1, 2)).transpose(1, 2)[:, None]
        layers = zip(self.convolutions, self.norms, STEM, strict=True)
        for convolution, norm, (_, _, _, padding) in layers:
            x = functional.silu(norm(convolution(functional.pad(x, padding))))
        x = x.permute(0, 2, 3, 1).flatten(2)
        return self.dropout(self.project(x)).transpose(1, 2)


class DilatedBlock(nn.Module):
    """Residual block: dilated convolution over time, then a mix of the channels."""

    def __init__(self, dilation: int, dropout: float) -> None:
        super().__init__()
        reach = dilation * (KERNEL // 2)
        self.convolution = nn.Conv1d(
            CHANNELS, CHANNELS, KERNEL, padding=reach, dilation=dilation, bias=False
        )
        self.norm = nn.BatchNorm1d(CHANNELS)
        self.mix = nn.Conv1d(CHANNELS, CHANNELS, 1)
        self.dropout = nn.Dropout(dropout)

    def forward(self, x: Tensor) -> Tensor:
        hidden = functional.silu(self.norm(self.convolution(x)))
        return x + self.dropout(self.mix(hidden))


class UnitPower(nn.Module):
    """Scale every step to unit power, then by a gain a channel, in full precision."""

    def __init__(self, n_channels: int) -> None:
        super().__init__()
        self.weight = nn.Parameter(torch.ones(n_channels))

    def forward(self, x: Tensor) -> Tensor:
        power = x.float().square().mean(-1, keepdim=True)
        return x.float() * torch.rsqrt(power + NORM_FLOOR) * self.weight


class AttentionLayer(nn.Module):
    """Pre-normalized transformer layer with rotary positions."""

    def __init__(self, dropout: float) -> None:
        super().__init__()
        self.norm_in = UnitPower(WIDTH)
        self.to_qkv = nn.Linear(WIDTH, 3 * WIDTH, bias=False)
        self.to_out = nn.Linear(WIDTH, WIDTH)
        self.norm_mid = UnitPower(WIDTH)
        self.widen = nn.Linear(WIDTH, FEED_FORWARD)
        self.narrow = nn.Linear(FEED_FORWARD, WIDTH)
        self.dropout = nn.Dropout(dropout)

    def forward(self, x: Tensor, cos: Tensor, sin: Tensor) -> Tensor:
        batch, length, _ = x.shape
        qkv = self.to_qkv(self.norm_in(x)).view(batch, length, 3, N_HEADS, -1)
        query, key, value = qkv.permute(2, 0, 3, 1, 4)
        attended = functional.scaled_dot_product_attention(
            _rotate(query, cos, sin), _rotate(key, cos, sin), value
        )
        attended = attended.transpose(1, 2).reshape(batch, length, WIDTH)
        x = x + self.dropout(self.to_out(attended))
        hidden = functional.silu(self.widen(self.norm_mid(x)))
        return x + self.dropout(self.narrow(self.dropout(hidden)))


def _rotate(x: Tensor, cos: Tensor, sin: Tensor) -> Tensor:
    """Turn each pair of channels by an angle that grows with the position."""
    left, right = x.chunk(2, dim=-1)
    return torch.cat((left * cos - right * sin, left * sin + right * cos), dim=-1)


class BeatNetwork(nn.Module):
    """Log-mel [shape=(batch, frames, 96)] to logits [shape=(batch, frames, 3)].

    The last axis is `HEAD_NAMES`: beat, downbeat, phrase start.  The number of
    frames must be a multiple of `POOL`.
    """

    def __init__(self, dropout: float = 0.1) -> None:
        super().__init__()
        self.front = FrontEnd(dropout)
        self.blocks = nn.ModuleList(DilatedBlock(d, dropout) for d in DILATIONS)
        self.down = nn.Linear(POOL * CHANNELS, WIDTH)
        self.layers = nn.ModuleList(AttentionLayer(dropout) for _ in range(N_LAYERS))
        self.norm_up = UnitPower(WIDTH)
        self.up = nn.Linear(WIDTH, POOL * CHANNELS)
        self.out_blocks = nn.ModuleList(DilatedBlock(d, dropout) for d in OUT_DILATIONS)
        self.out_norm = nn.BatchNorm1d(CHANNELS)
        self.head = nn.Conv1d(CHANNELS, len(HEAD_NAMES), 1)
        nn.init.constant_(self.head.bias, -3.0)  # most frames hold no beat

    def forward(self, log_mel: Tensor) -> Tensor:
        x = self.front(log_mel)
        for block in self.blocks:
            x = block(x)
        x = x + self._far(x)
        for block in self.out_blocks:
            x = block(x)
        return self.head(functional.silu(self.out_norm(x))).transpose(1, 2)

    def _far(self, x: Tensor) -> Tensor:
        """What the transformer says, brought back to the full frame rate."""
        batch, channels, length = x.shape
        coarse = self.down(x.transpose(1, 2).reshape(batch, length // POOL, POOL * channels))
        angles = rotary_angles(length // POOL, WIDTH // N_HEADS)
        cos, sin = (torch.as_tensor(a, device=x.device, dtype=coarse.dtype) for a in angles)
        for layer in self.layers:
            coarse = layer(coarse, cos, sin)
        fine = self.up(self.norm_up(coarse))
        return fine.view(batch, length, channels).transpose(1, 2)
