"""Words broken into lines, lines put into rows, rows shared among pages: nothing is cut.

Words shrink to the least size of their kind of sheet, then break into lines; lines that
are too many go on to a further page.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from phrasefit.reports.fonts import printable
from phrasefit.reports.leaf import CAPITAL, LEADING, Canvas, Leaf, Text
from phrasefit.reports.paper import fitting_size, text_width_pt, wrapped

Sign = Callable[[Canvas, float, float], None]  # draws a shape at a place on a baseline
Mark = Callable[[Canvas, float], None]  # draws into a row, from this height on


@dataclass(frozen=True, slots=True, kw_only=True)
class SetWords:
    """Words in one size, broken into lines, `indent` points in; `of` are the words as given.

    `sign` is drawn where the first line begins, before the words.
    """

    lines: tuple[str, ...]
    size: float
    of: str = ""
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
        widest = len(lines) * (width + size) / text_width_pt(printable(words), 1.0, bold)
        for larger in (size, (2 * size + least) / 3, (size + 2 * least) / 3):
            if larger > widest:  # even if each line were full
                continue
            tried = wrapped(words, width, larger, bold=bold)
            if len(tried) <= len(lines):
                fits, lines = larger, tried
                break
    return SetWords(lines=tuple(lines), size=fits, of=words, bold=bold)


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
        return replace(self, texts=tuple(text.moved(right=by) for text in self.texts))

    def put(self, leaf: Leaf, top: float) -> None:
        """Place it on a leaf."""
        leaf.texts += [text.moved(down=top) for text in self.texts]
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
    if pad:
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
            words, left = s.lines[i], x + s.indent
            texts.append(Text(x=left, y=baseline, words=words, size=s.size, bold=s.bold, of=s.of))
        if s.sign and i == 0:
            marks.append(_signed(s.sign, x, baseline))
    return Slab(height=height, texts=tuple(texts), marks=tuple(marks))


def _signed(sign: Sign, x: float, baseline: float) -> Mark:
    return lambda canvas, top: sign(canvas, x, top + baseline)


def _lower(slab: Slab, by: float) -> Slab:
    """Leave room above a slab."""
    texts = tuple(text.moved(down=by) for text in slab.texts)
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
