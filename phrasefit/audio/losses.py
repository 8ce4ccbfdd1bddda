"""Notices what of a song is missing between the packets of its file.

FFmpeg drops what it cannot decode and goes on: half a song can be lost without an error.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from phrasefit.audio.containers import ID3_HEAD_BYTES, id3_bytes

GAP_S = 0.05  # times of packets are rounded, and Opus skips some; less than this is no hole
TOLD_S = 0.1  # smaller holes are not worth a word
LONGEST_PAGE_S = 5.2  # of Ogg: 255 packets of Opus, 20 ms each
TAG_HEADS = (b"ID3", b"TAG", b"APETAGEX", b"LYRICSBEGIN")
COPY_IT = "copy or download it again"


@dataclass(slots=True)
class LossWatch:
    """Decodes the packets of one stream and notices what is missing between them.

    Packets with times leave a hole where one is lost; of the others (MP3, AAC) each that
    cannot be decoded is one.  `ends_badly`: the last one is.
    """

    began_s: float
    has_times: bool
    is_first: bool = True
    ends_badly: bool = False
    _first_pts: int | None = None
    _began_at_s: float = 0.0
    _expected_s: float | None = None
    _holes_s: float = 0.0
    _undecoded_s: float = 0.0
    _lost_bytes: int = 0
    _good_bytes: int = 0
    _tag_stops_at: int = 0
    _first_at: int = 0

    def decode(self, packet: Any) -> list[Any]:
        """Give the frames of a packet, none if it is damaged."""
        if self._first_pts is None:
            self._first_pts, self._first_at = packet.pts, packet.pos or 0
        try:
            frames = packet.decode()
        except Exception as exc:
            import av  # here, as this runs for every packet

            if not isinstance(exc, av.FFmpegError):
                raise
            self._failed(packet)
            return []
        self._good_bytes += packet.size
        if packet.size:  # the last one is empty: it asks for what is left
            self.ends_badly = False
        return frames

    def _failed(self, packet: Any) -> None:
        if self.has_times:
            self._undecoded_s += float((packet.duration or 0) * (packet.time_base or 0))
            return
        at = packet.pos or 0
        head = bytes(packet)[:ID3_HEAD_BYTES]
        if head.startswith(TAG_HEADS):  # texts and covers between joined files are no music
            self._tag_stops_at = at + (id3_bytes(head) or packet.size)
        elif at >= self._tag_stops_at:
            self._lost_bytes += packet.size
            self.ends_badly = True

    def was_trimmed(self, frame: Any) -> bool:
        """Tell whether FFmpeg left out samples before the first frame, as the file asked for."""
        return frame.pts is not None and frame.pts > (self._first_pts or 0)

    def hole_before(self, frame: Any) -> float:
        """Seconds that are missing between the frame before and this one."""
        if self.is_first:
            self._began_at_s = frame.time or 0.0
        self.is_first = False
        if not self.has_times:
            return 0.0
        expected_s = self._expected_s if self._expected_s is not None else frame.time or 0.0
        at_s = expected_s if frame.time is None else frame.time  # unknown after some damage
        self._expected_s = at_s + frame.samples / frame.sample_rate
        self._undecoded_s = 0.0
        hole_s = at_s - expected_s
        if hole_s < GAP_S:
            return 0.0
        self._holes_s += hole_s
        return hole_s

    def jumped_over(self, stop: int) -> None:
        """Count the bytes up to `stop` that never came: FFmpeg looks for the next frame."""
        self._lost_bytes = max(self._lost_bytes, stop - self._first_at - self._good_bytes)

    def ended(self, end_s: Fraction) -> None:
        """Compare with where an Ogg stream says that it ends, and with its beginning.

        Recordings of broadcasts begin at any time, but hardly within their first page.
        """
        if not end_s:
            return
        began_s = self._began_at_s if self._began_at_s < LONGEST_PAGE_S else 0.0
        for hole_s in (began_s, float(end_s) - (self._expected_s or 0.0)):
            self._holes_s += hole_s if hole_s >= GAP_S else 0.0

    def lost_s(self, heard_s: float) -> float:
        """All that is missing so far, after `heard_s` of the file."""
        share = self._lost_bytes / self._good_bytes if self._good_bytes else 0.0
        return self._holes_s + self._undecoded_s + share * (heard_s - self.began_s)

    def remarks(self, heard_s: float) -> list[str]:
        """Say what is too little to refuse the file for."""
        lost_s = self.lost_s(heard_s)
        if lost_s >= TOLD_S:
            return [f"{lost_s:.1f} s of the sound cannot be read; if it stutters, {COPY_IT}"]
        return []
