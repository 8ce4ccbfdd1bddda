"""Which instrument plays a part: soundfonts of several makers, kits, our own synthesis.

A `Palette` is drawn once a song, so that a song keeps its drummer and its singer.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from phrasefit.demo.instruments import render_notes
from phrasefit.demo.score import Note
from phrasefit.training.chip import crush, play_noise_drums, play_wave
from phrasefit.training.kits import play_kit, read_kit
from phrasefit.training.material import HELD_OUT_SOUNDS, list_files
from phrasefit.training.performance import Played
from phrasefit.training.sampler import has_program, load_font, render_part
from phrasefit.training.voices import Singer, draw_singer, sing

# General MIDI drum key -> piece of our own kit.
OWN_PIECES = {
    35: "kick", 36: "kick", 37: "rim", 38: "snare", 39: "clap", 40: "snare", 41: "low_tom",
    42: "closed_hat", 43: "low_tom", 44: "closed_hat", 45: "low_tom", 46: "open_hat",
    47: "mid_tom", 48: "mid_tom", 49: "crash", 50: "high_tom", 51: "ride", 52: "crash",
    53: "cowbell", 54: "tambourine", 55: "crash", 56: "cowbell", 57: "crash", 59: "ride",
    60: "conga", 61: "conga", 62: "conga", 63: "conga", 64: "conga", 65: "high_tom",
    66: "mid_tom", 67: "cowbell", 68: "cowbell", 69: "shaker", 70: "shaker", 73: "shaker",
    75: "rim", 76: "rim", 77: "rim", 81: "ride", 82: "shaker",
}  # fmt: skip
# General MIDI program range -> instruments of ours that can stand for it.
OWN_INSTRUMENTS: tuple[tuple[range, tuple[str, ...]], ...] = (
    (range(0, 4), ("piano",)),
    (range(4, 8), ("tine_piano",)),
    (range(8, 16), ("tine_piano", "piano")),
    (range(16, 24), ("organ",)),
    (range(24, 25), ("nylon_guitar",)),
    (range(25, 26), ("steel_guitar", "banjo")),
    (range(26, 29), ("muted_guitar", "steel_guitar")),
    (range(29, 32), ("electric_guitar",)),
    (range(32, 33), ("upright_bass",)),
    (range(33, 38), ("picked_bass",)),
    (range(38, 40), ("synth_bass",)),
    (range(40, 44), ("fiddle",)),
    (range(44, 52), ("string_pad",)),
    (range(52, 55), ("singer", "string_pad")),
    (range(55, 64), ("brass",)),
    (range(64, 80), ("brass", "fiddle", "synth_lead")),
    (range(80, 88), ("synth_lead", "synth_bass")),
    (range(88, 104), ("string_pad",)),
    (range(104, 112), ("banjo", "fiddle", "steel_guitar")),
    (range(112, 128), ("tine_piano",)),
)


# Programs that swell: bowed, blown and sung sounds and pads. Players start them early, so
# that they are heard in time.
SWELLING = frozenset(
    {*range(20, 24), *range(40, 45), *range(48, 55), *range(56, 80), *range(88, 104), 110}
)
RISE_HOP = 110  # samples: 5 ms
LONGEST_RISE_S = 0.15


@dataclass(frozen=True, slots=True, kw_only=True)
class Palette:
    """The sounds of one song.

    `font` and `second` are soundfonts (None = own synthesis); `kit` a stroke file or
    None; `own` the chance that a part is played by our own synthesis, `chip` that it is
    played by a sound chip; `crushed` songs hold their samples at low rates.
    """

    font: Path | None
    second: Path | None
    kit: Path | None
    hand_kit: Path | None
    own: float
    singer: Singer
    tune: float
    damp: float
    chip: float = 0.0
    crushed: bool = False
    without: frozenset[str] = frozenset()

    @property
    def source(self) -> str:
        """Name the sounds."""
        names = [p.stem for p in (self.font, self.kit) if p]
        return "+".join(names) or "own"


def draw_palette(
    rng: np.random.Generator,
    *,
    held_out: bool,
    without: frozenset[str],
    speaks: bool,
    bare: bool = False,
    electronic: bool = False,
) -> Palette:
    """Draw the sounds of a song; held-out songs use only held-out fonts and kits.

    `bare` songs take everything from one soundfont, as a file player does.
    """
    fonts = [*list_files("fonts", ".sf2"), *list_files("fonts", ".sf3")]
    kits = list_files("kits", ".npz")
    fonts, kits = (
        [p for p in paths if (p.stem.split("-")[0] in HELD_OUT_SOUNDS) == held_out]
        for paths in (fonts, kits)
    )
    full = [p for p in kits if p.stem.endswith("-0") or p.stem.startswith("gimme")]

    def draw(paths: list[Path], chance: float) -> Path | None:
        wanted = held_out or rng.random() < chance
        index = int(rng.integers(len(paths))) if paths else 0
        return paths[index] if paths and wanted else None

    font, kit = draw(fonts, 0.9), draw(kits, 0.78)
    old_machine = electronic and not held_out and rng.random() < 0.4
    if bare and font is not None and not old_machine:
        kit = next((path for path in full if path.stem == f"{font.stem}-0"), kit)
    return Palette(
        font=font,
        second=font if bare else draw(fonts, 0.9),
        kit=kit,
        hand_kit=draw(full, 0.8),
        chip=float(rng.choice([0.3, 0.6, 1.0])) if old_machine else 0.0,
        crushed=old_machine and bool(rng.random() < 0.6),
        own=0.0 if held_out or (bare and font is not None) else float(rng.choice([0.1, 0.3, 0.6])),
        singer=draw_singer(rng, speaks=speaks),
        tune=float(np.exp2(rng.normal(0, 2.0) / 12)),
        damp=float(rng.choice([1.0, 1.0, 0.6, 0.35])),
        without=without,
    )


def render_stem(
    rng: np.random.Generator,
    palette: Palette,
    played: Played,
    n_samples: int,
    sample_rate_hz: int,
) -> np.ndarray:
    """Render one played part [shape=(n_samples,), float32] with its role's instrument."""
    if not _sounding(played, n_samples / sample_rate_hz).any():
        return np.zeros(n_samples, dtype=np.float32)
    sound = _render(rng, palette, played, n_samples, sample_rate_hz)
    if palette.crushed and rng.random() < 0.7:
        sound = crush(rng, sound, sample_rate_hz, n_bits=8)
    return sound


