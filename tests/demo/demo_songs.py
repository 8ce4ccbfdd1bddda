"""Short songs and measurements shared by the tests of the generator."""

from __future__ import annotations

import itertools

import numpy as np

from phrasefit.demo.arrange import Song, compose
from phrasefit.demo.instruments import render_notes
from phrasefit.demo.plan import SectionPlan, TimePlan
from phrasefit.demo.styles import STYLES

SHORT_PLAN = (
    SectionPlan(label="intro", phrases=(2,)),
    SectionPlan(label="verse", phrases=(2, 2)),
    SectionPlan(label="chorus", phrases=(2, 2)),
    SectionPlan(label="verse", phrases=(2, 2)),
)
STRUCK_DRUMS = ("kick", "snare", "rim", "brush", "closed_hat", "ride")


def short_song(style: str, seed: int = 3, **changes) -> Song:
    """Compose a short song in `style` at the middle of its tempo range."""
    chosen = STYLES[style]
    time = changes.pop("time", TimePlan(tempo_bpm=sum(chosen.tempo_bpm) / 2))
    plan = changes.pop("plan", SHORT_PLAN)
    return compose(np.random.default_rng(seed), chosen, plan, time, key=2, seed=seed, **changes)


def drum_sound(song: Song, sample_rate_hz: int) -> np.ndarray:
    """Render the dry drums of a song alone."""
    n_samples = round(song.duration_s * sample_rate_hz)
    sound = np.zeros(n_samples, dtype=np.float32)
    for track in song.tracks:
        if track.instrument in STRUCK_DRUMS:
            rng = np.random.default_rng(1)
            sound += render_notes(
                rng, track.instrument, track.notes, n_samples, sample_rate_hz=sample_rate_hz
            )
    return sound


def onset_errors_s(sound: np.ndarray, beats_s: np.ndarray, sample_rate_hz: int) -> np.ndarray:
    """Measure, for every beat with a clear attack within 30 ms, attack minus beat.

    The attack is where the level first exceeds the level just before by a fifth of the rise.
    """
    level = np.abs(sound)
    reach = round(0.03 * sample_rate_hz)
    quiet = round(0.012 * sample_rate_hz)
    errors = []
    for beat in beats_s:
        center = round(beat * sample_rate_hz)
        first = max(0, center - reach)
        around = level[first : center + reach]
        before, peak = around[:quiet].max(), around.max()
        if peak > 0.1 and before < 0.3 * peak:
            onset = np.argmax(around > before + 0.2 * (peak - before))
            errors.append((first + onset) / sample_rate_hz - beat)
    return np.array(errors)


def beat_chroma(sound: np.ndarray, beats_s: np.ndarray, sample_rate_hz: int) -> np.ndarray:
    """Fold the spectrum of each beat onto 12 pitch classes [shape=(n_beats - 1, 12)], unit rows."""
    rows = []
    for start, stop in itertools.pairwise(beats_s):
        piece = sound[round(start * sample_rate_hz) : round(stop * sample_rate_hz)]
        power = np.abs(np.fft.rfft(piece * np.hanning(len(piece)), 16384)) ** 2
        f = np.fft.rfftfreq(16384, 1.0 / sample_rate_hz)
        used = (f > 100.0) & (f < 2000.0)
        classes = np.round(12 * np.log2(f[used] / 440.0) + 69).astype(int) % 12
        rows.append(np.sqrt(np.bincount(classes, power[used], 12)))
    chroma = np.array(rows)
    return chroma / np.linalg.norm(chroma, axis=1, keepdims=True)
