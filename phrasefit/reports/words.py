"""A fit in an instructor's words: the verdict, the reasons for a plan, the cautions.

Walls are numbered from 1, a repetition cut short counts too; every place is given by
its time as well.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import takewhile

from phrasefit.fit.grid import dance_phrase_counts
from phrasefit.fit.phrase_hits import PhraseHit, phrase_hits
from phrasefit.meters import DANCE_METERS
from phrasefit.model import FitPlan, PhraseBreak, Plan, TempoVerdict, Wall
from phrasefit.reports.doubts import doubt_words
from phrasefit.reports.event_words import change_sentences, counts_words, ending_sentence
from phrasefit.reports.times import clock_time
from phrasefit.routine.dancer_state import turn_load_deg_per_minute

# Five full turns a minute, to whichever side; common practice, no source.
TURN_CAUTION_DEG_PER_MINUTE = 1800
# Scores from which a routine fits, or fits in part: our own names for them.  Of 887 released
# songs with bar maps made by people (Harmonix Set) 66 % reach the first with 32 counts and
# 92 % the second; with 64 counts 22 % and 82 %.
FITS = 70.0
FITS_IN_PART = 40.0
FELT_PERCENT = 1.0  # a smaller change of tempo is not felt; common practice, no source
SHOWN_BREAKS = 2  # the first ones: by then an instructor knows what kind of song it is

_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


def verdict(fit: FitPlan, plan: Plan | None = None) -> str:
    """Say in a few sentences whether and how the routine goes with the song.

    How far it goes straight through, what the song does then, which change fixes it,
    whether the tempo suits, and what to check first.  `plan` is one of ``fit.plans``; the
    advised one if left out.
    """
    sentences = _phrase_sentences(fit, plan or fit.plan)
    if is_off_tempo(fit.tempo):
        sentences.append(tempo_words(fit))
    if fit.doubts:
        sentences.append(f"before you trust it, {doubt_words(fit.doubts[0])}")
    return " ".join(text[:1].upper() + text[1:] + "." for text in sentences)


def _number(n: int) -> str:
    return _NUMBERS[n] if n < len(_NUMBERS) else str(n)


def _plural(n: int, noun: str) -> str:
    return f"{_number(n)} {noun}{'' if n == 1 else 's'}"


def _phrase_sentences(fit: FitPlan, plan: Plan) -> list[str]:
    """Say how far it goes straight through, what the song does, what fixes it."""
    plain = phrase_hits(fit.plans[0], fit.grid)
    judgement = _judgement(plan) if plan is fit.advised else _choice(fit, plan)
    if all(hit.into_counts == 0 for hit in plain) and not plan.n_changes:
        return [f"{judgement}: every phrase of the song starts a wall"]
    sentences = [judgement, _straight_through(plain)]
    if later_breaks(fit):
        sentences.append(breaks_words(fit))
    if plan.n_changes:
        sentences.append(_what_changes_do(fit, plan))
    elif plan is fit.advised:
        sentences.append(_why_no_change(fit, plain))
    return sentences


def _judgement(plan: Plan) -> str:
    """Put the score of the advised plan in a few words."""
    score = f"({plan.score:.0f} of 100)"
    if plan.score < FITS_IN_PART:
        return f"it hardly fits {score}; another song would be easier to dance to"
    how = f"with {_plural(plan.n_changes, 'change')}" if plan.n_changes else "as it is"
    return f"it fits {'' if plan.score >= FITS else 'in part '}{how} {score}"


def _choice(fit: FitPlan, plan: Plan) -> str:
    """Put a plan that was asked for beside the advised one."""
    chosen, advised = (_plural(p.n_changes, "change") for p in (plan, fit.advised))
    return (
        f"with {chosen}, as chosen, it scores {plan.score:.0f} of 100"
        f" (with {advised}, as advised, {fit.advised.score:.0f})"
    )


def _straight_through(hits: Sequence[PhraseHit]) -> str:
    """Say how far the plain plan stays with the phrases."""
    good = list(takewhile(lambda hit: hit.into_counts == 0, hits))
    if len(good) == len(hits):
        return "straight through, every phrase starts a wall"
    if not good or good[-1].wall == 1:
        return "straight through, it leaves the phrases in wall 1 already"
    return f"straight through, it starts every wall on a phrase up to wall {good[-1].wall}"


def _what_changes_do(fit: FitPlan, plan: Plan) -> str:
    """Say which changes fix it, or how much of it."""
    events = join_words(change_sentences(plan))
    missed = sum(hit.into_counts != 0 for hit in phrase_hits(plan, fit.grid))
    if not missed:
        return f"{events} {'fixes' if plan.n_changes == 1 else 'fix'} it"
    falls = "falls" if missed == 1 else "fall"
    whose = "advised" if plan is fit.advised else "chosen"
    return f"{whose}: {events}; {_plural(missed, 'phrase start')} still {falls} inside a wall"


def _why_no_change(fit: FitPlan, plain: Sequence[PhraseHit]) -> str:
    dance = DANCE_METERS[fit.routine.meter]
    if all(hit.into_counts % dance.group_counts == 0 for hit in plain):
        return (
            f"the phrases stay on {dance.one_group}, which dancers live with: no change is advised"
        )
    if len(fit.plans) == 1:
        return "no restart or tag that the routine allows brings it back"
    return "no restart or tag is worth learning for it"


def later_breaks(fit: FitPlan) -> tuple[PhraseBreak, ...]:
    """List the places after count 1 where the song leaves square phrases."""
    return tuple(place for place in fit.breaks if place.count > fit.plan.start_count)


def breaks_words(fit: FitPlan) -> str:
    """Say where the song leaves square phrases: the first places, and how many more."""
    places = later_breaks(fit)
    shown = [_break_words(fit, place) for place in places[:SHOWN_BREAKS]]
    if more := len(places) - len(shown):
        shown.append(f"breaks {_number(more)} more {'time' if more == 1 else 'times'}")
    return f"the song {join_words(shown)}"


def _break_words(fit: FitPlan, place: PhraseBreak) -> str:
    phrase = dance_phrase_counts(fit.routine.meter, fit.routine)
    extra = place.extra_counts
    if 2 * extra == phrase:
        what = f"adds half a phrase ({extra} counts)"
    else:
        what = f"adds {counts_words(extra)}" if extra > 0 else f"is {counts_words(-extra)} short"
    return f"{what} before {_section_words(fit, place)}"


def _section_words(fit: FitPlan, place: PhraseBreak) -> str:
    when = clock_time(place.time_s)
    if not place.letter:
        return f"the phrase at {when}"
    same = [s for s in fit.bar_map.sections if s.letter == place.letter]
    index = int(fit.grid.section[place.count])
    last = len(same) > 1 and fit.bar_map.sections[index] is same[-1]
    return f"{'the last ' if last else ''}section {place.letter} at {when}"


def join_words(items: Iterable[str]) -> str:
    """Join as in a sentence: ``a, b and c``."""
    *first, last = items
    return f"{', '.join(first)} and {last}" if first else last


def reasons(plan: Plan) -> tuple[str, ...]:
    """List what speaks for and against a plan, one plain line each.

    The start, every event with all its facts, walls that start off a phrase, the
    ending, and how the score comes about.
    """
    return (
        start_words(plan),
        *change_sentences(plan),
        *off_phrase_lines(plan.walls),
        ending_sentence(plan.ending),
        f"phrases met {plan.phrase_met:.1f} of 100, charges {plan.charges:.1f},"
        f" score {plan.score:.0f}",
    )


def start_words(plan: Plan) -> str:
    """Say when count 1 comes, counted from the first one and from the first phrase."""
    text = f"count 1 at {clock_time(plan.start_s)}"
    if plan.intro_counts > 0:
        text += f", after an intro of {counts_words(plan.intro_counts)} from the first one"
    elif plan.intro_counts == 0:
        text += ", on the first one of the song: there is no intro to count in on"
    else:
        text += f", {counts_words(-plan.intro_counts)} before the first one"
    phrase = plan.intro_from_phrase_counts
    if phrase != plan.intro_counts and phrase > 0:
        text += f" ({counts_words(phrase)} from count 1 of the first phrase)"
    return text


def off_phrase_lines(walls: Sequence[Wall]) -> tuple[str, ...]:
    """Group walls in a row that start equally far off the nearest phrase start.

    A short routine starts walls inside a phrase by nature: whole walls off are not told.
    """
    whole = max(wall.counts for wall in walls)
    lines = []
    run: list[Wall] = []
    for wall in (*walls, None):
        off = wall.phrase_offset if wall and wall.phrase_offset % whole else 0
        if run and (not off or off != run[-1].phrase_offset):
            lines.append(_off_words(run))
            run = []
        if off:
            run.append(wall)
    return tuple(lines)


def _off_words(run: Sequence[Wall]) -> str:
    first, last, off = run[0], run[-1], run[0].phrase_offset
    who = f"wall {first.number} starts"
    if len(run) > 1:
        who = f"walls {first.number} to {last.number} start"
    side = "after" if off > 0 else "before"
    return (
        f"{who} {counts_words(abs(off))} {side} a phrase start (from {clock_time(first.start_s)})"
    )


def is_off_tempo(tempo: TempoVerdict) -> bool:
    """Tell whether the tempo is outside its range by so much that a dancer could feel it."""
    return abs(tempo.change_percent) >= FELT_PERCENT


def tempo_words(fit: FitPlan) -> str:
    """Say whether the tempo suits, and the pitch-kept change that would make it."""
    tempo = fit.tempo
    text = f"{tempo.counts_per_minute:.0f} counts a minute"
    wanted = f"{tempo.low:.0f} to {tempo.high:.0f}"
    if not is_off_tempo(tempo):
        return f"{text}, in the range of {wanted}"
    change = (
        f"{abs(tempo.change_percent):.1f} % {'faster' if tempo.change_percent > 0 else 'slower'}"
    )
    return f"{text} is {tempo.verdict} ({wanted} is wanted): play it {change}, with the pitch kept"


def cautions(fit: FitPlan) -> tuple[str, ...]:
    """List what can hurt or overtax people: speed, turning, changes for new dancers."""
    lines = []
    level = fit.routine.level.lower()
    if fit.tempo.verdict == "too fast" and is_off_tempo(fit.tempo):
        lines.append("fast for this routine: keep the steps small, or slow the music down")
    load = turn_load_deg_per_minute(fit.routine, fit.tempo.counts_per_minute)
    if load > TURN_CAUTION_DEG_PER_MINUTE:
        lines.append(
            f"about {load / 360:.0f} full turns a minute: offer a version without turns,"
            " leave room on a crowded floor, never spin on carpet or a sticky floor"
        )
    if "absolute beginner" in level and fit.plan.n_changes:
        lines.append("absolute beginners are usually spared restarts and tags")
    return tuple(lines)
