"""Batches of crops of the songs, each one bent out of shape in its own way.

What makes one recording unlike another is imitated on the log-mel spectrum of whole
batches on the training device: tempo and key, equalizers, cheap speakers, rooms, noise,
levels, softened attacks, holes.  Every draw comes from the generator that is passed in.
"""

from __future__ import annotations

import torch
from torch import Tensor
from torch.nn import functional

from phrasefit.audio import N_MELS
from phrasefit.audio.features import LOG_GAIN
from phrasefit.meter.learned import WINDOW_FRAMES
from phrasefit.training.device_songs import DeviceSongs
from phrasefit.training.rendered import LEVELS_PER_UNIT

CROP_FRAMES = WINDOW_FRAMES
STRETCH = 1.28  # a song is played up to this much faster or slower
TARGET_WIDTH_FRAMES = 1.0  # standard deviation of a target peak: 20 ms
TARGET_REACH_FRAMES = 3
OVERHANG = 0.12  # share of a crop that may lie before or after the song


class Draws:
    """Random numbers for one batch, one row a crop, from one seeded generator."""

    def __init__(self, generator: torch.Generator, n_rows: int) -> None:
        self._generator, self.n_rows = generator, n_rows

    def uniform(self, low: float, high: float, *shape: int) -> Tensor:
        size = (self.n_rows, *(shape or (1,)))
        device = self._generator.device
        unit = torch.rand(size, generator=self._generator, device=device)
        return low + (high - low) * unit

    def normal(self, *shape: int) -> Tensor:
        device = self._generator.device
        return torch.randn((self.n_rows, *shape), generator=self._generator, device=device)

    def chance(self, probability: float) -> Tensor:
        """True in this share of the rows [shape=(n_rows, 1)]."""
        return self.uniform(0, 1) < probability


def draw_batch(
    songs: DeviceSongs, n_crops: int, generator: torch.Generator, *, bend: bool = True
) -> tuple[Tensor, Tensor, Tensor]:
    """Cut `n_crops` crops of `CROP_FRAMES` at random places.

    Returns
    -------
    (Tensor, Tensor, Tensor)
        Log-mel [shape=(n_crops, CROP_FRAMES, N_MELS)], targets [shape=(n_crops,
        CROP_FRAMES, 3), 0-1] and loss weights [shape=(n_crops, CROP_FRAMES)].
    """
    draws = Draws(generator, n_crops)
    starts, lengths, events, kinds = songs.tables()
    picked = torch.multinomial(lengths.float(), n_crops, replacement=True, generator=generator)
    rate = STRETCH ** draws.uniform(-1, 1) if bend else torch.ones_like(draws.uniform(0, 1))
    span = CROP_FRAMES * rate
    length = lengths[picked, None]
    ends = -OVERHANG * span, length - (1 - OVERHANG) * span
    first = torch.lerp(*ends, draws.uniform(0, 1))
    at = first + torch.arange(CROP_FRAMES, device=rate.device) * rate
    log_mel, weights = _read(songs, at, starts[picked, None], length)
    targets = _targets((events[picked] - first) / rate, kinds[picked])
    if bend:
        log_mel, weights = _bend(log_mel, weights, draws)
    return log_mel, targets, weights


def _read(songs: DeviceSongs, at: Tensor, start: Tensor, length: Tensor) -> tuple[Tensor, Tensor]:
    """Interpolate the strip at fractional frames; silence outside the song."""
    low = at.floor()
    share = (at - low)[..., None].half()
    index = low.long()
    inside = (index >= 0) & (index < length - 1)
    index = start + index.clamp(min=0).minimum(length - 2)
    mel = torch.lerp(songs.levels[index].half(), songs.levels[index + 1].half(), share)
    mel = mel.float() * inside[..., None] / LEVELS_PER_UNIT
    return mel, torch.where(inside, songs.weights[index].float(), 1.0)


def _targets(events: Tensor, kinds: Tensor) -> Tensor:
    """Put a small bell on every event [shape=(n, CROP_FRAMES, 3)]."""
    events = events.clamp(-1e6, 1e6)
    near = events.round()
    heads = torch.cat((torch.ones_like(kinds[..., :1]), kinds), dim=-1)
    targets = torch.zeros((len(events), CROP_FRAMES, 3), device=events.device)
    for step in range(-TARGET_REACH_FRAMES, TARGET_REACH_FRAMES + 1):
        frame = near + step
        bell = torch.exp(-0.5 * ((frame - events) / TARGET_WIDTH_FRAMES) ** 2)
        inside = (frame >= 0) & (frame < CROP_FRAMES)
        values = (bell * inside)[..., None] * heads
        index = frame.clamp(0, CROP_FRAMES - 1).long()[..., None].expand_as(values)
        targets.scatter_reduce_(1, index, values, "amax")
    return targets


# ------------------------------------------------------------------ bending


