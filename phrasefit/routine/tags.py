"""Tags of which only the length is known, and what a routine allows that says nothing of them."""

from __future__ import annotations

from collections.abc import Iterable

from phrasefit.meters import DANCE_METERS
from phrasefit.model import TagOption

Tags = tuple[TagOption, ...]


def plain_tags(lengths: Iterable[int]) -> Tags:
    """Make tags of so many counts each, without steps or turn."""
    return tuple(TagOption(counts=length) for length in lengths)


def any_tags(meter: int) -> tuple[Tags, Tags]:
    """Give `tags` and `odd_bar_tags` of a routine whose tags are not limited."""
    dance = DANCE_METERS[meter]
    return plain_tags(dance.usual_tags), plain_tags(dance.odd_bar_tags)


def any_tags_words(meter: int) -> str:
    """Say which tags those are."""
    dance = DANCE_METERS[meter]
    usual, odd = (", ".join(map(str, tags)) for tags in (dance.usual_tags, dance.odd_bar_tags))
    return (
        f"tags of {usual} counts may be added, of {odd} where a bar of the song is odd"
        " (tags are not limited)"
    )
