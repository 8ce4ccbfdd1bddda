"""Which phrase starts count for dances whose phrases have a given length.  May import: model.

A dance of 32 counts is laid on phrases of 32, one of 64 on every second of them; an eight
that begins inside either is no phrase to it.
"""

from __future__ import annotations

from collections.abc import Sequence

from phrasefit.model import Phrase


def phrases_of_length(
    phrases: Sequence[Phrase], beats: float, *, highest: int, end: int
) -> list[Phrase]:
    """Pick the phrases of a section that are at least so long.

    Where none is so long every second, fourth ... of the longest is taken.  A leftover
    shorter than half the length is the tail of the one before.

    Parameters
    ----------
    phrases : sequence of Phrase
        Those that begin in the section, in order.
    beats : float
        The length wanted.
    highest : int [beats]
        Length of the longest phrases of the song.
    end : int
        The beat at which the section ends.
    """
    if highest >= beats:
        return [p for p in phrases if p.group >= beats and 2 * p.n_beats >= beats]
    longest = [p for p in phrases if p.group == highest]
    every = round(beats / highest)
    return [p for p in longest[::every] if 2 * (end - p.start_beat) >= beats]
