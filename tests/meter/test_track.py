"""From sound to bar map, on songs with exact truth."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import mir_eval
import numpy as np
import pytest
import soundfile

from phrasefit.audio.decode import decode
from phrasefit.audio.features import extract_features
from phrasefit.errors import NoPulseError, Reason
from phrasefit.meter import track
from phrasefit.meter.handmade import HandmadeModel
from phrasefit.meter.learned import LearnedModel
from phrasefit.meter.observe import ObservationModel
from phrasefit.model import Audio, BarMap, Correction, SongInfo
from synth import RATE_HZ, SynthSong, make_song


def hear(
    samples: np.ndarray, model: ObservationModel | None = None, *, anyway: bool = False
) -> BarMap:
    """Track mono samples at our rate."""
    audio = Audio(samples=samples, sample_rate_hz=RATE_HZ, info=SongInfo())
    return track(audio, extract_features(audio), model=model, anyway=anyway)


def f_measures(song: SynthSong, heard: BarMap) -> tuple[float, float]:
    """F-measure of beats and of ones by mir_eval, the referee of the field (70 ms)."""
    ones_s = heard.beat_times_s[heard.positions == 1]
    return (
        mir_eval.beat.f_measure(song.beats_s[song.audible], heard.beat_times_s),
        mir_eval.beat.f_measure(song.ones_s, ones_s),
    )


def errors_s(song: SynthSong, heard: BarMap) -> np.ndarray:
    """Signed distance of each true beat's nearest heard beat."""
    nearest = np.abs(heard.beat_times_s[:, None] - song.beats_s).argmin(axis=0)
    return heard.beat_times_s[nearest] - song.beats_s


@pytest.fixture(scope="module")
def plain() -> tuple[SynthSong, BarMap]:
    """Sixteen bars of four at 120, and what is heard in them."""
    song = make_song("4*16", bpm=120)
    return song, hear(song.samples)


def test_a_plain_song_is_heard_exactly(plain) -> None:
    """Every beat and one is found, at its tempo, as a click."""
    song, heard = plain

    assert min(f_measures(song, heard)) == 1.0
    assert heard.tempo_bpm == pytest.approx(120, rel=0.001)
    assert (heard.meter, heard.steady) == (4, True)
    assert abs(heard.tempo_drift_percent) < 0.5


def test_beats_lie_on_the_onsets(plain) -> None:
    """Median error under 8 ms, and no bias of more than 5 ms."""
    error = errors_s(*plain)

    assert np.median(np.abs(error)) < 0.008
    assert abs(np.median(error)) < 0.005


def test_nothing_is_heard_outside_the_song(plain) -> None:
    """No beat before the first or after the last."""
    song, heard = plain

    assert heard.beat_times_s[0] > song.beats_s[0] - 0.1
    assert heard.beat_times_s[-1] < song.beats_s[-1] + 0.1
    assert heard.end_s == pytest.approx(song.beats_s[-1] + 0.5, abs=0.05)


@pytest.mark.parametrize("bpm", [66, 92, 138, 176])
def test_tempos_that_people_dance_to(bpm: float) -> None:
    """Beats are found at the level of the drums, from slow to fast."""
    song = make_song("4*20", bpm=bpm)

    heard = hear(song.samples)

    assert f_measures(song, heard)[0] > 0.97
    assert heard.tempo_bpm == pytest.approx(bpm, rel=0.01)


@pytest.mark.parametrize("bpm", [90, 150])
def test_waltzes(bpm: float) -> None:
    """Bars of three are bars of three."""
    song = make_song("3*28", bpm=bpm)

    heard = hear(song.samples)

    assert heard.meter == 3
    assert min(f_measures(song, heard)) > 0.97


@pytest.mark.parametrize("odd", ["2", "6"])
def test_an_odd_bar_survives(odd: str) -> None:
    """A half bar, or a bar and a half, stays where it is; the ones are right after it."""
    song = make_song(f"4*10 {odd} 4*10", bpm=116)

    heard = hear(song.samples)

    assert f_measures(song, heard)[1] > 0.95
    lengths = np.diff(np.flatnonzero(heard.positions == 1))
    assert sum(length != 4 for length in lengths) == 1


def test_drift_is_followed() -> None:
    """Six percent faster at the end, and the map says so."""
    song = make_song("4*28", bpm=108, drift=0.06)

    heard = hear(song.samples)

    assert f_measures(song, heard)[0] == 1.0
    assert np.median(np.abs(errors_s(song, heard))) < 0.008
    assert heard.tempo_drift_percent == pytest.approx(6, abs=1.5)


