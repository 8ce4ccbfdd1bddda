"""An evening changed by hand: locked places stay, the next best stands between the others."""

from __future__ import annotations

import dataclasses

import pytest
from test_playlist_evening import names, pairing, pairings, wish

from phrasefit.errors import NoFitError, ParameterError
from phrasefit.evening.build import build_evening
from phrasefit.evening.by_hand import NOT_ALL_WISHES, arranged, next_best


def test_in_the_same_order_it_is_the_same_evening() -> None:
    """Times and reasons are those of the solver, lessons and pauses included."""
    wishes = wish(14, teach=("Dance 3.",), teach_minutes=5, curve=(95, 120))
    found = build_evening(pairings(), wishes)

    again = arranged([dance.pairing for dance in found.dances], wishes)

    assert again.length_s == found.length_s
    for mine, theirs in zip(again.dances, found.dances, strict=True):
        assert (mine.start_s, mine.taught, mine.reasons) == (
            theirs.start_s, theirs.taught, theirs.reasons,
        )  # fmt: skip


def test_an_empty_evening_has_no_length() -> None:
    """Nothing chosen yet is no trouble."""
    assert arranged([], wish()).length_s == 0


def test_a_kept_dance_stays_whatever_it_scores() -> None:
    """Locked at its place, it is there though the least score would leave it out."""
    first = build_evening(pairings(), wish(12))
    worst = min(pairings(), key=lambda o: o.fit.plan.score)
    wishes = wish(12, min_score=worst.fit.plan.score + 1)

    kept = dataclasses.replace(wishes, kept=((2, worst.key, worst.fit.routine.name),))
    evening = build_evening(pairings(), kept)

    assert (worst.key, worst.fit.routine.name) not in names(first)
    assert names(evening)[1] == (worst.key, worst.fit.routine.name)
    assert "you keep it here" in evening.dances[1].reasons


def test_a_kept_place_that_is_no_more() -> None:
    """An evening made shorter than its last locked place says what to do."""
    offer = pairings()[0]
    wishes = wish(5, kept=((9, offer.key, offer.fit.routine.name),))

    with pytest.raises(ParameterError, match=r"kept at place 9.*ask for more minutes"):
        build_evening(pairings(), wishes)


def test_the_next_best_is_the_solvers() -> None:
    """Between the others of a solved evening stands what ``instead`` puts there."""
    standing = [dance.pairing for dance in build_evening(pairings(), wish(12)).dances]
    theirs = build_evening(pairings(), wish(12, instead=(2,))).dances[1].pairing

    other, said = next_best(
        pairings(), standing[:1], standing[2:], wish(12), refused={standing[1].key}
    )

    assert (other.key, said) == (theirs.key, "")


def test_the_next_best_of_an_order_that_breaks_the_wishes() -> None:
    """Where a person put two fast ones side by side, the best that fits still comes."""
    fast = sorted(pairings(), key=lambda o: -o.counts_per_minute)
    before = [fast[0], next(o for o in fast if o.key != fast[0].key)]
    wishes = wish(12, fast_cpm=100, fast_in_a_row=False)

    other, said = next_best(pairings(), before, [], wishes)

    assert said == NOT_ALL_WISHES
    assert other.key not in {o.key for o in before}


def test_the_next_best_brings_no_routine_again_while_others_are_left() -> None:
    """Also where the order breaks other wishes, whatever fits best."""
    offers = pairings()
    best = max(offers, key=lambda o: o.fit.plan.score).fit.routine.name
    its_own = sorted(
        (o for o in offers if o.fit.routine.name == best), key=lambda o: o.fit.plan.score
    )

    other, said = next_best(offers, its_own[:2], [], wish(12))

    assert said == NOT_ALL_WISHES  # the routine is danced twice already
    assert other.fit.routine.name != best


def test_no_song_is_left() -> None:
    """With every other song refused it says so."""
    few = [pairing(song, 0) for song in (0, 1)]

    with pytest.raises(NoFitError, match="no other song is left"):
        next_best(few, few[:1], [], wish(), refused={"1"})
