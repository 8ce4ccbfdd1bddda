"""The evening on paper for the floor: what comes next, where count 1 is, what to call.

Large type, black on white, one block a dance that never breaks over a page.
"""

from __future__ import annotations

from phrasefit.evening.evening import Dance, Evening
from phrasefit.model import Plan, Restart, Tag
from phrasefit.reports.event_words import timed_call
from phrasefit.reports.paper import MARGIN_PT, Document, Page, wrapped
from phrasefit.reports.playlists import tempo_words
from phrasefit.reports.times import clock_time

TITLE_PT, DANCE_PT, SONG_PT, EVENT_PT, SMALL_PT = 20.0, 17.0, 12.0, 13.0, 8.0
FOOT_PT = 44.0
NUMBER_PT = 40.0  # width of the column of places
LICENSE = (
    "Playing recorded music in a class or at a dance is a public performance: it needs a license,"
    " whoever bought the file. Ask your venue which one it holds."
)
CAUTION = "Keep a clear floor, offer steps without turns, leave a pause after fast dances."


def floor_list(evening: Evening, *, title: str = "Floor list", paper: str = "a4") -> Document:
    """Lay out the list of an evening.

    Parameters
    ----------
    title : str
        Printed on top, such as the name of the evening.
    paper : str
        ``a4`` or ``letter``.
    """
    document = Document(paper=paper, title=title)
    page, y = _new_page(document, title, evening)
    for dance in evening.dances:
        block = _block(dance, page.inner_pt - NUMBER_PT)
        height = sum(lead for _, _, _, lead in block) + 10
        if y + height > page.height_pt - MARGIN_PT - FOOT_PT:
            page, y = _new_page(document, title, evening)
        page.line(MARGIN_PT, y, page.width_pt - MARGIN_PT, y, width=0.6)
        y = _draw(page, y, dance, block) + 10
    for number, page in enumerate(document.pages, start=1):
        _foot(page, number, len(document.pages))
    return document


def _new_page(document: Document, title: str, evening: Evening) -> tuple[Page, float]:
    page = document.new_page()
    y = MARGIN_PT + TITLE_PT
    page.text(MARGIN_PT, y, title, TITLE_PT, bold=True, width=page.inner_pt - 150)
    about = f"{len(evening.dances)} dances, {clock_time(evening.length_s, decimals=0)}"
    page.text(page.width_pt - MARGIN_PT, y, about, SONG_PT, align="right")
    return page, y + 14


def _foot(page: Page, number: int, n_pages: int) -> None:
    lines = [*wrapped(LICENSE, page.inner_pt, SMALL_PT), CAUTION]
    y = page.height_pt - MARGIN_PT
    for i, words in enumerate(reversed(lines)):
        page.text(MARGIN_PT, y - 11 * i, words, SMALL_PT)
    page.text(page.width_pt - MARGIN_PT, y, f"{number} of {n_pages}", SMALL_PT, align="right")


Line = tuple[str, float, bool, float]  # words, size, bold, height of the line


def _block(dance: Dance, width: float) -> list[Line]:
    """List the lines of one dance, wrapped to `width`."""
    fit, pairing = dance.pairing.fit, dance.pairing
    song = " - ".join(filter(None, (fit.bar_map.title, fit.bar_map.artist)))
    lines = _lines(
        fit.routine.name + (" (taught now)" if dance.taught else ""), DANCE_PT, True, width
    )
    lines += _lines(song, SONG_PT, False, width)
    start = (
        f"count 1 at {clock_time(fit.plan.start_s)} of the recording, after"
        f" {fit.plan.intro_counts} counts; {tempo_words(dance)};"
        f" {clock_time(pairing.length_s, decimals=0)} long"
    )
    lines += _lines(start, SONG_PT, False, width)
    for event in event_calls(fit.plan):
        lines += _lines(event, EVENT_PT, True, width)
    return lines


def _lines(words: str, size: float, bold: bool, width: float) -> list[Line]:
    return [(text, size, bold, 1.35 * size) for text in wrapped(words, width, size, bold=bold)]


def event_calls(plan: Plan) -> tuple[str, ...]:
    """Write each restart and tag as it is called, in the order danced."""
    changes = [event for event in plan.events if isinstance(event, Tag | Restart)]
    return tuple(timed_call(event) for event in changes) or ("no restart, no tag",)


def _draw(page: Page, y: float, dance: Dance, block: list[Line]) -> float:
    """Draw one dance below `y`; return where it ends."""
    top = y
    for words, size, bold, lead in block:
        y += lead
        page.text(MARGIN_PT + NUMBER_PT, y, words, size, bold=bold)
    page.text(MARGIN_PT, top + 1.35 * DANCE_PT, f"{dance.place}", DANCE_PT, bold=True)
    page.text(MARGIN_PT, top + 2.5 * DANCE_PT, clock_time(dance.start_s, decimals=0), 10)
    return y
