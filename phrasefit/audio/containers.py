"""What the headers of a song file promise, so that a cut file is known as one.

FFmpeg reads on to the end of the data and says nothing of what is missing.  Where a
container states its own length, or marks its end, it is looked up here; an estimate of a
length is never taken for a statement.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO, Literal, NamedTuple

# Sizes of 32 bits above this one are written by programs that stream: "not known".
PLACEHOLDER_BYTES = 0x7FFF_F000
LARGEST_PAGE_BYTES = 65_307  # the largest Ogg page there can be (RFC 3533, 6)
# An hour has 180,000 pages with 20 ms in each.  FFmpeg looks for a page at every mark, also at
# those in damaged ones: millions of them took it minutes.
MOST_OGG_PAGES = 250_000
OGG_MARK = b"OggS"
BOS, EOS = 2, 4  # flags of an Ogg page: a stream begins, a stream ends (RFC 3533, 6)
PAGE_FIELDS = struct.Struct("<BQI")  # flags, granule, serial
NO_GRANULE = 0xFFFF_FFFF_FFFF_FFFF  # no packet ends on this page
VORBIS_HEAD, VORBIS_HEAD_BYTES = b"\x01vorbis", 30  # identification header (Vorbis I, 4.2.2)
UNFINISHED_SEGMENT = 255  # a packet whose last segment has this length goes on (RFC 3533, 5)
ID3_HEAD_BYTES = 10
MOST_CHUNKS = 1000  # of CAF
MOST_BOXES = 10_000  # of MP4: a fragmented hour has two a second
XING_SEARCH_BYTES = 200  # frame header, side information (up to 32 bytes) and check sum


# ------------------------------------------------------- sizes that headers state


def promised_bytes(file: BinaryIO) -> int:
    """Read the length of the whole file from the headers of WAV, RF64, W64, AIFF, AU, CAF, M4A.

    Returns
    -------
    int
        0 where the header states none, as of a file written while it was streamed.
    """
    file.seek(0)
    head = file.read(40)
    kind = head[:4]
    if kind == b"RIFF":
        return _stated(head[4:8], "little", before=8)
    if kind == b"FORM":
        return _stated(head[4:8], "big", before=8)
    if kind == b".snd":
        return _stated(head[8:12], "big", before=int.from_bytes(head[4:8], "big"))
    if kind == b"RF64" and head[12:16] == b"ds64":
        return 8 + int.from_bytes(head[20:28], "little")
    if kind == b"riff":  # W64: a GUID of 16 bytes, then the size of the file
        return int.from_bytes(head[16:24], "little")
    if kind == b"caff":
        return _caf_bytes(file)
    return _mp4_bytes(file) if head[4:8] == b"ftyp" else 0


def _stated(size: bytes, order: Literal["little", "big"], *, before: int) -> int:
    n_bytes = int.from_bytes(size, order)
    return before + n_bytes if 0 < n_bytes < PLACEHOLDER_BYTES else 0


def _caf_bytes(file: BinaryIO) -> int:
    """End of the ``data`` chunk of a CAF file; a size of -1 means "to the end"."""
    at = 8
    for _ in range(MOST_CHUNKS):
        file.seek(at)
        head = file.read(12)
        size = int.from_bytes(head[4:], "big", signed=True)
        if len(head) < 12 or head[:4] == b"data" or size < 0:
            return at + 12 + size if size > 0 else 0
        at += 12 + size
    return 0


def _mp4_bytes(file: BinaryIO) -> int:
    """End of the last box of an MP4 file; size 0 means "to the end" (ISO/IEC 14496-12, 4.2)."""
    at = 0
    for _ in range(MOST_BOXES):
        file.seek(at)
        head = file.read(16)
        if len(head) < 8:
            return at
        size = int.from_bytes(head[:4], "big")
        if size == 1:  # the size has 64 bits and stands behind the type
            size = int.from_bytes(head[8:], "big")
        if size < 8:
            return 0
        at += size
    return 0


# --------------------------------------------------------------------------- MP3


def id3_bytes(head: bytes) -> int:
    """Length of the ID3v2 tag that `head` begins with, 0 if there is none (ID3v2.4, 3.1)."""
    if len(head) < ID3_HEAD_BYTES or head[:3] != b"ID3":
        return 0
    size = 0
    for byte in head[6:10]:
        size = size << 7 | byte & 0x7F
    return ID3_HEAD_BYTES + size


def mp3_frames(file: BinaryIO) -> int:
    """Read how many frames an MP3 file says it has; 0 if it does not, and its length is a guess.

    Looked for is the frame field of a ``Xing`` or ``Info`` header, or a ``VBRI`` header, in
    the first frame (layout of both from memory).
    """
    file.seek(0)
    file.seek(id3_bytes(file.read(ID3_HEAD_BYTES)))
    frame = file.read(XING_SEARCH_BYTES)
    for name, number_at in ((b"Xing", 8), (b"Info", 8), (b"VBRI", 14)):
        at = frame.find(name)
        has_number = name == b"VBRI" or (len(frame) > at + 7 and frame[at + 7] & 1)
        if at >= 0 and has_number:
            return int.from_bytes(frame[at + number_at : at + number_at + 4], "big")
    return 0


# --------------------------------------------------------------------------- Ogg


@dataclass(frozen=True, slots=True)
class OggLink:
    """One of the streams that a chained Ogg file joins: its bytes, and how it ends.

    `has_end_mark`: a page with the end-of-stream flag is there; `is_cut`: it stops within a
    page or a packet; `end_granule`: where its last page says that it ends, 0 if not known.
    """

    start: int
    stop: int
    has_end_mark: bool
    is_cut: bool
    end_granule: int = 0


class _Page(NamedTuple):
    start: int
    stop: int
    flags: int
    granule: int
    serial: int
    last_segment: int
    has_vorbis_head: bool


def ogg_links(file: BinaryIO) -> list[OggLink]:
    """List the links of an Ogg file, one unless it is chained (RFC 3533, 4).

    Raises
    ------
    ValueError
        If it is not made of pages, or of too many; its argument says so.
    """
    size_bytes = file.seek(0, 2)
    if _count_marks(file) > MOST_OGG_PAGES:
        raise ValueError(f"has more than {MOST_OGG_PAGES} Ogg pages")
    links: list[list[_Page]] = []  # of each its first page, its last, and its last with a place
    side_by_side: set[int] = set()  # links of several streams: places of video are no samples
    before: _Page | None = None
    for page in _ogg_pages(file, size_bytes):
        begins = page.flags & BOS and not (before and before.flags & BOS)
        if begins or not links:  # streams side by side begin together
            links.append([page, page, page])
        elif page.flags & BOS:
            side_by_side.add(len(links) - 1)
        elif page.has_vorbis_head and links[-1][2].granule == 0:
            links[-1][0] = page  # some programs write the headers twice, and FFmpeg stumbles
        links[-1][1] = before = page
        if page.granule != NO_GRANULE:
            links[-1][2] = page
    return [
        _link(first, last, placed, size_bytes, has_places=index not in side_by_side)
        for index, (first, last, placed) in enumerate(links)
    ]


def _link(
    first: _Page, last: _Page, placed: _Page, size_bytes: int, *, has_places: bool
) -> OggLink:
    has_end_mark = bool(last.flags & EOS)
    return OggLink(
        start=first.start,
        stop=min(last.stop, size_bytes),
        has_end_mark=has_end_mark,
        is_cut=last.stop > size_bytes
        or (last.last_segment == UNFINISHED_SEGMENT and not has_end_mark),
        end_granule=placed.granule if has_places and placed.serial == first.serial else 0,
    )


def _count_marks(file: BinaryIO) -> int:
    """Count what looks like the beginning of a page."""
    file.seek(0)
    n_marks, end = 0, b""
    while block := file.read(1 << 20):
        n_marks += (end + block).count(OGG_MARK)
        end = block[1 - len(OGG_MARK) :]  # a mark may lie on both sides
    return n_marks


def _ogg_pages(file: BinaryIO, size_bytes: int) -> Iterator[_Page]:
    """Go from page to page; junk shorter than a page can be is passed over."""
    at = 0
    while at < size_bytes:
        file.seek(at)
        head = file.read(27)
        if not head.startswith(b"OggS\0"):
            found = file.read(2 * LARGEST_PAGE_BYTES).find(b"OggS\0")
            if found < 0 and size_bytes - at > LARGEST_PAGE_BYTES:
                raise ValueError(f"has no Ogg page after byte {at}")
            if found < 0:
                return
            at += len(head) + found
            continue
        n_segments = head[26] if len(head) == 27 else 0
        lacing = file.read(n_segments)
        is_whole = len(head) == 27 and len(lacing) == n_segments
        stop = at + 27 + n_segments + sum(lacing) if is_whole else size_bytes + 1
        if is_whole:
            flags, granule, serial = PAGE_FIELDS.unpack_from(head, 5)
        else:
            flags, granule, serial = 0, NO_GRANULE, 0
        last_segment = lacing[-1] if lacing else 0
        has_head = lacing.startswith(bytes([VORBIS_HEAD_BYTES])) and (
            file.read(len(VORBIS_HEAD)) == VORBIS_HEAD
        )
        yield _Page(at, stop, flags, granule, serial, last_segment, has_head)
        at = stop
