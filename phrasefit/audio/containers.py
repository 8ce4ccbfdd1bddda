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
PAGE_START = OGG_MARK + b"\0"  # the mark, and the only version there is
PAGE_HEAD_BYTES = 27  # before the lengths of its segments, whose number comes last
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

    `has_end_mark`: its last page has the end-of-stream flag; `is_cut`: it stops within a page
    or a packet; `has_sound`: a whole page says that sound ends on it; `end_granule`: where the
    last such page says that it ends, 0 if not known.
    """

    start: int
    stop: int
    has_end_mark: bool = True
    is_cut: bool = False
    has_sound: bool = True
    end_granule: int = 0

    @property
    def is_ended(self) -> bool:
        """Tell whether it surely ends where its encoder ended it."""
        return self.has_end_mark and not self.is_cut


class _Page(NamedTuple):
    start: int
    stop: int
    is_whole: bool = False
    flags: int = 0
    granule: int = NO_GRANULE
    serial: int = 0
    last_segment: int = 0
    has_vorbis_head: bool = False


@dataclass(slots=True)
class _PagesOfLink:
    """What is kept of a link's pages while they pass: the first, the last, the last with a place.

    `serials` are those of the streams that began; more than one lie side by side.
    """

    first: _Page
    last: _Page
    placed: _Page
    serials: set[int]

    def add(self, page: _Page) -> None:
        if page.flags & BOS:
            self.serials.add(page.serial)
        elif page.has_vorbis_head and self.placed.granule == 0:
            self.first = page  # some programs write the headers twice, and FFmpeg stumbles
        self.last = page
        if page.granule != NO_GRANULE and page.serial in self.serials:
            self.placed = page

    def link(self) -> OggLink:
        last, granule = self.last, self.placed.granule
        has_end_mark = bool(last.flags & EOS)
        goes_on = last.last_segment == UNFINISHED_SEGMENT and not has_end_mark
        has_sound = granule not in (0, NO_GRANULE)
        is_alone = len(self.serials) == 1  # places of video are no samples
        return OggLink(
            start=self.first.start,
            stop=last.stop,
            has_end_mark=has_end_mark,
            is_cut=not last.is_whole or goes_on,
            has_sound=has_sound,
            end_granule=granule if has_sound and is_alone else 0,
        )


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
    links: list[_PagesOfLink] = []
    before: _Page | None = None
    for page in _ogg_pages(file, size_bytes):
        begins = page.flags & BOS and not (before and before.flags & BOS)
        if begins or not links:  # streams side by side begin together
            links.append(_PagesOfLink(first=page, last=page, placed=page, serials={page.serial}))
        links[-1].add(page)
        before = page
    if not links:
        raise ValueError("has no Ogg page")
    return [pages.link() for pages in links]


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
        head = file.read(PAGE_HEAD_BYTES)
        if not head.startswith(PAGE_START):
            found = (head + file.read(2 * LARGEST_PAGE_BYTES)).find(PAGE_START)
            if found < 0 and size_bytes - at > LARGEST_PAGE_BYTES:
                raise ValueError(f"has no Ogg page after byte {at}")
            if found < 0:
                return
            at += found
            continue
        page = _page_at(file, at, head, size_bytes)
        yield page
        at = page.stop


def _page_at(file: BinaryIO, at: int, head: bytes, size_bytes: int) -> _Page:
    """Read the page that begins with `head`; one that is cut short ends where that is seen."""
    n_segments = head[-1] if len(head) == PAGE_HEAD_BYTES else 0
    lacing = file.read(n_segments)
    if len(head) < PAGE_HEAD_BYTES or len(lacing) < n_segments:
        return _Page(at, size_bytes)
    flags, granule, serial = PAGE_FIELDS.unpack_from(head, 5)
    body_at = at + PAGE_HEAD_BYTES + n_segments
    stop = body_at + sum(lacing)
    has_vorbis_head = lacing.startswith(bytes([VORBIS_HEAD_BYTES])) and (
        file.read(len(VORBIS_HEAD)) == VORBIS_HEAD
    )
    cut_at = _cut_short_at(file, at + len(PAGE_START), stop, size_bytes)
    if cut_at is not None:
        return _Page(at, cut_at, flags=flags, serial=serial)
    return _Page(
        at,
        stop,
        is_whole=True,
        flags=flags,
        granule=granule,
        serial=serial,
        last_segment=lacing[-1] if lacing else 0,
        has_vorbis_head=has_vorbis_head,
    )


def _cut_short_at(file: BinaryIO, start: int, stop: int, size_bytes: int) -> int | None:
    """Tell where a page ends that is not whole: at the mark of the next, or with the file."""
    file.seek(stop)
    if stop == size_bytes or file.read(len(PAGE_START)) == PAGE_START:
        return None
    file.seek(start)
    found = file.read(stop - start + len(PAGE_START) - 1).find(PAGE_START)
    if found >= 0:
        return start + found
    return size_bytes if stop > size_bytes else None
