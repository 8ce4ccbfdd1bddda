"""What stands at the head of a typed step sheet: name, size, level, tempo, intro, foot."""

from __future__ import annotations

import json
import re

from phrasefit.errors import ParameterError
from phrasefit.meters import TEMPO_RANGE
from phrasefit.routine.counts import MAX_COUNTS
from phrasefit.routine.part_reader import parse_rhythm
from phrasefit.routine.spec import MAX_INTRO_COUNTS
from phrasefit.routine.typed_steps import plain
from phrasefit.routine.written import Draft

MOST_WALLS = 8

_KEYS = {
    "title": "name", "name": "name", "dance": "name",
    "choreographer": "by", "choreographers": "by", "choreographed by": "by", "author": "by",
    "by": "by", "level": "level", "count": "counts", "counts": "counts", "wall": "walls",
    "walls": "walls", "rhythm": "rhythm", "tempo": "tempo", "bpm": "tempo", "intro": "intro",
    "start": "intro", "foot": "foot", "sequence": "sequence", "phrasing": "sequence",
    "music": "note", "song": "note", "track": "note", "note": "note", "notes": "note",
    "contact": "note", "date": "note", "version": "note", "ending": "note", "option": "note",
    "styling": "note", "hint": "note", "last update": "note", "updated": "note",
    "revised": "note", "website": "note", "video": "note", "email": "note", "e-mail": "note",
}  # fmt: skip
# Longest first: "high beginner" before "beginner"; common practice, no source.
_LEVELS = (
    "phrased intermediate", "easy intermediate", "absolute beginner", "high beginner",
    "high improver", "intermediate", "beginner", "improver", "advanced", "novice",
)  # fmt: skip
_FREE_WORDS = ("note", "name", "by", "sequence")  # no second key is looked for behind these
_KEY = re.compile(
    rf"(?<![\w])(?P<key>{'|'.join(sorted(_KEYS, key=len, reverse=True))})\s*:\s*", re.I
)
_SIZE = re.compile(r"(?P<number>\d{1,3})\s*-?\s*(?P<what>counts?|cts?|walls?)\b", re.I)
_OF_NO_MATTER = re.compile(r"\b(?:line|dance|level|waltz|phrased)\b")
_BY = re.compile(r"(?:choreographed |choreo(?:graphy)? )?by:?\s+(?P<by>.+)", re.I)
_FOOT = re.compile(r"(?:begins?|starts?)\s+(?:on|with)\s+(?:the\s+)?(?P<side>right|left)\b.*", re.I)


