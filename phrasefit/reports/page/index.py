"""The index page of a folder that holds everything for a class: links, no script."""

from __future__ import annotations

import html
from collections.abc import Iterable
from dataclasses import dataclass
from urllib.parse import quote

from phrasefit.model import FitPlan, Plan
from phrasefit.reports.page.page import facts
from phrasefit.reports.page.selfcontained import filled, part, policy
from phrasefit.reports.sheet import CAUTION
from phrasefit.reports.words import verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One file of the folder: its path from the index page, and what it is for."""

    path: str
    words: str


def index_page(fit: FitPlan, entries: Iterable[Entry], plan: Plan | None = None) -> str:
    """Make the index page of a class folder.

    Parameters
    ----------
    fit : FitPlan
    entries : iterable of Entry
        In the order shown; paths relative to the folder, with ``/``.
    plan : Plan, optional
        One of ``fit.plans``; the advised one if left out.

    Returns
    -------
    str
        HTML without script, that loads nothing from anywhere.
    """
    style = part("index.css")
    items = [
        f'<li><a href="./{quote(entry.path)}"><b>{html.escape(entry.words)}</b>'
        f"{html.escape(entry.path)}</a></li>"
        for entry in entries
    ]
    return filled(
        part("index.html"),
        {
            "policy": policy(style=style),
            "style": style,
            "title": html.escape(fit.routine.name),
            "facts": html.escape(facts(fit, plan or fit.plan)),
            "verdict": html.escape(verdict(fit, plan)),
            "entries": "\n".join(items),
            "licenses": html.escape(CAUTION),
        },
    )
