"""How much of a file is heard: to the end of its data, and never less without a word."""

from __future__ import annotations

import functools
import io
import re
import subprocess
import sys
import tempfile
import tracemalloc
from itertools import product
from pathlib import Path

import av
import numpy as np
import pytest

from phrasefit.audio import SAMPLE_RATE_HZ, streams
from phrasefit.audio.containers import ogg_links
from phrasefit.audio.decode import decode
from phrasefit.clock import clock_time
from phrasefit.errors import AudioError
from sound_files import (
    ALL_ENDINGS,
    ogg_checksum,
    ogg_pages,
    rate_for,
    without_end_mark,
    without_total,
    write_song,
)
from synth import make_song

RATE_HZ = 44_100
OGG_ENDINGS = ("ogg", "opus", "flac.ogg")
# Their headers tell of a cut, and they can be read up to it.
STATE_A_LENGTH = sorted(set(ALL_ENDINGS) - {"bare.mp3", "aac", "late.m4a", *OGG_ENDINGS})
CUTS_IN_A_PAGE = (0, 3, 20, 40, -1)  # at its edge, in its mark, in its head, in its body


def song(length_s: float, rate_hz: int = RATE_HZ, n_channels: int = 1) -> np.ndarray:
    """Near silence, then noise: with a variable bit rate its first half is far smaller."""
    rng = np.random.default_rng(0)
    samples = 0.1 * rng.standard_normal(round(length_s * rate_hz))
    samples[: len(samples) // 2] *= 1e-3
    return samples if n_channels == 1 else np.stack([samples] * n_channels, axis=1)


@functools.cache
def bytes_of(ending: str, length_s: float, rate_hz: int, n_channels: int) -> bytes:
    """Encode `song` once for all tests."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"made.{ending}"
        return write_song(path, ending, song(length_s, rate_hz, n_channels), rate_hz).read_bytes()


def encoded(folder: Path, ending: str, length_s: float, **kind: int) -> bytes:
    """Give the bytes of `song`, encoded, and leave them in the folder as a file."""
    rate_hz, n_channels = kind.get("rate_hz", rate_for(ending)), kind.get("n_channels", 1)
    whole = bytes_of(ending, length_s, rate_hz, n_channels)
    (folder / f"made.{ending}").write_bytes(whole)
    return whole


@pytest.mark.parametrize("ending", ALL_ENDINGS)
def test_every_kind_is_heard_whole(tmp_path: Path, ending: str) -> None:
    """Encoders round up to a frame, no more."""
    encoded(tmp_path, ending, 20)

    assert decode(tmp_path / f"made.{ending}").info.duration_s == pytest.approx(20, abs=0.06)


@pytest.mark.parametrize("ending", STATE_A_LENGTH)
def test_a_cut_file_is_heard_as_far_as_it_goes(tmp_path: Path, ending: str) -> None:
    """What is there sounds as in the whole file; how much that is, and of how much, is told."""
    rate_hz = rate_for(ending)
    samples = make_song("4*16", rate_hz=rate_hz).samples
    path = write_song(tmp_path / f"song.{ending}", ending, samples, rate_hz)
    whole, content = decode(path), path.read_bytes()
    for share in (0.5, 0.77, 0.943):
        path.write_bytes(content[: int(share * len(content))])

        audio = decode(path)

        heard_s = audio.info.duration_s
        assert heard_s == pytest.approx(share * whole.info.duration_s, abs=1.0)
        (note,) = audio.info.notes
        told = re.fullmatch(r"the file is cut off, only (\S+) of (\S+) can be heard; .*", note)
        assert told
        assert told[1] == clock_time(heard_s)
        assert float(told[2].removeprefix("0:")) == pytest.approx(whole.info.duration_s, abs=0.15)
        n = len(audio.samples) - 2000  # its last frame may be half there
        heard, expected = audio.samples[:n], whole.samples[:n]
        assert np.corrcoef(expected, heard)[0, 1] > 0.999
        end = slice(-SAMPLE_RATE_HZ, None)
        assert np.corrcoef(expected[end], heard[end])[0, 1] > 0.99


@pytest.mark.parametrize("ending", STATE_A_LENGTH)
def test_of_a_cut_file_hardly_anything_is_refused(tmp_path: Path, ending: str) -> None:
    """How much is there, and of how much, is told all the same."""
    whole = encoded(tmp_path, ending, 20)
    path = tmp_path / f"stump.{ending}"
    at = len(whole) // 3 if "vbr" not in ending and ending != "flac" else len(whole) // 20
    path.write_bytes(whole[:at])

    message = r"is cut off, only 0:0\d\.\d of 0:(19|20)\.\d can be read"
    with pytest.raises(AudioError, match=message):
        decode(path)


def test_a_cut_file_with_its_index_at_the_end_is_refused(tmp_path: Path) -> None:
    """Without it nobody knows where its packets begin."""
    whole = encoded(tmp_path, "late.m4a", 20)
    path = tmp_path / "half.m4a"
    path.write_bytes(whole[: len(whole) // 2])

    message = r"is cut off, only \d\d percent of its bytes are there, and none of it can be read"
    with pytest.raises(AudioError, match=message):
        decode(path)


def test_what_is_cut_is_told_once(tmp_path: Path) -> None:
    """Its last frame is not whole, which is no second thing to say."""
    whole = encoded(tmp_path, "mp3", 40)
    for n_bytes in range(40):
        path = tmp_path / "cut.mp3"
        path.write_bytes(whole[: len(whole) // 2 + 20 * n_bytes])

        assert len(decode(path).info.notes) == 1


def test_a_kind_that_is_heard_early_or_late_says_so(tmp_path: Path) -> None:
    """FFmpeg's decoder and encoder of WMA do not agree on where the music begins."""
    path = write_song(tmp_path / "song.wma", "wma", make_song("4*8").samples, RATE_HZ)

    (note,) = decode(path).info.notes

    assert note.startswith("a file of this kind (WMAV2) may be heard up to 0.05 s early or late")


def test_cut_aac_is_heard_with_a_doubt(tmp_path: Path) -> None:
    """Nothing states how long it was, but its last frame is not whole."""
    whole = encoded(tmp_path, "aac", 20)
    path = tmp_path / "half.aac"
    path.write_bytes(whole[: len(whole) // 2])

    assert any("in the middle of a frame" in note for note in decode(path).info.notes)


@pytest.mark.parametrize(
    ("ending", "second"),
    [
        ("mp3", {}),
        ("mp3", {"rate_hz": 32_000}),
        ("vbr.mp3", {"rate_hz": 48_000, "n_channels": 2}),
        ("bare.mp3", {}),
        ("ogg", {}),
        ("ogg", {"rate_hz": 48_000, "n_channels": 2}),
        ("opus", {}),
        ("opus", {"n_channels": 2}),
    ],
)
def test_joined_files_are_heard_whole(tmp_path: Path, ending: str, second: dict[str, int]) -> None:
    """Whatever the second one's rate and channels are."""
    path = tmp_path / f"joined.{ending}"
    path.write_bytes(encoded(tmp_path, ending, 12) + encoded(tmp_path, ending, 8, **second))

    audio = decode(path)

    assert audio.info.duration_s == pytest.approx(20, abs=0.15)
    assert audio.info.notes == decode(tmp_path / f"made.{ending}").info.notes


def test_flac_from_a_pipe(tmp_path: Path) -> None:
    """A total of 0 samples means that nobody knew."""
    path = tmp_path / "piped.flac"
    path.write_bytes(without_total(encoded(tmp_path, "flac", 20)))

    assert decode(path).info.duration_s == pytest.approx(20)


def test_a_missing_end_mark_alone_is_no_cut(tmp_path: Path) -> None:
    """Some programs never write it: such a file is heard whole, with a doubt."""
    path = tmp_path / "unmarked.ogg"
    path.write_bytes(without_end_mark(encoded(tmp_path, "ogg", 20)))

    info = decode(path).info

    assert info.duration_s == pytest.approx(20, abs=0.05)  # the mark trims the last packet
    assert any("lacks the mark that ends an Ogg file" in note for note in info.notes)


# --------------------------------------------------------------------- cut Ogg files


def ends_s(pages: list[bytes], rate_hz: int) -> float:
    """Where the last of these pages says that its sound ends."""
    places = (int.from_bytes(page[6:14], "little", signed=True) for page in pages)
    return max(places, default=0) / rate_hz


def pages_of_song(pages: list[bytes], rate_hz: int) -> int:
    """How many of the first pages hold enough to be heard."""
    return next(n for n in range(len(pages)) if ends_s(pages[:n], rate_hz) > 11)


@pytest.mark.parametrize("ending", OGG_ENDINGS)
def test_a_cut_ogg_file_is_heard_as_far_as_it_goes(tmp_path: Path, ending: str) -> None:
    """Cut between pages, in the head of one, in its body: its whole pages are heard, and told."""
    pages = ogg_pages(encoded(tmp_path, ending, 20))
    whole = decode(tmp_path / f"made.{ending}").samples
    path = tmp_path / f"cut.{ending}"
    first = pages_of_song(pages, rate_for(ending))
    for n_pages, n_bytes in product(range(first, first + 3), CUTS_IN_A_PAGE):
        path.write_bytes(b"".join(pages[:n_pages]) + pages[n_pages][:n_bytes])

        audio = decode(path)

        heard_s = audio.info.duration_s
        assert heard_s == pytest.approx(ends_s(pages[:n_pages], rate_for(ending)), abs=0.05)
        (note,) = audio.info.notes
        assert "cut off" in note or "lacks the mark" in note
        assert clock_time(heard_s) in note
        n = len(audio.samples) - 2000  # its end may fade
        assert np.corrcoef(whole[:n], audio.samples[:n])[0, 1] > 0.999


@pytest.mark.parametrize("ending", OGG_ENDINGS)
def test_only_an_edge_between_packets_may_be_the_end(tmp_path: Path, ending: str) -> None:
    """A page that is not whole is a sure cut, and so is a packet that goes on after its page."""
    pages = ogg_pages(encoded(tmp_path, ending, 20))
    path = tmp_path / f"cut.{ending}"
    n = pages_of_song(pages, rate_for(ending))
    is_unfinished = pages[n - 1][27 + pages[n - 1][26] - 1] == 255
    assert is_unfinished == (ending == "flac.ogg")

    path.write_bytes(b"".join(pages[:n]))
    (at_edge,) = decode(path).info.notes
    path.write_bytes(b"".join(pages[:n]) + pages[n][:50])
    (in_page,) = decode(path).info.notes

    assert ("cut off" in at_edge) == is_unfinished
    assert "cut off" in in_page


@pytest.mark.parametrize("ending", OGG_ENDINGS)
def test_of_a_cut_ogg_file_hardly_anything_is_no_song(tmp_path: Path, ending: str) -> None:
    """Within its headers, within its first page of sound, after a second or two."""
    pages = ogg_pages(encoded(tmp_path, ending, 20))
    path = tmp_path / f"stump.{ending}"
    for n_pages, n_bytes in ((0, 20), (0, 40), (1, 0), (1, 40), (2, 200), (3, 100)):
        path.write_bytes(b"".join(pages[:n_pages]) + pages[n_pages][:n_bytes])
        with pytest.raises(AudioError, match=r"cut off, (none of it|only its first 0:0\d\.\d) can"):
            decode(path)


@pytest.mark.parametrize("ending", OGG_ENDINGS)
def test_a_joined_part_that_is_cut_costs_only_itself(tmp_path: Path, ending: str) -> None:
    """Also where nothing is there but a piece of its headers."""
    first = encoded(tmp_path, ending, 12)
    pages = ogg_pages(encoded(tmp_path, ending, 15))
    path = tmp_path / f"joined.{ending}"
    for n_pages, n_bytes in ((0, 20), (0, 40), (1, 0), (1, 40), (2, 0), (2, -1), (8, 0), (8, 40)):
        path.write_bytes(first + b"".join(pages[:n_pages]) + pages[n_pages][:n_bytes])

        info = decode(path).info

        second_s = ends_s(pages[:n_pages], rate_for(ending))
        assert info.duration_s == pytest.approx(12 + second_s, abs=0.08)
        (note,) = info.notes
        assert "cut off" in note or "lacks the mark" in note
        assert clock_time(info.duration_s) in note


@pytest.mark.parametrize(
    ("ending", "second"),
    [("ogg", {}), ("ogg", {"rate_hz": 48_000, "n_channels": 2}), ("opus", {}), ("flac.ogg", {})],
)
def test_after_a_cut_part_the_next_is_heard_whole(
    tmp_path: Path, ending: str, second: dict[str, int]
) -> None:
    """Its first page lies where the cut one says that it goes on."""
    pages = ogg_pages(encoded(tmp_path, ending, 20))
    first_s = ends_s(pages[:12], rate_for(ending))
    next_part = encoded(tmp_path, ending, 8, **second)
    path = tmp_path / f"joined.{ending}"
    for n_bytes in CUTS_IN_A_PAGE:
        path.write_bytes(b"".join(pages[:12]) + pages[12][:n_bytes] + next_part)

        info = decode(path).info

        assert info.duration_s == pytest.approx(first_s + 8, abs=0.08)
        (note,) = info.notes
        assert f"ends at {clock_time(first_s)} may be cut off" in note


def test_of_many_cut_parts_the_first_is_named(tmp_path: Path) -> None:
    """A recording that was stopped and begun again all day is told in one line."""
    part = b"".join(ogg_pages(encoded(tmp_path, "opus", 3))[:-1])
    path = tmp_path / "day.opus"
    path.write_bytes(part * 5)

    between, at_end = decode(path).info.notes

    assert "the one that ends at 0:02." in between and "so may 3 more" in between
    assert "lacks the mark" in at_end


@pytest.mark.parametrize("n_bytes", [0, 50])
@pytest.mark.parametrize("damaged", [2, 8, 11])
def test_a_cut_hides_no_damage_before_it(tmp_path: Path, damaged: int, n_bytes: int) -> None:
    """A second is missing where the sound begins, inside, or in the last whole page."""
    pages = ogg_pages(encoded(tmp_path, "opus", 20))
    pages[damaged] = pages[damaged][:300] + bytes(100) + pages[damaged][400:]
    path = tmp_path / "damaged.opus"
    path.write_bytes(b"".join(pages[:12]) + pages[12][:n_bytes])

    with pytest.raises(AudioError, match="damaged near"):
        decode(path)


# ---------------------------------------------------------------------------- places


@pytest.mark.parametrize(("ending", "is_told"), [("mp3", False), ("bare.mp3", True), ("aac", True)])
def test_coded_songs_lie_where_the_wav_does(tmp_path: Path, ending: str, is_told: bool) -> None:
    """Within 10 ms, though bare MP3 and AAC do not say what their encoder put before."""
    samples = make_song("4*8", rate_hz=RATE_HZ).samples
    wav, coded = (
        decode(write_song(tmp_path / f"song.{kind}", kind, samples, RATE_HZ))
        for kind in ("wav", ending)
    )

    n = len(wav.samples) + len(coded.samples)
    spectra = [np.fft.rfft(audio.samples, n) for audio in (coded, wav)]
    match = np.fft.irfft(spectra[0] * np.conj(spectra[1]), n)
    lag = (int(match.argmax()) + n // 2) % n - n // 2
    assert abs(lag / SAMPLE_RATE_HZ) < 0.010
    assert is_told == any("before the music" in note for note in coded.info.notes)


# ------------------------------------------------------------------ damaged inside


@pytest.mark.parametrize("ending", ["flac", "ogg", "opus", "mp3", "bare.mp3", "aac", "m4a", "webm"])
def test_a_second_of_noise_in_the_data_is_refused(tmp_path: Path, ending: str) -> None:
    """A twentieth of the file is no longer what it was: its sound is missing."""
    whole = bytearray(encoded(tmp_path, ending, 20))
    middle, n = 3 * len(whole) // 4, len(whole) // 20
    whole[middle : middle + n] = np.random.default_rng(1).bytes(n)
    path = tmp_path / f"damaged.{ending}"
    path.write_bytes(whole)

    with pytest.raises(AudioError, match=r"damaged (near|after) \d+:\d\d\.\d|cut off, only \d+"):
        decode(path)


def test_a_lost_first_page_is_noticed(tmp_path: Path) -> None:
    """A second at the very beginning, before any time is known."""
    whole = encoded(tmp_path, "opus", 20)
    at = whole.index(b"OggS", whole.index(b"OpusTags")) + 300  # in the first page with sound
    path = tmp_path / "late.opus"
    path.write_bytes(whole[:at] + bytes(100) + whole[at + 100 :])

    with pytest.raises(AudioError, match="damaged near"):
        decode(path)


def test_after_a_small_hole_the_music_is_where_it_was(tmp_path: Path) -> None:
    """Damaged frames of an M4A file become silence of their length."""
    samples = make_song("4*8", rate_hz=RATE_HZ).samples
    path = write_song(tmp_path / "song.m4a", "m4a", samples, RATE_HZ)
    whole = decode(path)
    damaged = bytearray(path.read_bytes())
    middle = len(damaged) // 2
    damaged[middle : middle + 2000] = bytes(2000)
    path.write_bytes(damaged)

    audio = decode(path)

    assert any("cannot be read" in note for note in audio.info.notes)
    expected, found = (a.samples[-4 * SAMPLE_RATE_HZ :] for a in (whole, audio))
    assert len(audio.samples) == len(whole.samples)
    assert np.corrcoef(expected, found)[0, 1] > 0.99


# ------------------------------------------------------------------------- hostile


def test_eight_threads_at_once_leave_standard_error_alone(tmp_path: Path) -> None:
    """Nothing is written to it meanwhile, and what is written after comes through."""
    whole = encoded(tmp_path, "mp3", 5)
    (tmp_path / "half.mp3").write_bytes(whole[: len(whole) // 2])
    script = """
import os, sys
from concurrent.futures import ThreadPoolExecutor
from phrasefit.audio.decode import decode
from phrasefit.errors import AudioError
def attempt(path):
    try:
        return decode(path).info.duration_s
    except AudioError as exc:
        return str(exc)
with ThreadPoolExecutor(8) as pool:
    print(len(set(pool.map(attempt, sys.argv[1:] * 16))))
os.write(2, b"still here")
"""
    paths = [str(tmp_path / name) for name in ("made.mp3", "half.mp3")]
    done = subprocess.run(
        [sys.executable, "-c", script, *paths], capture_output=True, check=True, timeout=120
    )

    assert (done.stdout.strip(), done.stderr) == (b"2", b"still here")


def test_titles_in_latin_letters(tmp_path: Path) -> None:
    """Tags of old programs are no UTF-8: ID3v1 (its 128 bytes from memory) is Latin-1."""
    path = tmp_path / "song.mp3"
    tag = b"TAG" + "Café".encode("latin-1").ljust(30, b"\0") + "Änne".encode("latin-1")
    path.write_bytes(encoded(tmp_path, "mp3", 5) + tag.ljust(128, b"\0"))

    info = decode(path).info

    assert (info.title, info.artist) == ("Café", "Änne")
    assert info.duration_s == pytest.approx(5, abs=0.06)


def test_a_title_of_a_megabyte_is_cut_short(tmp_path: Path) -> None:
    """It would fill every sheet."""
    path = write_song(tmp_path / "a.flac", "flac", song(5), RATE_HZ, title="x\n" * 500_000)

    title = decode(path).info.title

    assert 100 <= len(title) <= 200 and "\n" not in title


def page(serial: int, flags: int, body: bytes = b"", granule: int = 0) -> bytes:
    """Write an Ogg page (RFC 3533, 6) with one packet of less than 255 bytes."""
    head = (
        b"OggS\0"
        + bytes([flags])
        + granule.to_bytes(8, "little")
        + serial.to_bytes(4, "little")
        + bytes(8)
    )
    whole = bytearray(head + bytes([1, len(body)]) + body)
    whole[22:26] = ogg_checksum(whole).to_bytes(4, "little")
    return bytes(whole)


def test_headers_that_come_twice_are_no_damage(tmp_path: Path) -> None:
    """Some programs cut Ogg files so: the headers again, in pages that begin no stream."""
    ogg = encoded(tmp_path, "ogg", 5)
    pages = [bytearray(one) for one in ogg_pages(ogg)]
    n_headers = next(i for i, p in enumerate(pages) if any(p[6:14]))
    again = [p.copy() for p in pages[:n_headers]]
    again[0][5] = 0
    for one in again:
        one[22:26] = bytes(4)
        one[22:26] = ogg_checksum(one).to_bytes(4, "little")
    path = tmp_path / "twice.ogg"
    path.write_bytes(b"".join(pages[:n_headers] + again + pages[n_headers:]))
    once = tmp_path / "once.ogg"
    once.write_bytes(ogg)

    assert decode(path).info.content_hash == decode(once).info.content_hash


@pytest.mark.parametrize(("n_streams", "end_granule"), [(1, 5000), (2, 0)])
def test_only_a_stream_by_itself_says_where_it_ends(n_streams: int, end_granule: int) -> None:
    """Places of pictures beside the sound are not counted in its samples."""
    begin = b"".join(page(serial, 2, b"\x01vorbis".ljust(30)) for serial in range(n_streams))

    (link,) = ogg_links(io.BytesIO(begin + page(0, 4, b"x", granule=5000)))

    assert link.start == 0
    assert (link.end_granule, link.has_end_mark, link.is_cut) == (end_granule, True, False)


def test_hostile_ogg_files_are_refused(tmp_path: Path) -> None:
    """Twenty megabytes made to be slow to read, or to open, and next to nothing."""
    real = encoded(tmp_path, "ogg", 5)
    short = encoded(tmp_path, "ogg", 0.2)
    hostile = {
        "pages": (real + page(1, 0) * 700_000, "more than 250000 Ogg pages"),
        "marks": (b"OggS" * 5_000_000, "more than 250000 Ogg pages"),
        "marks between pages": ((page(1, 0) + b"OggS" * 1000) * 5000, "more than 250000"),
        "no page": (b"OggS\1" + bytes(20_000_000), "no Ogg page after byte 0"),
        "only a mark": (b"OggS", "no Ogg page"),
        "zeros": (real + bytes(20_000_000), "no Ogg page after byte"),
        "streams": (b"".join(page(i, 2) for i in range(2000)), "none of it can be read"),
        "links": (short * 300, "joined of 300 recordings"),
    }
    for name, (content, message) in hostile.items():
        path = tmp_path / f"{name}.ogg"
        path.write_bytes(content)
        with pytest.raises(AudioError, match=message):
            decode(path)


@pytest.mark.parametrize("ending", ["wav", "flac", "aiff", "w64", "caf", "au"])
def test_a_header_that_claims_hours_costs_no_memory(tmp_path: Path, ending: str) -> None:
    """It is held against what is there."""
    content = bytearray(encoded(tmp_path, ending, 5))
    size_at, size = {
        "wav": (4, b"\xff\xff\xff\x70"),
        "flac": (22, b"\xff\xff\xff\xff"),  # the low 32 of 36 bits
        "aiff": (4, b"\x70\xff\xff\xff"),
        "w64": (16, b"\xff\xff\xff\xff\xff\x00\x00\x00"),
        "caf": (content.find(b"data") + 4, b"\x00\x00\x00\xff\xff\xff\xff\xff"),
        "au": (8, b"\x70\xff\xff\xff"),
    }[ending]
    content[size_at : size_at + len(size)] = size
    path = tmp_path / f"bogus.{ending}"
    path.write_bytes(content)

    tracemalloc.start()
    with pytest.raises(AudioError, match=r"only 0:05\.0 of \d+:\d\d:\d\d\.\d"):
        decode(path)
    _, peak_bytes = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak_bytes < 30e6


@pytest.mark.parametrize(
    "text", ["#EXTM3U\n{0}\n", "ffconcat version 1.0\nfile {0}\n", "[playlist]\nFile1={0}\n"]
)
def test_no_other_file_is_opened(tmp_path: Path, text: str) -> None:
    """A list that names a song is no song."""
    real = write_song(tmp_path / "real.wav", "wav", song(5), RATE_HZ)
    path = tmp_path / "list.mp3"
    path.write_text(text.format(real))

    with pytest.raises(AudioError, match="not a sound file"):
        decode(path)


def test_channels_that_grow_are_refused_unread(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The planes of more than 8 channels, read through PyAV, can end the process."""

    def read(frame: av.AudioFrame, kind: streams.Kind, skipped: int) -> streams.Piece:
        assert frame.layout.nb_channels <= 8
        return piece(frame, kind, skipped)

    piece = streams._piece
    monkeypatch.setattr(streams, "_piece", read)
    few = encoded(tmp_path, "aac", 2)
    many = tmp_path / "many.aac"
    with av.open(str(many), "w", format="adts") as out:
        stream = out.add_stream("aac", rate=RATE_HZ)
        stream.layout = "hexadecagonal"
        stream.codec_context.open()
        to_codec = av.AudioResampler("fltp", "hexadecagonal", RATE_HZ)
        noise = 0.1 * np.random.default_rng(0).standard_normal((1, 16 * 1024))
        for start in range(0, RATE_HZ, 1024):
            frame = av.AudioFrame.from_ndarray(noise.astype("f4"), "flt", "hexadecagonal")
            frame.sample_rate, frame.pts = RATE_HZ, start
            for fitting in to_codec.resample(frame):
                out.mux(stream.encode(fitting))
    path = tmp_path / "joined.aac"
    path.write_bytes(few + many.read_bytes())

    with pytest.raises(AudioError, match="has 16 channels, up to 8"):
        decode(path)
