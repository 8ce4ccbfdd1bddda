"""What several commands are tested with."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from phrasefit.cli import _many as many


@pytest.fixture
def stopped() -> Iterator[pytest.MonkeyPatch]:
    """Let listening be stopped with three songs left; ``stopped.undo()`` lets it go on."""
    gather = many.gather

    def gathered(*args: object, **options: object) -> tuple:
        library, report = gather(*args, **options)
        report.n_left = 3
        return library, report

    patch = pytest.MonkeyPatch()
    patch.setattr(many, "gather", gathered)
    yield patch
    patch.undo()
