"""What a person wishes of an evening: the fields of `EveningRequest` in words for a form.

The rooms name the options of the command line in what they say; `plainly` puts the names
of the form in their place.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from phrasefit.errors import ParameterError, shown
from phrasefit.evening.evening import BOUNDS, EveningRequest, place_and_word
from phrasefit.fields import Fields
from phrasefit.meters import TEMPO_RANGE

USUAL_MINUTES = 60.0
MOST_WORDS = 50  # of one wish


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """One field of `EveningRequest`: its label, what it means, whether it is often wanted.

    `kind` is ``number``, ``whole``, ``yes``, ``tempos``, ``words`` or ``places``.
    """

    field: str
    kind: str
    label: str
    about: str = ""
    often: bool = False


WISHES = (
    Wish(field="minutes", kind="number", label="Length", about="minutes in all", often=True),
    Wish(field="pause_s", kind="number", label="Pause", about="seconds between dances", often=True),
    Wish(field="teach_minutes", kind="number", label="Teaching",
         about="minutes for each routine taught", often=True),
    Wish(field="curve", kind="tempos", label="Tempo over the evening",
         about="counts a minute, as in 95, 120, 110", often=True),
    Wish(field="must", kind="words", label="Must be there",
         about="title, artist or routine, one a line"),
    Wish(field="never", kind="words", label="Must not be there",
         about="title, artist or routine, one a line"),
    Wish(field="fixed", kind="places", label="At a place of its own",
         about="place and title, artist or routine, as in 3 = waltz, one a line"),
    Wish(field="fast_cpm", kind="number", label="Fast from", about="counts a minute"),
    Wish(field="fast_in_a_row", kind="yes", label="Fast dances may follow each other"),
    Wish(field="alternate", kind="yes", label="Fast and slow by turns, without exception"),
    Wish(field="beginner_every", kind="whole", label="One for beginners among",
         about="so many dances in a row; 0: does not matter"),
    Wish(field="beginner_share", kind="number", label="Share for beginners",
         about="of all dances, 0 to 1"),
    Wish(field="artist_gap", kind="whole", label="Gap between songs of one artist",
         about="so many other dances"),
    Wish(field="rhythm_gap", kind="whole", label="Gap between dances of one rhythm",
         about="so many other dances"),
    Wish(field="repeats", kind="whole", label="Times for one routine",
         about="so often it may be danced"),
    Wish(field="repeat_gap", kind="whole", label="Gap between two of one routine",
         about="so many other dances"),
    Wish(field="min_score", kind="number", label="Least fit",
         about="of 100; pairs that fit worse are left out"),
    Wish(field="min_length_s", kind="number", label="Shortest song",
         about="seconds; shorter ones are left out"),
    Wish(field="seed", kind="whole", label="Another evening",
         about="another number, another evening as good"),
)  # fmt: skip
_OPTIONS = {"min-score": "min_score", "min-length": "min_length_s", "repeats": "repeats"}
_LABELS = {wish.field: wish.label for wish in WISHES}


def usual() -> dict[str, Any]:
    """Give the wishes of a new evening."""
    return document_of(EveningRequest(minutes=USUAL_MINUTES))


def form() -> list[dict[str, Any]]:
    """Describe the form, with the bounds of its numbers."""
    return [{**dataclasses.asdict(w), "bounds": BOUNDS.get(w.field)} for w in WISHES]


def document_of(request: EveningRequest) -> dict[str, Any]:
    """Lay out wishes as they are kept and shown."""
    values = {wish.field: getattr(request, wish.field) for wish in WISHES}
    return values | {
        "curve": list(request.curve),
        "must": list(request.must),
        "never": list(request.never),
        "fixed": [f"{place} = {word}" for place, word in request.fixed],
        "teach": list(request.teach),
    }


def read_wishes(sent: dict[str, Any]) -> EveningRequest:
    """Read wishes that a page sent or the store has kept; what is missing is as usual.

    Raises
    ------
    PhrasefitError
        If one is out of its bounds; named as in the form.
    """
    given = usual() | sent
    values: dict[str, Any] = {}
    named = Fields("the wishes", {wish.label: given[wish.field] for wish in WISHES})
    for wish in WISHES:
        values[wish.field] = _read(named, wish)
    values["teach"] = _words(Fields("the wishes", {"routines taught": given["teach"]}).texts(
        "routines taught", most=MOST_WORDS
    ))  # fmt: skip
    return EveningRequest(**values)


def _read(given: Fields, wish: Wish) -> Any:
    low, high = BOUNDS.get(wish.field, (0, 0))
    if wish.kind == "whole":
        return given.whole(wish.label, low=low, high=high)
    if wish.kind == "number":
        return given.number(wish.label, low=low, high=high)
    if wish.kind == "yes":
        return given.values[wish.label] is True
    if wish.kind == "tempos":
        slow, fast = TEMPO_RANGE
        return given.numbers(wish.label, low=slow, high=fast, most=MOST_WORDS)
    texts = _words(given.texts(wish.label, most=MOST_WORDS))
    return texts if wish.kind == "words" else tuple(map(_place, texts))


def _words(texts: Sequence[str]) -> tuple[str, ...]:
    return tuple(text.strip() for text in texts if text.strip())


def _place(text: str) -> tuple[int, str]:
    fixed = place_and_word(text)
    if fixed is None:
        raise ParameterError(f"{shown(text)} is no place; write the place and a word: 3 = waltz")
    return fixed


def plainly(words: str) -> str:
    """Name the wishes as the form does, where a room names options of the command line.

    Examples
    --------
    >>> plainly("add songs, or lower --min-score")
    'add songs, or lower "Least fit"'
    """
    names = "|".join(_OPTIONS)

    def label(match: re.Match[str]) -> str:
        number = f" at {match[2]}" if match[2] else ""
        return f'"{_LABELS[_OPTIONS[match[1]]]}"{number}'

    return re.sub(rf"--({names})\b(?: (\d+))?", label, words)
