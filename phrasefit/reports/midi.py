"""The bar map and plan as a Standard MIDI File: tempo map, bars, markers; no notes.

Follows the Standard MIDI Files 1.0 specification (RP-001): format 0, one tempo
event a beat in whole microseconds a quarter note, time-signature events where the
bar length changes, marker events (FF 06) for sections, walls, restarts and tags.
A beat is written as a quarter note.  The stretch before the first beat becomes
bars of its own, so that time 0.0 of the file is time 0.0 of the song.

May import: model, reports.cues (mido inside functions).
"""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from phrasefit.model import BarMap, FitPlan, Plan
from phrasefit.reports.cues import event_words, running_counts

if TYPE_CHECKING:
    import numpy as np

TICKS_PER_BEAT = 960
LATIN_1 = "latin-1"  # the character set the specification leaves to readers; most read this


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

    times, bar_starts = _grid(bar_map)
    events = [
        *_tempo_events(times),
        *_meter_events(bar_starts, len(times) - 1),
        *_markers(bar_map, fit, plan, times),
    ]
    track = mido.MidiTrack([mido.MetaMessage("track_name", name=_plain(bar_map.title), time=0)])
    now = 0
    for tick, message in sorted(events, key=lambda event: event[0]):
        track.append(message.copy(time=tick - now))
        now = tick
    end = TICKS_PER_BEAT * (len(times) - 1)
    track.append(mido.MetaMessage("end_of_track", time=max(end - now, 0)))
    out = io.BytesIO()
    file = mido.MidiFile(type=0, ticks_per_beat=TICKS_PER_BEAT, charset=LATIN_1)
    file.tracks.append(track)
    file.save(file=out)
    return out.getvalue()


def _grid(bar_map: BarMap) -> tuple[np.ndarray, list[int]]:
    """Beat times from 0.0 on, and the beats at which bars start.

    Before the first heard beat stand silent beats of about its length.
    """
    import numpy as np

    beats = bar_map.beat_times_s
    lead_s = max(float(beats[0]), 0.0)
    n_lead = max(1, round(lead_s * bar_map.tempo_bpm / 60.0)) if lead_s > 1e-6 else 0
    lead = np.linspace(0.0, lead_s, n_lead, endpoint=False)
    times = np.concatenate([lead, beats, [bar_map.end_s]])
    starts = {0, n_lead, *range(0, n_lead, bar_map.meter)}
    starts |= {n_lead + int(i) for i in np.flatnonzero(bar_map.positions == 1)}
    return times, sorted(starts)


def _tempo_events(times: np.ndarray) -> list[tuple[int, object]]:
    """One tempo a beat; each carries the rounding of those before, so that nothing adds up."""
    import mido

    events, written_us = [], round(float(times[0]) * 1e6)
    for beat in range(len(times) - 1):
        tempo = max(1, min(0xFFFFFF, round(float(times[beat + 1]) * 1e6) - written_us))
        written_us += tempo
        events.append((beat * TICKS_PER_BEAT, mido.MetaMessage("set_tempo", tempo=tempo)))
    return events


def _meter_events(bar_starts: list[int], n_beats: int) -> list[tuple[int, object]]:
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
) -> list[tuple[int, object]]:
    import mido
    import numpy as np

    named = [
        (float(bar_map.beat_times_s[section.start_beat]), f"Section {section.letter}")
        for section in bar_map.sections
    ]
    if fit is not None:
        plan = plan or fit.plan
        rows = running_counts(fit, plan)
        named += [(row.time_s, event_words(row.event, row, plan)) for row in rows if row.event]
        named.append((plan.ending.time_s, "END"))
    ticks = np.interp([time for time, _ in named], times, TICKS_PER_BEAT * np.arange(len(times)))
    return [
        (round(float(tick)), mido.MetaMessage("marker", text=_plain(words)))
        for tick, (_, words) in zip(ticks, named, strict=True)
    ]


def _plain(text: str) -> str:
    """Replace letters that a MIDI text cannot hold by a question mark."""
    return text.encode(LATIN_1, errors="replace").decode(LATIN_1)
