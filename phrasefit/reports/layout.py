"""The grid that all sheets share, and words set into lines before anything is drawn.

A sheet is laid out as leaves: text boxes and shapes at their places, which can be looked
at, counted and tested without a drawing program.  `draw` puts them on paper.

Nothing is ever shortened.  Words that are too long for their room shrink to the least size
of their kind of sheet, then break into lines; lines that are too many go on to a further
leaf, which carries the title.

The hole-punch side is the left one.  Two holes reach 15 mm into the paper (ISO 838, from
memory: centers 12 mm from the edge, 6 mm wide), three American ones about as far.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Protocol

from phrasefit.errors import ParameterError
from phrasefit.reports.paper import PAPERS_PT, Document, Page, fitting_size, wrapped

LEFT_PT = 57.0  # 20 mm
RIGHT_PT = TOP_PT = BOTTOM_PT = 36.0  # half an inch: every printer can print that far out

# The scale of type [points].  Stand type is read at 1.5 m, floor type at 3 m.
FOOT_PT, SMALL_PT, BODY_PT, HEAD_PT, TITLE_PT = 7.5, 9.5, 12.0, 15.0, 22.0
STAND_PT, FLOOR_PT = 30.0, 60.0
LEADING = 1.28  # from line to line, as a multiple of the type
CAPITAL = 0.73  # height of a capital, as a multiple of the type
RULE_PT, HEAVY_RULE_PT, BOX_PT = 0.4, 1.0, 1.4  # lines between rows, under heads, of boxes

CAUTION = (
    "Recorded music in class, in public or in a video needs licenses."
    " Clear floor, small steps, turns optional; the rules of the hall come first."
)


class Canvas(Protocol):
    """What can be drawn on: a `Leaf`, or the page itself."""

    def text(
        self, x: float, y: float, words: str, size: float, *, bold: bool = ..., align: str = ...,
        color: str = ...,
    ) -> None: ...  # fmt: skip

    def box(self, x: float, y: float, width: float, height: float, **look: Any) -> None: ...

    def shape(self, points: list[tuple[float, float]], **look: Any) -> None: ...

    def line(self, x0: float, y0: float, x1: float, y1: float, **look: Any) -> None: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Text:
    """One line of words with its baseline at `y` [points from the top left]."""

    x: float
    y: float
    words: str
    size: float
    bold: bool = False
    align: str = "left"
    color: str = "black"


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
        align: str = "left", color: str = "black",
    ) -> None:  # fmt: skip
        """Place one line of words."""
        if words:
            self.texts.append(
                Text(x=x, y=y, words=words, size=size, bold=bold, align=align, color=color)
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
            page.text(t.x, t.y, t.words, t.size, bold=t.bold, align=t.align, color=t.color)
    return document


# ----------------------------------------------------------------------- words in lines

Sign = Callable[[Canvas, float, float], None]  # draws a shape at a place on a baseline
Mark = Callable[[Canvas, float], None]  # draws into a row, from this height on


@dataclass(frozen=True, slots=True, kw_only=True)
class SetWords:
    """Words in one size, broken into lines, `indent` points in.

    `sign` is drawn where the first line begins, before the words.
    """

    lines: tuple[str, ...]
    size: float
    bold: bool = False
    indent: float = 0.0
    sign: Sign | None = None

    @property
    def lead(self) -> float:
        """From line to line [points]."""
        return self.size * LEADING

    @property
    def height(self) -> float:
        """Of all lines [points]."""
        return self.lead * len(self.lines)


@functools.lru_cache(maxsize=8192)
def set_words(
    words: str, width: float, size: float, *, least: float | None = None, bold: bool = False
) -> SetWords:
    """Set words into `width`: in smaller type down to `least`, then in several lines.

    Parameters
    ----------
    words : str
    width, size : float
        Points.
    least : float, optional
        The smallest type; `size` if left out.
    """
    if not words:
        return SetWords(lines=(), size=size, bold=bold)
    least = min(size, least or size)
    fits = fitting_size(words, width, size, smallest=least, bold=bold)
    lines = wrapped(words, width, fits, bold=bold)
    if len(lines) > 1:  # in so many lines larger type may fit as well
        for larger in (size, (2 * size + least) / 3, (size + 2 * least) / 3):
            tried = wrapped(words, width, larger, bold=bold)
            if len(tried) <= len(lines):
                fits, lines = larger, tried
                break
    return SetWords(lines=tuple(lines), size=fits, bold=bold)


# ------------------------------------------------------------------------- rows in pages


@dataclass(frozen=True, slots=True, kw_only=True)
class Slab:
    """A piece of a row that is never broken: its texts and marks, from its own top.

    `ends` says that the row ends with it.
    """

    height: float
    texts: tuple[Text, ...] = ()
    marks: tuple[Mark, ...] = ()
    ends: bool = False

    def shifted(self, by: float) -> Slab:
        """Move its texts to the right; marks stay."""
        return replace(self, texts=tuple(replace(text, x=text.x + by) for text in self.texts))

    def put(self, leaf: Leaf, top: float) -> None:
        """Place it on a leaf."""
        leaf.texts += [replace(text, y=text.y + top) for text in self.texts]
        for mark in self.marks:
            mark(leaf, top)


Row = tuple[Slab, ...]
Cell = tuple[float, Sequence[SetWords]]  # where it begins, and what stands in it one below another


def row_of(
    cells: Sequence[Cell], *, lead: float, pad: float = 0.0, marks: Sequence[Mark] = ()
) -> Row:
    """Make a row of cells, line by line; the first line is at least `lead` high.

    `pad` is left free above and below the row; `marks` belong to its first line.
    """
    stacks = [(x, [(s, i) for s in sets for i in range(len(s.lines))]) for x, sets in cells]
    depth = max(1, *(len(stack) for _, stack in stacks))
    slabs = []
    for line in range(depth):
        here = [(x, *stack[line]) for x, stack in stacks if line < len(stack)]
        slab = _slab(here, 0.0 if line else lead)
        if line == 0:
            slab = replace(slab, marks=(*marks, *slab.marks))
        slabs.append(slab)
    slabs[0] = _lower(slabs[0], pad)
    slabs[-1] = replace(slabs[-1], height=slabs[-1].height + pad, ends=True)
    return tuple(slabs)


def _slab(lines: Sequence[tuple[float, SetWords, int]], lead: float) -> Slab:
    """Set one line of each cell on one baseline."""
    largest = max((s.size for _, s, _ in lines), default=0.0)
    height = max(largest * LEADING, lead)
    baseline = height / 2 + largest * CAPITAL / 2
    texts, marks = [], []
    for x, s, i in lines:
        if s.lines[i]:
            texts.append(
                Text(x=x + s.indent, y=baseline, words=s.lines[i], size=s.size, bold=s.bold)
            )
        if s.sign and i == 0:
            marks.append(_signed(s.sign, x, baseline))
    return Slab(height=height, texts=tuple(texts), marks=tuple(marks))


def _signed(sign: Sign, x: float, baseline: float) -> Mark:
    return lambda canvas, top: sign(canvas, x, top + baseline)


def _lower(slab: Slab, by: float) -> Slab:
    """Leave room above a slab."""
    texts = tuple(replace(text, y=text.y + by) for text in slab.texts)
    marks = tuple(_lowered(mark, by) for mark in slab.marks)
    return replace(slab, height=slab.height + by, texts=texts, marks=marks)


def _lowered(mark: Mark, by: float) -> Mark:
    return lambda canvas, top: mark(canvas, top + by)


def height_of(slabs: Sequence[Slab]) -> float:
    """Add up heights [points]."""
    return sum(slab.height for slab in slabs)


def paginate(groups: Sequence[Sequence[Slab]], first: float, others: float) -> list[list[Slab]]:
    """Share groups among pages with `first` and then `others` points of room.

    A group stays together unless it is higher than a whole page; then its last row still
    has something before it on its page.
    """
    pages: list[list[Slab]] = [[]]
    left = first
    for group in groups:
        for piece in [group] if height_of(group) <= left else _pieces(group, others):
            if height_of(piece) > left and (pages[-1] or first < others):
                pages.append([])
                left = others
            pages[-1] += piece
            left -= height_of(piece)
    return pages


def _pieces(group: Sequence[Slab], room: float) -> list[Sequence[Slab]]:
    """Break a group that is higher than a page, but not just before its last row."""
    if height_of(group) <= room:
        return [group]
    last = max((i + 1 for i, slab in enumerate(group[:-1]) if slab.ends), default=len(group))
    tail = group[max(0, last - 1) :]
    if last == len(group) or height_of(tail) > room:
        return [[slab] for slab in group]
    return [*([slab] for slab in group[: last - 1]), tail]


def balanced(groups: Sequence[Sequence[Slab]], first: float, others: float) -> list[list[Slab]]:
    """Share groups as `paginate` does, on no more pages, but about equally."""
    pages = paginate(groups, first, others)
    if len(pages) == 1:
        return pages
    for percent in range(50, 100, 5):
        tried = paginate(groups, first - others * (1 - percent / 100), others * percent / 100)
        fits = all(height_of(page) <= (others if i else first) for i, page in enumerate(tried))
        if len(tried) == len(pages) and fits and all(tried):
            return tried
    return pages


def put_rows(leaf: Leaf, y: float, slabs: Sequence[Slab], *, stretch: float = 0.0) -> float:
    """Place slabs below `y`, each row higher by `stretch` points; give where they end."""
    begins = True
    for slab in slabs:
        if begins:
            y += stretch / 2
        slab.put(leaf, y)
        y += slab.height
        begins = slab.ends
        if slab.ends:
            y += stretch / 2
            leaf.rule(y)
    return y


class Flow:
    """Leaves that are filled from top to bottom, the title on each further one."""

    def __init__(
        self, paper: str, title: str, *, landscape: bool = False, foot: str = CAUTION,
        title_pt: float = BODY_PT,
    ) -> None:  # fmt: skip
        if paper not in PAPERS_PT:
            known = ", ".join(PAPERS_PT)
            raise ParameterError(f"paper={paper!r} is not known; choose one of {known}")
        width, height = PAPERS_PT[paper]
        self.size = (height, width) if landscape else (width, height)
        self.inner_pt = self.size[0] - LEFT_PT - RIGHT_PT
        self.foot = set_words(foot, self.inner_pt - 40, FOOT_PT)
        self.bottom = self.size[1] - BOTTOM_PT - self.foot.height - 6
        self.again = set_words(f"{title}, continued", self.inner_pt, title_pt, bold=True)
        self.leaves: list[Leaf] = []
        self.new_leaf()

    @property
    def leaf(self) -> Leaf:
        """The leaf that is being filled."""
        return self.leaves[-1]

    @property
    def room_left(self) -> float:
        """Height that is left on this leaf [points]."""
        return self.bottom - self.y

    @property
    def room_again(self) -> float:
        """Height on a further leaf, below its title [points]."""
        return self.bottom - TOP_PT - self.again.height - 6

    def new_leaf(self) -> None:
        """Begin a further leaf."""
        width, height = self.size
        self.leaves.append(Leaf(width_pt=width, height_pt=height))
        self.y = TOP_PT

    def turn(self) -> None:
        """Begin a further leaf with the title."""
        self.new_leaf()
        for line in self.again.lines:
            self.y += self.again.lead
            self.leaf.text(LEFT_PT, self.y, line, self.again.size, bold=True)
        self.y += 6

    def need(self, height: float) -> None:
        """Begin a further leaf unless `height` points are left."""
        if height > self.room_left:
            self.turn()

    def words(
        self, words: str, size: float, *, least: float | None = None, bold: bool = False,
        indent: float = 0.0, before: float = 0.0, sign: str = "",
    ) -> None:  # fmt: skip
        """Write words below what is there; `sign` stands before the first line."""
        self.y += before
        block = set_words(words, self.inner_pt - indent, size, least=least, bold=bold)
        for i, line in enumerate(block.lines):
            self.need(block.lead)
            self.y += block.lead
            if i == 0:
                self.leaf.text(LEFT_PT, self.y, sign, block.size)
            self.leaf.text(LEFT_PT + indent, self.y, line, block.size, bold=bold)

    def group(self, slabs: Sequence[Slab]) -> None:
        """Place a group of rows, together if it is not higher than a page."""
        whole = height_of(slabs) <= self.room_again
        for piece in [slabs] if whole else [[slab] for slab in slabs]:
            self.need(height_of(piece))
            self.y = put_rows(self.leaf, self.y, piece)

    def finish(self) -> list[Leaf]:
        """Write the foot of every leaf, and its number."""
        for number, leaf in enumerate(self.leaves, start=1):
            for i, line in enumerate(reversed(self.foot.lines)):
                leaf.text(LEFT_PT, leaf.bottom - i * self.foot.lead, line, FOOT_PT)
            leaf.text(
                leaf.right, leaf.bottom, f"{number}/{len(self.leaves)}", SMALL_PT, align="right"
            )
        return self.leaves
