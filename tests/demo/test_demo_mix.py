"""Mixing: levels hold, nothing clips, mono and low rates work."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from demo_songs import short_song

from phrasefit.demo.mix import PEAK_DBFS, MixSettings, master, playing_rms, render_song
from phrasefit.demo.score import Note, Track
from phrasefit.errors import ParameterError

RATE_HZ = 22050


def rendered(song, n_channels: int = 2, rate_hz: int = RATE_HZ, **settings) -> np.ndarray:
    """Mix a song with the same generator each time."""
    return render_song(
        np.random.default_rng(4), song.tracks, song.duration_s, sample_rate_hz=rate_hz,
        n_channels=n_channels, settings=replace(song.settings, **settings),
    )  # fmt: skip


def test_same_seed_same_bytes() -> None:
    """Rendering is a function of generator and score."""
    song = short_song("funk")

    assert rendered(song).tobytes() == rendered(song).tobytes()


@pytest.mark.parametrize("style", ["country-rock", "waltz", "pop"])
@pytest.mark.parametrize(("n_channels", "rate_hz"), [(1, 22050), (2, 22050), (2, 44100)])
def test_mixes_keep_their_peak_and_loudness(style: str, n_channels: int, rate_hz: int) -> None:
    """Peak at most -1 dBFS, level while playing within 4 dB of -16, no offset."""
    song = short_song(style)

    mix = rendered(song, n_channels, rate_hz)

    assert mix.shape == (round(song.duration_s * rate_hz), n_channels)
    assert 20 * np.log10(np.abs(mix).max()) <= PEAK_DBFS
    level_db = 20 * np.log10(playing_rms(mix[:, 0].copy(), rate_hz))
    assert -20.0 < level_db < -12.0
    assert np.abs(mix.mean(axis=0)).max() < 1e-3


def test_pan_puts_a_track_on_its_side() -> None:
    """A track panned hard right is at least 15 dB weaker on the left (the room remains)."""
    notes = tuple(Note(0.2 * i, 0.2, 60, 0.7) for i in range(20))
    track = Track(instrument="steel_guitar", notes=notes, pan=1.0)

    mix = render_song(np.random.default_rng(1), [track], 5.0, sample_rate_hz=RATE_HZ)

    left, right = np.sqrt(np.mean(mix**2, axis=0))
    assert 20 * np.log10(right / left) > 15.0


def test_group_trims_are_heard() -> None:
    """Drums 12 dB down leave less energy above 6 kHz, where mostly cymbals live."""
    song = short_song("disco")
    f = None
    energies = []
    for drums_db in (0.0, -12.0):
        mix = rendered(song, 1, drums_db=drums_db)[:, 0]
        power = np.abs(np.fft.rfft(mix)) ** 2
        f = np.fft.rfftfreq(len(mix), 1 / RATE_HZ)
        energies.append(power[f > 6000].sum() / power.sum())

    assert energies[1] < 0.5 * energies[0]


def test_the_limiter_holds_a_single_spike() -> None:
    """A spike 40 dB over everything ends under the ceiling like all else."""
    rng = np.random.default_rng(0)
    mix = (0.01 * rng.standard_normal((2, RATE_HZ))).astype(np.float32)
    mix[0, 5000] = 5.0

    out = master(mix, RATE_HZ, MixSettings(drive=0.0))

    assert np.abs(out).max() <= 10 ** (PEAK_DBFS / 20)


def test_a_fade_ends_in_silence() -> None:
    """With a fade the last hundredth of a second is 40 dB under the rest."""
    mix = rendered(short_song("disco", ending="go"), 1, fade_s=4.0)[:, 0]

    end = np.sqrt(np.mean(mix[-RATE_HZ // 100 :] ** 2))

    assert 20 * np.log10(end / playing_rms(mix, RATE_HZ) + 1e-12) < -40.0


@pytest.mark.parametrize(
    ("arguments", "message"),
    [({"n_channels": 3}, "n_channels=3 must be 1 or 2"),
     ({"sample_rate_hz": 4000}, "sample_rate_hz=4000 must be at least 8000")],
)  # fmt: skip
def test_impossible_formats_are_refused(arguments: dict, message: str) -> None:
    """The error names value and rule."""
    with pytest.raises(ParameterError, match=message):
        render_song(np.random.default_rng(0), [], 1.0, **arguments)
