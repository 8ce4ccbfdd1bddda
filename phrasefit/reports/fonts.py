"""The fonts of this computer: which letters they have, and words for those that none has.

DejaVu Sans comes with matplotlib and has Latin, Greek, Cyrillic, Hebrew and Arabic.
Only where a text has other letters are the computer's own fonts looked at, as they are
now (matplotlib's stored list may be older than a font that was just installed). The
face with most of the missing letters is taken, then the next, in an order that is the
same on every run. Letters that no face has are spelled in Latin letters, and signs are
named in brackets (``[dancer]``): never a hollow box. Color fonts are not drawn: sheets
are black on white, and their pictures cannot be embedded as outlines.
"""

from __future__ import annotations

import functools
import logging
import unicodedata
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterable

# Which fonts are there is looked up here; matplotlib need not tell the screen what it misses.
logging.getLogger("matplotlib.font_manager").setLevel(logging.ERROR)

MAIN_FAMILY = "DejaVu Sans"
# Between faces that have the same letters; any other face comes after these.
PREFERRED_FAMILIES = (
    "Noto Sans", "Noto Sans CJK JP", "Noto Sans CJK SC", "Noto Sans Devanagari",
    "Noto Sans Thai", "Noto Sans Symbols", "Noto Sans Symbols2", "Noto Emoji", "Arial Unicode MS",
    "Segoe UI", "Segoe UI Symbol", "Nirmala UI", "Leelawadee UI", "Malgun Gothic",
    "Microsoft YaHei", "Yu Gothic", "Hiragino Sans", "PingFang SC", "Apple SD Gothic Neo",
    "Kohinoor Devanagari", "Thonburi", "WenQuanYi Micro Hei", "Droid Sans Fallback",
)  # fmt: skip
# Families that answer for every letter with a box or with nothing.
NOT_LETTERS = ("Last Resort", "LastResort", "Adobe Blank", "AdobeBlank")
# Joiners shape the letters beside them; marks and isolates put both directions in order.
ZERO_WIDTH_JOINER = "\u200d"
JOINERS = ("\u200c", ZERO_WIDTH_JOINER)
VIRAMA = 9  # the combining class of the sign that joins two consonants
DIRECTION_SIGNS = ("\u200e", "\u200f", "\u2068", "\u2069")
SHAPING_SIGNS = (*JOINERS, *DIRECTION_SIGNS)
DROPPED = frozenset("\ufe0e\ufe0f") | {chr(c) for c in range(0x1F3FB, 0x1F400)}  # emoji styles
FLAG_LETTERS = range(0x1F1E6, 0x1F200)  # regional indicators, A to Z
SCRIPT_NAMES = {"CJK": "Chinese", "HIRAGANA": "Japanese", "KATAKANA": "Japanese",
                "HANGUL": "Korean"}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Face:
    """One face of a font file of the computer."""

    family: str
    path: str
    index: int  # of the face in a collection
    rank: int  # place among the preferred families
    n_glyphs: int

    def has(self, letters: Iterable[str]) -> frozenset[str]:
        """Say which of `letters` this face can draw."""
        font = _opened(self.path, self.index)
        return frozenset(c for c in letters if font.get_char_index(ord(c)))


def printable(text: str) -> str:
    """Make one line of `text` that can be drawn.

    Control characters go, letters without a font are spelled in Latin letters, signs
    without one are named in brackets.
    """
    flat = " ".join(text.split())
    if flat.isascii():
        return flat if flat.isprintable() else "".join(filter(str.isprintable, flat))
    return _spelled(unicodedata.normalize("NFC", flat)).words


def families(text: str) -> list[str]:
    """List the families that draw a printable text: the main one, then what it lacks."""
    lacking = frozenset(c for c in text if ord(c) not in _main_letters())
    return [MAIN_FAMILY, *(face.family for face in _faces_for(lacking))]


