"""What all commands share at the edge: error lines, progress, time arguments."""

from __future__ import annotations

import os
import re
import sys
import time
from pathlib import Path

import typer

from phrasefit.errors import ParameterError, PhrasefitError

EXIT_MEND = 2  # the user must mend something
EXIT_PARTIAL = 1  # part of a batch failed

_debug = False


def set_debug(on: bool) -> None:
    """Remember ``--debug`` for the error handler."""
    global _debug
    _debug = on


def run(app: typer.Typer) -> None:
    """Run `app`; print a mendable error as one line on standard error."""
    if sys.stdout is not None and hasattr(sys.stdout, "reconfigure"):
        sys.stdout.reconfigure(errors="replace")  # a name the terminal lacks letters for
    try:
        try:
            app()
        finally:
            if sys.stdout is not None:
                sys.stdout.flush()  # a full disk or a closed pipe shows here at the latest
    except PhrasefitError as exc:
        if _debug:
            raise
        print(f"phrasefit: {exc}", file=sys.stderr)
        sys.exit(EXIT_MEND)
    except BrokenPipeError:
        # The reader (a pager, `head`) has left: not an error of ours.
        _drop_output()
        sys.exit(EXIT_PARTIAL)
    except OSError as exc:
        if _debug:
            raise
        _drop_output()
        where = exc.filename or "standard output"
        print(
            f"phrasefit: {where}: {exc.strerror or exc}; make room or choose another place",
            file=sys.stderr,
        )
        sys.exit(EXIT_MEND)


def _drop_output() -> None:
    """Send what is still buffered nowhere, so that the end of the program is quiet."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def parse_time(text: str) -> float:
    """Read seconds from ``83.5``, ``1:23.5`` or ``0:01:23.5``.

    Raises
    ------
    ParameterError
        If `text` is no such time.
    """
    match = re.fullmatch(r"(?:(?:(\d+):)?(\d+):)?(\d+(?:\.\d+)?)", text.strip())
    if not match:
        raise ParameterError(f"time={text!r} is not a time; write seconds (83.5) or m:ss (1:23.5)")
    hours, minutes, seconds = match.groups()
    return 3600 * int(hours or 0) + 60 * int(minutes or 0) + float(seconds)


class Progress:
    """One line on standard error that shows how far long work has come.

    Silent unless standard error is a terminal, so that logs and pipes stay clean.
    """

    def __init__(self, label: str, *, quiet: bool = False) -> None:
        self._label = label
        self._shown = not quiet and sys.stderr.isatty()
        self._last = 0.0

    def __call__(self, share: float, text: str = "") -> None:
        """Show `share` (0-1) done, and what is being worked on."""
        now = time.monotonic()
        if not self._shown or (now - self._last < 0.1 and share < 1):
            return
        self._last = now
        filled = round(24 * share)
        bar = "#" * filled + "-" * (24 - filled)
        print(f"\r{self._label} [{bar}] {share:4.0%} {text[:40]:<40}", end="", file=sys.stderr)

    def close(self) -> None:
        """Wipe the line."""
        if self._shown:
            print("\r" + " " * 110 + "\r", end="", file=sys.stderr, flush=True)


def emit(text: str, target: str | None, *, force: bool) -> None:
    """Write `text` to the file `target`, or to standard output for ``-``."""
    if target == "-":
        sys.stdout.write(text)
    elif target:
        from phrasefit.files import write_atomic

        write_atomic(Path(target), text, force=force)
