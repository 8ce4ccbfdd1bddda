"""Reads the sound of a file block by block, to the end of its data, and says what is missing.

FFmpeg (through PyAV) reads every kind: it is the one library that takes MP3 without a
header, joined and chained files, and AAC.  It opens nothing but the file that it was
given: kinds that refer to other files or addresses, such as playlists, are not among
`FORMATS`.  How long a file is, its data decide; what its header promises is only held
against them, see `containers`.
"""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any, BinaryIO, NamedTuple

import numpy as np

from phrasefit.audio.containers import (
    OggLink,
    mp3_frames,
    ogg_links,
    promised_bytes,
)
from phrasefit.audio.losses import COPY_IT, LossWatch
from phrasefit.clock import clock_time
from phrasefit.errors import AudioError
from phrasefit.model import CUT_OFF, one_line

FORMATS = (
    "wav,w64,aiff,au,caf,flac,ogg,mp3,aac,mov,matroska,asf,avi,mpegts,mpeg,ac3,eac3,wv,ape,"
    "iff,voc,nistsphere"
)  # FFmpeg's names
# Their packets follow each other without times of their own: what cannot be decoded is told
# by its bytes.  All others say when each packet sounds.
WITHOUT_TIMES = frozenset({"mp3", "aac"})
DECLARE_FOR_ALL = frozenset({"matroska,webm", "asf", "avi"})  # a length for all streams at once
BLOCK_FRAMES = 1 << 17  # 3 s at 44.1 kHz: large enough for speed, small for memory
MIN_RATE_HZ, MAX_RATE_HZ = 8_000, 192_000
MAX_CHANNELS = 8
MAX_DURATION_S = 3600.0  # longer files are recordings of an evening, not songs
MIN_BYTES_PER_S = 1_000  # nothing that is called music is coded in less
# A file may lack this much of its declared length, and of its middle: encoders pad and round.
MISSING_TOLERANCE_S = 0.5
LEAST_CUT_S = 10.0  # of a file that is cut off; in less nothing of a song is left
MOST_OGG_LINKS = 256
MOST_TAG_LETTERS = 200
# What an encoder puts before the music where the file does not say: 576 samples by LAME, the
# most used, and 529 by every decoder; for AAC one frame, as FFmpeg does (both from memory).
MP3_DELAY_SAMPLES = 576 + 529
# What these begin with is not taken off, or too much is: written by FFmpeg, WMA lay 46 ms early
# and Speex 14 ms late.
SHIFTED_CODECS = ("WMAV1", "WMAV2", "WMAPRO", "SPEEX")
LOWEST_MPEG1_RATE_HZ = 32_000  # below it MP3 frames have half as many samples
# FFmpeg's names of sample formats; a "p" behind means one plane a channel.
_KINDS = {"u8": "u1", "s16": "i2", "s32": "i4", "s64": "i8", "flt": "f4", "dbl": "f8"}
SAMPLE_TYPES = {name + p: np.dtype(kind) for name, kind in _KINDS.items() for p in ("", "p")}
KNOWN_HEADS = (b"RIFF", b"RF64", b"riff", b"FORM", b".snd", b"caff", b"fLaC", b"OggS", b"ID3",
               b"\x1aE\xdf\xa3", b"0&\xb2u")  # fmt: skip


class Block(NamedTuple):
    """A stretch of sound as it is in the file: `samples` [shape=(n, n_channels), float32]."""

    samples: np.ndarray
    rate_hz: int


class Kind(NamedTuple):
    """How samples are coded; `name` is FFmpeg's of their format."""

    rate_hz: int
    n_channels: int
    name: str


class Piece(NamedTuple):
    """What a packet holds, still coded: the bytes of one plane a channel, or of one for all.

    A song has thousands of packets: what can wait is done for all that make a block at once.
    """

    planes: Sequence[memoryview | bytes]
    n_frames: int
    kind: Kind
    fills_a_hole: bool = False


