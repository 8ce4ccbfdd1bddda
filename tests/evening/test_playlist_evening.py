"""The evening keeps every wish, is proven near the best, and says so when none exists."""

from __future__ import annotations

import dataclasses
import functools
import itertools
import re

import numpy as np
import pytest

from fit_songs import make_part, make_song
from phrasefit.errors import NoFitError, ParameterError
from phrasefit.evening.build import Evening, EveningRequest, Pairing, build_evening
from phrasefit.evening.integer_program import POINTS_PER_MINUTE, EveningProgram
from phrasefit.fit import fit_routine
from phrasefit.model import Routine
from phrasefit.reports.playlists import render_evening

ODD = ([8], [9, 8], [8, 10, 8], [4, 8, 9])  # bars of the sections after the intro


@functools.cache
def pairing(song: int, routine: int) -> Pairing:
    """Make a pairing: song and routine are told apart by their numbers."""
    bpm = 92 + 7 * (song % 8)
    bars = [8, *ODD[song % 4], 8, 8, *([8] * (song % 3))]
    bar_map = make_song(
        *((chr(65 + i % 3), n) for i, n in enumerate(bars)),
        bpm=bpm,
        title=f"Song {song}.",
        artist=f"Artist {song % 4}" if song % 5 else "",
    )
    dance = Routine(
        name=f"Dance {routine}.",
        walls=4,
        parts=(make_part(counts=32 if routine % 2 else 16),),
        level=("beginner", "improver", "intermediate")[routine % 3],
        swing=(0.5, 0.67)[routine % 2],
        tempo_bpm=(60, 200),
    )
    return Pairing(key=str(song), fit=fit_routine(bar_map, dance, max_changes=1))


def pairings(n_songs: int = 16, n_routines: int = 12) -> list[Pairing]:
    """Pair every song with some of the routines."""
    return [
        pairing(song, routine)
        for song in range(n_songs)
        for routine in range(n_routines)
        if (song * 7 + routine * 5) % 4 < 2
    ]


def wish(minutes: float = 12.0, **fields: object) -> EveningRequest:
    """EveningRequest without the rules that stand by default."""
    plain = {
        "fast_in_a_row": True, "beginner_every": 0, "artist_gap": 0, "min_score": 0.0,
        "min_length_s": 0.0,
    }  # fmt: skip
    return EveningRequest(minutes=minutes, **(plain | fields))


def names(evening: Evening) -> list[tuple[str, str]]:
    """List song and routine of each place."""
    return [(d.pairing.key, d.pairing.fit.routine.name) for d in evening.dances]


def test_nothing_twice() -> None:
    """No song is played twice and no routine danced twice."""
    evening = build_evening(pairings(), wish(16))

    songs, routines = zip(*names(evening), strict=True)
    assert len(set(songs)) == len(songs)
    assert len(set(routines)) == len(routines)
    assert [dance.place for dance in evening.dances] == list(range(1, len(songs) + 1))


@pytest.mark.parametrize("minutes", [5, 12, 18])
def test_length(minutes: float) -> None:
    """The evening is about as long as wished, and its times add up."""
    evening = build_evening(pairings(), wish(minutes, pause_s=20.0))

    assert evening.length_s / 60 == pytest.approx(minutes, abs=0.75)
    for before, after in itertools.pairwise(evening.dances):
        assert after.start_s == pytest.approx(before.start_s + before.pairing.length_s + 20)


def test_no_two_fast_ones_in_a_row() -> None:
    """By default a fast dance is followed by a slower one."""
    wishes = wish(14, fast_in_a_row=False, fast_cpm=110)

    fast = [d.pairing.counts_per_minute >= 110 for d in build_evening(pairings(), wishes).dances]

    assert any(fast)
    assert not any(a and b for a, b in itertools.pairwise(fast))


def test_alternation() -> None:
    """Fast and slow by turns."""
    evening = build_evening(pairings(), wish(14, alternate=True, fast_cpm=112))

    fast = [dance.pairing.counts_per_minute >= 112 for dance in evening.dances]
    assert all(a != b for a, b in itertools.pairwise(fast))


