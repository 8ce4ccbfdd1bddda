"""Beats, bars and the bar map.

``track(audio, features)`` is the way in; it is imported when first asked for.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from phrasefit.meter.barmap import track

__all__ = ["track"]


def __getattr__(name: str) -> object:
    if name == "track":
        from phrasefit.meter.barmap import track

        return track
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
