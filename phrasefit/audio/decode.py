"""From a song file to `Audio`: mono, one rate, and what the file says about itself.

The kind of file is told by its content, never by its suffix.  libsndfile (through
soundfile) reads WAV, FLAC, OGG, MP3 and their relatives; AAC in MP4, and what
else a phone may hold, goes through PyAV where that extra is installed.  Files are
read block by block, so memory stays small however high their rate is.
"""

from __future__ import annotations

import hashlib
import os
import stat
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from phrasefit.audio import SAMPLE_RATE_HZ
from phrasefit.errors import AudioError, MissingExtraError
from phrasefit.files import protect
from phrasefit.model import Audio, SongInfo

BLOCK_FRAMES = 1 << 17  # 3 s at 44.1 kHz: large enough for speed, small for memory
MIN_RATE_HZ, MAX_RATE_HZ = 8_000, 192_000
MAX_CHANNELS = 8
MAX_DURATION_S = 3600.0  # longer files are recordings of an evening, not songs
# A file may lack this much of its declared length: encoders pad and round.
MISSING_TOLERANCE_S = 0.5
# If mixing leaves less than this share of the channels' power, they cancel.
CANCELLED_POWER_SHARE = 0.1
OGG_PAGE_BYTES = 65_307  # the largest page there can be (RFC 3533, 6)
PLACEHOLDER_BYTES = 0x7FFF_F000  # sizes above it are written by programs that stream


@dataclass(frozen=True, slots=True, kw_only=True)
class _Stream:
    """An open file: what it declares, and its blocks [shape=(n, n_channels)]."""

    rate_hz: int
    n_channels: int
    declared_s: float
    codec: str
    tags: dict[str, str]
    blocks: Iterator[np.ndarray]


@dataclass(slots=True)
class _Power:
    """Sums of squares, to notice channels that cancel when mixed."""

    channels: np.ndarray
    mixed: float = 0.0


def decode(path: str | Path) -> Audio:
    """Read a song file as mono samples at `SAMPLE_RATE_HZ`.

    Parameters
    ----------
    path : str or Path
        WAV, FLAC, OGG, MP3, AIFF and others of libsndfile; AAC/M4A with the
        extra ``m4a``.  8-192 kHz, 1-8 channels, any sample format.

    Returns
    -------
    Audio
        `samples` [shape=(n,), float32, -1 to 1]; peaks above full scale are
        scaled down.  `info.content_hash` is the SHA-256 of these samples, so a
        file that was renamed, moved or tagged anew is still the same song.

    Raises
    ------
    AudioError
        If the file is missing, empty, cut off, not audio, out of the ranges
        above or holds samples that are not numbers.
    MissingExtraError
        If it is AAC/M4A and PyAV is not installed.

    Notes
    -----
    Channels are averaged.  If they cancel (one of them in opposite phase) the
    file is read once more and only its loudest channel is used.
    """
    path = Path(path)
    check_readable(path)
    samples, info, power = _decode_mixed(path, _average)
    if power.mixed < CANCELLED_POWER_SHARE * power.channels.mean():
        loudest = int(np.argmax(power.channels))
        samples, info, _ = _decode_mixed(path, lambda block: block[:, loudest])
    peak = float(max(samples.max(), -samples.min()))
    if peak > 1.0:
        samples /= peak
    samples.setflags(write=False)  # so that `Audio` need not copy them
    return Audio(samples=samples, sample_rate_hz=SAMPLE_RATE_HZ, info=info)


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
        raise AudioError(f"{path}: is a folder; name a song file inside it")
    protect(path, "the song")
    try:
        about = path.stat()
        if not stat.S_ISREG(about.st_mode):  # opening a pipe would wait forever
            raise AudioError(f"{path}: is no file that can be read twice; save the song to disk")
        path.open("rb").close()
    except FileNotFoundError as exc:
        raise AudioError(f"{path}: there is no such file; check the name and folder") from exc
    except OSError as exc:
        raise AudioError(
            f"{path}: cannot be opened ({exc.strerror}); check that you may read it"
        ) from exc
    if about.st_size == 0:
        raise AudioError(f"{path}: is empty (0 bytes); copy or download it again")


def _is_unicode(path: Path) -> bool:
    """Tell whether a name can be shown, kept and written elsewhere."""
    try:
        str(path).encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True


