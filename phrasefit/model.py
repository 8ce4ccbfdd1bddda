"""The frozen dataclasses that travel between the rooms of phrasefit.

Conventions, valid everywhere:

* Times are seconds (float64); 0.0 is the first sample of the decoded file.
* Indices and counts inside the program start at 0; only `reports` and the
  routine files count from 1.  ``positions`` is the one exception: 1 = downbeat,
  because that is its meaning in the trade.
* A *count* is what dancers count; a *beat* is what the song's meter has.
  `CountGrid` is the bridge.
* A facing is whole degrees clockwise from the front wall: 0 = 12:00,
  90 = 3:00, 180 = 6:00, 270 = 9:00.  A turn is signed degrees, right = +.
* Dataclasses that hold arrays compare by identity (``eq=False``) and make
  their arrays read-only.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction
from typing import TYPE_CHECKING
from unicodedata import category

from phrasefit.errors import MapError, ParameterError
from phrasefit.meters import LEVELS

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np

    from phrasefit.fit.request import PlanRequest


def _freeze(instance: object, name: str, dtype: str) -> np.ndarray:
    """Store field `name` as a read-only array of `dtype` (pickling drops both).

    It is copied unless it is one already: nobody can alter it then.
    """
    import numpy as np

    array = getattr(instance, name)
    is_frozen = isinstance(array, np.ndarray) and not array.flags.writeable
    if not (is_frozen and array.dtype == dtype):
        array = np.array(array, dtype=dtype)
        array.setflags(write=False)
    object.__setattr__(instance, name, array)
    return array


def one_line(text: str) -> str:
    """Make a name fit for one line of a sheet or terminal: no breaks, no control characters."""
    spaced = "".join(" " if c.isspace() else c for c in text)
    return " ".join("".join(c for c in spaced if category(c) not in ("Cc", "Cs")).split())


# --------------------------------------------------------------------- audio


@dataclass(frozen=True, slots=True, kw_only=True)
class SongInfo:
    """What the file says about itself; every text may be empty.

    `notes` are doubts about the file in plain words, such as a missing end.
    """

    path: str = ""
    content_hash: str = ""
    title: str = ""
    artist: str = ""
    album: str = ""
    duration_s: float = 0.0
    sample_rate_hz: int = 0
    n_channels: int = 0
    codec: str = ""
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Audio:
    """A decoded song: mono float32 at one fixed rate and one loudness.

    `samples` [shape=(n,)], `sample_rate_hz` = `phrasefit.audio.SAMPLE_RATE_HZ`.
    """

    samples: np.ndarray
    sample_rate_hz: int
    info: SongInfo

    def __post_init__(self) -> None:
        _freeze(self, "samples", "float32")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Features:
    """Everything computed once from the one STFT, one row a frame.

    `log_mel` [shape=(n_frames, n_mels), float32, >= 0]; `onset_envelope`
    [shape=(n_frames, n_bands)] band-wise rise of energy; `chroma`
    [shape=(n_frames, 12)]; `loudness_db` [shape=(n_frames,)].  Frame `i` is
    centred on ``start_s + i * hop_s`` seconds of the song.
    """

    hop_s: float
    log_mel: np.ndarray
    onset_envelope: np.ndarray
    chroma: np.ndarray
    loudness_db: np.ndarray
    start_s: float = 0.0

    def __post_init__(self) -> None:
        for name in ("log_mel", "onset_envelope", "chroma", "loudness_db"):
            _freeze(self, name, "float32")


# --------------------------------------------------------------------- meter

# Probability of a pulse from which a map needs no loud doubt: see `phrasefit.training.pulse`.
STEADY_FROM = 0.8


@dataclass(frozen=True, slots=True, kw_only=True)
class Confidence:
    """Probabilities (0-1): that there is a pulse at all, and that each reading is right."""

    pulse: float = 1.0
    beats: float = 1.0
    downbeat: float = 1.0
    meter: float = 1.0
    phrase: float = 1.0

    @property
    def hardly_steady(self) -> bool:
        """Whether a map must open with a loud doubt: there may be no steady beat."""
        return self.pulse < STEADY_FROM


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A stretch of the song; same letter = same music.

    `strength` (0-1) is the strength of the boundary at its start; `name` is what a person
    calls it, empty if nobody gave it a name.
    """

    start_beat: int
    n_beats: int
    letter: str
    strength: float
    name: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Phrase:
    """The start of a group of beats that dancers hear as a phrase.

    `group` names the level in beats of the prevailing meter: 32, 16 or 8 in
    twos and fours, 24, 12 or 6 in threes.  Every section start is a phrase start
    of the highest level.  `n_beats` is its real length, to the next phrase start
    of the same or a higher level.  `strength` is 0-1.
    """

    start_beat: int
    n_beats: int
    group: int
    strength: float


