"""A desk of its own for each test: a real server in a process, an empty data folder."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from browsing import PATIENCE_S
from desk_server import RunningDesk, end, start_desk


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
        page.set_default_timeout(1000 * PATIENCE_S)
        page.on("pageerror", lambda error: complaints.append(str(error)))
        own = (desk.origin, "blob:", "data:")
        page.on("request", lambda r: None if r.url.startswith(own) else complaints.append(r.url))
        page.goto(f"{desk.address}?view={view}")
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert complaints == []
