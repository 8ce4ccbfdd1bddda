"""A desk of its own for each test: a real server in a process, an empty data folder."""

from __future__ import annotations

import http.client
import json
import os
import re
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[2]


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
        line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        content = body if value is None else json.dumps(value).encode()
        line.request(method, path, body=content, headers={k: v for k, v in sent.items() if v})
        answer = line.getresponse()
        got = Answer(
            status=answer.status,
            headers={k.lower(): v for k, v in answer.getheaders()},
            body=answer.read(),
        )
        line.close()
        return got

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


@pytest.fixture
def new_desk(tmp_path: Path) -> Iterator[Callable[..., RunningDesk]]:
    """Start desks; all are ended after the test."""
    running: list[RunningDesk] = []

    def start(folder: Path | None = None, *arguments: str) -> RunningDesk:
        running.append(start_desk(folder or tmp_path / "data", *arguments))
        return running[-1]

    yield start
    for desk in running:
        end(desk)


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningDesk]:
    """One desk for all tests of a module: starting one takes a second."""
    running = start_desk(tmp_path_factory.mktemp("desk"))
    yield running
    end(running)


@pytest.fixture(scope="module")
def desk_on() -> Iterator[Callable[[Path], RunningDesk]]:
    """Start desks on folders that a module has filled; all are ended after it."""
    running: list[RunningDesk] = []

    def start(folder: Path) -> RunningDesk:
        running.append(start_desk(folder))
        return running[-1]

    yield start
    for desk in running:
        end(desk)


@pytest.fixture
def page_of(browser) -> Iterator[Callable]:
    """Open a desk in the browser: `page_of(desk, "/songs")`; no page may complain at the end."""
    contexts, complaints = [], []

    def open_page(desk: RunningDesk, view: str = "/", *, width: int = 1280, height: int = 900):
        context = browser.new_context(viewport={"width": width, "height": height})
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(20_000)
        page.on("pageerror", lambda error: complaints.append(str(error)))
        own = (desk.origin, "blob:", "data:")
        page.on("request", lambda r: None if r.url.startswith(own) else complaints.append(r.url))
        page.goto(f"{desk.address}?view={view}")
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert complaints == []