def joined(*tempos: float) -> tuple[np.ndarray, np.ndarray, list[float]]:
    """Join songs, each where the last beat of the one before was; samples, beats, joints."""
    first, *others = (make_song("4*16", bpm=bpm, seed=round(bpm)) for bpm in tempos)
    samples, beats_s, joints_s = first.samples, first.beats_s, []
    for song in others:
        joint_s, begins_s = float(beats_s[-1]), float(song.beats_s[0])
        kept, added = (round(at_s * RATE_HZ) for at_s in (joint_s, begins_s))
        samples = np.append(samples[:kept], song.samples[added:])
        beats_s = np.append(beats_s[:-1], song.beats_s - begins_s + joint_s)
        joints_s.append(joint_s)
    return samples.astype(np.float32), beats_s, joints_s


@pytest.mark.parametrize("model", [HandmadeModel(), LearnedModel()], ids=["hand", "learned"])
@pytest.mark.parametrize("tempos", [(92.3, 105.1), (165.2, 128.5), (139.1, 107.9), (117.0, 138.0)])
def test_where_the_tempo_changes_on_a_beat_that_beat_is_counted_once(
    tempos: tuple[float, float], model: ObservationModel
) -> None:
    """The last beat of one tempo is the first of the next, as where two songs are joined."""
    samples, true_s, (joint_s,) = joined(*tempos)

    heard = hear(samples, model)
    beats_s = heard.beat_times_s

    assert not heard.steady
    assert np.diff(beats_s).min() > 0.7 * np.diff(true_s).min()
    near = np.abs(true_s - joint_s) < 8.0
    heard_near = np.abs(beats_s - joint_s) < 8.0
    assert mir_eval.beat.f_measure(true_s[near], beats_s[heard_near]) > 0.95


@pytest.mark.parametrize("model", [HandmadeModel(), LearnedModel()], ids=["hand", "learned"])
@pytest.mark.parametrize("tempos", [(94.0, 140.0), (150.0, 102.0), (150.0, 102.0, 150.0)])
def test_each_tempo_of_a_song_is_heard(tempos: tuple[float, ...], model: ObservationModel) -> None:
    """A slow opening and the fast rest are further apart than the drift of one tempo."""
    samples, true_s, _ = joined(*tempos)

    heard = hear(samples, model)

    assert mir_eval.beat.f_measure(true_s, heard.beat_times_s) > 0.9
    steps_s = np.diff(heard.beat_times_s)
    for bpm in tempos:
        assert np.sum(np.abs(60 / steps_s / bpm - 1) < 0.02) > 56 * tempos.count(bpm)  # of 64


@pytest.mark.parametrize("model", [HandmadeModel(), LearnedModel()], ids=["hand", "learned"])
@pytest.mark.parametrize("seed", [0, 2])  # in both some claps happen to come evenly
def test_claps_between_have_no_tempo(model: ObservationModel, seed: int) -> None:
    """Of twenty seconds in which somebody claps at random the middle is given no beats."""
    song, draws = make_song("4*10 ~40.3 4*10", bpm=112), np.random.default_rng(seed)
    begin, end = (round(s * RATE_HZ) for s in (song.beats_s[39] + 1.0, song.beats_s[40] - 0.5))
    samples, at, n = song.samples.copy(), begin, round(0.05 * RATE_HZ)
    decay = 0.5 * np.exp(-np.arange(n) / (0.01 * RATE_HZ))
    while (at := at + round(draws.uniform(0.12, 0.9) * RATE_HZ)) < end - RATE_HZ:
        samples[at : at + n] += decay * draws.standard_normal(n)

    beats_s = hear(samples.astype(np.float32), model).beat_times_s

    middle_s = (begin + end) / 2 / RATE_HZ
    assert not (np.abs(beats_s - middle_s) < 5.0).any()


@pytest.mark.parametrize("where", ["before", "after"])
def test_sound_that_is_not_counted_is_told(plain, where: str) -> None:
    """Applause of fifteen seconds at either end; a song that fills its file has no such note."""
    song, heard = plain
    assert heard.notes == ()
    applause = 0.05 * np.random.default_rng(3).standard_normal(15 * RATE_HZ)
    parts = (applause, song.samples) if where == "before" else (song.samples, applause)

    (note,) = hear(np.concatenate(parts).astype(np.float32)).notes

    assert re.fullmatch(rf"no beat {where} 0:\d\d\.\d: what sounds .* is not counted", note)


def test_loose_players_are_followed() -> None:
    """Hits 8 ms around the beat still give a beat within 10 ms."""
    song = make_song("4*20", bpm=104, looseness_s=0.008)

    assert np.median(np.abs(errors_s(song, hear(song.samples)))) < 0.010


def test_a_silent_bar_in_time_is_bridged() -> None:
    """The beat is carried through two bars of silence after which it resumes in phase."""
    song = make_song("4*10 -4*2 4*10", bpm=120)

    heard = hear(song.samples)

    assert np.abs(errors_s(song, heard)).max() < 0.05
    assert np.diff(heard.beat_times_s).max() < 0.6


