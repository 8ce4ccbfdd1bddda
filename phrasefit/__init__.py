"""Does this routine fit this song?  See README.md; the public names are below.

The names are resolved on first use, so that ``import phrasefit`` costs
milliseconds.
"""

from __future__ import annotations

import importlib

__version__ = "0.1.0"

_HOMES: dict[str, str] = {}

__all__ = ["__version__", *sorted(_HOMES)]


def __getattr__(name: str) -> object:
    try:
        home = _HOMES[name]
    except KeyError:
        raise AttributeError(f"module 'phrasefit' has no attribute {name!r}") from None
    return getattr(importlib.import_module(home), name)


def __dir__() -> list[str]:
    return list(__all__)
