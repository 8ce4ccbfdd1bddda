"""Sounds from General MIDI soundfonts, rendered in this process.

A font is loaded once a process; parts are rendered one by one so that mixing can
treat each.
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import numpy as np

from phrasefit.training.performance import Played

MAX_VOICES = 64
DRUM_BANK = 128
FADE_SAMPLES = 2205


@lru_cache(maxsize=16)
def load_font(path: Path, sample_rate_hz: int) -> object:
    """Load a soundfont for mono rendering at `sample_rate_hz`."""
    from tinysoundfont import _tinysoundfont

    font = _tinysoundfont.SoundFont(str(path))
    font.set_output(_tinysoundfont.OutputMode.Mono, sample_rate_hz, 0.0)
    font.set_max_voices(MAX_VOICES)
    return font


def has_program(font: object, program: int, *, drums: bool) -> bool:
    """Say whether the font has a program (or a drum kit)."""
    return font.get_preset_index(DRUM_BANK if drums else 0, program) >= 0


def render_part(
    font: object, played: Played, program: int, n_samples: int, sample_rate_hz: int
) -> np.ndarray:
    """Render a played part to mono [shape=(n_samples,), float32].

    Notes that start before 0 are started at 0 if they still sound.
    """
    drums = played.part.role in ("drums", "percussion")
    out = np.zeros(n_samples, dtype=np.float32)
    font.reset()
    # What still rang fades out within milliseconds: it must not be heard in this part.
    font.render(memoryview(bytearray(4 * FADE_SAMPLES)), False)
    font.channel_set_bank(0, DRUM_BANK if drums else 0)
    font.channel_set_preset_number(0, program, drums)
    events = _events(played, drums, n_samples, sample_rate_hz)
    view = memoryview(out).cast("B")
    done = 0
    for at, on, key, velocity in events:
        if at > done:
            font.render(view[4 * done : 4 * at], False)
            done = at
        if on:
            font.channel_note_on(0, key, velocity)
        else:
            font.channel_note_off(0, key)
    if done < n_samples:
        font.render(view[4 * done :], False)
    return out


def _events(
    played: Played, drums: bool, n_samples: int, sample_rate_hz: int
) -> list[tuple[int, bool, int, float]]:
    """Order note starts and ends by sample; an end goes before a start at the same place."""
    starts = np.round(played.starts_s * sample_rate_hz).astype(int)
    ends = np.round(played.ends_s * sample_rate_hz).astype(int)
    keep = (starts < n_samples) & (ends > 0) & ((starts >= 0) | (not drums))
    keys = np.clip(np.round(played.pitches), 0, 127).astype(int)[keep]
    starts, ends = np.maximum(starts[keep], 0), np.minimum(ends[keep], n_samples)
    loud = played.velocities[keep]
    events = [(int(s), True, int(k), float(v)) for s, k, v in zip(starts, keys, loud, strict=True)]
    if not drums:
        events += [(int(e), False, int(k), 0.0) for e, k in zip(ends, keys, strict=True)]
    return sorted(events)
