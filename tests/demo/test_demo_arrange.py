"""Composing: what is planned is what is written, in tune, and the same for the same seed."""

from __future__ import annotations

import numpy as np
import pytest
from demo_songs import SHORT_PLAN, drum_sound, onset_errors_s, short_song

from phrasefit.demo.arrange import compose
from phrasefit.demo.harmony import (
    bass_pitch,
    close_voicing,
    guitar_voicing,
    make_bars,
    nearest,
    read_numeral,
)
from phrasefit.demo.instruments import INSTRUMENTS
from phrasefit.demo.melody import RANGES
from phrasefit.demo.mix import CHANNELS
from phrasefit.demo.parts import write_bass, write_comp, write_drums
from phrasefit.demo.patterns import bar_of
from phrasefit.demo.plan import SectionPlan, TimePlan
from phrasefit.demo.score import Bar, Chord
from phrasefit.demo.style import Comp, Style
from phrasefit.demo.styles import STYLES
from phrasefit.errors import ParameterError

STYLE_NAMES = sorted(STYLES)


def patterns_of(style: Style) -> list[str]:
    """Collect every pattern of a style."""
    grooves = [g for options in style.grooves.values() for g in options] + list(style.fills)
    found = [pattern for groove in grooves for pattern in groove.values()]
    found += [line for lines in style.bass_lines.values() for line in lines]
    return found + [pattern for comp in style.comps for pattern in comp.patterns]


@pytest.mark.parametrize("name", STYLE_NAMES)
def test_patterns_of_a_style_are_whole_bars(name: str) -> None:
    """Every bar of every pattern has 3 or 4 steps a beat; every player is known."""
    style = STYLES[name]

    lengths = {len(bar_of(p, i)) for p in patterns_of(style) for i in range(p.count("|") + 1)}

    assert lengths <= {3 * style.meter, 4 * style.meter}
    assert len(lengths) == 1
    pieces = {p for options in style.grooves.values() for g in options for p in g}
    players = {i for comp in style.comps for i in comp.instruments}
    assert pieces | players | set(style.basses) <= set(INSTRUMENTS)
    assert set(style.solos + style.leads) <= RANGES.keys()


def test_every_instrument_has_a_place_in_the_mix() -> None:
    """The mixing desk knows all instruments and no others."""
    assert set(CHANNELS) == set(INSTRUMENTS)


@pytest.mark.parametrize("numeral", ["I", "ii", "iii", "IV", "V", "vi", "V7", "i", "iv"])
@pytest.mark.parametrize("key", [0, 4, 7])
def test_numerals_agree_with_music21(numeral: str, key: int) -> None:
    """Chord tones of a numeral are those music21 gives in the major or minor key."""
    music21 = pytest.importorskip("music21")
    tonic = music21.pitch.Pitch(key).name
    in_key = music21.key.Key(tonic, "minor" if numeral in ("i", "iv") else "major")
    expected = set(music21.roman.RomanNumeral(numeral, in_key).pitchClasses)

    assert set(read_numeral(numeral, key).tones) == expected


def test_a_chord_that_is_no_numeral_is_named() -> None:
    """The error shows the word and how to write it."""
    with pytest.raises(ParameterError, match="chord='Am' is not a numeral"):
        read_numeral("Am", 0)


def test_two_chords_share_a_bar() -> None:
    """A slash divides the bar in halves."""
    bar = make_bars(["ii/V7"], 0, [4])[0]

    assert bar.chord_at(0.0) == Chord(2, "m")
    assert bar.chord_at(2.0) == Chord(7, "7")


@pytest.mark.parametrize("root", range(12))
@pytest.mark.parametrize("quality", ["", "m", "7", "m7"])
def test_voicings_hold_only_chord_tones(root: int, quality: str) -> None:
    """Guitar and keyboard play notes of the chord, the guitar's lowest being playable."""
    chord = Chord(root, quality)
    guitar = guitar_voicing(chord)
    keys = close_voicing(chord, 60, len(chord.tones))

    assert {pitch % 12 for pitch in guitar + keys} <= set(chord.tones)
    assert guitar == sorted(guitar) and guitar[0] >= 40 and len(guitar) >= 4
    assert max(keys) - min(keys) < 12
    assert bass_pitch(root) % 12 == root and 28 <= bass_pitch(root) < 40


