"""The trackers under test, each giving a bar map for one song.

``hand`` and ``learned`` are phrasefit with either observation model; ``naive`` is
librosa's own beat tracker with every fourth beat a downbeat, at the constant phase
that scores best against the truth: the best such a tracker could do if someone told
it where the one is.  Of phrasefit only its rooms' entries and the `BarMap` are used.
"""

from __future__ import annotations

import json
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
from referee import Reading, f_measure

from phrasefit.audio.decode import decode
from phrasefit.audio.features import extract_features, first_sample, opens_s
from phrasefit.errors import PhrasefitError
from phrasefit.form import add_form, weigh_ones
from phrasefit.form.evidence import beat_evidence
from phrasefit.meter import track
from phrasefit.model import BarMap, Phrase, Section
from phrasefit.serial import MAP_FORMAT, read_map

# Phrase levels in beats and how strongly each is felt, for maps made from the truth
# (common practice, no source): a section start 1, a half of it weaker, an eight weakest.
PHRASE_LEVELS = {4: ((32, 0.8), (16, 0.4), (8, 0.2)), 3: ((24, 0.8), (12, 0.4), (6, 0.2))}
NAIVE_METER = 4


class Song:
    """One audio file, its truth, and the features all phrasefit systems share."""

    def __init__(self, audio_path: Path) -> None:
        self.path = audio_path
        self.name = audio_path.stem
        self.document = json.loads(audio_path.with_suffix(".json").read_text(encoding="utf-8"))
        started = time.process_time()
        self.audio = decode(audio_path)
        self.features = extract_features(self.audio, first_sample(self.audio.samples))
        self.listening_s = time.process_time() - started
        self.truth = self._reading()

    def _reading(self) -> Reading:
        beats = np.array(self.document["beats_s"], float)
        positions = np.array(self.document["positions"], int)
        audible = np.array(self.document.get("audible") or np.ones(beats.size), bool)
        sections = tuple(s["start_s"] for s in self.document.get("sections", ()))
        return Reading(
            beats[audible],
            beats[audible & (positions == 1)],
            int(self.document["meter"]),
            sections,
            float(self.document.get("end_s") or self.audio.info.duration_s),
            bool(self.document.get("judge_ones", True)),
        )

    def with_form(self, bar_map: BarMap) -> BarMap:
        """Let the product find sections and phrases on these beats."""
        return add_form(bar_map, beat_evidence(self.features, bar_map.beat_times_s))

    def true_map(self) -> BarMap:
        """Bar map of the truth; where it has no sections, the product finds them on true beats."""
        if self.document.get("format") == MAP_FORMAT:
            # The level is not part of the truth: the tempo chooses it, as for maps heard.
            return read_map({**self.document, "level_by": "tempo"}, name=self.name)
        beats = np.array(self.document["beats_s"], float)
        positions = np.array(self.document["positions"], int)
        meter = int(self.document["meter"])
        bar_map = plain_map(beats, positions, meter, self.audio.info.duration_s)
        sections = self.document.get("sections", ())
        if len(sections) < 2:
            return self.with_form(bar_map)
        starts = [int(np.abs(beats - s["start_s"]).argmin()) for s in sections]
        letters = [s.get("letter", "A") for s in sections]
        return replace(bar_map, **true_form(starts, letters, beats.size, meter))


def with_form_of(bar_map: BarMap, true_map: BarMap) -> BarMap:
    """Give a heard map the true sections, at its nearest beats: only beats and bars differ."""
    beats = bar_map.beat_times_s
    at = {}
    for section in true_map.sections:
        start = int(np.abs(beats - true_map.beat_times_s[section.start_beat]).argmin())
        at.setdefault(start, section.letter)
    starts = sorted(at)
    form = true_form(starts, [at[s] for s in starts], beats.size, bar_map.meter)
    return replace(bar_map, **form)


def plain_map(beats_s: np.ndarray, positions: np.ndarray, meter: int, duration_s: float) -> BarMap:
    """Give a bar map without sections; the tempo is that of the median beat."""
    step_s = float(np.median(np.diff(beats_s)))
    return BarMap(
        beat_times_s=beats_s,
        positions=positions,
        meter=meter,
        tempo_bpm=60 / step_s,
        end_s=min(duration_s, float(beats_s[-1]) + step_s),
        duration_s=duration_s,
    )


def true_form(starts: list[int], letters: list[str], n_beats: int, meter: int) -> dict:
    """Sections as given, and phrases every 32, 16 and 8 beats inside them (24, 12, 6)."""
    sections, phrases = [], []
    levels = PHRASE_LEVELS[3 if meter % 3 == 0 else 4]
    for start, stop, letter in zip(starts, [*starts[1:], n_beats], letters, strict=True):
        if stop <= start:
            continue
        sections.append(
            Section(start_beat=start, n_beats=stop - start, letter=letter, strength=1.0)
        )
        for offset in range(0, stop - start, levels[-1][0]):
            group, strength = next(level for level in levels if offset % level[0] == 0)
            phrases.append((start + offset, group, 1.0 if offset == 0 else strength))
    return {"sections": tuple(sections), "phrases": _with_lengths(phrases, n_beats)}


def _with_lengths(phrases: list[tuple[int, int, float]], n_beats: int) -> tuple[Phrase, ...]:
    """Each phrase lasts to the next start of its own or a higher level."""
    made = []
    for i, (start, group, strength) in enumerate(phrases):
        stop = next((s for s, g, _ in phrases[i + 1 :] if g >= group), n_beats)
        made.append(Phrase(start_beat=start, n_beats=stop - start, group=group, strength=strength))
    return tuple(made)


def reading_of(bar_map: BarMap) -> Reading:
    """What the referee scores of a bar map."""
    beats = bar_map.beat_times_s
    sections = tuple(float(beats[s.start_beat]) for s in bar_map.sections)
    return Reading(
        beats, beats[bar_map.positions == 1], bar_map.meter, sections, bar_map.duration_s
    )


def hear(song: Song, model: object | None) -> tuple[BarMap | None, str]:
    """Track a song with an observation model; on failure the reason in words."""
    try:
        found = track(song.audio, song.features, model=model)
        evidence = beat_evidence(song.features, found.beat_times_s)
        return add_form(weigh_ones(found, evidence, opens_s(song.audio)), evidence), ""
    except PhrasefitError as exc:
        return None, str(exc)


def naive_map(song: Song) -> tuple[BarMap | None, str]:
    """Run librosa's tracker, kept beside the audio, at the best of four downbeat phases."""
    stored = song.path.with_suffix(".librosa")
    if stored.exists():
        beats = np.array(json.loads(stored.read_text(encoding="utf-8")), float)
    else:
        import librosa

        samples, rate = librosa.load(song.path)
        beats = librosa.beat.beat_track(y=samples, sr=rate, units="time")[1]
        stored.write_text(json.dumps([round(float(t), 4) for t in beats]), encoding="utf-8")
    if beats.size < 2 * NAIVE_METER:
        return None, "no beats"
    phases = [f_measure(song.truth.downbeats_s, beats[p::NAIVE_METER]) for p in range(NAIVE_METER)]
    positions = 1 + (np.arange(beats.size) - int(np.argmax(phases))) % NAIVE_METER
    return plain_map(beats, positions, NAIVE_METER, song.audio.info.duration_s), ""
