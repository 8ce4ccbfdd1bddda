"""Songs to learn from: rendered by many processes, kept as log-mel in a folder.

A *songs folder* holds ``.npz`` files ("packs") of a few songs each, so that rendering and
training run side by side and a broken run can be taken up again.
"""

from __future__ import annotations

import io
import logging
import multiprocessing
import os
import time
from dataclasses import dataclass, fields
from pathlib import Path

import numpy as np

from phrasefit.audio import HOP_S
from phrasefit.audio.features import log_mel
from phrasefit.files import write_atomic

LEVELS_PER_UNIT = 32.0  # log-mel 0-7.9 in one byte: steps of 0.03, under 0.3 dB where it is loud
PACK_SONGS = 8  # songs in one file
SONG_HOURS = 36 / 3600  # mean length of a training song
INAUDIBLE_WEIGHT = 0.2  # a wrong beat where no pulse is heard costs little, but it costs
VALIDATION_SEED = 900_000_000  # seeds from here on are never trained on
HELD_OUT_MARK = " (held out)"  # after the family of songs made of held-out material

logger = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RenderedSong:
    """One song as the training sees it.

    `levels` [shape=(n_frames, N_MELS), uint8] is ``log_mel * LEVELS_PER_UNIT``;
    `beats_s`, `positions`, `audible` [shape=(n_beats,)] and `phrase_starts` [beat
    indices] are the truth.
    """

    levels: np.ndarray
    beats_s: np.ndarray
    positions: np.ndarray
    audible: np.ndarray
    phrase_starts: np.ndarray
    family: str
    source: str

    @property
    def log_mel(self) -> np.ndarray:
        """The spectrum back in float32."""
        return self.levels.astype(np.float32) / np.float32(LEVELS_PER_UNIT)

    def event_frames(self) -> tuple[np.ndarray, np.ndarray]:
        """Fractional frames of the audible beats, and for each: downbeat?, phrase start?

        Returns
        -------
        (np.ndarray [shape=(n,)], np.ndarray [shape=(n, 2), bool])
        """
        phrase = np.zeros(len(self.beats_s), dtype=bool)
        phrase[self.phrase_starts[self.phrase_starts < len(phrase)]] = True
        kinds = np.stack([self.positions == 1, phrase], axis=1)
        return self.beats_s[self.audible] / HOP_S, kinds[self.audible]

    def frame_weights(self) -> np.ndarray:
        """How much each frame counts in the loss [shape=(n_frames,), 0-1]."""
        weights = np.ones(len(self.levels), dtype=np.float32)
        edges = np.append(self.beats_s, self.beats_s[-1:] + 0.5) / HOP_S
        for first, last in zip(edges[:-1][~self.audible], edges[1:][~self.audible], strict=True):
            weights[int(first) : int(last) + 1] = INAUDIBLE_WEIGHT
        return weights


# ------------------------------------------------------------- songs folder


@dataclass(frozen=True, slots=True, kw_only=True)
class RenderJob:
    """What the rendering processes are to make: `n_songs`, `PACK_SONGS` to a file.

    Song ``i`` has seed ``seed + i`` and the family ``i`` modulo their number (none named:
    drawn by the generator).  `held_out` songs are made of held-out material only;
    `without` names ingredients to leave out.
    """

    folder: Path
    n_songs: int
    seed: int
    families: tuple[str, ...] = ()
    held_out: bool = False
    without: frozenset[str] = frozenset()


def render_song(job: RenderJob, index: int) -> RenderedSong:
    """Make one song of the job."""
    from phrasefit.training.songs import make_song

    song = make_song(
        job.seed + index,
        family=job.families[index % len(job.families)] if job.families else None,
        held_out=job.held_out,
        without=job.without,
    )
    levels = np.rint(log_mel(song.samples) * LEVELS_PER_UNIT)
    return RenderedSong(
        levels=np.clip(levels, 0, 255).astype(np.uint8),
        beats_s=song.truth.beats_s,
        positions=song.truth.positions,
        audible=song.truth.audible,
        phrase_starts=np.asarray(song.truth.phrase_starts, dtype=np.int64),
        family=song.family + (HELD_OUT_MARK if job.held_out else ""),
        source=song.source,
    )


def store_songs(path: Path, songs: list[RenderedSong]) -> Path:
    """Write songs into one file, whole or not at all."""
    arrays: dict[str, np.ndarray] = {"n_songs": np.array(len(songs))}
    for index, song in enumerate(songs):
        for field in fields(song):
            arrays[f"{index}.{field.name}"] = np.asarray(getattr(song, field.name))
    return write_atomic(path, npz_bytes(arrays), force=True)


def npz_bytes(arrays: dict[str, np.ndarray], *, compressed: bool = False) -> bytes:
    """The bytes of an ``.npz`` file."""
    stream = io.BytesIO()
    (np.savez_compressed if compressed else np.savez)(stream, **arrays)
    return stream.getvalue()


def load_songs(path: Path) -> list[RenderedSong]:
    """Read the songs of one file."""
    with np.load(path, allow_pickle=False) as stored:
        songs = []
        for index in range(int(stored["n_songs"])):
            values = {f.name: stored[f"{index}.{f.name}"] for f in fields(RenderedSong)}
            names = {name: str(values.pop(name)) for name in ("family", "source")}
            songs.append(RenderedSong(**values, **names))
    return songs


def load_folder(folder: Path) -> list[RenderedSong]:
    """Read all songs of a folder, in the order of its file names."""
    return [song for path in packs_in(folder) for song in load_songs(path)]


def packs_in(folder: Path) -> list[Path]:
    """Finished files of a songs folder; those being written are hidden."""
    return sorted(path for path in folder.glob("*.npz") if not path.name.startswith("."))


def one_thread_each() -> None:
    """Let processes that are started from now on calculate on one thread each.

    Dozens of processes with dozens of threads would wait for each other; a library that
    is loaded already keeps the threads it has.
    """
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS"):
        os.environ[name] = "1"


def start_rendering(job: RenderJob, *, n_processes: int) -> list[multiprocessing.Process]:
    """Start `n_processes` that fill the songs folder; packs that are there are kept."""
    job.folder.mkdir(parents=True, exist_ok=True)
    one_thread_each()
    context = multiprocessing.get_context("spawn")
    processes = [
        context.Process(target=_render_share, args=(job, share, n_processes), daemon=True)
        for share in range(n_processes)
    ]
    for process in processes:
        process.start()
    return processes


def _render_share(job: RenderJob, share: int, n_shares: int) -> None:
    """Make every `n_shares`-th pack of the job."""
    os.nice(15)  # the training must not wait for a processor
    for first in range(share * PACK_SONGS, job.n_songs, n_shares * PACK_SONGS):
        path = job.folder / f"{'held-out-' if job.held_out else ''}{job.seed + first}.npz"
        if path.exists():
            continue
        songs = []
        for index in range(first, min(first + PACK_SONGS, job.n_songs)):
            try:
                songs.append(render_song(job, index))
            except Exception:  # one song that cannot be made must not end the run
                logger.exception("the song of seed %d was not made", job.seed + index)
        store_songs(path, songs)


def wait_for_packs(folder: Path, n_packs: int, *, patience_s: float = 600.0) -> None:
    """Return once `folder` holds `n_packs` files, or after `patience_s`."""
    until = time.monotonic() + patience_s
    while len(packs_in(folder)) < n_packs and time.monotonic() < until:
        time.sleep(1.0)
