"""From tracks to a finished recording: levels, pan, equalizer, room, compression, limit.

Each instrument has a `Channel` (its usual place in a mix); `MixSettings` bends the
whole.  Levels are measured, not hoped for: every track is brought to its channel's
level before it is added.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from phrasefit.demo.instruments import render_notes
from phrasefit.demo.score import Track
from phrasefit.errors import ParameterError
from phrasefit.sounds.dsp import filtered, peaking

PEAK_DBFS = -1.0  # ceiling of the finished mix
MIX_RMS_DBFS = -14.0  # loudness the mix is brought to before compression


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """Where an instrument usually sits.

    `level_db` is the peak level of drums (group ``drums``) and the level while
    playing (RMS) of all others; `low_cut_hz` removes rumble (0 = none to remove); `presence` is a
    (center Hz, gain dB) bell; `send` (0-1) goes to the room.
    """

    group: str
    level_db: float
    low_cut_hz: float = 90.0
    presence: tuple[float, float] | None = None
    send: float = 0.15


CHANNELS: dict[str, Channel] = {
    "kick": Channel(group="drums", level_db=-5.5, low_cut_hz=28.0, send=0.02),
    "snare": Channel(group="drums", level_db=-6.5, send=0.16),
    "brush": Channel(group="drums", level_db=-9.5, low_cut_hz=140.0, send=0.12),
    "rim": Channel(group="drums", level_db=-11.0, low_cut_hz=150.0, send=0.2),
    "closed_hat": Channel(group="drums", level_db=-17.5, low_cut_hz=0.0, send=0.05),
    "open_hat": Channel(group="drums", level_db=-17.5, low_cut_hz=0.0, send=0.06),
    "ride": Channel(group="drums", level_db=-17.5, low_cut_hz=0.0, send=0.08),
    "crash": Channel(group="drums", level_db=-13.0, low_cut_hz=250.0, send=0.15),
    "high_tom": Channel(group="drums", level_db=-10.0, low_cut_hz=60.0),
    "mid_tom": Channel(group="drums", level_db=-10.0, low_cut_hz=50.0),
    "low_tom": Channel(group="drums", level_db=-9.0, low_cut_hz=40.0),
    "clap": Channel(group="drums", level_db=-13.0, low_cut_hz=300.0, send=0.25),
    "shaker": Channel(group="drums", level_db=-22.0, low_cut_hz=0.0, send=0.08),
    "tambourine": Channel(group="drums", level_db=-20.0, low_cut_hz=0.0, send=0.12),
    "cowbell": Channel(group="drums", level_db=-20.0, low_cut_hz=300.0),
    "conga": Channel(group="drums", level_db=-14.0, low_cut_hz=90.0, send=0.15),
    "picked_bass": Channel(group="bass", level_db=-18.0, low_cut_hz=32.0, send=0.0),
    "upright_bass": Channel(group="bass", level_db=-17.5, low_cut_hz=32.0, send=0.03),
    "synth_bass": Channel(group="bass", level_db=-19.0, low_cut_hz=32.0, send=0.0),
    "steel_guitar": Channel(group="harmony", level_db=-24.0, low_cut_hz=130.0,
                            presence=(3500.0, 3.0)),
    "nylon_guitar": Channel(group="harmony", level_db=-23.0, presence=(2500.0, 2.0)),
    "electric_guitar": Channel(group="harmony", level_db=-24.0, low_cut_hz=110.0,
                               presence=(2200.0, 2.5)),
    "muted_guitar": Channel(group="harmony", level_db=-26.0, low_cut_hz=200.0, send=0.1),
    "banjo": Channel(group="harmony", level_db=-25.0, low_cut_hz=180.0),
    "piano": Channel(group="harmony", level_db=-24.0, presence=(3000.0, 2.0)),
    "tine_piano": Channel(group="harmony", level_db=-25.0, send=0.2),
    "organ": Channel(group="harmony", level_db=-27.0, low_cut_hz=120.0, send=0.12),
    "string_pad": Channel(group="harmony", level_db=-28.0, low_cut_hz=180.0, send=0.35),
    "brass": Channel(group="harmony", level_db=-22.0, low_cut_hz=150.0, send=0.2),
    "fiddle": Channel(group="lead", level_db=-22.0, low_cut_hz=180.0, send=0.25),
    "pedal_steel": Channel(group="lead", level_db=-22.5, low_cut_hz=150.0, send=0.35),
    "synth_lead": Channel(group="lead", level_db=-23.0, low_cut_hz=150.0, send=0.25),
    "singer": Channel(group="lead", level_db=-19.0, low_cut_hz=110.0, presence=(3000.0, 3.0),
                      send=0.22),
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class MixSettings:
    """How the engineer leans: group levels [dB], room, compression, tone.

    `room_s` is the time the room takes to fall by 60 dB, `room_db` its level
    against the usual; `squeeze` (0-1) is the amount of compression; `drive` (0-1)
    the saturation; `bright_db` lifts (or cuts) the top; `fade_s` fades the end out.
    """

    drums_db: float = 0.0
    bass_db: float = 0.0
    harmony_db: float = 0.0
    lead_db: float = 0.0
    room_s: float = 1.1
    room_db: float = 0.0
    squeeze: float = 0.4
    drive: float = 0.25
    bright_db: float = 0.0
    fade_s: float = 0.0

    def group_db(self, group: str) -> float:
        """Return the trim of one of the four groups."""
        return float(getattr(self, f"{group}_db"))


def render_song(
    rng: np.random.Generator,
    tracks: Sequence[Track],
    duration_s: float,
    *,
    sample_rate_hz: int = 44100,
    n_channels: int = 2,
    settings: MixSettings | None = None,
) -> np.ndarray:
    """Play all tracks and mix them.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of timbres, strokes and the room; the same seed gives the same samples.
    tracks : sequence of Track
        Every instrument must have a `Channel`.
    duration_s : float
        Length of the song [s].
    sample_rate_hz : int
        Rate of the result, 8000 or more.
    n_channels : int
        1 (mono, nothing is panned) or 2.
    settings : MixSettings, optional
        The lean of the mix.

    Returns
    -------
    array [shape=(n_samples, n_channels), float32]
        Peak at or below -1 dBFS.

    Raises
    ------
    ParameterError
        If `n_channels` is not 1 or 2, or the rate is too low.
    """
    if n_channels not in (1, 2):
        raise ParameterError(f"n_channels={n_channels} must be 1 or 2")
    if sample_rate_hz < 8000:
        raise ParameterError(f"sample_rate_hz={sample_rate_hz} must be at least 8000")
    settings = settings or MixSettings()
    n_samples = round(duration_s * sample_rate_hz)
    dry = np.zeros((n_channels, n_samples), dtype=np.float32)
    wet = np.zeros((n_channels, n_samples), dtype=np.float32)
    for track in tracks:
        stem = _balanced_stem(rng, track, n_samples, sample_rate_hz, settings)
        for channel, gain in enumerate(_pan_gains(track.pan, n_channels)):
            dry[channel] += gain * stem
            wet[channel] += np.float32(gain * CHANNELS[track.instrument].send) * stem
    dry += 10 ** (settings.room_db / 20) * _room(rng, wet, settings.room_s, sample_rate_hz)
    return master(dry, sample_rate_hz, settings).T


def _balanced_stem(
    rng: np.random.Generator,
    track: Track,
    n_samples: int,
    sample_rate_hz: int,
    settings: MixSettings,
) -> np.ndarray:
    """Render one track, equalize it and bring it to its level."""
    channel = CHANNELS[track.instrument]
    stem = render_notes(
        rng, track.instrument, track.notes, n_samples, sample_rate_hz=sample_rate_hz
    )
    if channel.low_cut_hz:
        stem = filtered(stem, "high", channel.low_cut_hz, sample_rate_hz)
    if channel.presence:
        center_hz, gain_db = channel.presence
        stem = peaking(stem, center_hz, gain_db, 0.8, sample_rate_hz)
    is_drum = channel.group == "drums"
    now = np.max(np.abs(stem), initial=0.0) if is_drum else playing_rms(stem, sample_rate_hz)
    target_db = channel.level_db + track.level_db + settings.group_db(channel.group)
    return stem * np.float32(10 ** (target_db / 20) / (now + 1e-9))


def playing_rms(sound: np.ndarray, sample_rate_hz: int) -> float:
    """Measure the RMS of the moments in which `sound` plays (within 20 dB of its loudest)."""
    frame = max(1, sample_rate_hz // 20)
    n_frames = len(sound) // frame
    if not n_frames:
        return 0.0
    power = np.mean(np.square(sound[: n_frames * frame].reshape(n_frames, frame)), axis=1)
    playing = power[power > 0.01 * power.max()]
    return float(np.sqrt(playing.mean())) if playing.size else 0.0


def _pan_gains(pan: float, n_channels: int) -> tuple[float, ...]:
    """Equal-power gains; mono takes all at unity."""
    if n_channels == 1:
        return (1.0,)
    angle = (np.clip(pan, -1.0, 1.0) + 1.0) * np.pi / 4.0
    return (float(np.sqrt(2.0) * np.cos(angle)), float(np.sqrt(2.0) * np.sin(angle)))


def _room(
    rng: np.random.Generator, wet: np.ndarray, room_s: float, sample_rate_hz: int
) -> np.ndarray:
    """Answer of a room: noise that dies away, the top sooner, after a short gap."""
    from scipy.signal import oaconvolve

    n = max(2, round(1.1 * room_s * sample_rate_hz))
    t = np.arange(n) / sample_rate_hz
    noise = rng.standard_normal((len(wet), n))
    low = filtered(noise, "low", 2500.0, sample_rate_hz, 1)
    tail = low * np.exp(-6.9 * t / room_s) + (noise - low) * np.exp(-6.9 * t / (0.45 * room_s))
    tail[:, : round(0.012 * sample_rate_hz)] = 0.0
    tail = filtered(tail, "high", 220.0, sample_rate_hz)
    tail /= np.sqrt(np.sum(tail**2, axis=1, keepdims=True))
    answer = oaconvolve(wet, tail.astype(np.float32), axes=1)
    return answer[:, : wet.shape[1]]


def master(mix: np.ndarray, sample_rate_hz: int, settings: MixSettings) -> np.ndarray:
    """Finish a mix [shape=(n_channels, n_samples)]: tone, compression, saturation, limit."""
    if settings.bright_db:
        top = filtered(mix, "high", 3500.0, sample_rate_hz, 1)
        mix = mix + np.float32(10 ** (settings.bright_db / 20) - 1.0) * top
    mix = mix * np.float32(10 ** (MIX_RMS_DBFS / 20) / (playing_rms(mix[0], sample_rate_hz) + 1e-9))
    mix = mix * _compression(mix, sample_rate_hz, settings.squeeze)
    if settings.drive:
        # Unity gain for small signals: only the tops are rounded.
        bend = np.float32(1.5 * settings.drive)
        mix = np.tanh(bend * mix) / bend
    if settings.fade_s:
        n_fade = min(mix.shape[1], round(settings.fade_s * sample_rate_hz))
        mix[:, -n_fade:] *= np.linspace(1.0, 0.0, n_fade, dtype=np.float32) ** 2
    return _limited(mix, sample_rate_hz)


def _compression(mix: np.ndarray, sample_rate_hz: int, squeeze: float) -> np.ndarray:
    """Gain of a slow 3:1 compressor keyed by both channels (blocks of 5 ms)."""
    from scipy.ndimage import gaussian_filter1d

    hop = max(1, sample_rate_hz // 200)
    n_blocks = -(-mix.shape[1] // hop)
    padded = np.zeros(n_blocks * hop, dtype=np.float32)
    padded[: mix.shape[1]] = np.mean(np.square(mix), axis=0)
    level_db = 10.0 * np.log10(padded.reshape(n_blocks, hop).mean(axis=1) + 1e-9)
    level_db = gaussian_filter1d(level_db, 6.0)
    over_db = np.maximum(level_db - (MIX_RMS_DBFS - 4.0), 0.0)
    gain = 10.0 ** (-(2.0 / 3.0) * squeeze * over_db / 20.0)
    places = np.arange(mix.shape[1]) / hop - 0.5
    return np.interp(places, np.arange(n_blocks), gain).astype(np.float32)


def _limited(mix: np.ndarray, sample_rate_hz: int) -> np.ndarray:
    """Hold every sample under the ceiling: the gain dips smoothly around each peak."""
    from scipy.ndimage import maximum_filter1d, uniform_filter1d

    ceiling = np.float32(10 ** (PEAK_DBFS / 20) * 0.999)
    reach = max(3, round(0.003 * sample_rate_hz)) | 1
    peak = maximum_filter1d(np.max(np.abs(mix), axis=0), reach)
    gain = np.minimum(1.0, ceiling / np.maximum(peak, 1e-9))
    return mix * uniform_filter1d(gain, reach)
