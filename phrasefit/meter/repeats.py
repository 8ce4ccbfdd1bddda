"""Repetition tells where bars are cut: beats that repeat each other have the same place.

With an alternating bass, the first and the third beat of a bar look alike, and after a
half bar little tells that the bars now begin elsewhere.  But the chorus comes back: it
lies 130 beats after the one before, not 128.  Repetition says nothing of which beat
is the one; it only ties the places of beats to each other.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from phrasefit.meter.beat_descriptors import FrameEvidence, mean_by_beat
from phrasefit.meter.handmade import running_sum
from phrasefit.meter.statespace import BarCourses, BarStates

STRETCH_BEATS = 4  # alike is what is alike for this long; longer blurs where a bar is cut
SURROUNDINGS_BEATS = 8  # to each side: what does not change within them tells nothing
NEAREST_BEATS = 16  # a groove repeats itself at once, and any place in the bar does
ALIKE = 0.5  # correlation from which a stretch may be a repeat
SHARPNESS = 16.0  # how fast a less alike stretch loses to the most alike
QUIET_SHARE = 0.5  # of the usual change from beat to beat; below it likeness is chance
# Weight of one beat's repeats against its own evidence: thirteen beats outweigh a cut.
# This and the above: most bars right on made songs; nearby values do as well.
WEIGHT = 3.0
MAX_ROUNDS = 4
LEAST_GAIN = 1e-3  # sums are not exact
LONGEST_BEATS = 2000  # beyond a song's length; the links of hours would fill the memory


def link_beats(heard: FrameEvidence, beats: np.ndarray) -> np.ndarray:
    """Find which beats repeat which.

    Parameters
    ----------
    heard : FrameEvidence
    beats : np.ndarray [shape=(n_beats,), frames], at least 2

    Returns
    -------
    np.ndarray [shape=(n_beats, n_beats), >= 0, symmetric]
        Each beat shares at most 1 among the beats that it repeats, by how alike the
        stretches around them are.  Where nothing repeats, little is spread thinly.
    """
    rows = _movement(heard, beats)
    likeness = stretch_likeness(rows @ rows.T)
    at = np.arange(len(beats))
    shares = np.exp(SHARPNESS * (likeness - ALIKE))
    shares[np.abs(at[:, None] - at) < NEAREST_BEATS] = 0.0
    shares /= 1.0 + shares.sum(axis=1, keepdims=True)
    return (shares + shares.T) / 2


def _movement(heard: FrameEvidence, beats: np.ndarray) -> np.ndarray:
    """Harmony and sound of both halves of each beat, against their surroundings."""
    closed = np.append(beats, 2 * beats[-1] - beats[-2])
    halves = np.interp(np.arange(2 * len(beats) + 1) / 2, np.arange(len(closed)), closed)
    parts = []
    for frames in (heard.chroma_sum, heard.mel_sum):
        rows = mean_by_beat(frames, halves).reshape(len(beats), -1)
        rows = rows - _surroundings(rows)
        parts.append(rows / np.sqrt((rows**2).sum(axis=1).mean() + 1e-9))
    return np.hstack(parts).astype(np.float32)


def _surroundings(rows: np.ndarray) -> np.ndarray:
    total, at = running_sum(rows), np.arange(len(rows))
    start = np.maximum(at - SURROUNDINGS_BEATS, 0)
    stop = np.minimum(at + SURROUNDINGS_BEATS + 1, len(rows))
    return (total[stop] - total[start]) / (stop - start)[:, None]


def stretch_likeness(products: np.ndarray) -> np.ndarray:
    """Correlate the stretch around each beat with that around each other beat.

    Parameters
    ----------
    products : np.ndarray [shape=(n_beats, n_beats)]
        Inner products of the descriptions of beats.

    Returns
    -------
    np.ndarray [shape=(n_beats, n_beats), -1 to 1, symmetric]
        Of stretches of `STRETCH_BEATS`, the half of them before the beat.
    """
    n_beats, half = len(products), STRETCH_BEATS // 2
    # In rows that are longer by one than the matrix wide, diagonals are columns.
    wide = np.zeros((n_beats + 1, 2 * n_beats), dtype=products.dtype)
    wide[:n_beats, :n_beats] = products
    by_lag = wide.ravel()[: n_beats * (2 * n_beats + 1)].reshape(n_beats, -1)
    padded = np.pad(by_lag[:, :n_beats], ((half, STRETCH_BEATS - half - 1), (0, 0)))
    sums = padded[:n_beats].copy()
    for shift in range(1, STRETCH_BEATS):
        sums += padded[shift : shift + n_beats]
    by_lag = np.zeros((n_beats, 2 * n_beats + 1), dtype=products.dtype)
    by_lag[:, :n_beats] = sums
    later = np.resize(by_lag, (n_beats + 1, 2 * n_beats))[:n_beats, :n_beats]
    later = np.triu(later)
    power = np.maximum(sums[:, 0], QUIET_SHARE * sums[:, 0].mean() + 1e-9)
    return (later + np.triu(later, 1).T) / np.sqrt(power[:, None] * power)


def repeat_votes(path: np.ndarray, links: np.ndarray, n_states: int) -> np.ndarray:
    """What the repeats of each beat say of its place [shape=(n_beats, n_states)].

    `path` are the states of all beats.  Votes are log scores to be added to an emission.
    """
    return WEIGHT * (links @ np.eye(n_states, dtype=links.dtype)[path])


def settle(
    path: np.ndarray, courses: BarCourses, emission: np.ndarray, links: np.ndarray
) -> np.ndarray:
    """Find bars that the beats' own evidence and their repeats agree on.

    Parameters
    ----------
    path : np.ndarray [shape=(n_beats,)]
        States by the beats' own evidence.
    courses : BarCourses
    emission : np.ndarray [shape=(n_beats, n_states)]
        The beats' own evidence.
    links : np.ndarray [shape=(n_beats, n_beats)]
        As from `link_beats`.

    Returns
    -------
    np.ndarray [shape=(n_beats,)]
        `path` if nothing better is found.

    Notes
    -----
    Sought is the path of the highest score: its own, and `WEIGHT` for all linked beats in
    the same state.  Ties between far beats fit in no chain; so from one path to the next,
    votes are those of the last path, or of that with one more cut after which all
    positions are others (iterated conditional modes with a move for many beats at once:
    J. Besag, "On the statistical analysis of dirty pictures", 1986; from memory).  Cuts
    at wrong places can hold each other there; so bars without any are a second start.
    """
    start = _Settled(path, _total(path, courses, emission, links))
    flat = _without_cuts(path, courses.states)
    begun = [start, _Settled(flat, _total(flat, courses, emission, links))]
    ends = [_climb(one, courses, emission, links) for one in begun]
    best = max(ends, key=lambda end: end.total)
    return best.path if best.total > start.total + LEAST_GAIN else path


def posterior_with_repeats(
    path: np.ndarray, courses: BarCourses, emission: np.ndarray, links: np.ndarray
) -> np.ndarray:
    """Probability of each state, by the beats' own evidence and by the repeats in `path`.

    Repeats tell where bars are cut, not which beat is the one: taken as they are, votes
    for the places in `path` would make any song sure of them.  So `path` is weighed
    against the same bars with all ones 1, 2 ... beats later.

    Returns
    -------
    np.ndarray [shape=(n_beats, n_states), rows sum to 1]
    """
    meter = _usual_meter(path, courses.states)
    found = [
        courses.posterior(emission + repeat_votes(turned, links, emission.shape[1]))
        for turned in (_turned(path, courses.states, by) for by in range(meter))
    ]
    log_share = np.array([log_likelihood for _, log_likelihood in found])
    share = np.exp(log_share - log_share.max())
    return np.tensordot(share / share.sum(), [posterior for posterior, _ in found], axes=1)


def _usual_meter(path: np.ndarray, states: BarStates) -> int:
    return int(np.bincount(states.meter[path]).argmax())


def _turned(path: np.ndarray, states: BarStates, by: int) -> np.ndarray:
    """Move beats in bars of the usual meter to the place that is `by` later in the bar."""
    meter = _usual_meter(path, states)
    first = int(np.flatnonzero(states.meter == meter)[0])
    inside = (states.meter[path] == meter) & (states.position[path] <= meter)
    return np.where(inside, first + (path - first + by) % meter, path)


class _Settled(NamedTuple):
    path: np.ndarray
    total: float


def _total(path: np.ndarray, courses: BarCourses, emission: np.ndarray, links: np.ndarray) -> float:
    votes = repeat_votes(path, links, emission.shape[1])
    agreed = votes[np.arange(len(path)), path].sum()
    return courses.score(path, emission) + float(agreed) / 2  # each pair is in it twice


def _climb(
    here: _Settled, courses: BarCourses, emission: np.ndarray, links: np.ndarray
) -> _Settled:
    """Go from path to path while the total grows."""
    for _ in range(MAX_ROUNDS):
        bases = [here.path, *_with_one_more_cut(here.path, courses.states, emission, links)]
        options = [
            courses.best(emission + repeat_votes(base, links, emission.shape[1])) for base in bases
        ]
        reached = [_Settled(o, _total(o, courses, emission, links)) for o in options]
        best = max(reached, key=lambda one: one.total)
        if best.total <= here.total + LEAST_GAIN:
            break
        here = best
    return here


def _without_cuts(path: np.ndarray, states: BarStates) -> np.ndarray:
    """Count through the song in its usual meter, from where most beats agree."""
    meter, beats = _usual_meter(path, states), np.arange(len(path))
    start = int(np.bincount((states.position[path] - 1 - beats) % meter).argmax())
    return int(np.flatnonzero(states.meter == meter)[0]) + (beats + start) % meter


def _with_one_more_cut(
    path: np.ndarray, states: BarStates, emission: np.ndarray, links: np.ndarray
) -> list[np.ndarray]:
    """Give the path with the one more cut that gains most; none if none gains.

    All beats from the cut on, in the song's usual meter, move by the same number of places.
    """
    meter = _usual_meter(path, states)
    moves = (states.meter[path] == meter) & (states.position[path] <= meter)
    place = np.where(moves, states.position[path] - 1, 0)
    agreed = _agreement_across(place, moves, meter, links)
    beats, best, found = np.arange(len(path)), 0.0, []
    for shift in range(1, meter):
        moved = _turned(path, states, shift)
        own = emission[beats, moved] - emission[beats, path]
        gain = np.cumsum(own[::-1])[::-1] - states.cut_cost
        gain += WEIGHT * (agreed[:, -shift % meter] - agreed[:, 0])
        gain[
            ~moves | (states.position[moved] != 1) | (beats == 0)
        ] = -np.inf  # after a cut comes a one
        cut = int(gain.argmax())
        if gain[cut] > best:
            best, found = float(gain[cut]), [np.where(beats >= cut, moved, path)]
    return found


def _agreement_across(
    place: np.ndarray, moves: np.ndarray, meter: int, links: np.ndarray
) -> np.ndarray:
    """Sum the links across each beat, from before it to it or later.

    Returns
    -------
    np.ndarray [shape=(n_beats, meter)]
        By how many places, modulo the meter, the later of two linked beats is ahead.
    """
    at_place = (np.eye(meter)[place] * moves[:, None]).astype(links.dtype)
    forward = np.triu(links, 1)
    with_later, with_earlier = forward @ at_place, forward.T @ at_place
    ahead, beats = np.arange(meter), np.arange(len(place))[:, None]
    opened = with_later[beats, (place[:, None] + ahead) % meter] * moves[:, None]
    closed = with_earlier[beats, (place[:, None] - ahead) % meter] * moves[:, None]
    across = np.cumsum(opened - closed, axis=0, dtype=float)
    return np.vstack([np.zeros((1, meter)), across[:-1]])