def test_curve() -> None:
    """The tempo follows the curve; each reason says what was wished for."""
    evening = build_evening(pairings(), wish(14, curve=(95, 130, 95)))

    tempos = [dance.pairing.counts_per_minute for dance in evening.dances]
    middle = len(tempos) // 2
    assert tempos[middle] > tempos[0] + 10
    assert tempos[middle] > tempos[-1] + 10
    assert all("wished for" in ", ".join(dance.reasons) for dance in evening.dances)


def test_beginner_dance_in_every_three() -> None:
    """Among any three dances in a row one is for beginners."""
    evening = build_evening(pairings(), wish(16, beginner_every=3))

    easy = [dance.pairing.for_beginners for dance in evening.dances]
    assert all(any(easy[i : i + 3]) for i in range(len(easy) - 2))


def test_beginner_share() -> None:
    """At least the share that was wished for is for beginners."""
    evening = build_evening(pairings(), wish(10, beginner_share=0.6))

    easy = [dance.pairing.for_beginners for dance in evening.dances]
    assert sum(easy) >= 0.6 * len(easy)


@pytest.mark.parametrize("gap", [1, 2])
def test_gap_between_songs_of_an_artist(gap: int) -> None:
    """So many others stand between two songs of one artist; unknown artists do not count."""
    evening = build_evening(pairings(), wish(16, artist_gap=gap))

    artists = [dance.pairing.fit.bar_map.artist for dance in evening.dances]
    for i, j in itertools.combinations(range(len(artists)), 2):
        assert not (artists[i] and artists[i] == artists[j] and j - i <= gap)


def test_gap_between_rhythms() -> None:
    """Two dances of one rhythm do not follow each other."""
    evening = build_evening(pairings(), wish(10, rhythm_gap=1))

    rhythms = [dance.pairing.rhythm for dance in evening.dances]
    assert all(a != b for a, b in itertools.pairwise(rhythms))


def test_must_never_and_fixed() -> None:
    """Songs asked for are there, songs refused are not, and fixed ones stand in their place."""
    wishes = wish(
        12,
        must=("song 3.",),
        never=("SONG 5.", "Artist 2"),
        fixed=((2, "Dance 7."), (4, "Song 8.")),
    )

    evening = build_evening(pairings(), wishes)

    songs = [dance.pairing.fit.bar_map for dance in evening.dances]
    assert "Song 3." in {song.title for song in songs}
    assert "Song 5." not in {song.title for song in songs}
    assert "Artist 2" not in {song.artist for song in songs}
    assert evening.dances[1].pairing.fit.routine.name == "Dance 7."
    assert songs[3].title == "Song 8."
    assert "you put it here" in evening.dances[3].reasons


def test_teaching_takes_its_time() -> None:
    """A taught routine is danced right after its lesson, which counts in the length."""
    evening = build_evening(pairings(), wish(20, teach=("Dance 3.",), teach_minutes=10))

    (lesson,) = [dance for dance in evening.dances if dance.taught]
    assert lesson.pairing.fit.routine.name == "Dance 3."
    assert "taught just before" in lesson.reasons
    before = [d for d in evening.dances if d.place == lesson.place - 1]
    ready_s = before[0].start_s + before[0].pairing.length_s + 30 if before else 0.0
    assert lesson.start_s == pytest.approx(ready_s + 600)
    assert evening.length_s / 60 == pytest.approx(20, abs=0.75)


def test_only_routines_are_taught() -> None:
    """The word of a song, or a slip, would be a lesson of another dance, or of none."""
    for word in ("Song 3.", "Dense 3."):
        message = rf"'{word}' is to be taught, and is no routine .* name one of Dance 0., Dance"
        with pytest.raises(ParameterError, match=message):
            build_evening(pairings(), wish(20, teach=(word,), teach_minutes=10))


def test_routines_may_come_again_but_not_at_once() -> None:
    """With few routines each may be repeated, never twice in a row."""
    evening = build_evening(pairings(16, 3), wish(14, repeats=4))

    routines = [routine for _, routine in names(evening)]
    assert len(set(routines)) < len(routines)
    assert all(routines.count(name) <= 4 for name in routines)
    assert all(a != b for a, b in itertools.pairwise(routines))


def test_seed_repeats_and_varies() -> None:
    """The same seed gives the same evening; other seeds give others nearly as good."""
    first, again = (build_evening(pairings(), wish(12, seed=5)) for _ in range(2))
    others = [build_evening(pairings(), wish(12, seed=seed)) for seed in range(6, 10)]

    assert names(first) == names(again)
    assert any(names(other) != names(first) for other in others)
    for other in others:
        assert other.value == pytest.approx(first.value, rel=0.02)


