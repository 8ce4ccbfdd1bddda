"""A real Firefox for tests of pages; they are skipped without one.

Playwright drives only Firefoxes that it built itself.  Every Firefox speaks Marionette: one
message a command, its length before it, with the commands of the W3C's WebDriver
(https://firefox-source-docs.mozilla.org/testing/marionette/Protocol.html).  Mozilla's own
client for it leaves sockets open and brings ten packages for what is fifty lines here.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import socket
import subprocess
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

FIREFOXES = ("firefox-esr", "firefox")
WAIT_S = 60.0
ELEMENT = "element-6066-11e4-a52e-4f735466cecf"  # how WebDriver names an element in JSON


class Refused(Exception):
    """A command that Firefox did not carry out, and why."""


@contextlib.contextmanager
def firefox(folder: Path) -> Iterator[Window]:
    """Start Firefox without screen and sound, its profile in `folder`; give its window."""
    found = next((path for name in FIREFOXES if (path := shutil.which(name))), None)
    if found is None:
        pytest.skip("no Firefox on this machine: install Debian's package firefox-esr")
    (folder / "user.js").write_text('user_pref("marionette.port", 0);\n')
    process = subprocess.Popen(
        [found, "--headless", "--no-remote", "--marionette", "--profile", folder],
        env=os.environ | {"HOME": str(folder), "PULSE_SERVER": "none"},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        with socket.create_connection(("127.0.0.1", _port(folder, process)), WAIT_S) as line:
            window = Window(line=line, answers=line.makefile("rb"))
            with contextlib.closing(window.answers):
                window.answer()  # it says first which protocol it speaks
                window.tell("WebDriver:NewSession")
                yield window
    finally:
        process.terminate()
        process.wait(WAIT_S)


def _port(folder: Path, process: subprocess.Popen) -> int:
    written = folder / "MarionetteActivePort"
    end = time.monotonic() + WAIT_S
    while not (written.exists() and written.read_text()):
        assert process.poll() is None and time.monotonic() < end, "Firefox does not start"
        time.sleep(0.05)
    return int(written.read_text())


@dataclass(frozen=True, kw_only=True)
class Window:
    """One window, addressed as a person would: by what stands on things."""

    line: socket.socket
    answers: Any

    def answer(self) -> Any:
        """Read one message."""
        length = b""
        while (byte := self.answers.read(1)) != b":":
            assert byte, "Firefox has gone"
            length += byte
        return json.loads(self.answers.read(int(length)))

    def tell(self, command: str, **parameters: Any) -> Any:
        """Give a command of WebDriver and return what comes of it."""
        message = json.dumps([0, 1, command, parameters]).encode()
        self.line.sendall(b"%d:%s" % (len(message), message))
        _, _, wrong, result = self.answer()
        if wrong is not None:
            raise Refused(wrong)
        return result["value"] if isinstance(result, dict) and "value" in result else result

    def go(self, address: str) -> None:
        """Open an address."""
        self.tell("WebDriver:Navigate", url=address)

    def ask(self, expression: str, *arguments: Any) -> Any:
        """Give the value of an expression of the page."""
        return self.tell("WebDriver:ExecuteScript", script=f"return {expression}", args=arguments)

    def wait(self, expression: str, *arguments: Any) -> Any:
        """Wait until an expression of the page holds, and give its value."""
        end = time.monotonic() + WAIT_S
        while not (value := self.ask(expression, *arguments)):
            assert time.monotonic() < end, (expression, arguments)
            time.sleep(0.03)
        return value

    def find(self, css: str, words: str = "") -> dict[str, str]:
        """Find what is seen, by its selector and what stands on it or is read out for it."""
        return self.wait(
            "[...document.querySelectorAll(arguments[0])].find((one) => !one.disabled"
            " && one.checkVisibility() && (one.getAttribute('aria-label') ?? one.textContent)"
            ".trim().startsWith(arguments[1]))",
            css,
            words,
        )

    def click(self, css: str, words: str = "") -> Any:
        """Click on what is seen; where it was drawn anew meanwhile, on the new one."""
        for _ in range(5):
            found = self.find(css, words)
            try:
                return self.tell("WebDriver:ElementClick", id=found[ELEMENT])
            except Refused as refused:
                if refused.args[0]["error"] != "stale element reference":
                    raise
        raise AssertionError(f"{css} {words} is drawn anew again and again")

    def choose(self, css: str, words: str) -> None:
        """Choose an entry of a list."""
        entry = self.wait(
            "[...document.querySelectorAll(arguments[0])].flatMap((one) => [...one.options])"
            ".find((one) => one.text === arguments[1])",
            css,
            words,
        )
        self.tell("WebDriver:ElementClick", id=entry[ELEMENT])

    def write(self, css: str, text: str) -> None:
        """Write into a field, in place of what is there, and leave it."""
        field = self.find(css)
        self.tell("WebDriver:ElementClear", id=field[ELEMENT])
        self.tell("WebDriver:ElementSendKeys", id=field[ELEMENT], text=text)
        self.ask("arguments[0].blur()", field)

    def pick(self, css: str, file: Path) -> None:
        """Pick a file for a field that takes files."""
        field = self.wait("document.querySelector(arguments[0])", css)
        self.tell("WebDriver:ElementSendKeys", id=field[ELEMENT], text=str(file))
