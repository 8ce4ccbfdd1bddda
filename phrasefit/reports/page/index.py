"""The index page of a folder that holds everything for a class: no script.

It leads with the rehearsal page; practice audio plays where it stands; what only other
programs read is folded away.
"""

from __future__ import annotations

import html
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from urllib.parse import quote

from phrasefit.model import FitPlan, Plan
from phrasefit.reports.leaf import CAUTION
from phrasefit.reports.page.document import facts
from phrasefit.reports.page.selfcontained import filled, part, policy
from phrasefit.reports.words import verdict_line


class Use(StrEnum):
    """Who a file of the folder is for."""

    REHEARSE = "rehearse"  # leads
    PRINT = "print"
    LISTEN = "listen"  # plays in place
    PROGRAMS = "programs"  # folded


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One file of the folder: its path from the index page, what and who it is for."""

    path: str
    words: str
    use: Use


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
    listed = list(entries)

    def of(use: Use) -> str:
        show = _playing if use is Use.LISTEN else _linked
        return "\n".join(show(entry) for entry in listed if entry.use is use)

    return filled(
        part("index.html"),
        {
            # Beside a file: page, 'self' is no origin that all browsers know.
            "policy": f"{policy(style=style)}; media-src 'self' file:",
            "style": style,
            "title": html.escape(fit.routine.name),
            "song": html.escape(fit.bar_map.title),
            "facts": html.escape(facts(fit, plan or fit.plan)),
            "verdict": html.escape(verdict_line(fit, plan)),
            **{use.value: of(use) for use in Use},
            "licenses": html.escape(CAUTION),
        },
    )


def _linked(entry: Entry) -> str:
    return (
        f'<li><a href="./{quote(entry.path)}"><b>{html.escape(entry.words)}</b>'
        f" <span>{html.escape(entry.path)}</span></a></li>"
    )


def _playing(entry: Entry) -> str:
    words, path = html.escape(entry.words), quote(entry.path)
    return (
        f'<li><b>{words}</b> <a href="./{path}">{html.escape(entry.path)}</a>'
        f'<audio controls preload="none" src="./{path}" aria-label="{words}"></audio></li>'
    )
