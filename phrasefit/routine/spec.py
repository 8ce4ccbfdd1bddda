'''The routine file: its format, its reader, and routines from bare numbers.

A routine file is text in TOML, saved as UTF-8; names may use any language's letters::

    name = "My Routine"
    counts = 32
    walls = 4
    steps = """
    1-2  | walk forward      | R L   |
    3&4  | shuffle forward   | R L R |
    5-6  | pivot             | L R   | 1/4 R
    7-8  | stomp, hold       | L .   |
    -- the second section
    ...
    """

**Step lines** read ``counts | step | feet | turn``.

* *counts*: ``1``, ``1-2``, ``3&4``, ``&5``, ``7&8&``, ``1&a2`` (see `counts`).  Numbers
  run on through the part (9, 10 … 32) or begin again at 1 with every section of 8
  (waltz: 6).  Every count is written once, a pause too: ``4 | hold``.
* *step*: your words; names of the common steps (see `vocabulary`) are checked.
* *feet*: for each moment of the counts who takes weight: ``R``, ``L``, ``B`` (both) or
  ``.`` (nobody: touch, kick, hitch, hold).  Leave the column out on every line if you
  do not want feet checked.
* *turn*: ``1/4 L``, ``1/2 R``, ``3/4 L``, ``full R``, ``1/8 L``, or nothing.  A turn counts
  as done with the last count of its line.
* Empty lines and ``# remarks`` are skipped; ``-- headings`` go on the step sheet.
  ``facing 3:00`` states where everyone should look by then (12:00 = where the part
  began), and is checked.

**Keys**, all optional but ``counts`` (or ``steps``) and, where no steps are given, ``walls``:

==============  =================================================================
``name``        what the routine is called
``by``          who made it
``level``       absolute beginner, beginner, improver, intermediate, advanced …
``counts``      counts of one repetition
``walls``       1, 2 or 4 (3 and 8 exist); checked against the turns
``rhythm``      ``"4/4"`` (also 2/4, 6/8, 12/8 as counted) or ``"waltz"`` (3/4)
``swing``       ``"straight"``, ``"shuffle"`` or where ``&`` sounds, 0.5 to 0.75
``tempo``       slowest and fastest in counts a minute: ``[100, 125]``
``foot``        foot that begins: ``"R"`` or ``"L"``
``intro``       counts to wait before count 1
``restarts``    ``"any"`` (whole bars), ``"none"`` or a list: ``[16]``
``tags``        ``"any"`` (the usual lengths, 1, 3 or 5 counts where the song has an odd
                bar), ``"none"``, a list ``[4, 8]`` or tables
``notes``       a text or a list of texts
``turn``        turn of one repetition where no steps are given: ``"1/4 L"``
``steps``       the step lines
==============  =================================================================

A tag with steps of its own is a table, and may turn::

    [[tags]]
    name = "look round"
    counts = 4
    steps = """
    1-4 | paddle turn | R L R L | 1/2 L
    """

A **phrased** routine has parts with their own counts, and the order they are danced in;
``counts``, ``turn``, ``steps`` and ``restarts`` then belong to the parts::

    name = "Two Lanterns"
    sequence = "A A B A A B B"

    [parts.A]
    counts = 32
    steps = """ … """

    [parts.B]
    counts = 16
    restarts = "none"
    steps = """ … """
'''

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from phrasefit.errors import RoutineError, shown
from phrasefit.meters import TEMPO_RANGE
from phrasefit.model import Finding, Part, Routine, one_line
from phrasefit.routine import dancer_state
from phrasefit.routine.consistency import repeat_findings, wall_findings
from phrasefit.routine.counts import STRAIGHT, TRIPLET_SWING
from phrasefit.routine.feet import FOOT_WORDS, parse_foot
from phrasefit.routine.from_numbers import (
    ASSUMED_FEET,
    ASSUMED_FIRST_FOOT,
    ASSUMED_PLACE,
    TURN_OF_WALLS,
    assumed_turn,
    routine_from_numbers,
)
from phrasefit.routine.key_reader import KeyReader
from phrasefit.routine.part_reader import (
    ONLY_PART,
    PART_KEYS,
    Block,
    add_restart_points,
    build_part,
    check_weight,
    parse_rhythm,
    read_block,
    read_numbers,
    read_sequence,
    read_tags,
)
from phrasefit.routine.tags import any_tags_words
from phrasefit.routine.toml_lines import Source, parse_source, read_text
from phrasefit.routine.turns import FULL_TURN_DEG, wall_order, walls_from_turn

