"""Learn where sections begin: ``python -m phrasefit.training.sections OUT``.

Several small networks (`phrasefit.form.boundary_model`) learn from songs whose sections are known
and from edits of them.  Loss: minus the log probability of the true segmentation among
all of them (a semi-Markov conditional random field, S. Sarawagi and W. Cohen, 2004), so
that the networks say what the lengths and repetitions do not; and cross-entropy for the
starts of phrases.  No network sees all songs: each is judged on those that it did not learn
from.  ``--start-from FILE`` goes on from networks that are there already, such as those shipped.
"""

from __future__ import annotations

import argparse
import logging
import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import torch
from torch import Tensor, nn
from torch.nn import functional

from phrasefit.errors import PhrasefitError
from phrasefit.form.boundary_cues import CUES, PLACES, bar_evidence
from phrasefit.form.boundary_model import DILATIONS, KERNEL
from phrasefit.form.sections import heard_again, length_scores
from phrasefit.form.segmentation import best_segments
from phrasefit.training.export import save_weights
from phrasefit.training.form_edits import edited
from phrasefit.training.form_songs import FormSong, make_form_songs, read_labelled

CHANNELS = 32
DROPOUT = 0.2
PHRASE_WEIGHT = 0.5  # of the second head beside the first
LOWEST_LENGTH_SCORE = -12.0  # of lengths that cannot be, so that gradients stay finite
BATCH = 16
EPOCHS = 30
PEAK_RATE = 3e-3
GOING_ON_EPOCHS, GOING_ON_RATE = 8, 1e-3  # for networks that have learned before
DECAY = 1e-2
EDITS = 3  # of each song; of a song labelled by people twice as many
CUE_NOISE = 0.15  # deviations
HIDDEN_CUES = 0.1  # share hidden in half of the songs

logger = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Example:
    """A song as the networks see it.

    `cues` [shape=(n, n_cues)]; `lengths`, `repeats` [shape=(n + 1, n + 1)]: the scores
    of all sections beside the networks; `edges` [shape=(n_sections + 1,)]: true section
    starts and the end; `phrases` [shape=(n,)] or None.
    """

    name: str
    cues: np.ndarray
    lengths: np.ndarray
    repeats: np.ndarray
    edges: np.ndarray
    phrases: np.ndarray | None


def example(song: FormSong) -> Example:
    """Measure the cues of a song in threes or fours."""
    bars = bar_evidence(song.evidence, song.positions, song.meter)
    lengths = np.maximum(length_scores(bars.starts, song.meter), LOWEST_LENGTH_SCORE)
    return Example(
        name=song.name,
        cues=bars.cues.astype(np.float32),
        lengths=lengths.astype(np.float32),
        repeats=heard_again(bars.likeness, 1).astype(np.float32),
        edges=np.append(song.section_bars, len(bars.cues)),
        phrases=None if song.phrase_bars is None else song.phrase_bars.astype(np.float32),
    )


# ------------------------------------------------------------------------ networks


class LineNetwork(nn.Module):
    """One network of `phrasefit.form.boundary_model`, and what length and repetition weigh."""

    def __init__(self) -> None:
        super().__init__()
        self.enter = nn.Conv1d(len(CUES) + len(PLACES), CHANNELS, KERNEL, padding=1)
        self.wide = nn.ModuleList(
            nn.Conv1d(CHANNELS, CHANNELS, KERNEL, padding=d, dilation=d) for d in DILATIONS
        )
        self.narrow = nn.ModuleList(nn.Conv1d(CHANNELS, CHANNELS, 1) for _ in DILATIONS)
        self.leave = nn.Conv1d(CHANNELS, 2, 1)
        self.dropout = nn.Dropout(DROPOUT)
        self.length = nn.Parameter(torch.tensor(0.8))
        self.repeat = nn.Parameter(torch.tensor(0.2))

    def forward(self, cues: Tensor, inside: Tensor) -> tuple[Tensor, Tensor]:
        """Log odds of section and phrase starts [shape=(batch, n)]; `inside` the song is 1."""
        inside = inside[:, None]
        hidden = torch.relu(self.enter(self.dropout(cues.transpose(1, 2)))) * inside
        for wide, narrow in zip(self.wide, self.narrow, strict=True):
            hidden = (hidden + narrow(self.dropout(torch.relu(wide(hidden))))) * inside
        odds = self.leave(torch.relu(hidden))
        return odds[:, 0], odds[:, 1]


