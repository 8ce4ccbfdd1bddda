"""A desk in a process of its own, and what is needed to ask it as its own page would."""

from __future__ import annotations

import contextlib
import http.client
import json
import os
import re
import signal
import subprocess
import sys
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]


@dataclass(kw_only=True)
class Answer:
    """What came back."""

    status: int
    headers: dict[str, str]
    body: bytes

    @property
    def json(self) -> Any:
        """The body as JSON."""
        return json.loads(self.body)


@dataclass(kw_only=True)
class RunningDesk:
    """A desk in a process, and what is needed to ask it as its own page would."""

    address: str
    process: subprocess.Popen
    folder: Path
    cookie: str = ""
    port: int = field(init=False)

    def __post_init__(self) -> None:
        self.port = int(re.search(r":(\d+)/", self.address)[1])
        entered = self.ask("GET", self.address.partition(f":{self.port}")[2], enter=False)
        self.cookie = entered.headers["set-cookie"].partition(";")[0]

    @property
    def origin(self) -> str:
        """The origin of the desk's own pages."""
        return f"http://127.0.0.1:{self.port}"

    def ask(
        self,
        method: str,
        path: str,
        value: Any = None,
        *,
        enter: bool = True,
        headers: dict[str, str] | None = None,
        body: bytes | None = None,
    ) -> Answer:
        """Ask as a page of the desk does; `headers` change what it sends."""
        sent = {"host": f"127.0.0.1:{self.port}", "origin": self.origin}
        if enter:
            sent["cookie"] = self.cookie
        sent |= headers or {}
        content = body if value is None else json.dumps(value).encode()
        line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        with contextlib.closing(line):
            line.request(method, path, body=content, headers={k: v for k, v in sent.items() if v})
            with line.getresponse() as answer:
                return Answer(
                    status=answer.status,
                    headers={k.lower(): v for k, v in answer.getheaders()},
                    body=answer.read(),
                )

    def get(self, path: str) -> Any:
        """Ask for JSON that must be there."""
        answer = self.ask("GET", path)
        assert answer.status == 200, answer.body
        return answer.json

    def post(self, path: str, value: Any = None) -> Any:
        """Change something that must be allowed."""
        answer = self.ask("POST", path, {} if value is None else value)
        assert answer.status == 200, answer.body
        return answer.json


def start_desk(folder: Path, *arguments: str) -> RunningDesk:
    """Start a desk on a free port and wait until it answers."""
    process = subprocess.Popen(
        [sys.executable, "-m", "phrasefit", "desk", "--no-browser", *arguments],
        env=os.environ | {"PHRASEFIT_DATA": str(folder), "PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE,
        text=True,
        cwd=ROOT,
    )
    assert process.stdout is not None
    line = process.stdout.readline()
    assert "http://" in line, line
    return RunningDesk(address=line.split(": ")[1].strip(), process=process, folder=folder)


def end(desk: RunningDesk) -> None:
    """End the desk as the system does when the person logs off."""
    if desk.process.poll() is None:
        desk.process.send_signal(signal.SIGTERM)
        desk.process.wait(15)
    assert desk.process.stdout is not None
    desk.process.stdout.close()