def compact_outlines(names: Iterable[str]) -> bool:
    """Tell whether a family has PostScript outlines (CFF), which TrueType cannot embed."""
    wanted = set(names) - {MAIN_FAMILY}
    return (
        any(_is_cff(face.path) for face in _faces() if face.family in wanted) if wanted else False
    )


def letters_note(texts: Iterable[str]) -> str:
    """Say of which scripts letters of `texts` are spelled out for want of a font ("": none)."""
    flat = (unicodedata.normalize("NFC", " ".join(t.split())) for t in texts if not t.isascii())
    scripts = sorted(frozenset().union(*(_spelled(text).scripts for text in flat)))
    if not scripts:
        return ""
    wanted = dict.fromkeys(
        "Noto Sans CJK" if s in SCRIPT_NAMES.values() else f"Noto Sans {s}" for s in scripts
    )
    return (
        f"no font on this computer has these letters, so they are spelled in Latin ones:"
        f" {', '.join(scripts)}; to print them as they are written, install {', '.join(wanted)}"
    )


def is_shaped(text: str) -> bool:
    """Tell whether `text` has marks, joiners or letters that run from right to left."""
    return not text.isascii() and any(
        unicodedata.category(c) in ("Mn", "Mc", "Me", "Cf")
        or unicodedata.bidirectional(c) in ("R", "AL", "AN")
        for c in text
    )


def clusters(text: str) -> list[str]:
    """Split `text` into what cannot be parted: a letter with its marks, a joined pair.

    A short form of extended grapheme clusters (Unicode Standard Annex 29): marks and
    joiners stay with what is before them, letters with the virama or joiner before them.
    """
    found: list[str] = []
    for letter in text:
        stays = letter in JOINERS or unicodedata.category(letter)[0] == "M"
        if found and (stays or _joins_next(found[-1][-1])):
            found[-1] += letter
        else:
            found.append(letter)
    return found


def _joins_next(letter: str) -> bool:
    return letter == ZERO_WIDTH_JOINER or unicodedata.combining(letter) == VIRAMA


def isolated(name: str) -> str:
    """Keep the direction of `name` to itself, so that it cannot turn the words around it.

    For a name inside a sentence; a line that is nothing but the name needs none.  FIRST STRONG
    ISOLATE and POP DIRECTIONAL ISOLATE (Unicode Standard Annex 9).
    """
    is_turned = any(unicodedata.bidirectional(c) in ("R", "AL", "AN") for c in name)
    return f"\u2068{name}\u2069" if is_turned else name


class _Spelled(NamedTuple):
    """A line that can be drawn, and the scripts whose letters it spells in Latin ones."""

    words: str
    scripts: frozenset[str]


@functools.lru_cache(maxsize=1024)
def _spelled(flat: str) -> _Spelled:
    """Spell out what no font has; a letter and its marks come from one face."""
    kept = [c for c in flat if (c.isprintable() or c in SHAPING_SIGNS) and c not in DROPPED]
    lacking = frozenset(c for c in kept if ord(c) not in _main_letters())
    if not lacking:
        return _Spelled("".join(kept), frozenset())
    faces = _faces_for(lacking)
    pieces: list[str] = []
    scripts: set[str] = set()
    for cluster in clusters("".join(kept)):
        own = frozenset(cluster) - frozenset(SHAPING_SIGNS)
        if _in_main(own) or any(face.has(own) == own for face in faces):
            pieces.append(cluster)
        else:
            parts = [_alone(letter, faces) for letter in cluster if letter in own]
            pieces += [words for words, _ in parts]
            scripts.update(script for _, script in parts if script)
    words = "".join(pieces).replace("][flag ", "")  # a flag is two letters
    return _Spelled(words, frozenset(scripts))


def _alone(letter: str, faces: tuple[Face, ...]) -> tuple[str, str]:
    """Draw a letter whose marks are in no face with it; of a mark, say what it is."""
    is_mark = unicodedata.category(letter)[0] == "M"
    drawn = _in_main(letter) or any(face.has(letter) for face in faces)
    return (letter, "") if drawn and not is_mark else _in_words(letter)


