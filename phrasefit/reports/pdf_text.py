"""Shaped text in a PDF: letters where the shaper put them, and read back as written.

matplotlib shapes text and embeds its fonts, but its PDF gives every glyph of a syllable
the whole syllable as its text, and loses widths where the shaper takes them away
(joiners, direction marks): copied or searched, a Devanagari name has letters twice.
`ShapedText` writes such a line glyph by glyph instead. Each letter of the text belongs
to one glyph (ToUnicode), and glyphs are written in the order in which they are read.
Where several glyphs make a syllable it also carries its letters as a whole (ActualText,
ISO 32000-1, 14.9.4), or a reader takes marks above and below for other lines; a line
that only runs to the right carries all its words so. Words that run to the left do
not: readers turn them around by themselves, and some would turn an ActualText around
again. So names in one direction, and isolated ones inside a sentence, are copied as they
are written (tried with pypdf, Chrome's PDFium and Poppler); a name that itself runs both
ways is printed right, but PDFium and Poppler give its pieces in an order of their own,
whether an ActualText has the whole line or each run, as read or as seen (tried all four).
Plain lines stay matplotlib's.
"""

from __future__ import annotations

import contextlib
import unicodedata
from collections import Counter
from collections.abc import Iterator
from itertools import groupby
from typing import Any, NamedTuple

from matplotlib.text import Text  # noqa: TID253 - this module is imported where a line is drawn
from matplotlib.transforms import Bbox  # noqa: TID253

from phrasefit.reports.fonts import DIRECTION_SIGNS, is_shaped

NO_LETTER = "\u2060"  # word joiner: the text of a glyph beyond the letters of its syllable


# What shapes text in a font (OpenType), and the names of its glyphs: what is embedded is shaped
# already, glyph by glyph, by their numbers.
UNUSED_TABLES = ("GDEF", "GPOS", "GSUB", "kern", "MATH", "post")


@contextlib.contextmanager
def fonts_without_shaping() -> Iterator[None]:
    """Embed fonts without what a page does not use: most of its time would go into that."""
    from matplotlib.backends._backend_pdf_ps import subset  # fontTools, as matplotlib has it

    load_font = subset.load_font

    def load(*which: Any, **how: Any) -> Any:
        font = load_font(*which, **how)
        for tag in UNUSED_TABLES:
            if tag in font:
                del font[tag]
        font.setGlyphOrder([f"glyph{number}" for number in range(font["maxp"].numGlyphs)])
        return font

    subset.load_font = load
    try:
        yield
    finally:
        subset.load_font = load_font


class ShapedText(Text):
    """A line of text; letters that join, reorder or run to the left may be among them.

    It stands level, with its baseline at its place, and `width_pt` is known: matplotlib
    need not shape it once more to find where it begins.
    """

    def __init__(self, *place: Any, width_pt: float, **look: Any) -> None:
        super().__init__(*place, **look)
        self._width_pt = width_pt

    def _get_layout(self, renderer: Any) -> Any:
        """Place the line; its name is matplotlib's."""
        share = {"left": 0.0, "center": 0.5, "right": 1.0}[self.get_horizontalalignment()]
        width = renderer.points_to_pixels(self._width_pt)
        left = -share * width
        size = renderer.points_to_pixels(self.get_fontsize())
        box = Bbox.from_bounds(left, 0.0, width, size)
        return box, [(self.get_text(), (width, size, 0.0), (left, 0.0))], 0.0

    def draw(self, renderer: Any) -> None:
        """Draw as any text; what is shaped goes into a PDF glyph by glyph."""
        is_own = is_shaped(self.get_text()) and hasattr(renderer, "file")
        writer: Any = _GlyphWriter(renderer) if is_own else renderer
        super().draw(writer)


