"""``phrasefit new NAME.toml``: a routine file from a template or a typed step sheet."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from phrasefit.cli._edge import tell
from phrasefit.cli._options import Force


def register(app: typer.Typer) -> None:
    """Add the command to `app`."""
    app.command("new", short_help="A new routine file, from a template or a sheet.")(new)


def new(
    target: Annotated[Path, typer.Argument(metavar="NAME.toml", help="The file to make.")],
    template: Annotated[
        str | None,
        typer.Option(
            "--template",
            metavar="SIZE",
            help="32-4 (counts and walls; if nothing is said), 32-2, 16-2, 64-2, waltz, phrased.",
        ),
    ] = None,
    sheet: Annotated[
        Path | None,
        typer.Option("--from", metavar="SHEET", help="A typed step sheet, as plain text."),
    ] = None,
    force: Force = False,
) -> None:
    """Make a routine file to write on in: from a template, or from a typed step sheet.

    A sheet is read line by line. What is not understood is listed, is kept in the file as a
    remark and is never guessed; exit code 1 then. Check the result with phrasefit check.

    Example: phrasefit new tin-whistle.toml --from sheet.txt
    """
    from phrasefit.cli._edge import EXIT_PARTIAL
    from phrasefit.errors import ParameterError
    from phrasefit.files import check_target, write_atomic
    from phrasefit.routine.pasted import read_pasted
    from phrasefit.routine.templates import DEFAULT, from_template
    from phrasefit.routine.toml_lines import read_text

    if sheet is not None and template is not None:
        raise ParameterError("--template and --from exclude each other; give one of them")
    check_target(target, force=force)
    if sheet is None:
        name = target.stem.replace("-", " ").replace("_", " ").strip() or "New routine"
        text = from_template(template or DEFAULT, name=name[:1].upper() + name[1:])
        write_atomic(target, text, force=force)
        tell(f"wrote {target}; write your own steps over these, then: phrasefit check {target}")
        return
    read = read_pasted(read_text(sheet))
    write_atomic(target, read.text, force=force)
    n_lines, marked = len(read.lines), read.not_understood
    tell(f"wrote {target}: {n_lines - len(marked)} of {n_lines} lines of {sheet} understood")
    for line in marked:
        tell(f"{sheet}: line {line.number} not understood: {line.text}; {line.why}", err=True)
    if marked:
        raise typer.Exit(EXIT_PARTIAL)
