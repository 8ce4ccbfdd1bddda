"""From a song file to `Audio`: mono, one rate, one loudness, and what the file says of itself.

The kind of file is told by its content, never by its suffix.  It is read block by block, see
`streams`, so memory stays small however high its rate is.

All songs are brought to the same loudness here and nowhere else, because both that look at
the samples need it: the features, and the timing of beats.  How loud a file was mastered
then changes nothing of what is heard in it.
"""

from __future__ import annotations

import hashlib
import stat
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from phrasefit.audio import SAMPLE_RATE_HZ, SILENT_DB
from phrasefit.audio.streams import MAX_CHANNELS, SongReader
from phrasefit.errors import AudioError
from phrasefit.files import protect
from phrasefit.model import Audio, SongInfo

if TYPE_CHECKING:
    from soxr import ResampleStream

# If mixing leaves less than this share of the channels' power, they cancel.
CANCELLED_POWER_SHARE = 0.1
# Loudness is the power of blocks of 0.4 s, those 10 dB under their mean left out: the relative
# gate of ITU-R BS.1770-4, without its filter.
LOUDNESS_BLOCK = round(0.4 * SAMPLE_RATE_HZ)
LOUDNESS_GATE = 0.1
REFERENCE_DB = -17.5  # the sample songs, and the songs that the weights were fitted on, on average

Mix = Callable[[np.ndarray], np.ndarray]


@dataclass(slots=True)
class _Power:
    """Sums of squares, to notice channels that cancel when mixed."""

    channels: np.ndarray = field(default_factory=lambda: np.zeros(MAX_CHANNELS))
    apart: float = 0.0  # mean of the channels
    mixed: float = 0.0

    def add(self, block: np.ndarray, mixed: np.ndarray) -> None:
        powers = np.array([np.dot(channel, channel) for channel in block.T])
        self.channels[: len(powers)] += powers
        self.apart += float(powers.mean())
        self.mixed += float(np.dot(mixed, mixed))


def decode(path: str | Path) -> Audio:
    """Read a song file as mono samples at `SAMPLE_RATE_HZ`, at `REFERENCE_DB`.

    Parameters
    ----------
    path : str or Path
        WAV, FLAC, OGG, MP3, AAC/M4A, AIFF and others that FFmpeg reads.  8-192 kHz,
        1-8 channels, any sample format, up to an hour.

    Returns
    -------
    Audio
        `samples` [shape=(n,), float32], see `even_loudness`.  `info.content_hash` is the
        SHA-256 of the samples before that, so a file that was renamed, moved or tagged anew
        is still the same song.  `info.notes` are doubts about the file.

    Raises
    ------
    AudioError
        If the file is missing, empty, damaged, not audio, out of the ranges above, holds
        samples that are not numbers, or is so cut off that too little can be read.

    Notes
    -----
    Channels are averaged.  If they cancel (one of them in opposite phase) the
    file is read once more and only its loudest channel is used.
    """
    path = Path(path)
    check_readable(path)
    samples, info, power = _decode_mixed(path, _average)
    if power.mixed < CANCELLED_POWER_SHARE * power.apart:
        loudest = int(np.argmax(power.channels))
        samples, info, _ = _decode_mixed(path, lambda b: b[:, min(loudest, b.shape[1] - 1)])
    samples = even_loudness(samples)
    samples.setflags(write=False)  # so that `Audio` need not copy them
    return Audio(samples=samples, sample_rate_hz=SAMPLE_RATE_HZ, info=info)