@dataclass(slots=True)
class SongReader:
    """One reading of a song file; what it says is complete when `blocks` has ended.

    `rate_hz`, `n_channels` and `codec` are those of its beginning; `declared_s` is 0 where the
    file states no length; `notes` are doubts in plain words.
    """

    path: Path
    rate_hz: int = 0
    n_channels: int = 0
    codec: str = ""
    declared_s: float = 0.0
    heard_s: float = 0.0
    tags: dict[str, str] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    _ends_badly: bool = False

    def blocks(self) -> Iterator[Block]:
        """Yield the sound of the file.

        Raises
        ------
        AudioError
            If it is damaged, no sound, out of the ranges above, or so cut off that too little
            can be read.
        """
        with self.path.open("rb") as file:
            size_bytes = file.seek(0, io.SEEK_END)
            there = min(1.0, size_bytes / (promised_bytes(file) or size_bytes))
            links = self._links(file, size_bytes)
            may_break_s: list[float] = []
            for link in links:
                if link.has_sound or link.is_ended or len(links) == 1:
                    with self._opened(_Window(file, link), there) as container:
                        yield from _joined(self._sound_of(container, file, link))
                if not link.is_ended and link is not links[-1]:
                    may_break_s.append(self.heard_s)
        self.declared_s = max(self.declared_s, self.heard_s / there)
        self._judge_end(links[-1], may_break_s)

    def _judge_end(self, last: OggLink, may_break_s: list[float]) -> None:
        """Note where the file is cut off, or may be; refuse it if hardly anything is left."""
        told_s = self.declared_s if self.declared_s - self.heard_s > MISSING_TOLERANCE_S else 0.0
        if (told_s or last.is_cut) and self.heard_s < LEAST_CUT_S:
            raise AudioError(
                f"is cut off, only {_heard_of(self.heard_s, told_s)} can be read; {COPY_IT}",
                where=self.path,
            )
        self.notes += _notes_on_joints(may_break_s)
        if told_s or last.is_cut:
            self.notes.append(
                f"{CUT_OFF}, only {_heard_of(self.heard_s, told_s)} can be heard; {COPY_IT}"
            )
        elif not last.has_end_mark:
            self.notes.append(
                "the file lacks the mark that ends an Ogg file; if the song goes on after"
                f" {clock_time(self.heard_s)}, {COPY_IT}"
            )
        elif self._ends_badly:
            self.notes.append(
                f"the file ends in the middle of a frame; if the end is missing, {COPY_IT}"
            )

    def _links(self, file: BinaryIO, size_bytes: int) -> list[OggLink]:
        """Find what is joined: FFmpeg reads chained Ogg only while nothing changes."""
        file.seek(0)
        if file.read(4) != b"OggS":
            return [OggLink(start=0, stop=size_bytes)]
        try:
            links = ogg_links(file)
        except ValueError as exc:
            raise AudioError(f"is damaged, it {exc}; {COPY_IT}", where=self.path) from exc
        if len(links) > MOST_OGG_LINKS:
            raise AudioError(
                f"is joined of {len(links)} recordings, up to {MOST_OGG_LINKS} can"
                " be read; cut it into songs",
                where=self.path,
            )
        return links

    @contextmanager
    def _opened(self, window: _Window, there: float) -> Iterator[Any]:
        import av

        try:
            with av.open(
                window, options={"format_whitelist": FORMATS}, metadata_errors="surrogateescape"
            ) as container:
                yield container
        except (av.FFmpegError, OSError) as exc:
            raise AudioError(f"{self._what_is_wrong(window, there)}", where=self.path) from exc

    def _what_is_wrong(self, window: _Window, there: float) -> str:
        """Say why FFmpeg gave up."""
        window.seek(0)
        head = window.read(12)
        if self.heard_s:
            return f"is damaged after {clock_time(self.heard_s)}; {COPY_IT}"
        if there < 1.0:
            percent = f"{100 * there:.0f} percent of its bytes are there"
            return f"is cut off, only {percent}, and none of it can be read; {COPY_IT}"
        if head[4:8] == b"ftyp" or head.startswith(KNOWN_HEADS):
            return f"is damaged or cut off, none of it can be read; {COPY_IT}"
        return "is not a sound file that can be read; use WAV, FLAC, OGG, MP3 or M4A"

    # ------------------------------------------------------- one stream of sound

    def _sound_of(self, container: Any, file: BinaryIO, link: OggLink) -> Iterator[Piece]:
        """Decode one container packet by packet; silence stands where packets are missing."""
        if not container.streams.audio:
            raise AudioError("has no sound in it; name a file with music", where=self.path)
        stream = container.streams.audio[0]
        if stream.codec_context is None:
            raise AudioError(
                "is coded in a way that cannot be read; export it as WAV or MP3", where=self.path
            )
        self._check_ranges(stream.rate or 0, stream.channels or 0)
        if not self.codec:
            self._describe(container, stream, file)
            self._note_shift()
        kind = container.format.name
        watch = LossWatch(began_s=self.heard_s, has_times=kind not in WITHOUT_TIMES)
        kind_now, delay = None, 0
        for packet in container.demux(stream):
            for frame in watch.decode(packet):
                # First: beyond 8 channels PyAV's planes point anywhere, and to read them kills.
                kind_now = self._kind_of(frame, kind_now)
                if watch.is_first and not self.heard_s:
                    delay = self._unstated_delay(frame, watch)
                if hole_s := watch.hole_before(frame):
                    self._refuse_damage(watch)
                    yield self._heard(_silence(kind_now, round(hole_s * kind_now.rate_hz)))
                yield self._heard(_piece(frame, kind_now, delay))
                delay = delay and max(0, delay - frame.samples)
            self._refuse_damage(watch)
        if kind == "aac":
            watch.jumped_over(link.stop)
        watch.ended(link.end_granule * stream.time_base)
        self._refuse_damage(watch)
        self._ends_badly = watch.ends_badly
        self.notes += watch.remarks(self.heard_s)

    def _heard(self, piece: Piece) -> Piece:
        self.heard_s += piece.n_frames / piece.kind.rate_hz
        if self.heard_s > MAX_DURATION_S:
            raise AudioError("is longer than an hour; cut it into songs", where=self.path)
        return piece

    def _refuse_damage(self, watch: LossWatch) -> None:
        lost_s = watch.lost_s(self.heard_s)
        if lost_s > MISSING_TOLERANCE_S:
            raise AudioError(
                f"is damaged near {clock_time(self.heard_s)},"
                f" {lost_s:.1f} s of its sound cannot be read; {COPY_IT}",
                where=self.path,
            )

    def _kind_of(self, frame: Any, kind_before: Kind | None) -> Kind:
        """How a frame is coded: nearly always like the one before it."""
        rate_hz, n_channels = frame.sample_rate, frame.layout.nb_channels
        name = frame.format.name
        known = rate_hz, n_channels, name
        if kind_before is not None and tuple(kind_before) == known:
            return kind_before
        self._check_ranges(rate_hz, n_channels)
        return Kind(rate_hz, n_channels, name)

    def _check_ranges(self, rate_hz: int, n_channels: int) -> None:
        if not MIN_RATE_HZ <= rate_hz <= MAX_RATE_HZ:
            raise AudioError(
                f"has {rate_hz} samples a second, {MIN_RATE_HZ}-{MAX_RATE_HZ} can"
                " be read; export it at 44100",
                where=self.path,
            )
        if not 1 <= n_channels <= MAX_CHANNELS:
            raise AudioError(
                f"has {n_channels} channels, up to {MAX_CHANNELS} can be read; export it as stereo",
                where=self.path,
            )

    def _describe(self, container: Any, stream: Any, file: BinaryIO) -> None:
        """Take down what the file says of itself."""
        self.rate_hz, self.n_channels = stream.rate, stream.channels
        self.codec = stream.codec_context.codec.canonical_name.upper()
        texts = {k.lower(): v for k, v in {**container.metadata, **stream.metadata}.items()}
        self.tags = {name: _readable(texts.get(name, "")) for name in ("title", "artist", "album")}
        self.declared_s, size_bytes = _declared_s(container, stream, file), container.size
        # A header that lies is found out at the end of the data; an honest one saves the wait.
        is_likely = size_bytes >= self.declared_s * MIN_BYTES_PER_S
        if self.declared_s > MAX_DURATION_S and is_likely:
            raise AudioError(
                f"is {self.declared_s / 60:.0f} minutes long, songs up to"
                f" {MAX_DURATION_S / 60:.0f} minutes can be read; cut it into songs",
                where=self.path,
            )

    def _note_shift(self) -> None:
        """Say of a kind of file that it may be heard early or late."""
        if self.codec in SHIFTED_CODECS:
            self.notes.append(
                f"a file of this kind ({self.codec}) may be heard up to 0.05 s early or late, and"
                " all beats with it; if the click is off, nudge the beats"
            )

    def _unstated_delay(self, frame: Any, watch: LossWatch) -> int:
        """Samples that the encoder put before the music, unless the file says and FFmpeg did."""
        delay = {"MP3": MP3_DELAY_SAMPLES, "AAC": frame.samples}.get(self.codec, 0)
        if not delay or watch.was_trimmed(frame):
            return 0
        self.notes.append(
            "the file does not say how much silence its encoder put before the music; the usual"
            f" {1000 * delay / frame.sample_rate:.0f} ms were taken off, so all beats may be"
            " a little early or late"
        )
        return delay


