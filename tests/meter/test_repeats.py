"""Bars by repetition: what comes back after a half bar is placed as it was before."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from phrasefit._dp import viterbi
from phrasefit.meter import bars, repeats
from phrasefit.meter.beat_descriptors import FrameEvidence, FrameSums
from phrasefit.meter.statespace import BELIEVED_CUT_COST, BarCourses, bar_states

FRAMES_A_BEAT = 20
CLEAR = 4.0  # log odds


def music(n_beats: int, seed: int) -> np.ndarray:
    """Harmony of a section in which nothing repeats [shape=(n_beats, 12)]."""
    return np.random.default_rng(seed).random((n_beats, 12))


def heard_in(harmony: np.ndarray) -> tuple[FrameEvidence, np.ndarray]:
    """A song of which only the harmony of each beat is known, and its beats [frames]."""
    frames = np.repeat(harmony, FRAMES_A_BEAT, axis=0)
    silent = np.zeros(len(frames))
    heard = FrameEvidence(
        hop_s=0.02,
        gain=silent,
        gain_near=silent,
        downbeat=silent,
        onsets=np.zeros((len(frames), 7)),
        change=silent,
        mel_sum=FrameSums(np.zeros((len(frames), 96))),
        chroma_sum=FrameSums(frames),
    )
    return heard, np.arange(len(harmony)) * float(FRAMES_A_BEAT)


def links_of(harmony: np.ndarray) -> np.ndarray:
    """Which beats repeat which."""
    return repeats.link_beats(*heard_in(harmony))


def counted(*lengths: int) -> np.ndarray:
    """Positions in bars of `lengths`."""
    return np.concatenate([np.arange(1, n + 1) for n in lengths])


def positions_with(links: np.ndarray, odds: np.ndarray) -> tuple[list[int], list[int]]:
    """Positions by the beats' own `odds` of a one in four, and with their repeats."""
    states = bar_states()
    courses = BarCourses(states=states, n_beats=(len(odds),))
    emission = bars.place_scores(states, {4: odds, 3: np.full(len(odds), -1.0)}, 0.0)
    own = courses.best(emission)
    settled = repeats.settle(own, courses, emission, links)
    return states.position[own].tolist(), states.position[settled].tolist()


def odds_of(positions: np.ndarray, clear_beats: slice) -> np.ndarray:
    """Ones are clear in `clear_beats`; elsewhere the first and third beats sound alike."""
    odds = np.where(positions % 2 == 1, 0.0, -CLEAR)
    odds[clear_beats] = np.where(positions[clear_beats] == 1, CLEAR, -CLEAR)
    return odds


# -------------------------------------------------------------------- links


def test_links_tie_a_chorus_to_its_return() -> None:
    """Each beat well inside a chorus is tied to the same beat of the other, 82 later."""
    chorus = music(32, seed=1)
    song = np.vstack([chorus, music(50, seed=2), chorus])

    links = links_of(song)

    inside = np.arange(2, 31)
    assert np.array_equal(links[inside].argmax(axis=1), inside + 82)
    assert links[inside, inside + 82].min() > 0.9
    assert np.array_equal(links, links.T)
    assert links.min() >= 0 and links[:, :].sum(axis=1).max() < 2


def test_links_are_the_same_backwards() -> None:
    """A song played from its end has the same links, but for the beat that a stretch is off."""
    chorus = music(32, seed=1)
    song = np.vstack([chorus, music(18, seed=2), chorus])

    back = links_of(song[::-1])[::-1, ::-1]

    # A stretch reaches one beat further back than ahead.
    assert links_of(song)[1:, 1:] == pytest.approx(back[:-1, :-1], abs=0.05)


def places_voted(links: np.ndarray) -> np.ndarray:
    """Votes for the places of a song counted in four from its first beat, over `WEIGHT`."""
    path = np.resize(np.arange(4), len(links))
    assert bar_states().position[path][:5].tolist() == [1, 2, 3, 4, 1]
    return repeats.repeat_votes(path, links, 11)[:, :4] / repeats.WEIGHT


def test_where_nothing_repeats_nothing_is_said() -> None:
    """Music that never comes back prefers no place by much, and silence none at all."""
    never, silence = music(200, seed=3), np.zeros((100, 12))

    assert np.median(np.ptp(places_voted(links_of(never)), axis=1)) < 0.15
    assert places_voted(links_of(silence)).max() < 0.05


