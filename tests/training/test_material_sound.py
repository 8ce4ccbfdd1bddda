"""Sounds for training: effects keep onsets in place, voices sing what is written, kits hit."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
import pytest

from phrasefit.errors import ParameterError
from phrasefit.training import source_fonts
from phrasefit.training.effects import (
    active_rms,
    bed,
    code,
    compress,
    compress_bands,
    double,
    limit,
    narrow,
    random_curve,
    reverberate,
    room_tail,
    saturate,
    weigh_spectrum,
)
from phrasefit.training.kits import KIT_RATE_HZ, play_kit, read_kit, write_kit
from phrasefit.training.mixing import LEVEL_DB, draw_desk, master, mix
from phrasefit.training.palette import in_time
from phrasefit.training.performance import Played
from phrasefit.training.score import ROLES, NoteList
from phrasefit.training.voices import FORMANTS, Singer, sing

RATE_HZ = 22050


def clicks(*places: int, n: int = 4 * RATE_HZ) -> np.ndarray:
    """Short bursts of falling noise at sample numbers."""
    sound = np.zeros(n, dtype=np.float32)
    burst = np.random.default_rng(0).standard_normal(600) * np.exp(-np.arange(600) / 80)
    for place in places:
        sound[place : place + 600] += burst.astype(np.float32)
    return sound


def first_rise(sound: np.ndarray) -> int:
    """First sample louder than a fifth of the peak."""
    return int(np.argmax(np.abs(sound) > 0.2 * np.abs(sound).max()))


def played(
    starts: list[float], pitches: list[float], role: str = "voice", long_s: float = 0.8
) -> Played:
    """A played part."""
    notes = NoteList()
    for start, pitch in zip(starts, pitches, strict=True):
        notes.add(start, long_s, pitch, 0.9)
    part = notes.part(role)
    return Played(
        part=part, starts_s=part.onsets, ends_s=part.onsets + part.lengths, pitches=part.pitches,
        velocities=part.velocities,
    )  # fmt: skip


# ------------------------------------------------------------ effects

EFFECTS = {
    "equalizer": lambda rng, x: weigh_spectrum(x, *random_curve(rng, 5.0), RATE_HZ),
    "compressor": lambda rng, x: compress(x, -3.0, 4.0, 0.1, RATE_HZ),
    "bands": lambda rng, x: compress_bands(rng, x, RATE_HZ),
    "limiter": lambda rng, x: limit(x, 0.5, 0.1, RATE_HZ),
    "saturation": lambda rng, x: saturate(x, 2.0),
    "double": lambda rng, x: double(rng, x, RATE_HZ),
    "narrow": lambda rng, x: narrow(rng, x, RATE_HZ),
    "mp3": lambda rng, x: code(x, "mp3", 0.7, RATE_HZ),
    "ogg": lambda rng, x: code(x, "ogg", 0.7, RATE_HZ),
    "room": lambda rng, x: x + 0.4 * reverberate(x, room_tail(rng, 1.0, RATE_HZ)),
}


@pytest.mark.parametrize("name", EFFECTS)
@pytest.mark.parametrize("seed", range(3))
def test_effects_leave_onsets_where_they_are(name: str, seed: int) -> None:
    """Energy around a click stays within 2 ms of it, length is kept, nothing blows up."""
    place = RATE_HZ + 137
    sound = clicks(place)

    changed = EFFECTS[name](np.random.default_rng(seed), sound)

    assert changed.shape == sound.shape
    assert np.all(np.isfinite(changed))
    assert abs(first_rise(changed) - first_rise(sound)) <= 0.002 * RATE_HZ


def test_limiter_holds_its_ceiling_and_compressor_evens_out() -> None:
    """Peaks stay under the ceiling; loud and soft stretches come nearer to each other."""
    rng = np.random.default_rng(1)
    sound = rng.standard_normal(RATE_HZ * 2).astype(np.float32)
    sound[RATE_HZ:] *= 0.1
    evened = compress(sound, -6.0, 6.0, 0.05, RATE_HZ)

    assert np.abs(limit(sound, 0.7, 0.1, RATE_HZ)).max() <= 0.7 + 1e-6
    before = active_rms(sound[:RATE_HZ]) / active_rms(sound[RATE_HZ:])
    after = active_rms(evened[:RATE_HZ]) / active_rms(evened[RATE_HZ:])
    assert after < 0.6 * before


def test_equalizer_does_what_its_curve_says() -> None:
    """A tone at 1 kHz under a curve of -12 dB there loses 12 dB."""
    tone = np.sin(2 * np.pi * 1000 * np.arange(RATE_HZ) / RATE_HZ).astype(np.float32)
    points = np.array([20.0, 500, 1000, 2000, 11025])
    cut = weigh_spectrum(tone, points, np.array([0.0, 0, -12, 0, 0]), RATE_HZ)

    middle = slice(RATE_HZ // 4, RATE_HZ // 2)
    change_db = 20 * np.log10(active_rms(cut[middle]) / active_rms(tone[middle]))
    assert change_db == pytest.approx(-12, abs=0.3)


def test_room_fades_by_60_db_in_its_decay_time() -> None:
    """Reverberation time is the time to -60 dB (ISO 3382-2 defines it so)."""
    tail = room_tail(np.random.default_rng(2), 1.0, RATE_HZ)
    frame = RATE_HZ // 20
    n = tail.size // frame
    level_db = 10 * np.log10(np.mean(tail[: n * frame].reshape(n, frame) ** 2, axis=1))
    # The late, dark part decides; the bright part dies earlier.
    slope = np.polyfit(np.arange(n)[n // 2 :] * 0.05, level_db[n // 2 :], 1)[0]

    assert slope == pytest.approx(-60, abs=6)


def test_bed_is_quiet() -> None:
    """The noise bed lies at least 20 dB under the music."""
    sound = np.random.default_rng(0).standard_normal(RATE_HZ).astype(np.float32)
    noise = bed(np.random.default_rng(1), sound, RATE_HZ) - sound

    assert 20 * np.log10(active_rms(noise) / active_rms(sound)) < -20


# ------------------------------------------------------------ mixing


def test_every_role_has_a_level() -> None:
    """No role is forgotten at the desk."""
    assert set(LEVEL_DB) == set(ROLES)


@pytest.mark.parametrize("seed", range(4))
def test_mix_and_master_keep_the_beat(seed: int) -> None:
    """Clicks in a mix of two stems still rise where they were; nothing is clipped."""
    rng = np.random.default_rng(seed)
    places = [RATE_HZ // 2 * k for k in range(1, 7)]
    hum = 0.02 * np.sin(2 * np.pi * 220 * np.arange(4 * RATE_HZ) / RATE_HZ).astype(np.float32)
    desk = draw_desk(rng, electronic=False, without=frozenset())
    mixed = mix(rng, desk, [("drums", clicks(*places)), ("pad", hum)], RATE_HZ)
    done = master(rng, desk, mixed, RATE_HZ, frozenset({"noise"}))

    assert 0.05 < np.abs(done).max() <= 1.0
    high = np.abs(np.diff(done, prepend=0))
    for place in places:
        before = high[place - 400 : place - 60].mean()
        assert high[place : place + 340].mean() > 1.5 * before


# ------------------------------------------------------------ voices and kits


def plain_singer(**changes: object) -> Singer:
    """A singer without habits."""
    habits = {
        "size": 1.0, "tilt": 1.0, "breath": 0.0, "vibrato_hz": 5.5, "vibrato_cents": 0.0,
        "glide_s": 0.01, "scoop_cents": 0.0, "consonants": 0.0, "rough": 0.0, "speaks": False,
    }  # fmt: skip
    return Singer(**(habits | changes))


def test_singer_sings_the_written_pitch() -> None:
    """A4 is heard at 440 Hz within a third of a semitone, and silence stays silent."""
    line = played([0.5], [69.0])
    sung = sing(np.random.default_rng(0), line, 2 * RATE_HZ, RATE_HZ, plain_singer())
    steady = sung[int(0.7 * RATE_HZ) : int(1.2 * RATE_HZ)]
    spectrum = np.abs(np.fft.rfft(steady * np.hanning(steady.size), 65536))
    self_similar = np.fft.irfft(spectrum**2)[:400]
    period = 30 + int(np.argmax(self_similar[30:]))

    assert 12 * abs(np.log2(RATE_HZ / period / 440)) < 0.4
    assert np.abs(sung[: int(0.35 * RATE_HZ)]).max() < 0.02


def test_vowels_lie_in_the_published_space() -> None:
    """First formants 270-730 Hz, second 840-2290 Hz: the corners of Peterson and Barney."""
    assert FORMANTS[:, 0].min() == 270 and FORMANTS[:, 0].max() == 730
    assert FORMANTS[:, 1].min() == 840 and FORMANTS[:, 1].max() == 2290


def test_swelling_sounds_are_started_early() -> None:
    """A pad that takes 80 ms to rise is moved so that it rises near its notes."""
    starts = [0.5, 1.5, 2.5]
    n = int(0.08 * RATE_HZ)
    sound = np.zeros(4 * RATE_HZ, dtype=np.float32)
    for start in starts:
        at = int(start * RATE_HZ)
        shape = np.minimum(np.arange(int(0.8 * RATE_HZ)) / n, 1.0)
        sound[at : at + shape.size] = shape * np.sin(np.arange(shape.size) * 0.2)
    moved = in_time(np.random.default_rng(0), sound, played(starts, [60] * 3), 48, RATE_HZ)
    kept = in_time(np.random.default_rng(0), sound, played(starts, [60] * 3), 0, RATE_HZ)

    assert 0.015 * RATE_HZ < first_rise(sound) - first_rise(moved) < 0.05 * RATE_HZ
    assert kept is sound


def test_kits_travel_and_hit_on_time(tmp_path: Path) -> None:
    """A stored stroke lands on its sample; a missing drum borrows its relative."""
    stroke = np.exp(-np.arange(2000) / 300).astype(np.float32) * 0.9
    write_kit(tmp_path / "k.npz", {36: [stroke * 0.5, stroke], 38: [stroke]})
    kit = read_kit(tmp_path / "k.npz")
    hits = play_kit(
        np.random.default_rng(0), kit, played([0.25, 1.0], [36, 40], "drums"), 2 * RATE_HZ, RATE_HZ
    )

    assert KIT_RATE_HZ == RATE_HZ and len(kit.strokes[36]) == 2
    assert np.flatnonzero(hits)[0] == round(0.25 * RATE_HZ)
    assert hits[RATE_HZ] > 0.1
    assert kit.find(49) is None


# ------------------------------------------------------------ soundfonts


def tiny_font() -> dict[str, bytes]:
    """Chunks of a soundfont with one preset, one instrument, two samples (one unused)."""
    wave = (8000 * np.sin(np.arange(4000) * 2 * np.pi / 100)).astype("<i2")
    samples = np.zeros(3, source_fonts.SAMPLE)
    samples[0] = (b"used", 0, 2000, 200, 1800, 44100, 60, 0, 0, 1)
    samples[1] = (b"other", 2000, 4000, 2200, 3800, 44100, 60, 0, 0, 1)
    presets = np.zeros(2, source_fonts.PRESET)
    presets["bag"] = [0, 1]
    instruments = np.zeros(2, source_fonts.INSTRUMENT)
    instruments["bag"] = [0, 1]
    bags = np.array([(0, 0), (1, 0)], source_fonts.BAG)
    tables = {
        "phdr": presets, "pbag": bags, "pmod": np.zeros(10, "u1"),
        "pgen": np.array([(source_fonts.INSTRUMENT_OPER, 0), (0, 0)], source_fonts.GENERATOR),
        "inst": instruments, "ibag": bags, "imod": np.zeros(10, "u1"),
        "igen": np.array([(source_fonts.SAMPLE_OPER, 0), (0, 0)], source_fonts.GENERATOR),
        "shdr": samples,
    }  # fmt: skip
    head = {"ifil": struct.pack("<HH", 2, 1), "isng": b"EMU8000\0", "INAM": b"tiny\0\0"}
    return head | {"smpl": wave.tobytes()} | {name: t.tobytes() for name, t in tables.items()}


def test_fonts_are_taken_apart_and_put_together(tmp_path: Path) -> None:
    """Chunks survive a round trip; only the sample a preset reaches is used."""
    chunks = tiny_font()
    path = tmp_path / "tiny.sf2"
    path.write_bytes(source_fonts._join(chunks))

    assert source_fonts._read_chunks(path) == chunks
    assert source_fonts._used_samples(chunks) == ({0}, set())


def test_halved_samples_keep_their_loops() -> None:
    """At half the rate a loop of 16 periods of 100 samples is 16 periods of 50."""
    chunks = tiny_font()
    wave = np.frombuffer(chunks["smpl"], "<i2")
    row = np.frombuffer(chunks["shdr"], source_fonts.SAMPLE)[0]
    small, (first, last, halved) = source_fonts._shrink(wave, row, keep=True, fixed=False)

    assert halved and (first, last) == (100, 900)
    period = small[first : first + 50].astype(int)
    np.testing.assert_allclose(small[first + 50 : first + 100], period, atol=40)


def test_font_plays_through_tinysoundfont(tmp_path: Path) -> None:
    """The joined file sounds in an independent synthesizer."""
    synth = pytest.importorskip("tinysoundfont._tinysoundfont")
    path = tmp_path / "tiny.sf2"
    path.write_bytes(source_fonts._join(tiny_font()))
    font = synth.SoundFont(str(path))
    font.set_output(synth.OutputMode.Mono, RATE_HZ, 0.0)
    font.channel_set_preset_number(0, 0, False)
    font.channel_note_on(0, 60, 1.0)
    out = np.zeros(2000, dtype=np.float32)
    font.render(memoryview(out).cast("B"), False)

    assert np.abs(out).max() > 0.05


def test_other_files_are_no_fonts(tmp_path: Path) -> None:
    """Something else is refused by name."""
    (tmp_path / "x.sf2").write_bytes(b"RIFFxxxxWAVE")
    with pytest.raises(ParameterError, match=r"x\.sf2: is no soundfont"):
        source_fonts.reduce_font(tmp_path / "x.sf2", tmp_path / "y.sf3")