__all__ = ["Reading", "load_routine", "parse_routine", "read_routine", "routine_from_numbers"]

COMMON_KEYS = (
    "name", "by", "level", "walls", "rhythm", "swing", "tempo", "foot", "intro", "restarts",
    "tags", "notes",
)  # fmt: skip
PLAIN_KEYS = (*COMMON_KEYS, "counts", "turn", "steps", "sequence", "parts")
PHRASED_KEYS = (*COMMON_KEYS, "sequence", "parts")

SWINGS = {"straight": STRAIGHT, "shuffle": TRIPLET_SWING, "swung": TRIPLET_SWING}
MAX_INTRO_COUNTS = 512
MOST_PARTS = 50
MOST_PART_NAME = 40  # letters; a column of a sheet


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """A routine as its file stands, mistakes included, and all mistakes by line.

    `routine` and `source` are None if too little could be read.
    """

    routine: Routine | None = None
    findings: tuple[Finding, ...] = ()
    source: Source | None = None


def load_routine(path: Path | str) -> Routine:
    """Read a routine file that has no mistakes.

    Parameters
    ----------
    path : Path or str
        A TOML file, as the top of this module describes it.

    Returns
    -------
    Routine

    Raises
    ------
    RoutineError
        If the file cannot be read or contradicts itself: the first mistake with its
        line, and how many more `check.check_routine` would list.
    """
    return parse_routine(read_text(path), str(path))


def parse_routine(text: str, path: str = "") -> Routine:
    """Read the text of a routine file; `path` is only for messages and the name.

    Raises
    ------
    RoutineError
        As `load_routine`.
    """
    reading = read_routine(text, path)
    errors = reading.findings
    if errors or reading.routine is None:
        more = f" (and {len(errors) - 1} more, see phrasefit check)" if len(errors) > 1 else ""
        first = errors[0]
        raise RoutineError(f"line {first.line}: {first.message}{more}", where=path or "routine")
    return reading.routine


def read_routine(text: str, path: str = "") -> Reading:
    """Read a routine and all contradictions in it; `check.check_routine` adds warnings."""
    source, findings = parse_source(text)
    if source is None:
        return Reading(findings=findings)
    collected: list[Finding] = []
    routine = _build(KeyReader(source, source.data, (), collected))
    if routine is not None and not routine.name:
        routine = replace(routine, name=Path(path).stem or "routine without a name")
    by_line = sorted(collected, key=lambda finding: finding.line)
    return Reading(routine=routine, findings=tuple(by_line), source=source)


