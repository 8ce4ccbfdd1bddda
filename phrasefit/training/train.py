"""The training run: songs are rendered and learned from at the same time.

Loss: cross-entropy on soft targets, so that activations mean probabilities.  The
shipped weights are a running mean over the last part of the run.  Learning rate and
end go by the clock, because the lease of a machine does too, or by batches, where runs
are compared.
"""

from __future__ import annotations

import json
import logging
import time
from collections import defaultdict
from dataclasses import asdict, dataclass, field
from pathlib import Path

import numpy as np
import torch
from torch import Tensor, nn
from torch.nn import functional
from torch.optim.swa_utils import AveragedModel

from phrasefit.audio import HOP_S, N_MELS
from phrasefit.meter.learned import LearnedModel
from phrasefit.training.augment import CROP_FRAMES, draw_batch
from phrasefit.training.device_songs import DeviceSongs
from phrasefit.training.export import (
    export_weights,
    freeze_norms,
    import_weights,
    read_weights,
    save_weights,
)
from phrasefit.training.network import BeatNetwork
from phrasefit.training.rendered import RenderedSong, load_folder, wait_for_packs

HEAD_WEIGHTS = (1.0, 1.5, 0.5)  # beat, downbeat, phrase: the one matters most
MEAN_DECAY = 0.999  # running mean over about the last thousand steps
PEAK_FLOOR = 0.2  # lowest activation that is counted as an event when checking
PEAK_APART_FRAMES = 7  # 140 ms: faster than any beat

logger = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True, kw_only=True)
class TrainingPlan:
    """What one run may use: time, place and the numbers of the optimizer.

    A run ends after `minutes`, or after so many `batches` where they are given.
    """

    songs_folder: Path
    validation_folder: Path
    out: Path
    minutes: float = 18.0
    batches: int | None = None
    device: str = "cpu"
    seed: int = 0
    first_packs: int = 1
    batch: int = 128
    learning_rate: float = 3e-3
    start_from: Path | None = None
    weight_decay: float = 0.02
    dropout: float = 0.05
    compiled: bool = True
    capacity_hours: float = 400.0
    check_every_s: float = 120.0
    watch_every_s: float = 20.0
    warm_up_steps: int = 300
    without: frozenset[str] = field(default_factory=frozenset)


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckRow:
    """How one family of songs is heard: mean F-measures (+-70 ms) of picked peaks."""

    family: str
    n_songs: int
    beat_f: float
    downbeat_f: float


def train(plan: TrainingPlan) -> Path:
    """Train until the plan's time or batches are over and write the weights to `plan.out`.

    Checkpoints go to the same file at every check; a ``.json`` beside it tells plan,
    losses and checks.
    """
    run = _Run(plan)
    while run.share_done < 1:
        run.step()
        if run.check_is_due:
            run.check()
    run.check()
    return plan.out


class _Run:
    """State of a run: network, running mean, optimizer, songs and the log."""

    def __init__(self, plan: TrainingPlan) -> None:
        torch.manual_seed(plan.seed)
        self.plan = plan
        self.network = BeatNetwork(plan.dropout).train()
        if plan.start_from:
            import_weights(self.network, read_weights(plan.start_from))
            freeze_norms(self.network)
        self.network.to(plan.device)
        self.network.front.to(memory_format=torch.channels_last)  # a fifth faster on the device
        self.on_gpu = torch.device(plan.device).type == "cuda"
        compiled = self.on_gpu and plan.compiled
        self.forward = torch.compile(self.network) if compiled else self.network
        self.mean = AveragedModel(self.network, multi_avg_fn=self._move_mean, use_buffers=True)
        self.optimizer = torch.optim.AdamW(
            _decayed_or_not(self.network, plan.weight_decay),
            lr=plan.learning_rate,
            betas=(0.9, 0.98),
            fused=self.on_gpu,
        )
        self.generator = torch.Generator(plan.device).manual_seed(plan.seed)
        if compiled:
            self._compile()
        wait_for_packs(plan.songs_folder, plan.first_packs)
        self.songs = DeviceSongs(plan.device, capacity_hours=plan.capacity_hours)
        self.songs.take_new(plan.songs_folder, without=plan.without)
        self.started = self.watched = self.checked = time.monotonic()
        self.n_steps = 0
        self.losses: list[Tensor] = []
        self.log: list[dict] = []

    @property
    def share_done(self) -> float:
        if self.plan.batches:
            return self.n_steps / self.plan.batches
        return (time.monotonic() - self.started) / (60 * self.plan.minutes)

    @property
    def check_is_due(self) -> bool:
        return time.monotonic() - self.checked > self.plan.check_every_s

    def step(self) -> None:
        """One batch: forward, backward, running mean; now and then new songs."""
        self._set_learning_rate()
        log_mel, targets, weights = draw_batch(self.songs, self.plan.batch, self.generator)
        device_type = "cuda" if self.on_gpu else "cpu"
        with torch.autocast(device_type, torch.bfloat16, enabled=self.on_gpu):
            logits = self.forward(log_mel)
        loss = _loss(logits.float(), targets, weights)
        self.optimizer.zero_grad(set_to_none=True)
        loss.sum().backward()
        nn.utils.clip_grad_norm_(self.network.parameters(), 1.0)
        self.optimizer.step()
        self.mean.update_parameters(self.network)
        self.n_steps += 1
        self.losses.append(loss.detach())
        if time.monotonic() - self.watched > self.plan.watch_every_s:
            self._watch()

    def _compile(self) -> None:
        """Compile on silence (a minute), while the first songs are still being made."""
        shape = (self.plan.batch, CROP_FRAMES, N_MELS)
        with torch.autocast("cuda", torch.bfloat16):
            logits = self.forward(torch.rand(shape, device=self.plan.device))
        logits.float().sum().backward()
        self.optimizer.zero_grad(set_to_none=True)

    def _move_mean(self, mean: list[Tensor], now: list[Tensor], _: object) -> None:
        """Running mean that forgets the untrained start quickly."""
        share = 1 - min(MEAN_DECAY, (1 + self.n_steps) / (10 + self.n_steps))
        if mean[0].is_floating_point():
            torch._foreach_lerp_(mean, now, share)
        else:
            torch._foreach_copy_(mean, now)

    def _set_learning_rate(self) -> None:
        """Linear warm-up by steps, then a half cosine to the end of the run."""
        warm = min(1.0, (self.n_steps + 1) / self.plan.warm_up_steps)
        fall = 0.5 * (1 + np.cos(np.pi * min(self.share_done, 1.0)))
        for group in self.optimizer.param_groups:
            group["lr"] = self.plan.learning_rate * warm * max(fall, 0.005)

    def _watch(self) -> None:
        self.songs.take_new(self.plan.songs_folder, without=self.plan.without)
        means = torch.stack(self.losses).mean(0).tolist()
        self.losses.clear()
        self.watched = time.monotonic()
        entry = {
            "minute": round((self.watched - self.started) / 60, 2),
            "steps": self.n_steps,
            "hours": round(self.songs.hours, 1),
            "losses": [round(value, 4) for value in means],
        }
        self.log.append(entry)
        logger.info("%s", entry)

    def check(self) -> None:
        """Judge the running mean on the songs set aside and write a checkpoint."""
        arrays = export_weights(self.mean.module)
        save_weights(arrays, self.plan.out, force=True)
        songs = load_folder(self.plan.validation_folder)
        self.mean.eval()
        rows = check_songs(TorchModel(self.mean.module, self.plan.device), songs)
        self.log.append({"steps": self.n_steps, "checks": [asdict(row) for row in rows]})
        for row in rows:
            logger.info("%-24s %3d songs  beat %.3f  downbeat %.3f", *asdict(row).values())
        story = {"plan": asdict(self.plan), "hours": self.songs.hours, "log": self.log}
        text = json.dumps(story, indent=1, default=_plain)
        self.plan.out.with_suffix(".json").write_text(text, encoding="utf-8")
        self.checked = time.monotonic()


