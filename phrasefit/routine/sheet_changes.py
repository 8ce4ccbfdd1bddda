"""What a typed step sheet says about restarts and tags."""

from __future__ import annotations

import json
import re

from phrasefit.errors import ParameterError
from phrasefit.model import one_line
from phrasefit.routine.counts import MAX_COUNTS
from phrasefit.routine.part_reader import MOST_TAG_COUNTS
from phrasefit.routine.typed_steps import plain
from phrasefit.routine.written import DraftBlock

_DENIED = re.compile(
    r"no (?:tags?|restarts?)(?:\s*(?:,|&|and|or|no|/)\s*(?:no )?(?:tags?|restarts?))*", re.I
)
_ANNOUNCED = re.compile(
    r"(?:\d{1,2}|no|one|two|three|four)\s+(?:(?:easy|short|simple)\s+)*(?:tag|bridge|restart)s?\b"
    r"|(?:tags|restarts|tag\s*:\s*\d{1,2}\W+restart)\s*:\s*\d{1,2}\b",
    re.I,
)
_TAG = re.compile(
    r'(?:tag|bridge)s?\s*\d?\b\s*(?P<name>"(?:[^"\\]|\\.)*")?\s*[:,(-]*\s*(?P<rest>.*)', re.I
)
_COUNTS_OF = re.compile(r"(?P<number>\d{1,3})\s*-?\s*counts?\b", re.I)
_AFTER_COUNTS = re.compile(r"\bafter\s+(?:the\s+)?(?:first\s+)?\d{1,3}\s*counts?\b", re.I)
_AFTER = re.compile(
    r"(?:after|following)\s+(?:the\s+)?(?:first\s+)?(?:counts?\s+)?(?P<number>\d{1,3})\b"
    r"(?!\s*(?:st|nd|rd|th)\b)|(?P<plain>\d{1,3})\s*counts?\b|\bcount\s+(?P<count>\d{1,3})\b",
    re.I,
)
_AFTER_SECTION = re.compile(r"after\s+(?:section|sec|set|s)\.?\s*(?P<number>\d{1,2})\b", re.I)


def denied(text: str) -> frozenset[str]:
    """Take ``no tags, 1 restart``: give which of ``tags`` and ``restarts`` there are none of."""
    said = re.sub(r"\b0\b", "no", text.lower().strip(" .!"))
    if _DENIED.fullmatch(said):
        return frozenset(kind for kind in ("tags", "restarts") if kind[:-1] in said)
    others = re.findall(r"\bno (tag|restart)s?\b", said) if is_announced(said) else ()
    return frozenset(f"{kind}s" for kind in others)


def is_announced(text: str) -> bool:
    """Tell whether a line begins with how many there are, as in ``1 Tag, 2 Restarts``."""
    return _ANNOUNCED.match(text) is not None


def announced_tag(text: str) -> int:
    """Read the length [counts] from ``1 Tag of 4 counts after wall 3``; 0 if it tells none."""
    lengths = _COUNTS_OF.findall(_AFTER_COUNTS.sub("", plain(text)))
    is_tag = re.search(r"\b(?:tag|bridge)s?\b", text, re.I) and not is_about_restart(text)
    counts = int(lengths[0]) if is_tag and len(lengths) == 1 else 0
    return counts if counts <= MOST_TAG_COUNTS else 0


def is_about_restart(text: str) -> bool:
    """Tell whether a line speaks of a restart."""
    return re.search(r"\brestarts?\b", text, re.I) is not None


def restart_after(text: str, *, group: int, danced: int) -> int | None:
    """Read after which count a line asks for a restart; None for any whole bar.

    Parameters
    ----------
    group : int
        Counts of a section.
    danced : int
        Counts of the part that stand above the line: what "here" means.

    Raises
    ------
    ParameterError
        If it names no count, or several.
    """
    said = plain(text)
    if re.search(r"\bany\b", said, re.I):
        return None
    numbers = [int(next(filter(None, m.groups()))) for m in _AFTER.finditer(said)]
    if section := _AFTER_SECTION.search(said):
        numbers = [int(section["number"]) * group]
    elif not numbers and re.search(r"\bhere\b", said, re.I):
        numbers = [danced]
    if len(numbers) != 1 or not 0 < numbers[0] < MAX_COUNTS:
        raise ParameterError("it does not say once after which count; write restart after count 16")
    return numbers[0]


def says_only_after(text: str) -> bool:
    """Tell whether a line on a restart says nothing but its count (or any whole bar)."""
    return re.fullmatch(r"restart after (?:count \d+|any whole bar)", text, re.I) is not None


def tag_in(text: str, *, steps_follow: bool, in_head: bool) -> DraftBlock | None:
    """Read the heading of a tag; None if the line is none.

    A line that only mentions a tag heads one where steps follow it, but not before the
    first steps of the dance (`in_head`).

    Raises
    ------
    ParameterError
        If its length is not told, by the line or by steps below it, or is too great.
    """
    match = _TAG.fullmatch(plain(text))
    if not match:
        counts = _COUNTS_OF.search(plain(text))
        heads = counts and steps_follow and not in_head
        if not (heads and re.search(r"\b(?:tag|bridge)\b", text, re.I)):
            return None  # "after wall 2 add this tag of 4 counts:" heads the steps below it
        return DraftBlock(name=text.strip(" :"), counts=int(counts["number"]) if counts else 0)
    counts = _COUNTS_OF.search(match["rest"])
    number = int(counts["number"]) if counts else 0
    if number > MOST_TAG_COUNTS:
        raise ParameterError(f"a tag has at most {MOST_TAG_COUNTS} counts; make it a part")
    if not number and not steps_follow:
        raise ParameterError("it does not say how many counts; write Tag: 4 counts")
    words = match["rest"].replace(counts[0], " ") if counts else match["rest"]
    name = unquoted(match["name"]) if match["name"] else _unwrapped(one_line(words))
    return DraftBlock(name=name, counts=number)


def _unwrapped(name: str) -> str:
    """Take what a name no longer needs from its ends; a bracket stays where its other half is."""
    name = name.strip(" ,:;.-")
    opened, closed = name.count("("), name.count(")")
    if (name.startswith("(") and name.endswith(")")) or opened != closed:
        return name.strip(" ,:;.()-")
    return name


def unquoted(name: str) -> str:
    """Read a name that may stand in quotes."""
    if not name.startswith('"'):
        return name
    try:
        return one_line(json.loads(name))
    except ValueError:
        return name.strip('"')
