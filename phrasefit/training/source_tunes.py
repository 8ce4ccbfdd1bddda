"""Tunes and scores of earlier centuries from the corpus that comes with `music21`.

Fiddle and pipe tunes (Ryan 1883, Aird 1782-1803, O'Neill 1903) become single lines for
our bands to play; chorales and movements become whole scores.  The music is in the
public domain; the encodings were given to music21 by their makers for distribution.
Collections whose license is unclear or not open (Essen) are left out.

Needs `music21`; runs once, on the machine that collects.
"""

from __future__ import annotations

import logging
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from phrasefit.training.collection import NOTE_TYPE, StoredPiece

TUNE_FOLDERS = ("ryansMammoth", "airdsAirs", "oneills1850")
SCORE_FOLDERS = ("bach", "beethoven", "haydn", "mozart", "corelli", "handel", "schubert",
                 "schumann_robert", "schumann_clara", "joplin", "weber", "cpebach", "verdi",
                 "johnson_j_r", "liliuokalani", "chopin", "leadSheet")  # fmt: skip
# Time signature -> (quarter notes a beat, beats a bar): compound time beats in threes.
BEAT_UNITS = {
    "2/4": (1.0, 2), "4/4": (1.0, 4), "3/4": (1.0, 3), "2/2": (1.0, 4), "6/8": (1.5, 2),
    "9/8": (1.5, 3), "12/8": (1.5, 4), "3/8": (0.5, 3), "5/4": (1.0, 5), "3/2": (2.0, 3),
    "4/2": (2.0, 4), "6/4": (3.0, 2), "4/8": (0.5, 4),
}  # fmt: skip
FAMILIES_OF_SOUND = {"bach": ("choir", 52), "joplin": ("chords", 0), "corelli": ("chords", 48)}

logger = logging.getLogger(__name__)


def corpus_folder() -> Path:
    """Find the corpus beside music21."""
    import music21

    return Path(music21.__file__).parent / "corpus"


def read_tunes(limit_per_folder: int) -> Iterator[StoredPiece]:
    """Read single-line tunes in a regular meter."""
    for name in TUNE_FOLDERS:
        n_read = 0
        for path in sorted((corpus_folder() / name).glob("*.abc")):
            if n_read >= limit_per_folder:
                break
            for score in _parse(path):
                piece = _piece(score, f"{name}/{path.stem}", name, n_min_bars=8)
                if piece is not None:
                    n_read += 1
                    yield piece


def read_scores(limit_per_folder: int) -> Iterator[StoredPiece]:
    """Read chorales, quartet and piano movements and songs."""
    for name in SCORE_FOLDERS:
        folder = corpus_folder() / name
        paths = [
            p for p in sorted(folder.rglob("*"))
            if p.suffix in (".mxl", ".xml", ".krn", ".musicxml") and p.stat().st_size < 400_000
        ]  # fmt: skip
        for path in paths[:limit_per_folder]:
            for score in _parse(path):
                piece = _piece(score, f"{name}/{path.stem}", name, n_min_bars=8)
                if piece is not None:
                    yield piece


def _parse(path: Path) -> list[object]:
    """Read a file; an empty list where music21 cannot."""
    from music21 import converter

    try:
        parsed = converter.parse(str(path))
    except Exception as exc:  # hundreds of old files: one that cannot be read is left out
        logger.warning("%s: left out (%s)", path.name, exc)
        return []
    return list(parsed.scores) if hasattr(parsed, "scores") else [parsed]


def _piece(score: object, name: str, folder: str, *, n_min_bars: int) -> StoredPiece | None:
    """Turn a score into a stored piece; None where its meter is unclear."""
    try:
        return _convert(score, name, folder, n_min_bars)
    except Exception as exc:  # as above
        logger.warning("%s: left out (%s)", name, exc)
        return None


def _convert(score: object, name: str, folder: str, n_min_bars: int) -> StoredPiece | None:
    parts = list(score.parts) or [score]
    if folder in TUNE_FOLDERS:
        parts = _with_repeats(parts)
    measures = list(parts[0].getElementsByClass("Measure"))
    if len(measures) < n_min_bars:
        return None
    signatures = [m.timeSignature.ratioString for m in measures if m.timeSignature]
    if not signatures or len(set(signatures)) > 1 or signatures[0] not in BEAT_UNITS:
        return None
    unit, meter = BEAT_UNITS[signatures[0]]
    beats_per_bar, pickup = _bars(measures, unit, meter)
    if beats_per_bar is None:
        return None
    rows, roles = _rows(parts, unit, pickup, folder)
    if len(rows) < 3 * n_min_bars:
        return None
    return StoredPiece(
        name=name,
        notes=np.array(rows, dtype=NOTE_TYPE),
        parts=tuple(roles),
        beats_per_bar=tuple(beats_per_bar),
        meter=meter,
        tempo_bpm=_tempo(signatures[0], folder),
        phrase_bars=tuple(range(0, len(beats_per_bar), 4)),
        tags=(folder, signatures[0]),
    )


def _with_repeats(parts: list) -> list:
    """Write repeats out where they are well formed; old prints often are not."""
    from music21.exceptions21 import Music21Exception

    try:
        return [part.expandRepeats() for part in parts]
    except Music21Exception:
        return parts


def _bars(measures: list, unit: float, meter: int) -> tuple[list[int] | None, float]:
    """Measure the bars; a short first bar is a pickup that gets a full bar.

    Returns the beats of each bar (None where bars do not hold whole beats) and how many
    beats all notes move later.
    """
    lengths = []
    for measure in measures:
        lengths.append(float(measure.duration.quarterLength / unit))
    pickup = 0.0
    if lengths[0] < meter - 0.01:
        pickup, lengths[0] = meter - lengths[0], float(meter)
    joined: list[float] = []  # two parts of a bar around a repeat sign become one
    for beats in lengths:
        if joined and joined[-1] < meter - 0.01 and joined[-1] + beats <= meter + 0.01:
            joined[-1] += beats
        else:
            joined.append(beats)
    whole = [round(b) for b in joined]
    regular = sum(abs(b - meter) < 0.01 for b in joined) / len(joined)
    exact = all(abs(b - w) < 0.02 and w >= 1 for b, w in zip(joined, whole, strict=True))
    return (whole, pickup) if exact and regular > 0.85 else (None, 0.0)


def _rows(parts: list, unit: float, pickup: float, folder: str) -> tuple[list, list]:
    """List the notes of all parts."""
    rows, roles = [], []
    role, program = FAMILIES_OF_SOUND.get(folder, ("chords", -1))
    if folder in TUNE_FOLDERS:
        role, program = "lead", 40
    for number, part in enumerate(parts[:12]):
        flat = part.stripTies().flatten()
        found = 0
        for element in flat.notes:
            length = float(element.duration.quarterLength) / unit
            onset = float(element.offset) / unit + pickup
            pitches = [p.midi for p in element.pitches] if not element.isRest else []
            if length <= 0 or onset < 0:
                continue
            for midi in pitches:
                if 20 <= midi <= 108:
                    rows.append((onset, length, midi, 84, number))
                    found += 1
        roles.append((role if found else "chords", program))
    return rows, roles


def _tempo(signature: str, folder: str) -> tuple[float, float]:
    """A range of tempi that suits; common practice, no source."""
    if folder == "bach":
        return 56.0, 96.0
    if signature in ("6/8", "12/8", "9/8", "6/4"):
        return 66.0, 132.0
    if signature == "3/8":
        return 120.0, 190.0
    return (84.0, 140.0) if folder in TUNE_FOLDERS else (66.0, 132.0)
