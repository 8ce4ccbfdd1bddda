"""Render songs that others wrote, with exact beats, for measuring the tracker.

    python tests/accuracy/symbolic.py OUTFOLDER [--only openmsx|tunes|modules]

Sets written below OUTFOLDER, one NAME.wav and NAME.json a song (kept if present):

* ``openmsx/timgm6mb`` and ``openmsx/fluidr3``: the MIDI files of the Debian package
  openttd-openmsx (GPL-2.0), rendered with two soundfonts.  Held out: no threshold
  and no weight of the product may be chosen on them.
* ``music21``: folk tunes of music21's corpus with drums and bass of our own (`tunes.py`).
* ``modules``: tracker modules of Debian packages (`modules.py`).

Which MIDI files count as usable (`usable`), each rule with its threshold:

1. grid: notes near a beat lie on it: quartiles of their offsets ≤ 30 ms apart, and
   their median ≤ 25 ms (this median is added to the truth: a beat is where it sounds);
2. meter: the bar has 2, 3, 4 or 6 beats, and the notes repeat at least as well after 1, 2
   or 4 bars as after any number of beats up to 16 that is neither bars nor a part of one;
3. the one: the harmony changes at the file's bar line at least 0.7 times as much as at
   the beat of the bar where it changes most;
4. at least 45 s long.

Beats before the first and after the last note onset are left out.
"""

from __future__ import annotations

import argparse
from itertools import pairwise
from pathlib import Path

import mido
import modules
import numpy as np
import tunes
from render import (
    DRUM_CHANNEL,
    LEAD_S,
    SOUNDFONTS,
    Truth,
    attack_offset_s,
    measure_latency,
    render_midi,
    save_song,
)

OPENMSX = Path("/usr/share/games/openttd/baseset/openmsx")
MIN_LENGTH_S = 45.0
STEPS = 4  # grid for comparing bars: sixteenth notes


class Score:
    """Notes, beats and bars of one MIDI file.

    `notes` [shape=(n, 4)]: onset (quarter notes), channel, pitch, length (quarter
    notes), by onset.  `beats` [quarter notes] and `positions` follow the time
    signatures (4/4 where the file has none, as the MIDI standard says).
    """

    def __init__(self, path: Path) -> None:
        song = mido.MidiFile(path)
        self.tempos = [(0.0, 500_000)]
        signatures = [(0.0, 4, 4)]
        sounding: dict[tuple[int, int], list[int]] = {}
        notes: list[list[float]] = []
        quarter, tick = 0.0, 1 / song.ticks_per_beat
        for message in mido.merge_tracks(song.tracks):
            quarter += message.time * tick
            if message.type == "set_tempo":
                self.tempos.append((quarter, message.tempo))
            elif message.type == "time_signature":
                signatures.append((quarter, message.numerator, message.denominator))
            elif message.type == "note_on" and message.velocity:
                sounding.setdefault((message.channel, message.note), []).append(len(notes))
                notes.append([quarter, message.channel, message.note, 0.0])
            elif message.type in ("note_on", "note_off"):
                started = sounding.get((message.channel, message.note))
                if started:
                    note = notes[started.pop(0)]
                    note[3] = quarter - note[0]
        self.notes = np.array(notes)
        self.meter = signatures[-1][1] if len(signatures) < 3 else signatures[1][1]
        self._lay_bars(signatures, float(self.notes[-1, 0]))

    def _lay_bars(self, signatures: list[tuple[float, int, int]], end: float) -> None:
        """Beats and positions up to the last onset; a later signature restarts the bar."""
        beats, positions = [], []
        ends = [start for start, _, _ in signatures[1:]] + [end + 1e-6]
        for (start, numerator, denominator), stop in zip(signatures, ends, strict=True):
            times = np.arange(start, stop - 1e-9, 4 / denominator)
            beats.extend(times)
            positions.extend(1 + np.arange(times.size) % numerator)
        self.beats, self.positions = np.array(beats), np.array(positions)

    def seconds(self, quarters: np.ndarray) -> np.ndarray:
        """Times by the tempo map, the first tick at 0 s."""
        knots = sorted(dict(self.tempos).items())  # of two changes on one tick the last holds
        times, total = [0.0], 0.0
        for (q0, tempo), (q1, _) in pairwise(knots):
            total += (q1 - q0) * tempo / 1e6
            times.append(total)
        starts = np.array([q for q, _ in knots])
        which = np.searchsorted(starts, quarters, side="right") - 1
        tempo_s = np.array([tempo / 1e6 for _, tempo in knots])
        return np.array(times)[which] + (np.asarray(quarters) - starts[which]) * tempo_s[which]


def onset_offsets_s(score: Score) -> np.ndarray:
    """Signed distance of each note within a sixth of a beat of a beat from that beat [s]."""
    beats_s, onsets_s = score.seconds(score.beats), score.seconds(score.notes[:, 0])
    nearest = np.abs(onsets_s[:, None] - beats_s[None, :]).argmin(axis=1)
    offsets = onsets_s - beats_s[nearest]
    return offsets[np.abs(offsets) < np.median(np.diff(beats_s)) / 6]