def _build(top: KeyReader) -> Routine | None:
    """Put the routine together from the keys of a file."""
    phrased = "parts" in top.table
    top.refuse_unknown(PHRASED_KEYS if phrased else PLAIN_KEYS)
    meter = top.parsed("rhythm", parse_rhythm, 4)
    named_blocks = _read_parts(top, meter) if phrased else _read_only_part(top, meter)
    declared_walls = top.whole("walls", 1, 8)
    declared_foot = top.parsed("foot", parse_foot, "")
    sequence = read_sequence(top, tuple(named_blocks))
    if not named_blocks:
        return None
    assumed: list[str] = []
    parts = [build_part(name, block) for name, block in named_blocks.items()]
    first = sequence[0] if sequence else parts[0].name
    for name, block in named_blocks.items():
        check_weight(block, declared_foot if name == first else "")
    if not phrased and not parts[0].steps:
        if named_blocks[ONLY_PART].turn_deg is None:
            parts, declared_walls = [_turn_from_walls(top, parts[0], declared_walls, assumed)], None
        assumed += [ASSUMED_PLACE] if parts[0].turn_deg else []
    foot = declared_foot or dancer_state.starting_foot(
        next(part for part in parts if part.name == first)
    )
    parts = _with_restarts(top, parts, named_blocks, foot, meter)
    known = all(block.turns_known for block in named_blocks.values())
    walls = _walls(top, parts, sequence, declared_walls if known else None)
    assumed += _assumptions(top, parts, foot, declared_foot, meter)
    tags, odd_bar_tags = read_tags(top, foot, meter)
    return Routine(
        name=top.text("name"),
        parts=tuple(parts),
        walls=walls,
        meter=meter,
        sequence=sequence,
        tags=tags,
        odd_bar_tags=odd_bar_tags,
        by=top.text("by"),
        level=top.text("level"),
        tempo_bpm=_read_tempo(top),
        swing=_read_swing(top),
        starting_foot=foot,
        intro_counts=top.whole("intro", 0, MAX_INTRO_COUNTS),
        notes=top.texts("notes"),
        assumed=tuple(assumed),
    )


# --------------------------------------------------------------------- parts


def _read_only_part(top: KeyReader, meter: int) -> dict[str, Block]:
    """Read the one part of an ordinary routine, which stands at the top of the file."""
    block = read_block(top, meter)
    if block and block.sheet.counts_read:
        top.findings.extend(repeat_findings(block.sheet.steps, block.counts))
    return {ONLY_PART: block} if block else {}


def _read_parts(top: KeyReader, meter: int) -> dict[str, Block]:
    """Read the ``[parts.X]`` tables of a phrased routine."""
    tables = top.table["parts"]
    if not isinstance(tables, Mapping) or not tables:
        top.complain("parts", "parts are tables; write [parts.A] and below it its counts, steps")
        return {}
    if len(tables) > MOST_PARTS:
        top.complain("parts", f"there are {len(tables)} parts; {MOST_PARTS} are the most")
        return {}
    named = {}
    for name, table in tables.items():
        if not isinstance(table, Mapping):
            top.complain("parts", f"part {shown(name)} must be a table; write [parts.A]")
            continue
        if name != one_line(name) or not 0 < len(name) <= MOST_PART_NAME:
            top.complain(
                "parts",
                f"a part is called {shown(name)}; give it a name of 1 to {MOST_PART_NAME} letters"
                " on one line",
            )
            continue
        reader = KeyReader(top.source, table, ("parts", name), top.findings)
        reader.refuse_unknown(PART_KEYS)
        if block := read_block(reader, meter):
            named[name] = block
    return named if len(named) == len(tables) else {}


def _with_restarts(
    top: KeyReader, parts: list[Part], named_blocks: dict[str, Block], foot: str, meter: int
) -> list[Part]:
    """Work out the restart points; a part's own rule goes before the routine's."""
    built = []
    longest = max(part.counts for part in parts)
    for part in parts:
        own = named_blocks[part.name].reader
        reader = own if "restarts" in own.table else top
        # Each part begins again with its own foot: in a phrased routine B may begin left.
        part_foot = dancer_state.starting_foot(part) or foot
        allowed = read_numbers(reader, "restarts")
        if allowed and reader is top and part.counts < longest:
            # A rule for all parts may name counts that only the longer ones have.
            allowed = tuple(after for after in allowed if after < part.counts)
        built.append(add_restart_points(part, reader, allowed, part_foot, meter))
    return built


# --------------------------------------------------------------------- walls


