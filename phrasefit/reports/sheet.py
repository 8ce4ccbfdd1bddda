"""The printed cue sheets of a plan, in three sizes.

``page``   everything on paper, for the class: the picture, one row a wall
``stand``  about 30 pt, to be read from a music stand: one row a wall and event
``floor``  60 pt and more, to be read across the room: start, tags, restarts, ending

What belongs to one wall stays on one page, and the end with the wall before it.
"""

from __future__ import annotations

from phrasefit.model import FitPlan, Plan
from phrasefit.reports.class_sheet import class_leaves
from phrasefit.reports.large_sheets import floor_leaves, stand_leaves
from phrasefit.reports.leaf import Leaf, draw
from phrasefit.reports.paper import Document

SIZES = ("page", "stand", "floor")


def sheet(
    fit: FitPlan, plan: Plan | None = None, *, size: str = "page", paper: str = "a4"
) -> Document:
    """Lay out the cue sheet of a plan and put it on paper.

    Parameters
    ----------
    fit : FitPlan
    plan : Plan, optional
        One of ``fit.plans``; the advised one if left out.
    size : {'page', 'stand', 'floor'}
        What the sheet is read from.
    paper : {'a4', 'letter'}

    Returns
    -------
    Document
        Its pages, to be saved as PDF or PNG.
    """
    leaves = sheet_leaves(fit, plan, size=size, paper=paper)
    return draw(leaves, title=f"{fit.routine.name} - {fit.bar_map.title}", paper=paper)


def sheet_leaves(
    fit: FitPlan, plan: Plan | None = None, *, size: str = "page", paper: str = "a4"
) -> list[Leaf]:
    """Lay out the cue sheet of a plan, nothing drawn; as `sheet`."""
    lay = {"page": class_leaves, "stand": stand_leaves, "floor": floor_leaves}[size]
    return lay(fit, plan or fit.plan, paper)
