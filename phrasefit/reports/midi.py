"""The bar map and plan as a Standard MIDI File: tempo map, bars, markers, clicks.

Follows the Standard MIDI Files 1.0 specification (RP-001): format 1, one tempo
event a beat in whole microseconds a quarter note, time-signature events where the
bar length changes, marker events (FF 06) for sections, walls, restarts and tags.
The second track clicks every beat on the percussion channel (General MIDI high and
low wood block), so that any player sounds the map.
A beat is written as a quarter note.  The stretch before the first beat becomes bars of
its own, so that time 0.0 of the file is time 0.0 of the song; less than half a beat is a
bar of an eighth or a sixteenth.  Where not even that much comes before the first beat the
first bar begins at 0.0, and its first click sounds where the beat is.
"""

from __future__ import annotations

import io
import math
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from phrasefit.meters import LONGEST_BAR, TEMPO_RANGE
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
LONGEST_WRITTEN_S = 60.0 / TEMPO_RANGE[0]  # of a beat; longer is a break: no tempo is so slow
PARTS = (1, 2, 4)  # of a beat, down to the sixteenth; readers of scores lose bars shorter than it


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

    grid = _grid(bar_map)
    events = [
        *_tempo_events(grid),
        *_meter_events(grid.bar_starts),
        *_markers(bar_map, fit, plan, grid),
    ]
    n_ticks = int(grid.ticks[-1])
    out = io.BytesIO()
    file = mido.MidiFile(type=1, ticks_per_beat=TICKS_PER_BEAT)
    file.tracks.append(_track(bar_map.title, events, n_ticks))
    file.tracks.append(_track("clicks", _clicks(bar_map, grid), n_ticks))
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


def _clicks(bar_map: BarMap, grid: _Grid) -> list[tuple[int, Any]]:
    """Sound each heard beat, the one higher; silent beats stay silent."""
    import mido

    events = []
    beats = grid.ticks_at(bar_map.beat_times_s)
    for beat, position in zip(beats, bar_map.positions.tolist(), strict=True):
        key = HIGH_BLOCK if position == 1 else LOW_BLOCK
        for kind, tick in (("note_on", 0), ("note_off", CLICK_TICKS)):
            message = mido.Message(kind, channel=PERCUSSION_CHANNEL, note=key, velocity=80)
            events.append((beat + tick, message))
    return events


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Grid:
    """Ticks and seconds of all beats from 0.0 on, and of the end; the last bar start is its end."""

    ticks: np.ndarray
    times_s: np.ndarray
    bar_starts: list[int]

    def ticks_at(self, times_s: Sequence[float] | np.ndarray) -> list[int]:
        """Give the ticks of times of the song."""
        import numpy as np

        return np.rint(np.interp(times_s, self.times_s, self.ticks)).astype(int).tolist()


def _grid(bar_map: BarMap) -> _Grid:
    """Lay out the beats; where none is heard for long stand silent ones of about its length."""
    import numpy as np

    marks_s = np.maximum([0.0, *bar_map.beat_times_s, bar_map.end_s], 0.0)
    gaps = np.diff(marks_s) * bar_map.tempo_bpm / 60.0  # beats
    lengths = np.where(np.diff(marks_s) > LONGEST_WRITTEN_S, np.maximum(1, np.rint(gaps)), 1)
    lengths[[0, -1]] = _in_parts(gaps[0]), _in_parts(gaps[-1])
    marks = np.concatenate([[0], np.cumsum(TICKS_PER_BEAT * lengths)]).astype(int)
    last = marks[-2] + TICKS_PER_BEAT * max(1, math.ceil(lengths[-1]))
    ones = marks[1:-1][bar_map.positions == 1]
    # A first beat or an end that is not written apart has no tempo before it.
    kept = [mark for mark in range(len(marks)) if not mark or marks[mark] > marks[mark - 1]]
    spans = pairwise(marks[kept].tolist())
    ticks = [*(tick for span in spans for tick in range(*span, TICKS_PER_BEAT)), int(marks[-1])]
    return _Grid(
        ticks=np.array(ticks),
        times_s=np.interp(ticks, marks[kept], marks_s[kept]),
        bar_starts=_bar_starts(int(marks[1]), ones.tolist(), int(last), bar_map.meter),
    )


def _in_parts(beats: float) -> float:
    """Round to whole beats, and what is less to the longest part that goes into it."""
    return next((n / parts for parts in PARTS if (n := round(beats * parts))), 0.0)


def _bar_starts(first: int, ones: list[int], end: int, meter: int) -> list[int]:
    """List the ticks where bars start, and the end of the last.

    Before the first heard beat and without ones they are of `meter`.
    """
    starts: set[int] = {end}
    for begin, next_begin in pairwise(sorted({0, first, *ones, end})):
        is_bar = begin >= first and next_begin - begin <= LONGEST_BAR * TICKS_PER_BEAT
        step = next_begin - begin if is_bar else meter * TICKS_PER_BEAT
        starts.update(range(begin, next_begin, step))
    return sorted(starts)


def _tempo_events(grid: _Grid) -> list[tuple[int, Any]]:
    """One tempo a beat; each makes up for the rounding of those before, so that none adds up.

    Tempos are whole hundredths of a beat a minute: some readers keep no more.
    """
    import mido

    events, written_us = [], 0.0
    ends_s = grid.times_s[1:].tolist()
    for (tick, next_tick), end_s in zip(pairwise(grid.ticks.tolist()), ends_s, strict=True):
        beats = (next_tick - tick) / TICKS_PER_BEAT
        wanted_us = max(1.0, (end_s * 1e6 - written_us) / beats)
        tempo = min(MAX_TEMPO_US, round(60e6 / round(60e6 / wanted_us, 2)))
        written_us += tempo * beats
        events.append((tick, mido.MetaMessage("set_tempo", tempo=tempo)))
    return events


def _meter_events(bar_starts: list[int]) -> list[tuple[int, Any]]:
    import mido

    events, current = [], None
    for start, end in pairwise(bar_starts):
        if end - start != current:
            current = end - start
            parts = next(n for n in PARTS if current * n % TICKS_PER_BEAT == 0)
            message = mido.MetaMessage(
                "time_signature",
                numerator=current * parts // TICKS_PER_BEAT,
                denominator=4 * parts,
            )
            events.append((start, message))
    return events


def _markers(
    bar_map: BarMap, fit: FitPlan | None, plan: Plan | None, grid: _Grid
) -> list[tuple[int, Any]]:
    import mido

    named = [
        (
            float(bar_map.beat_times_s[section.start_beat]),
            section.name or f"Section {section.letter}",
        )
        for section in bar_map.sections
    ]
    if fit is not None:
        named += [(event.time_s, call(event)) for event in (plan or fit.plan).events]
    ticks = grid.ticks_at([time for time, _ in named])
    return [
        (tick, mido.MetaMessage("marker", text=_plain(words)))
        for tick, (_, words) in zip(ticks, named, strict=True)
    ]


def _plain(text: str) -> str:
    """Take accents off and replace other letters by ``?``: the standard promises ASCII only."""
    bare = "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
    return bare.encode("ascii", errors="replace").decode("ascii")
