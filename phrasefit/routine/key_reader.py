"""Reading single keys of a routine file, every mistake with its line."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Mapping, Sequence
from typing import Any, TypeVar

from phrasefit.errors import ParameterError, shown
from phrasefit.model import Finding, one_line
from phrasefit.routine.toml_lines import KeyPath, Source

Value = TypeVar("Value")

MOST_TEXT = 500  # letters of a name, step or note: four lines of a sheet
MOST_TEXTS = 200  # notes, or parts of a sequence
MOST_UNKNOWN = 20  # keys of one table that are complained about one by one


def too_long(what: str, text: str) -> str:
    """Say that a text of a routine has more letters than a sheet has room for."""
    return f"{what} has {len(text)} letters; {MOST_TEXT} are the most"


class KeyReader:
    """Reads the keys of one table and remembers what is wrong with them.

    Parameters
    ----------
    source : Source
        The file.
    table : mapping
        The table inside it.
    path : tuple
        Where the table stands, such as ``("parts", "A")``.
    findings : list of Finding
        Errors are added here, so that reading goes on after a mistake.
    """

    def __init__(
        self,
        source: Source,
        table: Mapping[str, Any],
        path: KeyPath,
        findings: list[Finding],
    ) -> None:
        self.source = source
        self.table = table
        self.path = path
        self.findings = findings

    def line(self, key: str) -> int:
        """Give the line of `key`, or of the table if it is not written."""
        return self.source.line(*self.path, key)

    def complain(self, key: str, message: object) -> None:
        """Remember an error on the line of `key`."""
        self.findings.append(Finding(severity="error", line=self.line(key), message=str(message)))

    def refuse_unknown(self, legal: Sequence[str]) -> None:
        """Complain about each key that has no meaning here, with a guess."""
        unknown = [key for key in self.table if key not in legal]
        for key in unknown[:MOST_UNKNOWN]:
            near = difflib.get_close_matches(key[:40], legal, n=1, cutoff=0.6)
            guess = f"did you mean {near[0]}?" if near else f"known are {', '.join(legal)}"
            self.complain(key, f"{shown(key)} has no meaning here; {guess}")
        if more := unknown[MOST_UNKNOWN:]:
            self.complain(more[0], f"{len(more)} more keys have no meaning here; remove them")

    def text(self, key: str) -> str:
        """Read a text; "" if it is not written."""
        value = self.table.get(key, "")
        if isinstance(value, str):
            return self._bounded(key, value)
        self.complain(key, f"{key} = {shown(value)} must be a text in quotes")
        return ""

    def _bounded(self, key: str, text: str) -> str:
        """Make a text one line; complain about one that no sheet has room for."""
        if len(text) <= MOST_TEXT:
            return one_line(text)
        self.complain(key, too_long(key, text))
        return one_line(text[:MOST_TEXT])

    def block(self, key: str) -> list[tuple[int, str]] | None:
        """Read a multi-line text as numbered lines; None if it is not written."""
        value = self.table.get(key)
        if value is None:
            return None
        if isinstance(value, str):
            return self.source.numbered_lines(value, *self.path, key)
        self.complain(key, f'{key} must be one text; write {key} = """, the lines, and """')
        return []

    def texts(self, key: str) -> tuple[str, ...]:
        """Read one text or a list of texts."""
        value = self.table.get(key, [])
        listed = [value] if isinstance(value, str) else value
        if isinstance(listed, list) and all(isinstance(item, str) for item in listed):
            if len(listed) > MOST_TEXTS:
                self.complain(key, f"{key} lists {len(listed)} texts; {MOST_TEXTS} are the most")
            return tuple(self._bounded(key, item) for item in listed[:MOST_TEXTS])
        self.complain(key, f'{key} must be a text or a list of texts, as in {key} = ["…", "…"]')
        return ()

    def whole(self, key: str, low: int, high: int) -> int | None:
        """Read a whole number in `low`..`high`; None if missing or wrong."""
        value = self.table.get(key)
        if value is None:
            return None
        if type(value) is int and low <= value <= high:
            return value
        quoted = isinstance(value, str) and value.strip().isdigit()
        how = " without quotes" if quoted else f" from {low} to {high}"
        self.complain(key, f"{key} = {shown(value)} must be a whole number{how}")
        return None

    def parsed(self, key: str, parse: Callable[[str], Value], default: Value) -> Value:
        """Read a text with `parse`; `default` if it is missing or wrong."""
        text = self.text(key)
        if not text:
            return default
        try:
            return parse(text)
        except ParameterError as exc:
            self.complain(key, exc)
            return default
