"""From a decoded song to its bar map: `track` chains the steps of this room.

observe -> candidate readings -> the level people count -> beats and bars, in one phase -> those
in tempos of their own -> whether there is a pulse -> timing -> breaks bridged -> the bars of what
is repeated -> doubts.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np

from phrasefit._dp import Chain
from phrasefit.audio import MIN_SONG_S, SILENT_DB
from phrasefit.audio.features import music_begins
from phrasefit.clock import clock_time
from phrasefit.errors import NoPulseError, Reason
from phrasefit.meter.bars import NOT_DECODED, Bars, place_bars
from phrasefit.meter.beat_descriptors import FrameEvidence, nearest_frames, prepare_evidence
from phrasefit.meter.confidence import judge_bars, judge_beats, list_alternatives
from phrasefit.meter.handmade import HandmadeModel
from phrasefit.meter.observe import ObservationModel
from phrasefit.meter.other_tempos import LEAST_S, in_one_tempo, with_other_tempos
from phrasefit.meter.pulse import judge_pulse
from phrasefit.meter.refine import REACH_S, Timing, refine_beats
from phrasefit.meter.tempo_readings import (
    MIN_CHAIN_BEATS,
    Reading,
    smooth_beats,
)
from phrasefit.model import JUMPS, NO_BEAT, Audio, BarMap, Confidence, Features
from phrasefit.steps import GAP, are_gaps

QUIET_DB = 35.0  # below the loudest: what is softer is the end of a fade, or the room
# Less probable than this a pulse is refused: see `phrasefit.training.pulse`.
LEAST_PULSE = 0.15
MOST_LIFT = 8  # log odds that onsets are helped by if a map is wanted of anything
FIRST_STEPS = 9  # beats from whose steps is counted back
EARLY_TOLERANCE_BEATS = 0.12
HALF_A_BEAT = 0.5
CLEAR_BEAT = 0.5  # activation of a beat before the first one found
INTRO_BEATS = 24  # before the first one found; a longer intro may be in free time
REMEDY = "choose a song with a clear beat"
BRIDGE_BEATS = 64  # a longer break cannot be told to resume in phase
BRIDGE_TOLERANCE_BEATS = 0.12
BRIDGE_TEMPO_SHARE = 0.03


def track(
    audio: Audio,
    features: Features,
    *,
    model: ObservationModel | None = None,
    anyway: bool = False,
) -> BarMap:
    """Find the beats and bars of a song.

    Parameters
    ----------
    audio : Audio
        The samples; beats are moved to the onsets in them.
    features : Features
        Of the same samples.
    model : ObservationModel, optional
        What looks for beats; `HandmadeModel` if None.
    anyway : bool
        Make a map of anything that sounds, also of what is called speech or noise.

    Returns
    -------
    BarMap
        Without sections and phrases: `phrasefit.form` adds them.

    Raises
    ------
    NoPulseError
        If the song is silent or too short; without `anyway` also if it is speech, noise or
        playing so free that a map would be worth nothing.
    """
    _require_sound(audio, features)
    model = model or HandmadeModel()
    activations, weights = model.observe(features), model.decoder_weights()
    as_it_sounds = prepare_evidence(features, activations)
    heard, readings, decoded = _search(as_it_sounds, weights, anyway=anyway)
    if not decoded:
        raise NoPulseError(
            f"no steady beat found; {_what_was_heard(features, readings)}",
            reason=Reason.NO_BEATS if anyway else Reason.NO_STEADY_BEAT,
        )
    decoded = with_other_tempos(heard, decoded, weights)
    found = [smooth_beats(chain.steps) for chain in decoded]
    pulse = judge_pulse(heard, readings, found, weights)
    if heard is not as_it_sounds:  # of itself it had no beats: help makes them no likelier
        pulse = min(pulse, LEAST_PULSE)
    if pulse < LEAST_PULSE and not anyway:
        raise NoPulseError(
            f"no steady beat found; {_what_was_heard(features, readings)}",
            reason=Reason.NO_STEADY_BEAT,
        )
    found[0] = _from_the_first_sound(found[0], activations.beat)
    start_s, hop_s = features.start_s, features.hop_s
    refined = [refine_beats(audio.samples, start_s + c * hop_s) for c in found]
    decoded, refined = _each_beat_once(heard, decoded, refined)
    begins_s = (music_begins(audio.samples) or 0) / audio.sample_rate_hz
    refined[0] = _from_where_music_begins(refined[0], begins_s)
    timings = _bridge(refined)
    chains = tuple((t.beat_times_s - start_s) / hop_s for t in timings)
    bars = place_bars(heard, chains, weights, _decoded_places(decoded, refined, timings))
    sure = (pulse, judge_beats(heard, readings, weights))
    bar_map = _assemble(audio, readings, timings, bars, sure, weights)
    return replace(bar_map, notes=(*bar_map.notes, *_ends_without_beat(bar_map, features)))


def _search(
    heard: FrameEvidence, weights: dict[str, np.ndarray], *, anyway: bool
) -> tuple[FrameEvidence, list[Reading], list[Chain]]:
    """Readings and the beats of the first; with `anyway`, onsets count for more until there are."""
    for lift in range(MOST_LIFT + 1 if anyway else 1):
        lifted = replace(heard, gain=heard.gain + lift, gain_near=heard.gain_near + lift)
        readings, decoded = in_one_tempo(lifted, weights)
        if decoded:
            return lifted if lift else heard, readings, decoded
    return heard, readings, []


def _decoded_places(
    decoded: list[Chain], refined: list[Timing], timings: list[Timing]
) -> np.ndarray:
    """States of all beats: as decoded, and open where beats were counted back or bridged."""
    places = np.concatenate([chain.places for chain in decoded])
    known_s, all_s = (np.concatenate([t.beat_times_s for t in part]) for part in (refined, timings))
    counted_back = np.full(len(known_s) - len(places), NOT_DECODED)
    states = np.full(len(all_s), NOT_DECODED)
    states[np.isin(all_s, known_s)] = np.append(counted_back, places)
    return states


def _require_sound(audio: Audio, features: Features) -> None:
    if not features.loudness_db.size or features.loudness_db.max() < SILENT_DB:
        raise NoPulseError(
            "no steady beat found; the file is silent, check that it is the right one",
            reason=Reason.SILENT,
        )
    duration_s = audio.samples.size / audio.sample_rate_hz
    if duration_s < MIN_SONG_S:
        raise NoPulseError(
            f"no steady beat found; {duration_s:.1f} s are too short, give at least"
            f" {MIN_SONG_S:.0f} s of the song",
            reason=Reason.CLIP_TOO_SHORT,
        )


def _what_was_heard(features: Features, readings: list[Reading]) -> str:
    """Say in plain words what there is instead of a beat."""
    if readings:
        tempo = readings[0].tempo_bpm
        return (
            f"there are sounds, but none that stand out evenly (the nearest was {tempo:.0f} a"
            f" minute): speech, noise or free playing; {REMEDY}"
        )
    return (
        "there is sound, but nothing that comes back evenly: speech, noise or free"
        f" playing; {REMEDY}"
    )


def _from_the_first_sound(chain: np.ndarray, beat: np.ndarray) -> np.ndarray:
    """Count back from the first beat of a chain [frames] while there are clear onsets.

    A song's first note is what the intro is counted from, and a chain may do without it.
    """
    if len(chain) < 2:
        return chain
    step = _usual_step(chain)
    while True:
        expected = chain[0] - step
        low = max(0, round(expected - EARLY_TOLERANCE_BEATS * step))
        near = beat[low : max(low, round(expected + EARLY_TOLERANCE_BEATS * step) + 1)]
        if expected < 0 or not near.size or near.max() < CLEAR_BEAT:
            return chain
        chain = np.insert(chain, 0, low + int(np.argmax(near)))


def _each_beat_once(
    heard: FrameEvidence, decoded: list[Chain], refined: list[Timing]
) -> tuple[list[Chain], list[Timing]]:
    """Keep one of two beats that are less than half a beat apart, where a chain follows another.

    Where the tempo changes on a beat, that beat is the last of one chain and the first of the
    next, and both are moved to its onset: it is where the next bar begins.  Where music was cut,
    a chain may go a beat too far: the clearer beat stays.
    """
    chains, timings = list(decoded), list(refined)
    for i in range(1, len(chains)):
        before_s, after_s = timings[i - 1].beat_times_s, timings[i].beat_times_s
        near_s = HALF_A_BEAT * min(_usual_step(before_s[-FIRST_STEPS:]), _usual_step(after_s))
        ends = np.array([chains[i - 1].steps[-1], chains[i].steps[0]])
        goes_on, begins = heard.gain_near[nearest_frames(ends, len(heard.gain_near))]
        if after_s[0] > before_s[-1] + REACH_S and goes_on > begins:
            kept = after_s >= before_s[-1] + near_s
            chains[i], timings[i] = _only(chains[i], kept), _only_timed(timings[i], kept)
        else:
            kept = before_s <= after_s[0] - near_s
            timings[i - 1] = _only_timed(timings[i - 1], kept)
            chains[i - 1] = _only(chains[i - 1], kept[len(kept) - len(chains[i - 1].steps) :])
    return chains, timings


def _only(chain: Chain, kept: np.ndarray) -> Chain:
    return Chain(steps=chain.steps[kept], rates=chain.rates[kept], places=chain.places[kept])


def _only_timed(timing: Timing, kept: np.ndarray) -> Timing:
    return replace(timing, beat_times_s=timing.beat_times_s[kept])


def _usual_step(beats: np.ndarray) -> float:
    """Median step of the first beats."""
    return float(np.median(np.diff(beats[:FIRST_STEPS])))


def _from_where_music_begins(timing: Timing, begins_s: float) -> Timing:
    """Count through a soft intro if the music begins on a beat of the same tempo."""
    beats_s = timing.beat_times_s
    head = beats_s[:INTRO_BEATS]
    if len(head) < MIN_CHAIN_BEATS:
        return timing
    step, first = np.polyfit(np.arange(len(head)), head, 1)
    in_beats = (first - begins_s) / step
    n_beats = round(in_beats)
    if not 1 <= n_beats <= INTRO_BEATS or abs(in_beats - n_beats) > EARLY_TOLERANCE_BEATS:
        return timing
    counted = beats_s[0] - step * np.arange(n_beats, 0, -1)
    return replace(timing, beat_times_s=np.append(np.maximum(counted, 0.0), beats_s))


def _bridge(timings: list[Timing]) -> list[Timing]:
    """Carry the beat through breaks after which it resumes in phase."""
    joined = timings[:1]
    for after in timings[1:]:
        before = joined[-1]
        filled = _fill_gap(before.beat_times_s, after.beat_times_s)
        if filled is None:
            joined.append(after)
            continue
        joined[-1] = Timing(
            beat_times_s=np.concatenate([before.beat_times_s, filled, after.beat_times_s]),
            steady=before.steady and after.steady,
        )
    return joined


def _fill_gap(before_s: np.ndarray, after_s: np.ndarray) -> np.ndarray | None:
    """Beats for the gap between two stretches; None if they are not in one pulse."""
    steps = [np.median(np.diff(part)) for part in (before_s[-16:], after_s[:16])]
    if abs(steps[0] / steps[1] - 1) > BRIDGE_TEMPO_SHARE:
        return None
    gap_s = after_s[0] - before_s[-1]
    in_beats = gap_s / np.mean(steps)
    n_beats = round(in_beats)
    if not 1 <= n_beats <= BRIDGE_BEATS or abs(in_beats - n_beats) > BRIDGE_TOLERANCE_BEATS:
        return None
    return before_s[-1] + gap_s * np.arange(1, n_beats) / n_beats


def _assemble(
    audio: Audio,
    readings: list[Reading],
    timings: list[Timing],
    bars: Bars,
    sure: tuple[float, float],
    weights: dict[str, np.ndarray],
) -> BarMap:
    """Put the map together; `sure` are the probabilities of a pulse and of the beats."""
    pulse, sure_of_beats = sure
    beat_times_s = np.maximum(np.concatenate([t.beat_times_s for t in timings]), 0.0)
    steps_s = np.diff(beat_times_s)
    tempo_bpm = 60.0 / float(np.median(steps_s))
    duration_s = audio.samples.size / audio.sample_rate_hz
    meter = int(np.bincount(bars.meters).argmax())
    sure_of_one, sure_of_meter = judge_bars(bars, meter, sure_of_beats, weights)
    confidence = Confidence(
        pulse=pulse, beats=sure_of_beats, downbeat=sure_of_one, meter=sure_of_meter
    )
    return BarMap(
        beat_times_s=beat_times_s,
        positions=bars.positions,
        meter=meter,
        tempo_bpm=tempo_bpm,
        end_s=min(float(beat_times_s[-1] + np.median(steps_s[-8:])), duration_s),
        duration_s=duration_s,
        confidence=confidence,
        alternatives=list_alternatives(readings, bars, meter, tempo_bpm, confidence),
        tempo_drift_percent=_drift_percent(beat_times_s),
        steady=all(t.steady for t in timings) and _has_one_tempo(steps_s),
        title=audio.info.title,
        artist=audio.info.artist,
        notes=_notes(timings),
    )


def _has_one_tempo(steps_s: np.ndarray) -> bool:
    steps_s = steps_s[~are_gaps(steps_s)]
    return bool(steps_s.max() < (1 + BRIDGE_TEMPO_SHARE) * steps_s.min())


def _drift_percent(beat_times_s: np.ndarray) -> float:
    """How much faster (+) or slower the song is at its end, by a straight line, in percent."""
    steps_s = np.diff(beat_times_s)
    inside = ~are_gaps(steps_s)
    at = np.arange(len(steps_s))[inside]
    tempo = 60.0 / steps_s[inside]
    slope = np.polyfit(at, tempo, 1)[0] if len(at) > 2 else 0.0
    return round(100.0 * float(slope) * len(steps_s) / float(np.median(tempo)), 2)


def _notes(timings: list[Timing]) -> tuple[str, ...]:
    """Say what happens where one stretch of beats ends and the next begins."""
    notes = (_note(a.beat_times_s, b.beat_times_s) for a, b in pairwise(timings))
    return tuple(filter(None, notes))


def _note(before_s: np.ndarray, after_s: np.ndarray) -> str:
    """Tell of a gap or a jump; a tempo that changes on a beat is seen in the beats."""
    then, now = _usual_step(before_s[-FIRST_STEPS:]), _usual_step(after_s)
    if after_s[0] - before_s[-1] > GAP * max(then, now):
        return f"{NO_BEAT} from {clock_time(before_s[-1])} to {clock_time(after_s[0])}"
    if abs(then / now - 1) > BRIDGE_TEMPO_SHARE:
        return ""
    return f"{JUMPS} at {clock_time(after_s[0])}: the beat goes on out of step"


def _ends_without_beat(bar_map: BarMap, features: Features) -> list[str]:
    """Say where a song sounds for long before its first beat, or after its last."""
    loud = features.loudness_db
    sounding = np.flatnonzero(loud > max(SILENT_DB, loud.max() - QUIET_DB))
    begin, end = features.start_s + features.hop_s * sounding[[0, -1]]
    first, last = bar_map.beat_times_s[[0, -1]]
    notes = []
    if first - begin > LEAST_S:
        notes.append(
            f"{NO_BEAT} before {clock_time(first)}: what sounds from {clock_time(begin)} on"
        )
    if end - last > LEAST_S:
        notes.append(f"{NO_BEAT} after {clock_time(last)}: what sounds until {clock_time(end)}")
    return [f"{note} is not counted" for note in notes]