def test_no_beat_where_the_music_stops() -> None:
    """Out of phase after a stop: no beats are invented between, and the gap is told."""
    song = make_song("4*10 ~5.27 4*10", bpm=120)

    heard = hear(song.samples)

    stop_s = song.beats_s[39] + 0.6
    inside = (heard.beat_times_s > stop_s) & (heard.beat_times_s < stop_s + 4.4)
    assert not inside.any()
    assert min(f_measures(song, heard)) > 0.97
    assert any(note.startswith("no beat from") for note in heard.notes)


def test_silence_before_the_song_shifts_everything(plain) -> None:
    """The same song 0.73 s later is the same map 0.73 s later."""
    song, heard = plain

    later = hear(np.concatenate([np.zeros(round(0.73 * RATE_HZ), np.float32), song.samples]))

    assert later.beat_times_s - 0.73 == pytest.approx(heard.beat_times_s, abs=0.003)
    assert later.positions.tolist() == heard.positions.tolist()


def test_rate_of_the_file_does_not_matter(tmp_path: Path) -> None:
    """A copy at 48 kHz gives the beats of the copy at 22.05 kHz within 5 ms."""
    heard = []
    for rate_hz in (RATE_HZ, 48000):
        path = tmp_path / f"{rate_hz}.wav"
        soundfile.write(path, make_song("4*12", rate_hz=rate_hz).samples, rate_hz)
        audio = decode(path)
        heard.append(track(audio, extract_features(audio)))

    assert heard[0].beat_times_s == pytest.approx(heard[1].beat_times_s, abs=0.005)
    assert heard[0].positions.tolist() == heard[1].positions.tolist()


def test_alternatives_carry_their_corrections(plain) -> None:
    """Other readings come with the correction that selects them, the likeliest first."""
    _, heard = plain
    known = {
        "one": [Correction(shift_one_beats=n) for n in (1, 2, 3)],
        "half": [Correction(level=0.5)],
        "double": [Correction(level=2.0)],
        "meter": [Correction(meter=3)],
    }

    chances = [a.probability for a in heard.alternatives]

    assert all(a.correction in known[a.kind] for a in heard.alternatives)
    assert chances == sorted(chances, reverse=True)
    assert all(0 <= p <= 1 for p in chances)


def test_a_clear_song_is_called_sure(plain) -> None:
    """Probabilities are high where all is plain."""
    confidence = plain[1].confidence

    assert min(confidence.beats, confidence.meter) > 0.8
    assert 0 < confidence.downbeat <= confidence.beats


# ------------------------------------------------------------------ no pulse


def unsteady(kind: str) -> np.ndarray:
    """Half a minute of something without a beat."""
    rng = np.random.default_rng(3)
    samples = np.zeros(30 * RATE_HZ, dtype=np.float32)
    if kind == "noise":
        samples += 0.1 * rng.standard_normal(samples.size)
    elif kind == "tone":
        samples += 0.3 * np.sin(2 * np.pi * 220 * np.arange(samples.size) / RATE_HZ)
    elif kind == "hits at random":
        for at in np.cumsum(rng.exponential(0.4, size=60)):
            first = int(at * RATE_HZ)
            hit = 0.3 * rng.standard_normal(2000) * np.exp(-np.arange(2000) / 400)
            samples[first : first + 2000] += hit[: max(0, samples.size - first)]
    elif kind == "rain":
        for first in rng.integers(0, samples.size - 2000, size=80 * 30):
            drop = rng.standard_normal(2000) * np.exp(-np.arange(2000) / 200)
            samples[first : first + 2000] += 0.02 * rng.lognormal() * drop
    elif kind == "syllables":
        at_s = 0.0
        while at_s < 29:  # voiced, 0.1 to 0.3 s, with a gliding pitch; a breath now and then
            t = np.arange(int(rng.uniform(0.1, 0.3) * RATE_HZ)) / RATE_HZ
            phase = 2 * np.pi * np.cumsum(rng.uniform(90, 180) * (1 - 0.5 * t)) / RATE_HZ
            voiced = sum(np.sin(k * phase) / k for k in range(1, 20))
            first = int(at_s * RATE_HZ)
            samples[first : first + t.size] += 0.2 * np.hanning(t.size) * voiced
            at_s += t[-1] + (rng.uniform(0.2, 1.0) if rng.random() < 0.15 else 0.02)
    return samples


