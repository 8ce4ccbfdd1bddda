"""Parts mixed and mastered as records are, so that clean synthesis does not give itself away.

A `Desk` is drawn once a song: how loud drums and voices are, how wet, how squashed, how
bright; it ranges from dry demo tapes to loud modern masters.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from phrasefit.training.effects import (
    active_rms,
    background,
    bed,
    code,
    compress,
    compress_bands,
    double,
    limit,
    narrow,
    random_curve,
    reverberate,
    room_tail,
    saturate,
    weigh_spectrum,
)

# Usual level of a role in the mix [dB]; songs scatter around it.
LEVEL_DB = {
    "drums": -1.5, "percussion": -10.0, "bass": -6.0, "chords": -9.0, "pad": -15.0,
    "arpeggio": -11.0, "lead": -7.0, "voice": -3.0, "choir": -11.0,
}  # fmt: skip
# Brings the mean spectrum of our mixes to that of 50 recorded game songs (means over each).
HOUSE_HZ = np.array([20, 60, 120, 300, 1000, 3000, 6000, 11025], dtype=float)
HOUSE_DB = np.array([7.0, 6.5, 0.0, -3.5, -2.5, -2.5, -1.0, 1.0])


@dataclass(frozen=True, slots=True, kw_only=True)
class Desk:
    """How a song is mixed: level offsets by role [dB], rooms, ducking, loudness.

    `bare` songs are only balanced, as a player of files does: no color, no mastering.
    """

    offsets_db: dict[str, float]
    stem_eq_db: float
    wet: float
    decay_s: float
    drum_room: float
    duck: float
    squash: float
    bare: bool = False


def draw_desk(
    rng: np.random.Generator, *, electronic: bool, without: frozenset[str], bare: bool = False
) -> Desk:
    """Draw a desk; `electronic` songs duck under the kick more often."""
    offsets = {role: float(rng.normal(0, 3.0)) for role in LEVEL_DB}
    offsets["drums"] += float(rng.choice([0, 0, 0, 0, 4, -5, -11]))
    offsets["voice"] += float(rng.choice([0, 0, 4]))
    wet = float(rng.choice([0.0, 0.15, 0.3, 0.6]) * rng.uniform(0.5, 1.3))
    return Desk(
        offsets_db=offsets,
        stem_eq_db=float(rng.choice([2.0, 4.0, 6.0])),
        wet=0.0 if "rooms" in without else wet,
        decay_s=float(rng.uniform(0.25, 2.4)),
        drum_room=0.0 if "rooms" in without else float(rng.choice([0, 0, 0.3, 0.7])),
        duck=float(rng.uniform(2, 12)) if rng.random() < (0.5 if electronic else 0.06) else 0.0,
        squash=float(rng.uniform(0, 1)),
        bare=bare,
    )


def mix(
    rng: np.random.Generator, desk: Desk, stems: list[tuple[str, np.ndarray]], sample_rate_hz: int
) -> np.ndarray:
    """Balance stems by role, color each, duck under the drums, add a room.

    Returns
    -------
    np.ndarray [shape=(n,), float32]
    """
    n = stems[0][1].size
    dry, wet = np.zeros(n, dtype=np.float32), np.zeros(n, dtype=np.float32)
    leveled = [
        (role, _level(rng, desk, role, sound))
        for role, sound in stems
        if np.abs(sound).max() > 1e-5
    ]
    beat = next((sound for role, sound in leveled if role == "drums"), None)
    for role, level_sound in leveled:
        sound = _color(rng, desk, role, level_sound, sample_rate_hz)
        if desk.duck and not desk.bare and beat is not None and role not in ("drums", "percussion"):
            sound = compress(sound, 0.0, desk.duck, 0.12, sample_rate_hz, key=beat)
        dry += sound
        if role == "drums" and desk.drum_room and not desk.bare:
            tail = room_tail(rng, float(rng.uniform(0.15, 0.7)), sample_rate_hz)
            dry += np.float32(desk.drum_room) * reverberate(sound, tail)
        wet += sound * np.float32(0.08 if role == "bass" else rng.uniform(0.2, 1.0))
    if desk.wet:
        tail = room_tail(rng, desk.decay_s, sample_rate_hz, gap_s=float(rng.uniform(0, 0.04)))
        dry += np.float32(desk.wet) * reverberate(wet, tail)
    return dry


def _level(rng: np.random.Generator, desk: Desk, role: str, sound: np.ndarray) -> np.ndarray:
    """Bring a stem to its role's level."""
    level_db = LEVEL_DB[role] + desk.offsets_db[role] + rng.normal(0, 1.5)
    return sound * np.float32(0.25 * 10 ** (level_db / 20) / (active_rms(sound) + 1e-6))


