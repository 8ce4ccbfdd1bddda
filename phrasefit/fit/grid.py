"""The song laid out in dance counts.

A count is what dancers count.  Most songs have one count a beat; a song of 170 is
danced at 85, every other beat (level 2), a song of 55 at 110 (level 0.5), and a
six-eight song tracked in eighths is danced to the dotted beat (level 3) by routines
in fours.  Where a person chose the level the bar map says so, and nothing else decides.
Counting starts afresh on each downbeat, so an odd bar never puts later counts on the
wrong beat: a beat too few to make half a count is held.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from phrasefit.errors import NoFitError, ParameterError, Reason
from phrasefit.fit.costs import Costs
from phrasefit.fit.tempo import DANCEABLE_CPM, distance_to_range
from phrasefit.meters import DANCE_METERS, LEVELS, DanceMeter, counted_beat_by_beat, divides
from phrasefit.model import BarMap, CountGrid, Outlook, Phrase, Routine
from phrasefit.phrase_lengths import phrases_of_length

SAME_TIME_S = 1e-3
# Planned by is so much of the form that is shown, so that a plan goes with what is said of it, and
# for the rest the mean over all forms.  Chosen among 0, 0.3, 0.5 and 1 by how many plans of songs
# agree with those of their true maps, and of copies with those of their songs.
SHOWN_SHARE = 0.5


def dance_phrase_counts(meter: int, routine: Routine | None = None) -> int:
    """Give the length of phrase that wall starts should meet.

    32 counts, in threes 24; twice that for routines whose every part is a multiple of
    it: a routine of 64 is not off the music because a 32 begins half-way.
    """
    base = DANCE_METERS[meter].phrase_counts
    double = routine is not None and all(p.counts % (2 * base) == 0 for p in routine.parts)
    return 2 * base if double else base


def dance_meter(bar_map: BarMap, routine: Routine | None = None) -> DanceMeter:
    """Give the meter that the song is danced in: the routine's, else that of its own bars."""
    return DANCE_METERS[routine.meter] if routine else counted_beat_by_beat(bar_map.meter)


def level_of(bar_map: BarMap, routine: Routine | None = None) -> float:
    """Tell how many beats make a count: as a person chose, else as the tempo suggests."""
    return bar_map.beats_per_count or choose_level(bar_map, routine)


def choose_level(bar_map: BarMap, routine: Routine | None = None) -> float:
    """Choose by tempo how many beats make a count: 1 unless another level suits better.

    The tempo range of the routine decides if it has one, else the range in which
    most songs are danced.  As tracked wins where several levels are in range.
    """
    levels = dance_meter(bar_map, routine).levels_for(bar_map.meter)
    low, high = (routine.tempo_bpm if routine else None) or DANCEABLE_CPM
    tempo = beat_tempo(bar_map)
    return min(levels, key=lambda level: round(distance_to_range(tempo / level, low, high), 9))


def beat_tempo(bar_map: BarMap) -> float:
    """Give the beats a minute, from the beats themselves if the map does not say."""
    if bar_map.tempo_bpm > 0:
        return bar_map.tempo_bpm
    return 60.0 / float(np.median(np.diff([*bar_map.beat_times_s, bar_map.end_s])))


def count_grid(
    bar_map: BarMap,
    *,
    routine: Routine | None = None,
    costs: Costs | None = None,
) -> CountGrid:
    """Lay a bar map out in counts, with the strength of phrase starts on them.

    Parameters
    ----------
    bar_map : BarMap
        Ours or hand-made; sections and phrases may be missing.
    routine : Routine, optional
        Its tempo range chooses the level where no person did, its length the phrases
        that count.
    costs : Costs, optional
        Gives the weight of phrases inside sections.

    Returns
    -------
    CountGrid
        `strength` and `expected` are those of sections and of phrases at least as long as
        `dance_phrase_counts`; shorter ones have no weight, nor has one with less than
        an eight (six) of music left: that is the ending.  Without sections and
        phrases every eighth bar (in threes too) from the first one begins a phrase.

    Raises
    ------
    NoFitError
        If the map holds no beats or no downbeat.
    ParameterError
        If the level that a person chose does not divide the bar.
    """
    level = _countable_level(bar_map, routine)
    times, bar_start, count_of_beat = _lay_counts(bar_map, level)
    section = np.full(len(bar_start), -1)
    for index, begun in enumerate(bar_map.sections):
        section[max(count_of_beat[begun.start_beat], 0) :] = index
    meter = max(1, round(bar_map.meter / level))
    danced = dance_meter(bar_map, routine)
    phrase = dance_phrase_counts(danced.bar_counts, routine)
    inner = (costs or Costs()).inner_phrase
    if bar_map.phrases:
        found = _dance_phrases(bar_map, phrase * level)
        starts = [(count_of_beat[p.start_beat], p.strength) for p in found]
    else:
        # What is assumed is no longer than what dancers call a phrase, also for long routines.
        assumed = phrase if bar_map.sections else danced.phrase_counts
        starts = [(count, 1.0) for count in _every_eighth_bar(bar_start, section, assumed, meter)]
    strength = _strengths(bar_map, starts, count_of_beat, len(bar_start), inner)
    expected = _expected(bar_map.all_forms, strength, phrase * level, count_of_beat, inner)
    for values in (strength, expected):
        values[max(0, len(values) - danced.group_counts + 1) :] = 0.0
    return CountGrid(
        times_s=times,
        bar_start=bar_start,
        strength=strength,
        expected=expected,
        section=section,
        beats_per_count=level,
        counts_per_minute=beat_tempo(bar_map) / level,
        meter=meter,
        singing=_singing_count(bar_map.singing_at_s, times, bar_start),
    )