def recurrence(score: Score, lag: int) -> float:
    """How alike the notes are `lag` quarter notes apart (Jaccard index, 0-1)."""
    steps = np.round(score.notes[:, 0] * STEPS).astype(int)
    table = np.zeros((steps.max() + 1 + STEPS * lag, 256), bool)
    table[steps, (score.notes[:, 2] + 128 * (score.notes[:, 1] == DRUM_CHANNEL)).astype(int)] = True
    early, late = table[: -STEPS * lag], table[STEPS * lag :]
    return float((early & late).sum() / max(1, (early | late).sum()))


def bar_fits(score: Score) -> bool:
    """Rule 2: bars repeat at least as well as other numbers of beats."""
    if score.meter not in (2, 3, 4, 6):
        return False
    of_bar = max(recurrence(score, score.meter * n_bars) for n_bars in (1, 2, 4))
    rivals = [lag for lag in range(2, 17) if lag % score.meter and score.meter % lag]
    return of_bar >= max(recurrence(score, lag) for lag in rivals)


def harmony_change(score: Score) -> np.ndarray:
    """Change of sounding pitch classes (0-1, cosine) at each position of the bar."""
    n_beats = score.beats.size
    pitches = np.zeros((n_beats, 12))
    for onset, channel, pitch, length in score.notes:
        if channel != DRUM_CHANNEL:
            first, stop = np.searchsorted(score.beats, [onset - 0.3, onset + min(length, 8) - 0.2])
            pitches[first:stop, int(pitch) % 12] += 1
    change = np.zeros(n_beats)
    for i in range(2, n_beats - 2):
        before, after = pitches[i - 2 : i].sum(axis=0), pitches[i : i + 2].sum(axis=0)
        norm = np.linalg.norm(before) * np.linalg.norm(after)
        change[i] = 1 - before @ after / norm if norm else 0.0
    return np.array([change[score.positions == p + 1].mean() for p in range(score.meter)])


def usable(score: Score) -> str:
    """Empty if the file may serve as truth, else the rule that it breaks."""
    offsets = onset_offsets_s(score)
    low, high = np.percentile(offsets, [25, 75])
    if high - low > 0.030 or abs(np.median(offsets)) > 0.025:
        return "rule 1: notes off the grid"
    if not bar_fits(score):
        return "rule 2: the bar of the file is not the bar of the music"
    change = harmony_change(score)
    if change[0] < 0.7 * change.max():
        return "rule 3: the one of the file is not the one of the music"
    if score.seconds(score.notes[-1:, 0])[0] < MIN_LENGTH_S:
        return "rule 4: too short"
    return ""


def midi_truth(score: Score, soundfont: str) -> Truth:
    """Beats as they sound in the rendering, first note to last note."""
    sounding = (score.beats >= score.notes[0, 0] - 1e-6) & (score.beats <= score.notes[-1, 0])
    delay = LEAD_S + measure_latency(soundfont) + float(np.median(onset_offsets_s(score)))
    beats_s = score.seconds(score.beats[sounding]) + delay
    return Truth(beats_s, score.positions[sounding], score.meter)


def check_against_audio(score: Score, samples: np.ndarray, truth: Truth) -> dict:
    """How late drum hits (without drums: notes) on true beats sound in the audio [ms]."""
    onsets = score.notes[:, 0]
    drums = onsets[score.notes[:, 1] == DRUM_CHANNEL]
    chosen = drums if drums.size >= 40 else onsets
    delay = truth.beats_s[0] - score.seconds(score.beats[score.beats >= onsets[0] - 1e-6])[0]
    gaps = np.abs(score.seconds(chosen)[None, :] + delay - truth.beats_s[:, None]).min(axis=1)
    hits_s = truth.beats_s[gaps < 0.005]
    return {"n_hits": int(hits_s.size), "hit_offset_ms": 1000 * attack_offset_s(samples, hits_s)}


def render_openmsx(out: Path) -> None:
    """Both renderings of every usable file of openttd-openmsx."""
    if not OPENMSX.is_dir():
        raise SystemExit("openttd-openmsx not found; apt-get install openttd-openmsx")
    for path in sorted(OPENMSX.glob("*.mid")):
        score = Score(path)
        reason = usable(score)
        print(f"{path.stem:28s} {reason or 'usable'}", flush=True)
        if reason:
            continue
        for soundfont in SOUNDFONTS:
            folder = out / "openmsx" / soundfont
            if (folder / f"{path.stem}.json").exists():
                continue
            samples = render_midi(path, soundfont)
            truth = midi_truth(score, soundfont)
            truth.notes.update(
                source="openttd-openmsx",
                licence="GPL-2.0",
                soundfont=soundfont,
                latency_ms=round(1000 * measure_latency(soundfont), 2),
                **check_against_audio(score, samples, truth),
            )
            save_song(folder, path.stem, samples, truth)


def main() -> None:
    """Render what is asked for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("out", type=Path, help="folder for audio and truth (about 2 GB)")
    parser.add_argument("--only", choices=("openmsx", "tunes", "modules"))
    options = parser.parse_args()
    if options.only in (None, "openmsx"):
        render_openmsx(options.out)
    if options.only in (None, "tunes"):
        tunes.render_tunes(options.out)
    if options.only in (None, "modules"):
        modules.render_all(options.out, usable, harmony_change)


if __name__ == "__main__":
    main()
