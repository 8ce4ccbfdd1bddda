"""Reading song files: every kind, and every way in which one can be broken."""

from __future__ import annotations

import io
import os
from pathlib import Path

import numpy as np
import pytest
import soundfile

from phrasefit.audio import SAMPLE_RATE_HZ
from phrasefit.audio.decode import decode
from phrasefit.errors import AudioError

SECONDS = 3


def tone(rate: int = 44100, n_channels: int = 1) -> np.ndarray:
    """Make three seconds of a swelling tone on all channels."""
    t = np.arange(SECONDS * rate) / rate
    mono = (0.4 * np.sin(2 * np.pi * 440 * t) * (0.2 + t / SECONDS)).astype(np.float32)
    return np.repeat(mono[:, None], n_channels, axis=1)


def written(path: Path, samples: np.ndarray, rate: int = 44100, subtype: str = "PCM_16") -> Path:
    """Write a WAV file."""
    soundfile.write(path, samples, rate, subtype=subtype, format="WAV")
    return path


def coded(container: str, subtype: str) -> bytes:
    """Encode the tone in a lossy or packed format."""
    out = io.BytesIO()
    soundfile.write(out, tone(), 44100, format=container, subtype=subtype)
    return out.getvalue()


CODED = [("FLAC", "PCM_16"), ("OGG", "VORBIS"), ("MP3", "MPEG_LAYER_III")]


@pytest.mark.parametrize("rate", [8000, 11025, 48000, 96000, 192_000])
def test_every_rate_becomes_ours(tmp_path: Path, rate: int) -> None:
    """Length and loudness stay, whatever the rate was."""
    audio = decode(written(tmp_path / "a.wav", tone(rate), rate))

    assert audio.sample_rate_hz == SAMPLE_RATE_HZ
    assert audio.samples.size / SAMPLE_RATE_HZ == pytest.approx(SECONDS, abs=0.01)
    assert np.std(audio.samples) == pytest.approx(np.std(tone()), rel=0.01)


@pytest.mark.parametrize("n_channels", range(1, 9))
def test_every_number_of_channels(tmp_path: Path, n_channels: int) -> None:
    """Channels are averaged."""
    audio = decode(written(tmp_path / "a.wav", tone(n_channels=n_channels)))

    assert audio.info.n_channels == n_channels
    assert np.std(audio.samples) == pytest.approx(np.std(tone()), rel=0.01)


@pytest.mark.parametrize("subtype", ["PCM_U8", "PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE"])
def test_every_sample_format(tmp_path: Path, subtype: str) -> None:
    """What is heard does not depend on how samples are stored."""
    audio = decode(written(tmp_path / "a.wav", tone(), subtype=subtype))

    assert np.std(audio.samples) == pytest.approx(np.std(tone()), rel=0.02)


@pytest.mark.parametrize("factor", [-1.0, -0.9])
def test_channels_in_opposite_phase_do_not_vanish(tmp_path: Path, factor: float) -> None:
    """A stereo file whose channels cancel is heard through its loudest channel."""
    stereo = np.concatenate([tone(), factor * tone()], axis=1)

    audio = decode(written(tmp_path / "a.wav", stereo))

    assert np.std(audio.samples) == pytest.approx(np.std(tone()), rel=0.02)


@pytest.mark.parametrize(("container", "subtype"), CODED)
def test_the_content_tells_the_kind(tmp_path: Path, container: str, subtype: str) -> None:
    """A wrong suffix does not matter."""
    path = tmp_path / "song.raw"
    path.write_bytes(coded(container, subtype))

    assert decode(path).info.duration_s == pytest.approx(SECONDS, abs=0.06)


