"""Decoding: every format, rate and channel layout; and every kind of broken file."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

from phrasefit.audio import SAMPLE_RATE_HZ
from phrasefit.audio.decode import REFERENCE_DB, decode
from phrasefit.audio.features import extract_features
from phrasefit.errors import AudioError
from phrasefit.model import Audio
from sound_files import write_song
from synth import make_song

RATE_HZ = 44100


def sine(hz: float = 440.0, length_s: float = 1.0, rate_hz: int = RATE_HZ) -> np.ndarray:
    """A tone at half scale."""
    return 0.5 * np.sin(2 * np.pi * hz * np.arange(int(length_s * rate_hz)) / rate_hz)


def strongest_hz(samples: np.ndarray) -> float:
    """Frequency of the highest peak of the spectrum."""
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(len(samples))))
    return float(spectrum.argmax() * SAMPLE_RATE_HZ / len(samples))


@pytest.mark.parametrize(
    ("suffix", "subtype"),
    [
        ("wav", "PCM_16"),
        ("wav", "PCM_24"),
        ("wav", "PCM_32"),
        ("wav", "PCM_U8"),
        ("wav", "FLOAT"),
        ("wav", "DOUBLE"),
        ("aiff", "PCM_16"),
        ("flac", "PCM_16"),
        ("flac", "PCM_24"),
        ("ogg", "VORBIS"),
        ("ogg", "OPUS"),
        ("mp3", "MPEG_LAYER_III"),
    ],
)
def test_every_format_of_soundfile(tmp_path: Path, suffix: str, subtype: str) -> None:
    """The tone comes out at its pitch and length, at the one loudness."""
    path = tmp_path / f"tone.{suffix}"
    rate_hz = 48000 if subtype == "OPUS" else RATE_HZ
    soundfile.write(path, sine(rate_hz=rate_hz), rate_hz, subtype=subtype)

    audio = decode(path)

    assert audio.sample_rate_hz == SAMPLE_RATE_HZ
    assert strongest_hz(audio.samples) == pytest.approx(440, abs=2)
    assert np.sqrt(np.mean(audio.samples**2)) == pytest.approx(10 ** (REFERENCE_DB / 20), rel=0.05)
    assert audio.info.duration_s == pytest.approx(1.0, abs=0.06)


def test_aac_in_mp4_told_by_content(tmp_path: Path) -> None:
    """AAC is read though its suffix says MP3, tags included."""
    path = write_song(tmp_path / "tone.mp3", "m4a", sine(), RATE_HZ, title="A tone")

    audio = decode(path)

    assert strongest_hz(audio.samples) == pytest.approx(440, abs=2)
    assert audio.info.title == "A tone"
    assert audio.info.codec == "AAC"


@pytest.mark.parametrize("rate_hz", [8000, 11025, 22050, 32000, 48000, 96000, 192000])
def test_every_rate(tmp_path: Path, rate_hz: int) -> None:
    """The same tone and length come out at our rate."""
    path = tmp_path / "tone.wav"
    soundfile.write(path, sine(rate_hz=rate_hz), rate_hz)

    audio = decode(path)

    assert strongest_hz(audio.samples) == pytest.approx(440, abs=2)
    assert audio.samples.size == pytest.approx(SAMPLE_RATE_HZ, abs=3)


@pytest.mark.parametrize("n_channels", [1, 2, 3, 6, 8])
def test_channels_are_averaged(tmp_path: Path, n_channels: int) -> None:
    """The tones of all channels are there, equally strong."""
    path = tmp_path / "tones.wav"
    tones_hz = [300 + 200 * i for i in range(n_channels)]
    soundfile.write(path, np.stack([sine(hz) for hz in tones_hz], axis=1), RATE_HZ)

    audio = decode(path)

    spectrum = np.abs(np.fft.rfft(audio.samples * np.hanning(audio.samples.size)))
    heights = spectrum[np.multiply(tones_hz, audio.samples.size) // SAMPLE_RATE_HZ]
    assert heights == pytest.approx(heights[0], rel=0.05)
    assert heights[0] > 0.5 * spectrum.max()
    assert audio.info.n_channels == n_channels


def test_opposite_channels_do_not_cancel(tmp_path: Path) -> None:
    """Where one channel is the other turned over, only the louder one is used."""
    path = tmp_path / "tone.wav"
    left = sine(440) + 0.1 * sine(1000)
    soundfile.write(path, np.stack([left, 0.1 * sine(1000) - 0.98 * sine(440)], axis=1), RATE_HZ)

    samples = decode(path).samples

    alone = tmp_path / "left.wav"
    soundfile.write(alone, left, RATE_HZ)
    assert np.abs(samples - decode(alone).samples).max() < 1e-3


def test_samples_cannot_be_altered_and_are_there_once(tmp_path: Path) -> None:
    """Half an hour of samples is 160 MB: nobody needs a copy of what nobody can change."""
    soundfile.write(tmp_path / "a.wav", np.zeros(SAMPLE_RATE_HZ), SAMPLE_RATE_HZ)
    audio = decode(tmp_path / "a.wav")

    assert not audio.samples.flags.writeable
    assert replace(audio, info=audio.info).samples is audio.samples


def decode_float(folder: Path, samples: np.ndarray) -> Audio:
    """Write samples unrounded, and read them."""
    soundfile.write(folder / "float.wav", samples, SAMPLE_RATE_HZ, subtype="FLOAT")
    return decode(folder / "float.wav")


def test_every_song_is_equally_loud(tmp_path: Path) -> None:
    """How loud a file was mastered changes nothing but the rounding of its samples."""
    song = make_song("4*4").samples
    plain, *scaled = (
        decode_float(tmp_path, 10 ** (gain_db / 20) * song)
        for gain_db in (0, -40, -20, -10, 10, 20)
    )

    expected = extract_features(plain)
    for audio in scaled:
        assert np.abs(audio.samples - plain.samples).max() < 1e-6
        found = extract_features(audio)
        for name in ("log_mel", "onset_envelope", "chroma", "loudness_db"):
            error = np.abs(getattr(found, name) - getattr(expected, name)).max()
            assert error < 1e-3, name


def test_a_silent_lead_does_not_make_a_song_louder(tmp_path: Path) -> None:
    """Loudness is that of the music: what is added before it does not count."""
    song = make_song("4*8").samples
    plain, late = (
        np.abs(decode_float(tmp_path, np.pad(song, (lead_s * SAMPLE_RATE_HZ, 0))).samples).max()
        for lead_s in (0, 20)
    )

    assert 20 * np.log10(late / plain) == pytest.approx(0, abs=0.5)


@pytest.mark.parametrize("level", [0.0, 1e-4])
def test_silence_and_hiss_are_not_lifted(tmp_path: Path, level: float) -> None:
    """What is 80 dB under full scale all through is no music that was recorded quietly."""
    hiss = level * np.random.default_rng(0).standard_normal(5 * SAMPLE_RATE_HZ)

    assert np.array_equal(decode_float(tmp_path, hiss).samples, hiss.astype(np.float32))


def test_same_song_however_it_is_named_or_tagged(tmp_path: Path) -> None:
    """The content hash looks at the sound alone."""
    plain, tagged = tmp_path / "a.flac", tmp_path / "b.flac"
    soundfile.write(plain, sine(), RATE_HZ)
    with soundfile.SoundFile(tagged, "w", RATE_HZ, 1) as file:
        file.title = "Something else"
        file.write(sine())

    hashes = [decode(path).info.content_hash for path in (plain, tagged)]

    assert hashes[0] == hashes[1]
    assert decode(tagged).info.title == "Something else"


def test_another_song_has_another_hash(tmp_path: Path) -> None:
    """A tone a little higher is another song."""
    for name, hz in (("a", 440), ("b", 441)):
        soundfile.write(tmp_path / f"{name}.wav", sine(hz), RATE_HZ)

    hashes = {decode(tmp_path / f"{name}.wav").info.content_hash for name in "ab"}

    assert len(hashes) == 2


# ------------------------------------------------------------- broken files


BAD_KINDS = (
    *("missing", "folder", "empty", "text", "random", "picture"),
    *("header-only", "cut-off", "no-samples"),
)


def bad_file(folder: Path, kind: str) -> Path:
    """Make a file that cannot be read as a song."""
    path = folder / "song.wav"
    soundfile.write(path, sine(length_s=3.0), RATE_HZ)
    whole = path.read_bytes()
    if kind == "missing":
        path.unlink()
    elif kind == "folder":
        path.unlink()
        path.mkdir()
    elif kind == "empty":
        path.write_bytes(b"")
    elif kind == "text":
        path.write_text("this is no song " * 100)
    elif kind == "random":
        path.write_bytes(np.random.default_rng(0).bytes(50_000))
    elif kind == "picture":
        path.write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(5000))
    elif kind == "header-only":
        path.write_bytes(whole[:44])
    elif kind == "cut-off":
        path.write_bytes(whole[: len(whole) // 3])
    elif kind == "no-samples":
        soundfile.write(path, np.zeros(0), RATE_HZ)
    return path


@pytest.mark.parametrize("kind", BAD_KINDS)
def test_bad_files_are_named_with_what_to_do(tmp_path: Path, kind: str) -> None:
    """One line: the file, what is wrong, what to do."""
    path = bad_file(tmp_path, kind)

    with pytest.raises(AudioError) as caught:
        decode(path)

    message = str(caught.value)
    assert message.startswith(f"{path}: ")
    assert ";" in message and "\n" not in message and not message.endswith(".")


@pytest.mark.parametrize("suffix", ["flac", "mp3"])
def test_cut_off_files_of_other_formats(tmp_path: Path, suffix: str) -> None:
    """A third of a file is no song, where its header tells."""
    path = tmp_path / f"song.{suffix}"
    soundfile.write(path, make_song("4*8").samples, SAMPLE_RATE_HZ)
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 3])

    with pytest.raises(AudioError, match=r"cut off|damaged|cannot be read"):
        decode(path)


@pytest.mark.parametrize("value", [np.nan, np.inf])
def test_samples_that_are_no_numbers(tmp_path: Path, value: float) -> None:
    """The place is named."""
    samples = sine(length_s=5.0)
    samples[4 * RATE_HZ] = value
    path = tmp_path / "song.wav"
    soundfile.write(path, samples, RATE_HZ, subtype="FLOAT")

    with pytest.raises(AudioError, match=r"not numbers near \d"):
        decode(path)


def test_out_of_range(tmp_path: Path) -> None:
    """Rates and channels that are no music are refused with the range."""
    slow, wide = tmp_path / "slow.wav", tmp_path / "wide.wav"
    soundfile.write(slow, sine(rate_hz=4000), 4000)
    soundfile.write(wide, np.tile(sine()[:, None], (1, 9)), RATE_HZ)

    with pytest.raises(AudioError, match="8000-192000"):
        decode(slow)
    with pytest.raises(AudioError, match="up to 8"):
        decode(wide)
