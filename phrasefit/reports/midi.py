"""The bar map and plan as a Standard MIDI File: tempo map, bars, markers, clicks.

Follows the Standard MIDI Files 1.0 specification (RP-001): format 1, one tempo
event a beat in whole microseconds a quarter note, time-signature events where the
bar length changes, marker events (FF 06) for sections, walls, restarts and tags.
The second track clicks every beat on the percussion channel (General MIDI high and
low wood block), so that any player sounds the map.
A beat is written as a quarter note.  The stretch before the first beat becomes
bars of its own, so that time 0.0 of the file is time 0.0 of the song.
"""

from __future__ import annotations

import io
import unicodedata
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from phrasefit.meters import LONGEST_BAR
from phrasefit.model import BarMap, FitPlan, Plan
from phrasefit.reports.event_words import call

if TYPE_CHECKING:
    import mido
    import numpy as np

TICKS_PER_BEAT = 960
PERCUSSION_CHANNEL = 9  # channel 10 as people count
HIGH_BLOCK, LOW_BLOCK = 76, 77  # General MIDI percussion keys
MAX_TEMPO_US = 0xFFFFFF  # three bytes hold the microseconds of a quarter note
CLICK_TICKS = TICKS_PER_BEAT // 8
LONGEST_WRITTEN_S = 10.0  # of a beat; longer is a break, and soon more than a tempo can say


def midi_file(bar_map: BarMap, fit: FitPlan | None = None, plan: Plan | None = None) -> bytes:
    """Write the bar map, and with `fit` the walls of a plan, as a Standard MIDI File.

    Parameters
    ----------
    bar_map : BarMap
    fit : FitPlan, optional
        Adds markers for walls, restarts and tags.
    plan : Plan, optional
        One of ``fit.plans``; the advised one if left out.

    Returns
    -------
    bytes
        The file's content.
    """
    import mido

    times, heard, bar_starts = _grid(bar_map)
    events = [
        *_tempo_events(times),
        *_meter_events(bar_starts, len(times) - 1),
        *_markers(bar_map, fit, plan, times),
    ]
    n_ticks = TICKS_PER_BEAT * (len(times) - 1)
    out = io.BytesIO()
    file = mido.MidiFile(type=1, ticks_per_beat=TICKS_PER_BEAT)
    file.tracks.append(_track(bar_map.title, events, n_ticks))
    file.tracks.append(_track("clicks", _clicks(bar_map, heard), n_ticks))
    file.save(file=out)
    return out.getvalue()


def _track(name: str, events: list[tuple[int, Any]], n_ticks: int) -> mido.MidiTrack:
    """Put events at absolute ticks into a track of `n_ticks`."""
    import mido

    track = mido.MidiTrack([mido.MetaMessage("track_name", name=_plain(name), time=0)])
    now = 0
    for tick, message in sorted(events, key=lambda event: event[0]):
        track.append(message.copy(time=tick - now))
        now = tick
    track.append(mido.MetaMessage("end_of_track", time=max(n_ticks - now, 0)))
    return track


def _clicks(bar_map: BarMap, heard: np.ndarray) -> list[tuple[int, Any]]:
    """Sound each heard beat, the one higher; silent beats stay silent."""
    import mido

    events = []
    for beat, position in zip(heard.tolist(), bar_map.positions.tolist(), strict=True):
        key = HIGH_BLOCK if position == 1 else LOW_BLOCK
        for kind, tick in (("note_on", 0), ("note_off", CLICK_TICKS)):
            message = mido.Message(kind, channel=PERCUSSION_CHANNEL, note=key, velocity=80)
            events.append((beat * TICKS_PER_BEAT + tick, message))
    return events


def _grid(bar_map: BarMap) -> tuple[np.ndarray, np.ndarray, list[int]]:
    """Give the times of all beats from 0.0 on, which of them were heard, and where bars start.

    Before the first heard beat, and where none is heard for `LONGEST_WRITTEN_S`, stand
    silent beats of about its length.
    """
    import numpy as np

    lead = [0.0] if bar_map.beat_times_s[0] > 1e-6 else []
    marks = np.maximum([*lead, *bar_map.beat_times_s, bar_map.end_s], 0.0)
    gaps_s = np.diff(marks)
    n_beats = np.maximum(1, np.rint(gaps_s * bar_map.tempo_bpm / 60.0).astype(int))
    n_beats[(gaps_s <= LONGEST_WRITTEN_S) & (np.arange(len(gaps_s)) >= len(lead))] = 1
    places = np.concatenate([[0], np.cumsum(n_beats)])
    times = np.interp(np.arange(places[-1] + 1), places, marks)
    heard = places[len(lead) : -1]
    ones = heard[bar_map.positions == 1]
    return times, heard, _bar_starts(int(heard[0]), ones.tolist(), int(places[-1]), bar_map.meter)


def _bar_starts(first: int, ones: list[int], end: int, meter: int) -> list[int]:
    """List where bars start; before the first heard beat and without ones they are of `meter`."""
    starts: set[int] = set()
    for begin, next_begin in pairwise(sorted({0, first, *ones, end})):
        is_bar = begin >= first and next_begin - begin <= LONGEST_BAR
        starts |= {begin} if is_bar else set(range(begin, next_begin, meter))
    return sorted(starts)


def _tempo_events(times: np.ndarray) -> list[tuple[int, Any]]:
    """One tempo a beat; each makes up for the rounding of those before, so that none adds up.

    Tempos are whole hundredths of a beat a minute: some readers keep no more.
    """
    import mido

    events, written_us = [], round(float(times[0]) * 1e6)
    for beat in range(len(times) - 1):
        wanted_us = max(1.0, float(times[beat + 1]) * 1e6 - written_us)
        tempo = min(MAX_TEMPO_US, round(60e6 / round(60e6 / wanted_us, 2)))
        written_us += tempo
        events.append((beat * TICKS_PER_BEAT, mido.MetaMessage("set_tempo", tempo=tempo)))
    return events


def _meter_events(bar_starts: list[int], n_beats: int) -> list[tuple[int, Any]]:
    import mido

    events, current = [], None
    for start, end in zip(bar_starts, [*bar_starts[1:], n_beats], strict=True):
        if end - start != current and end > start:
            current = end - start
            message = mido.MetaMessage("time_signature", numerator=current, denominator=4)
            events.append((start * TICKS_PER_BEAT, message))
    return events


def _markers(
    bar_map: BarMap, fit: FitPlan | None, plan: Plan | None, times: np.ndarray
) -> list[tuple[int, Any]]:
    import mido
    import numpy as np

    named = [
        (
            float(bar_map.beat_times_s[section.start_beat]),
            section.name or f"Section {section.letter}",
        )
        for section in bar_map.sections
    ]
    if fit is not None:
        named += [(event.time_s, call(event)) for event in (plan or fit.plan).events]
    ticks = np.interp([time for time, _ in named], times, TICKS_PER_BEAT * np.arange(len(times)))
    return [
        (round(float(tick)), mido.MetaMessage("marker", text=_plain(words)))
        for tick, (_, words) in zip(ticks, named, strict=True)
    ]


def _plain(text: str) -> str:
    """Take accents off and replace other letters by ``?``: the standard promises ASCII only."""
    bare = "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
    return bare.encode("ascii", errors="replace").decode("ascii")
