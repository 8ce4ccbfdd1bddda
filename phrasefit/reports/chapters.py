"""Chapter marks in audio files, so that a player can jump to a wall.

MP3: ID3v2 chapter frames (CHAP and CTOC, ID3v2 Chapter Frame Addendum 1.0).
OGG and FLAC: the CHAPTER001 / CHAPTER001NAME comments that players read in Vorbis
comments (no standard, common practice).  WAV gets none.  The marks need the extra
``pip install "phrasefit[chapters]"``; without it files are written without them.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import BinaryIO


def add_chapters(
    file: BinaryIO, suffix: str, chapters: Sequence[tuple[float, str]], duration_s: float
) -> None:
    """Add chapter marks to an encoded audio file.

    Parameters
    ----------
    file : binary file, open for reading and writing
        The sound in it is untouched.
    suffix : str
        What it is: ``.mp3``, ``.ogg`` or ``.flac``; others are left as they are.
    chapters : sequence of (float, str)
        Start [seconds] and name of each, in order.
    duration_s : float
        Where the last one ends [seconds].
    """
    writer = {".mp3": _id3, ".ogg": _comments, ".flac": _comments}.get(suffix)
    if writer is None:
        return
    try:
        import mutagen  # noqa: F401 - asked for before the file is touched
    except ImportError:
        return
    file.seek(0)
    writer(file, chapters, duration_s)


def _id3(file: BinaryIO, chapters: Sequence[tuple[float, str]], duration_s: float) -> None:
    from mutagen.id3 import CHAP, CTOC, ID3, TIT2, CTOCFlags

    tags = ID3()
    names = [f"chp{number}" for number in range(len(chapters))]
    flags = CTOCFlags.TOP_LEVEL | CTOCFlags.ORDERED
    tags.add(CTOC(element_id="toc", flags=flags, child_element_ids=names, sub_frames=[]))
    ends = [*(start for start, _ in chapters[1:]), duration_s]
    for name, (start, words), end in zip(names, chapters, ends, strict=True):
        tags.add(
            CHAP(
                element_id=name,
                start_time=round(1000 * start),
                end_time=round(1000 * end),
                start_offset=0xFFFFFFFF,  # "use the times"
                end_offset=0xFFFFFFFF,
                sub_frames=[TIT2(encoding=3, text=[words])],
            )
        )
    tags.save(file)


def _comments(file: BinaryIO, chapters: Sequence[tuple[float, str]], duration_s: float) -> None:
    import mutagen

    tagged = mutagen.File(file)
    if tagged.tags is None:
        tagged.add_tags()
    for number, (start, words) in enumerate(chapters, start=1):
        minutes, seconds = divmod(round(start, 3), 60)
        hours, minutes = divmod(int(minutes), 60)
        tagged.tags[f"CHAPTER{number:03d}"] = f"{hours:02d}:{minutes:02d}:{seconds:06.3f}"
        tagged.tags[f"CHAPTER{number:03d}NAME"] = words
    file.seek(0)
    tagged.save(file)
