"""Songs to fit and to measure on: features beside their truth, made by many processes."""

from __future__ import annotations

import json
import logging
import multiprocessing
import os
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import TypeVar

import numpy as np

from phrasefit.audio import HOP_S
from phrasefit.files import write_atomic
from phrasefit.meter.learned import LearnedModel
from phrasefit.meter.tempo_readings import MIN_BEATS
from phrasefit.model import Features
from phrasefit.training.rendered import npz_bytes, one_thread_each

SONG_S = 75.0
FIRST_SEED = 800_000_000  # far from the seeds of training and of the checks
SHORTEST_S, LONGEST_S = 15.0, 75.0  # excerpts to whole short songs
FEATURE_NAMES = ("log_mel", "onset_envelope", "chroma", "loudness_db")

# Songs in two and six teach at which level to count, not where the ones are.
DANCED_METERS = (2, 3, 4, 6)

Arrays = dict[str, np.ndarray]
Result = TypeVar("Result")
logger = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class KnownSong:
    """A song's features and truth."""

    features: Features
    beats_s: np.ndarray
    positions: np.ndarray
    meter: int


def make_known_songs(
    n_songs: int, first_seed: int, *, held_out: bool = False
) -> Iterator[KnownSong]:
    """Make songs and their features; songs in meters nobody dances to are left out."""
    from phrasefit.audio.features import extract_features
    from phrasefit.model import Audio, SongInfo
    from phrasefit.training.songs import make_song

    for seed in range(first_seed, first_seed + n_songs):
        song = make_song(seed, duration_s=SONG_S, held_out=held_out)
        truth = song.truth
        if truth.meter not in DANCED_METERS:
            continue
        audio = Audio(samples=song.samples, sample_rate_hz=22050, info=SongInfo())
        yield KnownSong(
            features=extract_features(audio),
            beats_s=truth.beats_s[truth.audible],
            positions=truth.positions[truth.audible],
            meter=truth.meter,
        )


def read_known_songs(folder: Path) -> Iterator[KnownSong]:
    """Read songs that were rendered elsewhere: audio files with their truth beside them.

    ``NAME.json`` beside ``NAME.wav`` holds `beats_s`, `positions` and `meter`.
    """
    from phrasefit.audio.decode import decode
    from phrasefit.audio.features import extract_features

    for path in sorted(folder.glob("*.json")):
        truth = json.loads(path.read_text("utf-8"))
        if truth["meter"] in DANCED_METERS:
            yield KnownSong(
                features=extract_features(decode(path.with_suffix(".wav"))),
                beats_s=np.array(truth["beats_s"]),
                positions=np.array(truth["positions"]),
                meter=truth["meter"],
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class SongSource:
    """Where the songs of the fits come from: made by many processes, kept in a folder."""

    folder: Path
    n_processes: int
    n_songs: int = 300
    seed: int = FIRST_SEED

    @property
    def steps(self) -> tuple[range, range, range, range]:
        """Seeds for fusion, judgments, sureness and measuring."""
        sizes = (self.n_songs // 5, self.n_songs, self.n_songs, self.n_songs // 2)
        ends = self.seed + np.cumsum(sizes)
        return tuple(range(int(e) - n, int(e)) for e, n in zip(ends, sizes, strict=True))


def for_songs(
    work: Callable[[LearnedModel, KnownSong], Result],
    arrays: Arrays,
    source: SongSource,
    seeds: Iterable[int],
    *,
    held_out: bool = False,
) -> list[Result]:
    """Do `work` on the song of each seed, in parallel; None is dropped."""
    one_thread_each()
    with ProcessPoolExecutor(
        source.n_processes,
        mp_context=multiprocessing.get_context("spawn"),
        initializer=_prepare,
        initargs=(arrays, work, source.folder, held_out),
    ) as pool:
        return [result for result in pool.map(_work_on, seeds) if result is not None]


_shared: dict[str, object] = {}  # what every song of a process needs


def _prepare(arrays: Arrays, work: Callable, folder: Path, held_out: bool) -> None:
    _shared.update(model=LearnedModel(arrays), work=work, folder=folder, held_out=held_out)


def _work_on(seed: int) -> object:
    """Do the work on an excerpt of one song; songs that cannot be used give None."""
    try:
        song = kept_song(_shared["folder"], seed, held_out=_shared["held_out"])
    except Exception:  # one song that cannot be made must not end the fit
        logger.exception("song %d was not made", seed)
        return None
    if song is None:
        return None
    cut = cut_song(song, np.random.default_rng(seed))
    return _shared["work"](_shared["model"], cut) if len(cut.beats_s) >= MIN_BEATS else None


def start_making(source: SongSource, *, n_processes: int) -> list[BaseProcess]:
    """Start processes that fill `source.folder` with all songs the fits will ask for."""
    wanted = [(seed, False) for seeds in source.steps for seed in seeds]
    wanted += [(seed, True) for seed in source.steps[-1]]
    one_thread_each()
    context = multiprocessing.get_context("spawn")
    processes = [
        context.Process(
            target=_make_share, args=(source.folder, wanted[share::n_processes]), daemon=True
        )
        for share in range(n_processes)
    ]
    for process in processes:
        process.start()
    return processes


def _make_share(folder: Path, wanted: list[tuple[int, bool]]) -> None:
    os.nice(15)
    for seed, held_out in wanted:
        try:
            kept_song(folder, seed, held_out=held_out)
        except Exception:  # one song that cannot be made must not end the run
            logger.exception("song %d was not made", seed)


def kept_song(folder: Path, seed: int, *, held_out: bool) -> KnownSong | None:
    """Read a song's features and truth from `folder`, or make and keep them there.

    None for songs in meters that the decoder does not know.
    """
    path = folder / f"{'held-out-' if held_out else ''}{seed}.npz"
    if not path.exists():
        folder.mkdir(parents=True, exist_ok=True)
        songs = list(make_known_songs(1, seed, held_out=held_out))
        arrays = song_arrays(songs[0]) if songs else {}
        write_atomic(path, npz_bytes(arrays), force=True)
    with np.load(path, allow_pickle=False) as stored:
        if not stored.files:
            return None
        return KnownSong(
            features=Features(hop_s=HOP_S, **{name: stored[name] for name in FEATURE_NAMES}),
            beats_s=stored["beats_s"],
            positions=stored["positions"],
            meter=int(stored["meter"]),
        )


def song_arrays(song: KnownSong) -> Arrays:
    """A song's features and truth as named arrays."""
    arrays = {name: getattr(song.features, name) for name in FEATURE_NAMES}
    return arrays | {
        "beats_s": song.beats_s,
        "positions": song.positions,
        "meter": np.array(song.meter),
    }


def cut_song(song: KnownSong, rng: np.random.Generator) -> KnownSong:
    """Cut a random excerpt of `SHORTEST_S` to `LONGEST_S` seconds."""
    hop_s, n_frames = song.features.hop_s, len(song.features.log_mel)
    length = min(int(rng.uniform(SHORTEST_S, LONGEST_S) / hop_s), n_frames)
    first = int(rng.integers(0, n_frames - length + 1))
    rows = {name: getattr(song.features, name)[first : first + length] for name in FEATURE_NAMES}
    beats_s = song.beats_s - first * hop_s
    inside = (beats_s >= 0) & (beats_s < length * hop_s)
    return KnownSong(
        features=Features(hop_s=hop_s, **rows),
        beats_s=beats_s[inside],
        positions=song.positions[inside],
        meter=song.meter,
    )
