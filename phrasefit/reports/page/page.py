"""The rehearsal page: one HTML file that plays, counts, warns and takes corrections.

`document.py` lays out what the script in this folder needs as JSON: the running counts of
`phrasefit.reports.cues` as they are, and the beats they were counted from, so that the
script can count again after a correction.  It then shows counts only: where the walls
lie on corrected counts is for `phrasefit.fit` to say, not for a browser to guess.

The script is in modules, read in the order of `SCRIPTS`: ``counting.js`` is small
arithmetic, ``clicking.js`` sounds a click, ``starting.js`` says where nothing can sound and
``sheet.js`` draws the song in lines (none of them knows this page: all can serve another
one), ``score.js`` counts, ``sound.js`` is the clock, ``repeat.js`` repeats and steps,
``awake.js`` keeps the screen on, ``listening.js`` hears whether a file is the song of the
plan, ``recording.js`` opens it, ``drawing.js`` draws the moment, ``keeping.js`` holds what is
unsaved, ``correcting.js`` changes it, ``live.js`` follows a desk, ``controls.js`` wires keys
and buttons.
"""

from __future__ import annotations

import base64
from dataclasses import asdict, dataclass

from phrasefit.model import (
    FitPlan,
    Plan,
)
from phrasefit.reports.page.document import Origin, page_document
from phrasefit.reports.page.selfcontained import data_block, filled, part, policy

STYLES = ("base.css", "sheet.css", "page.css")
SCRIPTS = (
    "counting.js", "clicking.js", "starting.js", "sheet.js", "score.js", "sound.js", "repeat.js",
    "awake.js", "listening.js", "recording.js", "drawing.js", "keeping.js", "correcting.js",
    "live.js", "controls.js",
)  # fmt: skip
# What browsers are told that a song file is (IANA media types).
MEDIA_TYPES = {
    ".mp3": "audio/mpeg",
    ".wav": "audio/wav",
    ".flac": "audio/flac",
    ".ogg": "audio/ogg",
    ".oga": "audio/ogg",
    ".opus": "audio/ogg",
    ".m4a": "audio/mp4",
    ".aac": "audio/aac",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Recording:
    """The song file itself, to be carried by the page."""

    media_type: str
    content: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class Live:
    """Where a page that is served, not saved, gets the sound and the news.

    `song` is the name under which the news speak of the song.  Corrections are then made
    where the page comes from.
    """

    sound: str
    news: str
    song: str


def _parts() -> tuple[str, str]:
    """Read the style and the script of the page."""
    style, script = ("\n".join(map(part, names)) for names in (STYLES, SCRIPTS))
    return style, script


def live_policy() -> str:
    """Write the policy under which a live page is served."""
    style, script = _parts()
    return policy(style=style, script=script, live=True)


def page(
    fit: FitPlan,
    plan: Plan | None = None,
    *,
    origin: Origin | None = None,
    recording: Recording | None = None,
    live: Live | None = None,
) -> str:
    """Make the rehearsal page of a plan.

    Parameters
    ----------
    fit : FitPlan
    plan : Plan, optional
        One of ``fit.plans``; the advised one if left out.
    origin : Origin, optional
        Without it corrections can be tried in the page but not saved.
    recording : Recording, optional
        Carried inside the page; without it the user opens a file, or clicks are made.
    live : Live, optional
        The page is served, and follows whoever serves it.

    Returns
    -------
    str
        HTML that loads nothing from anywhere; a live page only from its own server.
    """
    style, script = _parts()
    carried = ""
    if recording is not None:
        encoded = base64.b64encode(recording.content).decode()
        carried = (
            f'<script type="text/plain" id="recording" data-type="{recording.media_type}">'
            f"{encoded}</script>"
        )
    document = page_document(fit, plan or fit.plan, origin=origin, embedded=bool(recording))
    document["live"] = asdict(live) if live else None
    return filled(
        part("page.html"),
        {
            "policy": policy(style=style, script=script, live=live is not None),
            "style": style,
            "script": script,
            "plan": data_block(document),
            "recording": carried,
        },
    )
