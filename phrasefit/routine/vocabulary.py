"""The generic steps of the trade as data: rhythm, weight, turn and cue words.

Definitions agree, where they were seen, with three public glossaries: an
association's line dance terminology (linedancefun.weebly.com), "Basic line dance
terms" (sound-a-motion.tripod.com) and "Line dance terminology"
(linedanceforever.com); counts and weight changes are from memory.  They serve to
warn ("a kick ball change usually has 2 weight changes"), never to refuse: a
choreographer may dance a step otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from phrasefit.routine.counts import parse_counts


@dataclass(frozen=True, slots=True, kw_only=True)
class StepPattern:
    """One step of the trade, as usually danced.

    `keys` are the words that name it, in order, one tuple for each way of saying it.
    `rhythms` are counts as written.  `usual` pairs whole counts with the numbers of
    weight changes that are usual in them.  `turns_deg` are usual sizes of turn beside
    none; `must_turn` says that none is unusual.  `cue` is what an instructor calls (at
    most three words).
    """

    name: str
    keys: tuple[tuple[str, ...], ...]
    rhythms: tuple[str, ...]
    usual: tuple[tuple[int, tuple[int, ...]], ...]
    cue: str
    turns_deg: tuple[int, ...] = ()
    must_turn: bool = False

    def repeats_in(self, n_counts: int) -> tuple[int, ...]:
        """Say how many patterns may fill `n_counts` whole counts; empty if none does."""
        return tuple(n_counts // counts for counts, _ in self.usual if n_counts % counts == 0)

    def weight_changes_in(self, n_counts: int) -> tuple[int, ...]:
        """List the usual numbers of weight changes in `n_counts`; empty if it fills none."""
        exact = [changes for counts, changes in self.usual if counts == n_counts]
        if exact:
            return exact[0]
        several: set[int] = set()
        for counts, changes in self.usual:
            if n_counts % counts == 0:
                n_patterns = n_counts // counts
                several |= set(range(n_patterns * min(changes), n_patterns * max(changes) + 1))
        return tuple(sorted(several))

    def turn_is_usual(self, turn_deg: int, n_counts: int) -> bool:
        """Tell whether a turn of this size is usual, over as many patterns as fit."""
        if not turn_deg:
            return not self.must_turn
        each = [abs(turn_deg) / n_patterns for n_patterns in self.repeats_in(n_counts)]
        return not each or any(size in self.turns_deg for size in each)


# name and other names | rhythms | weight changes | turns in eighths (! = must turn) | cue
# Weight changes: "each" = on every moment of the rhythm, "half" = on every other.
_TABLE = """
walk, run                           | 1-2; 1; 1-3; 1-4; 1&2; 1-6 | each | 2 4 8 | walk
step touch                          | 1-2      | 1     | 2      | step touch
side touch                          | 1-2      | 1     | 2      | side touch
shuffle, triple step, triple        | 1&2      | 3     | 2 4 6 8 | shuffle
cha cha cha, cha cha                | 1&2      | 3     | 2 4 6 8 | cha cha cha
chasse, side shuffle                | 1&2      | 3     | 2 4    | chasse
cross shuffle                       | 1&2      | 3     |        | cross shuffle
lock step, step lock step, locking shuffle | 1&2; 1-3 | 3     | 2      | lock step
coaster, coaster step               | 1&2; 1-3 | 3     | 2      | coaster
forward coaster                     | 1&2; 1-3 | 3     |        | forward coaster
sailor, sailor step                 | 1&2      | 3     | 2 4    | sailor
anchor, anchor step                 | 1&2      | 3     |        | anchor
mambo, mambo step                   | 1&2; 1-3 | 3     | 2      | mambo
kick ball change                    | 1&2      | 2     | 2      | kick ball change
ball change                         | &1       | 2     |        | ball change
rock recover, rock step, rock replace | 1-2; 1& | 2    | 2 4    | rock recover
rock                                | 1; 1-2; 1& | each | 2 4  | rock
recover, replace                    | 1        | 1     | 2 4    | recover
cross rock, cross rock recover      | 1-2; 1&  | 2     | 2      | cross rock
side rock, side rock recover        | 1-2; 1&  | 2     | 2      | side rock
rocking chair                       | 1-4; 1&2& | 4    |        | rocking chair
vine, grapevine                     | 1-4; 1-3 | 3 4   | 2      | vine
vine touch, grapevine touch         | 1-4      | 3     | 2      | vine touch
vine scuff, grapevine scuff         | 1-4      | 3     | 2      | vine scuff
vine hitch, grapevine hitch         | 1-4      | 3     | 2      | vine hitch
vine brush, grapevine brush         | 1-4      | 3     | 2      | vine brush
vine together, vine step, grapevine together | 1-4 | 4 | 2     | vine together
rolling vine, rolling grapevine     | 1-4; 1-3 | 3 4   | 8!     | rolling vine
rolling vine touch                  | 1-4      | 3     | 8!     | rolling vine
weave                               | 1-4; 1-3; 1-6; 1-8; 1&2& | each | 2 | weave
behind side cross                   | 1&2; 1-3 | 3     | 2      | behind side cross
scissor, scissor step               | 1&2; 1-3; 1-4 | 3 |       | scissor
pivot, step pivot, step turn        | 1-2; 1&  | 2     | 1! 2! 4! | pivot
paddle, paddle turn                 | 1-2; &1  | 0 1 2 | 1! 2!  | paddle turn
monterey, monterey turn             | 1-4      | 2     | 2! 4! 8! | monterey
jazz box, jazz square               | 1-4      | 3 4   | 2 4    | jazz box
rumba box, box step                 | 1-8; 1&2 3&4 | 6 | 2      | rumba box
half rumba box                      | 1-4; 1&2 | 3     | 2      | half rumba box
k step                              | 1-8      | 4     |        | K step
v step                              | 1-4      | 4     |        | V step
out out in in, out in               | 1-4      | 4     |        | out out in
charleston, charleston step         | 1-4; 1-8 | half  |        | charleston
toe strut, strut                    | 1-2      | 1     | 2 4    | toe strut
heel strut                          | 1-2      | 1     | 2 4    | heel strut
heel dig, heel touch, heel tap      | 1        | 0     |        | heel
heel switch                         | 1&       | 1     |        | heel switch
heel jack                           | &1&2     | 3     |        | heel jack
heel grind                          | 1-2      | 2     | 2      | heel grind
touch, toe touch                    | 1; 1-2   | 0     |        | touch
tap, toe tap                        | 1; 1-2   | 0     |        | tap
point, toe point                    | 1        | 0     |        | point
kick                                | 1; 1-2   | 0     |        | kick
flick                               | 1        | 0     |        | flick
hook                                | 1        | 0     |        | hook
hitch                               | 1        | 0     | 1 2 4  | hitch
scuff                               | 1        | 0     |        | scuff
brush                               | 1        | 0     |        | brush
stomp                               | 1        | 1     |        | stomp
stomp up, stamp                     | 1        | 0     |        | stomp up
heel split                          | 1-2; 1-4 | 0 1 2 3 4 |    | heel split
swivel                              | 1-2; 1-4 | 0 1 2 3 4 | 2  | swivel
twist                               | 1-2; 1-4 | 0 1 2 3 4 | 2  | twist
hip bump, bump                      | 1-2; 1; 1&2; 1-4 | 0 1 2 3 4 | | hip bump
sway, hip sway                      | 1-2; 1; 1-3; 1-4 | 0 1 2 3 4 | | sway
unwind, cross unwind                | 1-2; 1; 1-4 | 0 1 2 | 4! 6! 8! | unwind
sweep, ronde                        | 1; 1-2   | 0     | 2      | sweep
hold, pause                         | 1; 1-2; 1-3; 1-4 | 0 |     | hold
lindy                               | 1&2 3 4  | 5     | 2      | lindy
nightclub basic                     | 1-2&     | 3     | 2 4    | basic
twinkle                             | 1-3      | 3     | 2 4    | twinkle
balance, waltz balance              | 1-3      | 3     | 2 4    | balance
waltz basic, waltz step             | 1-3      | 3     | 2 4    | waltz basic
samba step, samba whisk             | 1a2      | 3     |        | samba
"""


def _usual(rhythms: tuple[str, ...], weights: str) -> tuple[tuple[int, tuple[int, ...]], ...]:
    """Pair the whole counts of each rhythm with its usual numbers of weight changes."""
    usual: dict[int, set[int]] = {}
    for rhythm in rhythms:
        moments = parse_counts(rhythm)
        shares = {"each": (len(moments),), "half": (len(moments) // 2,)}
        changes = shares.get(weights) or tuple(int(number) for number in weights.split())
        n_counts = sum(moment.denominator == 1 for moment in moments)
        usual.setdefault(n_counts, set()).update(changes)
    return tuple((n_counts, tuple(sorted(changes))) for n_counts, changes in usual.items())


def _read_row(row: str) -> StepPattern:
    names, rhythms_text, weights, turns, cue = (cell.strip() for cell in row.split("|"))
    rhythms = tuple(rhythm.strip() for rhythm in rhythms_text.split(";"))
    keys = tuple(tuple(name.split()) for name in names.split(", "))
    return StepPattern(
        name=" ".join(keys[0]),
        keys=keys,
        rhythms=rhythms,
        usual=_usual(rhythms, weights),
        cue=cue,
        turns_deg=tuple(45 * int(eighths.rstrip("!")) for eighths in turns.split()),
        must_turn="!" in turns,
    )


PATTERNS: tuple[StepPattern, ...] = tuple(_read_row(row) for row in _TABLE.strip().split("\n"))


# Words that say where or how, and make no other step of the one they stand beside.
_MANNER_WORDS = """
right left r l forward fwd back backward diagonal diagonally to the a with and on in place
turn turning quarter half full three eighth 1 2 3 4 8 big small slow quick lead
"""
_MANNER = frozenset(_MANNER_WORDS.split())


def _words(name: str) -> tuple[str, ...]:
    """Cut a step name into words: small letters, no hyphens, no plural."""
    letters = "".join(c if c.isalnum() else " " for c in name.lower().replace("é", "e"))
    return tuple(_singular(word) for word in letters.split())


def _singular(word: str) -> str:
    if word.endswith(("ches", "shes", "xes")):
        return word[:-2]
    return word[:-1] if len(word) > 3 and word.endswith("s") and word[-2] != "s" else word


@cache
def _keys() -> tuple[tuple[tuple[str, ...], StepPattern], ...]:
    """List all names with their words cut like those of a routine, longest first."""
    keys = [(_words(" ".join(key)), pattern) for pattern in PATTERNS for key in pattern.keys]
    return tuple(sorted(keys, key=lambda item: -len(item[0])))


def _places(key: tuple[str, ...], words: list[str]) -> list[int] | None:
    """Find the words of a key in a name, in order; None if they are not all there."""
    places: list[int] = []
    for wanted in key:
        start = places[-1] + 1 if places else 0
        if wanted not in words[start:]:
            return None
        places.append(words.index(wanted, start))
    return places


def find_patterns(name: str) -> tuple[StepPattern, ...]:
    """Find the steps of the trade that a step name mentions, the longest names first.

    Words that a longer name has taken are not used again, and other words may stand
    between: ``vine right with touch`` is one ``vine touch``.  Names in other languages
    find nothing.

    Examples
    --------
    >>> [pattern.name for pattern in find_patterns("Kick-ball-changes")]
    ['kick ball change']
    """
    return _match(name)[0]


def _match(name: str) -> tuple[tuple[StepPattern, ...], tuple[str, ...]]:
    """Find patterns in a name, and the words that belong to none."""
    words = list(_words(name))
    found = []
    for key, pattern in _keys():
        while places := _places(key, words):
            found.append(pattern)
            for place in places:
                words[place] = ""
    return tuple(found), tuple(word for word in words if word)


def plain_pattern(name: str) -> StepPattern | None:
    """Give the step of the trade that a name means and nothing else, else None.

    ``shuffle forward`` is plain; ``walk, shuffle`` and ``step, hold`` are not.
    """
    found, rest = _match(name)
    if len(found) != 1 or not _MANNER.issuperset(rest):
        return None
    no_weight_only = max(found[0].usual[0][1]) == 0
    return None if no_weight_only and ("," in name or "+" in name) else found[0]


# Words that a call does not end on: what they lead to is not called.
_LEADING_ON = frozenset(
    {"a", "an", "the", "and", "or", "then", "to", "into", "of", "on", "onto", "over", "under", "in",
     "at", "by", "for", "from", "with", "like", "as", "&", "+", "/"}
)  # fmt: skip


def cue_words(name: str) -> str:
    """Give the words to call for a step: at most three, and none that leads to a fourth.

    Examples
    --------
    >>> cue_words("right grapevine with a touch"), cue_words("wiggle like a fish")
    ('vine touch', 'wiggle')
    """
    found = find_patterns(name)
    if len(found) == 1:
        return found[0].cue
    first = name.split()[:3]
    called = list(first)
    while called and called[-1].lower() in _LEADING_ON:
        called.pop()
    return " ".join(called or first).rstrip(",;")