def _decode_mixed(
    path: Path, mix: Callable[[np.ndarray], np.ndarray]
) -> tuple[np.ndarray, SongInfo, _Power]:
    """Run the file once: mix each block to mono, bring it to our rate."""
    with _open_stream(path) as stream:
        _check_ranges(path, stream)
        power = _Power(np.zeros(stream.n_channels))
        samples = _resample_mono(path, stream, mix, power)
    duration_s = samples.size / SAMPLE_RATE_HZ
    if samples.size == 0:
        raise AudioError(f"{path}: holds no sound (0 samples); export or download it again")
    if stream.declared_s - duration_s > MISSING_TOLERANCE_S:
        raise AudioError(
            f"{path}: is cut off, only {duration_s:.1f} s of {stream.declared_s:.1f} s can be read;"
            " copy or download it again"
        )
    info = SongInfo(
        path=str(path),
        content_hash=hashlib.sha256(samples.data).hexdigest(),
        duration_s=duration_s,
        sample_rate_hz=stream.rate_hz,
        n_channels=stream.n_channels,
        codec=stream.codec,
        **stream.tags,
    )
    return samples, info, power


def _average(block: np.ndarray) -> np.ndarray:
    """Mean of the channels, as a matrix product: ten times as fast on two columns."""
    n_channels = block.shape[1]
    return block @ np.full(n_channels, 1 / n_channels, dtype=np.float32)


def _check_ranges(path: Path, stream: _Stream) -> None:
    if not MIN_RATE_HZ <= stream.rate_hz <= MAX_RATE_HZ:
        raise AudioError(
            f"{path}: has {stream.rate_hz} samples a second, {MIN_RATE_HZ}-{MAX_RATE_HZ} can be"
            " read; export it at 44100"
        )
    if stream.n_channels > MAX_CHANNELS:
        raise AudioError(
            f"{path}: has {stream.n_channels} channels, up to {MAX_CHANNELS} can be read;"
            " export it as stereo"
        )
    if stream.declared_s > MAX_DURATION_S:
        raise AudioError(
            f"{path}: is {stream.declared_s / 60:.0f} minutes long, songs up to"
            f" {MAX_DURATION_S / 60:.0f} minutes can be read; cut it into songs"
        )


def _resample_mono(
    path: Path, stream: _Stream, mix: Callable[[np.ndarray], np.ndarray], power: _Power
) -> np.ndarray:
    """Mix, check and resample block by block."""
    import soxr

    resampler = None
    if stream.rate_hz != SAMPLE_RATE_HZ:
        resampler = soxr.ResampleStream(stream.rate_hz, SAMPLE_RATE_HZ, 1, dtype="float32")
    mono = bytearray()  # grows in place: pieces in a list would be there twice when joined
    n_read = 0
    for block in stream.blocks:
        mixed = np.ascontiguousarray(mix(block), dtype=np.float32)
        channel_power = np.diag(block.T @ block)
        if not np.all(np.isfinite(channel_power)):
            raise AudioError(
                f"{path}: holds samples that are not numbers near"
                f" {n_read / stream.rate_hz:.1f} s (NaN or infinite); export it again"
            )
        power.channels += channel_power
        power.mixed += float(np.dot(mixed, mixed))
        n_read += len(block)
        if n_read > MAX_DURATION_S * stream.rate_hz:
            raise AudioError(f"{path}: is longer than an hour; cut it into songs")
        mono += (mixed if resampler is None else resampler.resample_chunk(mixed)).data
    if resampler is not None and n_read:
        mono += resampler.resample_chunk(np.zeros(0, np.float32), last=True).data
    return np.frombuffer(mono, dtype=np.float32)


# ------------------------------------------------------------- kinds of files


def _sniff(path: Path) -> str:
    """Name what libsndfile cannot read (or takes for MP3), else ``""``."""
    with path.open("rb") as file:
        head = file.read(16)
    if head[4:8] == b"ftyp":
        return "AAC/M4A"
    if head[:4] == b"\x1aE\xdf\xa3":
        return "Matroska/WebM"
    if head[:4] == b"0&\xb2u":
        return "WMA"
    if len(head) > 1 and head[0] == 0xFF and head[1] & 0xF6 == 0xF0:
        return "AAC"
    return ""


def _open_stream(path: Path) -> contextmanager:
    """Open `path` with the library that reads its kind."""
    kind = _sniff(path)
    return _open_av(path, kind) if kind else _open_soundfile(path)


