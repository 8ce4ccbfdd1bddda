"""Ranking gives the planner's own plans, and overlooks no song that belongs among the best."""

from __future__ import annotations

import dataclasses
import importlib.resources

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fit_songs import make_part, make_routine, make_song, with_outlook
from phrasefit.errors import NoFitError, ParameterError, PhrasefitError
from phrasefit.fit import Costs, count_grid, fit_routine
from phrasefit.fit.grid import beat_tempo, choose_level
from phrasefit.fit.request import PlanRequest
from phrasefit.fit.starts import start_candidates
from phrasefit.model import BarMap, Confidence, Phrase, Routine
from phrasefit.ranking.rank import SongFilter, SongTable, fit_or_reason, rank, rank_table
from phrasefit.ranking.scores import best_scores, can_batch
from phrasefit.ranking.summary import UNIT, choose_levels
from phrasefit.routine.from_numbers import routine_from_numbers
from phrasefit.routine.spec import load_routine

ROUTINE_FILES = importlib.resources.files("phrasefit").joinpath("routines")
EXAMPLES = [
    load_routine(str(path)) for path in ROUTINE_FILES.iterdir() if path.name.endswith("toml")
]
ROUTINES = [
    *EXAMPLES,
    make_routine(),
    make_routine(make_part(counts=64, turn=180)),
    make_routine(make_part(counts=48, turn=0), tempo_bpm=(80, 90), intro_counts=24),
    routine_from_numbers(counts=32, walls=4),
    routine_from_numbers(counts=24, walls=2, meter=3),
]
ODD_BARS = st.lists(st.sampled_from([4, 4, 4, 4, 2, 3, 5, 6]), min_size=4, max_size=14)


def random_songs(rng: np.random.Generator, n: int) -> list[BarMap]:
    """Draw songs of all meters and tempos, with odd bars, weak phrases and none at all.

    Strengths are to the thousandth, as the program writes them.
    """
    songs = []
    for i in range(n):
        meter = int(rng.choice([4, 4, 4, 4, 3, 6, 2]))
        lengths = rng.choice([4, 8, 8, 8, 9, 12, 16], size=rng.integers(3, 9))
        sections = [(chr(65 + int(rng.integers(4))), int(bars)) for bars in lengths]
        song = make_song(
            *sections,
            meter=meter,
            bpm=float(rng.uniform(50, 190)),
            pickup=int(rng.integers(0, meter)),
            strengths=tuple(rng.uniform(0.1, 1, len(sections)).round(3)),
            title=f"Song {i}",
            artist=f"Player {i % 3}",
        )
        if rng.random() < 0.5:
            song = dataclasses.replace(song, singing_at_s=float(rng.uniform(0, song.end_s / 3)))
        song = with_phrases(song, rng) if rng.random() < 0.8 else song
        songs.append(with_outlook(song, rng) if rng.random() < 0.5 else song)
    return songs


def with_phrases(song: BarMap, rng: np.random.Generator) -> BarMap:
    """Add phrase starts of all levels on bars of the song."""
    groups = (24, 12, 6) if song.meter % 3 == 0 else (32, 16, 8)
    ones = np.flatnonzero(song.positions == 1)
    starts = np.sort(rng.choice(ones, size=min(12, len(ones)), replace=False))
    ends = [*starts[1:], len(song.positions)]
    phrases = tuple(
        Phrase(
            start_beat=int(a),
            n_beats=int(b - a),
            group=int(rng.choice(groups)),
            strength=round(float(rng.uniform(0, 1)), 3),
        )
        for a, b in zip(starts, ends, strict=True)
    )
    return dataclasses.replace(song, phrases=phrases)


def grids(songs: list[BarMap], routine: Routine, costs: Costs):
    """Lay out songs from their summaries."""
    return SongTable.of(songs).grids(PlanRequest(routine=routine, costs=costs))


@pytest.mark.parametrize("level", [None, 0.5, 1.0, 2.0, 3.0])
@pytest.mark.parametrize("inner", [0.5, 0.0, 1.0])
@pytest.mark.parametrize("routine", ROUTINES, ids=lambda r: f"{r.name} {r.counts}")
def test_summary_equals_count_grid(rng, routine: Routine, inner: float, level) -> None:
    """From the summary comes the same grid as from the whole bar map, whoever chose the level."""
    songs, costs = random_songs(rng, 6), Costs(inner_phrase=inner)
    songs = [dataclasses.replace(song, beats_per_count=level) for song in songs]
    found = grids(songs, routine, costs)

    for i, song in enumerate(songs):
        try:
            grid = fit_routine(song, routine, max_changes=0).grid
        except NoFitError as exc:
            if "beats a bar" in str(exc):
                assert found.n_counts[i] == 0
                continue
        except ParameterError:  # the level does not divide the bar
            assert found.n_counts[i] == 0
            continue
        grid = count_grid(song, routine=routine, costs=costs)
        mine = slice(found.edges[i], found.edges[i + 1])
        laid = np.zeros(len(grid.strength))
        laid[found.count[mine]] = found.expected[mine]

        assert found.n_counts[i] == len(grid.strength)
        assert found.first_one[i] == np.argmax(grid.bar_start)
        assert found.singing[i] == (-1 if grid.singing is None else grid.singing)
        assert found.counts_per_minute[i] == pytest.approx(grid.counts_per_minute)
        assert laid == pytest.approx(grid.expected, abs=UNIT)
        assert (
            found.count[mine][found.shown[mine]].tolist() == np.flatnonzero(grid.strength).tolist()
        )


