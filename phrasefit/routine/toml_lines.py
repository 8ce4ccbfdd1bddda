"""The text of a routine file: TOML, and the line on which every key stands.

The standard TOML reader gives values without lines, so the lines are indexed here
from the text: keys, table headings and multi-line strings are recognised, which is
all that a routine file needs.  A key found nowhere has the line of its table.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from phrasefit.errors import RoutineError
from phrasefit.files import protect
from phrasefit.model import Finding

MAX_FILE_BYTES = 200_000  # a routine is some kilobytes; more takes seconds to read
# Of a line: a hold of the longest part has one a moment.  Python's reader takes a second for
# a key of ten thousand names, a minute for one of fifty thousand.
MOST_DOTS = 600

KeyPath = tuple[str | int, ...]

_NAME = r"""(?:[A-Za-z0-9_-]+|"[^"\\]*"|'[^']*')"""
_DOTTED = rf"{_NAME}(?:\s*\.\s*{_NAME})*"
_HEADING = re.compile(rf"\s*(?:\[\[\s*(?P<many>{_DOTTED})\s*\]\]|\[\s*(?P<one>{_DOTTED})\s*\])")
_KEY = re.compile(rf"\s*(?P<key>{_DOTTED})\s*=\s*(?P<value>.*)")
_TOML_PLACE = re.compile(r"\s*\(at (?:line (\d+), column \d+|end of document)\)")


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """The values of a routine file and where they stand."""

    data: dict[str, Any]
    key_lines: dict[KeyPath, int] = field(default_factory=dict)
    block_lines: dict[KeyPath, tuple[int, int]] = field(default_factory=dict)

    def line(self, *keys: str | int) -> int:
        """Give the line of a key, or of the nearest table that holds it."""
        path = keys
        while path and path not in self.key_lines:
            path = path[:-1]
        return self.key_lines.get(path, 1)

    def numbered_lines(self, value: str, *keys: str | int) -> list[tuple[int, str]]:
        """Pair each line of the multi-line text `value` of a key with its line in the file."""
        lines = value.split("\n")
        first, last = self.block_lines.get(keys, (0, -1))
        if last - first + 1 != len(lines):  # written on one line, or with TOML's escapes
            return [(self.line(*keys), text) for text in lines]
        return [(first + place, text) for place, text in enumerate(lines)]


def read_text(path: Path | str) -> str:
    """Read a routine file as text.

    Raises
    ------
    RoutineError
        If there is no such file, or it is no text a routine could be in.
    """
    path = Path(path)
    try:
        if path.is_dir():
            raise RoutineError("is a folder; name the routine files inside it", where=path)
        protect(path, "the routine file")
        with path.open("rb") as handle:
            content = handle.read(MAX_FILE_BYTES + 1)
    except OSError as exc:
        reason = exc.strerror or str(exc)
        raise RoutineError(f"cannot be read ({reason}); check the name", where=path) from exc
    if len(content) > MAX_FILE_BYTES:
        raise RoutineError(
            f"is too large for a routine, {MAX_FILE_BYTES // 1000} kB are the most; was a song"
            " given in its place?",
            where=path,
        )
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as exc:
        raise RoutineError(
            "is not a text in UTF-8; save the routine as plain text, UTF-8", where=path
        ) from exc


def parse_toml(text: str) -> dict[str, Any]:
    """Read TOML text that a stranger may have written.

    Raises
    ------
    tomllib.TOMLDecodeError
        If it is no TOML; says where.
    RecursionError, ValueError
        If brackets, dots or a number in it go on for ever.
    """
    if any(line.count(".") > MOST_DOTS for line in text.split("\n")):
        raise ValueError("dots without end")
    return tomllib.loads(text)