def _countable_level(bar_map: BarMap, routine: Routine | None) -> float:
    """Give the beats that make a count, of a map that can be counted at all."""
    if not bar_map.beat_times_s.size:
        raise NoFitError(
            "the bar map holds no beats; nothing can be counted", reason=Reason.NO_BEATS
        )
    if not np.any(bar_map.positions == 1):
        raise NoFitError(
            "the bar map has no one (position 1); mark at least one downbeat", reason=Reason.NO_ONE
        )
    level = level_of(bar_map, routine)
    if not divides(level, bar_map.meter):
        raise ParameterError(
            f"beats_per_count={level:g} does not divide bars of {bar_map.meter};"
            f" use {', '.join(f'{x:g}' for x in LEVELS if divides(x, bar_map.meter))}"
        )
    return level


def _singing_count(singing_s: float | None, times: np.ndarray, bar_start: np.ndarray) -> int | None:
    """Find count 1 of the first line that is sung; words before the one lead up to it.

    It is the nearest one, the later of two: common practice, no source.
    """
    if singing_s is None:
        return None
    ones = np.flatnonzero(bar_start)
    apart = np.abs(times[ones] - singing_s)
    return int(ones[apart <= apart.min() + SAME_TIME_S][-1])


def _lay_counts(bar_map: BarMap, level: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Give times [n + 1], bar starts [n] and the count that holds each beat."""
    beats, positions = bar_map.beat_times_s, bar_map.positions
    end = bar_map.end_s
    if end <= beats[-1]:
        end = beats[-1] + 60.0 / beat_tempo(bar_map)
    if level == 0.5:
        edges = np.append(beats, end)
        times = np.empty(2 * len(beats) + 1)
        times[::2] = edges
        times[1::2] = (edges[1:] + edges[:-1]) / 2
        bar_start = np.zeros(2 * len(beats), dtype=bool)
        bar_start[::2] = positions == 1
        return times, bar_start, 2 * np.arange(len(beats))
    counted = _counted_beats(positions, int(level))
    return np.append(beats[counted], end), positions[counted] == 1, np.cumsum(counted) - 1


def _counted_beats(positions: np.ndarray, step: int) -> np.ndarray:
    """Mark every `step`-th beat from each downbeat; a rest of half a count or less is held."""
    index = np.arange(len(positions))
    bar_ends = np.flatnonzero(np.append(positions == 1, True))
    beats_left = bar_ends[np.searchsorted(bar_ends, index, side="right")] - index
    regular = (positions - 1) % step == 0
    return regular & ((positions == 1) | (2 * beats_left > step) | (step == 1))


def _strengths(
    bar_map: BarMap,
    phrase_starts: list[tuple[int, float]],
    count_of_beat: np.ndarray,
    n_counts: int,
    inner: float,
) -> np.ndarray:
    """Put the strength of each phrase start on its count; the strongest wins."""
    strength = np.zeros(n_counts)
    sections = {int(count_of_beat[s.start_beat]): s.strength for s in bar_map.sections}
    for count, value in [*sections.items(), *phrase_starts]:
        weight = 1.0 if count in sections or (bar_map.phrases and not sections) else inner
        if count >= 0:
            strength[count] = max(strength[count], weight * value)
    return np.clip(strength, 0.0, 1.0)


def _expected(
    outlook: Outlook | None,
    strength: np.ndarray,
    phrase_beats: float,
    count_of_beat: np.ndarray,
    inner: float,
) -> np.ndarray:
    """Put what is to be planned by on its counts; `strength` is that of the form shown."""
    if outlook is None or phrase_beats < outlook.groups[0]:
        return strength
    group = min(int(np.searchsorted(outlook.groups, phrase_beats)), len(outlook.groups) - 1)
    counts = count_of_beat[outlook.beats]
    counted = counts >= 0
    value = (outlook.sections + inner * outlook.phrases[group])[counted]
    over_all = np.clip(np.bincount(counts[counted], value, minlength=len(strength)), 0.0, 1.0)
    return SHOWN_SHARE * strength + (1 - SHOWN_SHARE) * over_all


def _dance_phrases(bar_map: BarMap, phrase_beats: float) -> list[Phrase]:
    """Pick the phrases of dance length, section by section."""
    highest = max(p.group for p in bar_map.phrases)
    if not bar_map.sections and highest >= phrase_beats:  # a person's phrases are taken as said
        return [p for p in bar_map.phrases if p.group >= phrase_beats]
    edges = sorted({0, *(s.start_beat for s in bar_map.sections), len(bar_map.beat_times_s)})
    return [
        phrase
        for start, end in pairwise(edges)
        for phrase in phrases_of_length(
            [p for p in bar_map.phrases if start <= p.start_beat < end],
            phrase_beats,
            highest=highest,
            end=end,
        )
    ]


def _every_eighth_bar(
    bar_start: np.ndarray, section: np.ndarray, phrase: int, meter: int
) -> list[int]:
    """Assume phrases from each section start, or from the first one, bar by bar."""
    bars = np.flatnonzero(bar_start)
    n_bars = max(1, round(phrase / meter))
    starts = []
    for index in np.unique(section[bars]):
        inside = bars[section[bars] == index]
        last = inside[-1] + meter
        starts += [int(c) for c in inside[::n_bars] if 2 * (last - c) >= phrase]
    return starts
