"""Songs from the free games `freedoom` (BSD-like) and `planetblupi` (GPL-3+): General MIDI.

Only songs written to a clear grid are kept: notes on sixteenths or triplets, a steady
meter, and a bass and kick that agree with the bar lines.

Needs `mido`; runs once, on the machine that collects.
"""

from __future__ import annotations

import io
import logging
import struct
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from phrasefit.training.collection import NOTE_TYPE, StoredPiece
from phrasefit.training.tactus import tapped

WADS = (Path("/usr/share/games/doom/freedoom1.wad"), Path("/usr/share/games/doom/freedoom2.wad"))
BLUPI = Path("/usr/share/planetblupi/music")
MIN_ON_GRID = 0.85  # share of onsets within 6 % of a beat of the grid
TAP_BPM = (60.0, 190.0)

logger = logging.getLogger(__name__)


def read_freedoom() -> Iterator[StoredPiece]:
    """Read the music of both games, equal songs once."""
    seen = set()
    for wad in WADS:
        data = wad.read_bytes() if wad.exists() else b""
        for name, song in _lumps(data):
            if song[:4] == b"MThd" and song not in seen:
                seen.add(song)
                piece = _read(io.BytesIO(song), f"freedoom/{name}")
                if piece is not None:
                    yield tapped(piece, tempo_is_written=True)


def read_planetblupi() -> Iterator[StoredPiece]:
    """Read the game's ten songs."""
    for path in sorted(BLUPI.glob("*.mid")):
        piece = _read(io.BytesIO(path.read_bytes()), f"planetblupi/{path.stem}")
        if piece is not None:
            yield tapped(piece, tempo_is_written=True)


def _lumps(data: bytes) -> Iterator[tuple[str, bytes]]:
    """List the music lumps of a WAD (directory of 16-byte entries)."""
    if len(data) < 12:
        return
    n_lumps, at = struct.unpack("<ii", data[4:12])
    for i in range(n_lumps):
        place, size, name = struct.unpack("<ii8s", data[at + 16 * i : at + 16 * i + 16])
        text = name.rstrip(b"\0").decode("ascii", "replace")
        if text.startswith("D_"):
            yield text, data[place : place + size]


def _read(file: io.BytesIO, name: str) -> StoredPiece | None:
    """Read a song; None where its grid is unclear."""
    import mido

    try:
        midi = mido.MidiFile(file=file, clip=True)
    except (OSError, EOFError, ValueError, IndexError) as exc:
        logger.warning("%s: left out (%s)", name, exc)
        return None
    signatures = {(m.numerator, m.denominator) for m in mido.merge_tracks(midi.tracks)
                  if m.type == "time_signature"}  # fmt: skip
    signatures = signatures or {(4, 4)}
    tempi = [m.tempo for m in mido.merge_tracks(midi.tracks) if m.type == "set_tempo"] or [500000]
    if len(signatures) > 1:
        return None
    numerator, denominator = signatures.pop()
    unit = 4.0 / denominator
    if (numerator, denominator) in ((6, 8), (12, 8), (9, 8)):
        unit, numerator = 1.5, numerator // 3
    bpm = 60e6 / float(np.median(tempi)) / unit
    rows, parts = _notes(midi, unit)
    if bpm > TAP_BPM[1] and numerator % 2 == 0:
        rows = [(o / 2, n / 2, p, v, k) for o, n, p, v, k in rows]
        bpm /= 2
    if len(rows) < 200 or not TAP_BPM[0] <= bpm <= TAP_BPM[1]:
        return None
    table = np.array(rows, dtype=NOTE_TYPE)
    if _on_grid(table) < MIN_ON_GRID or not _bars_agree(table, parts, numerator):
        return None
    n_bars = int(table["onset"].max() // numerator) + 1
    return StoredPiece(
        name=name,
        notes=table,
        parts=tuple(parts),
        beats_per_bar=(numerator,) * n_bars,
        meter=numerator,
        tempo_bpm=(bpm * 0.85, bpm * 1.15),
        phrase_bars=tuple(range(0, n_bars, 4)),
        tags=(name.split("/")[0],),
    )


def _notes(midi: object, unit: float) -> tuple[list, list[tuple[str, int]]]:
    """Split a song by channel and program."""
    import mido

    programs = dict.fromkeys(range(16), 0)
    sounding: dict[tuple[int, int], list[tuple[int, int, int]]] = {}
    players: dict[tuple[int, int], int] = {}
    rows, tick = [], 0
    scale = midi.ticks_per_beat * unit
    for message in mido.merge_tracks(midi.tracks):
        tick += message.time
        if message.type == "program_change":
            programs[message.channel] = message.program
        elif message.type == "note_on" and message.velocity:
            who = (message.channel, 0 if message.channel == 9 else programs[message.channel])
            number = players.setdefault(who, len(players))
            key = (message.channel, message.note)
            sounding.setdefault(key, []).append((tick, message.velocity, number))
        elif message.type in ("note_on", "note_off"):
            for start, velocity, number in sounding.pop((message.channel, message.note), []):
                length = max(tick - start, 1) / scale
                rows.append((start / scale, length, message.note, velocity, number))
    parts = [
        ("drums", 0) if channel == 9 else (_role(program), program) for channel, program in players
    ]
    return rows, parts


def _role(program: int) -> str:
    """Guess what a program does in a game song."""
    if 32 <= program < 40:
        return "bass"
    if 88 <= program < 104 or 48 <= program < 55:
        return "pad"
    return "lead" if 56 <= program < 88 else "chords"


def _on_grid(table: np.ndarray) -> float:
    """Share of notes on sixteenths or on triplets, whichever is more."""
    part = np.mod(table["onset"], 1.0)
    shares = []
    for steps in (4, 6):
        off = np.abs(part * steps - np.round(part * steps)) / steps
        shares.append(float(np.mean(off < 0.06)))
    return max(shares)


def _bars_agree(table: np.ndarray, parts: list[tuple[str, int]], meter: int) -> bool:
    """Say whether low notes and kicks fall on the written downbeat more than elsewhere."""
    roles = np.array([role for role, _ in parts])[table["part"]]
    kick = (roles == "drums") & np.isin(table["pitch"], (35, 36, 49, 57))
    low = (roles != "drums") & (table["pitch"] < 48)
    chosen = table[kick | low]
    near = np.abs(chosen["onset"] - np.round(chosen["onset"])) < 0.08
    places = np.mod(np.round(chosen["onset"][near]).astype(int), meter)
    weight = np.bincount(places, weights=chosen["length"][near] + 0.2, minlength=meter)
    return bool(weight.sum() > 30 and weight.argmax() == 0)
