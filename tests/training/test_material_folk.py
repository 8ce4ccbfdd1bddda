"""Tunes that go round under a simple band, and the sounds of old chips."""

from __future__ import annotations

import numpy as np
import pytest

from phrasefit.training import rounds
from phrasefit.training.chip import crush, play_noise_drums, play_wave
from phrasefit.training.collection import NOTE_TYPE, StoredPiece
from phrasefit.training.folk import _evened, folk_song
from phrasefit.training.harmony import ChordTrack
from phrasefit.training.invent import invent_riff
from phrasefit.training.performance import Played
from phrasefit.training.rounds import old_round, own_round
from phrasefit.training.score import NoteList
from phrasefit.training.songs import FAMILY_STYLES
from phrasefit.training.styles import STYLES

FOLK = FAMILY_STYLES["folk"]


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("name", FOLK)
def test_folk_songs_hang_together(name: str, seed: int) -> None:
    """Sections lie end to end, phrases begin on bars, every note has a beat to belong to."""
    rng = np.random.default_rng(seed)
    piece = folk_song(rng, STYLES[name], min_seconds=40, old=False)

    n_bars = len(piece.beats_per_bar)
    ends = [s.first_bar + s.n_bars for s in piece.sections]
    assert ends[:-1] == [s.first_bar for s in piece.sections[1:]]
    assert ends[-1] == n_bars
    assert piece.sections[0].first_bar == int(piece.starts_inside)
    assert all(s.first_bar in piece.phrase_bars for s in piece.sections)
    starts = piece.bar_starts[list(piece.phrase_bars)]
    assert (piece.positions[starts.astype(int)] == 1).all()
    for part in piece.parts:
        assert part.onsets.min() >= -1e-9
        assert part.onsets.max() < piece.n_beats
    assert piece.positions[-1] in (1, piece.meter)


def test_harmony_of_folk_songs_changes_on_ones() -> None:
    """Chords last whole bars, and the tune has tones of the chord on most ones."""
    inside = []
    for seed in range(40):
        rng = np.random.default_rng(seed)
        round_ = own_round(rng, STYLES[FOLK[seed % 5]])
        assert all(chord.start % round_.meter == 0 for chord in round_.chords)
        assert round_.chords[-1].end == round_.n_bars * round_.meter
        track = ChordTrack(list(round_.chords))
        on_one = np.abs(np.mod(round_.part.onsets, round_.meter)) < 1e-6
        for onset, pitch in zip(
            round_.part.onsets[on_one], round_.part.pitches[on_one], strict=True
        ):
            chord = track.at(onset)
            inside.append((pitch - chord.root) % 12 in [tone % 12 for tone in chord.tones])
    assert np.mean(inside) > 0.75


def test_tunes_of_a_seed_end_at_home_and_some_begin_before_the_one() -> None:
    """Without a pickup after it the last note is the key note; pickups lie before beat 0."""
    found = [own_round(np.random.default_rng(s), STYLES["folk-44"]) for s in range(40)]

    last = [r.part.pitches[np.searchsorted(r.part.onsets, r.n_bars * r.meter) - 1] for r in found]
    home = [(pitch - r.key) % 12 == 0 for pitch, r in zip(last, found, strict=True)]
    assert np.mean(home) > 0.9
    assert 0.4 < np.mean([r.pickup_beats > 0 for r in found]) < 0.95
    assert max(r.pickup_beats for r in found) <= 2


def stored_tune(pickup: float, n_bars: int = 16) -> StoredPiece:
    """Quarter notes in 4/4; a pickup fills the end of a bar of its own, the last bar lacks it."""
    first = 4.0 - pickup if pickup else 0.0
    n_beats = 4 * n_bars + (4 if pickup else 0) - int(pickup)
    rows = [(beat, 1.0, 60 + int(beat) % 5, 84, 0) for beat in np.arange(first, n_beats)]
    bars = (4,) * n_bars if not pickup else (4, *(4,) * (n_bars - 1), 4 - int(pickup))
    return StoredPiece(
        name="a/b", notes=np.array(rows, NOTE_TYPE), parts=(("lead", 40),), beats_per_bar=bars,
        meter=4, tempo_bpm=(90.0, 120.0), tags=("a", "4/4"),
    )  # fmt: skip