@pytest.mark.parametrize("seed", range(6))
def test_bound_holds_against_trying_everything(seed: int) -> None:
    """On small cases no order of any pairings exceeds the bound, and the value comes near it."""
    rng = np.random.default_rng(seed)
    few = list(rng.choice(np.array(pairings(8, 6), dtype=object), 8, replace=False))
    wishes = wish(6.5, seed=seed, fast_in_a_row=False, fast_cpm=110, curve=(100, 120))
    try:
        evening = build_evening(few, wishes)
    except NoFitError:
        evening = None

    best = best_by_trying(few, wishes)

    if evening is None:
        assert best == -np.inf
    else:
        assert evening.value - 1e-6 <= best <= evening.bound + 1e-6
        assert evening.value >= best - 0.01 * abs(best) - 1.0


def best_by_trying(few: list[Pairing], wishes: EveningRequest) -> float:
    """Try every order of every choice, with rules of its own making."""
    program = EveningProgram(few, wishes)
    worth, best = program.worth(), -np.inf
    for chosen in itertools.permutations(range(len(few)), program.n_places):
        picked = [few[i] for i in chosen]
        fast = [o.counts_per_minute >= wishes.fast_cpm for o in picked]
        if (
            len({o.key for o in picked}) < len(picked)
            or len({o.fit.routine.name for o in picked}) < len(picked)
            or any(a and b for a, b in itertools.pairwise(fast))
        ):
            continue
        length_s = sum(o.length_s for o in picked) + wishes.pause_s * (len(picked) - 1)
        value = sum(worth[i, t] for t, i in enumerate(chosen))
        best = max(best, value - POINTS_PER_MINUTE * abs(length_s / 60 - wishes.minutes))
    return best


def test_wishes_that_contradict_each_other_are_named() -> None:
    """The error names wishes any of which could be left aside."""
    wishes = wish(12, fixed=((1, "Dance 2."), (3, "Dance 2.")))

    with pytest.raises(NoFitError, match=r'without "Dance 2\." at place 1') as error:
        build_evening(pairings(), wishes)

    assert "without the limit on dancing a routine again" in str(error.value)


@pytest.mark.parametrize(
    ("wishes", "message"),
    [
        ({"must": ("Nobody",)}, "in no title, artist or routine"),
        ({"fixed": ((99, "Song 1."),)}, "lies outside the evening"),
        ({"never": ("Song",)}, "no song fits any routine"),
    ],
)
def test_wishes_that_cannot_be_met(wishes: dict, message: str) -> None:
    """Each has its own reason and remedy."""
    with pytest.raises((NoFitError, ParameterError), match=message):
        build_evening(pairings(), wish(**wishes))


@pytest.mark.parametrize(
    ("n_routines", "minutes", "reason"),
    [
        (3, 13, r"13 minutes need \d dances and there are only 3 with these routines.*--repeats 2"),
        (12, 300, r"300 minutes need \d+ dances and there are only 12 with these routines"),
    ],
)
def test_a_shorter_evening_is_offered(n_routines: int, minutes: float, reason: str) -> None:
    """Where the wished length cannot be filled; the note has reason and remedy."""
    evening = build_evening(pairings(16, n_routines), wish(minutes))

    assert len(evening.dances) == n_routines
    assert evening.length_s < 60 * minutes
    assert re.search(reason, evening.notes[0])


def test_an_evening_of_one_dance_is_told_as_one() -> None:
    """One song and one routine: one dance from one pair, and why there is no more."""
    evening = build_evening(pairings(1, 1), wish(60))

    text = render_evening(evening)

    assert text.startswith("1 dance, ")
    assert "chosen from 1 pair of song and routine" in text
    assert "there are songs for only 1: the evening is shorter" in text


def test_wishes_that_only_a_shorter_evening_meets() -> None:
    """Fast and slow by turns with one fast song: as long as that goes, and why no longer."""
    few = [pairing(song, routine) for song in (0, 8, 16, 6) for routine in range(8)]
    wishes = wish(12, alternate=True, fast_cpm=130)

    evening = build_evening(few, wishes)

    assert len(evening.dances) == 3
    assert "instead of 4" in evening.notes[-1]
    assert "without the alternation of fast and slow" in evening.notes[-1]