def segment_scores(network: LineNetwork, batch: Batch, odds: Tensor) -> Tensor:
    """Log score of each section [shape=(batch, n, n + 1)]; see `form.sections`."""
    scores = network.length * batch.lengths + network.repeat * batch.repeats
    first = torch.zeros_like(odds[:, :1])  # the song's own start is no boundary to be found
    return scores[:, :-1] + torch.cat([first, odds[:, 1:]], dim=1)[:, :, None]


def layers_of(network: LineNetwork) -> dict[str, nn.Conv1d]:
    """Name the layers as `phrasefit.form.boundary_model` does."""
    layers = {"in": network.enter, "out": network.leave}
    for index in range(len(DILATIONS)):
        layers[f"block.{index}.wide"] = network.wide[index]
        layers[f"block.{index}.out"] = network.narrow[index]
    return layers


def export_networks(networks: Sequence[LineNetwork]) -> dict[str, np.ndarray]:
    """Name and stack the weights as `phrasefit.form.boundary_model` reads them."""
    arrays = {}
    for name in layers_of(networks[0]):
        convolutions = [layers_of(net)[name] for net in networks]
        kernels = [layer.weight.detach().numpy() for layer in convolutions]
        matrices = [k.transpose(2, 1, 0).reshape(-1, k.shape[0]) for k in kernels]
        arrays[f"{name}.weight"] = np.stack(matrices)
        offsets = [layer.bias.detach().numpy()[None] for layer in convolutions]
        arrays[f"{name}.offset"] = np.stack(offsets)
    for name in ("length", "repeat"):
        arrays[name] = np.array(np.mean([getattr(net, name).item() for net in networks]))
    return arrays


def import_networks(arrays: dict[str, np.ndarray]) -> list[LineNetwork]:
    """Make the networks that `export_networks` wrote."""
    networks = []
    for number in range(len(arrays["in.weight"])):
        network = LineNetwork()
        for name, layer in layers_of(network).items():
            n_out, n_in, width = layer.weight.shape
            kernel = arrays[f"{name}.weight"][number].reshape(width, n_in, n_out)
            layer.weight.data = torch.tensor(kernel.transpose(2, 1, 0), dtype=torch.float32)
            offset = arrays[f"{name}.offset"][number, 0]
            layer.bias.data = torch.tensor(offset, dtype=torch.float32)
        for name in ("length", "repeat"):
            getattr(network, name).data = torch.tensor(float(arrays[name]))
        networks.append(network)
    return networks


# ------------------------------------------------------------------------ learning


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Batch:
    """Lessons side by side, filled up with nothing."""

    cues: Tensor
    inside: Tensor
    lengths: Tensor
    repeats: Tensor
    phrases: Tensor
    phrases_known: Tensor
    edges: list[Tensor]


def stack(examples: Sequence[Example]) -> Batch:
    """Put examples of several lengths into arrays of the longest."""
    n = max(len(item.cues) for item in examples)
    many = len(examples)
    cues = torch.zeros(many, n, examples[0].cues.shape[1])
    lengths = torch.full((many, n + 1, n + 1), LOWEST_LENGTH_SCORE)
    repeats = torch.zeros(many, n + 1, n + 1)
    inside, phrases, known = torch.zeros(3, many, n).unbind()
    for row, item in enumerate(examples):
        size = len(item.cues)
        cues[row, :size] = torch.from_numpy(item.cues)
        lengths[row, : size + 1, : size + 1] = torch.from_numpy(item.lengths)
        repeats[row, : size + 1, : size + 1] = torch.from_numpy(item.repeats)
        inside[row, :size] = 1.0
        if item.phrases is not None:
            phrases[row, :size] = torch.from_numpy(item.phrases)
            known[row, 1:size] = 1.0
    return Batch(
        cues=cues, inside=inside, lengths=lengths, repeats=repeats, phrases=phrases,
        phrases_known=known, edges=[torch.from_numpy(item.edges) for item in examples],
    )  # fmt: skip