def parse_source(text: str) -> tuple[Source | None, tuple[Finding, ...]]:
    """Read TOML text; a mistake of form becomes an error with its line."""
    text = text.removeprefix("\ufeff").replace("\r\n", "\n")
    if not text.strip():
        message = "the file is empty; begin with name, counts, walls and steps"
        return None, (Finding(severity="error", line=1, message=message),)
    try:
        data = parse_toml(text)
    except tomllib.TOMLDecodeError as exc:
        return None, (_form_finding(str(exc), text),)
    except (RecursionError, ValueError):
        message = (
            "there are brackets, dots or a number without end; begin again from an example routine"
        )
        return None, (Finding(severity="error", line=1, message=message),)
    key_lines, block_lines = _index_lines(text.split("\n"))
    return Source(data=data, key_lines=key_lines, block_lines=block_lines), ()


def _form_finding(reason: str, text: str) -> Finding:
    """Turn the TOML reader's complaint into words with a line and a remedy."""
    place = _TOML_PLACE.search(reason)
    last = text.rstrip().count("\n") + 1
    line = int(place[1]) if place and place[1] else last
    what = _TOML_PLACE.sub("", reason)
    what = what[:1].lower() + what[1:]
    written = text.split("\n")[line - 1].strip() if line <= text.count("\n") + 1 else ""
    opened = _unclosed_block(text.split("\n"))
    if opened:
        line, remedy = opened, 'close the text that begins here with """ on a line of its own'
    elif any(quote in written for quote in "“”„«»‘’"):
        remedy = 'write plain quotes, as in name = "Borrowed Teaspoons", not the curved ones'
    elif "|" in written:
        remedy = 'step lines stand between steps = """ and a closing """'
    elif "=" in written:
        remedy = 'words need quotes, as in name = "Borrowed Teaspoons"; numbers need none'
    else:
        remedy = "every line outside the steps reads key = value, as in counts = 32"
    return Finding(
        severity="error", line=line, message=f"this line cannot be read ({what}); {remedy}"
    )


def _unclosed_block(lines: list[str]) -> int:
    """Give the line of a multi-line text that is never closed, 0 if all are."""
    opened = 0
    for kind, number, _ in _walk(lines):
        opened = number if kind == "open" else 0 if kind == "close" else opened
    return opened


def _split_dotted(dotted: str) -> tuple[str, ...]:
    """Cut ``parts."A b".steps`` into its names."""
    return tuple(name.strip("\"'") for name in re.findall(_NAME, dotted))


def _walk(lines: list[str]) -> Iterator[tuple[str, int, re.Match[str] | None]]:
    """Yield headings, keys and the bounds of multi-line texts with their line numbers."""
    delimiter = ""
    for number, text in enumerate(lines, start=1):
        if delimiter:
            if delimiter in text:
                delimiter = ""
                yield "close", number, None
            continue
        if match := _HEADING.match(text):
            yield "heading", number, match
        elif match := _KEY.match(text):
            yield "key", number, match
            value = match["value"]
            if value.startswith(('"""', "'''")) and value[:3] not in value[3:]:
                delimiter = value[:3]
                yield "open", number, match


def _index_lines(
    lines: list[str],
) -> tuple[dict[KeyPath, int], dict[KeyPath, tuple[int, int]]]:
    """Find the line of every key, and first and last content line of multi-line texts."""
    key_lines: dict[KeyPath, int] = {}
    block_lines: dict[KeyPath, tuple[int, int]] = {}
    n_tables: dict[tuple[str, ...], int] = {}
    table: KeyPath = ()
    path: KeyPath = ()
    for kind, number, match in _walk(lines):
        if match is None:
            block_lines[path] = (block_lines[path][0], number)
        elif kind == "heading":
            table = _split_dotted(match["one"] or match["many"])
            if match["many"]:
                n_tables[table] = n_tables.get(table, -1) + 1
                key_lines.setdefault(table, number)
                table = (*table, n_tables[table])
            key_lines[table] = number
        else:
            path = (*table, *_split_dotted(match["key"]))
            key_lines.setdefault(path, number)
            if kind == "open":
                # TOML drops a line break right after the opening quotes.
                first = number + (len(match["value"]) == len('"""'))
                block_lines[path] = (first, first)
    return key_lines, block_lines