def test_no_routine_again_before_all_were_danced() -> None:
    """The first round has every routine once; then a gap is kept."""
    evening = build_evening(pairings(24, 5), wish(30, repeats=3, repeat_gap=3))
    names = [dance.pairing.fit.routine.name for dance in evening.dances]

    assert len(names) > 6
    assert len(set(names[:5])) == 5
    assert all(len(set(names[i : i + 4])) == 4 for i in range(len(names) - 3))


def test_routines_that_share_their_only_song_do_not_end_the_first_round() -> None:
    """Only one of two waltzes had a song, so nothing came again and the evening was short."""
    shared = [pairing(20, 3), pairing(20, 4)]
    offers = [pairing(song, routine) for song in range(12) for routine in range(3)] + shared
    evening = build_evening(offers, wish(16, repeats=4, repeat_gap=2))
    names = [dance.pairing.fit.routine.name for dance in evening.dances]

    assert len(names) > 6
    assert len(set(names[:4])) == 4
    assert not evening.notes


def test_the_shorter_evening_is_the_longest() -> None:
    """Fast and slow by turns with one fast song: some lengths were passed over."""
    songs = [0, 8, 16, 24, 32, 40, 48, 56, 64, 72, 80, 6]
    few = [pairing(song, routine) for song in songs for routine in range(12)]
    evening = build_evening(few, wish(24, alternate=True, fast_cpm=130))

    assert len(evening.dances) == 3


def test_short_songs_and_songs_out_of_reach_are_left_out() -> None:
    """A DJ plays neither; how many were short is noted."""
    long = [o for o in pairings() if o.fit.bar_map.duration_s >= 130]
    n_short = len({o.key for o in pairings()} - {o.key for o in long})
    fast = make_song(*[("A", 8)] * 9, bpm=180, title="Quick", beats_per_count=1.0)
    dance = Routine(name="Calm", walls=4, parts=(make_part(),), tempo_bpm=(90, 120))
    quick = Pairing(key="quick", fit=fit_routine(fast, dance))

    evening = build_evening([*pairings(), quick], wish(8, min_length_s=130.0))

    assert n_short
    assert all(dance.pairing in long for dance in evening.dances)
    assert f"{n_short} songs shorter than 2:10 left out (--min-length)" in evening.notes


def test_the_next_best_stands_there_instead() -> None:
    """The others stay; asked again, another one comes; the value never rises."""
    evenings = [build_evening(pairings(), wish(12, instead=(2,) * n)) for n in range(3)]
    songs = [[dance.pairing.key for dance in evening.dances] for evening in evenings]

    assert len({tuple(row[:1] + row[2:]) for row in songs}) == 1
    assert len({row[1] for row in songs}) == 3
    values = [evening.value for evening in evenings]
    assert values == sorted(values, reverse=True)

    with pytest.raises(ParameterError, match="place 99 lies outside the evening"):
        build_evening(pairings(), wish(12, instead=(99,)))


def test_no_beginner_routine_is_noted() -> None:
    """Where no routine is for beginners the default wish is left aside, and said."""
    hard = [o for o in pairings() if not o.for_beginners]

    assert (
        "none of the routines is for beginners"
        in build_evening(hard, wish(10, beginner_every=3)).notes[0]
    )


@pytest.mark.parametrize(
    "field", [{"minutes": 0}, {"beginner_share": 2}, {"repeats": 0}, {"curve": (5,)}]
)
def test_bad_wishes(field: dict) -> None:
    """EveningRequest out of range are refused at once."""
    with pytest.raises(ParameterError):
        dataclasses.replace(wish(), **field)


def test_changed_tempo_is_the_tempo_played() -> None:
    """A song that must be slowed down plays longer, at the routine's tempo."""
    song = make_song(*[("A", 8)] * 5, bpm=130)
    dance = Routine(name="D", walls=4, parts=(make_part(),), tempo_bpm=(100, 124))
    pairing = Pairing(key="x", fit=fit_routine(song, dance))

    assert pairing.counts_per_minute == pytest.approx(124, abs=0.15)
    assert pairing.length_s == pytest.approx(song.duration_s * 130 / 124, rel=0.001)
