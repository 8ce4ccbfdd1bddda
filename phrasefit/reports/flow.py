"""Leaves that are filled from top to bottom: one grid for every kind of sheet."""

from __future__ import annotations

from collections.abc import Sequence

from phrasefit.errors import ParameterError
from phrasefit.reports.leaf import (
    BODY_PT,
    BOTTOM_PT,
    CAUTION,
    DESCENDER,
    FOOT_PT,
    HEAD_PT,
    LEFT_PT,
    RIGHT_PT,
    SMALL_PT,
    TITLE_PT,
    TOP_PT,
    Leaf,
)
from phrasefit.reports.paper import PAPERS_PT
from phrasefit.reports.rows import Slab, height_of, put_rows, set_words

RULE_GAP_PT = 4.0  # between letters and a line below them
NUMBER_ROOM_PT = 36.0  # at the right of the foot, for the number of the page


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
        self.foot = set_words(foot, self.inner_pt - NUMBER_ROOM_PT, FOOT_PT)
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
        return self.bottom - TOP_PT - self.again.height - self.again.size * DESCENDER - RULE_GAP_PT

    def new_leaf(self) -> None:
        """Begin a further leaf."""
        width, height = self.size
        self.leaves.append(Leaf(width_pt=width, height_pt=height))
        self.y = TOP_PT
        self._hangs = 0.0  # how far the last letters reach below `y`

    def turn(self) -> None:
        """Begin a further leaf with the title."""
        self.new_leaf()
        for line in self.again.lines:
            self.y += self.again.lead
            self.leaf.text(LEFT_PT, self.y, line, self.again.size, bold=True, of=self.again.of)
        self._hangs = self.again.size * DESCENDER
        self.clear()

    def need(self, height: float) -> None:
        """Begin a further leaf unless `height` points are left."""
        if height > self.room_left:
            self.turn()

    def words(
        self, words: str, size: float, *, least: float | None = None, bold: bool = False,
        before: float = 0.0,
    ) -> None:  # fmt: skip
        """Write words below what is there."""
        self.y += before
        block = set_words(words, self.inner_pt, size, least=least, bold=bold)
        for line in block.lines:
            self.need(block.lead)
            self.y += block.lead
            self.leaf.text(LEFT_PT, self.y, line, block.size, bold=bold, of=words)
            self._hangs = block.size * DESCENDER

    def heading(self, *names: str) -> None:
        """Write names one over the other in one size, the first one bold."""
        sizes = [
            set_words(name, self.inner_pt, TITLE_PT, least=HEAD_PT, bold=not i).size
            for i, name in enumerate(names)
        ]
        for i, name in enumerate(names):
            self.words(name, min(sizes), bold=not i)
        self.y += 3

    def clear(self) -> None:
        """Go on below the letters of the last words."""
        self.y += self._hangs + RULE_GAP_PT
        self._hangs = 0.0

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
