"""A real Chromium for tests of pages; they are skipped without one."""

from __future__ import annotations

import contextlib
import shutil
import time
from collections.abc import Callable, Iterator
from typing import Any

import pytest

CHROMIUMS = ("chromium", "chromium-browser", "google-chrome")
# No sandbox: tests run as root in containers.  No traffic of the browser's own.
ARGUMENTS = (
    "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-sync",
    "--autoplay-policy=no-user-gesture-required",
)  # fmt: skip
# What a page does not show by then will not come; a busy computer may take half of it.
PATIENCE_S = 60.0


@contextlib.contextmanager
def chromium() -> Iterator[Any]:
    """Start Chromium through Playwright."""
    api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    found = next((path for name in CHROMIUMS if (path := shutil.which(name))), None)
    if found is None:
        pytest.skip("no Chromium on this machine: install Debian's package chromium")
    with api.sync_playwright() as driver:
        running = driver.chromium.launch(executable_path=found, args=list(ARGUMENTS))
        yield running
        running.close()


def wait_until(page: Any, expression: str, seconds: float = PATIENCE_S) -> None:
    """Ask a page again and again until `expression` holds there.

    Playwright's own waiting evaluates text inside the page, which a strict policy forbids.
    """
    end = time.monotonic() + seconds
    while not page.evaluate(expression):
        assert time.monotonic() < end, expression
        page.wait_for_timeout(50)


def hold_back(page: Any, pattern: str) -> Callable[[], None]:
    """Let no request for `pattern` through; what is given lets them all, then and later."""
    held: list[Any] = []
    page.route(pattern, lambda route: held.append(route))

    def let_through() -> None:
        page.unroute(pattern)  # whoever asks from here on is answered
        while held:
            held.pop().fallback()

    return let_through
