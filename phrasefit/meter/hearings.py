"""Music that is short is heard five times: as it is, and a little bent in tempo, pitch and tone.

A network that errs on a sound seldom errs on the same sound bent a little; over a whole song
its errors even out by themselves, in a few bars they do not.  Knows no model: what hears is
handed in.  Imports nothing of the other rooms.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from phrasefit.meter.observe import log_odds

# Measured (`tests/accuracy/README.md`): clips of 20 s gain by it, clips of a minute do not.
SHORT_S = 30.0

# log-mel spectrum [shape=(n_frames, n_bands)] -> probabilities [shape=(n_frames, n_heads)]
Hear = Callable[[np.ndarray], np.ndarray]


@dataclass(frozen=True, slots=True, kw_only=True)
class Bend:
    """How a spectrum is bent: played at `tempo` times its speed, all of it `bands` mel bands
    lower, and tilted from low to high by `tilt` [log units over half of the bands]."""

    tempo: float
    bands: float
    tilt: float


BENDS = (
    Bend(tempo=1.0, bands=0.0, tilt=0.0),
    Bend(tempo=1.05, bands=1.5, tilt=-0.5),
    Bend(tempo=0.95, bands=-1.5, tilt=0.5),
    Bend(tempo=1.0, bands=1.5, tilt=0.5),
    Bend(tempo=1.0, bands=-1.5, tilt=-0.5),
)


def hear_bent(hear: Hear, log_mel: np.ndarray, bend: Bend) -> np.ndarray:
    """Hear a bent spectrum, and lay what is heard back in time.

    Parameters
    ----------
    hear : callable
        The network.
    log_mel : np.ndarray [shape=(n_frames, n_bands)]
    bend : Bend

    Returns
    -------
    np.ndarray [shape=(n_frames, n_heads), 0-1]
    """
    n_frames = len(log_mel)
    found = hear(_bent(log_mel, bend))
    back = np.arange(n_frames) / bend.tempo
    return np.stack([np.interp(back, np.arange(len(found)), head) for head in found.T], axis=1)


def hear_bends(hear: Hear, log_mel: np.ndarray) -> np.ndarray:
    """Hear a spectrum in every way of `BENDS`, and put that together.

    Parameters and result are those of `hear_bent`.
    """
    return together([hear_bent(hear, log_mel, bend) for bend in BENDS])


def together(hearings: list[np.ndarray]) -> np.ndarray:
    """Put hearings of the same frames together: the mean of their log odds, as probabilities."""
    return 1 / (1 + np.exp(-np.mean([log_odds(one) for one in hearings], axis=0)))


def _bent(log_mel: np.ndarray, bend: Bend) -> np.ndarray:
    n_frames, n_bands = log_mel.shape
    frames = np.arange(0, n_frames - 1, bend.tempo)
    low = frames.astype(int)
    share = (frames - low)[:, None]
    bent = log_mel[low] * (1 - share) + log_mel[low + 1] * share
    at = np.clip(np.arange(n_bands) + bend.bands, 0, n_bands - 1.001)
    near, part = at.astype(int), at - at.astype(int)
    bent = bent[:, near] * (1 - part) + bent[:, near + 1] * part
    slope = np.linspace(-bend.tilt, bend.tilt, n_bands)
    return np.maximum(bent + slope * np.minimum(bent, 1.0), 0).astype(np.float32)