# ------------------------------------------------------------------------- helpers


def _heard_of(heard_s: float, declared_s: float) -> str:
    """Say how much is there, and of how much where the file states it (0: it does not)."""
    heard = clock_time(heard_s)
    return f"{heard} of {clock_time(declared_s)}" if declared_s else f"its first {heard}"


def _notes_on_joints(may_break_s: list[float]) -> Iterator[str]:
    """Say where recordings are joined of which one may be cut off."""
    if may_break_s:
        others = f", so may {len(may_break_s) - 1} more" if len(may_break_s) > 1 else ""
        yield (
            "several recordings are joined in this file, and the one that ends at"
            f" {clock_time(may_break_s[0])} may be cut off{others}; if music is missing, {COPY_IT}"
        )


def _declared_s(container: Any, stream: Any, file: BinaryIO) -> float:
    """Length that the file states [seconds], 0 if it states none."""
    name = container.format.name
    if name in DECLARE_FOR_ALL:  # with pictures it may be their length
        return 0.0 if container.streams.video else (container.duration or 0) / 1e6
    if name == "mp3":  # FFmpeg's length is a guess where files are joined
        per_frame = 1152 if stream.rate >= LOWEST_MPEG1_RATE_HZ else 576
        return mp3_frames(file) * per_frame / stream.rate
    if name == "flac" or name.startswith("mov,"):
        return float((stream.duration or 0) * stream.time_base)
    return 0.0


