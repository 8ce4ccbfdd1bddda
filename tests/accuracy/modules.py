"""Tracker modules from Debian's free games, rendered with the exact time of every row.

A module is a score and its sampled instruments in one file, so the tune sounds as its
author made it.  libopenmpt (Debian: libopenmpt0) plays it; every 64 samples it is
asked which row of which pattern sounds, which gives beat times to 1.5 ms whatever the
tempo commands do.  Bars start with patterns and have four beats; the beat is the power of
two of rows whose tempo is nearest to 115 a minute, as a module does not say its
level (so AMLt, which allows for the level, is this set's fairest beat figure).

Taken are modules that pass the rules of `symbolic.usable`, with patterns of whole
bars (at most two irregular bars), whose harmony changes at the bar line at least 1.1
times as much as anywhere else in the bar (no file says where the bar is, so this rule
is stricter here), and whose sound agrees with the rows within 10 ms.
"""

from __future__ import annotations

import ctypes
import ctypes.util
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from debian import unpack
from render import DRUM_CHANNEL, LEAD_S, RATE_HZ, Truth, attack_offset_s, save_song

PACKAGES = {
    "heroes-sound-tracks": "GPL-2+",
    "tecnoballz-data": "GPL-3+",
    "pingus-data": "GPL-2+",
    "circuslinux-data": "GPL-2",
    "madbomber-data": "GPL-2",
    "rafkill-data": "LGPL-2",
    "criticalmass-data": "GPL-2+",
    "ceferino-data": "GPL-2+",
    "vectoroids": "GPL-2",
}
ENDINGS = {".mod", ".xm", ".it", ".s3m"}
CHUNK = 64  # samples between two looks at the row
LONGEST_S = 240.0
USUAL_BPM = 115.0
BEATS_A_BAR = 4
BAR_LINE_MARGIN = 1.1
LATENCY_S = 0.003  # rows to the steepest rise of sound: median over the usable modules


class Player:
    """One module in libopenmpt."""

    def __init__(self, data: bytes) -> None:
        name = ctypes.util.find_library("openmpt")
        if name is None:
            raise SystemExit("libopenmpt not found; apt-get install libopenmpt0")
        self._lib = ctypes.CDLL(name)
        create = self._lib.openmpt_module_create_from_memory2
        create.restype = ctypes.c_void_p
        create.argtypes = [ctypes.c_char_p, ctypes.c_size_t, *[ctypes.c_void_p] * 7]
        module = create(data, len(data), *[None] * 7)
        if not module:
            raise ValueError("libopenmpt cannot read it")
        self._module = ctypes.c_void_p(module)
        read = self._lib.openmpt_module_read_interleaved_float_stereo
        read.restype = ctypes.c_size_t
        read.argtypes = [ctypes.c_void_p, ctypes.c_int32, ctypes.c_size_t, ctypes.c_void_p]

    def ask(self, question: str, *values: int) -> int:
        """Call ``openmpt_module_get_<question>``."""
        return getattr(self._lib, f"openmpt_module_get_{question}")(self._module, *values)

    def play(self) -> tuple[np.ndarray, list[tuple[float, int, int, int]]]:
        """Samples [shape=(n, 2)] and the rows played: (start_s, order, pattern, row)."""
        buffer = np.zeros((CHUNK, 2), np.float32)
        pieces, rows, last = [], [], None
        for i in range(int(LONGEST_S * RATE_HZ / CHUNK)):
            n = self._lib.openmpt_module_read_interleaved_float_stereo(
                self._module, RATE_HZ, CHUNK, buffer.ctypes.data
            )
            if n == 0:
                break
            pieces.append(buffer[:n].copy())
            here = tuple(self.ask(f"current_{what}") for what in ("order", "pattern", "row"))
            if here != last:
                rows.append((i * CHUNK / RATE_HZ, *here))
                last = here
        return np.concatenate(pieces), rows


@dataclass
class ModuleScore:
    """What `symbolic.usable` asks of a score: notes and beats, in beats."""

    notes: np.ndarray
    beats: np.ndarray
    positions: np.ndarray
    beats_s: np.ndarray
    meter: int = BEATS_A_BAR
    n_irregular: int = 0

    def seconds(self, beats: np.ndarray) -> np.ndarray:
        """Times of (fractional) beats."""
        return np.interp(beats, self.beats, self.beats_s)


def rows_a_beat(rows: list[tuple[float, int, int, int]]) -> int:
    """Power of two whose tempo is nearest to `USUAL_BPM`."""
    row_s = float(np.median(np.diff([row[0] for row in rows])))
    choices = (1, 2, 4, 8, 16)
    return min(choices, key=lambda n: abs(np.log(60 / (row_s * n) / USUAL_BPM)))


