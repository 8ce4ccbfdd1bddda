"""Turn symbolic music into audio whose beats are known exactly.

FluidSynth (a Debian package) plays a MIDI file into a WAV file faster than real
time; `LEAD_S` of silence is put before it, so that a first note on tick 0 keeps
its attack.  The truth is the tempo map of the MIDI file, shifted by the lead and
by the renderer's own latency, which `measure_latency` finds from a click of our
own.  A scratch script for measuring: it imports nothing of the product.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import tempfile
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import mido
import numpy as np
import soundfile

RATE_HZ = 44_100
LEAD_S = 0.25
GAIN = 0.5  # FluidSynth's default 0.2 is very soft; the peak is normalised afterwards
SOUNDFONTS = {
    "timgm6mb": "/usr/share/sounds/sf2/TimGM6mb.sf2",
    "fluidr3": "/usr/share/sounds/sf2/FluidR3_GM.sf2",
}
SIDE_STICK = 37
DRUM_CHANNEL = 9


@dataclass(frozen=True)
class Truth:
    """What is known exactly of one rendered song.

    `beats_s` and `positions` (1 = downbeat) have one entry a beat; `sections` holds
    (start_s, letter) where the source says them; `notes` is provenance in words.
    """

    beats_s: np.ndarray
    positions: np.ndarray
    meter: int
    sections: tuple[tuple[float, str], ...] = ()
    notes: dict = field(default_factory=dict)

    def save(self, path: Path) -> None:
        """Write the JSON file that `run.py` reads."""
        data = {
            "beats_s": [round(float(t), 5) for t in self.beats_s],
            "positions": [int(p) for p in self.positions],
            "meter": self.meter,
            "sections": [{"start_s": round(s, 5), "letter": a} for s, a in self.sections],
            **self.notes,
        }
        path.write_text(json.dumps(data) + "\n", encoding="utf-8")


def fluidsynth_program() -> str:
    """Path of the renderer, or an error that says how to get it."""
    program = shutil.which("fluidsynth")
    if program is None:
        raise SystemExit(
            "fluidsynth not found; apt-get install fluidsynth timgm6mb-soundfont"
            " fluid-soundfont-gm openttd-openmsx"
        )
    return program


def render_midi(midi_path: Path, soundfont: str) -> np.ndarray:
    """Play `midi_path` with a soundfont of `SOUNDFONTS`; float32 [shape=(n, 2)], peak 0.9."""
    with tempfile.TemporaryDirectory() as folder:
        wav = Path(folder) / "song.wav"
        command = [fluidsynth_program(), "-q", "-n", "-i", "-g", str(GAIN)]
        command += ["-r", str(RATE_HZ), "-T", "wav", "-O", "s16", "-F", str(wav)]
        command += [SOUNDFONTS[soundfont], str(midi_path)]
        subprocess.run(command, check=True, capture_output=True)
        samples, _ = soundfile.read(wav, dtype="float32", always_2d=True)
    loud = np.flatnonzero(np.abs(samples).max(axis=1) > 1e-4)
    samples = samples[: loud[-1] + RATE_HZ // 2] if loud.size else samples
    lead = np.zeros((round(LEAD_S * RATE_HZ), 2), np.float32)
    return np.concatenate([lead, samples * (0.9 / max(1e-6, np.abs(samples).max()))])


def attack_offset_s(samples: np.ndarray, hits_s: np.ndarray, reach_s: float = 0.04) -> float:
    """Seconds from the given times to where the sound rises most, averaged over all of them.

    The rise of high-frequency level (first difference, 3 ms window, every 0.5 ms) is
    averaged over all hits, and its peak within `reach_s` is the offset: notes that
    fall beside some hits spread out, the hits themselves add up.
    """
    hop = RATE_HZ // 2000
    bright = np.diff(samples.mean(axis=1))
    energy = np.add.reduceat(bright**2, np.arange(0, bright.size, hop))
    level = np.sqrt(np.convolve(energy, np.ones(6))[: energy.size])  # of the 3 ms before
    rise = np.maximum(0, level - np.concatenate([np.zeros(4), level[:-4]]))  # over 2 ms
    reach = round(reach_s * RATE_HZ / hop)
    centres = np.round(np.asarray(hits_s) * RATE_HZ / hop).astype(int)
    centres = centres[(centres > reach) & (centres < rise.size - reach)]
    profile = np.mean([rise[c - reach : c + reach + 1] for c in centres], axis=0)
    return float((profile.argmax() - reach - 3) * hop / RATE_HZ)  # 3: middle of rise and window


@cache
def measure_latency(soundfont: str) -> float:
    """Seconds by which FluidSynth sounds a side stick after its tick (average of 40)."""
    track = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=500_000)])
    for _ in range(40):
        track.append(mido.Message("note_on", channel=9, note=SIDE_STICK, velocity=110, time=240))
        track.append(mido.Message("note_off", channel=9, note=SIDE_STICK, time=240))
    song = mido.MidiFile(ticks_per_beat=480, tracks=[track])
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "click.mid"
        song.save(path)
        samples = render_midi(path, soundfont)
    clicks = LEAD_S + 0.25 + 0.5 * np.arange(40)
    return attack_offset_s(samples, clicks)


def save_song(folder: Path, name: str, samples: np.ndarray, truth: Truth) -> None:
    """Write NAME.wav (44.1 kHz, 16 bit, stereo) and NAME.json into `folder`."""
    folder.mkdir(parents=True, exist_ok=True)
    soundfile.write(folder / f"{name}.wav", samples, RATE_HZ, subtype="PCM_16")
    truth.save(folder / f"{name}.json")