@lru_cache(maxsize=8)  # asked for with every packet
def _planes(kind: Kind) -> tuple[int, int]:
    """Number of planes, and bytes that each has for a sample of all its channels."""
    width = SAMPLE_TYPES[kind.name].itemsize
    return (kind.n_channels, width) if kind.name.endswith("p") else (1, width * kind.n_channels)


def _piece(frame: Any, kind: Kind, skipped: int) -> Piece:
    """Take the samples of a frame, without the first `skipped`."""
    n_planes, width = _planes(kind)
    n_frames = frame.samples
    first = min(skipped, n_frames)
    part = slice(first * width, n_frames * width)
    planes = [memoryview(plane)[part] for plane in frame.planes[:n_planes]]
    return Piece(planes, n_frames - first, kind)


def _silence(kind: Kind, n_frames: int) -> Piece:
    """Make silence of a kind."""
    n_planes, width = _planes(kind)
    zero = b"\x80" if SAMPLE_TYPES[kind.name] == np.uint8 else b"\0"
    return Piece([zero * (n_frames * width)] * n_planes, n_frames, kind, fills_a_hole=True)


def _joined(pieces: Iterator[Piece]) -> Iterator[Block]:
    """Join the small pieces to blocks of `BLOCK_FRAMES`."""
    parts: list[Piece] = []
    n_frames = 0
    for piece in pieces:
        if parts and (n_frames >= BLOCK_FRAMES or piece.kind != parts[0].kind):
            yield _one_block(parts)
            parts, n_frames = [], 0
        parts.append(piece)
        n_frames += piece.n_frames
    if parts:
        yield _one_block(parts)


def _one_block(parts: list[Piece]) -> Block:
    kind = parts[0].kind
    n_planes, _ = _planes(kind)
    data = b"".join(part.planes[plane] for plane in range(n_planes) for part in parts)
    coded = np.frombuffer(data, SAMPLE_TYPES[kind.name])
    samples = coded.reshape(n_planes, -1).T if n_planes > 1 else coded.reshape(-1, kind.n_channels)
    # How more than four channels add up depends on their order in memory, and the song's hash
    # on that: with a hole it has always been the other one.
    if any(part.fills_a_hole for part in parts):
        samples = np.ascontiguousarray(samples)
    return Block(_as_float(samples), kind.rate_hz)


def _as_float(samples: np.ndarray) -> np.ndarray:
    """Bring coded samples to float32, integers to -1..1 [shape as given]."""
    dtype = samples.dtype
    if dtype == np.uint8:
        return (samples.astype(np.float32) - 128.0) / 128.0
    if dtype.kind == "i":
        return samples.astype(np.float32) / -float(np.iinfo(dtype).min)
    return samples.astype(np.float32, copy=False)


def _readable(text: str) -> str:
    """Make a title fit to show: old tags are written in Windows' Latin letters."""
    raw = text.encode("utf-8", "surrogateescape")
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError:
        text = raw.decode("cp1252", "replace")
    return one_line(text[:MOST_TAG_LETTERS])


class _Window(io.RawIOBase):
    """One link of a file, as a file of its own that can only be read."""

    def __init__(self, file: BinaryIO, link: OggLink) -> None:
        self._file, self._start, self._size = file, link.start, link.stop - link.start
        self._at = 0

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        base = {io.SEEK_SET: 0, io.SEEK_CUR: self._at, io.SEEK_END: self._size}[whence]
        self._at = max(0, base + offset)
        return self._at

    def tell(self) -> int:
        return self._at

    def readinto(self, buffer: Any) -> int:
        self._file.seek(self._start + self._at)
        data = self._file.read(max(0, min(len(buffer), self._size - self._at)))
        buffer[: len(data)] = data
        self._at += len(data)
        return len(data)