def form_starts(sections: Sequence[Section], phrases: Sequence[Phrase]) -> list[int]:
    """List the beats on which sections, and then phrases, begin: what tells one form by."""
    return [s.start_beat for s in sections] + [p.start_beat for p in phrases]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outlook:
    """How strongly phrases are expected to begin on each bar line, over all forms of the song.

    Every way to cut the song into sections has a probability, and each cuts them into phrases;
    this is their mean.  `beats` [shape=(n,), ascending]: bar lines.  `sections` [shape=(n,),
    0-1]: the expected strength of the start of a section there.  `groups` [shape=(g,), beats,
    ascending]: lengths of phrase, of shorter ones nothing is known; `phrases` [shape=(g, n),
    0-1]: that of a phrase of at least this length that begins inside a section.  `likeliest`
    [shape=(m,), beats]: the starts (`form_starts`) of the likeliest form; a map with another one
    was changed since.
    """

    beats: np.ndarray
    sections: np.ndarray
    groups: np.ndarray
    phrases: np.ndarray
    likeliest: np.ndarray

    def __post_init__(self) -> None:
        import numpy as np

        beats, groups = _freeze(self, "beats", "int64"), _freeze(self, "groups", "int64")
        sections = _freeze(self, "sections", "float64")
        phrases = _freeze(self, "phrases", "float64")
        _freeze(self, "likeliest", "int64")
        if not groups.size or np.any(np.diff(groups) <= 0) or np.any(np.diff(beats) < 0):
            raise MapError("outlook: it needs bar lines in order, and at least one group, in order")
        if sections.shape != beats.shape or phrases.shape != (*groups.shape, *beats.shape):
            raise MapError(
                f"outlook: for {groups.size} groups on {beats.size} bar lines it needs one value"
                " of sections for each line, and of phrases for each group and line"
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class OddBar:
    """A bar that has more or fewer beats than the others: when it begins, and how many."""

    at_s: float
    beats: int


MOST_NAME_LETTERS = 20  # of the name of a section, as far as sheets and pictures have room


@dataclass(frozen=True, slots=True, kw_only=True)
class SectionName:
    """What a person calls the section at a place; an empty name takes an earlier one back."""

    at_s: float
    name: str

    def __post_init__(self) -> None:
        object.__setattr__(self, "name", one_line(self.name))
        if len(self.name) > MOST_NAME_LETTERS:
            raise ParameterError(
                f"the name {self.name[:40]!r} of a section has {len(self.name)} letters;"
                f" {MOST_NAME_LETTERS} are the most, such as in second chorus"
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """What a person changed, applied in this order; None, 0 and empty = untouched.

    `nudge_s` moves all beats; `level` 0.5 = every other beat, 2.0 = twice as many, 1.0 = every
    beat as found, whatever the tempo would suggest; `meter` beats a bar; `ones_at_s` times that
    are downbeats, each valid from there to the next (the first from the beginning);
    `shift_one_beats` moves every one; `odd_bars` have their own number of beats and
    `no_odd_bar_at_s` have as many as all others, and the ones that follow move along, up to
    the next of `ones_at_s`; `sections_at_s` are boundaries a person heard; `no_section_at_s`
    removes the nearest one found.  `section_names` call the sections at these places by a
    name, later ones in place of earlier ones; `singing_at_s` is where the singing begins,
    `no_singing` takes that back.  Times are those of the corrected map.
    """

    nudge_s: float = 0.0
    level: float | None = None
    meter: int | None = None
    ones_at_s: tuple[float, ...] = ()
    shift_one_beats: int = 0
    odd_bars: tuple[OddBar, ...] = ()
    no_odd_bar_at_s: tuple[float, ...] = ()
    sections_at_s: tuple[float, ...] = ()
    no_section_at_s: tuple[float, ...] = ()
    section_names: tuple[SectionName, ...] = ()
    singing_at_s: float | None = None
    no_singing: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Alternative:
    """Another reading of the same song, and the correction that selects it.

    `kind` is ``one`` (other downbeat), ``half``, ``double`` or ``meter``; `correction`
    is relative to the map that lists it.
    """

    kind: str
    correction: Correction
    probability: float
    tempo_bpm: float
    meter: int


# What a note begins with that says where a recording cannot be danced to: sheets and lists, which
# have no room for all notes, look for these.
CUT_OFF = "the file is cut off"
NO_BEAT = "no beat"
JUMPS = "the music jumps"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BarMap:
    """The song as dancers need it: beats, ones, sections and phrases.

    `beat_times_s` [shape=(n,), strictly increasing]; `positions` [shape=(n,)],
    1 = downbeat; `meter` prevailing beats a bar.  `steady` says that the song
    was played to a click.  `end_s` is where the last beat's span ends.  `beats_per_count`
    is the level at which a person chose to count (see `phrasefit.meters.LEVELS`); None
    where nobody did, and the planner chooses by tempo.  `singing_at_s` is where the singing
    begins, None where nobody said so: it is not listened for.  `sections` and `phrases` are
    the likeliest form; `outlook` weighs all forms, None where only that one is known.
    """

    beat_times_s: np.ndarray
    positions: np.ndarray
    meter: int
    tempo_bpm: float
    end_s: float
    duration_s: float
    sections: tuple[Section, ...] = ()
    phrases: tuple[Phrase, ...] = ()
    outlook: Outlook | None = None
    confidence: Confidence = field(default_factory=Confidence)
    alternatives: tuple[Alternative, ...] = ()
    tempo_drift_percent: float = 0.0
    steady: bool = False
    beats_per_count: float | None = None
    singing_at_s: float | None = None
    title: str = ""
    artist: str = ""
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        import numpy as np

        for name in ("title", "artist"):
            object.__setattr__(self, name, one_line(getattr(self, name)))
        beats = _freeze(self, "beat_times_s", "float64")
        positions = _freeze(self, "positions", "int64")
        if beats.ndim != 1 or beats.shape != positions.shape:
            raise MapError(
                f"beats_s has shape {beats.shape} and positions {positions.shape};"
                " a bar map needs one position for each beat"
            )
        if not np.all(np.isfinite(beats)) or np.any(np.diff(beats) <= 0):
            raise MapError("beats_s must be strictly increasing finite seconds")
        if positions.size and positions.min() < 1:
            raise MapError("positions count from 1 (1 = downbeat)")
        if self.meter < 1:
            raise ParameterError(f"meter={self.meter} must be at least 1 beat a bar")
        if self.beats_per_count not in (None, *LEVELS):
            raise ParameterError(f"beats_per_count={self.beats_per_count:g} must be 0.5, 1, 2 or 3")

    @property
    def is_cut_off(self) -> bool:
        """Whether the file surely ends before the song does."""
        return any(note.startswith(CUT_OFF) for note in self.notes)

    @property
    def all_forms(self) -> Outlook | None:
        """The outlook, unless sections or phrases are no longer those that it goes with."""
        outlook = self.outlook
        if outlook is None or outlook.likeliest.tolist() != form_starts(
            self.sections, self.phrases
        ):
            return None
        return outlook


# ------------------------------------------------------------------- routine


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One line of a routine: its moments in counts, feet and turn.

    `moments` are counts from the start of the part (0 = count 1; `&` = +1/2);
    `feet` has one sign a moment: ``R``, ``L``, ``B`` (both) or ``.`` (no weight).
    `turn_deg` is the sum of this line, right = +.  `heading` stands before it in the file.
    """

    line: int
    counts: str
    moments: tuple[Fraction, ...]
    name: str
    feet: tuple[str, ...]
    turn_deg: int = 0
    heading: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RestartPoint:
    """A place where a repetition may be cut short, after `after_count` counts.

    `turn_deg` is what has been turned by then; `step_change` is the words a
    sheet needs where the weight must be changed first, else empty.
    """

    after_count: int
    turn_deg: int
    step_change: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One block of a routine, danced as a whole ("A"); most have only one."""

    name: str
    counts: int
    turn_deg: int
    steps: tuple[Step, ...] = ()
    restart_points: tuple[RestartPoint, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class TagOption:
    """A tag the routine allows; without steps it is left to the instructor."""

    counts: int
    turn_deg: int = 0
    name: str = ""
    steps: tuple[Step, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Routine:
    """A choreographed floor routine, with everything computed that can be.

    `parts` has one entry for an ordinary routine; `sequence` names the order of
    parts for a phrased one (empty = the first part repeated).  `meter` is 4
    or 3.  `walls` is what the turn sums give, `declared_walls` what the file says.
    `odd_bar_tags` may be danced besides `tags`, but only to a song that has an odd bar.
    `assumed` lists in plain words what was taken for granted.
    """

    name: str
    parts: tuple[Part, ...]
    walls: int
    meter: int = 4
    sequence: tuple[str, ...] = ()
    tags: tuple[TagOption, ...] = ()
    odd_bar_tags: tuple[TagOption, ...] = ()
    by: str = ""
    level: str = ""
    tempo_bpm: tuple[float, float] | None = None
    swing: float = 0.5
    starting_foot: str = ""
    intro_counts: int | None = None
    notes: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()

    @property
    def counts(self) -> int:
        """Counts of one repetition: the first part, or all parts of a phrased one."""
        return self.parts[0].counts if len(self.parts) == 1 else sum(p.counts for p in self.parts)


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One line of a routine check.

    `severity` is ``error`` (to mend), ``warning`` (a doubt to decide on) or ``note`` (to know).
    """

    severity: str
    line: int
    message: str


# --------------------------------------------------------------------- ranking


@dataclass(frozen=True, slots=True, kw_only=True)
class SongSummary:
    """What ranking needs of a song, and the store remembers of it.

    `version` is that of the analysis and of the bytes in `grid` (`ranking.summary`);
    `tempo_bpm` are beats a minute, `meter` beats a bar; `confidence` (0-1) is that of the
    least sure reading; `beats_per_count` is the level a person chose, None where nobody did.
    `counts_per_minute` are those it is danced at if no routine decides; `doubts` are the kinds of
    its doubts (`DoubtKind`), with commas between; `cut_off`: the file ends before the song does.
    """

    content_hash: str
    version: str
    title: str
    artist: str
    duration_s: float
    tempo_bpm: float
    meter: int
    confidence: float
    beats_per_count: float | None
    counts_per_minute: float
    doubts: str
    cut_off: bool
    grid: bytes


# ----------------------------------------------------------------------- fit


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CountGrid:
    """The song laid out in dance counts.

    `times_s` [shape=(n + 1,)]: start of each count, and the end of the last.
    `bar_start` [shape=(n,), bool]: a bar begins here.  `strength`
    [shape=(n,), 0-1]: how strongly a phrase of dance-phrase length begins here, in the
    likeliest form of the song, which is what is shown.  `expected` [shape=(n,), 0-1]: what is
    planned by, for which all forms count; the same as `strength` where only one is known.
    `section` [shape=(n,)]: index into ``BarMap.sections``, -1 before the first.
    `beats_per_count` is 0.5, 1 or 2; 3 where a six is danced to its dotted beats.
    `singing` is the count on which the first line that is sung begins, None if not known.
    """

    times_s: np.ndarray
    bar_start: np.ndarray
    strength: np.ndarray
    expected: np.ndarray
    section: np.ndarray
    beats_per_count: float
    counts_per_minute: float
    meter: int
    singing: int | None = None

    def __post_init__(self) -> None:
        _freeze(self, "times_s", "float64")
        _freeze(self, "bar_start", "bool")
        _freeze(self, "strength", "float64")
        _freeze(self, "expected", "float64")
        _freeze(self, "section", "int64")


class EventKind(StrEnum):
    """What an event of a plan is."""

    WALL = "wall"
    TAG = "tag"
    RESTART = "restart"
    END = "end"


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """Something that happens in a plan, at one moment of the song.

    It happens on the 0-based `count` of the song, at `time_s`, with everyone facing
    `facing`; repetition `wall` (numbered from 1), to which it belongs, has been danced
    for `after_count` counts by then.
    """

    kind: EventKind = field(init=False)
    time_s: float
    count: int
    wall: int
    after_count: int
    facing: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Wall(Event):
    """One repetition as danced, cut short or whole: `counts` counts of `part`.

    `phrase_offset` is how many counts after the nearest phrase start it begins
    (negative = before it, 0 = on the phrase).
    """

    kind: EventKind = field(default=EventKind.WALL, init=False)
    after_count: int = 0
    part: str
    counts: int
    end_s: float
    end_facing: int
    phrase_offset: int
    phrase_strength: float

    @property
    def number(self) -> int:
        """The number of the repetition, from 1."""
        return self.wall

    @property
    def start_count(self) -> int:
        """Counts of the song that pass before it."""
        return self.count

    @property
    def start_s(self) -> float:
        """Time of its count 1 [seconds]."""
        return self.time_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Tag(Event):
    """`counts` extra counts, called `name` if the routine gives them a name.

    `cut_short` says that wall `wall` is left for it before its end.
    """

    kind: EventKind = field(default=EventKind.TAG, init=False)
    counts: int
    end_s: float
    end_facing: int
    cut_short: bool = False
    name: str = ""

    @property
    def after_wall(self) -> int:
        """The wall that it follows."""
        return self.wall


@dataclass(frozen=True, slots=True, kw_only=True)
class Restart(Event):
    """Wall `wall` was cut after `after_count` counts: here the dance begins again.

    `step_change` is the words a sheet needs where the weight must be changed first.
    """

    kind: EventKind = field(default=EventKind.RESTART, init=False)
    step_change: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ending(Event):
    """How the song leaves the dance, after `after_count` counts of the last wall.

    `turn_to_front_deg` (signed) faces 12:00.  Music left over after the last wall, too
    short to begin another, is `counts_over` counts.
    """

    kind: EventKind = field(default=EventKind.END, init=False)
    turn_to_front_deg: int
    counts_over: int = 0

    @property
    def counts_left(self) -> int:
        """Counts of the last wall that are danced before the music ends."""
        return self.after_count


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """One way to dance the song, with `n_changes` restarts and tags.

    `events` lists walls, tags and restarts in the order danced, and the end.  Where a
    wall is cut for a tag before a restart: the wall, the tag, the restart, the next wall.
    """

    n_changes: int
    start_count: int
    start_s: float
    intro_counts: int
    intro_from_phrase_counts: int
    events: tuple[Wall | Tag | Restart | Ending, ...]
    score: float
    phrase_met: float
    charges: float

    @property
    def walls(self) -> tuple[Wall, ...]:
        """The repetitions in order."""
        return tuple(event for event in self.events if isinstance(event, Wall))

    @property
    def tags(self) -> tuple[Tag, ...]:
        """The tags in order."""
        return tuple(event for event in self.events if isinstance(event, Tag))

    @property
    def restarts(self) -> tuple[Restart, ...]:
        """The restarts in order."""
        return tuple(event for event in self.events if isinstance(event, Restart))

    @property
    def ending(self) -> Ending:
        """The end."""
        return next(event for event in self.events if isinstance(event, Ending))


@dataclass(frozen=True, slots=True, kw_only=True)
class StartOption:
    """A place the dance could begin, and the best score from there."""

    start_count: int
    start_s: float
    intro_counts: int
    score: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PhraseBreak:
    """A phrase start that comes earlier or later than whole phrases would bring it.

    The song has `extra_counts` more (negative: fewer) than whole phrases before
    `count`; `letter` is that of the section that begins there, empty if none does.
    """

    count: int
    time_s: float
    extra_counts: int
    letter: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class TempoVerdict:
    """Counts a minute against what routine and level want.

    `change_percent` is the pitch-kept change that brings it in range (0 = none);
    `source` says where the range is from.
    """

    counts_per_minute: float
    low: float
    high: float
    verdict: str
    change_percent: float
    source: str


class DoubtKind(StrEnum):
    """What can be doubtful about a fit."""

    HARDLY_STEADY = "hardly steady"
    BEATS = "beats"
    ONE = "one"
    METER = "meter"
    PHRASES = "phrases"
    NO_SECTIONS = "no sections"
    LEVEL = "level"
    SECTION = "section"
    OTHER_SECTION = "other section"  # that begins where none is shown


@dataclass(frozen=True, slots=True, kw_only=True)
class Consequence:
    """What becomes of a plan if another reading of the song is right.

    `correction` selects that reading, on which the plan scores `lost_points` less than the
    best one does.  In the best one wall `wall` is the first that begins elsewhere, at `time_s`
    (None: it is not danced); None where every wall begins as it did.  `fits` tells whether
    the routine can be danced to that reading at all.
    """

    correction: Correction
    lost_points: float
    fits: bool = True
    wall: int | None = None
    time_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """What a person should check before a plan is trusted.

    `probability` (0-1) says how sure it is as it stands, None where that is not known;
    `rivals` are the likeliest other readings.  `meter` is the bar that is doubted, `at_s`
    where the section that is doubted begins; the tempos are those of the counts and of the
    beat, where the level is.  `stake` is what the plan is expected to lose by it [points] and
    `consequence` what the likeliest other reading would change; None until it is weighed
    (`phrasefit.fit.stakes`).
    """

    kind: DoubtKind
    probability: float | None = None
    rivals: tuple[Alternative, ...] = ()
    meter: int = 0
    at_s: float = 0.0
    counts_per_minute: float = 0.0
    beats_per_minute: float = 0.0
    stake: float | None = None
    consequence: Consequence | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FitPlan:
    """A routine laid over a song: the plan asked for, the advised one and all the others.

    `plans` holds the best plan for each number of changes (0, 1, 2 ...), only
    where it is better than with fewer; `best` is the index of the advised one, `chosen`
    of the one that `request` asks for, the advised one if it names no number of changes.
    `breaks` are the places where the song itself leaves square phrases.
    """

    request: PlanRequest
    plans: tuple[Plan, ...]
    best: int
    chosen: int
    grid: CountGrid
    tempo: TempoVerdict
    start_options: tuple[StartOption, ...]
    bar_map: BarMap
    doubts: tuple[Doubt, ...] = ()
    breaks: tuple[PhraseBreak, ...] = ()

    @property
    def routine(self) -> Routine:
        """The routine that was asked for."""
        return self.request.routine

    @property
    def plan(self) -> Plan:
        """The plan asked for."""
        return self.plans[self.chosen]

    @property
    def advised(self) -> Plan:
        """The plan with the best score."""
        return self.plans[self.best]
