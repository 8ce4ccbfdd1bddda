"""``phrasefit desk``: the whole job in a browser, without further commands."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from phrasefit.cli._edge import tell

if TYPE_CHECKING:
    from phrasefit.desk.running import Place


def register(app: typer.Typer) -> None:
    """Add the command to `app`."""
    app.command("desk", short_help="Do the whole job in your browser.")(desk)


def desk(
    port: Annotated[
        int | None,
        typer.Option("--port", metavar="N", min=1, max=65535, help="The port to serve at."),
    ] = None,
    no_browser: Annotated[
        bool, typer.Option("--no-browser", help="Only print the address.")
    ] = False,
    shortcut: Annotated[
        bool,
        typer.Option("--shortcut", help="Make an icon that starts the desk, and stop."),
    ] = False,
) -> None:
    """Open the desk: songs, routines, sheets and evenings in your browser.

    It runs on this computer only and asks nothing of the network.  It stops with its
    button, or some minutes after its last page is closed.

    Example: phrasefit desk

    Example: phrasefit desk --shortcut
    """
    if shortcut:
        from phrasefit.desk.shortcut import make_shortcut

        tell(f"made {make_shortcut()}: start the desk from there from now on")
        return
    from phrasefit.desk.running import open_desk

    def opened(place: Place, is_new: bool) -> None:
        tell(f"the desk is {'open' if is_new else 'open already'}: {place.address}")
        if not no_browser:
            import webbrowser

            webbrowser.open(place.address)

    open_desk(port=port, on_open=opened)