def test_open_e_major_is_the_known_grip() -> None:
    """E major on open strings is E B E G# B E (any guitar primer)."""
    assert guitar_voicing(Chord(4)) == [40, 47, 52, 56, 59, 64]


def test_nearest_takes_the_lower_of_two() -> None:
    """A tie goes down."""
    assert nearest((0, 4), 62.0) == 60


@pytest.mark.parametrize("name", STYLE_NAMES)
def test_songs_have_the_bars_that_were_planned(name: str) -> None:
    """Sections, letters and odd bars of the truth follow the plan in every style."""
    meter = STYLES[name].meter
    odd = 2 if meter != 2 else 3
    plan = (
        SectionPlan(label="intro", phrases=(2,), drums=False),
        SectionPlan(label="verse", phrases=(2, 3), odd_bars=((4, odd),)),
        SectionPlan(label="chorus", phrases=(4,)),
        SectionPlan(label="verse", phrases=(4,)),
        SectionPlan(label="tag", phrases=(2,)),
    )

    song = short_song(name, plan=plan)

    truth = song.truth
    lengths = np.diff([*np.flatnonzero(truth.positions == 1), len(truth.positions)])
    assert lengths.tolist() == [meter] * 6 + [odd] + [meter] * 10
    assert [s.letter for s in truth.sections] == ["A", "B", "C", "B", "C"]
    assert [s.n_beats for s in truth.sections] == [
        2 * meter, 4 * meter + odd, 4 * meter, 4 * meter, 2 * meter,
    ]  # fmt: skip
    assert len(truth.phrase_starts) == 6
    assert np.all(np.diff(truth.beats_s) > 0)
    assert truth.audible[2 * meter : -meter].all()
    assert song.duration_s > truth.end_s


@pytest.mark.parametrize("name", STYLE_NAMES)
def test_drums_strike_on_the_true_beats(name: str) -> None:
    """Median distance of the attack from the beat is at most 3 ms."""
    song = short_song(name)

    errors = onset_errors_s(drum_sound(song, 44100), song.truth.beats_s, 44100)

    assert len(errors) >= len(song.truth.beats_s) / 4
    assert np.median(np.abs(errors)) <= 0.003


def test_fills_end_with_their_bar(rng: np.random.Generator) -> None:
    """The fill of a 2/4 bar is the end of the fill, and the groove gives way to it."""
    bars = (Bar(4, (Chord(0),)), Bar(2, (Chord(0),)))
    groove = {"closed_hat": "x.x. x.x. x.x. x.x."}
    fills = ({"low_tom": "x... .... .... xxXx"},)

    pieces = write_drums(rng, bars, (2,), 4, groove, fills, energy=0.0, crash=True)

    assert [event.beat for event in pieces["low_tom"]] == [5.0, 5.25, 5.5, 5.75]
    hats = [event.beat for event in pieces["closed_hat"]]
    assert hats == [0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 4.5]
    assert [event.beat for event in pieces["crash"] + pieces["kick"]] == [0.0, 0.0]


def test_bass_lines_step_into_the_next_chord() -> None:
    """Root, fifth, and a half step below the root that follows."""
    bars = (Bar(4, (Chord(0),)), Bar(4, (Chord(5),)))

    events = write_bass(bars, 4, "R-5A", Chord(7), energy=0.5)

    assert [event.pitch % 12 for event in events] == [0, 7, 4, 5, 0, 6]


def test_strokes_run_over_the_strings() -> None:
    """A down stroke goes from low to high around the beat, an up stroke back over fewer."""
    comp = Comp(instruments=("steel_guitar",), kind="strum")
    bars = (Bar(4, (Chord(4),)),)

    events = write_comp(bars, 4, comp, "x.u.", energy=0.5, stroke_beats=0.01)

    down = [event for event in events if event.beat < 1.0]
    up = [event for event in events if event.beat > 1.0]
    assert [event.pitch for event in down] == [40, 47, 52, 56, 59, 64]
    assert [event.pitch for event in up] == [64, 59, 56, 52]
    assert down[0].beat == pytest.approx(-0.02) and down[-1].beat == pytest.approx(0.03)


