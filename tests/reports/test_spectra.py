"""The page for the curious: librosa's own numbers, drawn with the map's tempo and sections."""

from __future__ import annotations

import dataclasses
import io
from pathlib import Path

import librosa
import numpy as np
import pypdf
import pytest
import soundfile
from matplotlib.image import imread

from phrasefit.audio.decode import decode
from phrasefit.fit.grid import count_grid
from phrasefit.model import Alternative, Audio, Correction
from phrasefit.reports.paper import PNG_DPI, Document
from phrasefit.reports.song_view import SongView
from phrasefit.reports.spectra import Spectra, add_spectra_page, spectra_of, tempo_lines
from songs import song

RATE_HZ = 22050


def click_track(path: Path, bpm: float, *, tone_hz: float = 440.0, seconds: float = 16.0) -> Audio:
    """Write clicks (librosa's own) over a soft tone, and read them back as any song."""
    times = np.arange(0.25, seconds - 0.2, 60.0 / bpm)
    samples = librosa.clicks(times=times, sr=RATE_HZ, length=int(seconds * RATE_HZ))
    tone = 0.3 * np.sin(2 * np.pi * tone_hz * np.arange(samples.size) / RATE_HZ)
    soundfile.write(path, 0.5 * samples + tone, RATE_HZ, subtype="PCM_16")
    return decode(path)


@pytest.fixture(scope="module")
def audio(tmp_path_factory: pytest.TempPathFactory) -> Audio:
    """A click track of 120 a minute over an A."""
    return click_track(tmp_path_factory.mktemp("clicks") / "clicks.wav", 120.0)


@pytest.fixture(scope="module")
def spectra(audio: Audio) -> Spectra:
    """Its spectra."""
    return spectra_of(audio)


def view_of(**changes: object) -> SongView:
    """Make a view of 30 counts of 120 a minute in two sections."""
    bar_map = dataclasses.replace(song((16, 14)), **changes)
    return SongView(bar_map=bar_map, grid=count_grid(bar_map))


def page_of(spectra: Spectra, view: SongView) -> Document:
    """Draw the page."""
    document = Document(title="clicks")
    add_spectra_page(document, spectra, view)
    return document


def test_the_numbers_are_librosas(audio: Audio, spectra: Spectra) -> None:
    """Called directly on the decoded samples, librosa gives the same arrays."""
    envelope = librosa.onset.onset_strength(y=audio.samples, sr=audio.sample_rate_hz)
    tempogram = librosa.feature.tempogram(onset_envelope=envelope, sr=audio.sample_rate_hz)
    chroma = librosa.feature.chroma_cqt(y=audio.samples, sr=audio.sample_rate_hz)

    np.testing.assert_array_equal(spectra.tempogram, tempogram)
    np.testing.assert_array_equal(spectra.chroma, chroma)
    assert spectra.times_s.shape == (tempogram.shape[1],) == (chroma.shape[1],)
    assert spectra.times_s[-1] == pytest.approx(16.0, abs=0.05)


@pytest.mark.parametrize("bpm", [96.0, 120.0, 132.0])
def test_the_tempogram_peaks_at_the_tempo_of_a_click_track(bpm: float, tmp_path: Path) -> None:
    """Within an octave around it, the strongest tempo is that of the clicks.

    A lag is a whole number of frames (23 ms): at 132 a minute neighbors are 6.5 % apart,
    so the nearest one is within half of that.
    """
    found = spectra_of(click_track(tmp_path / "clicks.wav", bpm))

    octave = (found.tempo_bpm > bpm / 2**0.5) & (found.tempo_bpm < bpm * 2**0.5)
    strength = np.where(octave, found.tempogram.mean(axis=1), 0.0)
    frame_s = 512 / RATE_HZ
    half_a_lag = 0.5 * frame_s * bpm / 60

    assert found.tempo_bpm[np.argmax(strength)] == pytest.approx(bpm, rel=half_a_lag + 0.005)


def test_the_chromagram_hears_the_note_that_sounds(spectra: Spectra) -> None:
    """440 Hz is an A (ISO 16): the tenth note from C."""
    assert np.argmax(np.median(spectra.chroma, axis=1)) == 9


def test_the_page_names_tempo_notes_and_sections(spectra: Spectra) -> None:
    """Its text, read back by pypdf: all twelve notes, both sections, the tempo counted."""
    pages = pypdf.PdfReader(io.BytesIO(page_of(spectra, view_of()).pdf())).pages
    words = " ".join(pages[0].extract_text().split())

    assert "counted: 120" in words and "half: 60" in words and "double: 240" in words
    assert all(f" {note}" in words for note in ("C#", "D#", "F#", "G#", "A#", "B", "E"))
    assert "Tempogram" in words and "Chromagram" in words
    assert "Lantern Row <&>" in words


def test_other_readings_are_marked_once() -> None:
    """The reading at half the tempo is the half; one in threes has a tempo of its own."""

    said = {"half": Correction(level=0.5), "meter": Correction(meter=3)}

    def reading(kind: str, tempo_bpm: float) -> Alternative:
        return Alternative(
            kind=kind, correction=said[kind], probability=0.25, tempo_bpm=tempo_bpm, meter=4
        )

    view = view_of(alternatives=(reading("half", 60.0), reading("meter", 80.0)))

    marked = [(round(tempo), words) for tempo, words, _ in tempo_lines(view)]

    assert marked == [
        (60, "half: 60 (25% likely)"),
        (80, "meter: 80 (25% likely)"),
        (120, "counted: 120"),
        (240, "double: 240"),
    ]
    assert [chosen for _, _, chosen in tempo_lines(view)] == [False, False, True, False]


def test_the_counted_tempo_is_drawn_through_its_band(spectra: Spectra) -> None:
    """The solid line lies where the axis has the tempo: a dark row in a white one."""
    page = imread(io.BytesIO(page_of(spectra, view_of()).png()))[:, :, 0]
    x = int(200 / 72 * PNG_DPI)
    dark = np.flatnonzero((page[:, x - 40 : x + 40] < 0.3).all(axis=1))
    white = np.flatnonzero((page[:, x - 40 : x + 40] > 0.8).all(axis=1))

    assert any({row - 3, row + 3} <= set(white.tolist()) for row in dark.tolist())


def test_it_is_gray(spectra: Spectra) -> None:
    """Every pixel is a shade of gray."""
    page = imread(io.BytesIO(page_of(spectra, view_of()).png()))[:, :, :3]

    assert np.ptp(page, axis=2).max() == 0


def test_drawing_leaves_the_rest_of_matplotlib_alone(spectra: Spectra) -> None:
    """Figures are made without pyplot: nothing is kept open."""
    import matplotlib.pyplot as plt

    page_of(spectra, view_of())

    assert plt.get_fignums() == []
