"""The page for the curious: the sound itself, as librosa sees it.

The tempogram shows how strongly each tempo is in the song at each moment
(autocorrelation of the onset envelope; P. Grosche, M. Mueller and F. Kurth, "Cyclic
tempogram", ICASSP 2010).  The chromagram shows which of the twelve notes sound
(constant-Q transform; C. Schoerkhuber and A. Klapuri, SMC 2010).  Both are drawn dark
where there is much; the bar map's tempo, bars and sections lie over them in lines.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from phrasefit.clock import clock_time
from phrasefit.fit.doubts import other_readings
from phrasefit.fit.grid import beat_tempo
from phrasefit.model import Audio
from phrasefit.reports.paper import MARGIN_PT, Document, Page, fitting_size, wrapped
from phrasefit.reports.song_view import SongView

if TYPE_CHECKING:
    from matplotlib.axes import Axes

NOTES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
SHOWN_BPM = (30.0, 300.0)  # slower is no count, faster no beat
MOST_COLUMNS = 1200  # more than a printer resolves on the width of the page
SIDE_PT = 96.0  # room at the right of the tempogram for the names of the tempi
LABEL_PT = 8.0
SAME_TEMPO = 0.03  # tempi nearer to each other than this are one reading


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spectra:
    """What librosa computes of a song, one column a frame.

    `times_s` [shape=(n,)]; `tempo_bpm` [shape=(n_lags,), falling, the first infinite];
    `tempogram` [shape=(n_lags, n)], 0-1 in each column; `chroma` [shape=(12, n), C first],
    0-1 in each column.
    """

    times_s: np.ndarray
    tempo_bpm: np.ndarray
    tempogram: np.ndarray
    chroma: np.ndarray


def spectra_of(audio: Audio) -> Spectra:
    """Compute tempogram and constant-Q chromagram with librosa, at its own frame rate.

    Parameters
    ----------
    audio : Audio

    Returns
    -------
    Spectra
    """
    import librosa

    y, sr = audio.samples, audio.sample_rate_hz
    onset_envelope = librosa.onset.onset_strength(y=y, sr=sr)
    tempogram = librosa.feature.tempogram(onset_envelope=onset_envelope, sr=sr)
    chroma = librosa.feature.chroma_cqt(y=y, sr=sr)
    return Spectra(
        times_s=librosa.times_like(chroma, sr=sr),
        tempo_bpm=librosa.tempo_frequencies(len(tempogram), sr=sr),
        tempogram=tempogram,
        chroma=chroma,
    )


def add_spectra_page(document: Document, spectra: Spectra, view: SongView) -> None:
    """Add a page with both pictures, one over the other on the same time axis.

    Parameters
    ----------
    document : Document
    spectra : Spectra
        Of the song in `view`.
    view : SongView
    """
    page = document.new_page()
    y = _heading(page, view)
    room = page.height_pt - MARGIN_PT - 26 - y
    y = _caption(page, y, "Tempogram", TEMPO_WORDS)
    _tempogram(page, y, 0.36 * room, spectra, view)
    y = _caption(page, y + 0.36 * room + 34, "Chromagram", CHROMA_WORDS)
    _chromagram(page, y + 12, 0.36 * room, spectra, view)


def _heading(page: Page, view: SongView) -> float:
    words = f"For the curious: {view.bar_map.title or 'the song'} as the computer hears it"
    size = fitting_size(words, page.inner_pt, 15.0, smallest=11.0, bold=True)
    y = MARGIN_PT
    for line in wrapped(words, page.inner_pt, size, bold=True):
        y += 1.3 * size
        page.text(MARGIN_PT, y, line, size, bold=True, of=words)
    return y + 8


def _caption(page: Page, y: float, name: str, words: str) -> float:
    """Write what a picture shows above it; give the top of the picture."""
    page.text(MARGIN_PT, y + 14, name, 11, bold=True)
    y += 16
    for line in wrapped(words, page.inner_pt, 9):
        y += 11.5
        page.text(MARGIN_PT, y, line, 9)
    return y + 8


TEMPO_WORDS = (
    "How strongly each tempo is in the song, moment by moment, dark where strong. A steady song"
    " shows level bands, at its tempo and at shares and multiples of it. The solid line is what"
    " is counted; dashes at the sides are the other readings, half and double among them."
)
CHROMA_WORDS = (
    "Which of the twelve notes sound, dark where loud (constant-Q). The sections stand above with"
    " their letters; each tick is a one. The same letter should look alike."
)


def tempo_lines(view: SongView) -> list[tuple[float, str, bool]]:
    """List the tempi to mark, a minute, slowest first: the tempo, its name, whether it is counted.

    Beside the count there are the beat, where that is another, the other readings of the
    song, and half and double, which a person can always choose.
    """
    pace, beat = view.grid.counts_per_minute, beat_tempo(view.bar_map)
    lines = [(pace, f"counted: {pace:.0f}", True)]
    others = [(beat, f"the beat: {beat:.0f}")]
    for rival in other_readings(view.bar_map, view.grid.beats_per_count):
        share = f"{rival.probability:.0%} likely"
        others.append((rival.tempo_bpm, f"{rival.kind}: {rival.tempo_bpm:.0f} ({share})"))
    others += [(pace / 2, f"half: {pace / 2:.0f}"), (2 * pace, f"double: {2 * pace:.0f}")]
    for tempo, words in others:
        if not any(abs(tempo / known - 1) < SAME_TEMPO for known, _, _ in lines):
            lines.append((tempo, words, False))
    return sorted(lines)


def _tempogram(page: Page, y: float, height: float, spectra: Spectra, view: SongView) -> None:
    ax = _axes(page, y, height, spectra)
    low, high = SHOWN_BPM
    rows = np.flatnonzero((spectra.tempo_bpm >= low) & (spectra.tempo_bpm <= high))[::-1]
    middles = spectra.tempo_bpm[rows]
    inner = np.sqrt(middles[1:] * middles[:-1])
    edges = np.concatenate([[middles[0] ** 2 / inner[0]], inner, [middles[-1] ** 2 / inner[-1]]])
    _image(ax, spectra.times_s, edges, spectra.tempogram[rows])
    ax.set_yscale("log", base=2)
    ax.set_ylim(low, high)
    ticks = (30, 40, 60, 80, 120, 160, 240)
    ax.set_yticks(ticks, [str(t) for t in ticks])
    ax.minorticks_off()
    x1 = page.width_pt - MARGIN_PT - SIDE_PT
    last = y + height + 12
    for tempo, words, is_chosen in tempo_lines(view):
        if not low <= tempo <= high:
            continue
        at = y + height * (1 - np.log(tempo / low) / np.log(high / low))
        # In full for the count; the others at the sides only, so as not to hide their bands.
        for begin, end in [(0.0, 1.0)] if is_chosen else [(0.0, 0.06), (0.94, 1.0)]:
            style = "-" if is_chosen else (0, (5, 4))
            ax.axhline(tempo, begin, end, color="white", linewidth=2.6)  # to show on dark bands
            ax.axhline(tempo, begin, end, color="black", linewidth=1.2, linestyle=style)
        last = min(at + 3, last - 11)  # names of near tempi stand one over the other
        page.line(x1, at, x1 + 7, last - 3, width=0.6)
        page.text(x1 + 9, last, words, LABEL_PT + 0.5, bold=is_chosen)


def _chromagram(page: Page, y: float, height: float, spectra: Spectra, view: SongView) -> None:
    ax = _axes(page, y, height, spectra)
    _image(ax, spectra.times_s, np.arange(13.0), spectra.chroma**2)  # the loudest stand out
    ax.set_yticks(np.arange(12) + 0.5, NOTES)
    ax.tick_params(axis="y", length=0)
    bar_map = view.bar_map
    span_s = float(spectra.times_s[-1])
    x0, width = MARGIN_PT + 30, page.inner_pt - 30 - SIDE_PT
    for one_s in bar_map.beat_times_s[bar_map.positions == 1].tolist():
        page.line(x0 + width * one_s / span_s, y - 4, x0 + width * one_s / span_s, y, width=0.5)
    for section in bar_map.sections:
        begin_s = float(bar_map.beat_times_s[section.start_beat])
        ax.axvline(begin_s, color="white", linewidth=3.0)
        ax.axvline(begin_s, color="black", linewidth=1.2)
        page.line(x0 + width * begin_s / span_s, y - 13, x0 + width * begin_s / span_s, y)
        page.text(
            x0 + width * begin_s / span_s + 2,
            y - 6,
            section.name or section.letter,
            LABEL_PT,
            bold=True,
        )


def _axes(page: Page, y: float, height: float, spectra: Spectra) -> Axes:
    """Make axes at a place on the page, with minutes and seconds below."""
    width = page.inner_pt - 30 - SIDE_PT
    ax = page.figure.add_axes((
        (MARGIN_PT + 30) / page.width_pt, 1 - (y + height) / page.height_pt,
        width / page.width_pt, height / page.height_pt,
    ))  # fmt: skip
    span_s = float(spectra.times_s[-1])
    step_s = next((s for s in (5, 10, 20, 30, 60, 120, 300) if span_s / s <= 10), 600)
    ticks = np.arange(0.0, span_s + 0.1, step_s)
    ax.set_xlim(0, span_s)
    ax.set_xticks(ticks, [clock_time(float(t), decimals=0) for t in ticks])
    ax.tick_params(labelsize=LABEL_PT)
    return ax


def _image(ax: Axes, times_s: np.ndarray, edges: np.ndarray, values: np.ndarray) -> Any:
    """Draw values as shades of gray; columns are averaged to what paper can show."""
    per_column = max(1, -(-len(times_s) // MOST_COLUMNS))
    starts = np.arange(0, len(times_s), per_column)
    sizes = np.diff(np.append(starts, len(times_s)))
    columns = np.add.reduceat(values, starts, axis=1) / sizes
    frame_s = times_s[1] - times_s[0]
    sides_s = np.append(times_s[starts], times_s[-1] + frame_s)
    return ax.pcolormesh(sides_s, edges, columns, cmap="gray_r", rasterized=True)
