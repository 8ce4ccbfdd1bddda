"""The command line: one file a command; parse, call the pipeline, print a report.

Every module here that does not start with ``_`` holds one command and a
function ``register(app)``.  Only typer may be imported at module level: heavy
imports live in the command bodies, so that ``--help`` is instant.
"""

from __future__ import annotations

import importlib
import importlib.util

import typer

# The order of the help text: from looking at a song to running an evening.
COMMANDS: tuple[str, ...] = (
    "desk", "map", "fit", "new", "check", "picture", "sheet", "page", "practice", "captions",
    "export", "pack", "correct", "rank", "suits", "playlist", "store",
)  # fmt: skip

app = typer.Typer(
    name="phrasefit",
    help="Does this routine fit this song? Where is count 1, which wall, which tags and restarts?",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


def _version(wanted: bool) -> None:
    if wanted:
        from phrasefit import __version__

        typer.echo(f"phrasefit {__version__}")
        raise typer.Exit


@app.callback()
def _root(
    version: bool = typer.Option(
        False, "--version", callback=_version, is_eager=True, help="Print the version and stop."
    ),
    debug: bool = typer.Option(False, "--debug", help="Show the full traceback of an error."),
) -> None:
    from phrasefit.cli import _edge

    _edge.set_debug(debug)


for _name in COMMANDS:
    if importlib.util.find_spec(f"phrasefit.cli.{_name}") is None:
        continue
    importlib.import_module(f"phrasefit.cli.{_name}").register(app)


def main() -> None:
    """Run the command line; every fixable error becomes one line and exit code 2."""
    from phrasefit.cli._edge import run

    run(app)
