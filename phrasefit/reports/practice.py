"""Practice audio that carries no song: clicks, spoken cues, an own-made groove.

Every count of the plan is a click; count 1 of an eight, a new wall, a restart and a
tag each have a sound of their own.  The counts follow the song's real tempo map, at
full speed or slower, or run at one steady tempo.  A click begins on the sample its
count falls on.  Peaks stay at -6 dBFS: clicks are peaky, and nobody knows how loud a
class has its headphones.

Numbers and cues are spoken so that a word ends before the count it calls (round-dance
cuers give them one to two beats ahead); the numbers can stand on their counts instead,
as many instructors count along.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import BinaryIO

import numpy as np

from phrasefit.errors import ParameterError
from phrasefit.files import in_blocks, write_sound
from phrasefit.model import EventKind, FitPlan, Plan, Routine, Step, Tag, Wall
from phrasefit.reports.chapters import add_chapters
from phrasefit.reports.cues import COUNT_IN, RunningCount, running_counts
from phrasefit.reports.event_words import chapter_name
from phrasefit.reports.groove import groove
from phrasefit.reports.voice import say, sayable
from phrasefit.routine.counts import sounding_offset
from phrasefit.routine.vocabulary import cue_words

SAMPLE_RATE_HZ = 44100
LEAD_S = 0.25  # silence before the first click, so that no player swallows it
TAIL_S = 1.0
LONGEST_S = 2 * 3600.0  # in memory, 0.6 GB an hour
PEAK = 0.5  # -6.02 dBFS
SPEECH_LEVEL = 0.45
GROOVE_LEVEL = 0.16
WORD_GAP_S = 0.04  # between a word and the count it calls, and between two words
PERCENTS = (40.0, 120.0)
TEMPOS = (30.0, 260.0)
SAYINGS = ("cues", "numbers", "both", "nothing")

# Kind of click: frequencies [Hz] of its tones, decay [s], level.  A wall rises, a
# restart falls, a tag is two low knocks: told apart by shape, not by pitch alone.
CLICKS: dict[str, tuple[tuple[float, ...], float, float]] = {
    "count": ((1000.0,), 0.018, 0.45),
    "eight": ((1500.0,), 0.030, 0.75),
    "wall": ((1500.0, 2250.0), 0.060, 1.0),
    "restart": ((2250.0, 1125.0), 0.070, 1.0),
    "tag": ((500.0, 500.0), 0.050, 1.0),
}
CLICK_S = 0.16
SECOND_TONE_S = 0.06


@dataclass(frozen=True, slots=True, kw_only=True)
class PracticeRequest:
    """How the practice audio is to be made.

    `percent` of the song's tempo, or one steady `tempo` [counts a minute]; `intro`
    keeps the song's whole intro, so that the file runs beside the song; `saying` is one
    of `SAYINGS`; `numbers_on_count` says numbers on their counts, not before; `with_groove` adds a
    quiet backing.
    """

    percent: float = 100.0
    tempo: float | None = None
    intro: bool = False
    saying: str = "cues"
    numbers_on_count: bool = False
    with_groove: bool = False

    def __post_init__(self) -> None:
        if not PERCENTS[0] <= self.percent <= PERCENTS[1]:
            raise ParameterError(
                f"percent={self.percent:g} must lie between {PERCENTS[0]:g} and {PERCENTS[1]:g}"
            )
        if self.tempo is not None and not TEMPOS[0] <= self.tempo <= TEMPOS[1]:
            raise ParameterError(
                f"tempo={self.tempo:g} must lie between {TEMPOS[0]:g} and {TEMPOS[1]:g}"
                " counts a minute"
            )
        if self.saying not in SAYINGS:
            raise ParameterError(f"say={self.saying!r} is not one of {', '.join(SAYINGS)}")
        if self.intro and (self.percent != 100.0 or self.tempo is not None):
            raise ParameterError("the song's intro is kept only at the song's own tempo")


@dataclass(frozen=True, slots=True, kw_only=True)
class Click:
    """One click of the file: where it begins, of which kind, for which count."""

    time_s: float
    kind: str
    row: RunningCount


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Practice:
    """The made audio, mono float32, and what sounds where in it."""

    samples: np.ndarray
    sample_rate_hz: int
    clicks: tuple[Click, ...]
    words: tuple[tuple[float, float, str], ...]


def practice(
    fit: FitPlan, plan: Plan | None = None, wishes: PracticeRequest | None = None
) -> Practice:
    """Make practice audio of a plan.

    Parameters
    ----------
    fit : FitPlan
    plan : Plan, optional
        One of ``fit.plans``; the advised one if left out.
    wishes : PracticeRequest, optional

    Returns
    -------
    Practice
        Peak at most `PEAK`; each click begins at ``round(time_s * sample_rate_hz)``.

    Raises
    ------
    ParameterError
        If it would last longer than `LONGEST_S`.
    """
    plan, wishes = plan or fit.plan, wishes or PracticeRequest()
    clicks = timeline(fit, plan, wishes)
    if (duration_s := clicks[-1].time_s) > LONGEST_S:
        raise ParameterError(
            f"practice audio would last {duration_s / 3600:.1f} hours, and {LONGEST_S / 3600:g} are"
            " the most; look at the times in the bar map"
        )
    ends = [*(click.time_s for click in clicks[1:]), clicks[-1].time_s + _last_span_s(clicks)]
    out = np.zeros(round((ends[-1] + TAIL_S) * SAMPLE_RATE_HZ), dtype=np.float32)
    for click in clicks:
        _add(out, click_sound(click.kind), click.time_s)
    if wishes.with_groove:
        times = np.array([*(click.time_s for click in clicks), ends[-1]])
        places = [click.row.spoken - 1 for click in clicks]
        backing = groove(
            times, places, meter=fit.routine.meter, swing=fit.routine.swing,
            n_samples=len(out), sample_rate_hz=SAMPLE_RATE_HZ,
        )  # fmt: skip
        backing *= GROOVE_LEVEL
        out += backing
    words = tuple(_spoken(fit, clicks, ends, wishes))
    for start, _, text in words:
        _add(out, SPEECH_LEVEL * say(text, SAMPLE_RATE_HZ), start)
    out *= PEAK / max(PEAK, _peak(out))
    return Practice(
        samples=out,
        sample_rate_hz=SAMPLE_RATE_HZ,
        clicks=clicks,
        words=words,
    )


def length_s(fit: FitPlan, plan: Plan, wishes: PracticeRequest) -> float:
    """Tell how long the audio will be [seconds], before it is made."""
    return timeline(fit, plan, wishes)[-1].time_s + TAIL_S


def _peak(samples: np.ndarray) -> float:
    return max(float(np.max(samples)), -float(np.min(samples)))


def timeline(fit: FitPlan, plan: Plan, wishes: PracticeRequest) -> tuple[Click, ...]:
    """Place the clicks: count-in (or the whole intro), walls and tags."""
    rows = [row for row in running_counts(fit, plan) if row.kind != "after" or wishes.intro]
    if not wishes.intro:
        rows = _counted_in(rows, COUNT_IN[fit.routine.meter])
    if wishes.intro:
        times = [row.time_s for row in rows]
    elif wishes.tempo is not None:
        times = [LEAD_S + i * 60.0 / wishes.tempo for i in range(len(rows))]
    else:
        slower = 100.0 / wishes.percent
        times = [LEAD_S + (row.time_s - rows[0].time_s) * slower for row in rows]
    return tuple(
        Click(time_s=time, kind=_kind(row), row=row) for time, row in zip(times, rows, strict=True)
    )


def _counted_in(rows: list[RunningCount], n_in: int) -> list[RunningCount]:
    """Keep the last counts of the intro; make them up where the song has too few."""
    from dataclasses import replace

    first = next(i for i, row in enumerate(rows) if row.kind == "wall")
    kept = rows[max(0, first - n_in) :]
    span = kept[0].end_s - kept[0].time_s
    missing = n_in - min(first, n_in)
    made = [
        replace(
            kept[0],
            index=kept[0].index - k,
            time_s=kept[0].time_s - k * span,
            end_s=kept[0].time_s - (k - 1) * span,
            kind="intro", wall=0, events=(), step=None,
            count=-(n_in - missing) - k,
            spoken=missing - k + 1,
        )
        for k in range(missing, 0, -1)
    ]  # fmt: skip
    return made + kept


def _kind(row: RunningCount) -> str:
    return row.event.kind if row.event else "eight" if row.spoken == 1 else "count"


def _last_span_s(clicks: tuple[Click, ...]) -> float:
    return clicks[-1].time_s - clicks[-2].time_s


def click_sound(kind: str) -> np.ndarray:
    """Give the sound of one kind of click; its first sample is its onset."""
    tones, decay_s, level = CLICKS[kind]
    t = np.arange(round(CLICK_S * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ
    sound = np.zeros(len(t))
    for i, frequency_hz in enumerate(tones):
        late = t - i * SECOND_TONE_S
        tone = np.cos(2 * np.pi * frequency_hz * late) * np.exp(-late / decay_s)
        sound += np.where(late >= 0, tone, 0.0)
    fade = np.minimum(1.0, (t[-1] - t) / 0.01)
    return (PEAK * level * fade * sound / np.max(np.abs(sound))).astype(np.float32)


def _add(out: np.ndarray, sound: np.ndarray, start_s: float) -> None:
    start = round(start_s * SAMPLE_RATE_HZ)
    if start < 0:
        start, sound = 0, sound[-start:]
    piece = sound[: len(out) - start]
    out[start : start + len(piece)] += piece


# --------------------------------------------------------------------- speech


def _spoken(
    fit: FitPlan, clicks: tuple[Click, ...], ends: list[float], wishes: PracticeRequest
) -> list[tuple[float, float, str]]:
    """Choose the words in the order of their weight; none overlaps another."""
    taken: list[tuple[float, float, str]] = []
    if wishes.saying == "nothing":
        return taken
    wanted: list[Iterable[tuple[float, float, str]]] = [
        _ahead((c.time_s, word) for c, word in _event_words(clicks)),
        _numbers([c for c in clicks if c.row.kind == "intro"], wishes.numbers_on_count),
    ]
    if wishes.saying in ("cues", "both"):
        wanted.append(_ahead(_step_calls(clicks, ends, fit.routine.swing)))
    if wishes.saying in ("numbers", "both"):
        danced = [c for c in clicks if c.row.kind in ("wall", "tag")]
        wanted.append(_numbers(danced, wishes.numbers_on_count))
    for words in wanted:
        for start, end, text in words:
            free = all(end + WORD_GAP_S <= s or start >= e + WORD_GAP_S for s, e, _ in taken)
            if start >= 0 and free:
                taken.append((start, end, text))
    return sorted(taken)


def _event_words(clicks: tuple[Click, ...]) -> Iterator[tuple[Click, str]]:
    """Call a tag or restart two counts before it, leaving the last two to the step's cue."""
    for i, click in enumerate(clicks):
        if click.kind in (EventKind.TAG, EventKind.RESTART) and i >= 2:
            yield clicks[i - 2], click.kind