def _color(
    rng: np.random.Generator, desk: Desk, role: str, sound: np.ndarray, sample_rate_hz: int
) -> np.ndarray:
    """Equalize, double, compress or drive a stem."""
    if desk.bare:
        return sound
    if rng.random() < 0.45:
        sound = weigh_spectrum(sound, *random_curve(rng, desk.stem_eq_db), sample_rate_hz)
    if role in ("chords", "pad", "voice", "arpeggio", "lead") and rng.random() < 0.3:
        sound = double(rng, sound, sample_rate_hz)
    if role in ("drums", "bass", "voice", "chords") and rng.random() < 0.2 + 0.5 * desk.squash:
        sound = compress(sound, rng.uniform(-6, 3), rng.uniform(2, 8), rng.uniform(0.04, 0.25),
                         sample_rate_hz)  # fmt: skip
    if rng.random() < 0.12:
        level = active_rms(sound) + 1e-9
        sound = saturate(sound / np.float32(3 * level), rng.uniform(0.8, 3)) * np.float32(level)
    return sound


def master(
    rng: np.random.Generator,
    desk: Desk,
    sound: np.ndarray,
    sample_rate_hz: int,
    without: frozenset[str],
) -> np.ndarray:
    """Treat the whole mix: tone, compression, limiting, noise, coding, level."""
    if desk.bare:
        return _to_peak(rng, sound)
    points, gains = random_curve(rng, 4.0)
    gains = gains + np.interp(np.log(points), np.log(HOUSE_HZ), HOUSE_DB)
    sound = weigh_spectrum(sound, points, gains, sample_rate_hz)
    if rng.random() < 0.35 * (0.5 + desk.squash):
        sound = compress_bands(rng, sound, sample_rate_hz)
    elif rng.random() < 0.6:
        sound = compress(sound, rng.uniform(-4, 4), rng.uniform(1.5, 8), rng.uniform(0.05, 0.4),
                         sample_rate_hz)  # fmt: skip
    sound = sound * np.float32(0.2 / (active_rms(sound) + 1e-9))
    if rng.random() < 0.4:
        sound = saturate(sound, float(rng.uniform(0.5, 2.0)))
    if rng.random() < 0.2 + 0.5 * desk.squash:
        ceiling = float(np.abs(sound).max()) * 10 ** (-rng.uniform(1, 2 + 10 * desk.squash) / 20)
        sound = limit(sound, ceiling, float(rng.uniform(0.03, 0.2)), sample_rate_hz)
    if "noise" not in without:
        sound = bed(rng, sound, sample_rate_hz)
        if rng.random() < 0.35:
            sound = background(rng, sound, sample_rate_hz)
    if rng.random() < 0.3:
        sound = narrow(rng, sound, sample_rate_hz)
    if rng.random() < 0.3 and "coding" not in without:
        kind = str(rng.choice(["mp3", "ogg"]))
        sound = code(sound, kind, float(rng.uniform(0.3, 0.95)), sample_rate_hz)
    return _to_peak(rng, sound)


def _to_peak(rng: np.random.Generator, sound: np.ndarray) -> np.ndarray:
    """Draw how loud the song is."""
    peak = float(np.abs(sound).max()) + 1e-9
    loudness_db = -float(rng.choice([rng.uniform(0.1, 3), rng.uniform(3, 20)], p=[0.7, 0.3]))
    return (sound * (10 ** (loudness_db / 20) / peak)).astype(np.float32)
