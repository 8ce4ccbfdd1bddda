"""Options that several commands take, each written down once.

An option of its own is an ``Annotated`` alias.  Options that always come together are the
fields of a dataclass: a command takes it as one keyword argument, and `spread` shows
the fields to typer as options of the command.
"""

from __future__ import annotations

import functools
import inspect
from collections.abc import Callable
from dataclasses import fields, is_dataclass
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any, get_type_hints

import typer

EMPTY: Any = ()  # the default of an option that may be given again; a list cannot be one


class Paper(StrEnum):
    """The paper that is printed on."""

    A4 = "a4"
    LETTER = "letter"


MapFile = Annotated[
    Path | None, typer.Option("--map", metavar="MAP.json", help="Plan from a bar map instead.")
]
MaxChanges = Annotated[
    int,
    typer.Option(
        "--max-changes", metavar="N", min=0, max=12, help="Most tags and restarts allowed."
    ),
]
Places = Annotated[
    list[Path] | None,
    typer.Argument(metavar="FOLDER... ROUTINE...", help="Folders or songs; routine files."),
]
Known = Annotated[
    bool, typer.Option("--known", help="Take all songs heard before; no folder is looked at.")
]
PaperSize = Annotated[Paper, typer.Option("--paper", help="a4 or letter.")]
Csv = Annotated[
    str | None, typer.Option("--csv", metavar="PATH", help="Also write the table as CSV.")
]
Json = Annotated[
    str | None, typer.Option("--json", metavar="PATH", help="Also as JSON; - prints only it.")
]
Long = Annotated[bool, typer.Option("--long", help="Say the whole verdict under each line.")]
NoCache = Annotated[bool, typer.Option("--no-cache", help="Listen afresh and keep nothing.")]
Force = Annotated[bool, typer.Option("--force", help="Replace an existing file.")]


def spread(command: Callable[..., None]) -> Callable[..., None]:
    """Give `command` the fields of each dataclass among its arguments as options.

    typer knows single options only; it is shown a function that takes them all and calls
    `command` with the dataclasses made of them.  Lists, as typer makes them, become tuples.
    """
    hints = get_type_hints(command, include_extras=True)
    groups: dict[str, Any] = {name: kind for name, kind in hints.items() if is_dataclass(kind)}
    shown = []
    for name, parameter in inspect.signature(command).parameters.items():
        options = _options(groups[name]) if name in groups else [parameter]
        shown += [o.replace(annotation=hints.get(o.name, o.annotation)) for o in options]

    @functools.wraps(command)
    def called(**given: Any) -> None:
        for name, group in groups.items():
            values = {option.name: given.pop(option.name) for option in _options(group)}
            lists = {key: tuple(v) for key, v in values.items() if isinstance(v, list)}
            given[name] = group(**values | lists)
        command(**given)

    called.__signature__ = inspect.Signature(shown)  # type: ignore[attr-defined]  # typer reads it
    return called


@functools.cache
def _options(group: type) -> tuple[inspect.Parameter, ...]:
    """Give the fields of a dataclass as the arguments of a function."""
    hints = get_type_hints(group, include_extras=True)
    return tuple(
        inspect.Parameter(
            field.name,
            inspect.Parameter.KEYWORD_ONLY,
            default=field.default,
            annotation=hints[field.name],
        )
        for field in fields(group)
    )