def even_loudness(samples: np.ndarray) -> np.ndarray:
    """Bring a song to `REFERENCE_DB`, in place; silence and hiss stay as they are.

    Parameters
    ----------
    samples : np.ndarray [shape=(n,), float32]
        Mono at `SAMPLE_RATE_HZ`.

    Returns
    -------
    np.ndarray [shape=(n,), float32]
        The same array; its peaks may lie beyond 1.
    """
    n_whole = max(1, len(samples) // LOUDNESS_BLOCK)
    blocks = np.array_split(samples[: n_whole * LOUDNESS_BLOCK], n_whole)
    power = np.array([np.mean(np.square(block, dtype=np.float64)) for block in blocks])
    if power.max() > 10 ** (SILENT_DB / 10):
        loudness = power[power >= LOUDNESS_GATE * power.mean()].mean()
        samples *= np.float32(10 ** (REFERENCE_DB / 20) / np.sqrt(loudness))
    return samples


def check_readable(path: Path) -> None:
    """Catch what has nothing to do with sound: no file, a folder, no right to read.

    Raises
    ------
    AudioError
        Names the file and what to do.
    """
    if not _is_unicode(path):
        raise AudioError(f"{str(path)!a}: has letters in its name that are not UTF-8; rename it")
    if path.is_dir():
        raise AudioError("is a folder; name a song file inside it", where=path)
    protect(path, "the song")
    try:
        about = path.stat()
        if not stat.S_ISREG(about.st_mode):  # opening a pipe would wait forever
            raise AudioError("is no file that can be read twice; save the song to disk", where=path)
        path.open("rb").close()
    except FileNotFoundError as exc:
        raise AudioError("there is no such file; check the name and folder", where=path) from exc
    except OSError as exc:
        raise AudioError(
            f"cannot be opened ({exc.strerror}); check that you may read it", where=path
        ) from exc
    if about.st_size == 0:
        raise AudioError("is empty (0 bytes); copy or download it again", where=path)


def _is_unicode(path: Path) -> bool:
    """Tell whether a name can be shown, kept and written elsewhere."""
    try:
        str(path).encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True


def _decode_mixed(path: Path, mix: Mix) -> tuple[np.ndarray, SongInfo, _Power]:
    """Run the file once: mix each block to mono, bring it to our rate."""
    reader, power = SongReader(path), _Power()
    samples = _resample_mono(reader, mix, power)
    if samples.size == 0:
        raise AudioError("holds no sound (0 samples); export or download it again", where=path)
    info = SongInfo(
        path=str(path),
        content_hash=hashlib.sha256(samples.data).hexdigest(),
        duration_s=samples.size / SAMPLE_RATE_HZ,
        sample_rate_hz=reader.rate_hz,
        n_channels=reader.n_channels,
        codec=reader.codec,
        notes=tuple(dict.fromkeys(reader.notes)),
        **reader.tags,
    )
    return samples, info, power


def _average(block: np.ndarray) -> np.ndarray:
    """Mean of the channels, as a matrix product: ten times as fast on two columns."""
    n_channels = block.shape[1]
    return block @ np.full(n_channels, 1 / n_channels, dtype=np.float32)


def _resample_mono(reader: SongReader, mix: Mix, power: _Power) -> np.ndarray:
    """Mix, check and resample block by block."""
    mono = bytearray()  # grows in place: pieces in a list would be there twice when joined
    resampler = None
    rate_hz = 0
    for block in reader.blocks():
        mixed = np.ascontiguousarray(mix(block.samples), dtype=np.float32)
        power.add(block.samples, mixed)
        if not np.isfinite(power.apart):
            raise AudioError(
                f"holds samples that are not numbers near"
                f" {len(mono) / 4 / SAMPLE_RATE_HZ:.1f} s (NaN or infinite); export it again",
                where=reader.path,
            )
        if block.rate_hz != rate_hz:  # joined files may go on at another rate
            mono += _rest_of(resampler)
            rate_hz = block.rate_hz
            resampler = _resampler(rate_hz)
        mono += (mixed if resampler is None else resampler.resample_chunk(mixed)).data
    mono += _rest_of(resampler)
    return np.frombuffer(mono, dtype=np.float32)


def _resampler(rate_hz: int) -> ResampleStream | None:
    """Bring a rate to ours; None if it is ours."""
    import soxr

    if rate_hz == SAMPLE_RATE_HZ:
        return None
    return soxr.ResampleStream(rate_hz, SAMPLE_RATE_HZ, 1, dtype="float32")


def _rest_of(resampler: ResampleStream | None) -> bytes:
    """Take what a resampler still holds."""
    if resampler is None:
        return b""
    return resampler.resample_chunk(np.zeros(0, np.float32), last=True).tobytes()