@contextmanager
def _open_soundfile(path: Path) -> Iterator[_Stream]:
    import soundfile

    # A file object, not the name: libsndfile would believe a suffix such as .raw.
    with path.open("rb") as file, _quiet_libraries():
        try:
            sound = soundfile.SoundFile(file.fileno(), closefd=False)
        except (soundfile.LibsndfileError, TypeError) as exc:
            raise AudioError(
                f"{path}: is not a sound file that can be read; use WAV, FLAC, OGG, MP3 or M4A"
            ) from exc
        with sound:
            declared_frames = max(sound.frames, _declared_riff_frames(path))
            if sound.format == "OGG" and not _ogg_is_whole(path):
                raise AudioError(
                    f"{path}: is cut off after {sound.frames / sound.samplerate:.1f} s,"
                    " its last page is missing; copy or download it again"
                )
            yield _Stream(
                rate_hz=sound.samplerate,
                n_channels=sound.channels,
                declared_s=declared_frames / sound.samplerate,
                codec=f"{sound.format} {sound.subtype}",
                tags={n: getattr(sound, n, "") or "" for n in ("title", "artist", "album")},
                blocks=_soundfile_blocks(path, sound),
            )


def _soundfile_blocks(path: Path, sound: object) -> Iterator[np.ndarray]:
    import soundfile

    while True:
        try:
            block = sound.read(BLOCK_FRAMES, dtype="float32", always_2d=True)
        except soundfile.LibsndfileError as exc:
            raise AudioError(
                f"{path}: is damaged after {max(0, sound.tell()) / sound.samplerate:.1f} s;"
                " copy or download it again"
            ) from exc
        if not len(block):
            return
        yield block


@contextmanager
def _quiet_libraries() -> Iterator[None]:
    """Keep the MP3 library's own remarks off the terminal: what matters is raised."""
    sys.stderr.flush()
    kept = os.dup(2)
    try:
        with open(os.devnull, "wb") as nowhere:
            os.dup2(nowhere.fileno(), 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)


def _ogg_is_whole(path: Path) -> bool:
    """Look for the end-of-stream flag that the last page of an Ogg file has (RFC 3533, 6)."""
    with path.open("rb") as file:
        file.seek(max(0, path.stat().st_size - OGG_PAGE_BYTES))
        tail = file.read()
    last = tail.rfind(b"OggS")
    return last >= 0 and len(tail) > last + 5 and bool(tail[last + 5] & 4)


def _declared_riff_frames(path: Path) -> int:
    """Frames a WAV header promises: libsndfile silently trims them to the file."""
    with path.open("rb") as file:
        if file.read(4) != b"RIFF":
            return 0
        file.seek(12)
        frame_bytes = 0
        while len(head := file.read(8)) == 8:
            size = int.from_bytes(head[4:], "little")
            if head[:4] == b"fmt ":
                frame_bytes = int.from_bytes(file.read(size)[12:14], "little")
            elif head[:4] == b"data":
                known = frame_bytes and size < PLACEHOLDER_BYTES
                return size // frame_bytes if known else 0
            else:
                file.seek(size + size % 2, 1)
    return 0


@contextmanager
def _open_av(path: Path, kind: str) -> Iterator[_Stream]:
    try:
        import av
    except ImportError as exc:
        raise MissingExtraError(
            f'{path}: is {kind}, which needs one more library; pip install "phrasefit[m4a]"'
        ) from exc
    try:
        with av.open(str(path)) as container:
            if not container.streams.audio:
                raise AudioError(f"{path}: has no sound in it; name a file with music")
            audio = container.streams.audio[0]
            tags = {k.lower(): v for k, v in {**container.metadata, **audio.metadata}.items()}
            yield _Stream(
                rate_hz=audio.rate,
                n_channels=audio.channels,
                # Bare AAC declares no length; the library guesses one from the bit rate.
                declared_s=float(audio.duration * audio.time_base)
                if audio.duration and kind != "AAC"
                else 0.0,
                codec=audio.codec_context.name.upper(),
                tags={n: tags.get(n, "") for n in ("title", "artist", "album")},
                blocks=_av_blocks(av, container, audio),
            )
    except av.FFmpegError as exc:
        raise AudioError(
            f"{path}: is damaged or cut off {kind} ({exc.strerror}); copy or download it again"
        ) from exc


def _av_blocks(av: object, container: object, audio: object) -> Iterator[np.ndarray]:
    to_planar = av.AudioResampler(format="fltp")
    for frame in container.decode(audio):
        for planar in to_planar.resample(frame):
            yield planar.to_ndarray().T