@pytest.mark.parametrize(("pickup", "n_bars"), [(0.0, 16), (1.0, 16), (0.0, 15)])
def test_old_tunes_begin_with_their_first_one(
    monkeypatch: pytest.MonkeyPatch, pickup: float, n_bars: int
) -> None:
    """Beat 0 is the one after the pickup; tunes in odd numbers of bars are left out."""
    monkeypatch.setattr(rounds, "draw_stored", lambda *_: stored_tune(pickup, n_bars))
    found = old_round(np.random.default_rng(0), STYLES["folk-44"])

    if n_bars % 4:
        assert found is None
        return
    assert found.n_bars == n_bars
    assert found.part.onsets[0] == -pickup
    assert found.chords[0].start == 0 and found.chords[-1].end == 4 * n_bars


def test_even_accents_do_not_tell_the_halves_of_a_bar_apart() -> None:
    """After evening, one and three are equally loud; off-beats keep their own loudness."""
    notes = NoteList()
    for beat in np.arange(0, 160, 0.5):
        loud = {0.0: 0.9, 2.0: 0.5}.get(beat % 4, 0.3)
        notes.add(beat, 0.4, 40, loud)
    part = _evened(np.random.default_rng(0), notes.part("bass"), 2)

    place = np.mod(part.onsets, 4)
    one, three, off = (part.velocities[place == p].mean() for p in (0.0, 2.0, 0.5))
    assert one == pytest.approx(three, abs=0.03)
    assert one == pytest.approx(0.7, abs=0.03)
    assert off == pytest.approx(0.3, abs=0.03)


def test_riffs_are_whole_bars_of_chord_tones() -> None:
    """An ostinato lasts one or two bars; most begin on the one."""
    style = STYLES["tracker"]
    riffs = [invent_riff(np.random.default_rng(s), style) for s in range(60)]

    assert {len(riff) for riff in riffs} == {16, 32}
    assert set("".join(riffs)) <= set("12345-.")
    assert np.mean([riff[0] in "12345" for riff in riffs]) > 0.6


# ------------------------------------------------------------ chips


def played(starts_s: list[float], pitch: float, role: str) -> Played:
    """Notes of 0.4 s."""
    notes = NoteList()
    for start in starts_s:
        notes.add(start, 0.4, pitch, 0.8)
    part = notes.part(role)
    return Played(
        part=part, starts_s=part.onsets, ends_s=part.onsets + 0.4, pitches=part.pitches,
        velocities=part.velocities,
    )  # fmt: skip


@pytest.mark.parametrize("seed", range(6))
def test_waves_sound_at_their_pitch_and_time(seed: int) -> None:
    """A 440 Hz note starts where it should and has its strongest partial at 440 Hz."""
    sound = play_wave(np.random.default_rng(seed), played([0.5], 69, "lead"), 22050, 22050)

    assert np.flatnonzero(sound)[0] == pytest.approx(11025, abs=30)
    spectrum = np.abs(np.fft.rfft(sound * (np.arange(22050) >= 11025)))
    assert np.argmax(spectrum) == pytest.approx(440, abs=4)


def test_noise_drums_strike_on_time() -> None:
    """A kick is low, a hat is high, both begin at their note."""
    centers = []
    for key in (36, 42):
        rng = np.random.default_rng(1)
        sound = play_noise_drums(rng, played([0.25], key, "drums"), 22050, 22050)
        assert np.flatnonzero(sound)[0] == pytest.approx(5512, abs=12)
        power = np.abs(np.fft.rfft(sound)) ** 2
        centers.append((power * np.arange(power.size)).sum() / power.sum())
    assert centers[0] < 1500 < 3000 < centers[1]


def test_crushed_sound_has_few_levels_and_stays_in_time() -> None:
    """At four bits a full sine takes at most 17 values and lags less than a millisecond."""
    sine = np.sin(2 * np.pi * 110 * np.arange(22050) / 22050).astype(np.float32)
    crushed = crush(np.random.default_rng(0), sine, 22050, n_bits=4)

    assert np.unique(crushed).size <= 17
    lags = range(-30, 31)
    best = max(lags, key=lambda lag: float(np.roll(sine, lag)[50:-50] @ crushed[50:-50]))
    assert abs(best) <= 22