def loss(network: LineNetwork, batch: Batch) -> Tensor:
    """Minus the log probability of the truth, per section, and that of phrase starts."""
    odds, phrase_odds = network(batch.cues, batch.inside)
    scores = segment_scores(network, batch, odds)
    total = [torch.zeros(len(scores))]
    for end in range(1, scores.shape[2]):
        total.append(torch.logsumexp(torch.stack(total, 1) + scores[:, :end, end], dim=1))
    ends = torch.stack([edges[-1] for edges in batch.edges])
    of_all = torch.stack(total, 1)[torch.arange(len(ends)), ends]
    of_truth = torch.stack(
        [scores[row, edges[:-1], edges[1:]].sum() for row, edges in enumerate(batch.edges)]
    )
    n_sections = sum(len(edges) - 1 for edges in batch.edges)
    entropy = functional.binary_cross_entropy_with_logits(
        phrase_odds, batch.phrases, reduction="none"
    )
    of_phrases = (entropy * batch.phrases_known).sum() / batch.phrases_known.sum().clamp(min=1)
    return (of_all - of_truth).sum() / n_sections + PHRASE_WEIGHT * of_phrases


def learn(
    examples: Sequence[Example],
    *,
    seed: int,
    epochs: int = EPOCHS,
    rate: float = PEAK_RATE,
    network: LineNetwork | None = None,
) -> LineNetwork:
    """Train one network, from nothing or from what `network` has learned before."""
    torch.manual_seed(seed)
    rng = np.random.default_rng(seed)
    network = (network or LineNetwork()).train()
    optimizer = torch.optim.AdamW(network.parameters(), lr=rate, weight_decay=DECAY)
    n_batches = -(-len(examples) // BATCH)
    schedule = torch.optim.lr_scheduler.OneCycleLR(
        optimizer, rate, total_steps=epochs * n_batches + 1, pct_start=0.1
    )
    for epoch in range(epochs):
        # Songs of about the same length go together: little is filled up.
        order = np.argsort([len(item.cues) + rng.normal(0, 15) for item in examples])
        losses = []
        batches = np.array_split(order, n_batches)
        for indices in (batches[i] for i in rng.permutation(n_batches)):
            value = loss(network, stack([_blurred(examples[i], rng) for i in indices]))
            optimizer.zero_grad()
            value.backward()
            nn.utils.clip_grad_norm_(network.parameters(), 1.0)
            optimizer.step()
            schedule.step()
            losses.append(value.item())
        if epoch % 10 == 9:
            logger.info("seed %d, epoch %d: loss %.3f", seed, epoch + 1, np.mean(losses))
    return network.eval()


def _blurred(item: Example, rng: np.random.Generator) -> Example:
    """Hide some cues and add noise to all: no single one may be relied on."""
    cues = item.cues.copy()
    n_heard = len(CUES)
    if rng.random() < 0.5:
        cues[:, rng.random(cues.shape[1]) < HIDDEN_CUES] = 0.0
    cues[:, :n_heard] += rng.normal(0, CUE_NOISE, (len(cues), n_heard)).astype(np.float32)
    return replace(item, cues=cues)


# ------------------------------------------------------------------------- judging


def boundary_f(networks: Sequence[LineNetwork], examples: Sequence[Example]) -> float:
    """Mean F-measure of boundaries found on exactly the right bar line."""
    return float(np.mean([_f(_found(networks, item), item.edges[1:-1]) for item in examples]))


def _found(networks: Sequence[LineNetwork], item: Example) -> np.ndarray:
    batch = stack([item])
    with torch.no_grad():
        scores = torch.stack(
            [segment_scores(net, batch, net(batch.cues, batch.inside)[0]) for net in networks]
        ).mean(dim=0)[0]
    return best_segments(np.vstack([scores.numpy(), np.zeros(scores.shape[1])]))[1:]


def _f(found: np.ndarray, truth: np.ndarray) -> float:
    hits = np.isin(found, truth).sum()
    return 2 * hits / (len(found) + len(truth)) if len(found) + len(truth) else 1.0


# ------------------------------------------------------------------------- the command


def main() -> int:
    """Make songs, learn, judge, write the weights."""
    parser = argparse.ArgumentParser(
        prog="python -m phrasefit.training.sections", description=__doc__.splitlines()[0]
    )
    parser.add_argument("out", type=Path, help="weights to write (.npz)")
    parser.add_argument("--songs", type=int, default=800, help="songs to make")
    parser.add_argument("--labelled", type=Path, action="append", default=[],
                        help="folder of audio with a bar map NAME.json beside each")  # fmt: skip
    parser.add_argument("--start-from", dest="start", type=Path, help="weights to go on from")
    parser.add_argument("--networks", type=int, default=4, help="unless --start-from says how many")
    parser.add_argument("--epochs", type=int)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--processes", type=int, default=2)
    options = parser.parse_args()
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(message)s", stream=sys.stdout)
    try:
        first = options.seed * 1_000_000
        seeds = range(first, first + options.songs)
        kinds = {
            "made songs": make_form_songs(seeds, n_processes=options.processes),
            "labelled songs": [s for folder in options.labelled for s in read_labelled(folder)],
        }
        # A song in twos is heard as two songs in fours: nothing is learned from it.
        kinds = {kind: [s for s in songs if s.meter != 2] for kind, songs in kinds.items()}
        save_weights(learn_from(kinds, options), options.out, force=True)
    except PhrasefitError as exc:
        print(f"phrasefit.training.sections: {exc}", file=sys.stderr)
        return 2
    print(f"weights written to {options.out}")
    return 0


def learn_from(
    kinds: dict[str, list[FormSong]], options: argparse.Namespace
) -> dict[str, np.ndarray]:
    """Train each network without a part of the songs, judge it on them; give the weights.

    Songs of one name, marked by several people, are in the same part.
    """
    before: list[LineNetwork | None] = [None] * options.networks
    epochs, rate = options.epochs or EPOCHS, PEAK_RATE
    if options.start:
        with np.load(options.start, allow_pickle=False) as arrays:
            before = [*import_networks({name: arrays[name] for name in arrays.files})]
        epochs, rate = options.epochs or GOING_ON_EPOCHS, GOING_ON_RATE
    names = dict.fromkeys(song.name for songs in kinds.values() for song in songs)
    part = {name: index % len(before) for index, name in enumerate(names)}
    networks = []
    for k, network in enumerate(before):
        rng = np.random.default_rng([options.seed, k])
        seen = [song for songs in kinds.values() for song in songs if part[song.name] != k]
        lessons = [lesson for song in seen for lesson in lessons_of(song, rng)]
        seed = options.seed + k
        networks.append(learn(lessons, seed=seed, epochs=epochs, rate=rate, network=network))
        for kind, songs in kinds.items():
            unseen = [example(song) for song in songs if part[song.name] == k]
            if unseen:
                logger.info("network %d, %d other %s: boundary F %.3f", k, len(unseen), kind,
                            boundary_f(networks[-1:], unseen))  # fmt: skip
    return export_networks(networks)


def lessons_of(song: FormSong, rng: np.random.Generator) -> list[Example]:
    """Give the cues of a song and of edits of it."""
    n_edits = EDITS if song.phrase_bars is not None else 2 * EDITS
    edits = [edited(song, rng) for _ in range(n_edits)]
    return [example(one) for one in (song, *edits) if one is not None]


if __name__ == "__main__":
    raise SystemExit(main())
