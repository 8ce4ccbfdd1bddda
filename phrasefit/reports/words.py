"""A fit in an instructor's words: the verdict, the reasons for a plan, the cautions.

Walls are numbered from 1, a repetition cut short counts too; every place is given by
its time as well.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from enum import StrEnum

from phrasefit.clock import clock_time
from phrasefit.fit.in_step import Measure, Place, Steps, measure_of, steps_of
from phrasefit.fit.regret import FELT_POINTS, points_as_shown
from phrasefit.fit.tempo import is_in_reach
from phrasefit.fit.tempo_course import course_of_counts
from phrasefit.meters import DANCE_METERS
from phrasefit.model import (
    CUT_OFF,
    JUMPS,
    NO_BEAT,
    BarMap,
    FitPlan,
    PhraseBreak,
    Plan,
    Routine,
    Section,
    TempoVerdict,
    Wall,
)
from phrasefit.reports.doubts import NameCorrection, doubt_cell, doubt_words, main_doubt
from phrasefit.reports.event_words import change_sentences, counts_words, ending_sentence
from phrasefit.reports.pace_words import course_words
from phrasefit.reports.start_words import start_words
from phrasefit.routine.dancer_state import turn_load_deg_per_minute
from phrasefit.serial import UNNAMED

# Five full turns a minute, to whichever side; common practice, no source.
TURN_CAUTION_DEG_PER_MINUTE = 1800
# Scores from which a routine fits, or fits in part: our own names for them.  Of 887 released
# songs with bar maps made by people (Harmonix Set) 66 % reach the first with 32 counts and
# 92 % the second; with 64 counts 22 % and 82 %.
FITS = 70.0
FITS_IN_PART = 40.0
FELT_PERCENT = 1.0  # a smaller change of tempo is not felt; common practice, no source
SHOWN_CHARGE = 0.05  # points; less is written as 0.0
SHOWN_FAULTS = 3  # of a recording, on a sheet
SHOWN_BREAKS = 2  # the first ones: by then an instructor knows what kind of song it is

_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


def verdict_cell(fit: FitPlan) -> str:
    """Say in three words or fewer how the plan asked for fits, for a column of a table."""
    if not is_in_reach(fit.tempo):
        return fit.tempo.verdict
    if doubt := main_doubt(fit, weigh=False):
        return doubt_cell(doubt)
    well = "fits, changed" if fit.plan.n_changes else "fits as is"
    return _cell(fit.plan.score, well)


def estimate_cell(score: float, tempo: TempoVerdict) -> str:
    """Say the same of a song that no plan has been made for yet."""
    return _cell(score, "fits") if is_in_reach(tempo) else tempo.verdict


def _cell(score: float, well: str) -> str:
    cells = {Fitting.WELL: well, Fitting.IN_PART: "partly fits", Fitting.HARDLY: "hardly fits"}
    return cells[fitting_of(score)]


class Fitting(StrEnum):
    """How well a plan fits, by its score alone."""

    WELL = "well"
    IN_PART = "in part"
    HARDLY = "hardly"


def fitting(plan: Plan) -> Fitting:
    """Tell how well a plan fits."""
    return fitting_of(plan.score)


def fitting_of(score: float) -> Fitting:
    """Tell how well a plan of this score fits."""
    if score >= FITS:
        return Fitting.WELL
    return Fitting.IN_PART if score >= FITS_IN_PART else Fitting.HARDLY


def verdict(
    fit: FitPlan,
    plan: Plan | None = None,
    *,
    name_correction: NameCorrection | None = None,
    weigh: bool = True,
) -> str:
    """Say in a few sentences whether and how the routine fits the song.

    What to check before it is trusted, how far it goes straight through, what the song does
    then, which change fixes it, and whether the tempo suits.  `plan` is one of ``fit.plans``;
    the one asked for if left out.  `name_correction` gives what to type for a correction;
    `weigh` as for `phrasefit.reports.doubts.doubts_of`.
    """
    sentences = _phrase_sentences(fit, plan or fit.plan)
    if doubt := main_doubt(fit, weigh=weigh):
        sentences.insert(0, doubt_words(doubt, name_correction))
    if is_off_tempo(fit.tempo):
        sentences.append(tempo_words(fit))
    return " ".join(text[:1].upper() + text[1:] + "." for text in sentences)


def verdict_line(fit: FitPlan, plan: Plan | None = None) -> str:
    """Say the verdict in one line: how well it fits, with how many changes, its score."""
    text = _phrase_sentences(fit, plan or fit.plan)[0]
    return f"{text[:1].upper()}{text[1:]}."


def verdict_in_a_line(fit: FitPlan, plan: Plan) -> str:
    """Say what to check, the score, a wrong tempo and what the recording lacks, for a sheet."""
    score = _score(fit, plan) if plan is fit.advised else _choice(fit, plan)
    doubt = main_doubt(fit)
    said = [doubt_cell(doubt), score] if doubt else [score]
    if is_off_tempo(fit.tempo):
        said.append(f"the tempo is {fit.tempo.verdict}")
    text = "; ".join((*said, *recording_faults(fit.bar_map)))
    return f"{text[:1].upper()}{text[1:]}."


def recording_faults(bar_map: BarMap) -> tuple[str, ...]:
    """List in few words where the recording cannot be danced to; what follows is left out.

    It is cut off, has no beat in a part, or jumps.  No more are told than a sheet has room for.
    """
    told = [note for note in bar_map.notes if note.startswith((CUT_OFF, NO_BEAT, JUMPS))]
    faults = [re.split("[;:] ", note)[0] for note in told]
    if len(faults) > SHOWN_FAULTS:
        n_left = len(faults) - SHOWN_FAULTS + 1
        faults[SHOWN_FAULTS - 1 :] = [f"{_number(n_left)} more such places"]
    return tuple(faults)


def music_name(section: Section) -> str:
    """Name a section of the song, as a person calls it if one did.

    The word keeps a letter apart from a part of the routine.
    """
    name = section.name or section.letter
    return name if len(name) > 1 else f"music {name}"


def part_name(name: str) -> str:
    """Name a part of a phrased routine; the word keeps it apart from a section of the song."""
    return f"part {name}"


def routine_size(routine: Routine) -> str:
    """Say how long a routine is: the counts of a wall, or of its whole sequence of parts."""
    walls = f"{routine.walls} wall{'' if routine.walls == 1 else 's'}"
    if not routine.sequence:
        return f"{routine.counts} counts, {walls}"
    length = {part.name: part.counts for part in routine.parts}
    parts = ", ".join(f"{part_name(name)} {counts_words(n)}" for name, n in length.items())
    total = sum(length[name] for name in routine.sequence)
    order = " ".join(routine.sequence)
    return f"{parts}; danced {order}: {counts_words(total)}, {walls}"


def _number(n: int) -> str:
    return _NUMBERS[n] if n < len(_NUMBERS) else str(n)


def _plural(n: int, noun: str) -> str:
    return f"{_number(n)} {noun}{plural_s(n)}"


def plural_s(n: int) -> str:
    """Give the ending of a noun that follows a number."""
    return "" if n == 1 else "s"


def _phrase_sentences(fit: FitPlan, plan: Plan) -> list[str]:
    """Say how far it goes straight through, what the song does, what fixes it."""
    judgement = _judgement(fit, plan) if plan is fit.advised else _choice(fit, plan)
    if fit.plans[0].n_changes:  # changes are demanded: there is no plan straight through
        return [judgement, _what_changes_do(fit, plan)]
    plain = steps_of(fit.plans[0], fit.grid, fit.routine)
    straight = _straight_through(fit, plain)
    if plain.all_kept and not plan.n_changes:
        return [f"{judgement}: {straight}"]
    begun = fit.plans[0].start_s
    when = "" if begun == plan.start_s else f" from {clock_time(begun)}"
    sentences = [judgement, f"straight through{when}, {straight}"]
    if later_breaks(fit):
        sentences.append(breaks_words(fit))
    if plan.n_changes:
        sentences.append(_what_changes_do(fit, plan))
    elif plan is fit.advised:
        sentences.append(_why_no_change(fit, plain))
    return sentences


def _judgement(fit: FitPlan, plan: Plan) -> str:
    """Put the score of the advised plan in a few words, and advice where it is low."""
    hardly = fitting(plan) is Fitting.HARDLY
    return _score(fit, plan) + ("; another song would be easier to dance to" if hardly else "")


def _score(fit: FitPlan, plan: Plan) -> str:
    """Put the score of the advised plan in a few words."""
    score = f"({plan.score:.0f} of 100)"
    how = f"with {_plural(plan.n_changes, 'change')}" if plan.n_changes else "as it is"
    words = {
        Fitting.WELL: f"it fits {how} {score}",
        Fitting.IN_PART: f"it fits in part {how} {score}",
        Fitting.HARDLY: f"it hardly fits {score}",
    }[fitting(plan)]
    return f"if that is right, {words}" if fit.doubts else words


def _choice(fit: FitPlan, plan: Plan) -> str:
    """Put a plan that was asked for beside the advised one."""
    chosen, advised = (_plural(p.n_changes, "change") for p in (plan, fit.advised))
    return (
        f"with {chosen}, as chosen, it scores {plan.score:.0f} of 100"
        f" (with {advised}, as advised, {fit.advised.score:.0f})"
    )


def _straight_through(fit: FitPlan, steps: Steps) -> str:
    """Say how far the plain plan stays with the phrases, in the terms of its table."""
    if Place.UNKNOWN in steps.places:
        return "no phrase of the song is known"
    if steps.kept < len(steps.places):
        if not steps.kept:
            return "it is off the phrases from the first wall on"
        return f"it keeps to the phrases up to wall {steps.kept}"
    if steps.all_begin_walls:
        words = "every phrase of the song starts a wall"
    elif set(steps.places) == {Place.ON}:
        words = "every wall starts on a phrase"
    elif _is_every_second_on(steps.places):
        words = "every second wall starts on a phrase"
    else:
        words = "every wall keeps to the phrases"
    if steps.missed:
        falls = "falls" if steps.missed == 1 else "fall"
        return f"{words}, but {_plural(steps.missed, 'phrase start')} {falls} inside a wall"
    measure = measure_of(fit.grid, fit.routine)
    alike = all(part.counts == measure.wall_counts for part in fit.routine.parts)
    ratio = _ratio_words(measure) if alike else ""
    return f"{words} ({ratio})" if ratio else words


def _is_every_second_on(places: Sequence[Place]) -> bool:
    return all((place is Place.ON) == (i % 2 == 0) for i, place in enumerate(places))


def _ratio_words(measure: Measure) -> str:
    """Say how long a wall is in phrases, where they differ and it is simple."""
    phrase, wall = measure.phrase_counts, measure.wall_counts
    if phrase == wall:
        return ""
    if wall % phrase == 0:
        return f"a wall is {_plural(wall // phrase, 'phrase')} of {counts_words(phrase)}"
    if phrase % wall == 0:
        return f"{_plural(phrase // wall, 'wall')} make a phrase of {counts_words(phrase)}"
    if 2 * wall == 3 * phrase:
        return f"a wall is a phrase and a half of {counts_words(phrase)}"
    return ""


def _what_changes_do(fit: FitPlan, plan: Plan) -> str:
    """Say which changes fix it, or how much of it."""
    events = join_words(change_sentences(plan))
    steps = steps_of(plan, fit.grid, fit.routine)
    if steps.all_kept:
        s = "" if plan.n_changes > 1 else "s"
        if _is_kept_straight_through(fit):
            return f"{events} meet{s} the phrases better"
        return f"{events} fix{'es' if s else ''} it"
    whose = "advised" if plan is fit.advised else "chosen"
    n_off = steps.places.count(Place.OFF)
    starts = "starts" if n_off == 1 else "start"
    left = [f"{_plural(n_off, 'wall')} still {starts} off the phrases"] if n_off else []
    if steps.missed:
        falls = "falls" if steps.missed == 1 else "fall"
        left.append(f"{_plural(steps.missed, 'phrase start')} still {falls} inside a wall")
    return f"{whose}: {events}; {join_words(left)}"


def _is_kept_straight_through(fit: FitPlan) -> bool:
    """Tell whether the plan straight through is in step, so that nothing has to be fixed."""
    plain = fit.plans[0]
    return not plain.n_changes and steps_of(plain, fit.grid, fit.routine).all_kept


def _why_no_change(fit: FitPlan, plain: Steps) -> str:
    if plain.on_groups:
        one_group = DANCE_METERS[fit.routine.meter].one_group
        return f"the phrases stay on {one_group}, which dancers live with: no change is advised"
    if len(fit.plans) == 1:
        return "no restart or tag that the routine allows brings it back"
    return "no restart or tag is worth learning for it"


def later_breaks(fit: FitPlan) -> tuple[PhraseBreak, ...]:
    """List the places after count 1 where the song breaks its phrases for this routine."""
    return tuple(place for place in fit.breaks if place.count > fit.plan.start_count)


def breaks_words(fit: FitPlan) -> str:
    """Say where the song breaks its phrases: the first places, and how many more."""
    places = later_breaks(fit)
    shown = [_break_words(fit, place) for place in places[:SHOWN_BREAKS]]
    if more := len(places) - len(shown):
        shown.append(f"breaks {_number(more)} more {'time' if more == 1 else 'times'}")
    return f"the song {join_words(shown)}"


def _break_words(fit: FitPlan, place: PhraseBreak) -> str:
    extra = place.extra_counts
    if 2 * extra == measure_of(fit.grid, fit.routine).phrase_counts:
        what = f"adds half a phrase ({counts_words(extra)})"
    else:
        what = f"adds {counts_words(extra)}" if extra > 0 else f"is {counts_words(-extra)} short"
    return f"{what} before {_section_words(fit, place)}"


def _section_words(fit: FitPlan, place: PhraseBreak) -> str:
    when = clock_time(place.time_s)
    if not place.letter:
        return f"the phrase at {when}"
    sections = fit.bar_map.sections
    here = sections[int(fit.grid.section[place.count])]
    if here.name:
        same = [s for s in sections if s.name == here.name]
        what, article = here.name, "" if here.name[-1].isdigit() else "the "
    elif place.letter == UNNAMED:
        return f"the section at {when}"
    else:
        same = [s for s in sections if s.letter == place.letter]
        what, article = f"section {place.letter}", ""
    last = len(same) > 1 and here is same[-1]
    return f"{'the last ' if last else article}{what} at {when}"


def join_words(items: Iterable[str]) -> str:
    """Join as in a sentence: ``a, b and c``."""
    *first, last = items
    return f"{', '.join(first)} and {last}" if first else last


def reasons(fit: FitPlan, plan: Plan) -> tuple[str, ...]:
    """List what speaks for and against a plan, one plain line each.

    The start, every event with all its facts, walls that start off a phrase, the
    ending, and how the score comes about.
    """
    return (
        start_words(fit, plan),
        *change_sentences(plan),
        *off_phrase_lines(fit, plan),
        ending_sentence(plan.ending),
        score_words(fit, plan),
    )


def changes_words(plan: Plan) -> str:
    """Say all changes of a plan in a line."""
    return "; ".join(change_sentences(plan)) or "danced straight through"


def score_words(fit: FitPlan, plan: Plan) -> str:
    """Say how the score comes about, and what it would be if no section were in doubt."""
    if plan.phrase_met < 0:
        words = f"{plan.score:.0f} of 100: the phrases fall between the bars of the dance"
    else:
        words = f"{plan.score:.0f} of 100: phrases met {plan.phrase_met:.1f}"
    if plan.phrase_met >= 0 and plan.charges >= SHOWN_CHARGE:
        why = "changes and start" if plan.n_changes else "the start"
        words += f", less {plan.charges:.1f} for {why}"
    sure = points_as_shown(fit, plan)
    if abs(sure - plan.score) < FELT_POINTS:
        return words
    return f"{words}; {sure:.0f} if phrases begin as shown"


def off_phrase_lines(fit: FitPlan, plan: Plan) -> tuple[str, ...]:
    """Group walls in a row that start equally far off the nearest phrase start.

    Walls that are in step are not told, see `phrasefit.fit.in_step`.
    """
    measure = measure_of(fit.grid, fit.routine)
    off = [wall for wall in plan.walls if measure.place_of(wall) is Place.OFF]
    runs: list[list[Wall]] = []
    for wall in off:
        last = runs[-1][-1] if runs else None
        if last and (last.number + 1, last.phrase_offset) == (wall.number, wall.phrase_offset):
            runs[-1].append(wall)
        else:
            runs.append([wall])
    return tuple(_off_words(run) for run in runs)


def _off_words(run: Sequence[Wall]) -> str:
    first, last, off = run[0], run[-1], run[0].phrase_offset
    who = f"wall {first.number} starts"
    if len(run) > 1:
        who = f"walls {first.number} to {last.number} start"
    side = "after" if off > 0 else "before"
    return (
        f"{who} {counts_words(abs(off))} {side} a phrase start (from {clock_time(first.start_s)})"
    )


def off_phrase(fit: FitPlan, wall: Wall) -> str:
    """Say how far a wall starts off the phrase in a word or two; nothing if it is in step."""
    if measure_of(fit.grid, fit.routine).place_of(wall) is not Place.OFF:
        return ""
    side = "after" if wall.phrase_offset > 0 else "before"
    return f"{abs(wall.phrase_offset)} {side} the phrase"


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
    text = f"{text} is {tempo.verdict} ({wanted} is wanted)"
    percent = abs(tempo.change_percent)
    if not is_in_reach(tempo):
        return f"{text}, by {percent:.0f} %: choose another song, it would sound wrong at that pace"
    pace = "faster" if tempo.change_percent > 0 else "slower"
    return f"{text}: play it {percent:.1f} % {pace}, with the pitch kept"


def tempo_and_course_words(fit: FitPlan, *, source: str = "") -> str:
    """Say whether the tempo suits, `source` (of its range) behind that, and where it changes."""
    suits = f"{tempo_words(fit)} ({source})" if source else tempo_words(fit)
    return "; ".join(filter(None, (suits, course_words(fit.grid))))


def cautions(fit: FitPlan) -> tuple[str, ...]:
    """List what can hurt or overtax people: speed, turning, changes for new dancers."""
    lines = []
    level = fit.routine.level.lower()
    if fit.tempo.verdict == "too fast" and is_off_tempo(fit.tempo):
        slower = ", or slow the music down" if is_in_reach(fit.tempo) else ""
        lines.append(f"fast for this routine: keep the steps small{slower}")
    if not course_of_counts(fit.grid).is_kept:
        lines.append(
            f"{course_words(fit.grid)}: dance it through before you teach to it, and watch whether"
            " people keep up where it is fastest"
        )
    load = turn_load_deg_per_minute(fit.routine, fit.tempo.counts_per_minute)
    if load > TURN_CAUTION_DEG_PER_MINUTE:
        lines.append(
            f"about {load / 360:.0f} full turns a minute: offer a version without turns,"
            " leave room on a crowded floor, never spin on carpet or a sticky floor"
        )
    if "absolute beginner" in level and fit.plan.n_changes:
        lines.append("absolute beginners are usually spared restarts and tags")
    return tuple(lines)
