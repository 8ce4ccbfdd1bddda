"""Small songs with exact truth, made from a text notation.

``make_song("4*8 2 4*8", bpm=120)`` is eight bars of four, one bar of two, eight of
four.  ``-4*2`` are two bars in which nothing sounds while the beat goes on;
``~2.5`` is 2.5 s of silence in which it does not; ``p4*4`` are bars without drums.
Everything is drawn from `seed`; nothing here is part of the product.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

RATE_HZ = 22050
CHORDS = ((0, 4, 7), (9, 12, 16), (5, 9, 12), (7, 11, 14))  # tonic, sixth, fourth, fifth
TOKEN = re.compile(r"(?P<mark>[-p]?)(?P<beats>\d+)(?:\*(?P<times>\d+))?$")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SynthSong:
    """Samples [shape=(n,), mono], and each beat's time, position and whether it sounds."""

    samples: np.ndarray
    beats_s: np.ndarray
    positions: np.ndarray
    audible: np.ndarray
    rate_hz: int

    @property
    def ones_s(self) -> np.ndarray:
        """Times of the downbeats."""
        return self.beats_s[self.positions == 1]


@dataclass(slots=True)
class _Bar:
    times_s: list[float]
    mark: str


def make_song(
    notation: str,
    *,
    bpm: float = 120.0,
    drift: float = 0.0,
    looseness_s: float = 0.0,
    lead_s: float = 0.5,
    seed: int = 0,
    rate_hz: int = RATE_HZ,
) -> SynthSong:
    """Render drums, bass and chords over the bars of `notation`.

    `drift` is the share by which the tempo has grown at the end; `looseness_s` the
    spread of a player around the beat (the truth stays on the beat).
    """
    rng = np.random.default_rng(seed)
    bars, end_s = _lay_bars(notation, bpm, drift, lead_s)
    samples = np.zeros(int((end_s + 1.0) * rate_hz))
    for index, bar in enumerate(bars):
        if bar.mark != "-":
            _play_bar(samples, bar, index, rng, looseness_s, rate_hz)
    beats = [
        (t, place, bar.mark != "-")
        for bar in bars
        for place, t in enumerate(bar.times_s[:-1], start=1)
    ]
    times, positions, audible = zip(*beats, strict=True)
    samples += 1e-4 * rng.standard_normal(len(samples))
    return SynthSong(
        samples=(0.8 * samples / np.abs(samples).max()).astype(np.float32),
        beats_s=np.array(times),
        positions=np.array(positions),
        audible=np.array(audible),
        rate_hz=rate_hz,
    )


def _lay_bars(notation: str, bpm: float, drift: float, lead_s: float) -> tuple[list[_Bar], float]:
    """Place every beat; the last time of a bar is the first of the next."""
    items = notation.split()
    total = sum(
        int(m["beats"]) * int(m["times"] or 1) for i in items if (m := TOKEN.match(i)) is not None
    )
    now_s, n_done, bars = lead_s, 0, []
    for item in items:
        if item.startswith("~"):
            now_s += float(item[1:])
            continue
        token = TOKEN.match(item)
        assert token, f"unknown token {item!r}"
        for _ in range(int(token["times"] or 1)):
            times_s = [now_s]
            for _ in range(int(token["beats"])):
                now_s += 60.0 / (bpm * (1 + drift * n_done / total))
                n_done += 1
                times_s.append(now_s)
            bars.append(_Bar(times_s, token["mark"]))
    return bars, now_s


def _play_bar(samples, bar, index, rng, looseness_s, rate_hz) -> None:
    chord = CHORDS[index % len(CHORDS)]
    n_beats = len(bar.times_s) - 1
    start_s, stop_s = bar.times_s[0], bar.times_s[-1]
    for tone in chord:
        _add(
            samples,
            _tone(220 * 2 ** (tone / 12), stop_s - start_s, rate_hz, 0.10),
            start_s,
            rate_hz,
        )
    for place in range(n_beats):
        beat_s = bar.times_s[place]
        late_s = looseness_s * rng.standard_normal()
        half_s = (bar.times_s[place + 1] - beat_s) / 2
        bass = 55 * 2 ** (chord[0 if place % 2 == 0 else 2] / 12)
        if place % 2 == 0 or n_beats == 3:
            level = 0.35 if place == 0 else 0.2
            _add(samples, _tone(bass, 1.8 * half_s, rate_hz, level), beat_s + late_s, rate_hz)
        if bar.mark == "p":
            _add(samples, _tone(440 * 2 ** (chord[1] / 12), half_s, rate_hz, 0.2), beat_s, rate_hz)
            continue
        is_kick = place == 0 or (n_beats != 3 and place % 2 == 0)
        hit = _kick(rate_hz) if is_kick else _noise(rng, 0.12, 0.35, rate_hz)
        _add(samples, hit, beat_s + late_s, rate_hz)
        for offset_s in (0.0, half_s):
            _add(samples, _noise(rng, 0.02, 0.10, rate_hz), beat_s + offset_s, rate_hz)


def _add(samples: np.ndarray, sound: np.ndarray, at_s: float, rate_hz: int) -> None:
    first = max(0, round(at_s * rate_hz))
    part = sound[: max(0, len(samples) - first)]
    samples[first : first + len(part)] += part


def _tone(hz: float, length_s: float, rate_hz: int, level: float) -> np.ndarray:
    t = np.arange(int(length_s * rate_hz)) / rate_hz
    swell = np.minimum(1, t / 0.004) * np.minimum(1, (length_s - t) / 0.02) * np.exp(-t)
    return level * swell * sum(np.sin(2 * np.pi * hz * k * t) / k for k in (1, 2, 3))


def _kick(rate_hz: int) -> np.ndarray:
    t = np.arange(int(0.2 * rate_hz)) / rate_hz
    return 0.9 * np.exp(-t / 0.06) * np.sin(2 * np.pi * (50 * t + 4 * (1 - np.exp(-t / 0.02))))


def _noise(rng: np.random.Generator, decay_s: float, level: float, rate_hz: int) -> np.ndarray:
    t = np.arange(int(4 * decay_s * rate_hz)) / rate_hz
    return level * np.exp(-t / decay_s) * rng.standard_normal(len(t))
