"""Real recordings with an exact beat: songs of a guitar game, played to a click.

    python tests/accuracy/recorded.py OUTFOLDER

The Debian packages fretsonfire-songs-sectoid (MIT) and fretsonfire-songs-muldjord
(CC BY-SA 3.0) hold eight metal and rock recordings by two authors, as separate guitar
and backing tracks with a MIDI chart made from the recording session: one constant
tempo each.  The chart's beats are moved by the offset measured in the audio (20-40 ms
in one package: its files were padded by an encoder); a song is taken only if the offset
is the same in all parts of it within 6 ms.  Which beat is the one is not written in
the chart, only that beat 0 begins a bar of four; `one_is_heard` asks the audio, and where
it does not agree the song is judged by its beats alone (``"judge_ones": false``).
"""

from __future__ import annotations

import sys
from pathlib import Path

import mido
import numpy as np
import soundfile
from debian import unpack
from render import RATE_HZ, Truth, attack_offset_s, save_song

PACKAGES = {
    "fretsonfire-songs-sectoid": "MIT",
    "fretsonfire-songs-muldjord": "CC BY-SA 3.0",
}
N_PARTS = 6
WINDOW_BEATS = 96
BEATS_A_BAR = 4


def chart_tempo_bpm(path: Path) -> float:
    """The one tempo of a chart; an error if it changes."""
    tempos = {
        m.tempo for track in mido.MidiFile(path).tracks for m in track if m.type == "set_tempo"
    }
    if len(tempos) != 1:
        raise ValueError(f"{len(tempos)} tempos")
    return float(round(60e6 / tempos.pop(), 2))


def steady_offset_s(samples: np.ndarray, beats_s: np.ndarray) -> float:
    """Offset of the sound from the chart; an error if it drifts."""
    parts = [attack_offset_s(samples, part, 0.06) for part in np.array_split(beats_s, N_PARTS)]
    middle = float(np.median(parts))
    near = np.abs(np.array(parts) - middle) < 0.006
    if near.sum() < N_PARTS - 1 or not (near[:2].any() and near[-2:].any()):
        raise ValueError(f"offsets {np.round(1000 * np.array(parts)).tolist()} ms")
    return middle


def one_is_heard(samples: np.ndarray, beats_s: np.ndarray) -> bool:
    """Whether bass drum and harmony put the one on beat 0 in most windows of 96 beats."""
    import librosa

    mono = librosa.resample(samples.mean(axis=1), orig_sr=RATE_HZ, target_sr=22_050)
    spectrum = np.abs(librosa.stft(mono, n_fft=2048, hop_length=256))
    frequency = librosa.fft_frequencies(sr=22_050, n_fft=2048)
    low = np.log1p(spectrum[(frequency > 30) & (frequency < 120)].sum(axis=0))
    rise = np.maximum(0, np.diff(low, prepend=low[:1]))
    frames = np.round(beats_s * 22_050 / 256).astype(int)
    frames = frames[frames < spectrum.shape[1] - 5]
    kick = np.array([rise[max(0, f - 4) : f + 5].max() for f in frames])
    chroma = librosa.feature.chroma_stft(S=spectrum**2, sr=22_050, n_fft=2048)
    beat_chroma = np.array([c.mean(axis=1) for c in np.split(chroma, frames, axis=1)[1:]])
    change = np.zeros(len(frames))
    for i in range(2, len(frames) - 2):
        a, b = beat_chroma[i - 2 : i].sum(axis=0), beat_chroma[i : i + 2].sum(axis=0)
        change[i] = 1 - a @ b / max(1e-9, np.linalg.norm(a) * np.linalg.norm(b))
    wins, n_windows = 0, 0
    for start in range(0, len(frames) - WINDOW_BEATS + 1, WINDOW_BEATS):
        window = slice(start, start + WINDOW_BEATS)
        evidence = kick[window] / kick[window].mean() + change[window] / change[window].mean()
        by_position = evidence.reshape(-1, BEATS_A_BAR).mean(axis=0)
        wins += by_position.argmax() == 0
        n_windows += 1
    return wins >= 0.75 * n_windows


def main() -> None:
    """Unpack, check and write all songs."""
    out = Path(sys.argv[1])
    for package, licence in PACKAGES.items():
        for chart in sorted(unpack(package, out / "packages").rglob("notes.mid")):
            name = chart.parent.name.lower().replace(" ", "_")
            tracks = [soundfile.read(p, dtype="float32", always_2d=True)[0]
                      for p in sorted(chart.parent.glob("*.ogg"))]  # fmt: skip
            samples = sum(tracks)
            samples = samples * (0.9 / np.abs(samples).max())
            try:
                beat_s = 60 / chart_tempo_bpm(chart)
                beats_s = np.arange(0, len(samples) / RATE_HZ, beat_s)
                offset_s = steady_offset_s(samples, beats_s)
            except ValueError as exc:
                print(f"{name:28s} left out: {exc}")
                continue
            level = [np.abs(part).mean() for part in np.array_split(samples, beats_s.size)]
            sounding = np.flatnonzero(np.array(level) > 0.01)
            keep = slice(sounding[0], sounding[-1] + 1)
            sure = one_is_heard(samples, beats_s + offset_s)
            truth = Truth(
                beats_s[keep] + offset_s,
                (1 + np.arange(beats_s.size) % BEATS_A_BAR)[keep],
                BEATS_A_BAR,
                notes={"source": package, "licence": licence, "judge_ones": bool(sure),
                       "offset_ms": round(1000 * offset_s, 1)},
            )  # fmt: skip
            print(f"{name:28s} {60 / beat_s:.0f} bpm, {1000 * offset_s:.1f} ms, one {sure}")
            save_song(out / "recorded", name, samples, truth)


if __name__ == "__main__":
    main()
