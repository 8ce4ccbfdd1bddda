"""From a song file to mono samples at one fixed rate, and every feature made from them.

`decode.decode` reads a file (`streams` its sound, `containers` what its headers promise),
`features.extract_features` computes once what the other rooms look at.  The constants
below are the only place where the rate of samples and frames is decided, and what is too
short or too quiet for a song.
"""

from __future__ import annotations

SAMPLE_RATE_HZ = 22050  # keeps cymbals to 11 kHz; half the cost of the CD rate
HOP_LENGTH = 441  # samples between frames: exactly 50 frames a second
HOP_S = HOP_LENGTH / SAMPLE_RATE_HZ
N_FFT = 1024  # 46 ms: short enough that two hits of a fast drum fill stay apart
N_MELS = 96

MIN_SONG_S = 4.0  # in less there is nothing to hear a beat from
# Quieter than this everywhere is silence, and the hiss of a good converter: lifting it would
# make it a sound.
SILENT_DB = -65.0