def test_held_chords_are_struck_when_they_change() -> None:
    """Two bars of one chord are one long chord; a third bar is struck anew."""
    comp = Comp(instruments=("organ",), kind="hold")
    bars = (*(Bar(4, (Chord(0),)),) * 3, Bar(4, (Chord(5), Chord(7))))

    events = write_comp(bars, 4, comp, "", energy=0.5, stroke_beats=0.0)

    starts = sorted({(event.beat, event.beats) for event in events})
    assert starts == [(0.0, 8.0), (8.0, 4.0), (12.0, 2.0), (14.0, 2.0)]


def test_the_drums_rest_where_planned() -> None:
    """An intro without drums has no drum note before its last beat ends."""
    plan = (SectionPlan(label="intro", phrases=(4,), drums=False), *SHORT_PLAN[1:])
    song = short_song("ballad", plan=plan)
    first_verse_s = song.truth.sections[1].start_s

    drums = [t for t in song.tracks if CHANNELS[t.instrument].group == "drums"]

    assert min(note.start_s for t in drums for note in t.notes) > first_verse_s - 0.02
    assert any(n.start_s < 1.0 for t in song.tracks for n in t.notes)


def test_same_letter_same_tune() -> None:
    """The singer's pitches in both verses are the same, the times only nearly."""
    song = short_song("country-rock", time=TimePlan(tempo_bpm=120.0, jitter_ms=0.0))
    first, second = (s for s in song.truth.sections if s.label == "verse")
    singer = next(t for t in song.tracks if t.instrument == "singer")
    length_s = song.time_map.times_s[first.start_beat + first.n_beats] - first.start_s

    # The last bar of the song is its closing chord; compare up to it.
    sung = [
        [(n.pitch, n.start_s - s.start_s) for n in singer.notes
         if -0.05 < n.start_s - s.start_s < length_s - 2.2]
        for s in (first, second)
    ]  # fmt: skip

    assert len(sung[0]) > 5
    assert [pitch for pitch, _ in sung[0]] == [pitch for pitch, _ in sung[1]]
    np.testing.assert_allclose([t for _, t in sung[0]], [t for _, t in sung[1]], atol=0.08)


@pytest.mark.parametrize("name", STYLE_NAMES)
def test_tunes_agree_with_the_chords(name: str) -> None:
    """On the beats nine in ten tune notes belong to the chord, pickups before the bar aside."""
    song = short_song(name, time=TimePlan(tempo_bpm=100.0, jitter_ms=0.0, wander_percent=0.0))
    beats_s = song.truth.beats_s
    bar_starts = np.flatnonzero(song.truth.positions == 1)
    melodic = [t for t in song.tracks if t.instrument in ("singer", "synth_lead")]
    belongs = []
    for note in (n for t in melodic for n in t.notes):
        beat = int(np.argmin(np.abs(beats_s - note.start_s)))
        is_pickup = beat + 1 in bar_starts
        if abs(beats_s[beat] + 0.008 - note.start_s) < 0.03 and not is_pickup:
            bar = int(np.searchsorted(bar_starts, beat, side="right")) - 1
            chord = song.chart.bars[bar].chord_at(beat - bar_starts[bar])
            belongs.append(int(note.pitch) % 12 in chord.tones)

    assert len(belongs) >= 8
    assert np.mean(belongs) >= 0.9


def test_same_seed_same_song_other_seed_another() -> None:
    """All notes are equal for equal seeds."""
    songs = [short_song("disco", seed) for seed in (1, 1, 2)]

    assert songs[0].tracks == songs[1].tracks
    assert songs[0].tracks != songs[2].tracks


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"plan": ()}, "plan is empty"),
        ({"plan": (SectionPlan(label="coda", phrases=(4,)),)}, "label='coda' is unknown"),
        ({"ending": "explode"}, "ending='explode' must be"),
    ],
)
def test_bad_plans_are_refused(changes: dict, message: str) -> None:
    """What cannot be composed is named."""
    with pytest.raises(ParameterError, match=message):
        short_song("waltz", **changes)


def test_own_styles_can_be_played() -> None:
    """A style is data: a changed copy composes like those of the list."""
    from dataclasses import replace

    style = replace(STYLES["polka"], name="march", bass_lines={"light": ("R-..5-..",),
                                                               "full": ("R-..5-..",)})  # fmt: skip
    song = compose(np.random.default_rng(1), style, SHORT_PLAN, TimePlan(tempo_bpm=110.0))

    assert song.truth.style == "march"
