"""Printed pages: sizes, fonts, text that always fits; PDF, PNG and SVG.

A `Page` is a matplotlib figure addressed in points from its top left corner.
Text is real text (fonts embedded as TrueType, so it can be selected and searched);
what would run over its column is shortened with an ellipsis; letters that no
installed font has are replaced by a hollow box, so that a gap is seen as a gap.
Everything is black on white: sheets are copied, and halls are lit in color.
"""

from __future__ import annotations

import functools
import io
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from phrasefit.errors import ParameterError

if TYPE_CHECKING:
    from matplotlib.figure import Figure

POINTS_PER_INCH = 72.0
PAPERS_PT = {"a4": (595.28, 841.89), "letter": (612.0, 792.0)}  # ISO 216; ANSI/ASME Y14.1 size A
MARGIN_PT = 36.0  # half an inch: every printer can print that far out
PNG_DPI = 150
HOLLOW_BOX = "\u25a1"
ELLIPSIS = "\u2026"

# DejaVu comes with matplotlib; the others serve names in other scripts where installed.
FONT_FAMILIES = (
    "DejaVu Sans", "Noto Sans", "Noto Sans CJK JP", "Noto Sans CJK SC", "Noto Sans Arabic",
    "Noto Naskh Arabic", "Noto Sans Hebrew", "Noto Sans Devanagari", "Noto Sans Thai",
    "WenQuanYi Zen Hei", "Droid Sans Fallback", "Arial Unicode MS", "Segoe UI", "Malgun Gothic",
    "Microsoft YaHei", "Yu Gothic", "Hiragino Sans", "PingFang SC", "Apple SD Gothic Neo",
)  # fmt: skip
# The salt makes the names inside an SVG, and so the file, the same on every run.
RC: dict[Any, Any] = {
    "pdf.fonttype": 42,
    "svg.fonttype": "none",
    "svg.hashsalt": "phrasefit",
    "text.parse_math": False,
}


@functools.cache
def _fonts() -> tuple[list[str], frozenset[int]]:
    """Name the installed families, and the letters they have together."""
    from matplotlib import font_manager
    from matplotlib.ft2font import FT2Font

    known = {entry.name: entry.fname for entry in font_manager.fontManager.ttflist}
    families = [name for name in FONT_FAMILIES if name in known]
    letters: set[int] = set()
    for name in families:
        letters |= set(FT2Font(font_manager.findfont(name)).get_charmap())
    return families, frozenset(letters)


def printable(text: str) -> str:
    """Replace what cannot be printed: control characters go, unknown letters become a box."""
    _, letters = _fonts()
    flat = " ".join(text.split())
    return "".join(c if ord(c) in letters else HOLLOW_BOX for c in flat if c.isprintable())


@functools.lru_cache(maxsize=4096)
def text_width_pt(text: str, size_pt: float, bold: bool = False) -> float:
    """Measure a printable line of text [points]."""
    from matplotlib.backends.backend_agg import RendererAgg

    renderer = RendererAgg(10, 10, POINTS_PER_INCH)
    return float(renderer.get_text_width_height_descent(text, _font(size_pt, bold), False)[0])


def _font(size_pt: float, bold: bool) -> Any:
    from matplotlib.font_manager import FontProperties

    families, _ = _fonts()
    # An SVG is shown with the fonts of its reader: any without serifs is better than none.
    weight = "bold" if bold else "normal"
    return FontProperties(family=[*families, "sans-serif"], size=size_pt, weight=weight)


def shortened(text: str, width_pt: float, size_pt: float, *, bold: bool = False) -> str:
    """Cut `text` with an ellipsis so that it fits into `width_pt`."""
    text = printable(text)
    if text_width_pt(text, size_pt, bold) <= width_pt:
        return text
    low, high = 0, len(text)
    while low < high:  # the longest beginning that fits
        middle = (low + high + 1) // 2
        if text_width_pt(text[:middle].rstrip() + ELLIPSIS, size_pt, bold) <= width_pt:
            low = middle
        else:
            high = middle - 1
    return text[:low].rstrip() + ELLIPSIS


def fitting_size(
    text: str, width_pt: float, size_pt: float, *, smallest: float, bold: bool = False
) -> float:
    """Choose the largest type up to `size_pt`, down to `smallest`, in which `text` fits."""
    text, size = printable(text), size_pt
    while size > smallest and (width := text_width_pt(text, size, bold)) > width_pt:
        size *= min(0.99, width_pt / width)  # letters do not shrink quite in proportion
    return max(smallest, size)


def wrapped(text: str, width_pt: float, size_pt: float, *, bold: bool = False) -> list[str]:
    """Break `text` into lines of at most `width_pt`: at spaces, else inside a word."""
    lines: list[str] = []
    for word in printable(text).split(" "):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width_pt(longer, size_pt, bold) <= width_pt:
            lines[-1] = longer
        else:
            lines += _broken(word, width_pt, size_pt, bold)
    return lines


def _broken(word: str, width_pt: float, size_pt: float, bold: bool) -> list[str]:
    """Cut a word into pieces that fit; most words are one piece."""
    pieces = [word[:1]]
    for letter in word[1:]:
        longer = pieces[-1] + letter
        if text_width_pt(longer, size_pt, bold) <= width_pt:
            pieces[-1] = longer
        else:
            pieces.append(letter)
    return pieces


@dataclass(kw_only=True)
class Page:
    """One page, addressed in points from the top left corner."""

    figure: Figure
    width_pt: float
    height_pt: float

    @property
    def inner_pt(self) -> float:
        """Width between the margins [points]."""
        return self.width_pt - 2 * MARGIN_PT

    def text(
        self, x: float, y: float, words: str, size: float, *, bold: bool = False,
        width: float | None = None, align: str = "left", color: str = "black",
    ) -> None:  # fmt: skip
        """Write one line with its baseline at `y`, shortened to `width` points."""
        words = printable(words) if width is None else shortened(words, width, size, bold=bold)
        self.figure.text(
            x / self.width_pt,
            1 - y / self.height_pt,
            words,
            fontproperties=_font(size, bold),
            ha=align,
            va="baseline",
            color=color,
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

    def pdf(self) -> bytes:
        """Make the PDF file."""
        import matplotlib
        from matplotlib.backends.backend_pdf import PdfPages

        out = io.BytesIO()
        with matplotlib.rc_context(RC):
            about = {"Title": printable(self.title), "Creator": "phrasefit", "CreationDate": None}
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
        with matplotlib.rc_context(RC):
            self.pages[number].figure.savefig(out, **form)
        return out.getvalue()