def _plain(value: object) -> object:
    return sorted(value) if isinstance(value, frozenset) else str(value)


def _decayed_or_not(network: nn.Module, decay: float) -> list[dict]:
    """Matrices shrink towards zero, gains and offsets do not."""
    matrices = [p for p in network.parameters() if p.ndim > 1]
    vectors = [p for p in network.parameters() if p.ndim <= 1]
    return [{"params": matrices, "weight_decay": decay}, {"params": vectors, "weight_decay": 0.0}]


def _loss(logits: Tensor, targets: Tensor, weights: Tensor) -> Tensor:
    """Mean cross-entropy of each head, times `HEAD_WEIGHTS` [shape=(3,)]."""
    entropy = functional.binary_cross_entropy_with_logits(logits, targets, reduction="none")
    mean = (entropy * weights[..., None]).sum((0, 1)) / weights.sum().clamp(min=1)
    return mean * torch.tensor(HEAD_WEIGHTS, device=logits.device)


# ------------------------------------------------------------------- checks


class TorchModel(LearnedModel):
    """The runtime's windows, with the network of the training run inside."""

    def __init__(self, network: BeatNetwork, device: str) -> None:
        super().__init__(export_weights(network))
        self._network, self._device = network, device

    def prepare(self, log_mel: np.ndarray) -> np.ndarray:
        return log_mel  # the network has a front end of its own

    def window_logits(self, log_mel: np.ndarray, kept: slice) -> np.ndarray:
        with torch.no_grad():
            batch = torch.as_tensor(log_mel, device=self._device)[None]
            return self._network(batch)[0, kept].float().cpu().numpy()


def check_songs(model: LearnedModel, songs: list[RenderedSong]) -> list[CheckRow]:
    """Pick peaks of the activations and compare with the truth, family by family."""
    scores: dict[str, list[tuple[float, float]]] = defaultdict(list)
    for song in songs:
        probabilities = model.probabilities(song.log_mel)
        found = [pick_peaks(probabilities[:, head]) for head in (0, 1)]
        truth = song.beats_s[song.audible], song.beats_s[song.audible & (song.positions == 1)]
        scores[song.family].append((_f(truth[0], found[0]), _f(truth[1], found[1])))
    rows = {family: np.mean(pairs, axis=0) for family, pairs in scores.items()}
    return [
        CheckRow(family=family, n_songs=len(scores[family]), beat_f=beat, downbeat_f=downbeat)
        for family, (beat, downbeat) in sorted(rows.items())
    ]


def pick_peaks(activation: np.ndarray) -> np.ndarray:
    """Times of the local maxima of an activation [shape=(n,), seconds]."""
    from scipy.signal import find_peaks

    frames, _ = find_peaks(activation, height=PEAK_FLOOR, distance=PEAK_APART_FRAMES)
    return frames * HOP_S


def _f(truth_s: np.ndarray, found_s: np.ndarray) -> float:
    """F-measure at +-70 ms by mir_eval; the first seconds count too."""
    from mir_eval import beat

    if not len(truth_s) or not len(found_s):
        return float(len(truth_s) == len(found_s))
    return beat.f_measure(truth_s, found_s)