def _render(
    rng: np.random.Generator,
    palette: Palette,
    played: Played,
    n_samples: int,
    sample_rate_hz: int,
) -> np.ndarray:
    role = played.part.role
    if palette.chip and rng.random() < palette.chip:
        play = play_noise_drums if role in ("drums", "percussion") else play_wave
        return play(rng, played, n_samples, sample_rate_hz)
    if role in ("drums", "percussion"):
        return _render_drums(rng, palette, played, n_samples, sample_rate_hz)
    if role == "voice" and "voices" not in palette.without and rng.random() < 0.9:
        return _render_voice(rng, palette, played, n_samples, sample_rate_hz)
    program = max(played.part.program, 0)
    font = palette.font if rng.random() < 0.75 else palette.second
    if font is not None and rng.random() >= palette.own:
        loaded = load_font(font, sample_rate_hz)
        if has_program(loaded, program, drums=False):
            sound = render_part(loaded, played, program, n_samples, sample_rate_hz)
            return in_time(rng, sound, played, program, sample_rate_hz)
    sound = _render_own(rng, played, program, n_samples, sample_rate_hz)
    return in_time(rng, sound, played, program, sample_rate_hz)


def in_time(
    rng: np.random.Generator,
    sound: np.ndarray,
    played: Played,
    program: int,
    sample_rate_hz: int,
) -> np.ndarray:
    """Move a swelling sound earlier by most of its mean rise time after note starts."""
    if program not in SWELLING:
        return sound
    n = sound.size // RISE_HOP
    level = np.sqrt(np.mean(sound[: n * RISE_HOP].reshape(n, RISE_HOP) ** 2, axis=1))
    rise = np.maximum(np.diff(level, prepend=level[:1]), 0)
    places = (played.starts_s * sample_rate_hz / RISE_HOP).astype(int)
    reach = int(LONGEST_RISE_S * sample_rate_hz / RISE_HOP)
    places = np.unique(places[(places >= 0) & (places < n - reach)])
    if places.size < 3:
        return sound
    grown = np.cumsum(rise[places[:, None] + np.arange(reach)].mean(axis=0))
    half = int(np.searchsorted(grown, 0.5 * grown[-1])) * RISE_HOP
    early = int(max(0.0, half - 0.01 * sample_rate_hz) * rng.uniform(0.7, 1.1))
    return np.concatenate([sound[early:], np.zeros(early, np.float32)])


