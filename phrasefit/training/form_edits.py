"""Other songs from a song's bars: sections moved, bars dropped and doubled, noise."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np

from phrasefit.form.boundary_cues import bar_starts
from phrasefit.form.evidence import BeatEvidence
from phrasefit.training.form_songs import FEWEST_BARS, FormSong

MOST_BARS = 220
ODD_SHARES = (0.0, 0.1, 0.25)  # sections with bars too many or too few, by song
NOISES = (0.0, 0.1, 0.3)  # deviations of the song's own features


def edited(song: FormSong, rng: np.random.Generator) -> FormSong | None:
    """Cut up a song at its bar lines and put it together anew; None if too little is left."""
    sections = _reordered(_bars_of_sections(song), rng)
    share = float(rng.choice(ODD_SHARES))
    sections = [_odd(bars, rng, share) for bars in sections]
    sections = [bars for bars in sections if bars.size]
    if rng.random() < 0.3:
        sections[0] = sections[0][rng.integers(len(sections[0])) :]
    if rng.random() < 0.3:
        sections[-1] = sections[-1][: rng.integers(len(sections[-1])) + 1]
    bars = np.concatenate(sections)
    if not FEWEST_BARS <= len(bars) <= MOST_BARS:
        return None
    section_bars = np.cumsum([0, *(len(section) for section in sections[:-1])])
    lines = bar_starts(song.positions)
    lengths = np.diff(lines)[bars]
    if song.meter == 4 and rng.random() < 0.1:
        lengths[rng.choice(section_bars[1:] if len(section_bars) > 1 else [4]) - 1] -= 2
    lengths = np.maximum(lengths, 1)
    beats = np.concatenate(
        [lines[bar] + np.arange(length) for bar, length in zip(bars, lengths, strict=True)]
    )
    phrase_bars = None
    if song.phrase_bars is not None:
        phrase_bars = song.phrase_bars[bars]
        phrase_bars[section_bars] = True
    return replace(
        song,
        name=f"{song.name}, edited",
        evidence=_noisy(song.evidence, beats, rng),
        positions=song.positions[beats],
        section_bars=section_bars,
        phrase_bars=phrase_bars,
    )


def _bars_of_sections(song: FormSong) -> list[np.ndarray]:
    edges = np.append(song.section_bars, song.n_bars)
    return [np.arange(start, end) for start, end in itertools.pairwise(edges)]


def _reordered(sections: list[np.ndarray], rng: np.random.Generator) -> list[np.ndarray]:
    """Leave out, repeat or exchange sections in half of the songs."""
    sections = list(sections)
    if rng.random() < 0.5 and len(sections) > 4:
        for _ in range(rng.integers(1, 3)):
            one, other = rng.integers(len(sections), size=2)
            kind = rng.choice(["out", "again", "exchanged"], p=[0.4, 0.2, 0.4])
            if kind == "out":
                sections.pop(one)
            elif kind == "again":
                sections.insert(other, sections[one])
            else:
                sections[one], sections[other] = sections[other], sections[one]
    return sections


def _odd(bars: np.ndarray, rng: np.random.Generator, share: float) -> np.ndarray:
    """Now and then double or drop a bar or two, or play only half a section."""
    chance, n = rng.random(), int(rng.choice([1, 1, 1, 2]))
    if chance < share and len(bars) > 3:
        kind = rng.choice(["last again", "first again", "last out", "inside out"],
                          p=[0.35, 0.15, 0.3, 0.2])  # fmt: skip
        if kind == "last again":
            return np.append(bars, bars[-n:])
        if kind == "first again":
            return np.append(bars, bars[:n])
        at = len(bars) - n if kind == "last out" else int(rng.integers(1, len(bars) - 1))
        return np.delete(bars, np.arange(at, min(at + n, len(bars))))
    if chance < 1.5 * share and len(bars) >= 8:
        return bars[: len(bars) // 2]
    return bars


def _noisy(evidence: BeatEvidence, beats: np.ndarray, rng: np.random.Generator) -> BeatEvidence:
    """Take the rows of `beats`, less clear, in other balances."""
    noise = float(rng.choice(NOISES))
    rows = {}
    for name in ("timbre", "harmony", "loudness_db", "flux"):
        values = getattr(evidence, name)
        deviation = noise * values.std(axis=0)
        rows[name] = values[beats] + deviation * rng.normal(size=values[beats].shape)
    rows["harmony"] = np.maximum(rows["harmony"], 0.0) ** (
        rng.uniform(0.5, 2.0) if rng.random() < 0.3 else 1.0
    )
    loudness = rng.uniform(0.2, 3.0) if rng.random() < 0.2 else 1.0
    rows["flux"] = loudness * np.maximum(rows["flux"], 0.0)
    return BeatEvidence(**rows)
