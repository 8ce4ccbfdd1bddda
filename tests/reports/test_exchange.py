"""What other programs read back is what was planned: MIDI, JAMS, CSV."""

from __future__ import annotations

import csv
import dataclasses
import io
import itertools

import jams
import mido
import mir_eval
import music21
import numpy as np
import pytest

from phrasefit.meters import TEMPO_RANGE
from phrasefit.model import BarMap, FitPlan
from phrasefit.reports.jams import jams_document
from phrasefit.reports.midi import midi_file
from phrasefit.reports.walls_csv import walls_csv
from phrasefit.serial import dump_json


@pytest.fixture
def uneven(rng: np.random.Generator) -> BarMap:
    """Give a song played by people: drifting beats, a pickup, a short and a long bar."""
    lengths = [2, 4, 4, 2, 4, 5, 4, 4, 3, 4] * 8
    positions = np.concatenate([np.arange(1, n + 1) for n in lengths])
    positions[:2] = [3, 4]
    gaps = 0.5 + 0.05 * np.sin(np.arange(len(positions)) / 9) + rng.normal(0, 0.01, len(positions))
    times = 7.3 + np.concatenate([[0], np.cumsum(gaps)])
    return BarMap(
        beat_times_s=times[:-1],
        positions=positions,
        meter=4,
        tempo_bpm=120.0,
        end_s=float(times[-1]),
        duration_s=float(times[-1]) + 3,
        title="Ünëven 音",
    )


def bar_times(bar_map: BarMap) -> np.ndarray:
    """List the times of the downbeats."""
    return bar_map.beat_times_s[bar_map.positions == 1]


def test_mido_reads_every_beat_and_bar_within_1_ms(uneven: BarMap) -> None:
    """Tempo map and time signatures, read back by mido, give the bars of the map."""
    file = mido.MidiFile(file=io.BytesIO(midi_file(uneven)))
    seconds, tick, tempo = 0.0, 0, 500_000
    signatures: list[tuple[int, int]] = []
    at_tick: dict[int, float] = {}
    for message in file.tracks[0]:
        seconds += mido.tick2second(message.time, file.ticks_per_beat, tempo)
        tick += message.time
        at_tick[tick] = seconds
        if message.type == "set_tempo":
            tempo = message.tempo
        elif message.type == "time_signature":
            signatures.append((tick, message.numerator))
    bars, (now, length) = [], signatures[0]
    changes = dict(signatures)
    while now < tick:
        length = changes.get(now, length)
        bars.append(now)
        now += length * file.ticks_per_beat

    read = np.array([at_tick[bar] for bar in bars])
    for expected in bar_times(uneven):
        assert np.min(np.abs(read - expected)) < 0.001
    assert seconds == pytest.approx(uneven.end_s, abs=0.001)


def test_music21_reads_every_bar_within_1_ms(uneven: BarMap) -> None:
    """Measures and seconds, read back by music21, give the bars of the map."""
    (part,) = music21.converter.parseData(midi_file(uneven), format="midi").parts
    marks = part.metronomeMarkBoundaries()
    starts = np.array([start for start, _, _ in marks] + [marks[-1][1]])
    spans = [mark.durationToSeconds(end - start) for start, end, mark in marks]
    seconds = np.concatenate([[0.0], np.cumsum(spans)])

    measures = part.getElementsByClass(music21.stream.Measure)
    read = np.interp([measure.offset for measure in measures], starts, seconds)

    lengths = [measure.barDuration.quarterLength for measure in measures]
    for expected, following in itertools.pairwise(bar_times(uneven)):
        nearest = int(np.argmin(np.abs(read - expected)))
        n_beats = np.sum((uneven.beat_times_s >= expected) & (uneven.beat_times_s < following))
        assert abs(read[nearest] - expected) < 0.001
        assert lengths[nearest] == n_beats


def test_midi_markers_name_walls_and_tags(tagged: FitPlan) -> None:
    """Markers stand at the plan's times."""
    file = mido.MidiFile(file=io.BytesIO(midi_file(tagged.bar_map, tagged)))
    seconds, tempo, markers = 0.0, 500_000, {}
    for message in file.tracks[0]:
        seconds += mido.tick2second(message.time, file.ticks_per_beat, tempo)
        if message.type == "set_tempo":
            tempo = message.tempo
        elif message.type == "marker":
            markers[message.text] = seconds

    assert markers["TAG 4 after wall 5, facing 3:00"] == pytest.approx(97.0, abs=0.001)
    assert markers["WALL 2, facing 3:00"] == pytest.approx(33.0, abs=0.001)


