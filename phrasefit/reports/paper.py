"""Printed pages: sizes, fonts, text that always fits; PDF, PNG and SVG.

A `Page` is a matplotlib figure addressed in points from its top left corner.
Text is real text in every script (fonts embedded, so it can be selected and searched):
matplotlib 3.11 and later shape it (Arabic joined and from right to left, Devanagari in
syllables) in the PDF, the PNG and widths alike, `fonts` finds a font for each letter or
words in its place, and `pdf_text` makes shaped lines of a PDF read back as written.
An SVG keeps its words as text, shaped by whatever shows it. Nothing is ever cut:
`fitting_size` shrinks type to a least size, `wrapped` breaks lines, `fitted` does both.
Everything is black on white: sheets are copied, and halls are lit in color.
"""

from __future__ import annotations

import functools
import io
import re
import threading
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from phrasefit.errors import ParameterError
from phrasefit.reports.fonts import (
    clusters,
    compact_outlines,
    families,
    letters_note,
    printable,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from matplotlib.figure import Figure

POINTS_PER_INCH = 72.0
PAPERS_PT = {"a4": (595.28, 841.89), "letter": (612.0, 792.0)}  # ISO 216; ANSI/ASME Y14.1 size A
MARGIN_PT = 36.0  # half an inch: every printer can print that far out
PNG_DPI = 150
LARGE_PT = 100.0  # the type in which matplotlib shapes a line to measure it in any

# What is shaped at once: a word, or one Chinese, Japanese or Korean letter, which joins none;
# a mark or sign stays with what is before it, which it may stand upon.
_ALONE = "\u2e80-\u2fff\u3040-\u30ff\u3400-\u9fff\uac00-\ud7a3\uf900-\ufaff"
_WORD = re.compile(rf"(?:[^ {_ALONE}]|[ {_ALONE}](?=\W))+|[{_ALONE}]")

# The salt makes the names inside an SVG, and so the file, the same on every run.
RC: dict[Any, Any] = {
    "pdf.fonttype": 42,
    "svg.fonttype": "none",
    "text.hinting": "no_hinting",  # letters as wide in the PNG as measured, and as in the PDF
    "svg.hashsalt": "phrasefit",
    "text.parse_math": False,
}
# matplotlib's settings are the whole program's: of two drawn at once, the one that is done
# first would take them from the other.
DRAWING = threading.RLock()


def text_width_pt(text: str, size_pt: float, bold: bool = False) -> float:
    """Measure a printable line of text [points]."""
    return _width_of_large_pt(text, bold) * (size_pt / LARGE_PT)


@functools.lru_cache(maxsize=8192)
def _width_of_large_pt(text: str, bold: bool) -> float:
    """Measure a line in large type: unhinted widths grow with the type, and shaping is slow.

    No letter joins one beyond a space: so each word is shaped once, whatever lines and
    sizes of type a sheet is tried in.
    """
    names = tuple(families(text))
    words = _WORD.findall(text)
    words += [" "] * (len(text) - sum(map(len, words)))
    return sum(_shaped_pt(word, names, bold) for word in words)


@functools.lru_cache(maxsize=8192)
def _shaped_pt(words: str, names: tuple[str, ...], bold: bool) -> float:
    from matplotlib.textpath import text_to_path

    font = _font(names, LARGE_PT, bold)
    width, _, _ = text_to_path.get_text_width_height_descent(words, font, False)
    return float(width)


def _font(names: Sequence[str], size_pt: float, bold: bool) -> Any:
    from matplotlib.font_manager import FontProperties

    weight = "bold" if bold else "normal"
    return FontProperties(family=[*names, "sans-serif"], size=size_pt, weight=weight)


def fitting_size(
    text: str, width_pt: float, size_pt: float, *, smallest: float, bold: bool = False
) -> float:
    """Choose the largest type up to `size_pt`, down to `smallest`, in which `text` fits."""
    text, size = printable(text), size_pt
    while size > smallest and (width := text_width_pt(text, size, bold)) > width_pt:
        size *= min(0.99, width_pt / width)  # letters do not shrink quite in proportion
    return max(smallest, size)


def wrapped(text: str, width_pt: float, size_pt: float, *, bold: bool = False) -> list[str]:
    """Break `text` into lines of at most `width_pt`: at spaces, else inside a word.

    No letter is lost: the lines joined are the printable text without its spaces at
    line ends. A letter is never parted from its marks, nor one half of a joined pair
    from the other; one that alone is wider than the line stands on a line of its own.
    """
    measure = functools.partial(text_width_pt, size_pt=size_pt, bold=bold)
    whole = printable(text)
    if measure(whole) <= width_pt:
        return [whole]
    left, lines = whole.split(" "), []
    while left:
        n = _how_many(left, " ", width_pt, measure)
        if n:
            lines.append(" ".join(left[:n]))
            del left[:n]
        else:
            *full, last = _broken(left[0], width_pt, measure)
            lines += full
            left[0] = last
            if measure(last) > width_pt:  # one letter, wider than the line
                lines.append(left.pop(0))
    return lines


def _broken(word: str, width_pt: float, measure: Callable[[str], float]) -> list[str]:
    """Cut a word that is wider than a line; each piece but the last is as long as fits."""
    left, pieces = clusters(word), []
    while left:
        n = max(1, _how_many(left, "", width_pt, measure))
        pieces.append("".join(left[:n]))
        del left[:n]
    return pieces


def fitted(
    text: str, width_pt: float, size_pt: float, *, smallest: float, bold: bool = False
) -> tuple[float, list[str]]:
    """Set `text` whole: in smaller type down to `smallest`, then on more lines.

    Returns
    -------
    size_pt : float
        The type's size [points].
    lines : list of str
        One line where the text fits so, else as many as it takes; nothing is cut.
    """
    size = fitting_size(text, width_pt, size_pt, smallest=smallest, bold=bold)
    return size, wrapped(text, width_pt, size, bold=bold)


def _how_many(
    pieces: Sequence[str], gap: str, width_pt: float, measure: Callable[[str], float]
) -> int:
    """Count the pieces that fit on a line, joined by `gap`.

    Shaping is slow, in proportion to the letters: so the pieces' own widths, which are
    few and kept, tell about where the line ends, and only the lines there are measured.
    """
    used, n = 0.0, 0
    for piece in pieces:
        used += measure(piece) + (measure(gap) if n else 0.0)
        if used > width_pt:
            break
        n += 1

    def fits(n: int) -> bool:
        return measure(gap.join(pieces[:n])) <= width_pt

    while n and not fits(n):
        n -= 1
    while n < len(pieces) and fits(n + 1):
        n += 1
    return n


@dataclass(kw_only=True)
class Page:
    """One page, addressed in points from the top left corner."""

    figure: Figure
    width_pt: float
    height_pt: float
    families_used: set[str] = field(default_factory=set)
    given: set[str] = field(default_factory=set)  # the words of its lines, before any spelling

    @property
    def inner_pt(self) -> float:
        """Width between the margins [points]."""
        return self.width_pt - 2 * MARGIN_PT

    def text(
        self, x: float, y: float, words: str, size: float, *, bold: bool = False,
        width: float | None = None, align: str = "left", color: str = "black", of: str = "",
    ) -> None:  # fmt: skip
        """Write one line with its baseline at `y`, in smaller type where `width` asks for it.

        Nothing is cut: `width` [points] shrinks the type without a least size, so lay
        out long words with `fitted` or `wrapped` first, and say what the line is a piece `of`.
        """
        from phrasefit.reports.pdf_text import ShapedText

        self.given.add(of or words)
        words = printable(words)
        if width is not None:
            size = fitting_size(words, width, size, smallest=0.0, bold=bold)
        names = families(words)
        self.families_used.update(names)
        self.figure.add_artist(
            ShapedText(
                x / self.width_pt,
                1 - y / self.height_pt,
                words,
                width_pt=text_width_pt(words, size, bold) if align != "left" else 0.0,
                transform=self.figure.transSubfigure,
                fontproperties=_font(names, size, bold),
                ha=align,
                va="baseline",
                color=color,
            )
        )

    def box(
        self, x: float, y: float, width: float, height: float, *, fill: str = "none",
        hatch: str | None = None, line: float = 0.8, edge: str = "black",
    ) -> None:  # fmt: skip
        """Draw a rectangle with its top left corner at (`x`, `y`)."""
        from matplotlib.patches import Rectangle

        corner = (x / self.width_pt, 1 - (y + height) / self.height_pt)
        self.figure.add_artist(
            Rectangle(
                corner,
                width / self.width_pt,
                height / self.height_pt,
                facecolor=fill,
                edgecolor=edge if line else "none",
                linewidth=line,
                hatch=hatch,
            )
        )

    def shape(
        self, points: list[tuple[float, float]], *, fill: str = "black", line: float = 0.6,
        edge: str = "black",
    ) -> None:  # fmt: skip
        """Draw a filled polygon through `points`."""
        from matplotlib.patches import Polygon

        corners = [(x / self.width_pt, 1 - y / self.height_pt) for x, y in points]
        self.figure.add_artist(
            Polygon(
                corners,
                closed=True,
                facecolor=fill,
                edgecolor=edge if line else "none",
                linewidth=line,
            )
        )

    def line(
        self, x0: float, y0: float, x1: float, y1: float, *, width: float = 0.8,
        dashed: bool = False,
    ) -> None:  # fmt: skip
        """Draw a straight line."""
        from matplotlib.lines import Line2D

        self.figure.add_artist(
            Line2D(
                [x0 / self.width_pt, x1 / self.width_pt],
                [1 - y0 / self.height_pt, 1 - y1 / self.height_pt],
                color="black",
                linewidth=width,
                linestyle=(0, (2.5, 1.5)) if dashed else "solid",
                solid_capstyle="butt",
                dash_capstyle="butt",
            )
        )


@dataclass(kw_only=True)
class Document:
    """Pages of one size, to be saved together."""

    paper: str = "a4"
    landscape: bool = False
    title: str = ""
    pages: list[Page] = field(default_factory=list)

    def __post_init__(self) -> None:
        if self.paper not in PAPERS_PT:
            known = ", ".join(PAPERS_PT)
            raise ParameterError(f"paper={self.paper!r} is not known; choose one of {known}")

    def new_page(self) -> Page:
        """Add an empty page."""
        from matplotlib.figure import Figure

        width, height = PAPERS_PT[self.paper]
        if self.landscape:
            width, height = height, width
        figure = Figure(figsize=(width / POINTS_PER_INCH, height / POINTS_PER_INCH))
        self.pages.append(Page(figure=figure, width_pt=width, height_pt=height))
        return self.pages[-1]

    @property
    def given(self) -> set[str]:
        """The words of its pages, before any spelling."""
        return {text for page in self.pages for text in page.given}

    def letters_note(self) -> str:
        """Say which letters of its pages are spelled out for want of a font ("": none)."""
        return letters_note(self.given)

    def pdf(self) -> bytes:
        """Make the PDF file."""
        import matplotlib
        from matplotlib.backends.backend_pdf import PdfPages

        from phrasefit.reports.pdf_text import fonts_without_shaping

        out = io.BytesIO()
        with DRAWING, matplotlib.rc_context(RC), fonts_without_shaping():
            about = {"Title": printable(self.title), "Creator": "phrasefit", "CreationDate": None}
            # Outlines of the PostScript kind are not TrueType: such a font goes in as Type 3.
            if any(compact_outlines(page.families_used) for page in self.pages):
                matplotlib.rcParams["pdf.fonttype"] = 3
            with PdfPages(out, metadata=about) as pages:
                for page in self.pages:
                    pages.savefig(page.figure)
        return out.getvalue()

    def png(self, number: int = 0) -> bytes:
        """Make a picture of one page."""
        return self._drawn(number, format="png", dpi=PNG_DPI)

    def svg(self, number: int = 0) -> bytes:
        """Make a vector drawing of one page; its words are text."""
        about = {"Title": printable(self.title), "Creator": "phrasefit", "Date": None}
        return self._drawn(number, format="svg", dpi=PNG_DPI, metadata=about)

    def _drawn(self, number: int, **form: Any) -> bytes:
        import matplotlib

        out = io.BytesIO()
        with DRAWING, matplotlib.rc_context(RC):
            self.pages[number].figure.savefig(out, **form)
        return out.getvalue()