@pytest.mark.parametrize("routine", ROUTINES, ids=lambda r: f"{r.name} {r.counts}")
def test_levels_equal_choose_level(rng, routine: Routine) -> None:
    """Many songs are counted at the level that one song is."""
    songs = random_songs(rng, 40)
    if routine.meter == 3:
        songs = [song for song in songs if song.meter % 3 == 0]
    tempo = np.array([beat_tempo(song) for song in songs])
    meter = np.array([song.meter for song in songs])

    assert choose_levels(tempo, meter, routine).tolist() == [
        choose_level(song, routine) for song in songs
    ]


@pytest.mark.parametrize("max_changes", [0, 1, 4])
@pytest.mark.parametrize("routine", ROUTINES, ids=lambda r: f"{r.name} {r.counts}")
def test_scores_equal_the_planner(rng, routine: Routine, max_changes: int) -> None:
    """The score of many is the planner's, but for the wall on which the dance ends."""
    if not can_batch(routine):
        pytest.skip("its parts follow the letters")
    songs, costs = random_songs(rng, 16), Costs()
    found = grids(songs, routine, costs)
    request = PlanRequest(routine=routine, max_changes=max_changes, costs=costs)
    scores = best_scores(found, request)

    for song, score in zip(songs, scores, strict=True):
        fit = fit_or_reason(song, request)
        if isinstance(fit, PhrasefitError):
            assert np.isnan(score)
            continue
        first = min(start_candidates(fit.grid, request))
        tolerance = (
            100
            * costs.end_off_front
            / min(
                float(fit.grid.expected[s:].sum()) or 1.0
                for s in range(first, len(fit.grid.strength) - routine.parts[0].counts + 1)
            )
        )
        exact = max(option.score for option in fit.start_options)
        assert exact - 1e-3 <= max(score, 0.0) <= exact + tolerance + 1e-3
        assert fit.plan.score <= max(score, 0.0) + 1e-3


@settings(max_examples=25, deadline=None)
@given(
    bars=st.lists(ODD_BARS, min_size=2, max_size=5),
    again=st.sampled_from([0.0, 0.25, 2.0]),
    odd_tags=st.booleans(),
)
def test_scores_equal_the_planner_on_odd_bars(
    bars: list[list[int]], again: float, odd_tags: bool
) -> None:
    """Songs full of odd bars, so that starts fall on every remainder of the step."""
    song = make_song(*(("A", section) for section in bars))
    routine = make_routine(make_part(counts=16))
    if not odd_tags:
        routine = dataclasses.replace(routine, odd_bar_tags=())
    costs = Costs(again=again, end_off_front=0.0)
    request = PlanRequest(routine=routine, max_changes=3, costs=costs)
    try:
        options = fit_routine(song, request).start_options
    except NoFitError:
        options = ()
    (score,) = best_scores(grids([song], routine, costs), request)

    if options:
        exact = max(option.score for option in options)
        assert max(score, 0.0) >= exact - 2e-3
        if not odd_tags:  # that these lead to a bar line only the planner follows
            assert max(score, 0.0) == pytest.approx(exact, abs=2e-3)
    else:
        assert np.isnan(score)


@pytest.mark.parametrize("routine", ROUTINES, ids=lambda r: f"{r.name} {r.counts}")
def test_top_is_the_head_of_all(rng, routine: Routine) -> None:
    """Planning only what can be among the best gives the same rows as planning everything."""
    songs = random_songs(rng, 24)

    everything = rank(songs, routine)
    best = rank(songs, routine, top=5)

    assert [s.index for s in best.songs] == [s.index for s in everything.songs[:5]]
    assert best.n_planned <= everything.n_planned
    assert best.unfit == everything.unfit
    for row in best.songs:
        assert row.fit.plan == fit_routine(songs[row.index], routine).plan


def test_few_songs_are_planned(rng) -> None:
    """The bound is close enough that a large collection costs few plans."""
    ranking = rank(random_songs(rng, 150), make_routine(), top=5)

    assert ranking.n_planned <= 32