class HeadReader:
    """Puts the facts of the head into a draft.

    Each function takes one line and says in words what it read, or gives "" if the line is
    about something else.
    """

    def __init__(self, draft: Draft) -> None:
        self.draft = draft

    def keyed(self, text: str) -> str:
        """Take ``Level: improver``, also several on a line.

        Raises
        ------
        ParameterError
            As all here: if the line is about this, but cannot be understood.
        """
        found = list(_KEY.finditer(text))
        if not found or found[0].start() > 0:
            return ""
        if _KEYS[found[0]["key"].lower()] in _FREE_WORDS:
            found = found[:1]
        ends = [match.start() for match in found[1:]] + [len(text)]
        said = []
        for match, end in zip(found, ends, strict=True):
            value = text[match.end() : end].strip(" ,;|/")
            if value:
                said.append(self._take(_KEYS[match["key"].lower()], value, text))
        if not said:
            raise ParameterError("nothing stands behind the colon; write it, or take the line out")
        return "; ".join(said)

    def is_whole_size(self, text: str) -> bool:
        """Tell whether a line gives counts and walls."""
        return len({match["what"][:1].lower() for match in _SIZE.finditer(text)}) == 2

    def size(self, text: str) -> str:
        """Take ``32 counts, 4 walls, improver``; the counts of a tag are none of these."""
        found = list(_SIZE.finditer(text))
        rest = plain(_SIZE.sub(" ", text)).lower()
        if not found or (re.search(r"\btag|\bbridge", rest) and not self.is_whole_size(text)):
            return ""
        if re.search(r"\bintro\b|\bstart\b", rest):
            return self._take_intro(text, text)
        said = []
        for match in found:
            key = "walls" if match["what"].lower().startswith("w") else "counts"
            said.append(self._take_number(key, match["number"]))
        if re.search(r"\bwaltz\b", rest):
            self.draft.rhythm = "waltz"
            said.append("a waltz")
        if level := next((level for level in _LEVELS if level in rest), ""):
            self.draft.level = level
            said.append(level)
        if re.search(r"\w", _OF_NO_MATTER.sub(" ", rest.replace(level, " "))):
            self.draft.notes.append(text)
            said.append("the whole line kept as a note")
        return ", ".join(said)

    def foot(self, text: str) -> str:
        """Take ``begins on the right foot``."""
        match = _FOOT.fullmatch(text)
        return self._take_foot(match["side"]) if match else ""

    def title(self, text: str, *, is_first: bool) -> str:
        """Take the first line as the name, and below it ``by`` and a level alone."""
        if match := _BY.fullmatch(text):
            self.draft.by = match["by"]
            return f"by {match['by']}"
        level = text.lower().removesuffix(" level")
        if level in _LEVELS:
            self.draft.level = level
            return f"level {level}"
        if self.draft.name or not is_first:
            return ""
        self.draft.name = text
        return f"name {text}"

    # ----------------------------------------------------------------- single facts

    def _take(self, key: str, value: str, text: str) -> str:
        """Take one fact; `text` is the line it stands on."""
        takers = {"foot": self._take_foot, "tempo": self._take_tempo, "rhythm": self._take_rhythm,
                  "sequence": self._take_sequence}  # fmt: skip
        if key in takers:
            return takers[key](value)
        if key in ("counts", "walls"):
            return self._take_number(key, value)
        if key == "intro":
            return self._take_intro(value, text)
        if key == "note":
            self.draft.notes.append(value if text.lower().startswith("note") else text)
            return "kept as a note"
        setattr(self.draft, key, value)
        return f"{key} {value}"

    def _take_number(self, key: str, value: str) -> str:
        most = MOST_WALLS if key == "walls" else MAX_COUNTS
        numbers = re.findall(r"[0-9]+", value)
        if len(numbers) != 1 or len(numbers[0]) > 3 or not 1 <= int(numbers[0]) <= most:
            raise ParameterError(f"{key} must be one number from 1 to {most}")
        setattr(self.draft, key, int(numbers[0]))
        return f"{numbers[0]} {key}"

    def _take_rhythm(self, value: str) -> str:
        parse_rhythm(value)
        self.draft.rhythm = value.lower()
        return f"rhythm {value}"

    def _take_foot(self, value: str) -> str:
        side = {"r": "right", "l": "left"}.get(value.lower()[:1])
        if side is None:
            raise ParameterError("the foot is not understood; write right or left")
        self.draft.foot = side[0].upper()
        return f"begins on the {side} foot"

    def _take_tempo(self, value: str) -> str:
        numbers = [float(n) for n in re.findall(r"[0-9]{1,3}(?:\.[0-9]{1,3})?", plain(value))]
        low, high = TEMPO_RANGE
        if not 1 <= len(numbers) <= 2 or not low <= numbers[0] <= numbers[-1] <= high:
            raise ParameterError("the tempo is not understood; write Tempo: 100-120")
        self.draft.tempo = (numbers[0], numbers[-1])
        return "tempo {:g} to {:g}".format(*self.draft.tempo)

    def _take_sequence(self, value: str) -> str:
        self.draft.sequence = _listed(value) or re.findall(r"[A-Z]", value.upper())
        single = re.fullmatch(r"(?:[A-Za-z]{1,40}|[\s,/+-])+", plain(value))
        if not self.draft.sequence or not (single or value.startswith("[")):
            self.draft.sequence = []
            raise ParameterError("the order of the parts is not understood; write A A B")
        return f"danced {' '.join(self.draft.sequence)}"

    def _take_intro(self, value: str, text: str) -> str:
        match = re.search(r"(?P<number>[0-9]{1,3})(?:\s*-?\s*counts?\b|\s*$)", plain(value), re.I)
        if not match or int(match["number"]) > MAX_INTRO_COUNTS:
            self.draft.notes.append(text)
            return "kept as a note: no number of counts"
        self.draft.intro = int(match["number"])
        said = f"intro of {match['number']} counts"
        if re.search(r"[a-z]{3,}", re.sub(r"counts?|intro|start", "", value.lower())):
            self.draft.notes.append(text)
            said += ", the whole line kept as a note"
        return said


def _listed(value: str) -> list[str]:
    """Read a list of names in brackets and quotes; empty if it is none."""
    try:
        names = json.loads(value)
    except (ValueError, RecursionError):
        return []
    return names if isinstance(names, list) and all(isinstance(n, str) for n in names) else []