def test_what_repeats_at_several_places_does_not_choose_between_them() -> None:
    """Two chords by turns fit at every second lag: the first place and the third get the same."""
    by_turns = np.tile(music(2, seed=4), (64, 1))

    votes = places_voted(links_of(by_turns))[32:-32]

    assert np.abs(votes[:, :2] - votes[:, 2:]).max() < 0.1
    assert np.abs(votes[:, 0] - votes[:, 1]).min() > 0.2


def test_likeness_by_hand() -> None:
    """The correlation of two stretches of four beats, two of them before the beat."""
    rows = np.random.default_rng(6).standard_normal((30, 5))

    likeness = repeats.stretch_likeness(rows @ rows.T)

    for a, b in ((7, 22), (22, 7), (12, 14), (5, 5)):
        first, other = rows[a - 2 : a + 2].ravel(), rows[b - 2 : b + 2].ravel()
        lengths = np.linalg.norm(first) * np.linalg.norm(other)
        assert likeness[a, b] == pytest.approx(first @ other / lengths, rel=0.3)
        assert np.sign(likeness[a, b]) == np.sign(first @ other)


# ------------------------------------------------------------------ settling


def test_a_half_bar_before_the_last_chorus_is_found() -> None:
    """Own evidence hears no half bar after beat 96; the chorus that comes back tells it."""
    verse, chorus = music(32, seed=7), music(32, seed=8)
    song = np.vstack([verse, chorus, verse, music(2, seed=9), chorus])
    true = counted(*[4] * 24, 2, *[4] * 8)

    own, settled = positions_with(links_of(song), odds_of(true, slice(0, 96)))

    assert own == counted(*[4] * 32, 2).tolist()
    assert settled == true.tolist()


def test_a_cut_found_too_early_moves_to_the_edge_of_what_repeats() -> None:
    """Own evidence leaves open where in the verse the half bar is: it is after it."""
    verse, chorus = music(32, seed=7), music(32, seed=8)
    song = np.vstack([verse, chorus, verse, music(2, seed=9), chorus])
    true = counted(*[4] * 24, 2, *[4] * 8)
    odds = odds_of(true, slice(0, 64))
    odds[100:] = np.where(true[100:] == 1, CLEAR, -CLEAR)
    odds[72] = -CLEAR  # a doubtful one

    own, settled = positions_with(links_of(song), odds)

    assert own != true.tolist()
    assert settled == true.tolist()


def test_a_regular_song_is_left_as_it_is() -> None:
    """Verses and choruses at lags of whole bars change nothing, wherever the one is heard."""
    verse, chorus = music(32, seed=7), music(32, seed=8)
    links = links_of(np.vstack([verse, chorus, verse, chorus]))
    regular = counted(*[4] * 32)

    for positions in (regular, np.roll(regular, 2)):
        own, settled = positions_with(links, odds_of(positions, slice(0, 64)))
        assert settled == own == positions.tolist()


def test_repeats_make_no_regular_song_surer_of_its_one() -> None:
    """The posterior of a regular song is that of its beats' own evidence."""
    heard, beats = heard_in(np.vstack([music(32, seed=7)] * 4))
    odds = odds_of(counted(*[4] * 32), slice(0, 128))
    heard = replace(heard, downbeat=np.repeat(odds, FRAMES_A_BEAT))
    weights = {f"one_in_{meter}": np.zeros(9 * 31 + 1) for meter in (3, 4)}
    weights |= {"three": np.append(np.zeros(20), -4.0)}

    nowhere = np.full(len(beats), bars.NOT_DECODED)
    placed = bars.place_bars(heard, (beats[:66], beats[66:]), weights, nowhere)

    courses = BarCourses(states=placed.states, n_beats=(66, 62))
    own = bars.place_scores(placed.states, placed.one_odds, placed.meter_odds / 128)
    assert placed.positions.tolist() == counted(*[4] * 32).tolist()
    assert placed.posterior == pytest.approx(courses.posterior(own)[0])


def test_decoded_beats_keep_their_places_and_new_ones_get_theirs() -> None:
    """Places found together with the beats stay where the beats alone say nothing."""
    heard, beats = heard_in(music(64, seed=7))
    heard = replace(heard, downbeat=np.zeros(64 * FRAMES_A_BEAT))
    weights = {f"one_in_{meter}": np.zeros(9 * 31 + 1) for meter in (3, 4)}
    weights |= {"three": np.append(np.zeros(20), -4.0)}
    states = np.roll(counted(*[4] * 16), 2) - 1  # the first four states are those of a bar of four
    open_ = states.copy()
    open_[:3] = open_[20:27] = bars.NOT_DECODED

    placed = bars.place_bars(heard, (beats,), weights, open_)

    assert placed.positions.tolist() == (states + 1).tolist()


