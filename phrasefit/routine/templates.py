"""What a new routine starts from: whole routines of the usual sizes, made of plain steps.

Each is right as it stands, so that the first change shows what it does.  All invented.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from phrasefit.errors import ParameterError
from phrasefit.routine.form import read_form, write_form

DEFAULT = "32-4"


@dataclass(frozen=True, slots=True, kw_only=True)
class Template:
    """A routine file to start from; `title` says its size."""

    title: str
    text: str


_HEAD = '''\
name = "New routine"
by = ""
level = "{level}"
counts = {counts}
walls = {walls}
rhythm = "4/4"
tempo = [96, 124]  # slowest and fastest, in counts a minute
foot = "R"         # the foot that begins
intro = 16         # counts to wait before count 1
restarts = "any"   # or "none", or after which counts, as in [16]
tags = "any"       # or "none", or how many counts, as in [4]

steps = """
{steps}"""
'''

_VINES = """\
-- {}
1-4 | vine right, touch     | R L R .   |
5-8 | vine left, touch      | L R L .   |
"""
_ROCKS = """\
-- {}
1-4 | rocking chair         | R L R L   |
5-6 | step touch            | R .       |
7-8 | step touch            | L .       |
"""
_TURN = """\
-- {}
1-2 | walk forward          | R L       |
3&4 | shuffle forward       | R L R     |
5-6 | rock forward, recover | L R       |
7&8 | coaster               | L R L     |
"""
_BOX = """\
-- {}
1-4 | jazz box              | R L R L   | 1/4 R
5-8 | sway right, left, right, left | R L R L |
"""
_PIVOT = """\
-- {}
1-2 | pivot                 | R L       | 1/2 L
3-4 | walk forward          | R L       |
5-8 | rocking chair         | R L R L   |
"""


def _fours(*sections: str, counts: int, walls: int, level: str) -> str:
    steps = "".join(
        section.format(f"{8 * n + 1}-{8 * n + 8}") for n, section in enumerate(sections)
    )
    return _HEAD.format(counts=counts, walls=walls, level=level, steps=steps)


_WALTZ = '''\
name = "New routine"
by = ""
level = "beginner"
counts = 48
walls = 4
rhythm = "waltz"
tempo = [84, 108]  # slowest and fastest, in counts a minute
foot = "L"         # the foot that begins
intro = 24         # counts to wait before count 1
restarts = "any"   # or "none", or after which counts, as in [24]
tags = "any"       # or "none", or how many counts, as in [6]

steps = """
-- 1-6
1-3 | waltz basic forward | L R L |
4-6 | waltz basic back    | R L R |
-- 7-12
1-3 | twinkle             | L R L |
4-6 | twinkle             | R L R |
-- 13-18
1-3 | waltz basic forward | L R L | 1/4 L
4-6 | waltz basic back    | R L R |
-- 19-24
1-3 | balance left        | L R L |
4-6 | balance right       | R L R |
-- 25-30
1-6 | weave to the right  | L R L R L R |
-- 31-36
1-3 | twinkle             | L R L |
4-6 | twinkle             | R L R |
-- 37-42
1-3 | waltz basic forward | L R L |
4-6 | waltz basic back    | R L R |
-- 43-48
1-3 | balance left        | L R L |
4-6 | balance right       | R L R |
"""
'''

_PHRASED = '''\
name = "New routine"
by = ""
level = "improver"
walls = 2
rhythm = "4/4"
tempo = [96, 124]  # slowest and fastest, in counts a minute
foot = "R"         # the foot that begins
intro = 16         # counts to wait before count 1
sequence = "A A B A A B B"
tags = "none"

[parts.A]
counts = 32
restarts = "any"   # or "none", or after which counts, as in [16]
steps = """
{a}"""

[parts.B]
counts = 16
restarts = "none"
steps = """
{b}"""
'''


def _phrased() -> str:
    a = "".join(
        section.format(f"{8 * n + 1}-{8 * n + 8}")
        for n, section in enumerate((_VINES, _TURN, _PIVOT, _ROCKS))
    )
    b = _ROCKS.format("1-8") + _VINES.format("9-16")
    return _PHRASED.format(a=a, b=b)


TEMPLATES: dict[str, Template] = {
    "32-4": Template(
        title="32 counts, 4 walls",
        text=_fours(_VINES, _TURN, _BOX, _ROCKS, counts=32, walls=4, level="beginner"),
    ),
    "32-2": Template(
        title="32 counts, 2 walls",
        text=_fours(_VINES, _TURN, _PIVOT, _ROCKS, counts=32, walls=2, level="beginner"),
    ),
    "16-2": Template(
        title="16 counts, 2 walls",
        text=_fours(_VINES, _PIVOT, counts=16, walls=2, level="beginner"),
    ),
    "64-2": Template(
        title="64 counts, 2 walls",
        text=_fours(*(_VINES, _TURN, _BOX, _ROCKS) * 2, counts=64, walls=2, level="improver"),
    ),
    "waltz": Template(title="waltz, 48 counts, 4 walls", text=_WALTZ),
    "phrased": Template(title="phrased: parts A and B in the order of a song", text=_phrased()),
}


def from_template(key: str, *, name: str) -> str:
    """Give the text of a new routine file.

    Parameters
    ----------
    key : str
        One of `TEMPLATES`.
    name : str
        What the routine is called.

    Raises
    ------
    ParameterError
        If there is no such template; lists those there are.
    """
    template = TEMPLATES.get(key)
    if template is None:
        known = "; ".join(f"{known} ({one.title})" for known, one in TEMPLATES.items())
        raise ParameterError(f"template={key} is not known; there are {known}")
    return named(template.text, name)


def named(text: str, name: str) -> str:
    """Give a routine file another name."""
    head, *others = read_form(text)
    return write_form(text, [replace(head, fields={**head.fields, "name": name}), *others])
