"""Sounds that are held: organ, pad, fiddle, pedal steel, brass, synth bass, singer.

Every voice plays wavetables along a pitch curve (glide from the note before, scoop,
vibrato that comes late) under a swell.  A voice is ``voice(rng, sample_rate_hz, notes,
out, timbre)`` and adds its notes into `out`; `timbre` [shape=(N_TIMBRE,), 0-1] fixes the
player.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from phrasefit.demo.score import Note
from phrasefit.demo.wavetables import n_harmonics, oscillate, swell, wavetable
from phrasefit.sounds.dsp import add_at, band_noise, midi_to_hz

SustainedVoice = Callable[[np.random.Generator, int, Sequence[Note], np.ndarray, np.ndarray], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Bow:
    """How a voice moves inside a note; times in seconds, depths in cents."""

    attack_s: float = 0.03
    release_s: float = 0.06
    sag: float = 0.1
    vibrato_hz: float = 5.6
    vibrato_cents: float = 0.0
    vibrato_after_s: float = 0.25
    scoop_cents: float = 0.0
    glide_s: float = 0.0


def _pitch_curve(
    rng: np.random.Generator, note: Note, before: Note | None, bow: Bow, t: np.ndarray
) -> np.ndarray:
    """Frequency of a note over its samples [Hz]."""
    cents = np.zeros(len(t))
    legato = before is not None and note.start_s - before.start_s - before.duration_s < 0.08
    if bow.glide_s and legato:
        cents += 100.0 * (before.pitch - note.pitch) * np.exp(-((t / bow.glide_s) ** 2))
    elif bow.scoop_cents:
        cents -= bow.scoop_cents * np.exp(-t / 0.035)
    if bow.vibrato_cents:
        depth = 1.0 / (1.0 + np.exp(-(t - bow.vibrato_after_s) / 0.05))
        rate = bow.vibrato_hz * rng.uniform(0.94, 1.06)
        cents += bow.vibrato_cents * depth * np.sin(2 * np.pi * (rate * t + rng.random()))
    return midi_to_hz(note.pitch) * np.exp2(cents / 1200.0)


def _with_previous(notes: Sequence[Note]) -> Iterable[tuple[Note, Note | None]]:
    """Pair each note with the one before it."""
    return zip(notes, [None, *notes[:-1]], strict=True)


def _axis(note: Note, bow: Bow, sample_rate_hz: int) -> np.ndarray:
    """Sample times of a note with its release."""
    return np.arange(round((note.duration_s + bow.release_s) * sample_rate_hz) + 2) / sample_rate_hz


def _rolled_off(n: int, slope: float, corner: float) -> np.ndarray:
    """Harmonic amplitudes ``k ** -slope``, damped above harmonic number `corner`."""
    k = np.arange(1, n + 1)
    return k**-slope / (1.0 + (k / corner) ** 4)


class _Tables:
    """Wavetables made once for each pitch (rounded to semitones) and tone."""

    def __init__(self, amplitudes: Callable[[float, int, str], np.ndarray], rate_hz: int) -> None:
        self._amplitudes = amplitudes
        self._rate_hz = rate_hz
        self._made: dict[tuple[int, str], np.ndarray] = {}

    def __call__(self, pitch: float, tone: str = "") -> np.ndarray:
        key = (round(pitch), tone)
        if key not in self._made:
            hz = midi_to_hz(key[0])
            n = n_harmonics(hz * 1.03, self._rate_hz)
            self._made[key] = wavetable(self._amplitudes(hz, n, tone))
        return self._made[key]


def organ(
    rng: np.random.Generator,
    sample_rate_hz: int,
    notes: Sequence[Note],
    out: np.ndarray,
    timbre: np.ndarray,
) -> None:
    """Tone-wheel organ: nine drawbars, a key click, a turning loudspeaker."""
    bars = np.zeros(16)
    levels = np.concatenate([[0.7, 0.5, 0.9], timbre * [0.9, 0.5, 0.5, 0.3, 0.3, 0.4]])
    bars[[0, 2, 1, 3, 5, 7, 9, 11, 15]] = levels
    tables = _Tables(lambda _hz, n, _tone: bars[:n], sample_rate_hz)
    bow = Bow(attack_s=0.006, release_s=0.03, sag=0.0)
    dry = np.zeros_like(out)
    for note in notes:
        t = _axis(note, bow, sample_rate_hz)
        # The lowest drawbar sounds an octave under the key.
        curve = np.full(len(t), midi_to_hz(note.pitch - 12.0))
        sound = oscillate(tables(note.pitch - 12.0), curve, sample_rate_hz, rng.random())
        sound = sound * swell(len(t), bow.attack_s, bow.release_s, sample_rate_hz)
        add_at(dry, note.velocity * sound, note.start_s, sample_rate_hz)
    turn = np.arange(len(out)) * (2 * np.pi * (0.8 if timbre[0] < 0.5 else 6.3) / sample_rate_hz)
    out += dry * (1.0 + 0.18 * np.sin(turn)).astype(out.dtype)


def string_pad(
    rng: np.random.Generator,
    sample_rate_hz: int,
    notes: Sequence[Note],
    out: np.ndarray,
    timbre: np.ndarray,
) -> None:
    """A string section: detuned saws that rise slowly."""
    corner_hz = 1200.0 + 2600.0 * timbre[0]
    tables = _Tables(lambda hz, n, _tone: _rolled_off(n, 1.05, corner_hz / hz), sample_rate_hz)
    bow = Bow(attack_s=0.08 + 0.15 * timbre[1], release_s=0.25, sag=0.0)
    for note in notes:
        t = _axis(note, bow, sample_rate_hz)
        shape = swell(len(t), bow.attack_s, bow.release_s, sample_rate_hz) * note.velocity / 1.7
        for cents in (-7.0, 1.0, 8.0):
            hz = midi_to_hz(note.pitch + cents * (0.6 + 0.8 * timbre[2]) / 100.0)
            sound = oscillate(tables(note.pitch), np.full(len(t), hz), sample_rate_hz, rng.random())
            add_at(out, shape * sound, note.start_s, sample_rate_hz)


def fiddle(
    rng: np.random.Generator,
    sample_rate_hz: int,
    notes: Sequence[Note],
    out: np.ndarray,
    timbre: np.ndarray,
) -> None:
    """Fiddle: bowed saw in a wooden box, slides and a late vibrato."""

    def amplitudes(hz: float, n: int, _tone: str) -> np.ndarray:
        f = hz * np.arange(1, n + 1)
        box = sum(
            gain / (1.0 + ((f - center) / (center / quality)) ** 2)
            for center, gain, quality in ((290, 1.2, 5), (480, 1.5, 5), (950, 1.0, 3),
                                          (2600, 1.6, 2), (4200, 0.6, 3))
        )  # fmt: skip
        return f**-0.9 * (0.25 + box)

    bow = Bow(attack_s=0.03 + 0.03 * timbre[0], vibrato_hz=5.2 + timbre[1], scoop_cents=60.0,
              vibrato_cents=10.0 + 14.0 * timbre[2], glide_s=0.03, sag=0.05)  # fmt: skip
    _bowed(rng, sample_rate_hz, notes, out, bow, _Tables(amplitudes, sample_rate_hz), hiss=0.05)


def pedal_steel(
    rng: np.random.Generator,
    sample_rate_hz: int,
    notes: Sequence[Note],
    out: np.ndarray,
    timbre: np.ndarray,
) -> None:
    """Pedal steel: few harmonics, long glides, the volume pedal swells every note."""
    corner = 4.0 + 4.0 * timbre[0]
    bow = Bow(attack_s=0.05, release_s=0.15, sag=0.35, vibrato_hz=5.0 + timbre[1], glide_s=0.09,
              vibrato_cents=14.0, vibrato_after_s=0.35, scoop_cents=100.0)  # fmt: skip
    tables = _Tables(lambda _hz, n, _tone: _rolled_off(n, 1.0, corner), sample_rate_hz)
    _bowed(rng, sample_rate_hz, notes, out, bow, tables, hiss=0.0)


def _bowed(
    rng: np.random.Generator,
    sample_rate_hz: int,
    notes: Sequence[Note],
    out: np.ndarray,
    bow: Bow,
    tables: _Tables,
    hiss: float,
) -> None:
    """Play notes one after another, each gliding out of the one before."""
    for note, before in _with_previous(notes):
        t = _axis(note, bow, sample_rate_hz)
        curve = _pitch_curve(rng, note, before, bow, t)
        sound = oscillate(tables(note.pitch), curve, sample_rate_hz, rng.random())
        if hiss:
            sound = sound + hiss * band_noise(rng, len(t), 2000.0, 9000.0, sample_rate_hz)
        shape = swell(len(t), bow.attack_s, bow.release_s, sample_rate_hz, bow.sag)
        add_at(out, note.velocity * shape * sound, note.start_s, sample_rate_hz)


def _two_toned(
    rng: np.random.Generator,
    sample_rate_hz: int,
    notes: Sequence[Note],
    out: np.ndarray,
    bow: Bow,
    tables: _Tables,
    opening: Callable[[np.ndarray], np.ndarray],
) -> None:
    """Play notes whose tone moves from the ``dark`` to the ``bright`` table by `opening`."""
    for note, before in _with_previous(notes):
        t = _axis(note, bow, sample_rate_hz)
        curve = _pitch_curve(rng, note, before, bow, t)
        phase = rng.random()
        dark = oscillate(tables(note.pitch, "dark"), curve, sample_rate_hz, phase)
        bright = oscillate(tables(note.pitch, "bright"), curve, sample_rate_hz, phase)
        mix = np.clip(opening(t) * (0.4 + 0.7 * note.velocity), 0.0, 1.0)
        shape = swell(len(t), bow.attack_s, bow.release_s, sample_rate_hz, bow.sag)
        sound = shape * ((1.0 - mix) * dark + mix * bright)
        add_at(out, note.velocity * sound, note.start_s, sample_rate_hz)


def brass(
    rng: np.random.Generator,
    sample_rate_hz: int,
    notes: Sequence[Note],
    out: np.ndarray,
    timbre: np.ndarray,
) -> None:
    """Brass section: brightens as it is blown harder."""

    def amplitudes(hz: float, n: int, tone: str) -> np.ndarray:
        corner_hz = 900.0 if tone == "dark" else 2600.0 + 2500.0 * timbre[0]
        return _rolled_off(n, 0.7, corner_hz / hz)

    bow = Bow(attack_s=0.014 + 0.012 * timbre[1], release_s=0.05, sag=0.25, scoop_cents=45.0,
              vibrato_cents=6.0, vibrato_after_s=0.4)  # fmt: skip
    tables = _Tables(amplitudes, sample_rate_hz)

    def opening(t: np.ndarray) -> np.ndarray:
        return (1.0 - np.exp(-t / 0.03)) * (0.45 + 0.55 * np.exp(-t / 0.15))

    _two_toned(rng, sample_rate_hz, notes, out, bow, tables, opening)


def synth_bass(
    rng: np.random.Generator,
    sample_rate_hz: int,
    notes: Sequence[Note],
    out: np.ndarray,
    timbre: np.ndarray,
) -> None:
    """Synthesizer bass: a saw whose filter snaps shut."""

    def amplitudes(hz: float, n: int, tone: str) -> np.ndarray:
        corner_hz = 160.0 if tone == "dark" else 700.0 + 1500.0 * timbre[0]
        return _rolled_off(n, 1.0, corner_hz / hz)

    bow = Bow(attack_s=0.004, release_s=0.03, sag=0.4 + 0.3 * timbre[1])
    close_s = 0.06 + 0.18 * timbre[2]
    tables = _Tables(amplitudes, sample_rate_hz)
    _two_toned(rng, sample_rate_hz, notes, out, bow, tables, lambda t: np.exp(-t / close_s))


def synth_lead(
    rng: np.random.Generator,
    sample_rate_hz: int,
    notes: Sequence[Note],
    out: np.ndarray,
    timbre: np.ndarray,
) -> None:
    """Synthesizer lead: hollow or sawing, with a little glide."""

    def amplitudes(hz: float, n: int, tone: str) -> np.ndarray:
        corner_hz = 1100.0 if tone == "dark" else 3000.0 + 3000.0 * timbre[0]
        harmonics = _rolled_off(n, 1.0, corner_hz / hz)
        harmonics[1::2] *= timbre[1]
        return harmonics

    bow = Bow(attack_s=0.008, release_s=0.08, sag=0.2, vibrato_cents=12.0 * timbre[2], glide_s=0.02)
    tables = _Tables(amplitudes, sample_rate_hz)
    _two_toned(
        rng, sample_rate_hz, notes, out, bow, tables, lambda t: 0.3 + 0.7 * np.exp(-t / 0.25)
    )


# First three formants of vowels [Hz], averages for adult speakers in G. E. Peterson and
# H. L. Barney, "Control methods used in a study of the vowels", 1952; the fourth is ours.
VOWELS: dict[str, tuple[float, ...]] = {
    "ah": (730.0, 1090.0, 2440.0, 3400.0),
    "eh": (530.0, 1840.0, 2480.0, 3400.0),
    "ee": (270.0, 2290.0, 3010.0, 3700.0),
    "aw": (570.0, 840.0, 2410.0, 3300.0),
    "oo": (300.0, 870.0, 2240.0, 3200.0),
    "er": (490.0, 1350.0, 1690.0, 3200.0),
}
_VOWEL_NAMES = tuple(VOWELS)


def _vowel_amplitudes(hz: float, n: int, vowel: str, size: float) -> np.ndarray:
    """Harmonics of a glottal source through the formants of `vowel`, scaled by `size`."""
    f = hz * np.arange(1, n + 1)
    spectrum = 1.0 / f
    for number, formant_hz in enumerate(VOWELS[vowel]):
        center = formant_hz * size
        width = 70.0 + 35.0 * number
        spectrum = spectrum * center**2 / np.hypot(center**2 - f**2, width * f)
    return spectrum


def singer(
    rng: np.random.Generator,
    sample_rate_hz: int,
    notes: Sequence[Note],
    out: np.ndarray,
    timbre: np.ndarray,
) -> None:
    """Sung-like lead: vowels that drift, consonants just before the note, vibrato."""
    size = 0.95 + 0.3 * timbre[0]
    tables = _Tables(lambda hz, n, tone: _vowel_amplitudes(hz, n, tone, size), sample_rate_hz)
    bow = Bow(attack_s=0.03, release_s=0.07, sag=0.15, vibrato_hz=5.0 + 1.2 * timbre[1],
              vibrato_cents=18.0 + 22.0 * timbre[2], vibrato_after_s=0.3, scoop_cents=70.0,
              glide_s=0.045)  # fmt: skip
    for note, before in _with_previous(notes):
        t = _axis(note, bow, sample_rate_hz)
        curve = _pitch_curve(rng, note, before, bow, t)
        first, second = rng.choice(_VOWEL_NAMES, 2)
        phase = rng.random()
        drift = np.linspace(0.0, 0.6, len(t))
        sound = (1.0 - drift) * oscillate(tables(note.pitch, first), curve, sample_rate_hz, phase)
        sound += drift * oscillate(tables(note.pitch, second), curve, sample_rate_hz, phase)
        sound += 0.03 * (1.0 + timbre[3]) * band_noise(rng, len(t), 1500, 7000, sample_rate_hz)
        shape = swell(len(t), bow.attack_s, bow.release_s, sample_rate_hz, bow.sag)
        add_at(out, note.velocity * shape * sound, note.start_s, sample_rate_hz)
        _consonant(rng, sample_rate_hz, note, out)


def _consonant(rng: np.random.Generator, sample_rate_hz: int, note: Note, out: np.ndarray) -> None:
    """A hiss or a burst before the vowel of `note`, or none."""
    kind = rng.choice(["hiss", "burst", "none"], p=[0.25, 0.35, 0.4])
    if kind == "none":
        return
    length_s, low_hz, level = (0.09, 3800.0, 0.22) if kind == "hiss" else (0.03, 1500.0, 0.3)
    n = round(length_s * sample_rate_hz)
    shape = np.sin(np.linspace(0.0, np.pi, n)) ** (1.0 if kind == "hiss" else 0.5)
    noise = band_noise(rng, n, low_hz, 10000.0, sample_rate_hz) * shape
    add_at(out, level * note.velocity * noise, note.start_s - length_s, sample_rate_hz)


SUSTAINED: dict[str, SustainedVoice] = {
    "organ": organ,
    "string_pad": string_pad,
    "fiddle": fiddle,
    "pedal_steel": pedal_steel,
    "brass": brass,
    "synth_bass": synth_bass,
    "synth_lead": synth_lead,
    "singer": singer,
}