def _render_voice(
    rng: np.random.Generator,
    palette: Palette,
    played: Played,
    n_samples: int,
    sample_rate_hz: int,
) -> np.ndarray:
    """Sing, now and then doubled, as records do."""
    if rng.random() < 0.15 and not palette.singer.speaks:
        return render_notes(
            rng, "singer", _notes(played, n_samples, sample_rate_hz), n_samples,
            sample_rate_hz=sample_rate_hz,
        )  # fmt: skip
    sung = sing(rng, played, n_samples, sample_rate_hz, palette.singer)
    if rng.random() < 0.2:
        late = replace(played, starts_s=played.starts_s + rng.normal(0, 0.02, played.starts_s.size))
        sung = sung + 0.7 * sing(rng, late, n_samples, sample_rate_hz, palette.singer)
    return sung


def _render_drums(
    rng: np.random.Generator,
    palette: Palette,
    played: Played,
    n_samples: int,
    sample_rate_hz: int,
) -> np.ndarray:
    """Play drums on the kit, or on our own synthesis where there is none."""
    path = palette.kit if played.part.role == "drums" else palette.hand_kit
    if path is not None:
        kit = read_kit(path)
        return play_kit(
            rng, kit, played, n_samples, sample_rate_hz, tune=palette.tune, damp=palette.damp
        )
    out = np.zeros(n_samples, dtype=np.float32)
    pieces = np.array([OWN_PIECES.get(int(k), "rim") for k in played.pitches])
    for key in np.unique(played.pitches):
        chosen = played.pitches == key
        piece = str(pieces[chosen][0])
        piece = "brush" if piece == "snare" and palette.damp == 0.6 else piece
        own = replace(
            played, starts_s=played.starts_s[chosen], ends_s=played.ends_s[chosen],
            pitches=played.pitches[chosen], velocities=played.velocities[chosen],
        )  # fmt: skip
        notes = _notes(own, n_samples, sample_rate_hz)
        if notes:
            level = np.float32(10 ** (rng.normal(0, 2.5) / 20))
            out += level * render_notes(rng, piece, notes, n_samples, sample_rate_hz=sample_rate_hz)
    return out


def _render_own(
    rng: np.random.Generator,
    played: Played,
    program: int,
    n_samples: int,
    sample_rate_hz: int,
) -> np.ndarray:
    """Play a part on the synthesized instrument nearest to its program."""
    options = next(names for span, names in OWN_INSTRUMENTS if program in span)
    name = options[rng.integers(len(options))]
    if played.part.role == "lead" and rng.random() < 0.15:
        name = "pedal_steel"
    notes = _notes(played, n_samples, sample_rate_hz)
    return render_notes(rng, name, notes, n_samples, sample_rate_hz=sample_rate_hz)


def _sounding(played: Played, last_s: float) -> np.ndarray:
    """Say of each note whether it is heard between 0 and `last_s`."""
    return (played.starts_s < last_s) & (played.ends_s > 0)


def _notes(played: Played, n_samples: int, sample_rate_hz: int) -> list[Note]:
    """Turn what sounds inside the excerpt into notes of the demo engine."""
    inside = _sounding(played, n_samples / sample_rate_hz)
    return [
        Note(float(s), float(e - s), float(p), float(v))
        for s, e, p, v in zip(
            played.starts_s[inside],
            played.ends_s[inside],
            played.pitches[inside],
            played.velocities[inside],
            strict=True,
        )
    ]