def _bend(log_mel: Tensor, weights: Tensor, draws: Draws) -> tuple[Tensor, Tensor]:
    magnitude = torch.expm1(_shift_bands(log_mel, draws)) / LOG_GAIN
    magnitude = _soften(_smear(magnitude, draws), draws)
    magnitude = _add_noise(_overlay(magnitude * _equalizer(draws), draws), draws)
    magnitude = magnitude * 10 ** (draws.uniform(-18, 8)[..., None] / 20)
    mel = _punch_holes(torch.log1p(LOG_GAIN * magnitude), draws)
    outside = _outside_clip(draws)
    return mel.masked_fill(outside[..., None], 0.0), weights.masked_fill(outside, 0.0)


def _shift_bands(log_mel: Tensor, draws: Draws) -> Tensor:
    """Move and spread the bands: another key, another throat."""
    bands = torch.arange(N_MELS, device=log_mel.device, dtype=torch.float32)
    source = (bands * (1 + 0.05 * draws.uniform(-1, 1)) + draws.uniform(-3, 3)).clamp(0, 95)
    hat = 1 - (source[:, None, :] - bands[:, None]).abs()
    return log_mel @ hat.clamp(min=0)


def _equalizer(draws: Draws) -> Tensor:
    """Gains of the bands [shape=(n, 1, N_MELS)]: gentle curves, sometimes a cheap speaker."""
    knobs = draws.normal(8) * draws.uniform(0, 9)
    curve = functional.interpolate(knobs[:, None], size=N_MELS, mode="linear", align_corners=True)
    bands = torch.arange(N_MELS, device=knobs.device)
    low = (draws.uniform(0, 26)[..., None] - bands).clamp(min=0)
    high = (bands - draws.uniform(50, 96)[..., None]).clamp(min=0)
    curve = curve - 2.0 * low * draws.chance(0.15)[..., None]
    curve = curve - 2.0 * high * draws.chance(0.15)[..., None]
    return 10 ** (curve / 20)


def _smear(magnitude: Tensor, draws: Draws) -> Tensor:
    """Add a short room: every frame rings on for a while."""
    n_taps = 14
    decay = torch.exp(-torch.arange(n_taps, device=magnitude.device) / draws.uniform(1, 6))
    wet = draws.uniform(0.05, 0.5) * draws.chance(0.2)
    taps = decay * wet
    taps[:, 0] = 1.0
    padded = functional.pad(magnitude.transpose(1, 2), (n_taps - 1, 0))
    unfolded = padded.unfold(2, magnitude.shape[1], 1)
    return torch.einsum("nbkt,nk->ntb", unfolded, taps.flip(1))


def _soften(magnitude: Tensor, draws: Draws) -> Tensor:
    """Take the edge off attacks, as where there are no drums or a soft touch."""
    steady = functional.avg_pool1d(magnitude.transpose(1, 2), 11, 1, 5).transpose(1, 2)
    share = draws.uniform(0.3, 1.0) * draws.chance(0.15)
    return torch.lerp(magnitude, torch.minimum(magnitude, steady), share[..., None])


def _overlay(magnitude: Tensor, draws: Draws) -> Tensor:
    """Let another crop of the batch shine through, far down."""
    level = 10 ** (draws.uniform(-32, -14) / 20) * draws.chance(0.1)
    return magnitude + magnitude.roll(1, 0) * level[..., None]


def _add_noise(magnitude: Tensor, draws: Draws) -> Tensor:
    level = 10 ** (draws.uniform(-80, -38) / 20) * draws.chance(0.6)
    bands = torch.linspace(-0.5, 0.5, N_MELS, device=magnitude.device)
    slope = 10 ** (draws.uniform(-24, 12) * bands / 20)
    noise = draws.normal(*magnitude.shape[1:]).abs()
    return magnitude + noise * (level * slope)[:, None]


def _punch_holes(mel: Tensor, draws: Draws) -> Tensor:
    """Silence a few stretches of frames and of bands."""
    for axis, size, reach, n_holes in ((1, CROP_FRAMES, 75, 3), (2, N_MELS, 14, 2)):
        places = torch.arange(size, device=mel.device)
        hidden = torch.zeros((len(mel), size), dtype=torch.bool, device=mel.device)
        for _ in range(n_holes):
            first = draws.uniform(0, size)
            last = first + draws.uniform(0, reach) * draws.chance(0.3)
            hidden |= (places >= first) & (places < last)
        mel = mel.masked_fill(hidden.unsqueeze(3 - axis), 0.0)
    return mel


def _outside_clip(draws: Draws) -> Tensor:
    """What is cut away to make a short clip of some crops [shape=(n, CROP_FRAMES), bool]."""
    n_frames = torch.where(draws.chance(0.25), draws.uniform(400, 1500), CROP_FRAMES)
    first = draws.uniform(0, 1) * (CROP_FRAMES - n_frames)
    places = torch.arange(CROP_FRAMES, device=first.device)
    return (places < first) | (places >= first + n_frames)