def test_order_puts_unreachable_tempo_last() -> None:
    """A perfect song far too fast comes after a lesser one in range."""
    lesser = make_song(("A", 8), ("B", 9), ("A", 8), ("B", 8), bpm=100, title="Lesser")
    fast = make_song(*[("A", 8)] * 6, bpm=118, title="Fast")
    near = make_song(*[("A", 8)] * 6, bpm=106, title="Near")
    routine = make_routine(tempo_bpm=(95, 104))

    ranking = rank([fast, lesser, near], routine)

    assert [row.fit.bar_map.title for row in ranking.songs] == ["Near", "Lesser", "Fast"]


def test_filters() -> None:
    """Each filter keeps what it names; the numbers left out are reported."""
    unsure = dataclasses.replace(
        make_song(*[("A", 8)] * 5, title="Blue Barn", artist="Ada"),
        confidence=Confidence(downbeat=0.4),
    )
    slow = make_song(*[("A", 8)] * 5, bpm=80, title="Slow Barn", artist="Ben")
    waltz = make_song(*[("A", 8)] * 8, meter=3, bpm=90, title="Barn Waltz")
    songs, routine = [unsure, slow, waltz], make_routine()

    def titles(**wanted: object) -> list[str]:
        ranking = rank(songs, routine, songs=SongFilter(**wanted))
        assert ranking.n_songs == 3
        assert len(ranking.songs) + ranking.n_filtered + sum(ranking.unfit.values()) == 3
        return sorted(row.fit.bar_map.title for row in ranking.songs)

    assert titles() == ["Blue Barn", "Slow Barn"]
    assert titles(min_confidence=0.5) == ["Slow Barn"]
    assert titles(counts_per_minute=(100, 130)) == ["Blue Barn"]
    assert titles(words=("barn", "ADA")) == ["Blue Barn"]
    assert titles(meter=3) == []
    assert rank(songs, routine).unfit == {"not counted in fours": 1}


def test_letters_are_planned_song_by_song(rng) -> None:
    """A routine whose parts follow the letters is ranked too, from the planner alone."""
    parts = (make_part("A", 32, 180), make_part("B", 16, 0))
    routine = make_routine(*parts)
    songs = [make_song(("A", 8), ("B", 4), ("A", 8), ("B", 8), bpm=b) for b in (100, 120)]

    ranking = rank(songs, routine, top=1)

    assert not can_batch(routine)
    assert ranking.songs[0].fit.plan.score == max(
        fit_routine(song, routine).plan.score for song in songs
    )


def test_song_without_beats_is_no_trouble() -> None:
    """An empty map is counted among those that cannot be danced to."""
    empty = BarMap(beat_times_s=[], positions=[], meter=4, tempo_bpm=0.0, end_s=0.0, duration_s=9.0)

    ranking = rank([empty], make_routine())

    assert not ranking.songs
    assert ranking.unfit == {"not counted in fours": 1}


def test_empty_table() -> None:
    """No songs, no rows, no trouble."""
    assert rank([], make_routine(), top=3).songs == ()


def test_damaged_summary_is_noticed() -> None:
    """Bytes that are not a summary end in a clear error, not in nonsense."""
    (song,) = SongTable.of([make_song(*[("A", 8)] * 5)]).songs
    table = SongTable((dataclasses.replace(song, grid=song.grid[:-6]),))

    with pytest.raises(ParameterError, match="summary is damaged"):
        rank_table(table, PlanRequest(routine=make_routine()), lambda i: [])


@pytest.mark.parametrize(
    "wanted", [{"counts_per_minute": (120, 100)}, {"min_confidence": 1.5}], ids=str
)
def test_bad_wishes(wanted: dict) -> None:
    """Filters that cannot be meant are refused."""
    with pytest.raises(ParameterError):
        SongFilter(**wanted)


@pytest.mark.parametrize("options", [{"intro": 16}, {"intro": 40}, {"changes": 0}, {"changes": 1}])
def test_every_request_is_honored(rng, options: dict) -> None:
    """Songs are ranked by the plan that was asked for, and a song without it is left out."""
    songs, routine = random_songs(rng, 30), make_routine()
    request = PlanRequest(routine=routine, **options)

    everything, best = rank(songs, request), rank(songs, request, top=4)

    assert [s.index for s in best.songs] == [s.index for s in everything.songs[:4]]
    for row in everything.songs:
        assert row.fit.plan == fit_routine(songs[row.index], request).plan
        assert options.get("changes", row.fit.plan.n_changes) == row.fit.plan.n_changes
        assert options.get("intro", row.fit.plan.intro_counts) == row.fit.plan.intro_counts
    assert len(everything.songs) + sum(everything.unfit.values()) == len(songs)


def test_a_start_time_is_for_one_song() -> None:
    """Seconds in one song mean nothing in another."""
    with pytest.raises(ParameterError, match="is a time in one song"):
        rank([make_song(("A", 16))], make_routine(), start_s=4.0)
