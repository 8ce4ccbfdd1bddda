"""Phrases: groups of eight, four and two bars inside sections."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from form_songs import made_song, plain_map
from phrasefit.errors import ParameterError
from phrasefit.form import add_form
from phrasefit.form.boundary_cues import bar_evidence
from phrasefit.form.evidence import BeatEvidence
from phrasefit.form.phrases import (
    UNHEARD,
    UNHEARD_STRENGTH,
    _Block,
    _group_scores,
    group_phrases,
)
from phrasefit.form.segmentation import best_segments
from phrasefit.model import Phrase, Section


def positions_of(bars: list[int], *, pickup: list[int] | None = None) -> np.ndarray:
    lead = pickup or []
    return np.array([*lead, *(p for n in bars for p in range(1, n + 1))])


def section(start_beat: int, n_beats: int, strength: float = 0.9) -> Section:
    return Section(start_beat=start_beat, n_beats=n_beats, letter="A", strength=strength)


def starts(phrases: tuple[Phrase, ...], group: int) -> list[int]:
    """Start beats of a level and the levels above it."""
    return [phrase.start_beat for phrase in phrases if phrase.group >= group]


@pytest.mark.parametrize(
    ("n_bars", "eights", "fours"),
    [
        (4, [0], [0]),
        (7, [0], [0, 4]),
        (8, [0], [0, 4]),
        (9, [0], [0, 4]),
        (10, [0], [0, 4, 8]),
        (12, [0, 8], [0, 4, 8]),
        (14, [0, 8], [0, 4, 8, 12]),
        (16, [0, 8], [0, 4, 8, 12]),
        (17, [0, 8], [0, 4, 8, 12]),
        (20, [0, 8, 16], [0, 4, 8, 12, 16]),
        (32, [0, 8, 16, 24], [0, 4, 8, 12, 16, 20, 24, 28]),
    ],
)
def test_extra_bars_sit_at_the_end(n_bars: int, eights: list[int], fours: list[int]) -> None:
    """Sections that are no multiple of eight bars have their odd bars last."""
    phrases = group_phrases(positions_of([4] * n_bars), 4, (section(0, 4 * n_bars),))

    assert starts(phrases, 32) == [4 * bar for bar in eights]
    assert starts(phrases, 16) == [4 * bar for bar in fours]


def test_extra_bars_of_an_intro_come_first() -> None:
    """An intro of nine bars: one bar, then eight up to the verse."""
    phrases = group_phrases(positions_of([4] * 17), 4, (section(0, 36), section(36, 32)))

    assert starts(phrases, 16) == [0, 20, 36, 52]


@pytest.mark.parametrize(("half_bar", "second"), [(8, 34), (7, 30)])
def test_a_half_bar_ends_its_phrase(half_bar: int, second: int) -> None:
    """The phrase after a bar of two begins on the next one, inside a section too."""
    bars = [4] * 16
    bars.insert(half_bar, 2)
    if half_bar == 7:
        del bars[0]
    phrases = group_phrases(positions_of(bars), 4, (section(0, sum(bars)),))

    assert starts(phrases, 32) == [0, second]


def test_lengths_reach_to_the_next_of_the_level_or_higher() -> None:
    """Real lengths are given, not nominal ones."""
    phrases = group_phrases(positions_of([4] * 17), 4, (section(0, 36), section(36, 32)))
    lengths = {(p.start_beat, p.group): p.n_beats for p in phrases}

    assert lengths[0, 32] == 36
    assert lengths[36, 32] == 32
    assert lengths[20, 16] == 16


@pytest.mark.parametrize(
    ("meter", "groups"), [(2, {32, 16, 8}), (3, {24, 12, 6}), (4, {32, 16, 8}), (6, {24, 12, 6})]
)
def test_levels_of_each_meter(meter: int, groups: set[int]) -> None:
    """Fours are counted in eights, threes in sixes."""
    phrases = group_phrases(positions_of([meter] * 32), meter, ())

    assert {phrase.group for phrase in phrases} == groups
    assert all(p.start_beat % p.group == 0 and p.n_beats == p.group for p in phrases)


def test_unusual_meters_group_by_bars() -> None:
    """Fives have groups of eight, four and two bars."""
    assert {p.group for p in group_phrases(positions_of([5] * 16), 5, ())} == {40, 20, 10}


def test_without_sections_phrases_are_doubted() -> None:
    """Counting starts at the first downbeat, with little strength."""
    positions = positions_of([4] * 16, pickup=[3, 4])
    phrases = group_phrases(positions, 4, ())

    assert starts(phrases, 32) == [2, 34]
    assert max(phrase.strength for phrase in phrases) == UNHEARD_STRENGTH


def test_music_before_the_first_section_is_grouped_towards_it() -> None:
    """A hand-made map whose first section begins late: nine bars lead up to it."""
    phrases = group_phrases(positions_of([4] * 17), 4, (section(36, 32),))

    assert starts(phrases, 16) == [0, 20, 36, 52]
    assert phrases[0].strength == UNHEARD_STRENGTH


def test_section_off_the_bar_line_is_taken_as_said() -> None:
    """A hand-made section on a pickup beat is a phrase start all the same."""
    phrases = group_phrases(positions_of([4] * 16), 4, (section(0, 31), section(31, 33)))

    assert 31 in starts(phrases, 32)


def test_evidence_moves_the_extra_bar(rng: np.random.Generator) -> None:
    """Where the music starts anew after the first bar, the extra bar is the first."""
    song = made_song([("A", [4] * 8), ("X", [4]), ("B", [4] * 8), ("A", [4] * 8)], rng, noise=0.3)
    sections = (section(0, 32), section(32, 36), section(68, 32))
    deaf = group_phrases(song.bar_map.positions, 4, sections)
    bars = bar_evidence(song.evidence, song.bar_map.positions, 4)
    heard = group_phrases(song.bar_map.positions, 4, sections, bars=bars)

    assert 48 in starts(deaf, 16) and 52 not in starts(deaf, 8)
    assert 52 in starts(heard, 16) and 48 not in starts(heard, 8)


bars_of_song = st.lists(st.sampled_from([4, 4, 4, 4, 4, 4, 2, 3, 5, 6]), min_size=1, max_size=40)


@given(bars_of_song, st.lists(st.integers(0, 39), max_size=5), st.integers(0, 3))
def test_phrases_are_a_tiling(bars: list[int], cuts: list[int], pickup: int) -> None:
    """Each level covers the song from the first one, without gap or overlap."""
    positions = positions_of(bars, pickup=list(range(5 - pickup, 5)))
    edges = np.cumsum([pickup, *bars])
    chosen = sorted({int(edges[c]) for c in cuts if c < len(bars)})
    sections = tuple(section(a, b - a) for a, b in pairwise([*chosen, len(positions)]))
    phrases = group_phrases(positions, 4, sections)

    assert set(chosen) <= set(starts(phrases, 32))
    assert [p.start_beat for p in phrases] == sorted({p.start_beat for p in phrases})
    assert set(starts(phrases, 8)) <= set(edges)
    for group in (32, 16, 8):
        level = [p for p in phrases if p.group >= group]
        ends = [*(p.start_beat for p in level[1:]), len(positions)]
        assert level[0].start_beat == pickup
        assert all(
            p.start_beat + p.n_beats == e
            for p, e in zip(level, ends, strict=True)
            if p.group == group
        )
    assert all(0 <= p.strength <= 1 for p in phrases)


def test_no_beats_no_phrases() -> None:
    """An empty map stays empty, with or without evidence."""
    empty = plain_map(np.zeros(0, dtype=bool), 4)
    evidence = BeatEvidence(
        timbre=np.zeros((0, 20)), harmony=np.zeros((0, 12)), loudness_db=[], flux=np.zeros((0, 4))
    )

    assert add_form(empty, None).phrases == ()
    assert add_form(empty, evidence).phrases == ()


def test_add_form_keeps_sections_of_a_hand_made_map() -> None:
    """Without evidence the map's own sections are grouped and trusted."""
    song = plain_map(np.arange(64) % 4 == 0, 4)
    song = type(song)(
        **{name: getattr(song, name) for name in song.__slots__}
        | {"sections": (section(0, 32), section(32, 32, strength=0.7))}
    )
    formed = add_form(song, None)

    assert formed.sections == song.sections
    assert starts(formed.phrases, 32) == [0, 32]
    assert formed.confidence.phrase == 0.7


