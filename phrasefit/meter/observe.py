"""What a tracker sees: the small interface that observation models stand behind.

An observation model turns `Features` into `Activations`; the decoder turns those
into beats and bars.  The hand-made model and the learned one are interchangeable.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from phrasefit.errors import ParameterError
from phrasefit.model import Features


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Activations:
    """How likely each frame is a beat, and a downbeat.

    `beat` and `downbeat` [shape=(n,), 0-1]; a downbeat is a beat as well, so
    `beat` includes it.  Frame ``i`` is centred on ``i * hop_s`` seconds.
    """

    hop_s: float
    beat: np.ndarray
    downbeat: np.ndarray

    def __post_init__(self) -> None:
        for name in ("beat", "downbeat"):
            array = np.array(getattr(self, name), dtype=np.float32)
            array.setflags(write=False)
            object.__setattr__(self, name, array)
        if self.beat.ndim != 1 or self.beat.shape != self.downbeat.shape:
            raise ParameterError(
                f"beat has shape {self.beat.shape} and downbeat {self.downbeat.shape};"
                " give one probability a frame to each"
            )


class ObservationModel(Protocol):
    """Anything that sees beats in features."""

    name: str

    def observe(self, features: Features) -> Activations:
        """Give beat and downbeat probabilities for every frame of `features`."""
        ...

    def decoder_weights(self) -> dict[str, np.ndarray]:
        """Weights of the song-wide judgements, fitted on what this model observes."""
        ...


USUAL_BEAT_LOG_ODDS = -2.5  # of a frame of music at 100-150 beats a minute, rounded up
CERTAIN = 1e-4  # probabilities nearer to 0 or 1 are not believed


def beat_gain(activations: Activations) -> np.ndarray:
    """Say how much more likely each frame is a beat than any frame is [shape=(n,), log odds]."""
    return log_odds(activations.beat) - USUAL_BEAT_LOG_ODDS


def downbeat_log_odds(activations: Activations) -> np.ndarray:
    """Log odds of a downbeat if there is a beat at or beside each frame [shape=(n,)]."""
    downbeat, beat = (_widened(a) for a in (activations.downbeat, activations.beat))
    return log_odds(downbeat / np.maximum(beat, downbeat + CERTAIN))


def log_odds(probability: np.ndarray) -> np.ndarray:
    """Log odds of probabilities, never beyond those of `CERTAIN`."""
    bounded = np.clip(probability, CERTAIN, 1.0 - CERTAIN)
    return np.log(bounded / (1.0 - bounded))


def _widened(probability: np.ndarray) -> np.ndarray:
    """Largest value within one frame to each side."""
    padded = np.pad(probability, 1)
    return np.maximum(np.maximum(padded[:-2], padded[2:]), probability)