@pytest.mark.parametrize("extra", [3, 5])
def test_a_beat_more_or_less_is_found(extra: int) -> None:
    """A bar of three or five before the last chorus, where all beats sound alike."""
    verse, chorus = music(32, seed=7), music(32, seed=8)
    song = np.vstack([verse, chorus, verse, music(extra, seed=9), chorus])
    true = counted(*[4] * 24, extra, *[4] * 8)
    odds = np.zeros(len(true))
    odds[:96] = np.where(true[:96] == 1, CLEAR, -CLEAR)

    own, settled = positions_with(links_of(song), odds)

    assert own != true.tolist()
    assert [at for at, place in enumerate(settled) if place == 1 and at > 96 + extra] == [
        *range(100 + extra, len(true), 4)
    ]


def test_agreement_by_hand() -> None:
    """Across each beat, linked beats by how many places the later is ahead, pair by pair."""
    rng = np.random.default_rng(10)
    links = rng.random((12, 12))
    links += links.T
    place, moves = rng.integers(0, 4, 12), rng.random(12) < 0.8

    across = repeats._agreement_across(place, moves, 4, links)

    for cut in (0, 5, 11):
        expected = np.zeros(4)
        for early in range(cut):
            for late in range(cut, 12):
                if moves[early] and moves[late]:
                    expected[(place[late] - place[early]) % 4] += links[early, late]
        assert across[cut] == pytest.approx(expected)


def test_scores_are_those_of_the_best_path() -> None:
    """Over two chains the score of the best path is the sum of their own, and each pair counts."""
    states = bar_states()
    emission = np.random.default_rng(11).standard_normal((20, len(states.meter)))
    courses = BarCourses(states=states, n_beats=(12, 8))
    links = np.zeros((20, 20))
    links[3, 15] = links[15, 3] = 0.5

    path = courses.best(emission)
    alone = [
        viterbi(states.log_start, states.log_transition, part)[1]
        for part in (emission[:12], emission[12:])
    ]

    assert courses.score(path, emission) == pytest.approx(sum(alone))
    tied = path.copy()
    tied[15] = tied[3]
    gain = repeats._total(tied, courses, emission, links) - courses.score(tied, emission)
    assert gain == pytest.approx(0.5 * repeats.WEIGHT)


def test_repeats_tell_the_cut_but_not_which_beat_is_the_one() -> None:
    """Sure of all bars if the one is clear once; undecided between two that sound alike."""
    verse, chorus = music(32, seed=7), music(32, seed=8)
    links = links_of(np.vstack([verse, chorus, verse, music(2, seed=9), chorus]))
    true, states = counted(*[4] * 24, 2, *[4] * 8), bar_states()
    path = np.flatnonzero((states.meter == 4) & (states.position <= 4))[true - 1]
    courses = BarCourses(states=states, n_beats=(len(true),))
    tied = np.delete(np.arange(len(true)), [96, 97])  # the half bar: two beats, or six

    lowest = {}
    for n_clear in (32, 0):
        odds = odds_of(true, slice(0, n_clear))
        emission = bars.place_scores(states, {4: odds, 3: np.full(len(odds), -1.0)}, 0.0)
        found = repeats.posterior_with_repeats(path, courses, emission, links)
        assert found.sum(axis=1) == pytest.approx(1.0)
        lowest[n_clear] = found[tied, path[tied]].min()

    assert lowest[32] > 0.99
    # A little over half: a return that begins with its one fits the half bar better.
    assert 0.4 < lowest[0] < 0.9


@pytest.mark.parametrize(("n_bars_after", "believed"), [(5, False), (24, True)])
def test_an_odd_bar_is_believed_only_if_much_speaks_for_it(
    n_bars_after: int, believed: bool
) -> None:
    """Few bars after a half bar make a cut by themselves, but are not believed against a song."""
    true = counted(*[4] * 24, 2, *[4] * n_bars_after)
    states, strict = bar_states(), bar_states(BELIEVED_CUT_COST)
    odds = odds_of(true, slice(0, len(true)))
    emission = bars.place_scores(states, {4: odds, 3: np.full(len(odds), -1.0)}, 0.0)
    nothing_repeats = np.zeros((len(true), len(true)))

    own = BarCourses(states=states, n_beats=(len(true),)).best(emission)
    courses = BarCourses(states=strict, n_beats=(len(true),))
    settled = repeats.settle(own, courses, emission, nothing_repeats)

    assert states.position[own].tolist() == true.tolist()
    regular = np.resize(counted(4), len(true))
    expected = true if believed else regular
    assert states.position[settled].tolist() == expected.tolist()
