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
from typing import TYPE_CHECKING, Any

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
    n_ticks = TICKS_PER_BEAT * (len(times) - 1)
    out = io.BytesIO()
    file = mido.MidiFile(type=1, ticks_per_beat=TICKS_PER_BEAT)
    file.tracks.append(_track(bar_map.title, events, n_ticks))
    file.tracks.append(_track("clicks", _clicks(bar_map, len(times) - 1), n_ticks))
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


def _clicks(bar_map: BarMap, n_beats: int) -> list[tuple[int, Any]]:
    """Sound each heard beat, the one higher; the silent beats of the lead-in stay silent."""
    import mido

    first = n_beats - len(bar_map.positions)
    events = []
    for beat, position in enumerate(bar_map.positions.tolist(), start=first):
        key = HIGH_BLOCK if position == 1 else LOW_BLOCK
        for kind, tick in (("note_on", 0), ("note_off", CLICK_TICKS)):
            message = mido.Message(kind, channel=PERCUSSION_CHANNEL, note=key, velocity=80)
            events.append((beat * TICKS_PER_BEAT + tick, message))
    return events


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
        (float(bar_map.beat_times_s[section.start_beat]), f"Section {section.letter}")
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
