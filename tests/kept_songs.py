"""Songs put into a store as if they had been heard: made-up maps, no sound."""

from __future__ import annotations

import hashlib
import itertools
from pathlib import Path

import numpy as np

from phrasefit import pipeline
from phrasefit.form.evidence import N_FLUX, N_TIMBRE, BeatEvidence
from phrasefit.model import BarMap, Section, SongInfo
from phrasefit.store import Store


def square_song(
    title: str,
    *bars_of_section: int,
    bpm: float = 112.0,
    meter: int = 4,
    artist: str = "",
    **fields: object,
) -> BarMap:
    """Build a song of sections with so many bars each."""
    positions = np.tile(np.arange(1, meter + 1), sum(bars_of_section))
    edges = meter * np.cumsum([0, *bars_of_section])
    beat_s = 60.0 / bpm
    times = 0.5 + beat_s * np.arange(len(positions))
    return BarMap(
        beat_times_s=times,
        positions=positions,
        meter=meter,
        tempo_bpm=bpm,
        end_s=times[-1] + beat_s,
        duration_s=times[-1] + 2.0,
        sections=tuple(
            Section(start_beat=int(a), n_beats=int(b - a), letter="AB"[i % 2], strength=1.0)
            for i, (a, b) in enumerate(itertools.pairwise(edges))
        ),
        title=title,
        artist=artist,
        **fields,
    )


def analysis_of(bar_map: BarMap, path: Path) -> pipeline.Analysis:
    """Build what listening to the song would have given."""
    n = len(bar_map.beat_times_s)
    evidence = BeatEvidence(
        timbre=np.zeros((n, N_TIMBRE)),
        harmony=np.zeros((n, 12)),
        loudness_db=np.zeros(n),
        flux=np.zeros((n, N_FLUX)),
    )
    key = hashlib.sha256(bar_map.title.encode()).hexdigest()
    info = SongInfo(path=str(path), content_hash=key, title=bar_map.title, artist=bar_map.artist)
    return pipeline.Analysis(info=info, found=bar_map, evidence=evidence, bar_map=bar_map)


def keep(store: Store, folder: Path, bar_map: BarMap) -> str:
    """Put a song into `store` under a file of its title; return its key."""
    path = folder / f"{bar_map.title}.wav"
    path.write_bytes(bar_map.title.encode())
    analysis = analysis_of(bar_map, path)
    key = analysis.info.content_hash
    store.put_analysis(key, pipeline.analysis_version(), pipeline.document_of(analysis), path=path)
    return key
