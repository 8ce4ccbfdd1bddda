"""Which instrument plays a part: soundfonts of several makers, drum kits, own synthesis.

May import: training.{material, performance, sampler, synths, voices}, NumPy.
"""

from __future__ import annotations

import numpy as np

from phrasefit.training.material import HELD_OUT_FONTS, list_files
from phrasefit.training.performance import Played
from phrasefit.training.sampler import has_program, load_font, render_part


def render_stem(
    rng: np.random.Generator,
    played: Played,
    n_samples: int,
    sample_rate_hz: int,
    held_out: bool,
    without: frozenset[str],
) -> np.ndarray:
    """Render one played part with an instrument drawn for its role."""
    fonts = [
        path for path in list_files("fonts", ".sf2")
        if (path.stem in HELD_OUT_FONTS) == held_out
    ]  # fmt: skip
    drums = played.part.role in ("drums", "percussion")
    if not fonts:
        return np.zeros(n_samples, dtype=np.float32)
    font = load_font(fonts[rng.integers(len(fonts))], sample_rate_hz)
    program = max(played.part.program, 0)
    if drums:
        kits = [p for p in (0, 8, 16, 24, 25, 32, 40) if has_program(font, p, drums=True)]
        program = int(rng.choice(kits or [0]))
    return render_part(font, played, program, n_samples, sample_rate_hz)
