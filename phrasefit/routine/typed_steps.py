"""One typed line of a step sheet: its counts, step, feet, turn and facing.

Sheets are typed for people: ``3&4  Shuffle forward right (R,L,R), 1/4 turn left (9:00)``.
Only what the words say is taken over.  Feet are read where they are listed, where each
moment names one, or where a step of the trade leads with a foot that is named; else they
stay open.  How sheets are typed: common practice, no source.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import cycle, islice

from phrasefit.errors import ParameterError
from phrasefit.model import one_line
from phrasefit.routine.counts import parse_counts
from phrasefit.routine.feet import NO_WEIGHT, OTHER, parse_feet
from phrasefit.routine.turns import facing_from_clock, format_turn, parse_turn
from phrasefit.routine.vocabulary import plain_pattern

# Signs that mean the same in counts, one for one so that places in the line stay.
_ALIKE = str.maketrans("–—‒−‐‑\u00a0\t＆+", "------  &&")

_NUMBER = r"(?P<number>[0-9]{1,3})(?![0-9/½¼¾⅛⅜⅝⅞]|:[0-9]|\s*(?:st|nd|rd|th|x|counts?|walls?)\b)"
_FIRST = re.compile(rf"(?:&\s?|[ea])?{_NUMBER}", re.IGNORECASE)
_NEXT = re.compile(rf"(?P<between>\s*(?:-|,|&|\band\b)\s*|&[ea]|[ea]|\s+){_NUMBER}", re.IGNORECASE)
_LAST_SIGN = re.compile(r"\s?&[ea]?(?![a-z0-9])|[ea](?![a-z])")
_ENDS = re.compile(r"\s*[:.)\]|;]\s*|\s*-\s+|\s+|$")
_TITLED = re.compile(r"\s*(?:counts?|cts?|beats?)?\.?\s*[(\[]?\s*", re.IGNORECASE)
_COUNTS_AT_END = re.compile(r"[(\[]\s*(?P<counts>[0-9&][0-9&ea,\s-]*)\s*[)\]]\s*\.?$")
_MORE_COUNTS = re.compile(r"(?<![\w/:])[0-9]{1,2}\s?(?:[&-]\s?[0-9]{1,2}|&)(?![\w/:])")

_SIDES = {"right": "R", "left": "L", "r": "R", "l": "L", "rf": "R", "lf": "L"}
_SIDE = r"(?:right|left|r|l)\b"
_SIZE = r"(?:(?:[1-3]\s+)?[1-7]/[248]|[1-3]?\s?[½¼¾⅛⅜⅝⅞])"
_SIZE_WORDS = {
    "full": "full", "half": "1/2", "quarter": "1/4", "three quarter": "3/4", "eighth": "1/8",
}  # fmt: skip
_WORD_SIZE = r"(?:full|half|three[- ]quarters?|quarter|eighth)"
_TURNING = r"(?:turn(?:s|ed|ing)?|pivot(?:s|ing)?|spin|unwind|monterey|paddle)"
_TO = r"(?:(?:to|over)\s+(?:the\s+|your\s+)?)?"
_TURN = re.compile(
    rf"(?:(?P<verb>{_TURNING})\s+(?:an?\s+)?(?:{_TO}(?P<early>{_SIDE})\s+)?)?"
    rf"(?<![\w/:])(?P<size>{_SIZE}|{_WORD_SIZE})(?![\w/:])"
    rf"(?:[\s-]+(?P<noun>{_TURNING}))?(?:\s+{_TO}(?P<side>{_SIDE}))?",
    re.IGNORECASE,
)
_SAYS_TURN = re.compile(rf"\b{_TURNING}\b", re.IGNORECASE)
_FACING = re.compile(
    r"[(\[,;-]?\s*(?:(?:now\s+)?(?:facing|faces?|face|end(?:ing)?\s+facing)\s*:?\s*)?"
    r"(?P<clock>[0-9]{1,2}(?::[0-9]{2}|\s*o['’]?\s?clock))(?:\s*wall)?\s*[)\]]?\s*\.?$",
    re.IGNORECASE,
)

_LISTED = re.compile(
    r"(?<![\w/])(?:(?:right|left)(?:[\s,/&-]+(?:right|left|r|l)\b)+|[RLB](?:\s*[,/& -]\s*[RLB])+"
    r"|[RLB]{2,})(?!\w)",
    re.IGNORECASE,
)
_WAY_AND_LETTERS = re.compile(
    r"(?:right|left)[\s-]+(?P<letters>[rl](?:[\s,/&-]+[rl])+)", re.IGNORECASE
)
_PIECES = re.compile(r"\s*(?:[,;&/+]|\band\b|\bthen\b)\s*", re.IGNORECASE)
_LIFTED_WORDS = frozenset(
    ("touch", "tap", "point", "kick", "hitch", "scuff", "brush", "hook", "flick", "hold", "clap",
     "pause")
)  # fmt: skip
_OPEN_WORDS = frozenset(  # steps of several moves, or whose weight a sheet has to tell
    ("dig", "drag", "sweep", "switch", "bump", "swivel", "twist", "split", "jack", "change")
)  # fmt: skip
_NO_WEIGHT_WORDS = _LIFTED_WORDS | _OPEN_WORDS
_WAYS = frozenset(("forward", "back"))
_WEIGHT_WORDS = frozenset(
    ("step", "walk", "run", "cross", "behind", "side", "rock", "recover", "replace", "close",
     "together", "back", "forward", "stomp", "out", "in", "home", "lock", "ball", "pivot")
)  # fmt: skip
_OTHER_FOOT_WORDS = frozenset(("recover", "replace", "pivot"))  # of the one before
_LEADS = frozenset(
    ("walk", "shuffle", "chasse", "lock step", "coaster", "forward coaster", "sailor", "anchor",
     "mambo", "rock recover", "side rock", "rocking chair", "waltz basic", "balance",
     "cha cha cha", "stomp", "rock")
)  # fmt: skip
_ENDS_FREE = frozenset(
    ("step touch", "side touch", "vine touch", "vine scuff", "vine hitch", "vine brush",
     "rolling vine touch")
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class TypedStep:
    """What a typed line says: cells of a step line, and the facing it ends with or ""."""

    counts: str
    step: str
    feet: str = ""
    turn: str = ""
    facing: str = ""

    @property
    def row(self) -> str:
        """The step line of a routine file."""
        cells = (self.counts, self.step.replace("|", "/"), self.feet, self.turn)
        return " | ".join(cells).rstrip(" |")


def plain(text: str) -> str:
    """Give `text` with one dash, one space and one ``&`` for all that look alike."""
    return text.translate(_ALIKE)


def split_counts(text: str) -> tuple[str, str]:
    """Cut the counts off the front of a line, or off its end if they stand there in brackets.

    Returns
    -------
    counts : str
        As a step line takes them (``1-2``, ``3&4``); "" if none stand there.
    rest : str
    """
    begin = _TITLED.match(text)
    start = begin.end() if begin else 0
    end = _scan_counts(text, start)
    if end > start and (stop := _ENDS.match(text, end)):
        return _tidy(text[start:end]), text[stop.end() :].strip()
    if match := _COUNTS_AT_END.search(text):
        return _tidy(match["counts"]), text[: match.start()].strip()
    return "", text


def _scan_counts(text: str, start: int) -> int:
    """Find the end of the counts that begin at `start`; `start` if none do."""
    match = _FIRST.match(text, start)
    if match is None:
        return start
    end, last = match.end(), int(match["number"])
    while match := _NEXT.match(text, end):
        number = int(match["number"])
        runs_on = number == last + 1 or match["between"].strip()
        if number <= last or not runs_on:
            break  # a number among the words
        end, last = match.end(), number
    sign = _LAST_SIGN.match(text, end)
    return sign.end() if sign else end


def _tidy(counts: str) -> str:
    """Write counts as step lines do: ``1-2-3-4`` is ``1-4``, ``1 and 2`` is ``1&2``."""
    text = re.sub(r"\s*(?:&|\band\b)\s*", "&", counts.strip().lower())
    text = re.sub(r"\s*-\s*", "-", text)
    return re.sub(r"([0-9]+)(?:-[0-9]+)+(-[0-9]+)", r"\1\2", text).strip(" ,-")


def read_typed_step(counts: str, words: str) -> TypedStep:
    """Read the words that stand behind the counts of a line.

    Raises
    ------
    ParameterError
        With what is not understood, and how to write it.
    """
    moments = parse_counts(counts)
    facing = ""
    if match := _FACING.search(words):
        facing = match["clock"].lower()
        facing_from_clock(facing)
        words = words[: match.start()]
    name = one_line(words).strip(" ,;:-.")
    if not name:
        raise ParameterError("no step stands behind the counts; name it, a hold too")
    if _MORE_COUNTS.search(name):
        raise ParameterError("there are several counts on this line; give each a line of its own")
    turn, without_turn = _read_turn(name)
    name, feet = _read_feet(name, without_turn, len(moments))
    return TypedStep(counts=counts, step=name, feet=feet, turn=turn, facing=facing)


def _read_turn(words: str) -> tuple[str, str]:
    """Add up the turns that the words name, and give the words without them."""
    degrees = 0
    rest = words
    for match in _TURN.finditer(words):
        by_word = match["size"].lower().replace("-", " ").rstrip("s")
        if by_word in _SIZE_WORDS and not (match["verb"] or match["noun"]):
            continue  # "half rumba box"
        side = match["side"] or match["early"]
        if side is None:
            said = match[0].strip()
            raise ParameterError(f"the turn {said} has no direction; write {said} left or right")
        degrees += parse_turn(f"{_SIZE_WORDS.get(by_word, match['size'])} {_SIDES[side.lower()]}")
        pivots = "pivot" in match[0].lower()
        rest = rest.replace(match[0], " pivot " if pivots else " ", 1)
    if rest == words and _SAYS_TURN.search(words) and not re.search(r"\bno turn", words.lower()):
        raise ParameterError("it says turn, but not how far; write it as in 1/4 turn left")
    return (format_turn(degrees) if degrees else ""), rest


def _read_feet(name: str, words: str, n_moments: int) -> tuple[str, str]:
    """Give the name without a list of feet, and the feet; "" where the words leave them open."""
    says = _said(words)
    if (match := _LISTED.search(words)) and not says & _NO_WEIGHT_WORDS:
        way = _WAY_AND_LETTERS.fullmatch(match[0])  # "chasse left L R L": the word is the way
        for listed in (match[0], way["letters"]) if way else (match[0],):
            signs = "".join(
                re.findall(r"[rlb]", re.sub("right", "r", re.sub("left", "l", listed.lower())))
            )
            if len(signs) != n_moments:
                continue
            short = one_line(name.replace(listed, " ", 1))
            short = re.sub(r"[(\[]\s*[)\]]", "", short).strip(" ,;:-.") or name
            return short, " ".join(parse_feet(signs, n_moments))
    signs_found = _feet_by_piece(words, n_moments) or _feet_by_lead(words, n_moments)
    return name, " ".join(signs_found)


def _said(text: str) -> set[str]:
    """List the words of a text, and what they may be the plural of."""
    endings = ("", "s", "es")
    words = re.findall(r"[a-z]+", text.lower())
    return {word.removesuffix(ending) for word in words for ending in endings}


def _is_lifted(said: set[str]) -> bool:
    """Tell whether words name only what takes no weight, however often."""
    return bool(said & _LIFTED_WORDS) and not said & (_WEIGHT_WORDS | _OPEN_WORDS) - _WAYS


def _feet_by_piece(words: str, n_moments: int) -> tuple[str, ...]:
    """Read one foot for each moment: ``rock forward right, recover left``."""
    pieces = [piece for piece in _PIECES.split(words) if piece.strip()]
    if pieces and all(_is_lifted(_said(piece)) for piece in pieces):
        return (NO_WEIGHT,) * n_moments
    if len(pieces) != n_moments:
        return ()
    signs: list[str] = []
    for piece in pieces:
        said = _said(piece)
        sides = [_SIDES[w] for w in re.findall(r"[a-z]+", piece.lower()) if w in _SIDES]
        if _NO_WEIGHT_WORDS & said:
            signs.append(NO_WEIGHT)
        elif not _WEIGHT_WORDS & said:
            return ()
        elif sides:
            signs.append(sides[0])
        elif signs and signs[-1] in ("R", "L") and _OTHER_FOOT_WORDS & said:
            signs.append(OTHER[signs[-1]])
        else:
            return ()
    return tuple(signs)


def _feet_by_lead(words: str, n_moments: int) -> tuple[str, ...]:
    """Read the feet of a step of the trade that names the foot it begins with."""
    sides = [_SIDES[word] for word in re.findall(r"[a-z]+", words.lower()) if word in _SIDES]
    pattern = plain_pattern(words)
    if len(sides) != 1 or pattern is None:
        return ()
    lead = sides[0]
    steps = tuple(islice(cycle((lead, OTHER[lead])), n_moments))
    if pattern.name == "kick ball change" and n_moments == 3:
        return (NO_WEIGHT, *steps[:2])
    if pattern.name in _ENDS_FREE:
        return (*steps[:-1], NO_WEIGHT) if n_moments in (2, 4) else ()
    changes = {number for _, numbers in pattern.usual for number in numbers}
    walks = pattern.name in ("walk", "stomp", "rock")
    if pattern.name in _LEADS and (walks or n_moments in changes):
        return steps
    return ()
