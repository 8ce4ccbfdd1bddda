"""The evening as a mixed integer program.

One 0-1 variable for each pairing at each place, every wish a linear constraint; solved by
HiGHS (Huangfu and Hall, Parallelizing the dual revised simplex method, Mathematical
Programming Computation 10, 2018) through SciPy.  It comes with a proven bound: how much
better any evening from the same pairings could be.

What is worth having, in points: the fit score of each dance, less a point for each
percent its tempo must be changed, less what the tempo is off the curve wished for, less
what the evening is too long or too short.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from phrasefit.errors import NoFitError, ParameterError, Reason
from phrasefit.evening.evening import EveningRequest, Pairing, curve_at

if TYPE_CHECKING:
    from scipy.optimize import LinearConstraint, OptimizeResult

POINTS_PER_PERCENT = 1.0  # a change of tempo that dancers do not hear costs little
POINTS_PER_COUNT_OFF = 0.5  # for each count a minute off the curve
MOST_CURVE_POINTS = 30.0  # far off is far off
POINTS_PER_MINUTE = 4.0  # for each minute too long or too short
SEED_POINTS = 0.25  # what another seed may change the worth of a dance by
REL_GAP = 0.002  # the solver may stop when it is proven so close to the best
MOST_NODES = 2000  # bounds the search the same way on every machine
MOST_SECONDS = 120.0  # only if the machine is very slow; an evening is then not repeatable
STOPPED = 1  # HiGHS' status when a limit was reached


# A wish in words (empty: always kept), its columns, and the least and most of their sum.
Row = tuple[str, np.ndarray, float, float]


class Solution(NamedTuple):
    """The pairing at each place, the worth of the evening, its bound, and if it is repeatable."""

    chosen: list[int]
    value: float
    bound: float
    repeatable: bool


class EveningProgram:
    """The mixed integer program: variable ``i * n_places + t`` is pairing `i` at place `t`."""

    def __init__(
        self, pairings: Sequence[Pairing], request: EveningRequest, n_places: int | None = None
    ) -> None:
        self.pairings, self.request = pairings, request
        self.notes: list[str] = []
        self._routines = tuple(dict.fromkeys(o.fit.routine.name for o in pairings))
        self.n_places = self._count_places() if n_places is None else n_places
        self._rows: list[Row] = []
        self._add_all()

    def _count_places(self) -> int:
        request = self.request
        dancing_s = 60 * (request.minutes - len(request.teach) * request.teach_minutes)
        usual_s = float(np.median([pairing.length_s for pairing in self.pairings]))
        n = max(1, round((dancing_s + request.pause_s) / (usual_s + request.pause_s)))
        n_songs = len({pairing.key for pairing in self.pairings})
        n_dances = len(self._routines) * request.repeats
        needed = f"{request.minutes:g} minutes need {n} dances and"
        if n_songs < n and n_songs <= n_dances:
            self.notes.append(
                f"{needed} there are songs for only {n_songs}: the evening is shorter; add songs,"
                " or lower --min-score or --min-length"
            )
        elif n_dances < n:
            again = math.ceil(n / len(self._routines))
            repeat = f", or let each be danced again with --repeats {again}"
            self.notes.append(
                f"{needed} there {'is' if n_dances == 1 else 'are'} only {n_dances} with these"
                f" routines: the evening is shorter; give more routines"
                f"{repeat if n_songs >= n else ' and songs'}"
            )
        return min(n, n_songs, n_dances)

    # ------------------------------------------------------------ constraints

    def _add(
        self, wish: str, which: Sequence[bool], places: Sequence[int], low: float, high: float
    ) -> None:
        """Bound how many of these pairings stand at these places; `wish` names it in an error."""
        self._rows.append(self._row(wish, which, places, low, high))

    def _row(
        self, wish: str, which: Sequence[bool], places: Sequence[int], low: float, high: float
    ) -> Row:
        pairings = np.flatnonzero(np.asarray(which))
        columns = (pairings[:, None] * self.n_places + np.asarray(places)).ravel()
        return wish, columns, low, high

    def _each(self, wish: str, key: Callable[[Pairing], str], most: int) -> None:
        everywhere = range(self.n_places)
        for name in dict.fromkeys(key(pairing) for pairing in self.pairings):
            self._add(wish, [key(o) == name for o in self.pairings], everywhere, 0, most)

    def _spread(
        self, wish: str, which: Sequence[bool], window: int, low: float, high: float
    ) -> None:
        """Bound how many of these pairings stand in any `window` places in a row."""
        if window <= self.n_places:
            for first in range(self.n_places - window + 1):
                self._add(wish, which, range(first, first + window), low, high)

    def _add_all(self) -> None:
        pairings, request = self.pairings, self.request
        for place in range(self.n_places):
            self._add("", [True] * len(pairings), [place], 1, 1)
        self._each("", lambda pairing: pairing.key, 1)
        self._each(
            "the limit on dancing a routine again", lambda o: o.fit.routine.name, request.repeats
        )
        self._add_repeats()
        self._add_tempo()
        self._add_beginners()
        for wish, gap, key in (
            ("the gap between songs of one artist", request.artist_gap, _artist),
            ("the gap between dances of one rhythm", request.rhythm_gap, lambda o: o.rhythm),
        ):
            for name in dict.fromkeys(key(pairing) for pairing in pairings) if gap else ():
                if name:
                    self._spread(wish, [key(o) == name for o in pairings], gap + 1, 0, 1)
        everywhere = range(self.n_places)
        for word in request.must:
            self._add(f'"{word}"', self._matching(word), everywhere, 1, np.inf)
        for word in request.teach:
            self._add(f'"{word}"', self._taught(word), everywhere, 1, np.inf)
        for place, word in request.fixed:
            self.require_place(place)
            self._add(f'"{word}" at place {place}', self._matching(word), [place - 1], 1, 1)
        for kept in request.kept:
            self._add_kept(*kept)

    def require_place(self, place: int) -> None:
        """Refuse a place, counted from 1, that the evening has not.

        Raises
        ------
        ParameterError
            Names how many dances there are.
        """
        if not 1 <= place <= self.n_places:
            raise ParameterError(
                f"place {place} lies outside the evening; it has {self.n_places} dances"
            )

    def _add_kept(self, place: int, key: str, routine: str) -> None:
        """Keep a song with its routine at a place."""
        if place > self.n_places:
            raise ParameterError(
                f"a dance is kept at place {place}, and the evening has only {self.n_places}"
                " dances; ask for more minutes, or let it go"
            )
        stays = (key, routine)
        which = [(o.key, o.fit.routine.name) == stays for o in self.pairings]
        title = self.pairings[which.index(True)].fit.bar_map.title
        self._add(f'"{title}" kept at place {place}', which, [place - 1], 1, 1)

    def _add_repeats(self) -> None:
        """Let no routine come again before all have been danced, nor soon after itself.

        All are as many as there are songs for: two waltzes share the only song in three.
        """
        if self.request.repeats == 1:
            return
        n_routines = self._most_routines()
        first_round = range(min(n_routines, self.n_places))
        gap = min(self.request.repeat_gap, n_routines - 1)
        for name in self._routines:
            which = [o.fit.routine.name == name for o in self.pairings]
            wish = "the rule that all routines are danced before one comes again"
            self._add(wish, which, first_round, 0, 1)
            self._spread("the gap between two dances of a routine", which, gap + 1, 0, 1)

    def _most_routines(self) -> int:
        """Say how many routines can be danced if each has a song of its own (exact)."""
        from scipy.sparse import csr_array
        from scipy.sparse.csgraph import maximum_bipartite_matching

        songs = tuple(dict.fromkeys(o.key for o in self.pairings))
        goes_with = np.zeros((len(self._routines), len(songs)), dtype=bool)
        for o in self.pairings:
            goes_with[self._routines.index(o.fit.routine.name), songs.index(o.key)] = True
        return int(np.sum(maximum_bipartite_matching(csr_array(goes_with)) >= 0))

    def _matching(self, word: str) -> list[bool]:
        which = [pairing.matches(word) for pairing in self.pairings]
        if not any(which):
            raise ParameterError(
                f"{word!r} is in no title, artist or routine of a pair that fits at a score of"
                f" {self.request.min_score:g} or more; check the spelling, or lower --min-score"
            )
        return which

    def _taught(self, word: str) -> list[bool]:
        which = [pairing.dances(word) for pairing in self.pairings]
        if not any(which):
            raise ParameterError(
                f"{word!r} is to be taught, and is no routine of a pair that fits at a score of"
                f" {self.request.min_score:g} or more; name one of {', '.join(self._routines)}, or"
                " lower --min-score"
            )
        return which

    def _add_tempo(self) -> None:
        request = self.request
        fast = [pairing.counts_per_minute >= request.fast_cpm for pairing in self.pairings]
        if request.alternate or not request.fast_in_a_row:
            self._spread("the rule of no two fast ones in a row", fast, 2, 0, 1)
        if request.alternate:
            self._spread("the alternation of fast and slow", [not f for f in fast], 2, 0, 1)

    def _add_beginners(self) -> None:
        request = self.request
        easy = [pairing.for_beginners for pairing in self.pairings]
        if not any(easy):
            if request.beginner_every or request.beginner_share:
                self.notes.append(
                    "none of the routines is for beginners: no place is kept for them"
                )
            return
        easy_routines = {o.fit.routine.name for o in self.pairings if o.for_beginners}
        in_a_round = min(len(self._routines), self.n_places)
        if request.beginner_every and len(easy_routines) < in_a_round // request.beginner_every:
            self.notes.append(
                f"too few routines for beginners ({len(easy_routines)}) for one among every"
                f" {request.beginner_every} dances: they stand where they fit"
            )
            return
        share = math.ceil(request.beginner_share * self.n_places)
        self._add("the share of beginner dances", easy, range(self.n_places), share, np.inf)
        if request.beginner_every:
            wish = f"the beginner dance among every {request.beginner_every}"
            self._spread(wish, easy, request.beginner_every, 1, np.inf)

    def _constraints(self, *, without: str | None, more: Sequence[Row]) -> LinearConstraint:
        """Build the rows, the length of the evening last; perhaps leave one wish aside."""
        from scipy.optimize import LinearConstraint
        from scipy.sparse import csr_array

        rows = [row for row in (*self._rows, *more) if row[0] != without or not row[0]]
        n_columns = len(self.pairings) * self.n_places
        index = np.concatenate([np.full(len(row[1]), i) for i, row in enumerate(rows)])
        column = np.concatenate([row[1] for row in rows])
        length = np.repeat([pairing.length_s / 60 for pairing in self.pairings], self.n_places)
        index = np.concatenate([index, np.full(n_columns + 2, len(rows))])
        column = np.concatenate([column, np.arange(n_columns + 2)])
        values = np.concatenate([np.ones(len(column) - n_columns - 2), length, [1.0, -1.0]])
        shape = (len(rows) + 1, n_columns + 2)
        minutes = self._minutes_of_music()
        return LinearConstraint(
            csr_array((values, (index, column)), shape=shape),
            [*(row[2] for row in rows), minutes],
            [*(row[3] for row in rows), minutes],
        )

    def _minutes_of_music(self) -> float:
        request = self.request
        pauses = (self.n_places - 1) * request.pause_s / 60
        return request.minutes - len(request.teach) * request.teach_minutes - pauses

    # -------------------------------------------------------------- objective

    def worth(self) -> np.ndarray:
        """Give the points of each pairing at each place [shape=(n_pairings, n_places)]."""
        points = np.array(
            [
                o.fit.plan.score - POINTS_PER_PERCENT * abs(o.fit.tempo.change_percent)
                for o in self.pairings
            ]
        )
        worth = np.repeat(points[:, None], self.n_places, axis=1)
        if self.request.curve:
            tempo = np.array([pairing.counts_per_minute for pairing in self.pairings])
            wished = [curve_at(self.request, t, self.n_places) for t in range(self.n_places)]
            off = np.abs(tempo[:, None] - np.array(wished))
            worth -= np.minimum(POINTS_PER_COUNT_OFF * off, MOST_CURVE_POINTS)
        return worth

    def solve(self, more: Sequence[Row] = ()) -> Solution | None:
        """Find the best evening that keeps all wishes and `more` rows; None if there is none.

        Raises
        ------
        NoFitError
            If the search was cut short before any was found.
        """
        luck = np.random.default_rng(self.request.seed).uniform(0, SEED_POINTS, len(self.pairings))
        worth = self.worth()
        late = np.array([POINTS_PER_MINUTE, POINTS_PER_MINUTE])
        result = self._run(np.concatenate([-(worth + luck[:, None]).ravel(), late]), more=more)
        if result.x is None and result.status == STOPPED:
            raise NoFitError(
                "no evening was found in the time allowed; ask for a shorter one, or for less at"
                " once",
                reason=Reason.NO_TIME,
            )
        if result.x is None:
            return None
        placed = result.x[:-2].reshape(worth.shape)
        chosen = np.argmax(placed, axis=0)
        off_minutes = float(result.x[-2:].sum())
        value = float(worth[chosen, np.arange(self.n_places)].sum())
        value -= POINTS_PER_MINUTE * off_minutes
        bound = max(value, float(-result.mip_dual_bound))
        return Solution(chosen.tolist(), value, bound, not _was_cut_by_time(result))

    def other_than(self, chosen: Sequence[int], place: int, *, keep_others: bool) -> list[Row]:
        """Give the rows that drop the song at a 0-based place, and perhaps keep all others."""
        unwanted = self.pairings[chosen[place]].key
        rows = [
            self._row("", [o.key == unwanted for o in self.pairings], range(self.n_places), 0, 0)
        ]
        for other, pairing in enumerate(chosen):
            if keep_others and other != place:
                which = [i == pairing for i in range(len(self.pairings))]
                rows.append(self._row("", which, [other], 1, 1))
        return rows

    def _run(
        self, cost: np.ndarray, *, without: str | None = None, more: Sequence[Row] = ()
    ) -> OptimizeResult:
        from scipy.optimize import Bounds, milp

        n = len(cost) - 2
        return milp(
            cost,
            constraints=self._constraints(without=without, more=more),
            integrality=np.concatenate([np.ones(n), [0, 0]]),
            bounds=Bounds(np.zeros(n + 2), np.concatenate([np.ones(n), [np.inf, np.inf]])),
            options={
                "mip_rel_gap": REL_GAP,
                "node_limit": MOST_NODES,
                "time_limit": MOST_SECONDS,
            },
        )

    def why_not(self) -> str:
        """Find the wishes each of which, left aside, would make an evening possible."""
        anything = np.zeros(len(self.pairings) * self.n_places + 2)
        wishes = dict.fromkeys(row[0] for row in self._rows if row[0])
        guilty = [wish for wish in wishes if self._run(anything, without=wish).x is not None]
        if not guilty:
            return "these wishes cannot be met together; ask for less, or add songs and routines"
        ways = " or without ".join(guilty)
        return f"these wishes cannot be met together; it would work without {ways}"


def _was_cut_by_time(result: OptimizeResult) -> bool:
    return result.status == STOPPED and result.mip_node_count < MOST_NODES


def _artist(pairing: Pairing) -> str:
    return pairing.fit.bar_map.artist.casefold()