def _step_calls(
    clicks: tuple[Click, ...], ends: list[float], swing: float
) -> Iterator[tuple[float, str]]:
    """Give each step the time of its first moment and the words that call it."""
    called: Step | None = None
    for click, end in zip(clicks, ends, strict=True):
        step = click.row.step
        if step is None or (step is called and click.row.count != 1):
            continue
        called = step
        fraction = step.moments[0] - (click.row.count - 1)
        late = sounding_offset(fraction, swing) if 0 < fraction < 1 else 0.0
        if text := sayable(cue_words(step.name)):
            yield click.time_s + late * (end - click.time_s), text


def unsaid_note(routine: Routine) -> str:
    """Name the calls that are said in part or not at all, as no voice is installed; "" if none."""
    sheets = [part.steps for part in routine.parts] + [tag.steps for tag in routine.tags]
    calls = dict.fromkeys(cue_words(step.name) for steps in sheets for step in steps)
    short = [f'"{call}"' for call in calls if sayable(call) != call]
    if not short:
        return ""
    return (
        "no voice here can say all words of these calls, and some are left out:"
        f" {', '.join(short)};"
        ' install the extra "phrasefit[speech]" to have them said by the voice of your computer'
    )


def _ahead(calls: Iterable[tuple[float, str]]) -> Iterator[tuple[float, float, str]]:
    """Place words so that each ends just before the time it calls."""
    for time_s, text in calls:
        end = time_s - WORD_GAP_S
        yield end - len(say(text, SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ, end, text


def _numbers(clicks: list[Click], on_count: bool) -> Iterator[tuple[float, float, str]]:
    names = ("one", "two", "three", "four", "five", "six", "seven", "eight")
    calls = [(click.time_s, names[click.row.spoken - 1]) for click in clicks]
    if not on_count:
        yield from _ahead(calls)
        return
    for time_s, text in calls:
        yield time_s, time_s + len(say(text, SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ, text


# ---------------------------------------------------------------------- files

FORMATS = {".wav": ("WAV", "PCM_16"), ".flac": ("FLAC", "PCM_16"), ".ogg": ("OGG", "VORBIS"),
           ".mp3": ("MP3", "MPEG_LAYER_III")}  # fmt: skip


def _duration_s(made: Practice) -> float:
    return len(made.samples) / made.sample_rate_hz


def chapters_of(made: Practice) -> list[tuple[float, str]]:
    """List where the count-in, each wall and each tag begin [seconds], and their names."""
    starts = [(made.clicks[0].time_s, "count-in")] if made.clicks[0].row.wall == 0 else []
    return starts + [
        (click.time_s, chapter_name(event))
        for click in made.clicks
        for event in click.row.events
        if isinstance(event, Wall | Tag)
    ]


def encode(made: Practice, suffix: str, file: BinaryIO) -> None:
    """Write the audio into a file, in the format that `suffix` names (.wav, .flac, .ogg, .mp3).

    Chapter marks for walls and tags are added where `reports.chapters` can.

    Lossy coding can overshoot: it is written again, quieter, until the decoded peak
    is at most `PEAK`.

    Parameters
    ----------
    made : Practice
    suffix : str
    file : binary file, open for reading and writing

    Raises
    ------
    ParameterError
        If the format is not known.
    """
    import soundfile

    form, subtype = FORMATS[known_format(suffix)]
    gain, rate_hz = 1.0, made.sample_rate_hz
    while True:
        file.seek(0)
        file.truncate()
        blocks = (gain * block for block in in_blocks(made.samples, rate_hz))
        write_sound(file, blocks, rate_hz, n_channels=1, container=form, subtype=subtype)
        file.seek(0)
        with soundfile.SoundFile(file) as coded:
            peak = max(_peak(block) for block in coded.blocks(rate_hz, dtype="float32"))
        if peak <= PEAK:
            add_chapters(file, suffix.lower(), chapters_of(made), _duration_s(made))
            return
        gain *= 0.98 * PEAK / peak


def known_format(suffix: str) -> str:
    """Give the key of `FORMATS` for the ending of a file name.

    Raises
    ------
    ParameterError
        If there is none.
    """
    if suffix.lower() not in FORMATS:
        raise ParameterError(f"{suffix or 'no ending'} is no audio format known here;"
                             f" end the name in {', '.join(FORMATS)}")  # fmt: skip
    return suffix.lower()


def encoded(made: Practice, suffix: str) -> bytes:
    """Give the bytes of the file that `encode` writes."""
    file = io.BytesIO()
    encode(made, suffix, file)
    return file.getvalue()
