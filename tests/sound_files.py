"""Song files of every kind, encoded here: by soundfile, or by FFmpeg through PyAV."""

from __future__ import annotations

import re
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import av
import numpy as np
import soundfile

# What soundfile writes, by ending: format and subtype.
BY_SOUNDFILE = {
    "wav": ("WAV", "PCM_16"),
    "float.wav": ("WAV", "FLOAT"),
    "adpcm.wav": ("WAV", "MS_ADPCM"),
    "rf64": ("RF64", "PCM_16"),
    "w64": ("W64", "PCM_16"),
    "aiff": ("AIFF", "PCM_16"),
    "au": ("AU", "PCM_16"),
    "caf": ("CAF", "PCM_16"),
    "flac": ("FLAC", "PCM_16"),
    "ogg": ("OGG", "VORBIS"),
    "opus": ("OGG", "OPUS"),
    "mp3": ("MP3", "MPEG_LAYER_III"),
}
# What FFmpeg writes: codec, container, options of the container, options of the codec.
Recipe = tuple[str, str, dict[str, str], dict[str, str]]
VARIABLE = {"flags": "+qscale", "global_quality": "472"}  # quality 4 of LAME
BY_FFMPEG: dict[str, Recipe] = {
    "vbr.mp3": ("libmp3lame", "mp3", {}, VARIABLE),
    "64k.mp3": ("libmp3lame", "mp3", {}, {"b": "64k"}),
    "bare.mp3": ("libmp3lame", "mp3", {"write_xing": "0"}, VARIABLE),
    "aac": ("aac", "adts", {}, {}),
    "m4a": ("aac", "mp4", {"movflags": "faststart"}, {}),
    "late.m4a": ("aac", "mp4", {}, {}),  # its index is at the end
    "webm": ("libopus", "webm", {}, {}),
    "flac.ogg": ("flac", "ogg", {}, {}),  # its packets go on from page to page
}
# Kinds whose place in time is known to some hundredths of a second only.
SHIFTED: dict[str, Recipe] = {"wma": ("wmav2", "asf", {}, {"b": "128k"})}
ALL_ENDINGS = (*BY_SOUNDFILE, *BY_FFMPEG)
OPUS_RATE_HZ = 48_000


def rate_for(ending: str) -> int:
    """Opus knows no 44.1 kHz."""
    return OPUS_RATE_HZ if ending in ("opus", "webm") else 44_100


def write_song(path: Path, ending: str, samples: np.ndarray, rate_hz: int, title: str = "") -> Path:
    """Encode `samples` [shape=(n,) or (n, n_channels)] as the kind that `ending` names."""
    if ending in BY_SOUNDFILE:
        kind, subtype = BY_SOUNDFILE[ending]
        with soundfile.SoundFile(
            path, "w", rate_hz, samples[0].size, format=kind, subtype=subtype
        ) as file:
            if title:
                file.title = title
            file.write(samples)
        return path
    codec, container, options, codec_options = (BY_FFMPEG | SHIFTED)[ending]
    columns = np.ascontiguousarray(np.atleast_2d(samples.T), dtype=np.float32)
    with av.open(str(path), "w", format=container, options=options) as out:
        out.metadata["title"] = title
        stream = out.add_stream(codec, rate=rate_hz, options=codec_options)
        stream.layout = "mono" if len(columns) == 1 else "stereo"
        stream.codec_context.open()  # then its frames have a size
        to_codec = av.AudioResampler(stream.codec_context.format, stream.layout, rate_hz)
        step = stream.codec_context.frame_size
        for start in range(0, columns.shape[1], step):
            piece = np.ascontiguousarray(columns[:, start : start + step])
            frame = av.AudioFrame.from_ndarray(piece, "fltp", stream.layout.name)
            frame.sample_rate, frame.pts, frame.time_base = rate_hz, start, Fraction(1, rate_hz)
            for fitting in to_codec.resample(frame):
                out.mux(stream.encode(fitting))
        out.mux(stream.encode(None))
    return path


def without_total(flac: bytes) -> bytes:
    """Take the number of samples out of a FLAC file, as if it came through a pipe.

    Bits 108 to 143 of the block STREAMINFO, which begins at byte 8 (RFC 9639, 8.2).
    """
    head = bytearray(flac)
    head[21] &= 0xF0
    head[22:26] = bytes(4)
    return bytes(head)


def without_end_mark(ogg: bytes) -> bytes:
    """Clear the end-of-stream flag of the last page and write its check sum anew (RFC 3533, 6)."""
    at = ogg.rindex(b"OggS")
    page = bytearray(ogg[at:])
    page[5] &= ~4
    page[22:26] = bytes(4)
    page[22:26] = ogg_checksum(page).to_bytes(4, "little")
    return ogg[:at] + bytes(page)


def ogg_pages(ogg: bytes) -> list[bytes]:
    """Take an Ogg file apart; its sound must not hold the mark of a page."""
    starts = [mark.start() for mark in re.finditer(b"OggS", ogg)]
    return [ogg[a:b] for a, b in pairwise([*starts, len(ogg)])]


def ogg_checksum(page: bytes) -> int:
    """CRC-32 with the polynomial 0x04c11db7, from 0, without reflection (RFC 3533, 6)."""
    crc = 0
    for byte in page:
        crc ^= byte << 24
        for _ in range(8):
            crc = (crc << 1 ^ (0x04C11DB7 if crc >> 31 else 0)) & 0xFFFFFFFF
    return crc
