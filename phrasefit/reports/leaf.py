"""One page as it will look, and what all pages have in common: margins, type, lines.

A sheet is laid out as `Leaf` objects, plain texts and shapes at places, before anything is
drawn, so that a test can read what is on a page, and where.

The hole-punch side is the left one.  Two holes reach 15 mm into the paper (ISO 838, from
memory: centers 12 mm from the edge, 6 mm wide), three American ones about as far.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, Protocol

from phrasefit.reports.paper import Document, Page

LEFT_PT = 57.0  # 20 mm
RIGHT_PT = TOP_PT = BOTTOM_PT = 36.0  # half an inch: every printer can print that far out

# The scale of type [points].  Stand type is read at 1.5 m, floor type at 3 m.
FOOT_PT, SMALL_PT, BODY_PT, HEAD_PT, TITLE_PT = 7.5, 9.5, 12.0, 15.0, 22.0
STAND_PT, FLOOR_PT = 30.0, 60.0
LEADING = 1.28  # from line to line, as a multiple of the type
CAPITAL = 0.73  # height of a capital, as a multiple of the type
DESCENDER = 0.24  # depth of a g, as a multiple of the type
RULE_PT, HEAVY_RULE_PT, BOX_PT = 0.4, 1.0, 1.4  # lines between rows, under heads, of boxes

CAUTION = (
    "Recorded music in class, in public or in a video needs licenses."
    " Clear floor, small steps, turns optional; hall rules come first."
)


class Canvas(Protocol):
    """What can be drawn on: a `Leaf`, or the page itself."""

    # Arguments and looks are those of `Page`, which draws in the end.
    def text(self, *place: Any, **look: Any) -> None: ...

    def box(self, *place: Any, **look: Any) -> None: ...

    def shape(self, *place: Any, **look: Any) -> None: ...

    def line(self, *place: Any, **look: Any) -> None: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Text:
    """One line of words with its baseline at `y` [points from the top left].

    `of` is the text as given that the line is a piece of, if it is not the line itself.
    """

    x: float
    y: float
    words: str
    size: float
    bold: bool = False
    align: str = "left"
    color: str = "black"
    of: str = ""

    def moved(self, *, right: float = 0.0, down: float = 0.0) -> Text:
        """Put it elsewhere; written out, because a sheet does so thousands of times."""
        return Text(
            x=self.x + right, y=self.y + down, words=self.words, size=self.size, bold=self.bold,
            align=self.align, color=self.color, of=self.of,
        )  # fmt: skip


@dataclass(slots=True, kw_only=True)
class Leaf:
    """One page as it will look: its texts and its shapes."""

    width_pt: float
    height_pt: float
    texts: list[Text] = field(default_factory=list)
    shapes: list[Callable[[Page], None]] = field(default_factory=list)

    @property
    def inner_pt(self) -> float:
        """Width between the margins [points]."""
        return self.width_pt - LEFT_PT - RIGHT_PT

    @property
    def right(self) -> float:
        """Where the right margin begins."""
        return self.width_pt - RIGHT_PT

    @property
    def bottom(self) -> float:
        """Where the bottom margin begins."""
        return self.height_pt - BOTTOM_PT

    def text(
        self, x: float, y: float, words: str, size: float, *, bold: bool = False,
        align: str = "left", color: str = "black", of: str = "",
    ) -> None:  # fmt: skip
        """Place one line of words."""
        if words:
            self.texts.append(
                Text(x=x, y=y, words=words, size=size, bold=bold, align=align, color=color, of=of)
            )

    def box(self, x: float, y: float, width: float, height: float, **look: Any) -> None:
        """Place a rectangle."""
        self.shapes.append(lambda page: page.box(x, y, width, height, **look))

    def shape(self, points: list[tuple[float, float]], **look: Any) -> None:
        """Place a polygon."""
        self.shapes.append(lambda page: page.shape(points, **look))

    def line(self, x0: float, y0: float, x1: float, y1: float, **look: Any) -> None:
        """Place a straight line."""
        self.shapes.append(lambda page: page.line(x0, y0, x1, y1, **look))

    def rule(self, y: float, width: float = RULE_PT) -> None:
        """Place a line from margin to margin."""
        self.line(LEFT_PT, y, self.right, y, width=width)


def draw(leaves: Sequence[Leaf], *, title: str, paper: str) -> Document:
    """Put leaves on paper."""
    landscape = leaves[0].width_pt > leaves[0].height_pt
    document = Document(paper=paper, landscape=landscape, title=title)
    for leaf in leaves:
        page = document.new_page()
        for shape in leaf.shapes:
            shape(page)
        for t in leaf.texts:
            page.text(t.x, t.y, t.words, t.size, bold=t.bold, align=t.align, color=t.color, of=t.of)
    return document
