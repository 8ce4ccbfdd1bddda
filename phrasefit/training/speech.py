"""Make the spoken words that ship with phrasefit: numbers, events, step cues.

Run ``python -m phrasefit.training.speech`` to write ``reports/speech/words.ogg`` and
``words.json`` anew; it needs the program ``espeak-ng`` (eSpeak NG, GPL-3; what it
speaks is not covered by its license).  The words themselves are those of
`routine.vocabulary` and the few of the trade below.
"""

from __future__ import annotations

import io
import json
import shutil
import subprocess
from collections.abc import Iterator

import numpy as np

from phrasefit.errors import MissingExtraError
from phrasefit.files import sound_bytes, write_atomic
from phrasefit.reports.voice import BANK_FOLDER, BANK_RATE_HZ, trimmed
from phrasefit.routine.vocabulary import PATTERNS

VOICE = "en-us"
NUMBER_WORDS_A_MINUTE = 260  # a number must be said within a count
CUE_WORDS_A_MINUTE = 210
PEAK = 0.9
GAP = 1024  # samples of silence between two words in the file

NUMBERS = ("one", "two", "three", "four", "five", "six", "seven", "eight")
TRADE_WORDS = (
    "tag", "restart", "wall", "new wall", "last wall", "turn", "half", "quarter", "full", "ready",
    "go", "hold", "front", "end", "and", "step", "back", "forward", "side", "together", "behind",
    "in", "place", "right", "left", "heel", "toe", "slow", "quick", "clap", "diagonal", "drag",
    "home", "out", "over", "up", "down", "round", "on", "with", "a", "slide", "lift", "knee",
)  # fmt: skip


def bank_words() -> dict[str, int]:
    """List the words of the bank, each with its speed [words a minute]."""
    cues = {pattern.cue for pattern in PATTERNS}
    cues |= {word for pattern in PATTERNS for key in pattern.keys for word in key}
    return {
        **dict.fromkeys(NUMBERS, NUMBER_WORDS_A_MINUTE),
        **dict.fromkeys((*TRADE_WORDS, *sorted(cues)), CUE_WORDS_A_MINUTE),
    }


def spoken(word: str, words_a_minute: int) -> np.ndarray:
    """Let eSpeak NG say `word` [shape=(n,), float32 at `BANK_RATE_HZ`, peak `PEAK`].

    Raises
    ------
    MissingExtraError
        If the program is not installed.
    """
    import soundfile

    program = shutil.which("espeak-ng")
    if program is None:
        raise MissingExtraError("espeak-ng is not installed; install eSpeak NG to make the words")
    command = [program, "-v", VOICE, "-s", str(words_a_minute), "--stdout", word]
    sound, rate_hz = soundfile.read(
        io.BytesIO(subprocess.run(command, capture_output=True, check=True).stdout),
        dtype="float32",
    )
    assert rate_hz == BANK_RATE_HZ, f"eSpeak NG gave {rate_hz} Hz"
    sound = trimmed(sound, rate_hz)
    return PEAK * sound / np.max(np.abs(sound))


def _laid_out(words: dict[str, int]) -> Iterator[tuple[str, np.ndarray]]:
    for word, speed in words.items():
        yield word, spoken(word, speed)


def make_bank() -> None:
    """Write the bank: one OGG file with all words, one JSON file that says where each is."""

    pieces, index, at = [], {}, GAP
    pieces.append(np.zeros(GAP, dtype="float32"))
    for word, sound in _laid_out(bank_words()):
        index[word] = [at, len(sound)]
        pieces += [sound, np.zeros(GAP, dtype="float32")]
        at += len(sound) + GAP
    coded = sound_bytes(np.concatenate(pieces), BANK_RATE_HZ, container="OGG", subtype="VORBIS")
    about = {
        "made_by": "eSpeak NG 1.51, voice en-us, through phrasefit.training.speech",
        "sample_rate_hz": BANK_RATE_HZ,
        "words": index,
    }
    write_atomic(BANK_FOLDER / "words.ogg", coded, force=True)
    write_atomic(BANK_FOLDER / "words.json", json.dumps(about, indent=0) + "\n", force=True)


if __name__ == "__main__":
    make_bank()
