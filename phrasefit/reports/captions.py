"""Captions of counts and step cues for a lesson video: WebVTT and SRT.

WebVTT follows the W3C WebVTT format (Candidate Recommendation 2019): header line,
blank-line separated cues, ``&``, ``<`` and ``>`` escaped.  SRT has no standard; the
form written here is the common one (number, ``hh:mm:ss,mmm``, text, blank line).
A caption stands from two counts before its steps to two counts before the next,
so that it can be read before it is danced (the two-beat lead of round-dance cuers).
At most two lines of 42 characters and about 17 characters a second, at least 1.333 s
on the screen: usual figures of captioning guides.
"""

from __future__ import annotations

import html
import textwrap
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from phrasefit.errors import ParameterError
from phrasefit.model import FitPlan, Plan, Wall
from phrasefit.reports.cues import CueLine, cue_lines
from phrasefit.reports.event_words import call
from phrasefit.routine.turns import clock
from phrasefit.steps import usual_steps

LEAD_COUNTS = 2
LINE_CHARACTERS = 42
MAX_LINES = 2
CHARACTERS_PER_S = 17.0
MIN_ON_SCREEN_S = 1.333
MOST_OFFSET_S = 24 * 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Caption:
    """Text on the screen from `start_s` to `end_s`, one or two lines."""

    start_s: float
    end_s: float
    lines: tuple[str, ...]


def captions(
    fit: FitPlan, plan: Plan | None = None, *, offset_s: float = 0.0
) -> tuple[Caption, ...]:
    """Make the captions of a plan.

    Parameters
    ----------
    fit : FitPlan
    plan : Plan, optional
        One of ``fit.plans``; the advised one if left out.
    offset_s : float
        Where the song begins in the video [seconds]; captions that would stand
        before 0 are left out.

    Returns
    -------
    tuple of Caption
        In order, never overlapping.

    Raises
    ------
    ParameterError
        If `offset_s` is no number of seconds up to `MOST_OFFSET_S`, before or after 0, or
        the dance is over before the video begins.
    """
    if not abs(offset_s) <= MOST_OFFSET_S:
        raise ParameterError(
            f"offset={offset_s:g} s is no place in a video of up to {MOST_OFFSET_S / 3600:g} hours;"
            " give the seconds at which the song begins"
        )
    plan = plan or fit.plan
    danced = [line for line in cue_lines(fit, plan) if line.kind in ("wall", "tag")]
    if danced and danced[-1].end_s + offset_s <= 0:
        raise ParameterError(
            f"offset={offset_s:g} s: the dance is over before the video begins; give the seconds of"
            " the video at which the song begins (below 0: it begins before the video)"
        )
    times_s = fit.grid.times_s
    leads_s = LEAD_COUNTS * usual_steps(np.diff(times_s))  # of the counts that are danced there
    firsts = [int(np.argmin(np.abs(times_s[:-1] - line.time_s))) for line in danced]
    starts = [
        line.time_s - float(leads_s[first]) + offset_s
        for line, first in zip(danced, firsts, strict=True)
    ]
    made: list[Caption] = []
    for line, start, end in zip(
        danced, starts, [*starts[1:], danced[-1].end_s + offset_s] if danced else [], strict=True
    ):
        begin = max(start, 0.0, made[-1].end_s if made else 0.0)
        if end - begin >= MIN_ON_SCREEN_S:
            made.append(Caption(start_s=begin, end_s=end, lines=_text(line, end - begin)))
    return tuple(made)


def _text(line: CueLine, seconds: float) -> tuple[str, ...]:
    """Fit the words into what can be read in the time: the event always, steps as they go."""
    room = int(CHARACTERS_PER_S * seconds)
    if line.warning and (line.event is None or isinstance(line.event, Wall)):
        head = f"next: {line.warning}"
    elif line.event:  # a tag or restart danced now goes before what comes next
        head = call(line.event)
        if line.music and isinstance(line.event, Wall):
            head += f", {line.music}"
    else:
        head = f"{line.first}-{line.last}  {clock(line.facing)}"
    names = [step.name for step in line.steps]
    for n in range(len(names), -1, -1):
        body = ", ".join(names[:n]) + (" ..." if 0 < n < len(names) else "")
        lines = _wrapped(head, body)
        if n == 0 or (len(lines) <= MAX_LINES and sum(map(len, lines)) <= room):
            return tuple(lines[:MAX_LINES])
    raise AssertionError("the loop returns at n = 0")


def _wrapped(head: str, body: str) -> list[str]:
    return [
        *textwrap.wrap(head, LINE_CHARACTERS, break_long_words=True),
        *textwrap.wrap(body, LINE_CHARACTERS, break_long_words=True),
    ]


def _stamp(seconds: float, separator: str) -> str:
    total_ms = round(seconds * 1000)
    rest, ms = divmod(total_ms, 1000)
    minutes, secs = divmod(rest, 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours:02d}:{minutes:02d}:{secs:02d}{separator}{ms:03d}"


def webvtt(items: tuple[Caption, ...]) -> str:
    """Write captions as a WebVTT file."""
    return "WEBVTT\n\n" + _blocks(items, ".", lambda text: html.escape(text, quote=False))


def srt(items: tuple[Caption, ...]) -> str:
    """Write captions as an SRT file."""
    return _blocks(items, ",", lambda text: text)


def _blocks(items: tuple[Caption, ...], separator: str, escape: Callable[[str], str]) -> str:
    blocks = []
    for number, item in enumerate(items, start=1):
        times = f"{_stamp(item.start_s, separator)} --> {_stamp(item.end_s, separator)}"
        blocks.append("\n".join([str(number), times, *map(escape, item.lines)]))
    return "\n\n".join(blocks) + "\n"
