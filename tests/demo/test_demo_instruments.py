"""Instruments: pitch, decay, clean ends, and the same sound for the same seed."""

from __future__ import annotations

import numpy as np
import pytest

from phrasefit.demo.instruments import INSTRUMENTS, render_notes
from phrasefit.demo.score import Note
from phrasefit.demo.strings import PLUCKED
from phrasefit.demo.voices import SUSTAINED
from phrasefit.sounds.dsp import midi_to_hz, peaking
from phrasefit.sounds.strings import string_response

RATE_HZ = 22050


def one_note(instrument: str, pitch: float = 57.0, rate_hz: int = RATE_HZ) -> np.ndarray:
    """Play one note of half a second, a tenth of a second in."""
    notes = [Note(0.1, 0.5, pitch, 0.8)]
    rng = np.random.default_rng(5)
    return render_notes(rng, instrument, notes, 4 * rate_hz, sample_rate_hz=rate_hz)


def strongest_pitch(sound: np.ndarray, near_hz: float, rate_hz: int) -> float:
    """Find the spectral peak within half a semitone of `near_hz` [Hz]."""
    size = 2**19
    power = np.abs(np.fft.rfft(sound * np.hanning(len(sound)), size))
    f = np.fft.rfftfreq(size, 1 / rate_hz)
    inside = np.flatnonzero(np.abs(12 * np.log2(np.maximum(f, 1) / near_hz)) < 0.5)
    return float(f[inside[np.argmax(power[inside])]])


@pytest.mark.parametrize("instrument", INSTRUMENTS)
@pytest.mark.parametrize("rate_hz", [8000, 22050, 44100])
def test_every_instrument_sounds_at_every_rate(instrument: str, rate_hz: int) -> None:
    """Finite and audible; nothing sounds in the first 5 ms, long before note and consonant."""
    sound = one_note(instrument, rate_hz=rate_hz)

    assert sound.dtype == np.float32 and sound.shape == (4 * rate_hz,)
    assert np.all(np.isfinite(sound))
    assert np.abs(sound).max() > 0.05
    assert np.abs(sound[: rate_hz // 200]).max() == 0.0


@pytest.mark.parametrize("instrument", INSTRUMENTS)
def test_notes_end_without_a_click(instrument: str) -> None:
    """The last 5 ms that sound at all lie at least 30 dB under the peak."""
    sound = np.abs(one_note(instrument))
    last = int(np.flatnonzero(sound > 1e-7)[-1])

    end = sound[max(0, last - RATE_HZ // 200) : last + 1]

    assert end.max() < 0.0316 * sound.max()


@pytest.mark.parametrize("instrument", [*PLUCKED, *SUSTAINED])
def test_pitch_is_equal_temperament_at_440(instrument: str) -> None:
    """A3 sounds at 220 Hz within 12 cents (A4 = 440 Hz: ISO 16:1975).

    Twelve cents leave room for vibrato, detuned pads and the scoop into a note.
    """
    low = 45 if "bass" in instrument else 57
    notes = [Note(0.0, 2.0, low, 0.8)]
    sound = render_notes(
        np.random.default_rng(5), instrument, notes, 2 * RATE_HZ, sample_rate_hz=RATE_HZ
    )

    heard = strongest_pitch(sound[RATE_HZ // 5 :], midi_to_hz(low), RATE_HZ)

    assert abs(1200 * np.log2(heard / midi_to_hz(low))) < 12.0


@pytest.mark.parametrize("pitch", [40, 57, 71, 83])
def test_strings_are_in_tune_to_two_cents(pitch: int) -> None:
    """The frequency-domain string keeps fractional periods: no detuned high notes."""
    hz = midi_to_hz(pitch)
    sound = string_response(RATE_HZ, hz, 1.5, decay_s=3.0, damping_hz=3000.0, brightness_hz=2000.0)

    assert abs(1200 * np.log2(strongest_pitch(sound, hz, RATE_HZ) / hz)) < 2.0


def test_strings_decay_as_asked() -> None:
    """The fundamental of a string with a 60 dB time of 2 s falls 30 dB in one second."""
    hz = 110.0
    sound = string_response(
        RATE_HZ, hz, 2.0, decay_s=2.0, damping_hz=1e6, brightness_hz=150.0, strike_at=0.3
    )
    spans = [sound[round(t * RATE_HZ) :][: RATE_HZ // 5] for t in (0.2, 1.2)]

    levels = [np.sqrt(np.mean(span**2)) for span in spans]

    assert 20 * np.log10(levels[0] / levels[1]) == pytest.approx(30.0, abs=1.0)


def test_stiff_strings_are_sharp_as_the_formula_says() -> None:
    """Partial n of a stiff string lies at n f sqrt(1 + B n^2).

    Formula: H. Fletcher, E. D. Blackham and R. Stratton, "Quality of piano tones", 1962.
    """
    hz, stiffness, partial = 110.0, 4e-4, 8
    sound = string_response(
        RATE_HZ, hz, 2.0, decay_s=6.0, damping_hz=1e5, brightness_hz=4000.0, stiffness=stiffness
    )
    expected = partial * hz * np.sqrt(1 + stiffness * partial**2)

    heard = strongest_pitch(sound, expected, RATE_HZ)

    assert abs(1200 * np.log2(heard / expected)) < 2.0


def test_same_seed_same_bytes_other_seed_other_drum() -> None:
    """Sounds depend on nothing but the generator passed in."""
    notes = [Note(0.1 * i, 0.1, 60, 0.3 + 0.1 * (i % 6)) for i in range(12)]

    takes = [
        render_notes(np.random.default_rng(seed), "snare", notes, RATE_HZ, sample_rate_hz=RATE_HZ)
        for seed in (1, 1, 2)
    ]

    assert takes[0].tobytes() == takes[1].tobytes()
    assert not np.allclose(takes[0], takes[2])


def test_louder_notes_are_louder() -> None:
    """Velocity is heard in the level of every instrument."""
    for instrument in INSTRUMENTS:
        levels = []
        for velocity in (0.3, 0.9):
            notes = [Note(0.0, 0.5, 57, velocity)]
            rng = np.random.default_rng(5)
            sound = render_notes(rng, instrument, notes, RATE_HZ, sample_rate_hz=RATE_HZ)
            levels.append(float(np.sqrt(np.mean(sound**2))))

        assert levels[1] > 1.5 * levels[0], instrument


def test_an_unknown_instrument_is_named() -> None:
    """The error names the wrong instrument and the right ones."""
    from phrasefit.errors import ParameterError

    with pytest.raises(ParameterError, match="'kazoo' is unknown; choose one of kick"):
        render_notes(np.random.default_rng(0), "kazoo", [], 10)


def test_a_bell_filter_lifts_what_it_says() -> None:
    """A +6 dB bell at 1 kHz doubles a 1 kHz sine and leaves 50 Hz alone."""
    t = np.arange(RATE_HZ) / RATE_HZ
    gains = []
    for hz in (1000.0, 50.0):
        sine = np.sin(2 * np.pi * hz * t)
        lifted = peaking(sine, 1000.0, 6.0206, 1.0, RATE_HZ)
        gains.append(np.std(lifted[RATE_HZ // 2 :]) / np.std(sine[RATE_HZ // 2 :]))

    assert gains[0] == pytest.approx(2.0, rel=0.01)
    assert gains[1] == pytest.approx(1.0, rel=0.02)
