"""``phrasefit check ROUTINE...``: every mistake in routine files, with its line."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from phrasefit.cli._options import Force

if TYPE_CHECKING:
    from phrasefit.model import Finding, Routine


def register(app: typer.Typer) -> None:
    """Add the command to `app`."""
    app.command("check", short_help="Mistakes in a routine file, by line.")(check)


def check(
    routines: Annotated[list[Path], typer.Argument(help="Routine files (TOML).")],
    json_path: Annotated[
        str | None,
        typer.Option(
            "--json", metavar="PATH", help="Also write the results as JSON; - prints only it."
        ),
    ] = None,
    force: Force = False,
) -> None:
    """Check counts, feet, turns and walls of routine files; list every mistake with its line.

    Then show what follows from the steps: where everyone faces after every 8, which foot
    is free, where a restart is possible. Exit code 2 if anything must be fixed.

    Example: phrasefit check borrowed-teaspoons.toml
    """
    from phrasefit.cli._edge import EXIT_FIX, emit, one_line_message
    from phrasefit.files import check_target
    from phrasefit.reports.check_text import check_document, n_errors, render
    from phrasefit.serial import dump_json

    if json_path not in (None, "-"):
        check_target(Path(json_path), force=force)
    results = [(str(path), *_checked(path)) for path in routines]
    if json_path != "-":
        for path, routine, findings in results:
            typer.echo(render(one_line_message(path), routine, findings), nl=False)
    if json_path is not None:
        emit(dump_json(check_document(results)), json_path, force=force)
    if any(n_errors(findings) for _, _, findings in results):
        raise typer.Exit(EXIT_FIX)


def _checked(path: Path) -> tuple[Routine | None, tuple[Finding, ...]]:
    """Check one file; a file that cannot be read is a finding, so that the rest go on."""
    from phrasefit.errors import RoutineError
    from phrasefit.model import Finding
    from phrasefit.routine.check import check_routine

    try:
        return check_routine(path)
    except RoutineError as exc:
        reason = str(exc).removeprefix(f"{path}: ")
        return None, (Finding(severity="error", line=0, message=f"this file {reason}"),)