def _in_main(letters: Iterable[str]) -> bool:
    return all(ord(letter) in _main_letters() for letter in letters)


def _in_words(letter: str) -> tuple[str, str]:
    """Write one letter or sign that no font has; of a spelled letter, name the script too."""
    from anyascii import anyascii

    if ord(letter) in FLAG_LETTERS:
        return f"[flag {chr(ord('A') + ord(letter) - FLAG_LETTERS.start)}]", ""
    name = unicodedata.name(letter, f"U+{ord(letter):04X}")
    if unicodedata.category(letter)[0] in "LMN" and (spelled := anyascii(letter)).isprintable():
        script = name.split("-")[0].split()[0]
        return spelled, "" if script == "COMBINING" else SCRIPT_NAMES.get(script, script.title())
    return f"[{name.lower()}]", ""


@functools.cache
def _main_letters() -> frozenset[int]:
    """Codes of the letters that the main family has, light and bold."""
    from matplotlib import font_manager
    from matplotlib.font_manager import FontProperties
    from matplotlib.ft2font import FT2Font

    found = [
        FT2Font(font_manager.findfont(FontProperties(family=MAIN_FAMILY, weight=weight)))
        for weight in ("normal", "bold")
    ]
    return frozenset.intersection(*(frozenset(font.get_charmap()) for font in found))


@functools.lru_cache(maxsize=1024)
def _faces_for(lacking: frozenset[str]) -> tuple[Face, ...]:
    """Choose faces until no other has any of the letters; most letters first."""
    from matplotlib import font_manager

    chosen: list[Face] = []
    while lacking:
        best = max(_faces(), key=lambda f: (len(f.has(lacking)), -f.rank, f.n_glyphs), default=None)
        if best is None or not best.has(lacking):
            break
        chosen.append(best)
        lacking -= best.has(lacking)
        if best.family not in font_manager.fontManager.get_font_names():
            font_manager.fontManager.addfont(best.path)
    return tuple(chosen)


@functools.cache
def _faces() -> tuple[Face, ...]:
    """Read the upright faces with outlines that are installed, in order of their paths."""
    from matplotlib import font_manager

    faces: list[Face] = []
    for path in sorted(font_manager.findSystemFonts()):
        first = _opened(path, 0)
        for index in range(first.num_faces if first else 0):
            if (face := _face(path, index)) is not None:
                faces.append(face)
    return tuple(faces)


def _face(path: str, index: int) -> Face | None:
    from matplotlib.ft2font import FaceFlags, StyleFlags

    font = _opened(path, index)
    if font is None or FaceFlags.SCALABLE not in font.face_flags:
        return None
    if FaceFlags.COLOR in font.face_flags or font.style_flags != StyleFlags.NORMAL:
        return None
    name = font.family_name
    if name == MAIN_FAMILY or name.startswith(NOT_LETTERS):  # what it lacks is looked for
        return None
    known = name in PREFERRED_FAMILIES
    rank = PREFERRED_FAMILIES.index(name) if known else len(PREFERRED_FAMILIES)
    if not known and any(word in name for word in ("Serif", "Mono")):
        rank += 1
    return Face(family=name, path=path, index=index, rank=rank, n_glyphs=font.num_glyphs)


@functools.cache
def _opened(path: str, index: int) -> Any:
    """Open a face, or None: one damaged font is no reason to print nothing."""
    from matplotlib.ft2font import FT2Font

    try:
        return FT2Font(path, face_index=index)
    except (OSError, RuntimeError, ValueError):
        return None


@functools.cache
def _is_cff(path: str) -> bool:
    """Read how the outlines are written from the head of the file (OpenType, "Font file")."""
    with Path(path).open("rb") as file:
        if (head := file.read(16))[:4] == b"ttcf":
            file.seek(int.from_bytes(head[12:16], "big"))
            head = file.read(4)
    return head[:4] == b"OTTO"