@pytest.mark.parametrize(("container", "subtype"), [*CODED, ("WAV", "PCM_16")])
def test_a_file_cut_half_way_is_refused_as_such(
    tmp_path: Path, container: str, subtype: str, capfd: pytest.CaptureFixture[str]
) -> None:
    """The message says after how many seconds; no library talks in between."""
    whole = coded(container, subtype)
    path = tmp_path / "cut.bin"
    path.write_bytes(whole[: len(whole) // 2])

    with pytest.raises(AudioError, match=r"cut\.bin: is (cut off|damaged).*\d\.\d s.*again"):
        decode(path)
    assert capfd.readouterr().err == ""


@pytest.mark.parametrize(("container", "subtype"), [*CODED, ("WAV", "PCM_16")])
@pytest.mark.parametrize("n_bytes", [1, 20, 100])
def test_a_file_cut_in_its_header_is_refused(
    tmp_path: Path, container: str, subtype: str, n_bytes: int
) -> None:
    """However little is left, the message names the file."""
    path = tmp_path / "cut.bin"
    path.write_bytes(coded(container, subtype)[:n_bytes])

    with pytest.raises(AudioError, match=r"cut\.bin: "):
        decode(path)


@pytest.mark.parametrize("wrong", [np.nan, np.inf, -np.inf])
def test_samples_that_are_no_numbers_are_refused(tmp_path: Path, wrong: float) -> None:
    """The message says where they are."""
    samples = tone()
    samples[44100] = wrong

    with pytest.raises(AudioError, match="not numbers near"):
        decode(written(tmp_path / "a.wav", samples, subtype="FLOAT"))


def test_absurdly_loud_samples_are_scaled(tmp_path: Path) -> None:
    """Float files may hold anything; no overflow is passed on."""
    audio = decode(written(tmp_path / "a.wav", 1e30 * tone(), subtype="FLOAT"))

    assert np.max(np.abs(audio.samples)) == pytest.approx(1.0)


@pytest.mark.parametrize(("rate", "n_channels"), [(4000, 1), (384_000, 1), (44100, 9)])
def test_what_no_song_has_is_refused(tmp_path: Path, rate: int, n_channels: int) -> None:
    """Rates and channels out of range are named, with what to do."""
    with pytest.raises(AudioError, match="export it"):
        decode(written(tmp_path / "a.wav", tone(rate, n_channels), rate))


def test_things_that_are_no_files_are_refused(tmp_path: Path) -> None:
    """Folders, pipes, loops of links and names in no known letters; none may hang."""
    os.mkfifo(tmp_path / "pipe.wav")
    (tmp_path / "loop.wav").symlink_to("loop.wav")
    (tmp_path / "empty.wav").touch()
    latin = Path(os.fsdecode(os.fsencode(tmp_path) + b"/lat\xe9in.wav"))

    for path, reason in [
        (tmp_path, "is a folder"),
        (tmp_path / "pipe.wav", "save the song to disk"),
        (tmp_path / "loop.wav", "cannot be opened"),
        (tmp_path / "empty.wav", "0 bytes"),
        (tmp_path / "gone.wav", "no such file"),
        (latin, "rename it"),
    ]:
        with pytest.raises(AudioError, match=reason):
            decode(path)


def test_bare_aac_is_not_taken_for_cut_off(tmp_path: Path) -> None:
    """AAC without a container declares no length, so none can be missing."""
    av = pytest.importorskip("av")
    path = tmp_path / "song.aac"
    with av.open(str(path), "w", format="adts") as out:
        stream = out.add_stream("aac", rate=44100, layout="mono")
        # Loud, then silent: the bit rate at the start promises a wrong length.
        samples = np.concatenate([tone()[:, 0], np.zeros(6 * 44100, np.float32)])
        for start in range(0, samples.size, 1024):
            block = samples[None, start : start + 1024]
            frame = av.AudioFrame.from_ndarray(block, format="fltp", layout="mono")
            frame.sample_rate = 44100
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))

    assert decode(path).info.duration_s == pytest.approx(SECONDS + 6, abs=0.1)


def test_the_hash_is_of_the_sound(tmp_path: Path) -> None:
    """A renamed file is the same song, another sound is not."""
    one = decode(written(tmp_path / "a.wav", tone()))
    same = decode(written(tmp_path / "b.wav", tone()))
    other = decode(written(tmp_path / "c.wav", 0.9 * tone()))

    assert one.info.content_hash == same.info.content_hash != other.info.content_hash
