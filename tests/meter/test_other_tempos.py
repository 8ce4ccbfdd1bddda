"""Music in a tempo of its own, on frames with drawn beats: what is added, and what is not."""

from __future__ import annotations

import numpy as np
import pytest

from phrasefit._dp import Chain
from phrasefit.meter import other_tempos
from phrasefit.meter.bars import NOT_DECODED
from phrasefit.meter.other_tempos import LEAST_S, with_other_tempos

HOP_S = 0.02
GAP = 25


class Heard:
    """Frames of which only how many there are and where they lie is asked."""

    def __init__(self, begin: int, end: int) -> None:
        self.begin, self.end, self.hop_s = begin, end, HOP_S
        self.gain = np.zeros(end - begin)

    def part(self, begin: int, end: int) -> Heard:
        """Give some of the frames."""
        return Heard(self.begin + begin, self.begin + end)


def chain(first: int, n_beats: int, gap: int = GAP) -> Chain:
    """Beats at even distances, in bars of four."""
    steps = first + gap * np.arange(n_beats)
    return Chain(steps=steps, rates=np.zeros(n_beats, int), places=np.arange(n_beats) % 4)


@pytest.fixture
def hear(monkeypatch: pytest.MonkeyPatch):
    """Hear, in the parts that are asked about, what is laid down here: (chains, pulse)."""
    asked: list[tuple[int, int]] = []

    def lay(*sounding: Chain, pulse: float = 0.95) -> list[tuple[int, int]]:
        def decode(heard: Heard, reading: object, weights: object) -> list[Chain]:
            asked.append((heard.begin, heard.end))
            inside = [
                one for one in sounding if heard.begin <= one.steps[0] and one.steps[-1] < heard.end
            ][:1]
            return [
                Chain(steps=c.steps - heard.begin, rates=c.rates, places=c.places) for c in inside
            ]

        monkeypatch.setattr(other_tempos, "find_readings", lambda heard, weights: [None])
        monkeypatch.setattr(other_tempos, "decode_song", decode)
        monkeypatch.setattr(other_tempos, "in_one_phase", lambda heard, chains: chains)
        monkeypatch.setattr(other_tempos, "judge_pulse", lambda *given: pulse)
        return asked

    return lay


def test_a_slow_opening_is_added(hear) -> None:
    """In its place, with its places in the bar."""
    rest, opening = chain(1500, 100), chain(20, 30, gap=38)
    hear(opening)

    found = with_other_tempos(Heard(0, 4100), [rest], {})

    assert [c.steps[0] for c in found] == [20, 1500]
    np.testing.assert_array_equal(found[0].steps, opening.steps)
    np.testing.assert_array_equal(found[0].places, opening.places)


def test_several_tempos_follow_each_other(hear) -> None:
    """What a stretch that was added leaves open is heard by itself, too."""
    first, second, rest = chain(10, 40, 38), chain(1600, 40, 31), chain(3200, 100)
    hear(second, first)

    found = with_other_tempos(Heard(0, 5800), [rest], {})

    assert [c.steps[0] for c in found] == [10, 1600, 3200]


def test_what_is_short_or_no_sure_pulse_stays_without(hear) -> None:
    """A break of some seconds is asked nothing; free playing gets no beats."""
    before = chain(0, 40)
    after = chain(int(before.steps[-1] + LEAST_S / HOP_S), 40)
    asked = hear(chain(20, 10, 20), pulse=0.7)

    assert with_other_tempos(Heard(0, int(after.steps[-1]) + 2), [before, after], {}) == [
        before,
        after,
    ]
    assert asked == []
    later = chain(1000, 40)
    assert with_other_tempos(Heard(0, 2000), [later], {}) == [later]
    assert len(asked) == 1


def test_half_the_tempo_is_the_same_pulse(hear) -> None:
    """A thin intro on every other beat is counted as the rest of the song is."""
    hear(chain(10, 25, gap=2 * GAP))

    intro, _ = with_other_tempos(Heard(0, 4000), [chain(1300, 100)], {})

    np.testing.assert_array_equal(intro.steps, chain(10, 49).steps)
    assert (intro.places == NOT_DECODED).all() and len(intro.rates) == 49