class _GlyphWriter:
    """A PDF renderer of matplotlib whose lines of text are written here."""

    def __init__(self, renderer: Any) -> None:
        self._renderer = renderer

    def __getattr__(self, name: str) -> Any:
        return getattr(self._renderer, name)

    def draw_text(
        self, gc: Any, x: float, y: float, s: str, prop: Any, angle: float, **_: Any
    ) -> None:
        """Write one level line; its name and arguments are matplotlib's."""
        from matplotlib import rcParams
        from matplotlib.backends.backend_pdf import Op
        from matplotlib.font_manager import FontPath
        from matplotlib.ft2font import LoadFlags

        renderer, file = self._renderer, self._renderer.file
        renderer.check_gc(gc, gc._rgb)
        items = renderer._get_font_ttf(prop)._layout(s, LoadFlags.NO_HINTING)
        glyphs = in_reading_order([item.char for item in items], s)
        is_turned = any(_runs_left(glyph.letters) for glyph in glyphs)
        size = prop.get_size_in_points()
        for _syllable, span in groupby(
            glyphs, key=lambda glyph: glyph.syllable if is_turned else None
        ):
            own = [glyph for glyph in span if glyph.letters not in DIRECTION_SIGNS]
            words = "".join(glyph.letters for glyph in own).replace(NO_LETTER, "")
            is_whole = not is_turned or len(own) > 1
            if is_whole:
                actual = words.encode("utf-16-be").hex().encode()
                file.write(b"/Span <</ActualText <feff%s>>> BDC\n" % actual)
            file.output(Op.begin_text)
            before = None
            for glyph in own:
                item = items[glyph.number]
                face = item.ft_object
                subset, code = file._character_tracker.track_glyph(
                    face, glyph.letters, item.glyph_index
                )
                name = file.fontName(FontPath(face.fname, face.face_index), subset)
                if is_turned or name != before:  # pypdf turns around what has one font
                    file.output(name, size, Op.selectfont)
                    before = name
                file.write(b"1 0 0 1 %.4f %.4f Tm\n" % (x + item.x, y + item.y))
                file.output(renderer._encode_glyphs([code], rcParams["pdf.fonttype"]), Op.show)
            file.output(Op.end_text)
            if is_whole:
                file.write(b"EMC\n")


class Glyph(NamedTuple):
    """A glyph of a line, and the letters that are its own."""

    number: int  # from the left
    letters: str  # never empty
    syllable: int  # number in reading order


def in_reading_order(syllables: list[str], text: str) -> list[Glyph]:
    """Give each letter of `text` to one glyph, in the order in which it is read.

    Parameters
    ----------
    syllables : list of str
        For each glyph, from left to right, the piece of text that it is shaped from;
        all glyphs of a syllable name the whole of it.
    text : str
        The line as it is read.

    Returns
    -------
    list of Glyph
        Each glyph once.
    """
    order: list[Glyph] = []
    for place, (syllable, numbers) in enumerate(_groups(syllables, text)):
        shares = _shared_out(syllable, len(numbers))
        order += (Glyph(*own, place) for own in zip(numbers, shares, strict=True))
        if not numbers and order:  # no glyph of its own: its letters go with those before
            order[-1] = order[-1]._replace(letters=order[-1].letters + syllable)
    left_over = set(range(len(syllables))) - {glyph.number for glyph in order}
    return order + [Glyph(number, NO_LETTER, len(text)) for number in sorted(left_over)]


def _groups(syllables: list[str], text: str) -> list[tuple[str, list[int]]]:
    """Find the glyphs of each syllable of the line, both in reading order."""
    read = _pieces(text, set(syllables))
    line_runs_left = next((runs for s in read if (runs := _runs_left(s)) is not None), False)
    glyphs: dict[str, list[int]] = {syllable: [] for syllable in read}
    for number, syllable in enumerate(syllables):
        glyphs.setdefault(syllable, []).append(number)
    for syllable, own in glyphs.items():
        runs_left = _runs_left(syllable)
        if line_runs_left if runs_left is None else runs_left:
            own.reverse()
    times = Counter(read)
    groups = []
    for syllable in read:
        own = glyphs[syllable]
        n_own = -(-len(own) // times[syllable])  # the same for each, all glyphs used
        times[syllable] -= 1
        groups.append((syllable, own[:n_own]))
        del own[:n_own]
    return groups


def _runs_left(syllable: str) -> bool | None:
    """Tell the direction of a syllable; None for spaces and signs, which have none."""
    strong = unicodedata.bidirectional(syllable[0])
    return {"R": True, "AL": True, "L": False, "EN": False, "AN": False}.get(strong)


def _pieces(text: str, syllables: set[str]) -> list[str]:
    """Cut `text` into the syllables that the shaper found, longest first."""
    longest = max(map(len, syllables), default=1)
    pieces, at = [], 0
    while at < len(text):
        sizes = range(min(longest, len(text) - at), 0, -1)
        size = next((n for n in sizes if text[at : at + n] in syllables), 1)
        pieces.append(text[at : at + size])
        at += size
    return pieces


def _shared_out(syllable: str, n_glyphs: int) -> list[str]:
    """Share the letters of one syllable among its glyphs."""
    if not n_glyphs:
        return []
    first = min(n_glyphs, len(syllable)) - 1
    return [*syllable[:first], syllable[first:], *[NO_LETTER] * (n_glyphs - len(syllable))]