def _turn_from_walls(top: KeyReader, part: Part, walls: int | None, assumed: list[str]) -> Part:
    """Take the turn of a routine without steps from its number of walls."""
    if "walls" not in top.table:
        top.complain("walls", "without steps the number of walls is needed; write walls = 4")
    elif walls is not None and walls not in TURN_OF_WALLS:
        top.complain("walls", f"walls = {walls} do not come from equal turns; write 1, 2 or 4")
    turn = TURN_OF_WALLS.get(walls or 1, 0)
    assumed.append(assumed_turn(turn))
    return replace(part, turn_deg=turn)


def _walls(
    top: KeyReader, parts: list[Part], sequence: tuple[str, ...], declared: int | None
) -> int:
    """Give the number of walls from the turns, and complain if the file contradicts it."""
    if not sequence:
        turn = parts[0].turn_deg
        top.findings.extend(wall_findings(turn, declared, top.line("walls")))
        return walls_from_turn(turn)
    once, repeated = _phrased_walls(parts, sequence)
    if declared in (once, repeated):
        return declared
    if declared is not None:
        top.complain(
            "walls",
            f"the file says walls = {declared}, but the parts of the sequence begin on"
            f" {once} (danced once; {repeated} if repeated); correct a turn or the number",
        )
    return repeated


def _phrased_walls(parts: list[Part], sequence: tuple[str, ...]) -> tuple[int, int]:
    """Count the directions on which parts begin: sequence danced once, and repeated."""
    turns = {part.name: part.turn_deg for part in parts}
    facing = 0
    begins = []
    for name in sequence:
        begins.append(facing % FULL_TURN_DEG)
        facing += turns[name]
    repeated = {(begin + wall) % FULL_TURN_DEG for begin in begins for wall in wall_order(facing)}
    return len(set(begins)), len(repeated)


# ---------------------------------------------------------------- other keys


def _read_tempo(top: KeyReader) -> tuple[float, float] | None:
    """Read the tempo range in counts a minute: two numbers, or one for both."""
    value = top.table.get("tempo")
    if value is None:
        return None
    pair = value if isinstance(value, list) else [value, value]
    numbers = [number for number in pair if type(number) in (int, float)]
    low, high = TEMPO_RANGE
    if len(pair) == 2 and len(numbers) == 2 and low <= numbers[0] <= numbers[1] <= high:
        return float(numbers[0]), float(numbers[1])
    top.complain(
        "tempo",
        "tempo is not understood; write the slowest and the fastest in counts a minute,"
        " as in tempo = [100, 125]",
    )
    return None


def _read_swing(top: KeyReader) -> float:
    """Read the swing: a word, or where ``&`` sounds in its count."""
    value = top.table.get("swing", STRAIGHT)
    if isinstance(value, str) and value.lower() in SWINGS:
        return SWINGS[value.lower()]
    if type(value) in (int, float) and STRAIGHT <= value <= 0.75:
        return float(value)
    top.complain(
        "swing", 'swing is not understood; write "straight", "shuffle" or a number 0.5 to 0.75'
    )
    return STRAIGHT


def _assumptions(
    top: KeyReader, parts: Sequence[Part], foot: str, declared_foot: str, meter: int
) -> list[str]:
    """Say in plain words what the file left open."""
    said = []
    phrased = "parts" in top.table
    if foot and not declared_foot:
        said.append(f"the routine begins on the {FOOT_WORDS[foot]}, the first that takes weight")
    if not foot and any(part.restart_points for part in parts):
        states_feet = any(step.feet for part in parts for step in part.steps)
        said.append(ASSUMED_FIRST_FOOT if states_feet else ASSUMED_FEET)
    if "counts" not in top.table and not phrased:
        said.append(f"one repetition has {parts[0].counts} counts, as the steps end there")
    limited = [top.source.data["parts"][part.name] for part in parts] if phrased else []
    if "restarts" not in top.table and not (limited and all("restarts" in t for t in limited)):
        said.append("a restart may come after any whole bar (restarts are not limited)")
    if "tags" not in top.table:
        said.append(any_tags_words(meter))
    return said
