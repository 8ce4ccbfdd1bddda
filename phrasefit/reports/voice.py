"""Spoken words for practice audio: the shipped bank, and any other text if a voice is there.

Numbers and the cue words of the step vocabulary ship with the package (made with
eSpeak NG, see ``speech/words.json``).  Other words need the extra
``pip install "phrasefit[speech]"``, which uses the voice of the system; `sayable` leaves
them out of a call where there is none.
"""

from __future__ import annotations

import functools
import json
import re
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from phrasefit.errors import MissingExtraError

if TYPE_CHECKING:
    import numpy as np

BANK_FOLDER = Path(__file__).parent / "speech"
BANK_RATE_HZ = 22050
SIDES = {"r": "right", "l": "left"}  # as step sheets write them
SILENCE_SHARE = 0.02  # of the peak: what is quieter at either end is cut off


def trimmed(sound: np.ndarray, sample_rate_hz: int) -> np.ndarray:
    """Cut silence from both ends of a word, leaving 5 ms."""
    import numpy as np

    loud = np.flatnonzero(np.abs(sound) > SILENCE_SHARE * np.max(np.abs(sound)))
    spare = sample_rate_hz // 200
    return sound[max(0, loud[0] - spare) : loud[-1] + spare] if loud.size else sound


@functools.cache
def _bank() -> tuple[np.ndarray, dict[str, list[int]]]:
    import soundfile

    about = json.loads((BANK_FOLDER / "words.json").read_text(encoding="utf-8"))
    sound, _ = soundfile.read(BANK_FOLDER / "words.ogg", dtype="float32")
    return sound, about["words"]


def bank_words() -> frozenset[str]:
    """Name the words that can be said without a voice of the system."""
    return frozenset(_bank()[1])


@functools.lru_cache(maxsize=512)
def say(words: str, sample_rate_hz: int) -> np.ndarray:
    """Give the sound of `words` [shape=(n,), float32, peak at most 1].

    Words of the bank are joined from it; others are spoken by the system's voice.

    Raises
    ------
    MissingExtraError
        If a word is not in the bank and no voice is installed.
    """
    import numpy as np
    import soxr

    bank, index = _bank()
    pieces = _pieces(words)
    if all(piece in index for piece in pieces):
        sounds = [bank[at : at + length] for at, length in (index[piece] for piece in pieces)]
        sound = np.concatenate(sounds)
    else:
        sound = _system_voice(" ".join(pieces))
    return soxr.resample(sound, BANK_RATE_HZ, sample_rate_hz).astype(np.float32)


@functools.lru_cache(maxsize=512)
def sayable(words: str) -> str:
    """Give `words` if they can be said, else those of them that are in the bank; "" if none is."""
    try:
        say(words, BANK_RATE_HZ)
    except MissingExtraError:
        return " ".join(piece for piece in _pieces(words) if piece in bank_words())
    return words


def _pieces(words: str) -> list[str]:
    """Cut words where the bank joins them; sheets write them with capitals, and R for right."""
    if words in bank_words():
        return [words]
    plain = (piece.lower() for piece in re.findall(r"[^\s,;]+", words))
    return [SIDES.get(piece, piece) for piece in plain]


def _system_voice(words: str) -> np.ndarray:
    """Let the system speak, at `BANK_RATE_HZ`."""
    import numpy as np
    import soundfile
    import soxr

    try:
        import pyttsx3
    except ImportError as exc:
        raise MissingExtraError(
            f'{words!r} is not among the words that ship; pip install "phrasefit[speech]" lets the'
            " voice of your system say it, or use --say numbers"
        ) from exc
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "word.wav"
        try:
            engine = pyttsx3.init()
            engine.save_to_file(words, str(path))
            engine.runAndWait()
            sound, rate_hz = soundfile.read(path, dtype="float32", always_2d=True)
        except Exception as exc:  # each system's engine fails in its own way
            raise MissingExtraError(
                f"the voice of the system did not say {words!r} ({exc});"
                " install one (eSpeak NG is free), or use --say numbers"
            ) from exc
    mono = trimmed(sound.mean(axis=1), rate_hz)
    return soxr.resample(mono / max(float(np.max(np.abs(mono))), 1e-9), rate_hz, BANK_RATE_HZ)
