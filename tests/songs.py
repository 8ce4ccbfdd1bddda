"""Bar maps of made-up songs, for tests that need no sound."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from phrasefit.model import BarMap, Phrase, Section


def upbeat(bar_map: BarMap) -> BarMap:
    """Begin a song of four with an upbeat: its second beat is the first one."""
    return replace(bar_map, positions=(np.arange(len(bar_map.positions)) - 1) % 4 + 1)


def song(lengths_in_beats: tuple[int, ...], *, meter: int = 4, bpm: float = 120.0) -> BarMap:
    """Make a steady song from 1.0 s whose sections have these lengths."""
    n = sum(lengths_in_beats)
    positions = np.concatenate([np.arange(length) % meter + 1 for length in lengths_in_beats])
    starts = np.concatenate([[0], np.cumsum(lengths_in_beats)[:-1]]).tolist()
    times = 1.0 + np.arange(n + 1) * 60.0 / bpm
    sections = tuple(
        Section(start_beat=start, n_beats=length, letter="ABAC"[i % 4], strength=1.0)
        for i, (start, length) in enumerate(zip(starts, lengths_in_beats, strict=True))
    )
    group = 24 if meter == 3 else 32
    phrases = tuple(
        Phrase(
            start_beat=s.start_beat + k,
            n_beats=min(group, s.n_beats - k),
            group=group,
            strength=1.0 if k == 0 else 0.6,
        )
        for s in sections
        for k in range(0, s.n_beats, group)
    )
    return BarMap(
        beat_times_s=times[:-1],
        positions=positions,
        meter=meter,
        tempo_bpm=bpm,
        end_s=float(times[-1]),
        duration_s=float(times[-1]) + 1.0,
        sections=sections,
        phrases=phrases,
        title="Lantern Row <&>",
        artist="The Example Band",
    )  # fmt: skip