@pytest.mark.filterwarnings("ignore:Passing a schema to Validator:DeprecationWarning")  # in jams
def test_jams_validates_and_scores_one_against_itself(tagged: FitPlan) -> None:
    """The jams package accepts the file; mir_eval finds the same beats and sections."""
    document = jams.load(
        io.StringIO(dump_json(jams_document(tagged.bar_map, tagged))), validate=False
    )
    assert document.validate(strict=True)

    beats = document.search(namespace="beat")[0].to_event_values()
    times, positions = beats
    assert mir_eval.beat.f_measure(tagged.bar_map.beat_times_s, times) == 1.0
    assert list(positions) == tagged.bar_map.positions.tolist()
    intervals, letters = document.search(namespace="segment_open")[0].to_interval_values()
    assert mir_eval.segment.detection(intervals, intervals, window=0.5)[2] == 1.0
    assert letters == [s.letter for s in tagged.bar_map.sections]


def test_csv_has_one_row_a_wall_and_event(tagged: FitPlan) -> None:
    """A spreadsheet gets walls, tag and end in order, letters intact."""
    text = walls_csv(tagged)
    assert text.startswith("\ufeff")

    rows = list(csv.DictReader(io.StringIO(text.removeprefix("\ufeff"))))

    assert len(rows) == len(tagged.plan.walls) + len(tagged.plan.tags) + 1
    assert [row["event"] for row in rows if row["event"]] == ["TAG", "END"]
    seconds = [float(row["seconds"]) for row in rows]
    assert seconds == sorted(seconds)


def test_map_without_lead_in_begins_at_zero(uneven: BarMap) -> None:
    """A song whose first beat is at 0.0 gets no silent bars before it."""
    shifted = dataclasses.replace(
        uneven, beat_times_s=uneven.beat_times_s - 7.3, end_s=uneven.end_s - 7.3
    )

    file = mido.MidiFile(file=io.BytesIO(midi_file(shifted)))

    n_tempos = sum(message.type == "set_tempo" for message in file.tracks[0])
    assert n_tempos == len(shifted.beat_times_s)


@pytest.mark.parametrize("lead_s", [0.0, 0.0007, 0.004, 0.02, 0.031, 0.07, 0.13, 0.3, 0.74, 9.9])
@pytest.mark.parametrize("tail_s", [0.0, 0.003, 0.1, 0.5])
def test_no_tempo_is_one_that_nobody_plays(uneven: BarMap, lead_s: float, tail_s: float) -> None:
    """A beat right after the start or before the end is in its place, and no tempo leaps there."""
    beats_s = uneven.beat_times_s - 7.3 + lead_s
    song = dataclasses.replace(
        uneven, beat_times_s=beats_s, end_s=beats_s[-1] + tail_s, duration_s=beats_s[-1] + tail_s
    )

    file = mido.MidiFile(file=io.BytesIO(midi_file(song)))

    now_s, heard_s, tempos = 0.0, [], []
    for message in file:
        now_s += message.time
        if message.type == "note_on":
            heard_s.append(now_s)
        elif message.type == "set_tempo":
            tempos.append(mido.tempo2bpm(message.tempo))
    assert heard_s == pytest.approx(beats_s.tolist(), abs=0.001)
    fastest = 60.0 / np.diff(beats_s).min()
    assert max(tempos) < 2.1 * song.tempo_bpm and fastest < 2.1 * song.tempo_bpm
    assert min(tempos) > song.tempo_bpm / 2


@pytest.mark.parametrize("lead_s", [0.07, 0.13, 0.2, 0.3])
def test_bars_begin_with_the_first_beat_after_a_part_of_one(uneven: BarMap, lead_s: float) -> None:
    """What comes before the first beat is a bar as short as it; the next one is in its place."""
    song = dataclasses.replace(uneven, beat_times_s=uneven.beat_times_s - 7.3 + lead_s)

    (part,) = music21.converter.parseData(midi_file(song), format="midi").parts
    first, second = list(part.getElementsByClass(music21.stream.Measure))[:2]

    tempo = mido.tempo2bpm(
        next(m.tempo for m in mido.MidiFile(file=io.BytesIO(midi_file(song))).tracks[0]
             if m.type == "set_tempo")
    )  # fmt: skip
    assert second.offset == first.barDuration.quarterLength
    assert second.offset * 60.0 / tempo == pytest.approx(lead_s, abs=0.001)


@pytest.mark.parametrize("gap_s", [2.9, 3.1, 9.0, 61.0])
def test_a_break_is_written_in_beats_of_the_song(uneven: BarMap, gap_s: float) -> None:
    """No tempo is slower than anybody dances, however long the music stops."""
    beats_s = uneven.beat_times_s.copy()
    beats_s[50:] += gap_s - (beats_s[50] - beats_s[49])
    song = dataclasses.replace(uneven, beat_times_s=beats_s, end_s=float(beats_s[-1]) + 0.5)

    file = mido.MidiFile(file=io.BytesIO(midi_file(song)))

    tempos = [mido.tempo2bpm(m.tempo) for m in file.tracks[0] if m.type == "set_tempo"]
    assert min(tempos) > TEMPO_RANGE[0]
