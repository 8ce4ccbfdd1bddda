"""How far the called sureness can be believed: reliability of beats, ones and meter.

Songs that nothing was fitted on are judged; readings are sorted by how sure they were
called and compared with how many were right (G. W. Brier, "Verification of forecasts
expressed in terms of probability", 1950; the diagram is that of weather services).
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from phrasefit.meter.learned import LearnedModel
from phrasefit.training.judgments import Verdict, judge_song
from phrasefit.training.known_songs import Arrays, SongSource, for_songs

N_BINS = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class Bin:
    """Readings called about equally sure: how sure on average, how many were right."""

    n_songs: int
    called: float
    right: float


def called_and_right(verdicts: list[Verdict], weights: Arrays) -> dict[str, np.ndarray]:
    """Sureness and rightness of beats and ones of each song [shape=(n, 2)].

    The sureness of the ones is that of the beats times that of the ones given them.
    """

    def sure(name: str, margins: np.ndarray) -> float:
        fitted = weights[name]
        return float(1 / (1 + np.exp(-(margins @ fitted[:-1] + fitted[-1]))))

    beats = [(sure("sure_of_beats", v.beat_margins), v.beats_right) for v in verdicts]
    ones = [
        (beat[0] * sure("sure_of_one", v.one_margins), bool(v.one_right))
        for beat, v in zip(beats, verdicts, strict=True)
    ]
    meters = [(sure("sure_of_meter", v.meter_margins), v.meter_right) for v in verdicts]
    named = {"beats": beats, "ones": ones, "meter": meters}
    return {name: np.array(pairs, dtype=float) for name, pairs in named.items()}


def bin_reliability(pairs: np.ndarray) -> tuple[list[Bin], float]:
    """Sort sureness into bins of equal width; expected calibration error over them.

    C. Guo et al., "On calibration of modern neural networks", 2017.
    """
    index = np.minimum((pairs[:, 0] * N_BINS).astype(int), N_BINS - 1)
    bins, error = [], 0.0
    for number in range(N_BINS):
        inside = pairs[index == number]
        if len(inside):
            called, right = inside.mean(axis=0)
            bins.append(Bin(n_songs=len(inside), called=float(called), right=float(right)))
            error += len(inside) / len(pairs) * abs(called - right)
    return bins, float(error)


def draw_reliability(tables: dict[str, np.ndarray], path: Path) -> None:
    """Draw called sureness against the share that was right, one line for each judgment."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(5, 5), layout="constrained")
    axes = figure.add_subplot(xlabel="called sure", ylabel="share that was right")
    axes.plot([0, 1], [0, 1], color="0.7", linestyle="--", label="perfect")
    for (name, pairs), marker in zip(tables.items(), "os^", strict=True):
        bins, error = bin_reliability(pairs)
        called, right = [b.called for b in bins], [b.right for b in bins]
        axes.plot(called, right, marker=marker, label=f"{name} (error {error:.3f})")
    axes.legend()
    figure.savefig(path, dpi=120)


def report(arrays: Arrays, source: SongSource, diagram: Path | None) -> None:
    """Print reliability on fresh songs and on held-out material; draw the former."""
    for held_out in (False, True):
        verdicts = for_songs(judge_song, arrays, source, source.steps[-1], held_out=held_out)
        tables = called_and_right(verdicts, LearnedModel(arrays).decoder_weights())
        print(f"{'held-out material' if held_out else 'fresh songs'}: {len(verdicts)} songs")
        for name, pairs in tables.items():
            bins, error = bin_reliability(pairs)
            cells = ", ".join(f"{b.called:.2f}>{b.right:.2f} ({b.n_songs})" for b in bins)
            print(f"  {name}: right {pairs[:, 1].mean():.3f}, error {error:.3f}: {cells}")
        if diagram and not held_out:
            draw_reliability(tables, diagram)
