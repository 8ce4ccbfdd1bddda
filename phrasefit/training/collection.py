"""Symbolic music by others in one compact file a collection, as it travels to training.

A collection holds many pieces: all notes in one table, and a description of every
piece.
"""

from __future__ import annotations

import io
import json
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path

import numpy as np

from phrasefit.errors import ParameterError
from phrasefit.files import write_atomic
from phrasefit.training.score import Part

NOTE_TYPE = np.dtype(
    [("onset", "f4"), ("length", "f4"), ("pitch", "u1"), ("velocity", "u1"), ("part", "u1")]
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StoredPiece:
    """One piece of a collection, in beats.

    `notes` [NOTE_TYPE; velocity 0-127]; `parts` is a (role, program) pair for each
    part; `beats_per_bar` one entry a bar; `section_bars` and `letters` say where
    sections start, `phrase_bars` where phrases do; `chords` are (start beat, root pitch
    class, quality) or empty; `tempo_bpm` a range that suits.
    """

    name: str
    notes: np.ndarray
    parts: tuple[tuple[str, int], ...]
    beats_per_bar: tuple[int, ...]
    meter: int
    tempo_bpm: tuple[float, float]
    section_bars: tuple[int, ...] = (0,)
    letters: str = "A"
    phrase_bars: tuple[int, ...] = (0,)
    chords: tuple[tuple[float, int, str], ...] = ()
    tags: tuple[str, ...] = field(default_factory=tuple)

    def score_parts(self) -> list[Part]:
        """Split the notes into parts."""
        out = []
        for index, (role, program) in enumerate(self.parts):
            rows = self.notes[self.notes["part"] == index]
            if rows.size:
                out.append(
                    Part(
                        role=role,
                        onsets=rows["onset"].astype(float),
                        lengths=np.maximum(rows["length"].astype(float), 1e-3),
                        pitches=rows["pitch"].astype(float),
                        velocities=np.clip(rows["velocity"] / 127.0, 0.03, 1.0),
                        program=program,
                    )
                )
        return out


TICKS = 480  # a beat, as stored: steps of 1 ms and less
_DESCRIBED = (
    "name", "parts", "beats_per_bar", "meter", "tempo_bpm", "section_bars", "letters",
    "phrase_bars", "chords", "tags",
)  # fmt: skip


def write_collection(path: Path, pieces: Iterable[StoredPiece]) -> int:
    """Write pieces to one ``.npz``; return how many."""
    pieces = list(pieces)
    notes = [np.sort(piece.notes, order="onset", kind="stable") for piece in pieces]
    ends = np.cumsum([n.size for n in notes]).astype(np.int64)
    about = [{name: getattr(piece, name) for name in _DESCRIBED} for piece in pieces]
    table = np.concatenate(notes) if notes else np.zeros(0, NOTE_TYPE)
    ticks = np.round(table["onset"].astype(float) * TICKS).astype(np.int32)
    columns = {name: table[name] for name in ("pitch", "velocity", "part")}
    # Steps from note to note compress far better than times; pieces follow one another.
    columns["steps"] = np.diff(ticks, prepend=0)
    columns["lengths"] = np.clip(np.round(table["length"] * TICKS), 1, 65535).astype(np.uint16)
    packed = io.BytesIO()
    np.savez_compressed(packed, ends=ends, about=np.array(json.dumps(about)), **columns)
    write_atomic(path, packed.getvalue(), force=True)
    return len(pieces)


@lru_cache(maxsize=16)
def read_collection(path: Path) -> tuple[StoredPiece, ...]:
    """Read all pieces of a collection.

    Raises
    ------
    ParameterError
        If the file is not a collection.
    """
    try:
        with np.load(path, allow_pickle=False) as stored:
            ends, about = stored["ends"], json.loads(str(stored["about"]))
            notes = np.zeros(stored["steps"].size, NOTE_TYPE)
            for name in ("pitch", "velocity", "part"):
                notes[name] = stored[name]
            notes["onset"] = np.cumsum(stored["steps"]) / TICKS
            notes["length"] = stored["lengths"] / TICKS
    except (OSError, KeyError, ValueError) as exc:
        raise ParameterError(f"{path}: is no collection of scores; make it anew") from exc
    starts = np.concatenate([[0], ends[:-1]]).astype(int)
    return tuple(
        StoredPiece(
            notes=notes[first:last],
            **{
                key: tuple(map(tuple, value)) if key in ("parts", "chords")
                else tuple(value) if isinstance(value, list) else value
                for key, value in row.items()
            },
        )
        for first, last, row in zip(starts, ends, about, strict=True)
    )  # fmt: skip