def lay_beats(rows: list[tuple[float, int, int, int]]) -> ModuleScore:
    """Beats every so many rows from the start of each pattern; bars of four from there."""
    n_rows = rows_a_beat(rows)
    at, positions, times, since, irregular = [], [], [], 0, 0
    for i, (start_s, order, _, _) in enumerate(rows):
        if i and order != rows[i - 1][1]:
            irregular += since % (n_rows * BEATS_A_BAR) != 0
            since = 0
        if since % n_rows == 0:
            at.append(i)
            positions.append(1 + since // n_rows % BEATS_A_BAR)
            times.append(start_s)
        since += 1
    beats = np.arange(len(at), dtype=float)
    score = ModuleScore(np.empty((0, 4)), beats, np.array(positions), np.array(times))
    score.n_irregular = irregular
    return score


def read_notes(player: Player, rows: list[tuple[float, int, int, int]], at_s: ModuleScore):
    """Notes [onset (beats), channel, pitch, length (beats)]; one-pitch instruments are drums."""
    n_channels = player.ask("num_channels")
    sounding: dict[int, list] = {}
    instruments = [0] * n_channels
    notes = []
    for start_s, _, pattern, row in rows:
        onset = float(np.interp(start_s, at_s.beats_s, at_s.beats))
        for channel in range(n_channels):
            pitch = player.ask("pattern_row_channel_command", pattern, row, channel, 0)
            instrument = player.ask("pattern_row_channel_command", pattern, row, channel, 1)
            instruments[channel] = instrument or instruments[channel]
            if pitch == 0:
                continue
            if channel in sounding:
                sounding.pop(channel)[3] = onset  # length is set from this end below
            if pitch <= 120:
                note = [onset, instruments[channel], pitch, at_s.beats[-1]]
                notes.append(note)
                sounding[channel] = note
    table = np.array(notes, float)
    table[:, 3] -= table[:, 0]
    for instrument in np.unique(table[:, 1]):
        chosen = table[:, 1] == instrument
        is_drum = np.unique(table[chosen, 2]).size == 1
        table[chosen, 1] = DRUM_CHANNEL if is_drum else 100 + instrument
    return table


def render_module(path: Path) -> tuple[np.ndarray, ModuleScore, Truth]:
    """Samples, score and truth of one module file."""
    player = Player(path.read_bytes())
    samples, rows = player.play()
    score = lay_beats(rows)
    score.notes = read_notes(player, rows, score)
    lead = np.zeros((round(LEAD_S * RATE_HZ), 2), np.float32)
    samples = np.concatenate([lead, samples * (0.9 / max(1e-6, np.abs(samples).max()))])
    first, last = score.notes[0, 0], score.notes[-1, 0]
    keep = (score.beats >= first - 1e-6) & (score.beats <= last + 1e-6)
    truth = Truth(score.beats_s[keep] + LEAD_S + LATENCY_S, score.positions[keep], BEATS_A_BAR)
    return samples, score, truth


def why_not(score: ModuleScore, offset_s: float, usable, harmony_change) -> str:
    """Empty if the module may serve as truth, else the reason."""
    change = harmony_change(score)
    if score.n_irregular > 2:
        return f"patterns of broken bars ({score.n_irregular})"
    if abs(offset_s) > 0.010:
        return f"sound {1000 * offset_s:.0f} ms off the rows"
    if change[0] < BAR_LINE_MARGIN * change[1:].max():
        return "the harmony does not show the bar line"
    return usable(score)


def render_all(out: Path, usable, harmony_change) -> None:
    """Every module of `PACKAGES` that passes the rules; the same notes only once."""
    seen = set()
    for package, licence in PACKAGES.items():
        for path in sorted(unpack(package, out / "packages").rglob("*")):
            name = f"{package.split('-')[0]}-{path.stem.lower()}"
            if path.suffix.lower() not in ENDINGS or (out / "modules" / f"{name}.json").exists():
                continue
            print(f"{name:36s}", end=" ", flush=True)
            try:
                samples, score, truth = render_module(path)
            except (ValueError, IndexError) as exc:
                print(f"left out: {exc}")
                continue
            offset_s = attack_offset_s(samples, truth.beats_s)
            reason = why_not(score, offset_s, usable, harmony_change)
            tune = score.notes[:, [0, 2]].tobytes()
            if not reason and tune in seen:
                reason = "the same tune again"
            seen.add(tune)
            print(reason or f"usable, {60 / np.median(np.diff(truth.beats_s)):.0f} bpm")
            if not reason:
                truth.notes.update(
                    source=package, licence=licence, hit_offset_ms=round(1000 * offset_s, 1)
                )
                save_song(out / "modules", name, samples, truth)
