"""A routine file as a form: fields and step lines that a person changes one by one.

`read_form` lays a file out; `write_form` puts a changed form back into the same text and
touches only what was changed: comments, order, spaces and keys that mean nothing here stay
as they are (tomlkit keeps them).  All fields are texts as a person types them, so that a
slip can be kept, shown and checked like any other.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, MutableMapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from phrasefit.errors import RoutineError, shown
from phrasefit.model import one_line
from phrasefit.routine.step_lines import HEADING_SIGNS
from phrasefit.routine.toml_lines import parse_source
from phrasefit.routine.written import steps_value

HEAD = "routine"  # kinds of blocks
PART = "part"
TAG = "tag"

# How a field is typed.
WHOLE, WORDS, WORDS_OR_NUMBER, RANGE, NUMBERS, LINES, ORDER = range(7)
FIELDS = {
    HEAD: {
        "name": WORDS, "by": WORDS, "level": WORDS, "counts": WHOLE, "walls": WHOLE,
        "rhythm": WORDS, "swing": WORDS_OR_NUMBER, "tempo": RANGE, "foot": WORDS, "intro": WHOLE,
        "turn": WORDS, "restarts": NUMBERS, "tags": NUMBERS, "sequence": ORDER, "notes": LINES,
    },
    PART: {"counts": WHOLE, "turn": WORDS, "restarts": NUMBERS},
    TAG: {"name": WORDS, "counts": WHOLE, "turn": WORDS},
}  # fmt: skip
_TEMPO = re.compile(r"[0-9.]+(?:\s*(?:to|-|–|,)\s*[0-9.]+)?", re.IGNORECASE)
STEP_CELLS = ("counts", "step", "feet", "turn")
MOST_BLOCKS = 120


Place = tuple[str | int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FormLine:
    """One line of steps.

    `kind` is ``step`` (then `cells` are counts, step, feet, turn), or ``heading``,
    ``facing``, ``other`` (then `text` is what it says).  `was` is the line of the file it
    came from; None for a new one.
    """

    kind: str
    cells: tuple[str, str, str, str] = ("", "", "", "")
    text: str = ""
    was: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FormBlock:
    """The head of a routine, a part or a tag, with its step lines.

    `place` is where it stands in the file: () for the head, ("parts", name),
    ("tags", number); an empty one for a new part or tag.  `name` is that of a part.
    `lines` is None where no steps are written.
    """

    kind: str
    place: Place = ()
    name: str = ""
    fields: Mapping[str, str]
    lines: tuple[FormLine, ...] | None = None


Before = Mapping[Place, FormBlock]  # the blocks of the file as it was, by place

# --------------------------------------------------------------------- reading


def read_form(text: str) -> tuple[FormBlock, ...]:
    """Lay a routine file out as a form: the head, then parts, then tags with steps.

    Raises
    ------
    RoutineError
        If the text is no TOML; `check.check_routine` says on which line.
    """
    document = _document(text)
    blocks = [_read_block(HEAD, (), "", document)]
    parts = document.get("parts")
    if isinstance(parts, Mapping):
        for name, table in parts.items():
            if isinstance(table, Mapping):
                blocks.append(_read_block(PART, ("parts", str(name)), str(name), table))
    tags = document.get("tags")
    for number, table in enumerate(tags if isinstance(tags, list) else []):
        if isinstance(table, Mapping):
            blocks.append(_read_block(TAG, ("tags", number), "", table))
    return tuple(blocks)


def _document(text: str) -> Any:
    import tomlkit
    from tomlkit.exceptions import TOMLKitError

    try:
        return tomlkit.parse(text.removeprefix("\ufeff").replace("\r\n", "\n"))
    except (TOMLKitError, RecursionError, ValueError) as exc:
        raise RoutineError("this text is no routine file; mend the line that is marked") from exc


def _read_block(kind: str, place: Place, name: str, table: Mapping[str, Any]) -> FormBlock:
    fields = {key: _field_text(table.get(key), how) for key, how in FIELDS[kind].items()}
    return FormBlock(
        kind=kind, place=place, name=name, fields=fields, lines=_read_lines(table.get("steps"))
    )


def _field_text(value: Any, how: int) -> str:
    """Write a value of the file as a person types it; tables are left to their blocks."""
    if value is None or (isinstance(value, list) and any(isinstance(v, Mapping) for v in value)):
        return ""
    if isinstance(value, list):
        between = {LINES: "\n", RANGE: " to ", ORDER: " "}.get(how, ", ")
        return between.join(_plain(item) for item in value)
    return _plain(value)


def _plain(value: Any) -> str:
    if isinstance(value, str):
        return str(value)
    return (
        f"{value:g}"
        if isinstance(value, float)
        else shown(getattr(value, "unwrap", lambda: value)())
    )


def _read_lines(steps: Any) -> tuple[FormLine, ...] | None:
    if not isinstance(steps, str):
        return None
    lines = str(steps).split("\n")
    if lines and not lines[-1].strip():
        lines.pop()  # the closing quotes stand on a line of their own
    return tuple(read_line(line) for line in lines)


def read_line(line: str) -> FormLine:
    """Take one line of steps apart, as `step_lines` does."""
    text = line.strip()
    if text.startswith(HEADING_SIGNS):
        return FormLine(kind="heading", text=text.strip("-= "), was=line)
    if re.match(r"facing[\s:]", text, re.IGNORECASE):
        return FormLine(kind="facing", text=text[len("facing") :].strip(" :"), was=line)
    cells = [cell.strip() for cell in text.removeprefix("|").split("|")]
    while len(cells) > len(STEP_CELLS) and not cells[-1]:
        cells.pop()
    if text and not text.startswith("#") and len(cells) <= len(STEP_CELLS):
        counts, step, feet, turn = (*cells, "", "", "")[:4]
        return FormLine(kind="step", cells=(counts, step, feet, turn), was=line)
    return FormLine(kind="other", text=text, was=line)


# --------------------------------------------------------------------- writing


def write_form(text: str, blocks: Sequence[FormBlock]) -> str:
    """Put a form back into the text of the file it was read from.

    Parameters
    ----------
    text : str
        The file as it was; may be empty for a new one.
    blocks : sequence of FormBlock
        The head first.  Parts and tags of the file that are not among them are taken out.

    Returns
    -------
    str
        The text, changed only where the form was.

    Raises
    ------
    RoutineError
        If `text` is no TOML, or two parts have one name.
    """
    names = [block.name for block in blocks if block.kind == PART]
    if len(set(names)) < len(names) or not all(names):
        raise RoutineError("two parts have one name, or one has none; give each a name of its own")
    text = _with_names(text, {b.place[1]: b.name for b in blocks if b.place[:1] == ("parts",)})
    blocks = [
        replace(block, place=("parts", block.name)) if block.place[:1] == ("parts",) else block
        for block in blocks
    ]
    before = {block.place: block for block in read_form(text)}
    document = _document(text)
    for block in blocks:
        if block.kind == HEAD:
            _write_block(document, before[()], block)
    _write_parts(document, before, [block for block in blocks if block.kind == PART])
    _write_tags(document, before, [block for block in blocks if block.kind == TAG])
    import tomlkit

    written = tomlkit.dumps(document)
    return written.replace("\n", "\r\n") if "\r\n" in text else written


def _with_names(text: str, names: Mapping[str | int, str]) -> str:
    """Call the parts of a file otherwise: only their names change, where tables are headed.

    Raises
    ------
    RoutineError
        If a part is written in a way that cannot be told from other text.
    """
    import tomlkit

    new = {old: name for old, name in names.items() if old != name}
    source = parse_source(text)[0] if new else None
    if source is None:
        return text
    lines = text.split("\n")
    for path, number in source.key_lines.items():
        if path[:1] != ("parts",) or len(path) < 2 or path[1] not in new:
            continue
        old = re.escape(str(path[1]))
        key = tomlkit.key(new[path[1]]).as_string().replace("\\", r"\\")
        written = re.compile(rf"(?<![\w-])(?:\"{old}\"|'{old}'|{old})(?=\s*[].=])")
        lines[number - 1] = written.sub(key, lines[number - 1], count=1)
    renamed = "\n".join(lines)
    wanted = {str(new.get(name, name)): part for name, part in source.data["parts"].items()}
    now = parse_source(renamed)[0]
    if now is None or now.data != {**source.data, "parts": wanted}:
        parts = " and ".join(str(old) for old in new)
        raise RoutineError(f"part {parts} cannot be renamed here; do it in the file as text")
    return renamed


def _write_parts(
    document: Any, before: Mapping[Any, FormBlock], blocks: Sequence[FormBlock]
) -> None:
    import tomlkit

    kept = {block.place for block in blocks}
    for place in [place for place in before if place[:1] == ("parts",) and place not in kept]:
        del document["parts"][place[1]]
    for block in blocks:
        if block.place and block.place in before:
            _write_block(document["parts"][block.place[1]], before[block.place], block)
            continue
        if "parts" not in document:
            document["parts"] = tomlkit.table(is_super_table=True)
        table = tomlkit.table()
        _write_block(table, FormBlock(kind=PART, fields={}), block)
        document["parts"].append(block.name, table)
    if "parts" in document and not document["parts"]:
        del document["parts"]


def _write_tags(
    document: Any, before: Mapping[Any, FormBlock], blocks: Sequence[FormBlock]
) -> None:
    import tomlkit

    kept = {block.place for block in blocks}
    gone = [place[1] for place in before if place[:1] == ("tags",) and place not in kept]
    known = [block for block in blocks if block.place in before and block.place]
    for block in known:
        _write_block(document["tags"][block.place[1]], before[block.place], block)
    for number in sorted(gone, reverse=True):
        del document["tags"][number]
    if gone and not document["tags"]:
        del document["tags"]
    for block in blocks:
        if block in known:
            continue
        if not isinstance(document.get("tags"), list) or not _holds_tables(document["tags"]):
            document.pop("tags", None)
            document["tags"] = tomlkit.aot()
        table = tomlkit.table()
        _write_block(table, FormBlock(kind=TAG, fields={}), block)
        document["tags"].append(table)


def _holds_tables(value: Any) -> bool:
    return bool(value) and all(isinstance(item, Mapping) for item in value)


def _write_block(table: MutableMapping[str, Any], before: FormBlock, block: FormBlock) -> None:
    """Change the keys of one table whose field is another than it was."""
    import tomlkit

    for key, how in FIELDS[block.kind].items():
        text = block.fields.get(key, before.fields.get(key, ""))
        if text == before.fields.get(key, ""):
            continue
        if not text.strip():
            table.pop(key, None)
        elif not (key == "tags" and _holds_tables(table.get("tags"))):
            table[key] = _value(text, how, table.get(key))
    if block.lines == before.lines:
        return
    if block.lines is None:
        table.pop("steps", None)
        return
    rows = _written_lines(block.lines)
    table["steps"] = tomlkit.value(steps_value(rows))


def _value(text: str, how: int, was: Any) -> Any:
    """Read a typed field as the value of its key; what is none stays a text, to be checked."""
    import tomlkit

    text = text.strip()
    numbers = re.findall(r"[0-9]+(?:\.[0-9]+)?", text)
    listed = re.fullmatch(r"[0-9.,;\s]+", text) is not None
    if how == LINES:
        notes = [one_line(line) for line in text.split("\n") if line.strip()]
        array = tomlkit.array()
        array.extend(notes)
        return array.multiline(len(notes) > 1)
    if how == WHOLE and re.fullmatch(r"[0-9]{1,6}", text):
        return int(text)
    if how == WORDS_OR_NUMBER and re.fullmatch(r"[0-9]+\.[0-9]+", text):
        return float(text)
    if how == RANGE and _TEMPO.fullmatch(text):
        pair = [_number(number) for number in numbers]
        return pair if len(pair) == 2 or isinstance(was, list) else pair[0]
    if how == NUMBERS and listed and numbers:
        return [_number(number) for number in numbers]
    if how == ORDER and isinstance(was, list):
        return text.split()
    return one_line(text)


def _number(text: str) -> int | float:
    return float(text) if "." in text else int(text[:9])


def _written_lines(lines: Sequence[FormLine]) -> list[str]:
    """Write lines; those that say what they said stay as they were, letter by letter."""
    widths = _widths(lines)
    return [_written_line(line, widths) for line in lines]


def _written_line(line: FormLine, widths: Sequence[int]) -> str:
    said = replace(line, was=None)
    if line.was is not None and replace(read_line(line.was), was=None) == said:
        return line.was
    if line.kind == "heading":
        return f"-- {one_line(line.text)}"
    if line.kind == "facing":
        return f"facing {one_line(line.text)}"
    if line.kind == "other":
        return one_line(line.text)
    cells = [one_line(cell).replace("|", "/") for cell in line.cells]
    padded = [cell.ljust(width) for cell, width in zip(cells, widths, strict=False)]
    row = " | ".join([*padded, cells[-1]]).rstrip()
    if not cells[3]:
        row = row.removesuffix("|").rstrip()
        row += " |" if cells[2] else ""
    return row.removesuffix("|").rstrip() if not (cells[2] or cells[3]) else row


def _widths(lines: Sequence[FormLine]) -> list[int]:
    """Say how wide counts, steps and feet are in most of the lines as they were."""
    widths = []
    for column in range(len(STEP_CELLS) - 1):
        found = [
            len(cells[column]) - (2 if column else 1)
            for line in lines
            if line.kind == "step" and len(cells := (line.was or "").split("|")) > column + 1
        ]
        widths.append(max(found, key=found.count) if found else 0)
    return widths
