"""Run a command in this process as the program would: exit code, output, error lines."""

from __future__ import annotations

import sys
from dataclasses import dataclass

import pytest

from phrasefit.cli import _edge, app


@dataclass(frozen=True)
class Done:
    """What a command left."""

    code: int
    out: str
    err: str


class Program:
    """The program, called with its words."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
        self._monkeypatch, self._capsys = monkeypatch, capsys

    def __call__(self, *words: object, expect: int = 0) -> Done:
        """Run a command; fail the test if it ends with another code than `expect`."""
        self._monkeypatch.setattr(sys, "argv", ["phrasefit", *map(str, words)])
        code = 0
        try:
            _edge.run(app)
        except SystemExit as exc:
            code = exc.code or 0
        done = Done(code, *self._capsys.readouterr())
        assert done.code == expect, done.err or done.out
        return done