def test_add_form_needs_evidence_of_the_same_beats(rng: np.random.Generator) -> None:
    """Evidence of another map is refused."""
    song = made_song([("A", [4] * 8)], rng)

    with pytest.raises(ParameterError, match="evidence has 32 beats and the map 28"):
        add_form(plain_map(np.arange(28) % 4 == 0, 4), song.evidence)


def test_form_found_from_kept_evidence_is_the_same(rng: np.random.Generator) -> None:
    """Through the cache and back: the same sections, letters and strengths."""
    song = made_song([(letter, [4] * 8) for letter in "ABACBB"], rng, noise=1.5)
    kept = BeatEvidence.from_dict(song.evidence.to_dict())
    first, again = add_form(song.bar_map, song.evidence), add_form(song.bar_map, kept)

    assert first.sections == again.sections
    assert first.phrases == again.phrases


@settings(deadline=None)
@given(
    bars=st.lists(st.sampled_from([4, 4, 4, 4, 2, 3, 5, 6]), min_size=1, max_size=9),
    seed=st.integers(0, 1000),
    extra_first=st.booleans(),
)
def test_what_is_no_longer_than_a_group_is_one(
    bars: list[int], seed: int, extra_first: bool
) -> None:
    """Whatever is heard inside, no division of 32 beats or fewer scores higher."""
    edges = np.concatenate([[0], np.cumsum(bars)])
    assume(edges[-1] <= 32)
    odds = np.random.default_rng(seed).uniform(UNHEARD, 0.0, len(bars))
    block = _Block(edges, 1.0, extra_first, odds - odds.mean())

    assert best_segments(_group_scores(block, 0, len(bars), 32, 4)).tolist() == [0]