@pytest.mark.parametrize(
    "kind", ["silence", "noise", "tone", "hits at random", "rain", "syllables"]
)
@pytest.mark.parametrize("model", [HandmadeModel(), LearnedModel()], ids=lambda m: m.name)
def test_no_pulse_is_invented(kind: str, model: ObservationModel) -> None:
    """Where nothing is steady there is an error that says what was heard and what to do."""
    with pytest.raises(NoPulseError, match=r"^no steady beat found; .*(choose|check)") as caught:
        hear(unsteady(kind), model)
    # Programs decide by the reason whether insisting may help.
    assert caught.value.reason is (Reason.SILENT if kind == "silence" else Reason.NO_STEADY_BEAT)


VERSE = (
    "The river carries down the night, a boat without a sail or light. The miller hears it"
    " passing by, and lifts a candle to the sky. And what it brought and what it took, he never"
    " wrote in any book. The willow bends above the stream, and all the village goes to dream."
)


@pytest.mark.skipif(shutil.which("espeak-ng") is None, reason="needs eSpeak NG")
@pytest.mark.parametrize(("voice", "pace"), [("en", 220), ("de+f2", 220), ("es", 190)])
@pytest.mark.parametrize("model", [HandmadeModel(), LearnedModel()], ids=lambda m: m.name)
def test_a_verse_gets_no_trusted_map(voice: str, pace: int, model: ObservationModel) -> None:
    """A verse has a meter, but no steady beat, however often it is read."""
    once = np.append(said(VERSE, voice, pace), np.zeros(9000))
    try:
        heard = hear(np.tile(once, 3).astype(np.float32)[: 50 * RATE_HZ], model)
    except NoPulseError as exc:
        assert "speech, noise or free playing" in str(exc)
    else:
        assert heard.confidence.hardly_steady


@pytest.mark.parametrize("kind", ["noise", "syllables", "hits at random"])
@pytest.mark.parametrize("model", [HandmadeModel(), LearnedModel()], ids=lambda m: m.name)
def test_whoever_insists_gets_a_map_with_a_doubt(kind: str, model: ObservationModel) -> None:
    """What is refused gets a map all the same, but never one that looks trustworthy."""
    heard = hear(unsteady(kind), model, anyway=True)

    assert len(heard.beat_times_s) >= 8
    assert heard.confidence.hardly_steady


@pytest.mark.parametrize("pitches_hz", [(50,), (220, 277, 330)], ids=["hum", "held chord"])
def test_what_has_no_beat_of_itself_is_not_called_steady_for_being_insisted_on(
    pitches_hz: tuple[int, ...],
) -> None:
    """Beats laid evenly over a sound without onsets look steadier than any band's."""
    times_s = np.arange(40 * RATE_HZ) / RATE_HZ
    held = np.mean([np.sin(2 * np.pi * pitch * times_s) for pitch in pitches_hz], axis=0)

    heard = hear(held.astype(np.float32), LearnedModel(), anyway=True)

    assert heard.confidence.hardly_steady
    assert heard.confidence.pulse <= 0.15


def test_silence_has_no_map_however_one_insists() -> None:
    """Where nothing sounds there is nothing to lay beats on."""
    with pytest.raises(NoPulseError, match="silent"):
        hear(unsteady("silence"), anyway=True)


@pytest.mark.parametrize("looseness_s", [0.006, 0.012, 0.018])
def test_people_are_not_refused_for_being_people(looseness_s: float) -> None:
    """Hits one to three percent of a beat beside it are a band without a click."""
    song = make_song("4*8", bpm=96, looseness_s=looseness_s)
    heard = hear(song.samples, LearnedModel())

    assert f_measures(song, heard)[0] > 0.9
    assert not heard.confidence.hardly_steady


def said(text: str, voice: str, words_a_minute: int) -> np.ndarray:
    """Let eSpeak NG read a text, at our rate (which is also its own)."""
    command = ["espeak-ng", "--stdout", "-v", voice, "-s", str(words_a_minute), text]
    wav = subprocess.run(command, capture_output=True, check=True).stdout
    body = wav[wav.index(b"data") + 8 :]  # the sizes in a streamed header mean nothing
    return np.frombuffer(body[: len(body) // 2 * 2], dtype="<i2") / 32768.0


@pytest.mark.parametrize("model", [HandmadeModel(), LearnedModel()], ids=lambda m: m.name)
def test_a_song_under_speech_keeps_its_beat(model: ObservationModel) -> None:
    """Somebody talking over the music does not take its beat away."""
    song = make_song("4*16", bpm=112)
    talk = unsteady("syllables")[: song.samples.size]
    samples = song.samples.copy()
    samples[: talk.size] += 0.5 * talk
    assert hear(samples, model).tempo_bpm == pytest.approx(112, rel=0.01)


def test_too_short_for_a_beat() -> None:
    """Three seconds are no song."""
    with pytest.raises(NoPulseError, match="too short"):
        hear(make_song("4*8").samples[: 3 * RATE_HZ])
