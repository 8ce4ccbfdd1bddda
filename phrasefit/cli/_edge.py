"""What all commands share at the edge: error lines, progress, time arguments."""

from __future__ import annotations

import contextlib
import io
import os
import re
import signal
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any
from unicodedata import category

import typer

from phrasefit.errors import ParameterError, PhrasefitError, Reason, shown

MOST_ARGUMENT = 4096  # letters, as long as a path can be
MOST_WORDS_OF_A_PATH = 20
MOST_MESSAGE = 2000  # signs of one error line; what is longer is a name gone wrong
EXIT_FIX = 2  # the user must fix something
EXIT_PARTIAL = 1  # part of a batch failed
EXIT_STOPPED = 130  # as shells report a program ended by Ctrl-C
EXIT_TERMINATED = 143  # as shells report a program ended by SIGTERM

# What helps in a terminal; the desk has a button instead.
REMEDIES = {Reason.NO_STEADY_BEAT: "; if it is music, insist: phrasefit map SONG --anyway"}

_BREAKS = ("Cc", "Cs", "Zl", "Zp")  # control signs, half characters, breaks of line and paragraph

_debug = False


def set_debug(on: bool) -> None:
    """Remember ``--debug`` for the error handler."""
    global _debug
    _debug = on


def run(app: typer.Typer) -> None:
    """Run `app`; print a fixable error as one line on standard error.

    Ctrl-C and SIGTERM end it in the same way, with the exit codes that shells know.  Closed
    output is no failure: whoever read it (a pager, `head`) has seen enough.
    """
    _open_missing_streams()
    ended = _end_as_by_ctrl_c()
    try:
        try:
            _check_arguments(sys.argv[1:])
            code = app(standalone_mode=False)
        finally:
            sys.stdout.flush()  # a full disk or a closed pipe shows here at the latest
    except PhrasefitError as exc:
        if _debug:
            raise
        print(f"phrasefit: {one_line_message(str(exc))}{remedy(exc.reason)}", file=sys.stderr)
        _hint_at_quotes()
        sys.exit(EXIT_FIX)
    except BrokenPipeError:
        _drop_output()
        sys.exit(0)
    except OSError as exc:
        if _debug:
            raise
        _drop_output()
        where = exc.filename or "standard output"
        print(
            f"phrasefit: {where}: {exc.strerror or exc}; make room or choose another place",
            file=sys.stderr,
        )
        sys.exit(EXIT_FIX)
    except SystemExit as exc:
        if isinstance(exc.__context__, BrokenPipeError):  # typer turned it into exit code 1
            _drop_output()
            sys.exit(0)
        raise
    except Exception as exc:
        if not hasattr(exc, "show"):
            raise
        _show_usage(exc)  # typer's own: a command or an option that is not known
    else:
        sys.exit(EXIT_TERMINATED if code == EXIT_STOPPED and ended else code or 0)


def _check_arguments(words: Sequence[str]) -> None:
    """Refuse an argument that no name, number or path can be."""
    for word in words:
        if len(word) > MOST_ARGUMENT:
            raise ParameterError(
                f"{shown(word)} is an argument of {len(word)} letters; {MOST_ARGUMENT} are the most"
            )


def _show_usage(problem: Any) -> None:
    """Print what typer has to say, each line fit for a terminal."""
    text = io.StringIO()
    problem.show(file=text)
    print(*map(one_line_message, text.getvalue().splitlines()), sep="\n", file=sys.stderr)
    _hint_at_quotes()
    sys.exit(problem.exit_code)


def path_in_words(words: Sequence[str]) -> str | None:
    """Find a path with spaces that was given without quotes, so that it came as several words.

    Parameters
    ----------
    words : sequence of str
        What was typed after the program's name.

    Returns
    -------
    str or None
        The path, if the first of its words leads nowhere and all of them lead to something.
    """
    for first, word in enumerate(words):
        if word.startswith("-") or os.path.exists(word):
            continue
        for after in range(first + 2, min(len(words), first + MOST_WORDS_OF_A_PATH) + 1):
            path = " ".join(words[first:after])
            if len(path) <= MOST_ARGUMENT and "\0" not in path and os.path.exists(path):
                return path
    return None


def _hint_at_quotes() -> None:
    """After an error: say so if one path was typed as several words."""
    path = path_in_words(sys.argv[1:])
    if path is not None:
        quoted = one_line_message(f'"{path}"')
        print(f"phrasefit: these words look like one path; put it in quotes: {quoted}",
              file=sys.stderr)  # fmt: skip


def _open_missing_streams() -> None:
    """Give a program that was started without output (a service, a link) somewhere to write."""
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if stream is None:
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115
        elif hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")  # a name the terminal lacks letters for


def _end_as_by_ctrl_c() -> list[int]:
    """Let SIGTERM clean up as Ctrl-C does; the list is no longer empty once it came."""
    ended: list[int] = []

    def end(signum: int, _frame: object) -> None:
        ended.append(signum)
        raise KeyboardInterrupt

    with contextlib.suppress(ValueError):  # not the main thread: whoever runs it decides
        signal.signal(signal.SIGTERM, end)
    return ended


def remedy(reason: Reason | None) -> str:
    """Say which command helps where there is this reason ("": none)."""
    return REMEDIES.get(reason, "") if reason else ""


def one_line_message(text: str) -> str:
    """Make a message fit for a terminal: control signs escaped, not longer than a screen.

    A name in it may hold line breaks, ESC or a megabyte.
    """
    half = MOST_MESSAGE // 2
    if len(text) > MOST_MESSAGE:
        text = f"{text[:half]} [...] {text[-half:]}"
    return "".join(
        sign.encode("unicode_escape").decode() if category(sign) in _BREAKS else sign
        for sign in text
    )


def tell(text: str, *, err: bool = False) -> None:
    """Print one line, whatever names are in it."""
    typer.echo(one_line_message(text), err=err)


def _drop_output() -> None:
    """Send what is still buffered nowhere, so that the end of the program is quiet."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def parse_time(text: str) -> float:
    """Read seconds from ``83.5``, ``1:23.5`` or ``0:01:23.5``.

    Raises
    ------
    ParameterError
        If `text` is no such time, or 60 or more stand behind a colon: a slip that nobody would
        find in the place it leads to.
    """
    match = re.fullmatch(
        r"(?:(?:(\d{1,2}):)?(\d{1,4}):)?(\d{1,6}(?:\.\d{1,9})?)", text.strip(), re.ASCII
    )
    if not match:
        raise ParameterError(
            f"time={shown(text)} is not a time; write seconds (83.5) or m:ss (1:23.5)"
        )
    hours, minutes, seconds = match.groups()
    if (minutes and float(seconds) >= 60) or (hours and int(minutes) >= 60):
        raise ParameterError(
            f"time={shown(text)} is not a time, as 60 or more stand behind a colon; write seconds"
            " (83.5) or m:ss (1:23.5)"
        )
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
        print(
            f"\r{self._label} [{bar}] {share:4.0%} {one_line_message(text)[:40]:<40}",
            end="",
            file=sys.stderr,
        )

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
