"""Written music for training: styles, forms, bands, players in time, borrowed scores."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from phrasefit.errors import ParameterError
from phrasefit.training.borrowed import guess_key, is_triplet
from phrasefit.training.collection import (
    NOTE_TYPE,
    TICKS,
    StoredPiece,
    read_collection,
    write_collection,
)
from phrasefit.training.compose import compose, push
from phrasefit.training.harmony import (
    PROGRESSIONS,
    QUALITIES,
    Chord,
    ChordTrack,
    choose_progression,
    voice,
)
from phrasefit.training.performance import TempoMap, draw_tempo_map, perform, pink_noise
from phrasefit.training.score import NoteList, Part, Piece
from phrasefit.training.songs import FAMILY_STYLES
from phrasefit.training.source_popular import first_label_beat, phrases_of
from phrasefit.training.styles import DRUM_KEYS, HELD_OUT_STYLES, PROGRAMS, STYLES, parse_styles
from phrasefit.training.tactus import tapped


def one_part(onsets: list[float], role: str = "lead", pitch: float = 60.0) -> Part:
    """A part of quarter notes at `onsets`."""
    notes = NoteList()
    for onset in onsets:
        notes.add(onset, 1.0, pitch, 0.8)
    return notes.part(role)


def plain_piece(n_bars: int = 8, **changes: object) -> Piece:
    """A piece of 4/4 bars with nothing special."""
    about = {
        "beats_per_bar": (4,) * n_bars, "meter": 4, "tempo_bpm": 120.0, "parts": (), "sections": (),
        "phrase_bars": (0,), "style": "rock", "looseness": 0.0, "ends": False,
    }  # fmt: skip
    return Piece(**(about | changes))


def drum_piece(snare_beats: tuple[float, ...], tempo_bpm: tuple[float, float]) -> StoredPiece:
    """Sixteen bars of kick on the beats and snare at `snare_beats` of each bar."""
    rows = [(4 * bar + b, 0.2, 36, 90, 0) for bar in range(16) for b in range(4)]
    rows += [(4 * bar + b, 0.2, 38, 90, 0) for bar in range(16) for b in snare_beats]
    return StoredPiece(
        name="a/b", notes=np.array(rows, NOTE_TYPE), parts=(("drums", 0),),
        beats_per_bar=(4,) * 16, meter=4, tempo_bpm=tempo_bpm, section_bars=(0, 4), letters="AB",
        phrase_bars=(0, 4), chords=((0.0, 0, ""), (4.0, 5, "m")), tags=("a",),
    )  # fmt: skip


# ------------------------------------------------------------ styles


@pytest.mark.parametrize("style", STYLES.values(), ids=list(STYLES))
def test_patterns_fill_whole_bars(style) -> None:
    """Every pattern is a whole number of bars (or divides one), in letters that are known."""
    n_steps = style.meter * style.steps
    for variant in style.drums:
        for letter, pattern in variant.items():
            assert letter in DRUM_KEYS
            assert len(pattern) % n_steps == 0 or n_steps % len(pattern) == 0
    for pattern in (*style.bass, *style.chords, *style.arpeggios):
        assert len(pattern) % n_steps == 0
    assert all(word in PROGRAMS for words in style.instruments.values() for word in words)
    assert style.harmony in PROGRESSIONS


def test_every_style_belongs_to_a_family_and_some_are_held_out() -> None:
    """No style is forgotten; the held-out ones exist."""
    assert set(STYLES) == {name for names in FAMILY_STYLES.values() for name in names}
    assert len(HELD_OUT_STYLES) == 3 and set(STYLES) >= HELD_OUT_STYLES


def test_style_table_names_a_wrong_line() -> None:
    """A line of unknown kind is shown."""
    table = "[x] meter=4 steps=2 tempo=90-120 harmony=pop chords=1 loose=0-1 weight=1\nq R---"
    with pytest.raises(ParameterError, match="style x: unknown line 'q R---'"):
        parse_styles(table)


# ------------------------------------------------------------ composing


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("name", ["pop", "waltz", "swing", "afro-68", "five-four"])
def test_composed_pieces_hang_together(name: str, seed: int) -> None:
    """Sections lie end to end, phrases begin on bars, no note begins after the end."""
    piece = compose(np.random.default_rng(seed), STYLES[name], min_seconds=60)

    n_bars = len(piece.beats_per_bar)
    ends = [s.first_bar + s.n_bars for s in piece.sections]
    assert ends[:-1] == [s.first_bar for s in piece.sections[1:]]
    assert ends[-1] == n_bars
    assert all(0 <= bar < n_bars for bar in piece.phrase_bars)
    assert all(s.first_bar in piece.phrase_bars for s in piece.sections)
    assert len(piece.positions) == piece.n_beats
    assert all(part.onsets.max() <= piece.n_beats for part in piece.parts)
    assert piece.n_beats * 60 / piece.tempo_bpm > 20


def test_part_bar_at_the_start_counts_to_the_bar_line() -> None:
    """A piece that starts inside a bar has its last positions first."""
    piece = plain_piece(beats_per_bar=(2, 4, 4), starts_inside=True)

    np.testing.assert_array_equal(piece.positions, [3, 4, 1, 2, 3, 4, 1, 2, 3, 4])


def test_pushes_move_bass_and_kick_but_not_snare_and_tune() -> None:
    """Chords come early on every change; other players keep the beat."""
    chart = ChordTrack([Chord(4.0 * i, 4.0 * i + 4, i % 12, (0, 4, 7)) for i in range(4)])
    bass, tune = one_part([0, 4, 8, 12], "bass"), one_part([0, 4, 8, 12])
    kick, snare = one_part([0, 4, 8], "drums", 36), one_part([4, 8], "drums", 38)
    for seed in range(20):
        moved = push(np.random.default_rng(seed), [bass, tune, kick, snare], chart)
        np.testing.assert_array_equal(moved[1].onsets, tune.onsets)
        np.testing.assert_array_equal(moved[3].onsets, snare.onsets)
        early = bass.onsets - moved[0].onsets
        assert set(early) <= {0.0, 0.25, 0.5} and early[0] == 0.0
        np.testing.assert_allclose(moved[0].onsets + moved[0].lengths, [1, 5, 9, 13])


def test_chords_are_voiced_upwards_from_their_notes() -> None:
    """A C major chord from MIDI 50 is E, G, C, E upwards: only chord notes, rising."""
    assert voice(Chord(0, 4, 0, QUALITIES[""]), 50, 4) == [52, 55, 60, 64]


def test_blues_has_twelve_bars() -> None:
    """The first blues progression is the twelve-bar form (common practice, no source)."""
    loop = PROGRESSIONS["blues"][0].split()
    assert len(loop) == 12 and loop[4].startswith("5:") and loop[8].startswith("7:")
    rng = np.random.default_rng(0)
    assert all(choose_progression(rng, name) for name in PROGRESSIONS)


# ------------------------------------------------------------ playing in time


def test_machines_keep_time_exactly() -> None:
    """Looseness 0 gives even beats; every player is on them."""
    piece = plain_piece()
    rng = np.random.default_rng(3)
    tempo_map = draw_tempo_map(rng, piece, start_s=0.5)
    played = perform(rng, one_part([0, 1, 2, 3]), tempo_map, piece)

    np.testing.assert_allclose(np.diff(tempo_map.times_s), 0.5)
    np.testing.assert_allclose(played.starts_s, [0.5, 1.0, 1.5, 2.0])


def test_players_stay_near_the_beat() -> None:
    """A loose band scatters by a few milliseconds around an even pulse."""
    piece = plain_piece(64, looseness=1.0)
    rng = np.random.default_rng(4)
    tempo_map = draw_tempo_map(rng, piece, start_s=0.0)
    played = perform(rng, one_part(list(range(200)), "bass"), tempo_map, piece)
    away = played.starts_s - tempo_map.times_s[:200]

    assert 0.002 < np.std(away) < 0.02
    assert np.all(np.diff(tempo_map.times_s) > 0)
    assert abs(np.median(60 / np.diff(tempo_map.times_s)) / 120 - 1) < 0.06


def test_triplet_swing_puts_off_beats_on_two_thirds() -> None:
    """Swing 2/3 plays written eighths as the first and third of a triplet."""
    tempo_map = TempoMap(times_s=np.arange(5.0), swing=2 / 3, swing_unit=1.0)

    np.testing.assert_allclose(tempo_map.seconds(np.array([0, 0.5, 1, 1.5])), [0, 2 / 3, 1, 5 / 3])


def test_pink_noise_falls_as_one_over_f() -> None:
    """Power falls by about 3 dB an octave (Hennig et al. 2011 report about 1/f)."""
    rng = np.random.default_rng(1)
    power = np.mean([np.abs(np.fft.rfft(pink_noise(rng, 4096))) ** 2 for _ in range(40)], axis=0)
    bins = np.arange(8, 1024)
    slope = np.polyfit(np.log2(bins), 10 * np.log10(power[bins]), 1)[0]

    assert slope == pytest.approx(-3.0, abs=0.4)


# ------------------------------------------------------------ borrowed scores


def test_collections_come_back_as_written(tmp_path: Path) -> None:
    """Notes survive to a tick, descriptions exactly, pieces in order."""
    first, second = drum_piece((1, 3), (90, 120)), drum_piece((1.5,), (60, 80))
    assert write_collection(tmp_path / "c.npz", [first, second]) == 2
    for made, read in zip((first, second), read_collection(tmp_path / "c.npz"), strict=True):
        order = np.argsort(made.notes["onset"], kind="stable")
        np.testing.assert_allclose(made.notes["onset"][order], read.notes["onset"], atol=1 / TICKS)
        np.testing.assert_array_equal(made.notes["pitch"][order], read.notes["pitch"])
        assert (read.chords, read.letters, read.parts) == (made.chords, "AB", made.parts)


def test_other_files_are_no_collections(tmp_path: Path) -> None:
    """A file that is something else is named."""
    (tmp_path / "no.npz").write_bytes(b"hello")
    with pytest.raises(ParameterError, match=r"no\.npz: is no collection"):
        read_collection(tmp_path / "no.npz")


def test_back_beat_tells_the_level() -> None:
    """Snare on the ands doubles the pulse, on three halves it, on two and four keeps it."""
    kept = drum_piece((1, 3), (100, 120))
    doubled = tapped(drum_piece((0.5, 1.5, 2.5, 3.5), (70, 80)), tempo_is_written=True)
    halved = tapped(drum_piece((2,), (130, 150)), tempo_is_written=True)

    assert tapped(kept, tempo_is_written=True) is kept
    assert doubled.tempo_bpm == (140, 160) and len(doubled.beats_per_bar) == 32
    assert doubled.section_bars == (0, 8) and doubled.chords[1][0] == 8.0
    assert halved.tempo_bpm == (65, 75) and len(halved.beats_per_bar) == 8
    for piece in (doubled, halved):
        snare = piece.notes[piece.notes["pitch"] == 38]["onset"]
        assert set(np.mod(snare, 4)) == {1.0, 3.0}


def test_triplets_are_told_from_halves() -> None:
    """Off-beats on thirds are triplets."""
    straight = drum_piece((0.5, 1.5), (90, 120))
    swung = replace(straight, notes=straight.notes.copy())
    swung.notes["onset"] += np.where(np.mod(swung.notes["onset"], 1) == 0.5, 1 / 6, 0)

    assert not is_triplet(straight) and is_triplet(swung)


@pytest.mark.parametrize(
    ("pitches", "key", "minor"),
    [
        ([60, 62, 64, 65, 67, 69, 71, 72, 67, 64, 60], 0, False),
        ([69, 71, 72, 74, 76, 74, 72, 71, 69, 68, 69], 9, True),
        ([67, 71, 74, 72, 71, 69, 66, 67], 7, False),
    ],
)
def test_keys_are_guessed_from_scales(pitches: list[int], key: int, minor: bool) -> None:
    """C major scale, A minor tune, G major tune."""
    notes = NoteList()
    for beat, pitch in enumerate(pitches):
        notes.add(beat, 1.0, pitch, 0.8)

    assert guess_key(notes.part("lead")) == (key, minor)


def test_labels_of_a_pop_song_begin_where_its_melody_agrees() -> None:
    """The melody, written in sixteenths, is found five beats into the song; another is not."""
    beats = 0.5 * np.arange(80)
    pitches = [60, 62, 64, 65, 67, 69, 71, 72, 60, 67]
    melody = [(0.5 * (5 + i) + 0.02, 0.5 * (6 + i), p, 90) for i, p in enumerate(pitches)]
    label = "\n".join(f"{pitch} 4" for pitch in pitches)

    assert first_label_beat(melody, label, beats) == 5
    assert first_label_beat(melody, label.replace("6", "5"), beats) is None
    assert phrases_of("i4A8b12") == [("i", 4), ("A", 8), ("b", 12)]
