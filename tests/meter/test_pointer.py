"""Beats and places decoded together: the clock, the evidence, and what only both can tell."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from phrasefit.audio.features import extract_features
from phrasefit.meter import bars, pointer, tempo_readings
from phrasefit.meter.beat_descriptors import (
    FrameEvidence,
    FrameSums,
    describe_beats,
    prepare_evidence,
)
from phrasefit.meter.handmade import HandmadeModel, load_weights
from phrasefit.meter.statespace import METERS, BarCourses, bar_states
from phrasefit.meter.tempo_readings import Reading
from phrasefit.model import Audio, SongInfo
from synth import RATE_HZ, make_song

STEP = 20  # frames from beat to beat
# Only the observation model's own odds tell a one, and the song is in four.
OWN_ONLY = {f"one_in_{meter}": np.zeros(9 * 31 + 1) for meter in METERS} | {
    "three": np.append(np.zeros(20), -4.0)
}


def reading_of(*chains: np.ndarray, off_beat: bool = False) -> Reading:
    """A reading at `STEP`."""
    bpm = 60 / (0.02 * STEP)
    return Reading(chains=chains, level=1.0, off_beat=off_beat, tempo_bpm=bpm)


def heard_in(gain: np.ndarray, downbeat: np.ndarray) -> FrameEvidence:
    """A song of which only what the observation model says is known."""
    n_frames = len(gain)
    return FrameEvidence(
        hop_s=0.02,
        gain=gain,
        gain_near=gain,
        downbeat=downbeat,
        onsets=np.zeros((n_frames, 7)),
        change=np.zeros(n_frames),
        mel_sum=FrameSums(np.zeros((n_frames, 96))),
        chroma_sum=FrameSums(np.zeros((n_frames, 12))),
    )


def heard_notation(notation: str, **how: float) -> FrameEvidence:
    """What the hand-made model hears in a made song."""
    song = make_song(notation, **how)
    audio = Audio(samples=song.samples, sample_rate_hz=RATE_HZ, info=SongInfo())
    features = extract_features(audio)
    return prepare_evidence(features, HandmadeModel().observe(features))


# -------------------------------------------------------------------- clock


def test_a_clock_counts_through_a_break_and_beyond_the_ends() -> None:
    """Two beats and a half of silence are three counts; before and after it goes on evenly."""
    chains = np.arange(100.0, 181, 20), np.arange(230.0, 311, 20)

    clock = pointer.wind_clock(reading_of(*chains), n_frames=400)

    assert clock.counts_at(np.concatenate(chains)).tolist() == [*range(5), *range(6, 11)]
    assert clock.last == 10
    assert clock.counts_at(np.array([0.0, 90, 320, 400])) == pytest.approx([-5, -0.5, 10.5, 14.5])
    assert clock.frames_at(np.array([-1, 0.25, 11])) == pytest.approx([80, 105, 330])


def test_off_the_beat_the_onset_is_awaited_half_a_beat_later() -> None:
    """Gains on the beats are those of the frames halfway before them; on the beat they stay."""
    gain = np.full(400, -4.0)
    gain[10:400:STEP] = 3.0
    heard = heard_in(gain, np.zeros(400))
    clock = pointer.wind_clock(reading_of(np.arange(20.0, 381, STEP)), 400)

    off = pointer.heard_gain(heard, clock, off_beat=True)

    assert np.flatnonzero(off > 0).tolist() == [*range(0, 400, STEP)]
    assert pointer.heard_gain(heard, clock, off_beat=False) is heard.gain


# ----------------------------------------------------------------- evidence


def test_at_the_beats_of_a_reading_the_evidence_is_that_of_the_bars() -> None:
    """Frame by frame or beat by beat, a beat says the same of its place."""
    heard, weights, states = heard_notation("4*12", bpm=120), load_weights(), bar_states()
    chain = np.rint(tempo_readings.find_readings(heard, weights)[0].beats)
    rows = describe_beats(heard, chain)
    odds = bars.one_log_odds(bars.own_odds(heard, chain), rows, weights)
    by_beat = bars.place_scores(states, odds, bars.three_log_odds(rows, weights) / len(chain))

    clock = pointer.wind_clock(reading_of(chain), len(heard.gain))
    marks = pointer.mark_places(heard, clock, weights, states)

    among_places = np.exp(states.log_start) / len(METERS)
    by_frame = marks[chain.astype(int)]
    assert by_frame == pytest.approx(by_beat - (by_beat @ among_places)[:, None], abs=1e-9)
    assert marks @ among_places == pytest.approx(0, abs=1e-9)
    outside = np.r_[: int(chain[0]) - STEP, int(chain[-1]) + 2 * STEP : len(marks)]
    assert outside.size and not marks[outside].any()


# ------------------------------------------------------------------ decoding


@pytest.mark.parametrize("notation", ["4*10 2 4*8", "3*20", "p4*4 4*8 ~2.3 4*8"])
def test_places_are_the_best_for_the_beats(notation: str) -> None:
    """No other places of the same beats explain the evidence better: the search is exact."""
    heard, weights, states = (
        heard_notation(notation, bpm=116, drift=0.04),
        load_weights(),
        bar_states(),
    )
    reading = tempo_readings.find_readings(heard, weights)[0]

    chains = pointer.decode_song(heard, reading, weights)

    clock = pointer.wind_clock(reading, len(heard.gain))
    marks = pointer.mark_places(heard, clock, weights, states)
    courses = BarCourses(states=states, n_beats=tuple(len(c.steps) for c in chains))
    evidence = marks[np.concatenate([c.steps for c in chains])]
    places = np.concatenate([c.places for c in chains])
    best = courses.best(evidence)
    assert courses.score(places, evidence) == pytest.approx(courses.score(best, evidence), abs=1e-2)


def test_the_bars_hold_the_beat_where_onsets_between_the_beats_are_stronger() -> None:
    """Forty bars of louder off-beats: onsets alone slip by half a beat, the ones tell better."""
    n_beats = 320
    beats = STEP * (1 + np.arange(n_beats))
    gain = np.full(STEP * (n_beats + 2), -4.0)
    gain[beats] = 3.0
    gain[beats[80:240] + STEP // 2] = 3.5
    downbeat = np.full(len(gain), -6.0)
    downbeat[beats[::4]] = 6.0
    heard = heard_in(gain, downbeat)
    by_onsets = next(
        r for r in tempo_readings.candidate_readings(heard) if r.level == 1 and not r.off_beat
    )

    (chain,) = pointer.decode_song(heard, by_onsets, OWN_ONLY)

    slipped = np.isin(beats[80:240] + STEP // 2, np.rint(by_onsets.beats))
    assert slipped.mean() > 0.9
    assert chain.steps.tolist() == beats.tolist()
    positions = bar_states().position[chain.places]
    assert positions.tolist() == (np.arange(n_beats) % 4 + 1).tolist()


def test_nothing_is_decoded_where_nothing_is_gained() -> None:
    """Where no frame sounds like a beat, no reading makes one."""
    heard = heard_in(np.full(800, -4.0), np.zeros(800))

    reading = reading_of(np.arange(20.0, 781, STEP))

    assert pointer.decode_song(heard, reading, OWN_ONLY) == []
    louder = replace(heard, gain=np.where(np.arange(800) % STEP == 0, 3.0, -4.0))
    assert len(pointer.decode_song(louder, reading, OWN_ONLY)) == 1
